"""Whether stated ranges hold: cloths as they might truly be, against the cloth that was described.

    python -m tests.ranges [--draws N] [--seed S] [--swatch NAME ...] [--dye-known]
        [--hung] [--json FILE] [--factors]

For each swatch, what a description leaves open is drawn anew, within the ranges that the trade's
usual yarns have: packing, flattening, number of filaments, twist, scattering inside, index of the
fibre, fineness of the thread (3 %, or the range of a count that nobody told), how the crimp is
shared, and the dye by its own spread. Each such cloth is worked out by the same optics, so the
error of the optics themselves is no part of it. Prints how far colours and differences move, and in
how many of 100 what was stated holds the truth.

--hung looks at the cloth in folds, as it hangs in each place.

--factors prints instead, by swatch, what ``weavecolor.optics.mightbe.BUILD`` is taken from: how the
logarithms of what one layer sends back (a) and of what it lets through (b, as a share of the
logarithm let through) move with the build alone, the dye's reading kept, in even light; and how
much further what is sent back moves in light from one side.
"""

from __future__ import annotations

import argparse
import itertools
import json
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from weavecolor.colour.colorimetry import adopted_white, ciede2000, settled
from weavecolor.colour.spectra import WAVELENGTHS, frozen
from weavecolor.decide.compare import near_daylight
from weavecolor.errors import InputError
from weavecolor.files.clothfile import load_swatch, swatch_names
from weavecolor.optics.appearance import appearances, in_scenes
from weavecolor.optics.dye import absorption_of_wound, dye_of, from_colour
from weavecolor.optics.mightbe import lots_in, open_colour, open_difference
from weavecolor.optics.stack import Layer, Stack
from weavecolor.optics.uncertainty import known_of, of_colour, of_difference
from weavecolor.scene.backings import backing
from weavecolor.scene.folds import hung
from weavecolor.scene.places import scene
from weavecolor.scene.scene import Scene
from weavecolor.textile.cloth import Cloth, Yarn
from weavecolor.textile.construction import geometry_of
from weavecolor.textile.howknown import HowKnown
from weavecolor.textile.usual import LUSTRES, Span, usual_yarn
from weavecolor.textile.yarn import greatest_packing

GRAINS, DEPTHS, GROUNDS = (0.0, 90.0), (1, 2), ("white", "skin medium", "black")
PLACES = ("window at the side", "ballroom")
HUNG = tuple(f"{place}, in folds" for place in PLACES)
INDEX_SPREAD, TEX_SPREAD, CRIMP_SPREAD = 0.01, 0.03, 0.1
#: Share of the variance that warp and weft of one fibre have in common; by judgement, no source.
ALIKE = 0.7


def _place(name: str) -> Scene:
    """A place by its name, or as cloth in folds meets it."""
    flat = name.removesuffix(", in folds")
    return scene(flat) if flat == name else hung(scene(flat))


def _within(span: Span, z: float) -> float:
    """A number that lies in the span nine times in ten, for a normal ``z``: normal to either side
    of the usual one."""
    side = span.high - span.usual if z > 0 else span.usual - span.low
    return float(span.usual + z / 1.645 * side)


def _yarn(
    yarn: Yarn, z: np.ndarray, dye: np.ndarray, spread: np.ndarray, count: HowKnown | None
) -> Yarn:
    """A yarn that ``yarn`` might truly be, for 7 and 41 normal numbers; ``count``: how its own is
    known."""
    usual = usual_yarn(yarn.fibre.name, yarn.kind)
    index = {
        name: float(np.clip(getattr(yarn.fibre, name) + INDEX_SPREAD * z[0], 1.31, 1.89))
        for name in ("n_parallel", "n_perpendicular")
    }
    tex, filaments = yarn.tex * float(np.exp(TEX_SPREAD * z[1])), yarn.filaments
    if count is not None and count.low and count.high:  # told by nobody
        tex = float(np.exp(_within(Span(*np.log([yarn.tex, count.low, count.high])), z[1])))
        filaments = max(1, round(filaments * tex / yarn.tex))
    if usual.fineness_dtex is not None and filaments > 1:
        fineness = _within(usual.fineness_dtex, z[2]) / usual.fineness_dtex.usual
        filaments = max(2, round(filaments / max(fineness, 0.3)))
    most = greatest_packing(1 if yarn.gum else filaments)
    packing = yarn.packing + _within(usual.packing, z[3]) - usual.packing.usual
    flat = yarn.flattening * _within(usual.flattening, z[4]) / usual.flattening.usual
    turns = usual.twist(tex)
    near = min(LUSTRES.values(), key=lambda s: abs(s.usual - yarn.dull_per_mm))
    made = replace(
        yarn, fibre=replace(yarn.fibre, **index), tex=tex, filaments=filaments,
        packing=float(np.clip(packing, 0.3, most)), flattening=max(1.0, flat),
        twist_turns_m=max(0.0, yarn.twist_turns_m + _within(turns, z[5]) - turns.usual),
        dull_per_mm=max(0.0, yarn.dull_per_mm + _within(near, z[6]) - near.usual),
    )  # fmt: skip
    sigma = (
        absorption_of_wound(yarn.colour, made) if yarn.absorption is None else yarn.absorption
    )
    sigma = np.clip(sigma * np.exp(spread * dye), 0.0, 9e4)
    return replace(made, absorption=frozen(sigma))


