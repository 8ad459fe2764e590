"""Invented cloths photographed, fitted, and asked for a stack that nobody photographed.

Run as a script for the whole distribution::

    python tests/fit_round_trip.py 20 8

for twenty cloths, the first eight with the spread told for each prediction (which takes longer).
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from camera import Room, dyed, photographed

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.errors import InputError
from weavecolor.measure.fit import Fit, fit_cloth, predict
from weavecolor.measure.tocloth import start_cloth
from weavecolor.optics.appearance import appearance
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene
from weavecolor.textile.cloth import Cloth
from weavecolor.textile.construction import check_weavable
from weavecolor.textile.yarn import greatest_packing


@dataclass(frozen=True)
class Kind:
    """Ranges from which a cloth is invented."""

    name: str
    plan: str
    fibre: str
    yarn: str
    setts: tuple[float, float]
    warp_cover: tuple[float, float]
    weft_cover: tuple[float, float]
    flattening: tuple[float, float]
    lustre: tuple[float, float]


KINDS = (
    Kind("organza", "plain", "silk", "filament", (30, 55), (0.2, 0.4), (0.2, 0.4), (1.0, 1.1),
         (5.0, 10.0)),
    Kind("chiffon", "plain", "silk", "filament", (35, 60), (0.28, 0.5), (0.28, 0.5), (1.0, 1.3),
         (10.0, 18.0)),
    Kind("voile", "plain", "cotton", "spun", (20, 32), (0.3, 0.5), (0.3, 0.5), (1.0, 1.2),
         (18.0, 30.0)),
    Kind("taffeta", "plain", "silk", "filament", (35, 60), (0.7, 0.92), (0.4, 0.6), (1.6, 2.4),
         (6.0, 12.0)),
)  # fmt: skip

#: What is asked for: two layers cross grain over calico, in lights that were not photographed.
ASKED = ("noon outdoors", "ballroom")


def crossed(cloth: Cloth) -> Stack:
    return Stack((Layer(cloth, 0.0), Layer(cloth, 90.0)), backing("calico"))


def invented(kind: Kind, rng: np.random.Generator) -> Cloth:
    """A cloth of the kind that can be woven, dyed in two colours."""
    for _ in range(100):
        setts = rng.uniform(*kind.setts, 2)
        plain = start_cloth(kind.name, *setts, plan=kind.plan, warp_fibre=kind.fibre,
                            warp_kind=kind.yarn)  # fmt: skip
        made = []
        scatter, lustre = np.exp(rng.normal(0.0, 0.5)), rng.uniform(*kind.lustre)
        flat, packing = rng.uniform(*kind.flattening), np.exp(rng.normal(0.0, 0.1))
        for yarn, sett, cover in zip(
            (plain.warp, plain.weft), setts, (kind.warp_cover, kind.weft_cover), strict=True
        ):
            yarn = replace(
                yarn,
                colour=dyed(rng),
                packing=min(yarn.packing * packing, greatest_packing(yarn.rods)),
                flattening=flat,
                lustre_deg=lustre,
                scattering_m2_g=yarn.scattering_m2_g * scatter * np.exp(rng.normal(0.0, 0.2)),
            )
            width = 10.0 * rng.uniform(*cover) / sett
            made.append(replace(yarn, tex=yarn.tex * (width / yarn.width_mm) ** 2))
        cloth = replace(plain, warp=made[0], weft=made[1])
        try:
            check_weavable(cloth)
        except InputError:
            continue
        return cloth
    raise AssertionError(f"no weavable {kind.name} in a hundred")


@dataclass(frozen=True, eq=False)
class Outcome:
    """One cloth's round trip: CIEDE2000 of each asked stack, and the spread that was told."""

    cloth: Cloth
    fit: Fit
    missed: tuple[float, ...]
    told: tuple[float, ...]
    seconds: float


def round_trip(number: int, told: bool = False, asked: tuple[str, ...] = ASKED) -> Outcome:
    """Invent, photograph, fit and ask; ``number`` sets everything."""
    rng = np.random.default_rng([20, number])
    cloth = invented(KINDS[number % len(KINDS)], rng)
    seen, threads = photographed(cloth, Room.drawn(rng), rng)
    kind = KINDS[number % len(KINDS)]
    counted = rng.normal(1.0, 0.005, 2) * (cloth.ends_per_cm, cloth.picks_per_cm)
    start = start_cloth("measured", *counted, plan=kind.plan, warp_fibre=kind.fibre,
                        warp_kind=kind.yarn)  # fmt: skip
    began = time.process_time()
    fit = fit_cloth(start, seen, threads)
    seconds = time.process_time() - began
    missed, spread = [], []
    for name in asked:
        place = scene(name)
        true = appearance(crossed(cloth), place).reading.Lab
        if told:
            found = predict(fit, crossed, place)
            spread.append(found.spread_de)
            shown = found.Lab
        else:
            shown = appearance(crossed(fit.cloth), place).reading.Lab
        missed.append(float(ciede2000(true, shown)))
    return Outcome(cloth, fit, tuple(missed), tuple(spread), seconds)


def main(count: int, told_for: int, first: int = 0) -> None:
    """Print every cloth's outcome and the distribution."""
    rows = []
    for number in range(first, count):
        one = round_trip(number, told=number < told_for)
        rows.append(one)
        missed = " ".join(f"{m:4.1f}" for m in one.missed)
        told = " ".join(f"{t:4.1f}" for t in one.told) or "-"
        print(
            f"{number:3d} {one.cloth.name:8s} missed {missed}, told {told}; "
            f"residual {one.fit.residual_de:.1f}, misfit {one.fit.misfit:.2f}, "
            f"{one.seconds:.0f} s, {one.fit.rounds} rounds, converged {one.fit.converged}",
            flush=True,
        )
    for k, name in enumerate((*ASKED, "all")):
        missed = np.array([r.missed for r in rows])
        missed = missed[:, k] if k < len(ASKED) else missed.ravel()
        print(f"{name}: median {np.median(missed):.2f}, 95th percentile "
              f"{np.percentile(missed, 95):.2f}, worst {missed.max():.2f}")  # fmt: skip
    ratio = np.concatenate([np.array(r.missed) / r.told for r in rows if r.told] or [[]])
    if ratio.size:
        print(f"missed over told: root mean square {np.sqrt(np.mean(ratio**2)):.2f}")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:4] or ("20", "8")))
