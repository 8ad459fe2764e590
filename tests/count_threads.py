"""Count threads in many drawn close-ups and print how often the count is right.

    python -m tests.count_threads [--seed N] [--pictures N] [--fine N]

Close-ups come from ``closeups``, which shares no code with the counter. Each is counted with a
scale that is wrong by its stated uncertainty. A seed and a number make the same pictures always.
The counter's evidence was weighed on pictures of seed 101; take any other.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from closeups import Closeup, any_closeup, photograph

from weavecolor.errors import InputError
from weavecolor.measure.photograph import read_photograph
from weavecolor.measure.threads import count_threads

#: How well a scale is known, one relative standard uncertainty: what the command line takes.
SCALE_UNCERTAINTY = 0.003


@dataclass(frozen=True)
class Outcome:
    """One picture: relative errors and ranges of (ends, picks), or why it was refused."""

    closeup: Closeup
    errors: tuple[float, float] | None = None
    held: tuple[bool, bool] = (False, False)
    widths: tuple[float, float] = (0.0, 0.0)  # full ranges over the count
    refused: str = ""

    @property
    def right(self) -> bool:
        return self.errors is not None and max(map(abs, self.errors)) < 0.02


def outcome(seed: int, number: int, *, fine: bool = False) -> Outcome:
    """Draw and count picture ``number`` of ``seed``; ``fine``: 2 to 5.6 pixels to a thread."""
    rng = np.random.default_rng([seed, number])
    c = any_closeup(rng)
    if fine:
        pixels = float(np.exp(rng.uniform(np.log(2), np.log(5.6))))
        scale = pixels * max(c.ends_per_cm, c.picks_per_cm) / 10
        blur = float(rng.uniform(0.3, 0.8))
        c = replace(c, pixels_per_mm=scale, blur_px=blur, size=(300, 330))
    data, truth = photograph(c)
    told = c.pixels_per_mm * float(np.exp(SCALE_UNCERTAINTY * rng.standard_normal()))
    try:
        n = count_threads(
            read_photograph(data).linear, told, scale_uncertainty=SCALE_UNCERTAINTY
        )
    except InputError as error:
        return Outcome(c, refused=str(error))
    true = truth.ends_per_cm, truth.picks_per_cm
    value, around = (n.ends_per_cm, n.picks_per_cm), (n.ends_range, n.picks_range)
    return Outcome(
        c,
        (value[0] / true[0] - 1, value[1] / true[1] - 1),
        (around[0][0] <= true[0] <= around[0][1], around[1][0] <= true[1] <= around[1][1]),
        tuple((high - low) / v for v, (low, high) in zip(value, around, strict=True)),  # type: ignore[arg-type]
    )


def main() -> None:
    raw = argparse.RawTextHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=raw)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--pictures", type=int, default=100)
    parser.add_argument("--first", type=int, default=0, help="number of the first picture")
    parser.add_argument("--fine", type=int, default=0, help="also as many of too few pixels")
    given = parser.parse_args()
    numbers = range(given.first, given.first + given.pictures)
    seen = []
    for number in numbers:
        o = outcome(given.seed, number)
        seen.append(o)
        what = (
            o.refused[:90] if o.errors is None
            else f"off {o.errors[0]:+.4f} {o.errors[1]:+.4f}, range {o.widths[0]:.4f} "
            f"{o.widths[1]:.4f} {'holds' if all(o.held) else 'MISSES'}{'' if o.right else ' WRONG'}"
        )  # fmt: skip
        print(f"{number:4d} {o.closeup.family} {o.closeup.weave}: {what}", flush=True)
    answered = [o for o in seen if o.errors is not None]
    widths = [w for o in answered for w in o.widths]
    held = [h for o in answered for h in o.held]
    print(
        f"{len(seen)} pictures, {len(seen) - len(answered)} refused; of {len(answered)} answered "
        f"{sum(o.right for o in answered)} right within 2 % at the first answer, "
        f"{sum(all(o.held) for o in answered)} with both counts in their ranges "
        f"({np.mean(held):.3f} of single counts); median full range {100 * np.median(widths):.2f} %"
    )
    if given.fine:
        those = range(given.first, given.first + given.fine)
        fine = [outcome(given.seed, n, fine=True) for n in those]
        told = [o for o in fine if o.errors is not None]
        print(
            f"{len(fine)} of 2 to 5.6 pixels to a thread: {len(told)} not refused, "
            f"{sum(not o.right for o in told)} of them wrong"
        )


if __name__ == "__main__":
    main()
