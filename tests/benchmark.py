"""How fast the optics is, as ratios and memory in one run: ``python -m tests.benchmark``.

Not a test: nothing here passes or fails by the clock. The unit is one two-layer stack over four
backings with colours that were not seen before, on a construction that was.
"""

from __future__ import annotations

import json
import resource
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from weavecolor.files.clothfile import load_swatch
from weavecolor.optics import appearance as looks
from weavecolor.optics import layer as layeroptics
from weavecolor.optics.adding import GAPS, Ground, add, as_stack, over_backings, viewed
from weavecolor.optics.cell import filaments, nodes, pairs
from weavecolor.optics.cell.nodes import unit as toward
from weavecolor.optics.stack import Layer, Stack
from weavecolor.picture.closeup import draw_closeup
from weavecolor.picture.hung import draw_hung, hung_frames
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene
from weavecolor.textile.cloth import Construction

CLOTH = "shot-organza-red-black"
TRACED = Path(__file__).parent / "data" / "traced_covers.json"


def timed(work, repeats: int = 5) -> float:
    """Least time of ``repeats`` runs, seconds."""
    best = np.inf
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best


_KEPT = (
    filaments._white, filaments.white_named, filaments._rays, filaments._first,
    filaments._followed, filaments._crossing, filaments._looked,
    layeroptics._solved, looks._layers, looks._piles, looks._seen, looks._got,
)  # fmt: skip


def forget() -> None:
    """Empty every cache of the optics."""
    for held in _KEPT:
        held.cache_clear()
    for thing in vars(pairs).values():
        if hasattr(thing, "cache_clear") and not isinstance(thing, type):
            thing.cache_clear()


def pictures(cloth, light) -> list[tuple[str, float]]:
    """Seconds of the pictures: new ones, and ones whose colours by angle are known already."""
    form = backing("skin medium")
    stack = Stack((Layer(cloth), Layer(cloth, 90.0)), form)
    turned = [
        Stack((Layer(cloth, a), Layer(cloth, 90.0 + a)), backing("skin medium"))
        for a in (5.0, 17.0, 32.0, 58.0)
    ]
    new = iter(turned)
    draw_hung(stack, light, behind=form, width_px=200, height_px=250)  # code, the screen's tables
    return [
        ("hung, a megapixel, new", timed(
            lambda: draw_hung(next(new), light, behind=form, width_px=900, height_px=1125),
            len(turned))),
        ("hung, a megapixel, looked up", timed(
            lambda: draw_hung(stack, light, behind=form, width_px=900, height_px=1125), 3)),
        ("close-up of a megapixel", timed(
            lambda: draw_closeup(stack, light, 1000, 1000), 2)),
        ("36 frames of 400 pixels, turning", timed(
            lambda: hung_frames(stack, light, behind=form), 1)),
    ]  # fmt: skip


def _against_path_tracing(dyeing: float, cold: float, numbers: int) -> None:
    """Prints how the time for one radiance factor compares with path tracing it to 1 %, by the
    time recorded with the traced table (mesh built and compiled before)."""
    speed = json.loads(TRACED.read_text())["speed"]
    traced = 20  # numbers in the recorded case: 5 views, 4 colours
    each, ours = speed["wall_seconds"] / traced, dyeing / numbers
    print(
        f"path tracing, to 1 %: {1e3 * each:.2f} ms for each of {traced} radiance factors "
        f"({speed['cores']} cores, recorded); here {1e9 * ours:.0f} ns for each of {numbers} "
        f"between nodes of a new colour: {each / ours:.0f} to 1"
    )
    print(
        f"for those {traced} alone, from nothing: {speed['wall_seconds']:.2f} s and "
        f"{speed['mesh_and_tree_seconds']:.1f} s for the mesh; here {cold:.2f} s"
    )


def _against_tracing(seconds: float, rays: int, dyeing: float) -> None:
    """Prints how the time for a new dye compares with following dyed light through the same cell:
    ``rays`` that leave it in ``seconds`` (they part at surfaces; each is taken for a path of its
    own, which is in favour of following). A radiance factor f into one of D nodes' shares of the
    sky is known to sqrt(D / (f paths)) of itself (``about`` in the filaments' reference file), and
    1 L* is 3 / (116 f^(1/3)) of it (CIE 15)."""
    size, factor = 2 * nodes.nodes().half, 0.3
    paths = size * size / (factor * (3.0 / (116.0 * factor ** (1.0 / 3.0))) ** 2)
    traced = 2 * paths * seconds / rays
    print(
        f"following two layers' light between the same {size} nodes to 1 L*: {paths:.1e} paths a "
        f"layer of {1e6 * seconds / rays:.2f} us, {traced:.0f} s; a new dye here, over four "
        f"backings, {dyeing:.3f} s: {traced / dyeing:.0f} to 1"
    )


