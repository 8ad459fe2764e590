"""What a fit found, quantity by quantity: value, spread, and whether the data settled it.

Knows parameters and their covariance; knows nothing of how they were found.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.measure import parameters as p
from weavecolor.measure.fit_problem import Problem
from weavecolor.measure.observations import colour_of
from weavecolor.optics.onelayer import OneLayer
from weavecolor.textile import construction

Array = NDArray[np.float64]

#: A number is settled when its spread is under this share of what it was beforehand.
SETTLED = 0.5
#: What a straight-line spread leaves out of a yarn's colour grows with its square, per CIEDE2000:
#: by trial on 62 invented cloths (``python -m tests.fit_coverage --seed 31``), assumed of others.
_CURVED = 0.03
#: A yarn's colour is settled when it is known to this CIEDE2000.
COLOUR_SETTLED = 3.0
#: Correlation above which two properties are told as a trade.
TRADE = 0.8

#: Cloths drawn for a range, and for what was known beforehand.
_DRAWS, _BEFORE = 150, 60

#: What settles a property, the easiest first: what it takes, by the name under which a fit has it,
#: and how to ask for it.
ADVICE: dict[str, tuple[tuple[str, str], ...]] = {
    "{} colour": (
        ("turned", "photograph it over white again, turned a quarter: warp against weft"),
        ("{} thread", "photograph bare {} thread at a frayed edge, or wound on card: its colour"),
    ),
    "{} cover": (
        ("over black", "photograph it over black as well: depth and cover"),
        ("turned", "photograph it over white again, turned a quarter: warp against weft"),
        ("open share", "take a close-up with a ruler over plain ground: how open it is"),
        ("weight", "weigh a piece of known size"),
    ),
    "open share": (
        ("over black", "photograph it over black as well: depth and cover"),
        ("open share", "take a close-up with a ruler over plain ground: how open it is"),
        ("weight", "weigh a piece of known size"),
    ),
    "weight": (("weight", "weigh a piece of known size"),),
    "flattening": (),
    "dullness": (),
    "packing": (("{} tex", "give the yarn's count"), ("weight", "weigh a piece of known size")),
}

#: What each thing that was given can tell at all.
TELLS = {
    "over white": "over white: the colour of the two yarns together",
    "over black": "with over black: depth and cover, and nothing of warp against weft",
    "turned": "turned a quarter: warp against weft",
    "warp thread": "bare warp: the warp's own colour",
    "weft thread": "bare weft: the weft's own colour",
    "open share": "close-up over plain ground: how open the cloth is",
    "weight": "weight: how thick the yarns are",
    "warp tex": "warp count: how thick the warp is",
    "weft tex": "weft count: how thick the weft is",
}


def given(problem: Problem) -> frozenset[str]:
    """What a fit was given, by the names of :data:`TELLS`."""
    out = {number.what for number in problem.known} | {t.name for t, _ in problem.threads}
    grains = {round(s.seen.grain_deg) % 180 for s in problem.sights}
    grounds = [float(np.mean(s.backing)) for s in problem.sights]
    if max(grounds) > 0.3:
        out.add("over white")
    if min(grounds) < 0.2:
        out.add("over black")
    if len(grains) > 1:
        out.add("turned")
    return frozenset(out)


def _advice(name: str, had: frozenset[str]) -> str:
    """How to settle a property: the first thing that was not given; nothing where all was."""
    system = next((s for s in ("warp", "weft") if name.startswith(s)), "warp")
    steps = ADVICE.get(name) or ADVICE.get(name.replace(system, "{}", 1)) or ()
    for what, text in steps:
        if what.format(system) not in had:
            return text.format(system)
    return ""


@dataclass(frozen=True, eq=False)
class Residual:
    """One observation: Lab seen and shown (3,), and their CIEDE2000."""

    name: str
    seen: Array
    shown: Array
    delta: float
    thread: bool = False


@dataclass(frozen=True)
class Quantity:
    """A property of the cloth with its standard uncertainty, and what that was beforehand.

    ``around``: least and greatest, 19 in 20. For a yarn's colour ``value`` is L*, the spreads are
    CIEDE2000, and the greatest is the CIEDE2000 that 19 in 20 stay below.
    """

    name: str
    value: float
    spread: float
    before: float
    unit: str
    settled: bool
    around: tuple[float, float]
    advice: str = ""


def residuals(
    problem: Problem, unknowns: p.Unknowns, x: Array, layers: tuple[OneLayer, ...]
) -> tuple[Residual, ...]:
    """Each sight's and thread's CIEDE2000 in ``problem``, in the light ``layers`` of the cloth
    itself, which is that of ``x`` (SIZE,) of ``unknowns``."""
    shown, _ = problem.shown(unknowns, x, layers, False)
    looked = [(s.seen.name, s.seen.value, False) for s in problem.sights]
    looked += [(t.name, t.value, True) for t, _ in problem.threads]
    out = []
    for (name, value, thread), model in zip(looked, shown, strict=True):
        seen, fitted = (
            colour_of(v if len(v) == 3 else p.linear_of(np.clip(v, 0.0, 1.0)))
            for v in (value, model)
        )
        out.append(Residual(name, seen, fitted, float(ciede2000(seen, fitted)), thread))
    return tuple(out)


#: What is told of a cloth beside its yarns' colours, with units; as ``_spread`` gives it.
_PROPERTIES = {
    "warp cover": "", "weft cover": "", "open share": "", "flattening": "", "dullness": "per mm",
    "packing": "", "weight": "g/m2",
}  # fmt: skip


def _drawn(x: Array, covariance: Array, count: int) -> Array:
    """Parameter vectors (count, SIZE) that fit about as well."""
    rng = np.random.default_rng(5)
    value, vector = np.linalg.eigh(0.5 * (covariance + covariance.T))
    steps = rng.standard_normal((count, p.SIZE)) * np.sqrt(np.maximum(value, 0.0)) @ vector.T
    return np.asarray(x + steps)


@dataclass(frozen=True, eq=False)
class Told:
    """What cloths drawn from a fit's spread say: the quantities, the pairs that can be exchanged
    without showing, and the correlation of the errors of both yarns' lightness."""

    quantities: tuple[Quantity, ...]
    trades: tuple[str, ...]
    alike: float


