"""Pieces, lays, fullness, sheets and the command line, given anything. Properties, no source.

A lay may be refused or fail to find room, but what it places lies on sound cloth and no two pieces
overlap; the command line ends with 0 or 2 and one line, and writes a file whole or not at all.
"""

from __future__ import annotations

import io
import math

import numpy as np
import pytest
import shapely
from fuzzing import REFUSED, TRIED, bounded, texts, tried
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from shapely.geometry import Polygon

from weavecolor.cli import run
from weavecolor.cutting.folds import fold_profile, layer_shares
from weavecolor.cutting.fullness import plan_fullness, skirt_layers
from weavecolor.cutting.lay import lay
from weavecolor.cutting.pieces import Piece, cut_outline, sewing_outline
from weavecolor.cutting.remnant import ClothInHand
from weavecolor.report.makingsheet import (
    MakingSheet,
    SheetBasis,
    SheetColour,
    SheetLayer,
    making_sheet_images,
    making_sheet_pdf,
)


@pytest.fixture(scope="module", autouse=True)
def _count():
    """How many inputs were tried, told where output is shown (pytest -s)."""
    yield
    for what in sorted(TRIED):
        print(f"\n{what}: {TRIED[what]} tried, {REFUSED[what]} refused", end="")


corner = st.tuples(
    st.one_of(st.integers(-60, 60), st.floats(-60.0, 60.0)),
    st.one_of(st.integers(-60, 60), st.floats(-60.0, 60.0)),
).map(lambda xy: (float(xy[0]), float(xy[1])))


def usually(first, *others):
    """Three times in four ``first``."""
    return st.sampled_from([first] * (3 * len(others)) + list(others))


NUMBERS = st.floats()


def wild(low, high, odd=NUMBERS):
    """Three times in four within the range, else any number."""
    return st.integers(0, 3).flatmap(lambda k: odd if k == 0 else st.floats(low, high))


def anything(low, high):
    """The same, else any number, text or nothing."""
    return wild(low, high, st.one_of(st.floats(), st.integers(-(10**400), 10**400), texts))


def rectangle(size):
    return (0.0, 0.0), (size[0], 0.0), size, (0.0, size[1])


def ring(radii):
    """A star-shaped outline: it never crosses itself."""
    turns = [2.0 * math.pi * k / len(radii) for k in range(len(radii))]
    return tuple((r * math.cos(a), r * math.sin(a)) for r, a in zip(radii, turns, strict=True))


outlines = st.one_of(
    st.lists(corner, max_size=9).map(tuple),
    st.lists(st.floats(2.0, 30.0), min_size=3, max_size=9).map(ring),
    st.tuples(st.floats(1.0, 80.0), st.floats(1.0, 80.0)).map(rectangle),
)


@st.composite
def pieces(draw):
    def make():
        return Piece(
            draw(usually("front", "gore", "")),
            draw(outlines),
            draw(usually(2, 1, 4, 0, 501)),
            draw(usually(0.0, 30.0, 90.0, math.nan)),
            draw(usually(1.5, 0.0, 25.0)),
            draw(usually(None, 0, 3, 40)),
            draw(usually(False, True)),
            draw(usually("", "bias", "either", "across")),
        )

    return tried("piece", make)


@bounded(150)
@given(pieces())
def test_pieces(piece):
    if piece is None:
        return
    sewn, cut = sewing_outline(piece), cut_outline(piece)
    assert sewn.is_valid and cut.is_valid
    assert 0.0 < sewn.area <= cut.area * (1.0 + 1e-9)
    assert cut.buffer(1e-6).covers(sewn)


@bounded(40)
@given(
    st.lists(pieces(), min_size=1, max_size=3),
    st.floats(20.0, 200.0),
    st.floats(20.0, 300.0),
    st.one_of(st.none(), st.none(), outlines),
    st.one_of(st.just(()), st.lists(outlines, max_size=2).map(tuple)),
    st.booleans(),
    st.sampled_from(["straight", "cross", "bias", "either", 30.0, math.inf, "up"]),
    st.sampled_from(["open", "open", "lengthwise", "crosswise"]),
)
def test_lays(wanted, width, length, outline, damage, one_way, grain, fold):
    wanted = [piece for piece in wanted if piece is not None]
    hand = tried("cloth in hand", lambda: ClothInHand(width, length, outline, damage, 1.0, one_way))
    if hand is None:
        return
    made = tried("lay asked for", lambda: lay(wanted, hand, grain, fold=fold, tries=2))
    if made is None:
        return
    TRIED["lay made"] += 1
    assert 0.0 <= made.used_share <= 1.0 + 1e-9
    sound = made.sound.buffer(1e-4)
    laid = [Polygon(placement.cut) for placement in made.placements]
    assert all(sound.covers(shape) for shape in laid)
    for i, one in enumerate(laid):
        for other in laid[:i]:
            assert shapely.intersection(one, other).area < 1e-4


