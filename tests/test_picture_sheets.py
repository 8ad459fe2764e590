"""Turning panels, dials and sheets of options; and small pictures kept to compare with."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from weavecolor.cli import run
from weavecolor.colour.colorimetry import ciede2000, lab_from_xyz
from weavecolor.colour.screen import decoded, space
from weavecolor.errors import InputError
from weavecolor.files.clothfile import load_swatch
from weavecolor.optics.appearance import appearance
from weavecolor.optics.stack import Layer, Stack
from weavecolor.picture.closeup import draw_closeup
from weavecolor.picture.composite import FLAT, PAGES, Choice, draw_sheet
from weavecolor.picture.drape import draw_drape
from weavecolor.picture.encode import png_bytes
from weavecolor.picture.lettering import GREYS, GROUND_CODE, grey_code
from weavecolor.picture.polar import draw_polar
from weavecolor.picture.turning import draw_turns, turn_frames
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene, turned

GOLDEN = Path(__file__).parent / "data" / "golden"
WINDOW = scene("window at the side")
DUPION = Stack((Layer(load_swatch("shot-dupion-blue-gold")),), backing("white"))
ORGANZA = Stack((Layer(load_swatch("shot-organza-red-black")),), backing("white"))


def lab_of(codes: np.ndarray) -> np.ndarray:
    screen = space("sRGB")
    linear = decoded(np.asarray(codes, float) / 255.0)
    return lab_from_xyz(100.0 * linear @ screen.to_xyz.T, screen.white)


def test_frames_follow_the_turn() -> None:
    """The panel's mean hue follows the computed colours of the turned cloth."""
    frames = turn_frames(DUPION, WINDOW, 4, 64)
    assert len(frames) == 4
    hues = []
    for k, frame in enumerate(frames):
        panel = lab_of(np.asarray(frame)[20:44, 20:44]).mean(axis=(0, 1))
        want = appearance(DUPION, turned(WINDOW, -90.0 * k)).reading.Lab
        hues.append((np.arctan2(panel[2], panel[1]), np.arctan2(want[2], want[1])))
    seen, computed = np.degrees(np.array(hues)).T
    gap = (seen[0] - seen[1] + 180) % 360 - 180
    asked = (computed[0] - computed[1] + 180) % 360 - 180
    assert abs(asked) > 20.0  # blue to gold
    assert gap == pytest.approx(asked, abs=12.0)


def test_the_light_moves_and_the_panel_stays() -> None:
    told: list[float] = []
    cloth = turn_frames(DUPION, WINDOW, 8, 64)
    light = turn_frames(DUPION, WINDOW, 8, 64, moving="light", progress=told.append)
    ground = [
        np.array([(np.asarray(f)[2:6, 28:36] == GROUND_CODE).mean() for f in frames])
        for frames in (cloth, light)
    ]
    assert np.ptp(ground[1]) < 0.3
    corner = [np.asarray(f)[13, 13].astype(int) for f in light]
    assert np.abs(np.diff(corner, axis=0)).sum() > 10  # its colour changes with the light
    assert told[-1] == pytest.approx(1.0)


def test_strip_of_views() -> None:
    strip = draw_turns(ORGANZA, WINDOW, (0, 90, 180, 270), 80)
    assert strip.size[0] == 320
    assert strip.info["icc_profile"]


@pytest.mark.parametrize("wrong", [{"frames": 1}, {"frames": 500}, {"moving": "table"},
                                   {"size_px": 2}])  # fmt: skip
def test_loop_refusals(wrong: dict) -> None:
    with pytest.raises(InputError):
        turn_frames(ORGANZA, WINDOW, **{"frames": 4, "size_px": 32, **wrong})


def test_dials_show_the_colours_round_the_rim() -> None:
    chart = draw_polar(DUPION, WINDOW, 400)
    assert chart.size == (400, 240)
    picture = np.asarray(chart)
    middle, radius = np.array([0.255 * 400, 0.47 * 240]), 0.196 * 400 * 0.9
    for angle in (0.0, 90.0, 180.0):
        a = np.radians(angle)
        x, y = middle + radius * np.array([-np.sin(a), -np.cos(a)])
        want = appearance(DUPION, turned(WINDOW, -angle)).reading.Lab
        assert ciede2000(lab_of(picture[round(y), round(x)]), want) < 2.5
    assert "CIEDE2000" in chart.info["notes"][0]


def test_grey_panel_has_no_hue() -> None:
    muslin = Stack((Layer(load_swatch("stage-gauze-black")),), backing("black"))
    assert draw_polar(muslin, scene("overcast"), 300).size == (300, 180)


