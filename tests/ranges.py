"""Whether stated ranges hold: cloths as they might truly be, against the cloth that was described.

    python -m tests.ranges [--draws N] [--seed S] [--only WORDS] [--workers N] [--keep FILE]
        [--hung] [--uncounted] [--trace | --slopes]

For each swatch, each label of ``tests/data/labels.toml`` and each pair of :data:`PAIRS`, what its
file leaves open is drawn anew: what was assumed within its range (packing, flattening, filaments,
their section, twist, scattering inside, a count that nobody told, how a weight is shared), what was
measured by its spread; of what was stated 3 % of the count; besides the index of the fibre, how the
crimp is shared, and the dye by its own spread. Each such cloth is worked out by the same optics, so
the error of the optics themselves is no part of it, nor is what ranges count of the other hand of
twist. It is looked at by the window, in the ballroom and
in three more places, which change from draw to draw. Prints in how many of 100 what is stated of
colours and differences holds the truth, how wide it is in the middle, and how far it is missed.

--hung looks at the cloth in folds, as it hangs in each place: in truth as one garment does, a shape
from one side.

--trace works out the true looks alone and keeps them in FILE; without it they are read from there,
if it is there, so that another way to state ranges is held against the same cloths.

--slopes prints instead what ``weavecolor.optics.mightbe_build.BUILD`` is taken from: for rods, and
for yarns of many fibres, by least squares over cloths whose dye's reading is kept, in even light:
by what share more hinders the light in one layer, and by how much the logarithm of what it sends
back grows, with each cause, in black yarn and by how much more in white; and what is left. Few
cloths alike do not tell the causes apart.
"""

from __future__ import annotations

import argparse
import itertools
import json
import sys
import tomllib
from collections import defaultdict
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from garments import garments, upright

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.colour.spectra import WAVELENGTHS, frozen
from weavecolor.decide.compare import AXES, Option, evaluate, steps
from weavecolor.decide.showthrough import DARK_TAPE
from weavecolor.errors import InputError
from weavecolor.files.clothfile import cloth_from_dict, load_swatch, swatch_names
from weavecolor.optics.appearance import appearances, in_scenes
from weavecolor.optics.dye import absorption_of_wound, dye_of, from_colour
from weavecolor.optics.mightbe_build import Built
from weavecolor.optics.stack import Layer, Stack, layers_words
from weavecolor.optics.uncertainty import sort_of
from weavecolor.scene.backings import backing
from weavecolor.scene.folds import Parts, hung
from weavecolor.scene.places import custom_scene, scene, scene_names, with_viewer
from weavecolor.scene.scene import Scene
from weavecolor.textile.cloth import Cloth, Yarn
from weavecolor.textile.construction import check_weavable, geometry_of
from weavecolor.textile.howknown import HowKnown
from weavecolor.textile.usual import COUNT_OFF, Span
from weavecolor.textile.yarn import RANGES, greatest_packing

LABELS = Path(__file__).parent / "data" / "labels.toml"
#: Cloths that are laid one on the other.
PAIRS = (
    ("shot-organza-red-black", "silk-satin-gold"),
    ("white-silk-chiffon", "copper-blue-taffeta"),
    ("white-tulle", "sky-chambray"),
    ("stage-gauze-black", "white-polyester-organza"),
    ("rose-cotton-voile", "natural-linen"),
    ("navy-gold-silk-organza", "dusk-georgette"),
)
ALWAYS = ("window at the side", "ballroom")
UNCOUNTED = ", uncounted"
ASLANT, LAMP, FOLDED = "window, seen aslant", "reading lamp", ", in folds"
#: Places beside these a draw is looked at in, of all that there are.
MORE = 3
#: Layers, grain, face and lay of what is looked at; back out where face and back differ.
LAID = (
    (1, 0.0, "face", "loose"), (1, 45.0, "face", "loose"), (1, 90.0, "face", "loose"),
    (2, 0.0, "face", "loose"), (2, 90.0, "face", "loose"), (2, 0.0, "face", "apart"),
    (3, 0.0, "face", "loose"), (1, 0.0, "back", "loose"),
)  # fmt: skip
GROUNDS = (*map(backing, ("white", "skin medium", "black")), None, DARK_TAPE)
INDEX_SPREAD, TEX_SPREAD, CRIMP_SPREAD = 0.01, 0.03, 0.1
#: Share of the variance that warp and weft of one fibre have in common; by judgement, no source.
ALIKE = 0.7
#: How far the ratio of two counts may be off that only a weight told, a logarithm, nine times in
#: ten; by judgement, no source.
SHARED_OFF = 0.25


