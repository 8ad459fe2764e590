"""How long a search over a catalogue takes: invented cloths, each of its own construction, one or
two layers of any two of them, three grains, both faces, twelve backings.

    python -m tests.catalogue [--cloths 200] [--workers 0 1 2] [--hung]

``--workers 0`` is the process alone, which traces on two threads; with 1 and more each worker is
held to one core, so that two are told from one. Prints seconds by the clock and of the processor,
of this process and its workers, how many stacks were computed, and the answer's numbers, which are
the same however it was searched. --hung judges them in folds. Nothing is read from or kept on the
disk.
"""

from __future__ import annotations

import argparse
import os
import time
from concurrent.futures import ProcessPoolExecutor
from contextlib import nullcontext
from multiprocessing import get_context

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ["WEAVECOLOR_STORE"] = "0"

import numpy as np

from tests.decide_samples import dye
from weavecolor.decide.candidates import Candidates, Material, candidates
from weavecolor.decide.search import search
from weavecolor.decide.wishes import Limits, Wish
from weavecolor.errors import InputError
from weavecolor.scene.backings import backing
from weavecolor.scene.folds import hung
from weavecolor.scene.places import scene
from weavecolor.textile.cloth import Cloth, Yarn
from weavecolor.textile.fibres import fibre
from weavecolor.textile.weaves import weave

#: Weave, threads a cm, tex and fibre about which cloths are drawn: none shows the same on its back.
SORTS = (
    ("twill 2/1", 40.0, 2.3, "silk"), ("satin 5/2", 44.0, 3.3, "silk"),
    ("twill 2/1", 36.0, 3.3, "polyester"), ("twill 3/1", 45.0, 2.3, "silk"),
    ("satin 5/2", 48.0, 2.2, "nylon"),
)  # fmt: skip
BEHIND = ("white", "black", "calico", "skin light", "skin medium", "skin dark", "#334455",
          "#aa8866", "#552222", "#ddccbb", "#223322", "#8899aa")  # fmt: skip


def drawn(number: int, draw: np.random.Generator) -> Cloth:
    """A cloth of the sort of this number; what its fibre cannot make raises InputError."""
    woven, sett, tex, of = SORTS[number % len(SORTS)]
    yarns = [
        Yarn(fibre(of), tex * float(draw.uniform(0.8, 1.25)),
             dye(*draw.uniform(0.02, 0.8, 2), draw.uniform(420, 680), draw.uniform(10, 60)),
             packing=0.7, flattening=1.0, twist_turns_m=0.0, dull_per_mm=0.0)
        for _ in range(2)
    ]  # fmt: skip
    setts = sett * draw.uniform((0.85, 0.8), (1.1, 1.05))
    return Cloth(f"cloth {number}", *yarns, weave(woven), *map(float, setts))


def catalogue(cloths: int) -> Candidates:
    """What may be laid of so many cloths; always the same ones."""
    draw, made = np.random.default_rng(7), []
    while len(made) < cloths:
        try:
            made.append(Material(drawn(len(made), draw)))
        except InputError:
            continue
    limits = Limits(layers=(1, 2), grains=(0.0, 45.0, 90.0))
    return candidates(made, [backing(name) for name in BEHIND], limits)


def one_core(numbers: object) -> None:
    """Hold this process to a core of its own (Linux)."""
    cores = sorted(os.sched_getaffinity(0))
    os.sched_setaffinity(0, {cores[next_of(numbers) % len(cores)]})


def next_of(numbers: object) -> int:
    """The next whole number of a counter that processes share."""
    with numbers.get_lock():  # type: ignore[attr-defined]
        numbers.value += 1  # type: ignore[attr-defined]
        return int(numbers.value)  # type: ignore[attr-defined]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cloths", type=int, default=200)
    parser.add_argument("--workers", type=int, nargs="+", default=[0])
    parser.add_argument("--hung", action="store_true")
    asked = parser.parse_args()
    allowed = catalogue(asked.cloths)
    print(f"{asked.cloths} cloths, {len(allowed.layers)} ways to lay one, {allowed.count} stacks")
    wish, place = [Wish("target", np.array([39.0, 4.0, 7.0]))], [scene("window at the side")]
    if asked.hung:
        place = [hung(place[0])]
    for workers in asked.workers:
        spawn = get_context("spawn")
        pool = nullcontext() if not workers else ProcessPoolExecutor(
            workers, spawn, one_core, (spawn.Value("i", 0),)
        )  # fmt: skip
        clock, spent = time.perf_counter(), sum(os.times()[:4])
        with pool as executor:
            found = search(allowed, wish, place, executor=executor)
        spent, clock = sum(os.times()[:4]) - spent, time.perf_counter() - clock
        told = found.guarantee
        print(
            f"{workers} workers: {clock:.0f} s, {spent:.0f} of the processor; {told.screened} "
            f"computed, {told.bounded} bounded away, {told.ruled_out} ruled out; "
            f"{told.checked} worked out in full, off by {told.worst_error:.2f} at most"
        )
        print("  ", *(f"{one.key[0]}/{one.key[1]} {one.loss:.4f}" for one in found.options))


if __name__ == "__main__":
    main()