OPTIONS = [
    Choice("one layer, white behind", ORGANZA),
    Choice("two layers, white behind", Stack(ORGANZA.layers * 2, ORGANZA.backing)),
    Choice("one layer, black behind", Stack(ORGANZA.layers, backing("black"))),
]


@pytest.mark.parametrize("page", PAGES)
def test_sheet(page: str) -> None:
    made = draw_sheet(OPTIONS, WINDOW, FLAT, page)
    assert made.size[0] == PAGES[page].width
    if PAGES[page].dpi:
        # A4 is 210 x 297 mm (ISO 216)
        mm = sorted(round(v / 300 * 25.4) for v in made.size)
        assert mm == [210, 297]
        assert made.info["dpi"] == (300, 300)
    picture = np.asarray(made)
    assert tuple(picture[3, 3]) == (GROUND_CODE,) * 3
    seen = {tuple(c) for c in picture.reshape(-1, 3)[::7]}
    for L in GREYS:
        assert (grey_code(((L + 16) / 116) ** 3),) * 3 in seen
    for option in OPTIONS:
        code = np.rint(255 * appearance(option.stack, WINDOW).reading.srgb).astype(int)
        near = [c for c in seen if np.abs(np.array(c) - code).max() <= 1]
        assert near, option.label


@pytest.mark.parametrize(
    "wrong",
    [
        {"options": OPTIONS[:1]}, {"options": OPTIONS * 5}, {"page": "A9"}, {"kind": "tent"},
        {"options": [OPTIONS[0], OPTIONS[0]]},
    ],
)  # fmt: skip
def test_sheet_refusals(wrong: dict) -> None:
    with pytest.raises(InputError):
        draw_sheet(**{"options": OPTIONS, "scene": WINDOW, "kind": FLAT, **wrong})


def test_verbs_draw(tmp_path: Path) -> None:
    out = tmp_path / "a.png"
    swatch = "shot-organza-red-black"
    assert run(["draw", "close-up", swatch, "--size", "80", "--out", str(out)]) == 0
    assert Image.open(out).size == (80, 60)
    out = tmp_path / "a.gif"
    assert run(["draw", "loop", swatch, "--size", "64", "--frames", "3", "--out", str(out)]) == 0
    assert Image.open(out).n_frames == 3
    assert run(["draw", "drape", swatch, "--form", "tent", "--out", str(tmp_path / "b.png")]) == 2
    assert run(["draw", "drape", swatch, "--out", str(tmp_path / "b.jpg")]) == 2
    assert run(["draw", "dials", swatch, "--layers", "1,2", "--out", str(tmp_path / "b.png")]) == 2
    assert not (tmp_path / "b.png").exists()


def two_sheers() -> Image.Image:
    layers = (*ORGANZA.layers, Layer(load_swatch("shot-organza-teal-copper"), 4.0))
    return draw_closeup(Stack(layers, backing("white")), WINDOW, 96, 96, 0.12)


KEPT = {
    "closeup": lambda: draw_closeup(ORGANZA, WINDOW, 96, 96, 0.012),
    "closeup_moire": two_sheers,
    "closeup_twill": lambda: draw_closeup(
        Stack((Layer(load_swatch("shot-twill-lining"), 30.0),), None), WINDOW, 96, 96, 0.02
    ),
    "gathered_skirt": lambda: draw_drape(ORGANZA, WINDOW, "gathered skirt", 96, 96),
    "pleated_skirt": lambda: draw_drape(DUPION, WINDOW, "pleated skirt", 96, 96),
    "box_pleats": lambda: draw_drape(ORGANZA, scene("footlights"), "box pleats", 96, 96),
    "hanging_fold": lambda: draw_drape(DUPION, scene("ballroom"), "hanging fold", 96, 96),
    "turn": lambda: turn_frames(DUPION, WINDOW, 8, 96)[3],
}


@pytest.mark.parametrize("name", KEPT)
def test_pictures_stay_as_they_were_looked_at(name: str) -> None:
    """Against small pictures that were checked by eye: mean CIEDE2000 under 1.5, and no part that
    differs much. To keep new ones, look at them first, then run with KEEP_PICTURES=1."""
    image = KEPT[name]()
    path = GOLDEN / f"{name}.png"
    if os.environ.get("KEEP_PICTURES"):
        path.write_bytes(png_bytes(image))
    kept = Image.open(path).convert("RGB")
    assert kept.size == image.size
    apart = ciede2000(lab_of(np.asarray(image)), lab_of(np.asarray(kept)))
    assert apart.mean() < 1.5
    assert np.quantile(apart, 0.98) < 6.0