@lru_cache(maxsize=1)
def labels() -> dict[str, dict]:
    """The tables of :data:`LABELS`, by name."""
    return tomllib.loads(LABELS.read_text("utf-8"))


@lru_cache(maxsize=128)
def described(name: str) -> Cloth:
    """The cloth of a label, or a swatch."""
    label = name.removesuffix(UNCOUNTED)
    if label in labels():
        told = {"name": name, **labels()[label]}
        if label != name:
            del told["ends"], told["picks"]
        return cloth_from_dict(told)
    return load_swatch(name)


def _uncounted() -> dict[str, tuple[Cloth, ...]]:
    """Labels that tell no setts, of such cloth as has usual ones."""
    out = {}
    for label in labels():
        try:
            out[label + UNCOUNTED] = (described(label + UNCOUNTED),)
        except InputError:
            continue
    return out


def cases() -> dict[str, tuple[Cloth, ...]]:
    """One cloth, or two to be laid one on the other, by name."""
    single = {name: (described(name),) for name in (*swatch_names(), *labels())} | _uncounted()
    return single | {" + ".join(pair): tuple(map(described, pair)) for pair in PAIRS}


@lru_cache(maxsize=64)
def place(name: str) -> Scene:
    """A scene of the tool's, or one of this file's, or either as cloth in folds meets it."""
    if name.endswith(FOLDED):
        return hung(place(name.removesuffix(FOLDED)))
    if name == ASLANT:
        return replace(with_viewer(scene(ALWAYS[0]), 40.0, 300.0), name=ASLANT)
    if name == LAMP:
        return custom_scene("ballroom tungsten", 35.0, 290.0, 0.25, half_deg=6.0, name=LAMP)
    return scene(name)


def places(rng: np.random.Generator) -> tuple[str, ...]:
    """Where a draw is looked at."""
    others = [x for x in (*scene_names(), ASLANT, LAMP) if x not in ALWAYS]
    return (*ALWAYS, *map(str, rng.choice(others, MORE, replace=False)))


def _within(span: Span, z: float) -> float:
    """A number that lies in the span nine times in ten, for a normal ``z``: normal to either side
    of the usual one."""
    side = span.high - span.usual if z > 0 else span.usual - span.low
    return float(span.usual + z / 1.645 * side)


def _open(how: HowKnown | None, told: float, z: float) -> float:
    """A number of a cloth as it might truly be, by how it is known."""
    if how is None or how.way == "stated":
        return told
    if how.way == "assumed" and how.low is not None and how.high is not None:
        return _within(Span(told, min(told, how.low), max(told, how.high)), z)
    return told + z * (how.spread or 0.0)


def _setts(cloth: Cloth, rng: np.random.Generator) -> dict[str, float]:
    """Ends and picks per cm; where nobody counted them, mostly close or open both ways."""
    known, told = dict(cloth.known), {"ends": cloth.ends_per_cm, "picks": cloth.picks_per_cm}
    if not set(told) & set(known):
        return told
    both, *own = rng.spawn(1)[0].normal(size=3)
    out = {}
    for (key, sett), mine in zip(told.items(), own, strict=True):
        how = known.get(key)
        supposed = how is not None and how.way == "assumed"
        z = np.sqrt(ALIKE) * both + np.sqrt(1.0 - ALIKE) * mine if supposed else mine
        out[key] = max(0.3 * sett, _open(how, sett, z))
    return out


