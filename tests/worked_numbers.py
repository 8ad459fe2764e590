"""Prints what one process makes of the same input, as JSON; run by ``test_numerics``."""

import json
import sys
import threading

import numpy as np
from bidirectional import brf

from weavecolor.cutting.lay import lay
from weavecolor.cutting.pieces import Piece
from weavecolor.cutting.remnant import ClothInHand
from weavecolor.decide.compare import compare
from weavecolor.files.clothfile import cloth_to_toml, load_swatch
from weavecolor.making.file import to_json
from weavecolor.making.model import Making, MakingCloth
from weavecolor.optics.appearance import appearance
from weavecolor.optics.cell import filaments
from weavecolor.optics.stack import Layer, Stack
from weavecolor.report.comparisontable import as_json
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene

filaments.EFFORT = 0.02  # the same of few rays as of many

SWATCHES = ("shot-organza-red-black", "shot-chiffon-rose-yellow")


def stacks():
    """Four stacks of two constructions; each worked out from nothing in a new process."""
    found = []
    for name in SWATCHES:
        cloth = load_swatch(name)
        for grains in ((0.0,), (0.0, 45.0)):
            found.append(Stack(tuple(Layer(cloth, g) for g in grains), backing("white")))
    return found


def radiances(stack):
    return appearance(stack, scene("window at the side")).radiance


def in_threads(count):
    """The radiances of all stacks, worked out by ``count`` threads at once on empty caches."""
    found, wait = [None] * len(stacks()), threading.Barrier(count)

    def work(number):
        wait.wait()
        for index in range(len(found)):
            # All threads begin with the same stack, so that they meet at the same empty caches;
            # then each takes its own order.
            turn = index if index == 0 else (index * (number + 1)) % len(found)
            made = radiances(stacks()[turn])
            if found[turn] is None:
                found[turn] = made
            elif not np.array_equal(found[turn], made):
                raise SystemExit(f"thread {number} differs on stack {turn}")

    threads = [threading.Thread(target=work, args=(n,)) for n in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for index, stack in enumerate(stacks()):
        if found[index] is None:
            found[index] = radiances(stack)
    return np.array(found)


def serial():
    return np.array([radiances(stack) for stack in stacks()])


def factors():
    directions = [(0.0, 0.0), (45.0, 30.0), (60.0, 200.0)]
    return np.array([brf(s, directions, directions) for s in stacks()[::2]])


def text():
    """Everything that is written as text from one input."""
    cloth = load_swatch(SWATCHES[0])
    made = compare(
        cloth, (0.0, 90.0), (1, 2), (backing("black"),), (scene("window at the side"),)
    )
    table = as_json(made)
    pieces = [Piece.rectangle("front", 20, 40), Piece.rectangle("back", 25, 40, quantity=2)]
    laid = lay(pieces, ClothInHand(110.0, 90.0), tries=4)
    project = Making("Cape", cloths=(MakingCloth.from_toml("own", cloth_to_toml(cloth)),))
    placed = [[p.name, p.cut] for p in laid.placements]
    return [table, cloth_to_toml(cloth), to_json(project), json.dumps(placed)]


if __name__ == "__main__":
    what = sys.argv[1]
    if what == "text":
        sys.stdout.write("\n".join(text()))
    elif what == "alone":
        print(json.dumps([factors().tolist(), serial().tolist()]))
    else:
        values = factors() if what == "brf" else in_threads(int(what))
        print(json.dumps(values.tolist()))
