"""A yarn from a wound card: the dye that was put in comes back within what is told."""

from __future__ import annotations

import re

import numpy as np
import pytest
from camera import BARE, COLUMNS, ROWS, STRIP, SWATCH, Room, colour_in, dyed, photograph

from weavecolor.cli import run
from weavecolor.cli.measure import grid
from weavecolor.colour.colorimetry import ciede2000
from weavecolor.colour.lights import light_spectrum
from weavecolor.colour.spectra import BANDS
from weavecolor.errors import InputError
from weavecolor.measure.grid import LEAST_COVER, read_grid
from weavecolor.measure.gridwords import grid_report, grid_table
from weavecolor.measure.observations import colour_of
from weavecolor.measure.parameters import linear_of
from weavecolor.measure.photograph import read_photograph
from weavecolor.measure.shots import look_wound
from weavecolor.measure.tocloth import start_cloth
from weavecolor.optics.dye import absorption_of_wound
from weavecolor.optics.kubelka import from_black_white
from weavecolor.optics.onelayer import Laid, between, grid_layer, over_backing
from weavecolor.textile.units import linear_density_tex

PER_CM = 90.0
ROOM = Room()


def wound(yarn, colour: np.ndarray, ground: float) -> np.ndarray:
    """Linear sRGB of one layer of ``yarn`` of the dye that looks like ``colour`` closely wound,
    over ``ground``, in even light; the light is traced anew."""
    ready = grid_layer(yarn, 10.0 / PER_CM, [Laid((0.0, 0.0, 1.0), (), False)])
    sigma = np.asarray(absorption_of_wound(colour, yarn))
    value, slope = between(ready, np.stack([sigma, np.zeros(BANDS)], axis=1))
    seen = over_backing(ready, 0, value, slope, np.full(BANDS, ground))[0][:, -1]
    return colour_in(seen, light_spectrum("daylight"))


@pytest.fixture(scope="module")
def yarn():
    return start_cloth("x", 40, 40, warp_like="silk organza", warp_tex=2.3, weft_tex=2.3).warp


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_dye_comes_back_within_what_is_told(yarn, seed):
    colour = dyed(np.random.default_rng(seed))
    seen = [(g, wound(yarn, colour, g), np.full(3, 0.004)) for g in (ROOM.paper, ROOM.card)]
    R, T = from_black_white(seen[1][1], seen[0][1], ROOM.paper, ROOM.card)
    found = read_grid(yarn, PER_CM, seen, (R, np.full(3, 0.01), T, np.full(3, 0.01)))
    Lab = [colour_of(linear_of(c)) for c in (colour, found.wound)]
    assert float(ciede2000(*Lab)) < found.within < 25.0
    assert found.missed < 5.0  # beyond, the report doubts the count
    assert 0.3 < found.cover <= 1.0 and (found.T > 0.0).all()
    assert "Its dye shows the photographs" in grid_report(found)
    assert len(grid_table(found).splitlines()) == 1 + BANDS


def test_a_card_wound_too_thinly_or_twice_is_refused(yarn):
    seen = [(0.87, [0.5] * 3, [0.01] * 3), (0.04, [0.3] * 3, [0.01] * 3)]
    pair = ([0.3] * 3, [0.01] * 3, [0.5] * 3, [0.01] * 3)
    with pytest.raises(InputError, match="wind them closer"):
        read_grid(yarn, 10.0, seen, pair)
    with pytest.raises(InputError, match="one on the other"):
        read_grid(yarn, 400.0, seen, pair)


def photographed_cards(folder):
    """A yarn, the colour of its dye, and photographs of it wound on a white and a black card."""
    tex = linear_density_tex("20/22 denier")
    yarn = start_cloth("x", PER_CM, PER_CM, warp_like="silk organza", warp_tex=tex,
                       weft_tex=tex).warp  # fmt: skip
    colour, paths = dyed(np.random.default_rng(1)), {}
    for over, ground in (("white", ROOM.paper), ("black", ROOM.card)):
        picture = np.full((ROWS, COLUMNS, 3), ground)
        for box, value in ((STRIP, ROOM.paper), (SWATCH, wound(yarn, colour, ground))):
            left, top, right, bottom = box
            picture[top:bottom, left:right] = value
        paths[over] = folder / f"{over}.jpg"
        paths[over].write_bytes(photograph(picture, ROOM, np.random.default_rng(3)))
    return yarn, colour, paths


def test_the_card_of_the_help_s_example_is_wound_closely_enough(yarn):
    told = " ".join(grid.epilog.split())
    per_cm = float(re.search(r'--threads "(\d+) /cm"', told)[1])
    assert '--like "silk organza" --count "20/22 denier"' in told
    assert LEAST_COVER < yarn.width_mm * per_cm / 10.0 < 1.0


def test_command_line(tmp_path, capsys):
    """Photographs of two wound cards in, the thread's spectrum out, which spectra can be fitted
    with."""
    yarn, colour, paths = photographed_cards(tmp_path)
    words = ["measure", "grid", *map(str, paths.values())]
    marks = {"white": {"swatch over white": SWATCH},
             "black": {"swatch over black": SWATCH, "card": BARE, "paper": STRIP}}  # fmt: skip
    for name, boxes in marks.items():
        for label, box in boxes.items():
            said = label.removesuffix(f" over {name}")  # as the help calls it
            words += ["--mark", f"{name}:{said}={','.join(str(s) for s in box)}"]
    out = tmp_path / "warp.csv"
    words += ["--threads", f"{PER_CM} /cm", "--count", "20/22 denier", "--like", "silk organza",
              "--out", str(out)]  # fmt: skip
    assert run(words) == 0, capsys.readouterr().err
    assert "Closely wound it looks" in capsys.readouterr().out
    rows = [line.split(",") for line in out.read_text().splitlines()[1:]]
    told = np.array([float(r) for _, r in rows])
    Lab = [colour_of(linear_of(c)) for c in (colour, told)]
    assert float(ciede2000(*Lab)) < 15.0
    pictures = [read_photograph(tmp_path / f"{over}.jpg").linear for over in ("white", "black")]
    found, _ = look_wound(yarn, PER_CM, *pictures, marks=marks)  # as the page would
    assert found.wound == pytest.approx(told, abs=1e-4)
    assert run([*words[:-2], "--out", str(tmp_path / "warp.txt")]) == 2
    assert "ends in .csv" in capsys.readouterr().err
