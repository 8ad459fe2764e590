"""Sheets of options; and small pictures kept to compare with."""

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
from weavecolor.picture.composite import CLOSEUP, FLAT, PAGES, Choice, draw_sheet
from weavecolor.picture.encode import png_bytes
from weavecolor.picture.lettering import GREYS, GROUND_CODE, grey_code
from weavecolor.scene.backings import backing
from weavecolor.scene.folds import hung
from weavecolor.scene.places import scene

GOLDEN = Path(__file__).parent / "data" / "golden"
WINDOW = scene("window at the side")
ORGANZA = Stack((Layer(load_swatch("shot-organza-red-black")),), backing("white"))


def lab_of(codes: np.ndarray) -> np.ndarray:
    screen = space("sRGB")
    linear = decoded(np.asarray(codes, float) / 255.0)
    return lab_from_xyz(100.0 * linear @ screen.to_xyz.T, screen.white)


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


def test_squares_beside_pictures_of_folds_are_of_folds() -> None:
    """Held flat before a window taffeta misses its sheen, which its folds show."""
    stack = Stack((Layer(load_swatch("shot-taffeta-green-red")),), backing("black"))
    picture = np.asarray(draw_sheet([Choice("a", stack)], WINDOW, "hanging panel", "telephone"))
    right = picture[:, 600:].reshape(-1, 3).astype(int)  # a square is of one colour
    for place, there in ((hung(WINDOW), True), (WINDOW, False)):
        code = np.rint(255 * appearance(stack, place).reading.srgb).astype(int)
        assert ((np.abs(right - code).max(axis=1) <= 1).sum() > 5000) == there


@pytest.mark.parametrize(
    "wrong",
    [
        {"options": []}, {"options": OPTIONS * 5}, {"page": "A9"}, {"kind": "tent"},
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
    assert run(["draw", "hung", swatch, "--size", "64", "--frames", "3", "--out", str(out)]) == 0
    assert Image.open(out).n_frames == 3
    assert run(["draw", "hung", swatch, "--form", "tent", "--out", str(tmp_path / "b.png")]) == 2
    assert run(["draw", "hung", swatch, "--out", str(tmp_path / "b.jpg")]) == 2
    assert run(["draw", "hung", swatch, "--layers", "1,2", "--out", str(tmp_path / "b.png")]) == 2
    assert not (tmp_path / "b.png").exists()


def test_a_picture_lit_from_behind_says_what_keeps_that_light_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """As a comparison does: gauze before white lining is dark there, and before nothing light."""
    asked = ["draw", "close-up", "stage-gauze-black", "--size", "64", "--scene", "backlit",
             "--out", str(tmp_path / "a.png"), "--behind"]  # fmt: skip
    for behind, told in (("white", True), ("none", False)):
        assert run([*asked, behind]) == 0
        assert ("(white) is taken to let no light through" in capsys.readouterr().err) == told


def two_sheers() -> Image.Image:
    layers = (*ORGANZA.layers, Layer(load_swatch("shot-organza-teal-copper"), 4.0))
    return draw_closeup(Stack(layers, backing("white")), WINDOW, 96, 96, 0.12)


KEPT = {
    "closeup": lambda: draw_closeup(ORGANZA, WINDOW, 96, 96, 0.012),
    "closeup_moire": two_sheers,
    "closeup_twill": lambda: draw_closeup(
        Stack((Layer(load_swatch("shot-twill-lining"), 30.0),), None), WINDOW, 96, 96, 0.02
    ),
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


@pytest.mark.usefixtures("few_rays")  # for the rest of the file
def test_every_close_up_has_its_patch_beside_its_words() -> None:
    """An even piece of the very colour that the stack has on the screen, a thumb's nail in size."""
    for number, option in ((1, OPTIONS[0]), (2, OPTIONS[0]), (2, OPTIONS[1])):
        made = draw_sheet(OPTIONS[:number], WINDOW, CLOSEUP, "telephone")
        picture = np.asarray(made).astype(int)
        code = np.rint(255 * appearance(option.stack, WINDOW).reading.srgb).astype(int)
        same = (np.abs(picture - code) <= 1).all(axis=2)
        columns = np.flatnonzero(same.sum(axis=0) >= 75)
        assert len(columns) >= 100 and np.ptp(columns) == len(columns) - 1


def test_a_sheet_tells_what_all_its_options_share(tmp_path, monkeypatch):
    """Labels tell what differs; cloth, layers and what lies behind would stand nowhere else."""
    from weavecolor.picture import composite

    said: list[str] = []
    write = composite.write_lines

    def heard(draw, x, y, text, *more, **rest):
        said.append(text)
        return write(draw, x, y, text, *more, **rest)

    monkeypatch.setattr(composite, "write_lines", heard)
    out = str(tmp_path / "s.png")
    drawn = ["draw", "sheet", "--form", FLAT, "--page", "telephone", "--out", out]
    assert run([*drawn, "silk-chiffon-ivory", "--grain", "straight,cross", "--layers", "2",
                "--turn", "30", "--behind", "open"]) == 0  # fmt: skip
    told = (
        "Silk chiffon, ivory, 2 layers (each turned 30\u00b0 from the one before), nothing behind. "
        "In the light of window at the side"
    )
    assert any(text.startswith(told) for text in said)
    assert {"straight grain", "cross grain"} <= set(said)
    said.clear()
    assert run([*drawn, "--stack", "silk-chiffon-ivory", "--stack", "slip-white",
                "--behind", "black"]) == 0  # fmt: skip
    assert any(text.startswith("Black behind. In the light of") for text in said)
