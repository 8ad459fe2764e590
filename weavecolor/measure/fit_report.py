"""What a fit found, quantity by quantity: value, spread, and whether the data settled it.

Knows parameters and their covariance; knows nothing of how they were found.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.measure import parameters as p
from weavecolor.measure.fit_problem import Problem
from weavecolor.measure.observations import Seen, channels_in_light, colour_of
from weavecolor.optics.appearance import appearance
from weavecolor.optics.kubelka import reflectivity
from weavecolor.optics.stack import Layer, Stack
from weavecolor.textile import construction
from weavecolor.textile.cloth import Cloth

Array = NDArray[np.float64]

#: A number is settled when its spread is under this share of what it was beforehand.
SETTLED = 0.5
#: A yarn's colour is settled when it is known to this CIEDE2000.
COLOUR_SETTLED = 3.0
#: Correlation above which two properties are told as a trade.
TRADE = 0.8

#: What to look at to settle a property.
ADVICE = {
    "warp colour": "photograph bare warp thread at a frayed edge",
    "weft colour": "photograph bare weft thread at a frayed edge",
    "warp cover": "take a close-up with a ruler, or weigh the cloth",
    "weft cover": "take a close-up with a ruler, or weigh the cloth",
    "warp scattering": "photograph the cloth over white and over black, and bare thread",
    "weft scattering": "photograph the cloth over white and over black, and bare thread",
    "lustre": "photograph the cloth with light from low at the side, and turned a quarter",
    "packing": "weigh the cloth, or give the yarn count",
}


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

    For a yarn's colour ``value`` is L* and the spreads are CIEDE2000.
    """

    name: str
    value: float
    spread: float
    before: float
    unit: str
    settled: bool
    advice: str = ""


def residuals(problem: Problem, unknowns: p.Unknowns, x: Array) -> tuple[Residual, ...]:
    """Each sight's and thread's CIEDE2000."""
    shown, _ = problem.shown(unknowns, x)
    looked = [(s.seen.name, s.seen.value, False) for s in problem.sights]
    looked += [(t.name, t.value, True) for t, _, _ in problem.threads]
    out = []
    for (name, value, thread), model in zip(looked, shown, strict=True):
        seen, fitted = (
            colour_of(v if len(v) == 3 else p.linear_of(np.clip(v, 0.0, 1.0)))
            for v in (value, model)
        )
        out.append(Residual(name, seen, fitted, float(ciede2000(seen, fitted)), thread))
    return tuple(out)


def answered(cloth: Cloth, seen: Sequence[Seen]) -> float:
    """Greatest CIEDE2000 between what was ``seen`` and what an appearance of ``cloth`` shows there;
    a search takes yarns as matt, an appearance as clear filaments."""
    apart = []
    for one in seen:
        place = one.scene
        falls = [x.irradiance * np.cos(np.radians(x.zenith_deg)) for x in place.lights]
        light = place.diffuse + sum(falls, np.zeros_like(place.diffuse))
        stack = Stack((Layer(cloth, one.grain_deg, one.face),), one.backing)
        shown = appearance(stack, place).radiance_factor
        Lab = [
            colour_of(v if len(v) == 3 else p.linear_of(np.clip(v, 0.0, 1.0)))
            for v in (one.value, channels_in_light(one.channels, light) @ shown)
        ]
        apart.append(float(ciede2000(*Lab)))
    return max(apart)


def _properties(unknowns: p.Unknowns, x: Array) -> dict[str, tuple[float, str]]:
    cloth = unknowns.cloth(x)
    warp, weft = construction.covers(cloth)
    return {
        "warp cover": (warp, ""),
        "weft cover": (weft, ""),
        "open share": (construction.openness(cloth), ""),
        "warp scattering": (cloth.warp.scattering_m2_g, "m2/g"),
        "weft scattering": (cloth.weft.scattering_m2_g, "m2/g"),
        "lustre": (cloth.warp.lustre_deg, "degrees"),
        "packing": (cloth.warp.packing, ""),
        "weight": (construction.cloth_mass_g_m2(cloth), "g/m2"),
    }


def _slopes(unknowns: p.Unknowns, x: Array) -> tuple[dict[str, tuple[float, str]], Array]:
    """Properties and their slopes (properties, parameters)."""
    now = _properties(unknowns, x)
    out = np.zeros((len(now), p.SIZE))
    for k in (*range(p.SLOW), *p.SCATTER, p.PACKING):
        moved = x.copy()
        moved[k] += 1e-3
        there = _properties(unknowns, moved)
        out[:, k] = [(there[name][0] - now[name][0]) / 1e-3 for name in now]
    return now, out


def yarn_lab(unknowns: p.Unknowns, x: Array, system: int) -> Array:
    """Lab (3,) in daylight of an opaque hank of one system."""
    return colour_of(p.linear_of(reflectivity(np.exp(unknowns.ln_ks(x, system)))))


def _colour_spread(unknowns: p.Unknowns, x: Array, covariance: Array, system: int) -> float:
    """CIEDE2000, root mean square, between a yarn's colour and draws of it."""
    rng = np.random.default_rng(system)
    value, vector = np.linalg.eigh(covariance)
    steps = rng.standard_normal((60, p.SIZE)) * np.sqrt(np.maximum(value, 0.0)) @ vector.T
    middle = yarn_lab(unknowns, x, system)
    drawn = np.array([yarn_lab(unknowns, x + step, system) for step in steps])
    return float(np.sqrt(np.mean(ciede2000(np.broadcast_to(middle, drawn.shape), drawn) ** 2)))


def quantities(unknowns: p.Unknowns, x: Array, covariance: Array) -> tuple[Quantity, ...]:
    """Every property with its spread, and whether the data settled it."""
    before = p.prior_covariance()
    out = []
    for k, system in enumerate(("warp", "weft")):
        spread = _colour_spread(unknowns, x, covariance, k)
        earlier = _colour_spread(unknowns, x, before, k)
        name = f"{system} colour"
        settled = spread < COLOUR_SETTLED
        value = float(yarn_lab(unknowns, x, k)[0])
        out.append(Quantity(name, value, spread, earlier, "CIEDE2000", settled, ADVICE[name]))
    now, slopes = _slopes(unknowns, x)
    for (name, (value, unit)), slope in zip(now.items(), slopes, strict=True):
        spread = float(np.sqrt(slope @ covariance @ slope))
        earlier = float(np.sqrt(slope @ before @ slope))
        settled = spread < SETTLED * earlier
        out.append(Quantity(name, value, spread, earlier, unit, settled, ADVICE.get(name, "")))
    return tuple(out)


def trades(unknowns: p.Unknowns, x: Array, covariance: Array) -> tuple[str, ...]:
    """Pairs of properties that can be exchanged for one another without showing."""
    now, slopes = _slopes(unknowns, x)
    names = [n for n in now if n not in ("open share", "weight")]
    chosen = slopes[[list(now).index(n) for n in names]]
    joint = chosen @ covariance @ chosen.T
    spread = np.sqrt(np.diag(joint))
    together = joint / np.outer(spread, spread)
    out = []
    for a in range(len(names)):
        for b in range(a):
            if abs(together[a, b]) > TRADE:
                how = "more" if together[a, b] > 0 else "less"
                out.append(f"more {names[b]} looks like {how} {names[a]}")
    return tuple(out)
