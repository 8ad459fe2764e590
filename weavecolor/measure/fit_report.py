"""What a fit found, quantity by quantity: value, spread, and whether the data settled it.

Knows parameters and their covariance; knows nothing of how they were found.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.measure import parameters as p
from weavecolor.measure.fit_problem import Problem
from weavecolor.measure.observations import colour_of
from weavecolor.textile import construction

Array = NDArray[np.float64]

#: A number is settled when its spread is under this share of what it was beforehand.
SETTLED = 0.5
#: A yarn's colour is settled when it is known to this CIEDE2000.
COLOUR_SETTLED = 3.0
#: Correlation above which two properties are told as a trade.
TRADE = 0.8

#: Cloths drawn for a range.
_DRAWS = 150

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


def residuals(problem: Problem, unknowns: p.Unknowns, x: Array) -> tuple[Residual, ...]:
    """Each sight's and thread's CIEDE2000."""
    shown, _ = problem.shown(unknowns, x, False)
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


def _properties(unknowns: p.Unknowns, x: Array) -> dict[str, tuple[float, str]]:
    cloth = unknowns.cloth(x)
    warp, weft = construction.covers(cloth)
    return {
        "warp cover": (warp, ""),
        "weft cover": (weft, ""),
        "open share": (construction.openness(cloth), ""),
        "flattening": (cloth.warp.flattening, ""),
        "dullness": (cloth.warp.dull_per_mm, "1/mm"),
        "packing": (cloth.warp.packing, ""),
        "weight": (construction.cloth_mass_g_m2(cloth), "g/m2"),
    }


def _drawn(x: Array, covariance: Array) -> Array:
    """Parameter vectors (n, SIZE) that fit about as well."""
    rng = np.random.default_rng(5)
    value, vector = np.linalg.eigh(0.5 * (covariance + covariance.T))
    steps = rng.standard_normal((_DRAWS, p.SIZE)) * np.sqrt(np.maximum(value, 0.0)) @ vector.T
    return np.asarray(x + steps)


def yarn_lab(unknowns: p.Unknowns, x: Array, system: int) -> Array:
    """Lab (3,) in daylight of closely wound thread of one system."""
    return colour_of(p.linear_of(unknowns.wound(x, system)))


def alike(unknowns: p.Unknowns, x: Array, covariance: Array) -> float:
    """Correlation of the errors of both yarns' lightness, from cloths drawn."""
    drawn = _drawn(x, covariance)
    light = [[yarn_lab(unknowns, one, k)[0] for one in drawn] for k in (0, 1)]
    spread = np.std(light, axis=1)
    return float(np.corrcoef(light)[0, 1]) if spread.min() > 1e-6 else 0.0


@dataclass(frozen=True, eq=False)
class _Spread:
    """Properties (n, names) of cloths drawn, and their yarns' Lab (2, n, 3)."""

    properties: Array
    Lab: Array


def _spread(unknowns: p.Unknowns, drawn: Array) -> _Spread:
    rows = [[v for v, _ in _properties(unknowns, x).values()] for x in drawn]
    Lab = [[yarn_lab(unknowns, x, k) for x in drawn] for k in (0, 1)]
    return _Spread(np.array(rows), np.array(Lab))


def quantities(
    unknowns: p.Unknowns, x: Array, covariance: Array, had: frozenset[str] = frozenset()
) -> tuple[Quantity, ...]:
    """Every property with its spread, and whether the data settled it, from cloths drawn; what
    would settle it beside what a fit ``had``."""
    found = _spread(unknowns, _drawn(x, covariance))
    before = _spread(unknowns, _drawn(unknowns.prior_mean(), unknowns.covariance()))
    out = []
    for k, system in enumerate(("warp", "weft")):
        middle = yarn_lab(unknowns, x, k)
        away = ciede2000(np.broadcast_to(middle, found.Lab[k].shape), found.Lab[k])
        centre = np.broadcast_to(before.Lab[k].mean(axis=0), before.Lab[k].shape)
        earlier = float(np.sqrt(np.mean(ciede2000(centre, before.Lab[k]) ** 2)))
        spread, most = float(np.sqrt(np.mean(away**2))), float(np.percentile(away, 95.0))
        name = f"{system} colour"
        out.append(
            Quantity(name, float(middle[0]), spread, earlier, "CIEDE2000",
                     spread < COLOUR_SETTLED, (0.0, most), _advice(name, had))
        )  # fmt: skip
    now = _properties(unknowns, x)
    for k, (name, (value, unit)) in enumerate(now.items()):
        low, high = np.percentile(found.properties[:, k], [2.5, 97.5])
        spread, earlier = float(found.properties[:, k].std()), float(before.properties[:, k].std())
        out.append(
            Quantity(name, value, spread, earlier, unit, spread < SETTLED * earlier,
                     (float(min(low, value)), float(max(high, value))), _advice(name, had))
        )  # fmt: skip
    return tuple(out)


def trades(unknowns: p.Unknowns, x: Array, covariance: Array) -> tuple[str, ...]:
    """Pairs of properties that can be exchanged for one another without showing."""
    names = [n for n in _properties(unknowns, x) if n not in ("open share", "weight")]
    rows = _spread(unknowns, _drawn(x, covariance)).properties
    chosen = rows[:, [list(_properties(unknowns, x)).index(n) for n in names]]
    together = np.corrcoef(chosen + 1e-9 * np.arange(len(chosen))[:, None], rowvar=False)
    out = []
    for a in range(len(names)):
        for b in range(a):
            if abs(together[a, b]) > TRADE:
                how = "more" if together[a, b] > 0 else "less"
                out.append(f"more {names[b]} looks like {how} {names[a]}")
    return tuple(out)