def _counts(
    cloth: Cloth, setts: dict[str, float], z: Sequence[np.ndarray], shares: Sequence[float]
) -> dict[str, float]:
    """Counts of warp and weft, tex. Where only a weight was told, it is off by its own, and shared
    as the ranges of both counts tell: what one has more the other has less."""
    known, out = dict(cloth.known), {}
    hows = {name: known.get(f"{name}.count") for name in ("warp", "weft")}
    if cloth.declared_g_m2 and all(how and how.way == "assumed" for how in hows.values()):
        per_tex = {"warp": cloth.ends_per_cm, "weft": cloth.picks_per_cm}
        set_now = {"warp": setts["ends"], "weft": setts["picks"]}
        told = {name: getattr(cloth, name).tex for name in hows}
        # all of the range but what the weight's own error makes of it is how it is shared
        low, high = (
            np.log(hows["weft"].high / hows["warp"].low / (told["weft"] / told["warp"]))
            - np.log((1.0 + COUNT_OFF) / (1.0 - COUNT_OFF)),
            np.log(told["weft"] / told["warp"] / (hows["weft"].low / hows["warp"].high))
            - np.log((1.0 + COUNT_OFF) / (1.0 - COUNT_OFF)),
        )
        spread = 0.5 * (abs(low) + abs(high))
        if "ends" in known or "picks" in known:  # of which the ranges of the counts hold as much
            spread = SHARED_OFF
        ratio = told["weft"] / told["warp"] * np.exp(spread * shares[0] / 1.645)
        mass = sum(per_tex[name] * told[name] for name in hows) * np.exp(
            np.log1p(COUNT_OFF) * shares[1] / 1.645
        )
        warp = mass / (set_now["warp"] + set_now["weft"] * ratio)
        return {"warp": float(warp), "weft": float(warp * ratio)}
    for name, own in zip(hows, z, strict=True):
        how, tex = hows[name], getattr(cloth, name).tex
        if how is None or how.way == "stated":
            out[name] = tex * float(np.exp(TEX_SPREAD * own[1]))
        elif how.low and how.high:
            logs = np.log([tex, min(how.low, tex), max(how.high, tex)])
            out[name] = float(np.exp(_within(Span(*logs), own[1])))
        else:
            out[name] = _open(how, tex, own[1])
    return out


def _yarn(
    yarn: Yarn, system: str, known: dict[str, HowKnown], tex: float, z: np.ndarray, dye: np.ndarray
) -> Yarn:
    """A yarn that ``yarn`` might truly be, for 8 normal numbers and errors of its dye."""

    def left(key: str, told: float, z: float) -> float:
        return _open(known.get(f"{system}.{key}"), told, z)

    index = {
        name: float(np.clip(getattr(yarn.fibre, name) + INDEX_SPREAD * z[0], 1.31, 1.89))
        for name in ("n_parallel", "n_perpendicular")
    }
    filaments = yarn.filaments
    if filaments > 1:
        number = left("filaments", filaments, z[2])
        if f"{system}.filaments" in known:  # as fine in yarn of another count
            number *= tex / yarn.tex
        filaments = max(2, round(number))
    most = greatest_packing(1 if yarn.gum else filaments)
    made = replace(
        yarn, fibre=replace(yarn.fibre, **index), tex=tex, filaments=filaments,
        packing=float(np.clip(left("packing", yarn.packing, z[3]), 0.3, most)),
        flattening=max(1.0, left("flattening", yarn.flattening, z[4])),
        twist_turns_m=max(0.0, left("twist", yarn.twist_turns_m, z[5])),
        dull_per_mm=max(0.0, left("dull_per_mm", yarn.dull_per_mm, z[6])),
        section=float(np.clip(left("section", yarn.section, z[7]), *RANGES["section"][:2])),
    )  # fmt: skip
    sigma = (
        absorption_of_wound(yarn.colour, made) if yarn.absorption is None else yarn.absorption
    )
    return replace(made, absorption=frozen(np.clip(sigma * np.exp(dye), 0.0, 9e4)))


def _yarns(
    cloth: Cloth, setts: dict[str, float], rng: np.random.Generator, unsure: bool = True
) -> dict[str, Yarn]:
    """Warp and weft: what is of one fibre mostly errs alike (:data:`ALIKE`), so does one dye."""
    # one error for all wavelengths, and one that goes over from one to the next in 80 nm
    apart = (WAVELENGTHS[:, None] - WAVELENGTHS[None]) / 80.0
    near = np.linalg.cholesky(np.exp(-0.5 * apart**2) + 1e-6 * np.eye(len(apart)))

    (lies,) = rng.spawn(1)

    def draw() -> tuple[np.ndarray, np.ndarray]:
        build = np.append(rng.normal(size=7), lies.normal())
        return build, np.sqrt(0.5) * (rng.normal() + near @ rng.normal(size=len(near)))

    both, *own = draw(), draw(), draw()
    same = (cloth.warp.fibre, cloth.warp.kind) == (cloth.weft.fibre, cloth.weft.kind)
    dyed = same and np.array_equal(cloth.warp.colour, cloth.weft.colour)
    (warp, warp_dye), (weft, weft_dye) = (
        tuple(
            np.sqrt(ALIKE) * shared + np.sqrt(1.0 - ALIKE) * mine if alike else mine
            for shared, mine, alike in zip(both, one, (same, dyed), strict=True)
        )
        for one in own
    )
    known = dict(cloth.known)
    counts = _counts(cloth, setts, (warp, weft), rng.normal(size=2))
    out = {}
    for name, z, dye in (("warp", warp, warp_dye), ("weft", weft, weft_dye)):
        yarn, how = getattr(cloth, name), known.get(f"{name}.colour")
        by_eye = how is not None and how.way == "assumed" and yarn.absorption is None
        less, more = (from_colour(yarn.colour, yarn) if by_eye else dye_of(yarn)).sides
        error = np.where(dye < 0.0, less, more) * dye * unsure
        out[name] = _yarn(yarn, name, known, counts[name], z, error)
    return out


