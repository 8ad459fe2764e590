"""Invented cloths photographed and fitted: how often the truth lies in the stated range.

    python -m tests.fit_coverage [--seed N] [--cloths N] [--first N] [--workers N] [--only WORDS]
        [--looks] [--samples] [--kept FILE] [--until MINUTES]

Sort of yarn, sett, covers, packing, flattening, twist, dyes, light, paper, card, camera and which
photographs are taken all vary (``camera``); what the fit is told of light and paper is not what
was. Counted over all cloths, for each number that a fit tells. With ``--looks`` also, of the cloth
as it is kept, colours and the differences that another grain, layer, ground or light makes, against
what is stated of them. With ``--samples`` a sample of each cloth is laid up, photographed in
another room, and corrects it; what is told then is counted too, and by how much the ranges
shrank. A seed and a number make the same always; ``--only`` takes cloths whose sort and pictures
are so called, such as "silk organza, pair turned". ``--kept`` writes each outcome to a file of
one line each, counts those that are there already and goes on with the rest; ``--until`` begins
no cloth after so long.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections import defaultdict
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from camera import (
    BARE,
    STRIP,
    SWATCH,
    Room,
    dyed,
    photograph,
    photographed,
    picture_of_layers,
)
from ranges import ALWAYS, rows, true_looks

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.errors import InputError
from weavecolor.files.clothfile import cloth_from_toml, cloth_to_toml
from weavecolor.measure.fit import Fit, fit_cloth
from weavecolor.measure.fit_report import Quantity
from weavecolor.measure.observations import Known, Seen, colour_of
from weavecolor.measure.parameters import linear_of
from weavecolor.measure.photograph import read_photograph
from weavecolor.measure.sample import Lesson, learn, sample_of
from weavecolor.measure.swatchpair import measure_one
from weavecolor.measure.tocloth import fitted_cloth, start_cloth
from weavecolor.optics.dye import absorption, wound_colour
from weavecolor.optics.stack import Layer, Stack
from weavecolor.textile.cloth import Cloth
from weavecolor.textile.construction import (
    check_weavable,
    cloth_mass_g_m2,
    covers,
    openness,
)
from weavecolor.textile.usual import USUAL, usual_section
from weavecolor.textile.yarn import greatest_packing

#: Sorts of yarn, with the setts and covers of sheer cloth made of them (invented).
SORTS = {
    "silk organza": ((30, 50), (0.18, 0.42)),
    "polyester organza": ((28, 45), (0.15, 0.4)),
    "silk chiffon": ((35, 55), (0.25, 0.5)),
    "cotton voile": ((20, 30), (0.3, 0.5)),
}


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
                lobed = usual_section(yarn.fibre.name, yarn.kind, yarn.dull_per_mm, yarn.rods)
                section = rng.uniform(lobed.low, lobed.high)
                yarn = replace(
                    yarn, tex=tex, filaments=count, packing=share, flattening=flat, section=section
                )
                made.append(replace(yarn, colour=dyed(rng)))
            cloth = replace(plain, warp=made[0], weft=made[1])
            check_weavable(cloth)
        except InputError:
            continue
        return sort, cloth
    raise AssertionError("no weavable cloth in two hundred")


@dataclass(frozen=True, eq=False)
class Case:
    """An invented cloth, the room it is photographed in, and what is taken of it."""

    rng: np.random.Generator
    sort: str
    cloth: Cloth
    room: Room
    turned: bool
    threads: bool
    weighed: bool

    @classmethod
    def of(cls, seed: int, number: int) -> Case:
        rng = np.random.default_rng([seed, number])
        sort, cloth = invented(rng)
        turned, threads, weighed = rng.random(3) < (0.6, 0.4, 0.3)
        return cls(rng, sort, cloth, Room.drawn(rng), bool(turned), bool(threads), bool(weighed))

    @property
    def words(self) -> str:
        more = {"turned": self.turned, "fringe": self.threads, "weight": self.weighed}
        return ", ".join([self.sort, " ".join(["pair", *(k for k, yes in more.items() if yes)])])


@dataclass(frozen=True, eq=False)
class Outcome:
    """One cloth: what was seen of it, how far off each number told is, in half ranges; and what the
    fit was."""

    number: int
    case: Case
    seen: tuple[Seen, ...]
    off: dict[str, float]
    fit: Fit
    lesson: Lesson | None
    seconds: float

    @property
    def held(self) -> dict[str, bool]:
        return {name: abs(o) <= 1.0 for name, o in self.off.items()}


def outcome(seed: int, number: int, samples: bool = False) -> Outcome:
    """Invent, photograph, fit and ask cloth ``number`` of ``seed``."""
    case = Case.of(seed, number)
    rng, cloth, room = case.rng, case.cloth, case.room
    try:
        seen, bare = photographed(cloth, room, rng, case.turned, case.threads)
    except InputError:  # threads that cannot be told from the ground are refused
        case = replace(case, threads=False)
        seen, bare = photographed(cloth, room, rng, case.turned, False)
    counted = rng.normal(1.0, 0.005, 2) * (cloth.ends_per_cm, cloth.picks_per_cm)
    start = start_cloth("measured", *counted, warp_like=case.sort)
    known = []
    if case.weighed:
        weight = cloth_mass_g_m2(cloth)
        known = [Known("weight", weight * rng.normal(1.0, 0.04), 0.05 * weight)]
    began = time.process_time()
    fit = fit_cloth(start, seen, bare, known)
    seconds = time.process_time() - began
    off = told_off(fit, fit.quantities, cloth)
    lesson = None
    if samples:
        try:
            lesson = corrected(fit, cloth, rng)
            seen_off = ciede2000(lesson.seen, lesson.foretold) / lesson.within
            after = told_off(lesson.fit, lesson.fit.quantities, cloth)
            off |= {"sample": float(seen_off)} | {f"after {k}": v for k, v in after.items()}
        except InputError as error:
            print(f"{number:3d} {case.words}: sample refused, {error}", flush=True)
            off["sample"] = float("inf")
    return Outcome(number, case, tuple(seen), off, fit, lesson, seconds)


def told_off(fit: Fit, told: Sequence[Quantity], cloth: Cloth) -> dict[str, float]:
    """How far what was told of a cloth lies from the truth, in half ranges."""
    true = dict(zip(("warp cover", "weft cover"), covers(cloth), strict=True))
    true |= {"open share": openness(cloth), "weight": cloth_mass_g_m2(cloth)}
    true |= {"flattening": cloth.warp.flattening, "packing": cloth.warp.packing}
    off = {}
    for q in told:
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
    return off


def corrected(fit: Fit, cloth: Cloth, rng: np.random.Generator) -> Lesson:
    """A sample laid up of ``cloth``, photographed in another room, and what it teaches."""
    room, mine = Room.drawn(rng), fitted_cloth(fit)
    laid = [Layer(cloth, float(rng.choice([0.0, 90.0]))) for _ in range(int(rng.integers(1, 3)))]
    over = str(rng.choice(["white", "black"]))
    data = photograph(picture_of_layers(tuple(laid), over, room), room, rng)
    marks = {"sample": SWATCH, "paper": STRIP} | ({"ground": BARE} if over == "black" else {})
    one = measure_one(read_photograph(data, name="sample").linear, marks)
    return learn(sample_of(one, Stack(tuple(replace(layer, cloth=mine) for layer in laid))))


def row(o: Outcome) -> dict:
    """An outcome as it is kept: how far off what is told is, in what is stated, and how the fit
    went."""
    off = {name: abs(value) for name, value in o.off.items()}
    shrunk = {}
    if o.lesson is not None:
        for now, was in zip(o.lesson.fit.quantities, o.lesson.before, strict=True):
            ratio = np.ptp(now.around) / max(np.ptp(was.around), 1e-9)
            shrunk[f"range of {now.name} after a sample"] = float(ratio)
    return {
        "number": o.number, "words": o.case.words, "misfit": o.fit.misfit,
        "residual": o.fit.residual_de, "rounds": o.fit.rounds, "settled": o.fit.converged,
        "seconds": o.seconds, "off": off, "shrunk": shrunk,
        "looks": {}, "stated": {q.name: float(np.ptp(q.around)) for q in o.fit.quantities},
        "cloth": cloth_to_toml(fitted_cloth(o.fit)),
    }  # fmt: skip


def looked(seed: int, kept: dict) -> dict:
    """A kept outcome with how far colours and differences of the cloth kept are off, in what is
    stated of them, and with what that is in the middle."""
    seen: dict[str, list[float]] = defaultdict(list)
    wide: dict[str, list[float]] = defaultdict(list)
    true = true_looks([Case.of(seed, kept["number"]).cloth], ALWAYS)
    for one in rows([cloth_from_toml(kept["cloth"])], [true]):
        seen[f"looks: {one['kind']}"].append(one["miss"] / one["stated"])
        wide[f"looks: {one['kind']}"].append(one["stated"])
    told = {name: float(np.median(all_)) for name, all_ in wide.items()}
    return kept | {"looks": seen, "stated": kept["stated"] | told}


def one_row(seed: int, kept: dict | int, looks: bool, samples: bool) -> dict:
    """The outcome of a cloth, or one that was kept, with its looks where they are asked for."""
    made = row(outcome(seed, kept, samples)) if isinstance(kept, int) else kept
    return looked(seed, made) if looks else made


def summary(found: Sequence[dict]) -> list[str]:
    """What all outcomes together say, with and without a fringe of bare threads."""
    lines = []
    for words, own in (
        ("", found),
        ("with a fringe, ", [r for r in found if "fringe" in r["words"]]),
        ("without a fringe, ", [r for r in found if "fringe" not in r["words"]]),
    ):
        misses: dict[str, list[float]] = defaultdict(list)
        for r in own:
            for name, off in r["off"].items():
                misses[name].append(off)
            for name, offs in r["looks"].items():
                misses[name] += offs
        for name, offs in misses.items():
            held = sum(off <= 1.0 for off in offs)
            lines.append(f"{words}{name}: held the truth in {held} of {len(offs)}, "
                         f"{100 * held / len(offs):.0f} in 100; median miss of what is stated "
                         f"{np.median(offs):.2f}")  # fmt: skip
    ratios: dict[str, list[float]] = defaultdict(list)
    for r in found:
        for name, ratio in r["shrunk"].items():
            ratios[name].append(ratio)
    lines += [f"{name}: median {np.median(all_):.2f}" for name, all_ in ratios.items()]
    lines.append(f"settled: {sum(r['settled'] for r in found)} of {len(found)}")
    seconds = [r["seconds"] for r in found]
    lines.append(f"processor s a fit: median {np.median(seconds):.0f}, most {max(seconds):.0f}")
    return lines


def main() -> None:
    raw = argparse.RawTextHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=raw)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--cloths", type=int, default=100)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--only", default="")
    parser.add_argument("--looks", action="store_true")
    parser.add_argument("--samples", action="store_true")
    parser.add_argument("--kept", type=Path)
    parser.add_argument("--until", type=float, default=np.inf)
    given = parser.parse_args()
    found: list[dict] = []
    if given.kept is not None and given.kept.exists():
        found = [json.loads(line) for line in given.kept.read_text("utf-8").splitlines()]
    began, known = time.monotonic(), {r["number"]: r for r in found}
    left = [
        known.get(n, n)
        for n in range(given.first, given.first + given.cloths)
        if (n not in known or (given.looks and not known[n]["looks"]))
        and given.only in Case.of(given.seed, n).words
    ]
    with ProcessPoolExecutor(given.workers) as pool:
        while left and time.monotonic() - began < 60.0 * given.until:
            part, left = left[: given.workers], left[given.workers :]
            jobs = [pool.submit(one_row, given.seed, n, given.looks, given.samples) for n in part]
            for job in as_completed(jobs):
                try:
                    one = job.result()
                except InputError as error:  # a picture that cannot be read is no fit
                    print(f"refused: {error}", flush=True)
                    continue
                known[one["number"]] = one
                if given.kept is not None:
                    lines = [json.dumps(r) + "\n" for r in known.values()]
                    given.kept.write_text("".join(lines), "utf-8")
                offs = ", ".join(f"{k} {v:.2f}" for k, v in one["off"].items())
                print(
                    f"{one['number']:3d} {one['words']}: misfit {one['misfit']:.2f}, "
                    f"comes back within {one['residual']:.1f}, {one['rounds']} rounds, "
                    f"settled {one['settled']}, {one['seconds']:.0f} s; {offs}", flush=True,
                )  # fmt: skip
    print("\n".join(summary(list(known.values()))))


if __name__ == "__main__":
    main()