def told(
    unknowns: p.Unknowns, x: Array, covariance: Array, had: frozenset[str] = frozenset()
) -> Told:
    """Every property of the cloth of ``x`` (SIZE,) of ``unknowns`` with its spread, and whether the
    data settled it, from cloths drawn by ``covariance`` (SIZE, SIZE); what would settle it beside
    what a fit ``had``."""
    usual = replace(unknowns, learnt=None)
    rows, Lab = _spread(unknowns, _drawn(x, covariance, _DRAWS))
    earlier, before = _spread(usual, _drawn(usual.prior_mean(), usual.covariance(), _BEFORE))
    now, middle = _spread(unknowns, x[None])
    out = []
    for k, system in enumerate(("warp", "weft")):
        away = ciede2000(np.broadcast_to(middle[0, k], Lab[:, k].shape), Lab[:, k])
        centre = np.broadcast_to(before[:, k].mean(axis=0), before[:, k].shape)
        was = float(np.sqrt(np.mean(ciede2000(centre, before[:, k]) ** 2)))
        spread, most = float(np.sqrt(np.mean(away**2))), float(np.percentile(away, 95.0))
        most *= 1.0 + _CURVED * most
        name = f"{system} colour"
        out.append(
            Quantity(name, float(middle[0, k, 0]), spread, was, "CIEDE2000",
                     spread < COLOUR_SETTLED, (0.0, most), _advice(name, had))
        )  # fmt: skip
    for k, (name, unit) in enumerate(_PROPERTIES.items()):
        value, (low, high) = float(now[0, k]), np.percentile(rows[:, k], [2.5, 97.5])
        spread, was = float(rows[:, k].std()), float(earlier[:, k].std())
        out.append(
            Quantity(name, value, spread, was, unit, spread < SETTLED * was,
                     (float(min(low, value)), float(max(high, value))), _advice(name, had))
        )  # fmt: skip
    light = Lab[:, :, 0].T
    told_alike = light.std(axis=1).min() > 1e-6
    alike = float(np.corrcoef(light[0], light[1])[0, 1]) if told_alike else 0.0
    return Told(tuple(out), _trades(rows), alike)


def _spread(unknowns: p.Unknowns, drawn: Array) -> tuple[Array, Array]:
    """Properties (n, names) of cloths drawn, and their yarns' Lab (n, 2, 3), closely wound."""
    rows, Lab = [], []
    for x in drawn:
        cloth = unknowns.cloth(x)
        mass, open_ = construction.cloth_mass_g_m2(cloth), construction.openness(cloth)
        yarn = cloth.warp
        rows.append([*construction.covers(cloth), open_, yarn.flattening, yarn.dull_per_mm,
                     yarn.packing, mass])  # fmt: skip
        Lab.append([colour_of(p.linear_of(y.colour)) for y in (cloth.warp, cloth.weft)])
    return np.array(rows), np.array(Lab)


def _trades(rows: Array) -> tuple[str, ...]:
    names = [n for n in _PROPERTIES if n not in ("open share", "weight")]
    chosen = rows[:, [list(_PROPERTIES).index(n) for n in names]]
    together = np.corrcoef(chosen + 1e-9 * np.arange(len(chosen))[:, None], rowvar=False)
    out = []
    for a in range(len(names)):
        for b in range(a):
            if abs(together[a, b]) > TRADE:
                how = "more" if together[a, b] > 0 else "less"
                out.append(f"more {names[b]} looks like {how} {names[a]}")
    return tuple(out)