def truth(cloth: Cloth, rng: np.random.Generator, dyed: bool = True) -> Cloth:
    """A cloth that ``cloth`` might truly be; not ``dyed``: its dye is as told."""
    for _ in range(50):
        try:
            share = geometry_of(cloth).warp_share + rng.normal(0.0, CRIMP_SPREAD)
            setts = _setts(cloth, rng)
            made = replace(
                cloth, **_yarns(cloth, setts, rng, dyed), ends_per_cm=setts["ends"],
                picks_per_cm=setts["picks"], warp_share=float(np.clip(share, 0.05, 0.95)),
            )  # fmt: skip
            check_weavable(made)
        except InputError:
            continue  # cannot be woven
        return made
    raise AssertionError(f"{cloth.name}: nothing could be woven")


def options(cloths: Sequence[Cloth], where: Sequence[str]) -> list[Option]:
    """What is looked at: one cloth as in :data:`LAID`; of two, each over the other, and the first
    alone and turned."""
    if len(cloths) == 1:
        (cloth,) = cloths
        stacks = [
            ("", Stack((Layer(cloth, grain, face),) * depth, None, lay))
            for depth, grain, face, lay in LAID
            if face == "face" or any(np.mean(row) != 0.5 for row in cloth.weave.lift)
        ]
    else:
        one, other = (Layer(cloth) for cloth in cloths)
        turned = replace(one, grain_deg=90.0)
        stacks = [
            (layers_words(stack), stack)
            for stack in map(Stack, ((one, other), (other, one), (turned, other), (one,)))
        ]
    return [
        Option(replace(stack, backing=ground), place(name), label)
        for name in where
        for label, stack in stacks
        for ground in GROUNDS
    ]


def _changed(one: Option, other: Option) -> list[str]:
    return [axis for axis in _axes(one) if one.aspect(axis) != other.aspect(axis)]


def _axes(one: Option) -> tuple[str, ...]:
    """What options differ in: whole stacks by their label alone."""
    return ("scene", "stack", "backing") if one.label else AXES


@dataclass(frozen=True)
class Looks:
    """Of one draw: where it was looked at, and how it looks, as :func:`options` has it: Lab, and
    once the eye has settled to the light."""

    where: tuple[str, ...]
    Lab: np.ndarray
    settled: np.ndarray


def true_looks(
    cloths: Sequence[Cloth], where: Sequence[str], parts: Parts | None = None
) -> Looks:
    """How cloths look; each stack is laid once for all places and grounds; ``parts``: of the folds
    of a garment."""
    asked = options(cloths, where)
    by_stack = defaultdict(list)
    for k, option in enumerate(asked):
        bare = replace(option.stack, backing=None)
        by_stack[bare].append(k)
    read = [None] * len(asked)
    scenes = [hung(place(x.removesuffix(FOLDED)), parts) if parts else place(x) for x in where]
    for stack, those in by_stack.items():
        found = in_scenes(stack, GROUNDS, scenes)
        for k, one in zip(those, itertools.chain(*found), strict=True):
            read[k] = one.reading
    return Looks(
        tuple(where), np.array([one.Lab for one in read]), np.array([one.settled for one in read])
    )