def _yarns(cloth: Cloth, rng: np.random.Generator, unsure: bool = True) -> dict[str, Yarn]:
    """Warp and weft: what is of one fibre mostly errs alike (:data:`ALIKE`), so does one dye."""
    # one error for all wavelengths, and one that goes over from one to the next in 80 nm
    apart = (WAVELENGTHS[:, None] - WAVELENGTHS[None]) / 80.0
    near = np.linalg.cholesky(np.exp(-0.5 * apart**2) + 1e-6 * np.eye(len(apart)))

    def draw() -> tuple[np.ndarray, np.ndarray]:
        return rng.normal(size=7), np.sqrt(0.5) * (rng.normal() + near @ rng.normal(size=len(near)))

    both, warp, weft = draw(), draw(), draw()
    same = (cloth.warp.fibre, cloth.warp.kind) == (cloth.weft.fibre, cloth.weft.kind)
    dyed = same and np.array_equal(cloth.warp.colour, cloth.weft.colour)
    out = {}
    for name, own in (("warp", warp), ("weft", weft)):
        z, dye = (
            np.sqrt(ALIKE) * shared + np.sqrt(1.0 - ALIKE) * mine if alike else mine
            for shared, mine, alike in zip(both, own, (same, dyed), strict=True)
        )
        yarn = getattr(cloth, name)
        how = dict(cloth.known).get(f"{name}.colour")
        by_eye = how is not None and how.way == "assumed"
        spread = (from_colour(yarn.colour, yarn) if by_eye else dye_of(yarn)).spread
        count = dict(cloth.known).get(f"{name}.count")
        out[name] = _yarn(yarn, z, dye * unsure, spread, count)
    return out


def truth(cloth: Cloth, rng: np.random.Generator, dyed: bool = True) -> Cloth:
    """A cloth that ``cloth`` might truly be; not ``dyed``: its dye is as told."""
    for _ in range(50):
        try:
            share = geometry_of(cloth).warp_share + rng.normal(0.0, CRIMP_SPREAD)
            made = replace(
                cloth, **_yarns(cloth, rng, dyed), warp_share=float(np.clip(share, 0.05, 0.95)),
            )  # fmt: skip
            appearances(Stack((Layer(made),)), [backing("white")], scene(PLACES[0]))
        except InputError:
            continue  # cannot be woven
        return made
    raise AssertionError(f"{cloth.name}: nothing could be woven")


def looks(
    cloth: Cloth, places: Sequence[str] = PLACES
) -> dict[tuple[str, float, int, str], np.ndarray]:
    """Lab by place, grain, layers and backing."""
    out = {}
    for grain, depth in itertools.product(GRAINS, DEPTHS):
        stack = Stack((Layer(cloth, grain),) * depth)
        found = in_scenes(stack, [backing(g) for g in GROUNDS], [_place(p) for p in places])
        for place, seen in zip(places, found, strict=True):
            for ground, one in zip(GROUNDS, seen, strict=True):
                out[place, grain, depth, ground] = one.reading.Lab
    return out


def mights(
    cloth: Cloth, places: Sequence[str] = PLACES
) -> dict[tuple[str, float, int, str], np.ndarray]:
    """What the tool draws for each look."""
    out = {}
    for grain, depth in itertools.product(GRAINS, DEPTHS):
        stack = Stack((Layer(cloth, grain),) * depth)
        found = lots_in(stack, [backing(g) for g in GROUNDS], [_place(p) for p in places])
        for place, drawn in zip(places, found, strict=True):
            out |= {(place, grain, depth, g): one for g, one in zip(GROUNDS, drawn, strict=True)}
    return out


def _held(key: tuple[str, float, int, str], Lab: np.ndarray, kind: str) -> np.ndarray:
    """Lab as it is held against another of that kind: across lights as a settled eye sees it."""
    white = _place(key[0]).white
    return settled(Lab, adopted_white(white, white, "2", True)) if kind == "scene" else Lab


