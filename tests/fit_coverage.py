"""Invented cloths photographed and fitted: how often the truth lies in the stated range.

    python -m tests.fit_coverage [--seed N] [--cloths N] [--first N] [--workers N]

Sort of yarn, sett, covers, packing, flattening, twist, dyes, light, paper, card, camera and which
photographs are taken all vary (``camera``); what the fit is told of light and paper is not what
was. Counted over all cloths, for each number that a fit tells and for the colour foretold of the
cloth in another light, turned, over another ground. A seed and a number make the same always.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from camera import Room, colour_in, dyed, photographed

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.colour.spectra import BANDS
from weavecolor.errors import InputError
from weavecolor.measure.fit import Fit, fit_cloth, foretell
from weavecolor.measure.observations import Known, colour_of, seen_colour
from weavecolor.measure.parameters import linear_of
from weavecolor.measure.tocloth import start_cloth
from weavecolor.optics.appearance import appearance
from weavecolor.optics.dye import absorption, wound_colour
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import Backing, backing
from weavecolor.scene.places import scene
from weavecolor.textile.cloth import Cloth
from weavecolor.textile.construction import (
    check_weavable,
    cloth_mass_g_m2,
    covers,
    openness,
)
from weavecolor.textile.usual import USUAL
from weavecolor.textile.yarn import greatest_packing

#: Sorts of yarn, with the setts and covers of sheer cloth made of them (invented).
SORTS = {
    "silk organza": ((30, 50), (0.18, 0.42)),
    "polyester organza": ((28, 45), (0.15, 0.4)),
    "silk chiffon": ((35, 55), (0.25, 0.5)),
    "cotton voile": ((20, 30), (0.3, 0.5)),
}
#: Where the fitted cloth is asked for: backing, light, grain.
ASKED = (("calico", "noon outdoors", 90.0), ("slip black", "ballroom", 0.0))


def invented(rng: np.random.Generator) -> tuple[str, Cloth]:
    """A sort of yarn and a cloth of it that can be woven, dyed in two colours."""
    for _ in range(200):
        sort = str(rng.choice(sorted(SORTS)))
        usual, (setts, cover) = USUAL[sort], SORTS[sort]
        sett = rng.uniform(*setts, 2)
        made = []
        packing = rng.uniform(usual.packing.low, usual.packing.high)
        flat = rng.uniform(usual.flattening.low, usual.flattening.high)
        plain = start_cloth("truth", *sett, warp_like=sort)
        try:
            for yarn, n in ((plain.warp, sett[0]), (plain.weft, sett[1])):
                width = 10.0 * rng.uniform(*cover) / n
                count = yarn.filaments
                if count > 1:
                    fine = usual.fineness_dtex
                    assert fine is not None
                    low, high = fine.usual + 0.5 * (np.array([fine.low, fine.high]) - fine.usual)
                    dtex = rng.uniform(low, high)
                    area = np.pi / 4 * width**2 / flat
                    tex = 1e3 * area * yarn.fibre.density_g_cm3 * packing
                    count = max(2, round(10 * tex / dtex))
                share = min(packing, greatest_packing(1 if yarn.gum else count))
                tex = 1e3 * np.pi / 4 * width**2 / flat * yarn.fibre.density_g_cm3 * share
                yarn = replace(yarn, tex=tex, filaments=count, packing=share, flattening=flat)
                made.append(replace(yarn, colour=dyed(rng)))
            cloth = replace(plain, warp=made[0], weft=made[1])
            check_weavable(cloth)
        except InputError:
            continue
        return sort, cloth
    raise AssertionError("no weavable cloth in two hundred")


@dataclass(frozen=True, eq=False)
class Outcome:
    """One cloth: for each number told, whether it held the truth; and what the fit was."""

    number: int
    sort: str
    design: str
    held: dict[str, bool]
    off: dict[str, float]  # in half ranges
    fit: Fit
    seconds: float


def outcome(seed: int, number: int) -> Outcome:
    """Invent, photograph, fit and ask cloth ``number`` of ``seed``."""
    rng = np.random.default_rng([seed, number])
    sort, cloth = invented(rng)
    turned, threads, weighed = rng.random(3) < (0.6, 0.4, 0.3)
    room = Room.drawn(rng)
    try:
        seen, bare = photographed(cloth, room, rng, bool(turned), bool(threads))
    except InputError:  # threads that cannot be told from the ground are refused
        threads = False
        seen, bare = photographed(cloth, room, rng, bool(turned), False)
    counted = rng.normal(1.0, 0.005, 2) * (cloth.ends_per_cm, cloth.picks_per_cm)
    start = start_cloth("measured", *counted, warp_like=sort)
    known = []
    if weighed:
        weight = cloth_mass_g_m2(cloth)
        known = [Known("weight", weight * rng.normal(1.0, 0.04), 0.05 * weight)]
    began = time.process_time()
    fit = fit_cloth(start, seen, bare, known)
    seconds = time.process_time() - began
    true = dict(zip(("warp cover", "weft cover"), covers(cloth), strict=True))
    true |= {"open share": openness(cloth), "weight": cloth_mass_g_m2(cloth)}
    true |= {"flattening": cloth.warp.flattening, "packing": cloth.warp.packing}
    held, off = {}, {}
    for q in fit.quantities:
        low, high = q.around
        if q.name in true:
            wide = high - q.value if true[q.name] > q.value else q.value - low
            off[q.name] = (true[q.name] - q.value) / max(wide, 1e-9)
        elif q.name.endswith("colour"):
            yarn = cloth.warp if q.name.startswith("warp") else cloth.weft
            mine = fit.cloth.warp if q.name.startswith("warp") else fit.cloth.weft
            Lab = [
                colour_of(linear_of(np.clip(wound_colour(absorption(y), y), 0, 1)))
                for y in (yarn, mine)
            ]
            off[q.name] = float(ciede2000(*Lab)) / max(high, 1e-9)
    asked = []
    for ground, light, grain in ASKED:
        behind = Backing(ground, np.full(BANDS, 0.04)) if "black" in ground else backing(ground)
        asked.append(
            seen_colour(ground, [0.5] * 3, [0.1] * 3, behind, grain_deg=grain, light=light,
                        light_error=0.0)
        )  # fmt: skip
    for one, told, (_, light, grain) in zip(asked, foretell(fit, asked), ASKED, strict=True):
        place = scene(light)
        shown = appearance(Stack((Layer(cloth, grain),), one.backing), place).radiance_factor
        lit = sum((x.irradiance * np.cos(np.radians(x.zenith_deg)) for x in place.lights),
                  place.diffuse)  # fmt: skip
        true_lab = colour_of(colour_in(shown, lit))
        off[f"foretold over {one.name}"] = float(ciede2000(true_lab, told.Lab)) / told.within
    held = {name: abs(o) <= 1.0 for name, o in off.items()}
    more = {"turned": turned, "fringe": threads, "weight": weighed}
    design = " ".join(["pair", *(name for name, yes in more.items() if yes)])
    return Outcome(number, sort, design, held, off, fit, seconds)


def main() -> None:
    raw = argparse.RawTextHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=raw)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--cloths", type=int, default=100)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--workers", type=int, default=1)
    given = parser.parse_args()
    held: dict[str, list[bool]] = defaultdict(list)
    settled: list[bool] = []
    with ProcessPoolExecutor(given.workers) as pool:
        numbers = range(given.first, given.first + given.cloths)
        for job in as_completed([pool.submit(outcome, given.seed, n) for n in numbers]):
            o = job.result()
            settled.append(o.fit.converged)
            for name, yes in o.held.items():
                held[name].append(yes)
            offs = ", ".join(f"{k} {v:+.2f}" for k, v in o.off.items())
            print(
                f"{o.number:3d} {o.sort}, {o.design}: misfit {o.fit.misfit:.2f}, "
                f"comes back within {o.fit.residual_de:.1f}, {o.fit.rounds} rounds, "
                f"settled {o.fit.converged}, {o.seconds:.0f} s; {offs}", flush=True,
            )  # fmt: skip
    for name, all_ in held.items():
        print(f"{name}: held the truth in {sum(all_)} of {len(all_)}")
    every = [yes for all_ in held.values() for yes in all_]
    print(f"settled: {sum(settled)} of {len(settled)}")
    print(f"all: {100 * np.mean(every):.1f} in 100")


if __name__ == "__main__":
    main()