def drawn(name: str, seed: int, number: int, folded: bool = False) -> Looks:
    """Draw ``number`` of a case: the same whoever asks; ``folded``: as one garment hangs by the
    window and in the ballroom."""
    cloths, rng = cases()[name], np.random.default_rng([seed, *name.encode(), number])
    where, parts = places(rng), None
    if folded:
        (hangs,) = rng.spawn(1)
        sides = garments(str(hangs.choice(upright())))
        parts = sides[hangs.integers(len(sides))]
        where = tuple(x + FOLDED for x in ALWAYS)
    return true_looks([truth(cloth, rng) for cloth in cloths], where, parts)


def _drawn(asked: tuple[str, int, int, bool]) -> Looks:
    return drawn(*asked)



def rows(cloths: Sequence[Cloth], looked: Sequence[Looks]) -> list[dict]:
    """One row a colour and a difference: what was said, how far the truth is from it, and the range
    stated."""
    where = tuple(dict.fromkeys(name for one in looked for name in one.where))
    asked = options(cloths, where)
    per_place = len(asked) // len(where)
    outcomes = evaluate(asked)
    pairs = [
        (i, j, changed[0])
        for i, j in itertools.combinations(range(len(asked)), 2)
        if len(changed := _changed(asked[i], asked[j])) == 1
    ]
    told = steps(outcomes, [(i, j) for i, j, _ in pairs])
    out = []
    for number, one in enumerate(looked):
        mine = {where.index(name): k for k, name in enumerate(one.where)}

        def at(k: int, mine: dict[int, int] = mine) -> int | None:
            there = mine.get(k // per_place)
            return None if there is None else there * per_place + k % per_place

        for k, outcome in enumerate(outcomes):
            if (true := at(k)) is not None:
                out.append(_row(number, "colour", asked[k], None, 0.0,
                                float(ciede2000(outcome.appearance.reading.Lab, one.Lab[true])),
                                outcome.uncertainty.stated))  # fmt: skip
        chosen = [(step, axis, a, b) for (i, j, axis), step in zip(pairs, told, strict=True)
                  if (a := at(i)) is not None and (b := at(j)) is not None]  # fmt: skip
        if not chosen:
            continue
        a, b = (np.array([c[k] for c in chosen]) for k in (2, 3))
        across = np.array([c[1] == "scene" for c in chosen])[:, None]
        is_ = ciede2000(
            *(np.where(across, one.settled[k], one.Lab[k]) for k in (a, b))
        )
        for (step, axis, *_), true in zip(chosen, is_, strict=True):
            out.append(_row(number, axis, asked[step.start], asked[step.end], step.delta,
                            abs(float(true) - step.delta), step.uncertainty.stated))  # fmt: skip
    return out


def _row(
    number: int, kind: str, one: Option, other: Option | None, said: float, miss: float,
    stated: float,
) -> dict:  # fmt: skip
    def what(option: Option) -> list[str]:
        return [option.aspect(axis) for axis in AXES]

    return {
        "draw": number, "kind": kind, "place": one.scene.name, "look": what(one),
        "other": what(other) if other else None, "said": said, "miss": miss, "stated": stated,
    }  # fmt: skip


def _even(cloth: Cloth) -> np.ndarray:
    """Logarithms of what hinders even light in one layer, and of what is sent back of it."""
    grounds = [backing("black"), backing("white")]
    seen = appearances(Stack((Layer(cloth),)), grounds, scene("overcast"))
    dark, light = (one.radiance_factor.mean() for one in seen)
    return np.log([-np.log((light - dark) / grounds[1].reflectance.mean()), dark])


def _moved(asked: tuple[str, int, int]) -> tuple[np.ndarray, np.ndarray]:
    """Of a draw: its causes, in black yarn and beyond that in white, and what they moved."""
    name, seed, number = asked
    (cloth,), rng = cases()[name], np.random.default_rng([seed, *name.encode(), number])
    made, causes = truth(cloth, rng, False), []
    for told_, true, closer in (
        (cloth.warp, made.warp, made.ends_per_cm / cloth.ends_per_cm),
        (cloth.weft, made.weft, made.picks_per_cm / cloth.picks_per_cm),
    ):
        logs = (np.log([getattr(true, key)]) for key in ("tex", "flattening", "packing",
                                                         "filaments"))  # fmt: skip
        causes.append(Built(told_, *logs, np.log([closer])).causes()[:, 0])
    cause = np.mean(causes, axis=0)
    pale = 0.5 * float(np.mean(cloth.warp.colour) + np.mean(cloth.weft.colour))
    hinders, back = _even(made) - _even(cloth)
    return np.concatenate([cause, pale * cause]), np.array([np.expm1(hinders), back])


def slopes(found: Sequence[tuple[np.ndarray, np.ndarray]]) -> str:
    """By least squares, what moves with each cause, and what is left of it."""
    causes, moved = (np.array(part) for part in zip(*found, strict=True))
    by = np.linalg.lstsq(causes, moved, rcond=None)[0]
    left = np.sqrt(np.mean((moved - causes @ by) ** 2, axis=0))
    return "\n".join(
        f"{what:8s} " + ", ".join(f"{b:.2f} {w:+.2f}" for b, w in column.reshape(2, -1).T)
        + f"; left {rest:.3f} of {whole:.3f}"
        for what, column, rest, whole in zip(("hinders", "back"), by.T, left, moved.std(axis=0),
                                             strict=True)
    )  # fmt: skip


def told(found: Iterable[dict]) -> str:
    """Coverage and size by kind."""
    by_kind = defaultdict(list)
    for one in found:
        by_kind[one["kind"]].append((one["miss"], one["stated"]))
    lines = []
    for kind in ("colour", *AXES):
        if kind in by_kind:
            miss, stated = np.array(by_kind[kind]).T
            lines.append(
                f"{kind:8s} {len(miss):6d}  {100 * np.mean(miss <= stated):5.1f} of 100 held, "
                f"stated {np.median(stated):.2f}, rms {np.sqrt(np.mean(miss**2)):.2f}"
            )
    return "\n".join(lines)


def _judged(asked: tuple[str, list[Looks]]) -> list[dict]:
    name, looked = asked
    return [{"case": name, **row} for row in rows(cases()[name], looked)]


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.ranges")
    parser.add_argument("--draws", type=int, default=6)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", help="cases whose names hold this")
    parser.add_argument("--uncounted", action="store_true",
                        help="labels without their setts instead, which are then supposed")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="where true looks are kept")
    parser.add_argument("--hung", action="store_true", help="cloth in folds, as it hangs there")
    parser.add_argument("--trace", action="store_true", help="only work out true looks")
    parser.add_argument("--slopes", action="store_true", help="print what BUILD is taken from")
    parser.add_argument("--json", type=Path, help="where every row is written")
    asked = parser.parse_args(argv)
    names = [name for name in cases()
             if asked.only in name and name.endswith(UNCOUNTED) == asked.uncounted]  # fmt: skip
    with ProcessPoolExecutor(asked.workers) as pool:
        if asked.slopes:
            for rods in (True, False):
                mine = [name for name in names if len(cases()[name]) == 1 and all(
                    (sort_of(yarn) == "rods") == rods
                    for yarn in (cases()[name][0].warp, cases()[name][0].weft))]  # fmt: skip
                wanted = [(name, asked.seed, k) for k in range(asked.draws) for name in mine]
                if wanted:
                    print("rods" if rods else "many", slopes(list(pool.map(_moved, wanted))))
            return 0
        if asked.keep and asked.keep.exists():
            looked = read_looks(asked.keep)
            names = [name for name in names if name in looked]
        else:
            numbers = itertools.product(range(asked.draws), names)
            wanted = [(name, asked.seed, k, asked.hung) for k, name in numbers]
            looked = defaultdict(list)
            for (name, *_), one in zip(wanted, pool.map(_drawn, wanted), strict=True):
                looked[name].append(one)
            if asked.keep:
                keep_looks(asked.keep, looked)
        if asked.trace:
            return 0
        found: list[dict] = []
        for name, mine in zip(
            names, pool.map(_judged, [(name, looked[name]) for name in names]), strict=True
        ):
            print(name, told(mine), sep="\n", flush=True)
            found += mine
    print("all", told(found), sep="\n")
    if asked.json:
        asked.json.write_text(json.dumps(found), "utf-8")
    return 0


def keep_looks(file: Path, looked: dict[str, list[Looks]]) -> None:
    told = {
        name: [[one.where, one.Lab.tolist(), one.settled.tolist()] for one in mine]
        for name, mine in looked.items()
    }
    file.write_text(json.dumps(told), "utf-8")


def read_looks(file: Path) -> dict[str, list[Looks]]:
    return {
        name: [Looks(tuple(where), np.array(Lab), np.array(seen)) for where, Lab, seen in mine]
        for name, mine in json.loads(file.read_text("utf-8")).items()
    }


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
