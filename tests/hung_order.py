"""Whether a ranking of cloth held flat finds what is best of a garment, which hangs in folds.

    python -m tests.hung_order [--groups 12] [--draws 6] [--seed 5]

Groups of two or three swatches, every stack of one or two layers, at two grains and both sides,
over three grounds, is worked out in full, held flat and in folds, by the window or in the ballroom.
For each of five wishes it prints how often the first place is another in folds, how much worse what
is best held flat serves there, how deep a list of the best held flat must be to hold what is best
in folds, and whether the search in folds finds that by itself. Then --draws cloths as each might
truly be (as ``tests.ranges`` draws them) are held against what the lists in folds state: the colour
of each option, and its difference from the first.
"""

from __future__ import annotations

import argparse
import itertools
from dataclasses import replace

import numpy as np

from tests.ranges import truth
from weavecolor.colour.colorimetry import ciede2000
from weavecolor.decide.candidates import Candidates, Material, candidates
from weavecolor.decide.compare import Option, evaluate, steps
from weavecolor.decide.evaluate import exact, viewpoints
from weavecolor.decide.search import search
from weavecolor.decide.wishes import Limits, Wish, total_loss
from weavecolor.files.clothfile import load_swatch, swatch_names
from weavecolor.optics.appearance import appearance
from weavecolor.optics.stack import Stack
from weavecolor.scene.backings import backing
from weavecolor.scene.folds import hung
from weavecolor.scene.places import scene

GROUNDS = tuple(map(backing, ("white", "black", "skin medium")))
#: How many of the best held flat a list would hold.
DEEP = (1, 5, 12, 30)


def wishes(rng: np.random.Generator, seen: np.ndarray) -> list[Wish]:
    """Extremes, and colours that lie near what some of the stacks show (n, 3)."""
    near = seen[rng.choice(len(seen), 3)] + rng.normal(0.0, 6.0, (3, 3))
    near[:, 0] = np.clip(near[:, 0], 5.0, 98.0)
    return [Wish("deepest"), Wish("brightest"), *(Wish("target", Lab) for Lab in near)]


def losses(allowed: Candidates, places: tuple) -> tuple[list[Stack], list]:
    """Every stack, and the measures of each pile over all grounds in ``places``."""
    stacks, found = [], []
    views = viewpoints(places, False)
    for depth in allowed.depths:
        for layers in itertools.product(allowed.layers, repeat=depth):
            stacks += [Stack(layers, ground) for ground in allowed.backings]
            found.append(exact(layers, allowed.backings, "loose", views))
    return stacks, found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--groups", type=int, default=12)
    parser.add_argument("--draws", type=int, default=6)
    parser.add_argument("--seed", type=int, default=5)
    asked = parser.parse_args()
    rng = np.random.default_rng(asked.seed)
    rows, told = [], []
    for number in range(asked.groups):
        names = rng.choice(swatch_names(), 2 + number % 2, replace=False)
        place = scene(("window at the side", "ballroom")[number // 2 % 2])
        faces = ("face", "back") if number % 2 == 0 else ("face",)
        allowed = candidates(
            [Material(load_swatch(str(name))) for name in names], GROUNDS,
            Limits((1, 2), grains=(0.0, 90.0), faces=faces),
        )  # fmt: skip
        stacks, found = losses(allowed, (place, hung(place)))
        seen = np.concatenate([one.scenes for one in found])
        for wish in wishes(rng, seen[:, 1]):
            flat, folded = (
                np.concatenate([
                    total_loss((wish,), replace(
                        one, scenes=one.scenes[:, k : k + 1], whites=one.whites[k : k + 1]
                    ))
                    for one in found
                ])
                for k in (0, 1)
            )  # fmt: skip
            order = np.argsort(flat, kind="stable")
            best = int(np.argmin(folded))
            # what is as good as the best to a hundredth counts as it
            deep = int(np.flatnonzero(folded[order] < folded[best] + 0.01)[0])
            made = search(allowed, [wish], [hung(place)])
            rows.append((deep, folded[order[0]] - folded[best],
                         made.options[0].loss - folded[best], made.guarantee.proven))  # fmt: skip
            print(
                f"{', '.join(names)}; {place.name}; {wish.kind}: of {len(stacks)} place {1 + deep} "
                f"held flat, the first of which is worse by {rows[-1][1]:.2f}", flush=True,
            )  # fmt: skip
            told += _missed(made, rng, asked.draws)
    deep, worse, own, _ = (np.array(column) for column in zip(*rows, strict=True))
    print(f"{len(rows)} wishes: another first place in {np.mean(deep > 0):.0%}, worse by "
          f"{np.median(worse[deep > 0]):.1f} in the middle, {worse.max():.1f} at most")  # fmt: skip
    for most in DEEP:
        print(f"the best {most} held flat hold the best in folds in {np.mean(deep < most):.0%}")
    print(f"the search in folds gives it in {np.mean(own < 0.01):.0%}, off by {own.max():.3f}")
    for kind in ("colour", "beside"):
        mine = np.array([row[1:] for row in told if row[0] == kind])
        print(f"{kind}: {np.mean(mine[:, 0] <= mine[:, 1]):.1%} of {len(mine)} held, ranges "
              f"{np.median(mine[:, 1]):.1f} in the middle")  # fmt: skip


def _missed(made, rng: np.random.Generator, draws: int) -> list[tuple[str, float, float]]:
    """Of each option of a list: how far the truth is from what is told, and the range stated."""
    outcomes = evaluate([Option(one.stack, made.scenes[0]) for one in made.options])
    beside = steps(outcomes, [(0, k) for k in range(1, len(outcomes))])
    out = []
    for _ in range(draws):
        true = {}
        for one in made.options:
            for layer in one.stack.layers:
                if layer.cloth.name not in true:
                    true[layer.cloth.name] = truth(layer.cloth, rng)
        looks = []
        for one in made.options:
            layers = tuple(replace(x, cloth=true[x.cloth.name]) for x in one.stack.layers)
            stack = replace(one.stack, layers=layers)
            looks.append(appearance(stack, made.scenes[0]).reading.Lab)
        for one, Lab in zip(outcomes, looks, strict=True):
            miss = float(ciede2000(one.appearance.reading.Lab, Lab))
            out.append(("colour", miss, one.uncertainty.stated))
        for step in beside:
            miss = abs(float(ciede2000(looks[0], looks[step.end])) - step.delta)
            out.append(("beside", miss, step.uncertainty.stated))
    return out


if __name__ == "__main__":
    main()