def rows(cloth: Cloth, truths: list[Cloth], places: Sequence[str] = PLACES) -> list[dict]:
    """One row a colour and a difference: what was said, what is true, and the range stated."""
    base, known, drawn = looks(cloth, places), known_of([cloth]), mights(cloth, places)
    colours = {
        key: of_colour(known, open_colour(lab, drawn[key])).stated for key, lab in base.items()
    }
    changes = []  # kind, both looks, what is said of their difference, the range stated
    for one, other in itertools.combinations(base, 2):
        unlike = [k for k in range(4) if one[k] != other[k]]
        if len(unlike) != 1:
            continue
        day = near_daylight(_place(one[0])) and near_daylight(_place(other[0]))
        kind = ("scene", "grain", "layers", "backing")[unlike[0]]
        light = kind != "scene"
        held = [(_held(k, base[k], kind), _held(k, drawn[k], kind)) for k in (one, other)]
        said, left = float(ciede2000(held[0][0], held[1][0])), open_difference(*held)
        stated = of_difference(said, known, left, day, same_light=light, changed=(kind,)).stated
        changes.append((kind, one, other, said, stated))
    out = []
    for number, made in enumerate(truths):
        true = looks(made, places)
        for key, lab in base.items():
            out.append({
                "cloth": cloth.name, "draw": number, "kind": "colour", "place": key[0],
                "look": list(map(str, key)), "miss": float(ciede2000(lab, true[key])),
                "stated": colours[key],
            })  # fmt: skip
        for kind, one, other, said, stated in changes:
            is_ = float(ciede2000(*(_held(k, true[k], kind) for k in (one, other))))
            out.append({
                "cloth": cloth.name, "draw": number, "kind": kind, "place": one[0], "said": said,
                "look": list(map(str, one)), "miss": abs(said - is_), "stated": stated,
            })  # fmt: skip
    return out


def factors(cloth: Cloth, truths: list[Cloth]) -> str:
    """Means and standard deviations of a build's factors."""
    even, side = scene("overcast"), scene(PLACES[0])
    grounds = [backing("black"), backing("white")]

    def logs(one: Cloth, grain: float, place) -> tuple[float, float]:
        stack = Stack((Layer(one, grain),))
        dark, light = (x.radiance_factor for x in appearances(stack, grounds, place))
        return float(np.log(dark).mean()), float(np.log(light - dark).mean())

    base = logs(cloth, 0.0, even)
    found = np.array([logs(one, 0.0, even) for one in truths]) - base
    hinders = -(base[1] - np.log(backing("white").reflectance.mean()))
    more = -found[:, 1] / hinders
    back = float(more @ found[:, 0] / (more @ more))
    shine = [
        np.array([logs(one, g, side)[0] for one in truths]) - logs(cloth, g, side)[0] - found[:, 0]
        for g in GRAINS
    ]
    return (
        f"{cloth.name}: lean {more.mean():.2f} wide {more.std():.2f} back {back:.2f} "
        f"own {np.std(found[:, 0] - back * more):.2f} "
        f"from one side {np.sqrt(np.mean(np.square(shine))):.2f}"
    )


def told(found: list[dict]) -> str:
    """Coverage and size by kind."""
    lines = []
    for kind in ("colour", "scene", "grain", "layers", "backing"):
        own = [r for r in found if r["kind"] == kind]
        if own:
            held = 100.0 * np.mean([r["miss"] <= r["stated"] for r in own])
            size = np.sqrt(np.mean([r["miss"] ** 2 for r in own]))
            lines.append(f"{kind:8s} {len(own):5d}  {held:5.1f} of 100 held, rms {size:.2f}")
    return "\n".join(lines)


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.ranges")
    parser.add_argument("--draws", type=int, default=6)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--swatch", action="append")
    parser.add_argument("--dye-known", action="store_true", help="leave the dye as told")
    parser.add_argument("--hung", action="store_true", help="cloth in folds, as it hangs there")
    parser.add_argument("--json", type=Path)
    parser.add_argument("--factors", action="store_true", help="print what BUILD is taken from")
    asked = parser.parse_args(argv)
    found: list[dict] = []
    for number, name in enumerate(asked.swatch or swatch_names()):
        cloth = load_swatch(name)
        rng = np.random.default_rng([asked.seed, number])
        if asked.factors:
            truths = [truth(cloth, rng, False) for _ in range(asked.draws)]
            print(factors(cloth, truths), flush=True)
            continue
        truths = [truth(cloth, rng, not asked.dye_known) for _ in range(asked.draws)]
        mine = rows(cloth, truths, HUNG if asked.hung else PLACES)
        found += mine
        print(name, told(mine), sep="\n", flush=True)
        if asked.json:
            asked.json.write_text(json.dumps(found), "utf-8")
    if found:
        print("all", told(found), sep="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
