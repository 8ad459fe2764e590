"""Find paper, card and swatch in many drawn photographs and print how often that is right.

    python -m tests.find_swatches [--seed N] [--pictures N] [--first N]

Photographs come from ``cards``, which shares no code with the finder. A part is right when at most
a fiftieth of what is taken for it shows anything else; a picture when all its parts are there and
right. Where the finder refuses, or leaves a part out, the user is asked to mark it: a loss, but no
lie. A seed and a number make the same picture always.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from cards import CARD, ON_CARD, ON_PAPER, PAPER, CardPhoto, any_photo, photograph

from weavecolor.errors import InputError
from weavecolor.measure.photograph import read_photograph
from weavecolor.measure.regions import find_regions

PARTS = {
    "paper": PAPER, "card": CARD, "swatch over white": ON_PAPER, "swatch over black": ON_CARD,
}  # fmt: skip
#: What each layout is photographed for.
NEEDED = {
    "white": ("paper", "swatch over white"),
    "black": ("paper", "card", "swatch over black"),
    "both": tuple(PARTS),
}
#: Most of a part that may show something else.
STRAY = 0.02


@dataclass(frozen=True)
class Found:
    """One picture: share of strays by part found, and the parts needed that were left out."""

    photo: CardPhoto
    strays: dict[str, float]
    left_out: tuple[str, ...]

    @property
    def wrong(self) -> tuple[str, ...]:
        return tuple(k for k, v in self.strays.items() if v > STRAY)

    @property
    def right(self) -> bool:
        return not self.wrong and not self.left_out


def found(seed: int, number: int, layout: str | None = None) -> Found:
    """Draw picture ``number`` of ``seed`` and find its parts."""
    c = any_photo(np.random.default_rng([seed, number]), layout)
    data, label = photograph(c)
    needed = NEEDED[c.layout]
    try:
        regions = find_regions(read_photograph(data).linear)
    except InputError:
        return Found(c, {}, needed)
    strays = {}
    for name, region in regions.items():
        left, top, right, bottom = region.box
        mask = region.mask[top:bottom, left:right]
        seen = label[top:bottom, left:right][mask]
        strays[name] = float(((seen != PARTS[name]) & (seen >= 0)).mean()) if seen.size else 1.0
    return Found(c, strays, tuple(n for n in needed if n not in strays))


def main() -> None:
    raw = argparse.RawTextHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=raw)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--pictures", type=int, default=60)
    parser.add_argument("--first", type=int, default=0)
    given = parser.parse_args()
    seen = []
    for number in range(given.first, given.first + given.pictures):
        f = found(given.seed, number)
        seen.append(f)
        if not f.right:
            print(f"{number:4d} {f.photo.layout} {f.photo.strip}: left out {f.left_out}, wrong "
                  f"{ {k: round(f.strays[k], 2) for k in f.wrong} }", flush=True)  # fmt: skip
    for layout in NEEDED:
        own = [f for f in seen if f.photo.layout == layout]
        print(
            f"{layout}: {len(own)} pictures, {sum(f.right for f in own)} right, "
            f"{sum(bool(f.left_out) and not f.wrong for f in own)} left something out, "
            f"{sum(bool(f.wrong) for f in own)} wrong"
        )


if __name__ == "__main__":
    main()