def clear_cell() -> list[tuple[str, float]]:
    """Seconds of the cell of clear filaments: new constructions, a new direction, new dyes."""
    rows: list[tuple[str, float]] = []
    angles = ((0, 0), (45, 30), (60, 200))
    directions = tuple(tuple(toward(*np.radians(a)).tolist()) for a in angles)
    shades = iter(np.linspace(1.0, 20.0, 100))
    filaments.white_cell(rods(1, 0.031), each=2)  # code is compiled before
    for count in (1, 16, 60):
        cell = rods(count)
        rows.append(
            (f"clear cell, {count} filament(s), new", timed(lambda c=cell: _anew(c), 1))
        )
        rays = filaments.rays_each(cell)
        seconds = timed(lambda c=cell, n=rays: filaments.follow_cap(c, directions[1], n), 1)
        rows.append((f"one new direction of it, {count} filament(s)", seconds))
        shape = clear_construction(cell)

        def stack(cell=cell, shape=shape) -> None:
            made = layeroptics.solve(shape, cell, np.full((41, 2), next(shades)))
            upper, lower = (
                as_stack(layeroptics.laid(made, turn, False, directions))
                for turn in (0.0, np.pi / 2)
            )
            over_backings(
                add(upper, lower, GAPS["loose"], rows=viewed(lower)),
                [Ground(np.full(41, g)) for g in (0.05, 0.3, 0.6, 0.9)],
                GAPS["loose"],
            )

        stack()
        dyeing = timed(stack)
        rows.append((f"new dye, two layers, four backings, {count} filament(s)", dyeing))
        leaves = len(filaments.follow_cap(cell, directions[1], rays)[0].toward)
        _against_tracing(seconds, leaves, dyeing)
    return rows


def _anew(cell: filaments.FilamentCell) -> None:
    filaments._white.cache_clear()
    filaments.white_cell(cell)


def rods(count: int, swing: float = 0.03) -> filaments.FilamentCell:
    """A plain sheer of yarns of ``count`` filaments."""
    one = filaments.Strand(0.07, 0.07, count, 0.6 if count > 1 else 1.0, 1.55, 3.0)
    return filaments.FilamentCell(((1, 0), (0, 1)), one, one, 0.25, 0.26, swing, swing)


def clear_construction(cell: filaments.FilamentCell) -> Construction:
    """The outlines of its yarns."""
    d = cell.warp.width
    return Construction(cell.lift, cell.warp_spacing, cell.weft_spacing, d, d, d, d, 0.5)


def main() -> int:
    cloth, light = load_swatch(CLOTH), scene("window at the side")
    grounds = [backing(name) for name in ("white", "black", "calico", "skin medium")]
    shade = iter(np.linspace(0.99, 0.5, 1000))

    def look(layers: int, paint: bool, grains: tuple[float, ...] = (0.0, 90.0)) -> None:
        made = cloth
        if paint:
            made = replace(cloth, warp=replace(cloth.warp, colour=cloth.warp.colour * next(shade)))
        stack = Stack(tuple(Layer(made, grains[k % len(grains)]) for k in range(layers)))
        looks.appearances(stack, grounds, light)

    look(1, False)  # imports and tables
    forget()
    cold = timed(lambda: look(1, False), 1)
    look(2, False)
    unit = timed(lambda: look(2, True))
    rows = [
        ("new colours, two layers, four backings", unit),
        ("new construction, cold, one layer", cold),
    ]
    for layers in (1, 3, 4, 6):
        look(layers, False)
        rows.append((f"new colours, {layers} layer(s)", timed(lambda n=layers: look(n, True))))

    def new_directions(count: int) -> None:
        angles = [(float(z), 10.0 + float(z)) for z in np.linspace(5, 80, count)]
        for held in _KEPT[1:]:
            held.cache_clear()
        links = [(k, 0) for k in range(1, count)]
        looks.seen_optics(Stack((Layer(cloth),)), angles, links=links)

    for count in (4, 16, 64):
        seconds = timed(lambda n=count: new_directions(n), 2)
        rows.append((f"one layer, {count} new directions", seconds))
    for name in ("shot-twill-lining", "silk-satin-gold"):
        other = load_swatch(name)
        forget()
        seconds = timed(lambda c=other: looks.appearances(Stack((Layer(c),)), grounds, light), 1)
        repeat = f"{len(other.weave.lift)} x {len(other.weave.lift[0])}"
        rows.append((f"cold cell with {repeat} repeat", seconds))
    white = layeroptics.solved(cloth).white
    dye = layeroptics.solved(cloth).absorption
    bands_41 = timed(lambda: white.dyed(dye), 3)
    rows.append(("dyeing one layer (41 bands)", bands_41))

    rows += clear_cell()
    rows += pictures(cloth, light)
    print(f"{'what':46} {'seconds':>9} {'ratio':>8}")
    for what, seconds in rows:
        print(f"{what:46} {seconds:9.4f} {seconds / unit:8.2f}")
    grid = nodes.nodes()
    print(f"nodes {2 * grid.half}, bands 41")
    _against_path_tracing(bands_41, cold, (2 * grid.half) ** 2 * 41)
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
    return 0


if __name__ == "__main__":
    sys.exit(main())