@bounded(200)
@given(
    st.sampled_from(["gathered", "knife", "box", "flat", "smocked"]),
    anything(20, 300), anything(60, 160), anything(10, 150), st.one_of(st.none(), wild(1, 4)),
    st.one_of(st.none(), st.none(), st.integers(-1, 9)), st.booleans(),
)  # fmt: skip
def test_fullness(kind, finished, width, drop, fullness, widths, doubled):
    found = tried(
        "fullness",
        lambda: plan_fullness(
            kind, finished, width, drop, fullness=fullness, widths=widths, doubled=doubled
        ),
    )
    if found is not None:
        assert found.widths >= 1 and found.cloth_length_cm > 0.0
        assert math.isfinite(found.cloth_area_m2)


@bounded(120)
@given(
    st.sampled_from(["gathered", "knife", "box", "flat"]),
    wild(1.0, 5.0),
    wild(-80.0, 80.0),
    wild(1.0, 40.0),
    st.integers(-2, 60),
)
def test_folds(kind, fullness, view, pitch, pleats):
    shares = tried("layers of a fold", lambda: layer_shares(kind, fullness))
    if shares is not None:
        values = np.array([v for v in vars(shares).values() if isinstance(v, float)])
        assert np.all(np.isfinite(values))
    profile = tried("fold profile", lambda: fold_profile(kind, fullness, view_deg=view))
    if profile is not None:
        for value in vars(profile).values():
            if isinstance(value, np.ndarray):
                assert np.all(np.isfinite(value))
    tried("skirt", lambda: skirt_layers(kind, pitch, 90.0, 60.0, 200.0, heights=pleats))


@bounded(15)
@given(st.lists(st.text(max_size=80), min_size=9, max_size=9), st.integers(0, 3))
def test_sheets_of_any_words(words, count):
    a, b, c, d, e, f, g, h, i = words
    made = tried(
        "making sheet",
        lambda: MakingSheet(
            title=a,
            date=b,
            layers=(SheetLayer(c, 45.0),) * max(count, 1),
            backing=d,
            colours=(SheetColour(e, f, (50.0, 0.0, 0.0), (0.5, 0.5, 0.5), False, 1.0),),
            pieces=(Piece.rectangle("x" * (count + 1), 10, 20),),
            basis=(SheetBasis(g, h, "assumed"),) * count,
            notes=(i,) * count,
        ),
    )
    if made is not None:
        data = tried("sheet as PDF", lambda: making_sheet_pdf(made))
        assert data is None or data.startswith(b"%PDF-") and data.rstrip().endswith(b"%%EOF")
        for image in tried("sheet as pictures", lambda: making_sheet_images(made, 72)) or ():
            assert isinstance(image, Image.Image) and min(image.size) > 100


VERBS = ["cloths", "scenes", "lights", "backings", "describe", "compare", "decide", "draw",
         "match", "measure", "show-through", "page", "--version", "--help", "nonsense"]  # fmt: skip
ARGUMENTS = st.lists(
    st.one_of(
        st.sampled_from(
            ["shot-organza-red-black", "nothing.toml", "--layers", "0", "13", "1-", "--grain",
             "99999", "sideways", "--scene", "nowhere", "--behind", "#12", "--json", "--save",
             "--side", "inside", "--size", "-5", "1e400", "--have", "=", "5 m", "--", "-x", "",
             "/", "\x00", "closeup", "nan"]
        ),
        st.text(max_size=10),
    ),
    max_size=5,
)  # fmt: skip
#: With these nothing is drawn or searched: every one ends in a refusal or in a list.
QUICK = ("cloths", "scenes", "lights", "backings", "--version", "--help", "nonsense")


@bounded(150)
@given(st.sampled_from(VERBS), ARGUMENTS)
def test_the_command_line(capsys_factory, verb, arguments):
    if verb not in QUICK:
        arguments = [*arguments, "--no-such-option"]
    code, out, err = capsys_factory([verb, *arguments])
    assert code in (0, 2), (code, err)
    assert "Traceback" not in out + err and "a fault in weavecolor" not in err
    if code == 2:
        assert err.count("\n") == 1 and err.startswith("weavecolor: ")


@pytest.fixture(scope="module")
def capsys_factory():
    import contextlib

    def call(words):
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = run(words)
        return code, out.getvalue(), err.getvalue()

    return call


@bounded(60)
@given(st.sampled_from(["describe", "compare", "draw closeup"]), ARGUMENTS)
def test_files_asked_for_are_whole_or_absent(capsys_factory, tmp_path_factory, verb, arguments):
    folder = tmp_path_factory.mktemp("out")
    target = folder / "made.png"
    # An unknown scene is refused after the arguments have been taken, before anything is drawn.
    words = [*verb.split(), "shot-organza-red-black", "--scene", "nowhere"]
    words += ["--save" if verb == "describe" else "--out", str(target), *arguments]
    code, _, err = capsys_factory(words)
    assert code in (0, 2) and "Traceback" not in err
    if code == 2:
        assert list(folder.iterdir()) == []
