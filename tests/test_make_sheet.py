"""The making sheet: what must stand on it, in PDF and in PNG."""

import dataclasses
import io
import itertools
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from shapely.geometry import LineString, Polygon, box

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.cutting.asked import in_hand_from
from weavecolor.cutting.fullness import FullnessWanted, plan_fullness
from weavecolor.cutting.lay import lay
from weavecolor.cutting.needed import cloth_needed
from weavecolor.cutting.pieces import Piece
from weavecolor.cutting.remnant import ClothInHand
from weavecolor.errors import InputError
from weavecolor.files.clothfile import load_swatch
from weavecolor.optics.appearance import appearance
from weavecolor.optics.stack import Layer, Stack
from weavecolor.picture.canvas import A4, Line, Page, Picture, Shape, Text, text_width, wrapped
from weavecolor.picture.canvaspng import page_image
from weavecolor.report.cautions import cautions
from weavecolor.report.makingsheet import (
    MakingSheet,
    SheetBasis,
    SheetColour,
    SheetLayer,
    SheetSwatch,
    making_sheet_images,
    making_sheet_pdf,
    save_making_sheet,
)
from weavecolor.report.sheetblocks import Style
from weavecolor.report.sheetdrawings import lay_drawing, layer_icon
from weavecolor.report.sheetlayout import GUIDE, grain_words, needed_sentences, sheet_pages
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene

FRONT = Piece.rectangle("front", 20, 40, fold_edge=3)
GORE = Piece.polygon("gore", [(0, 0), (50, 0), (35, 60), (20, 60)], quantity=2)
CLOTH = ClothInHand(110, 150, damage=(((60, 90), (70, 90), (70, 99)),))


def sheet(**changes):
    full = MakingSheet(
        title="Ball gown",
        date="4 March",
        layers=(
            SheetLayer("Shot silk organza", 0.0),
            SheetLayer("Polyester voile", 90.0, "back", "turned over"),
        ),
        backing="white slip",
        swatches=(SheetSwatch(Image.new("RGBA", (90, 60), (200, 0, 0, 128)), "flat"),),
        colours=(
            SheetColour("Window", "deep red", (34.2, 48.1, -22.9), (0.5, 0.1, 0.2), True, 2.4),
            SheetColour("Noon", "vivid red", (42.0, 66.3, 40.2), (1.0, 0.0, 0.1), False),
        ),
        show_through=("Bone channel tape: plain.",),
        pieces=(FRONT, GORE),
        needs=(cloth_needed("shot organza", ((0.0, 1),), [FRONT, GORE], (), [CLOTH], tries=3),),
        fullness=(("skirt", plan_fullness("gathered", 70, 110, 70, fullness=2.5)),),
        cautions=cautions(["silk", "polyester"], sheer=True),
        basis=(
            SheetBasis("Yarn colours", "spectrophotometer", "measured"),
            SheetBasis("Packing 0.7", "common", "assumed"),
        ),
    )
    return dataclasses.replace(full, **changes)


def pdf_text(data):
    pypdf = pytest.importorskip("pypdf")
    reader = pypdf.PdfReader(io.BytesIO(data))
    for page in reader.pages:
        # A4 is 210 x 297 mm (ISO 216).
        assert float(page.mediabox.width) == pytest.approx(595.28, abs=0.1)
        assert float(page.mediabox.height) == pytest.approx(841.89, abs=0.1)
    text = " ".join(page.extract_text() for page in reader.pages)
    return " ".join(text.split()), len(reader.pages), reader


def test_panels_of_two_grains_are_told_apart_and_cut_once_for_their_layer():
    skirt = FullnessWanted("skirt", "gathered", 72.0, 110.0, 60.0, fullness=2.5)
    need = cloth_needed("organza", ((0.0, 1), (90.0, 1)), (), [skirt], [ClothInHand(112, 900)],
                        tries=2)  # fmt: skip
    layers = (SheetLayer("organza", 0.0), SheetLayer("organza", 90.0))
    text, _, _ = pdf_text(making_sheet_pdf(sheet(layers=layers, pieces=(), needs=(need,))))
    assert "skirt panel, straight grain 2 112 cm" in text
    assert "skirt panel, cross grain 1 183 cm" in text  # 2.5 x 72 and a seam at both ends
    # 60 + 1.5 + 5 cm down: the allowances are in the size, and are told as those of pieces are
    assert "112 cm \u00d7 66.5 cm" in text and text.count("1.5 cm hem 5 cm, top 1.5 cm") == 2
    assert "each of the 2 layers, and panels in the layers of the cloth or grain named" in text
    skirt = dataclasses.replace(skirt, doubled=True)
    need = cloth_needed("organza", ((0.0, 1),), (), [skirt], [ClothInHand(112, 900)], tries=2)
    text, _, _ = pdf_text(making_sheet_pdf(sheet(pieces=(), needs=(need,))))
    assert "112 cm \u00d7 123 cm" in text and "1.5 cm hem on the fold, top 1.5 cm" in text


def test_colours_of_a_gathered_skirt_are_said_to_be_of_one_layer_of_it():
    """Plain sums: 3 to 1 in knife pleats lies three deep, and three layers look otherwise."""
    text, pages, _ = pdf_text(making_sheet_pdf(sheet()))
    assert pages == 2
    assert "told of the layers lying flat" in text and "in folds" not in text
    hung = SheetColour("Window, in folds", "red", (40.0, 48.1, 22.9), (0.5, 0.1, 0.2), True, 2.4)
    folded, *_ = pdf_text(making_sheet_pdf(sheet(colours=(*sheet().colours, hung))))
    assert "in folds and what will show through are told of one surface over" in folded
    assert re.search(r"Taken in \(gathered \d\.\d to 1\) cloth", text)
    flat = plan_fullness("flat", 70, 110, 70, fullness=1.0)
    for plans in ((), (("panel", flat),)):
        assert "lying flat" not in pdf_text(making_sheet_pdf(sheet(fullness=plans)))[0]
    layer, skin = Layer(load_swatch("silk-chiffon-ivory")), backing("skin dark")
    one, three = (appearance(Stack((layer,) * n, skin), scene("overcast")) for n in (1, 3))
    assert float(ciede2000(one.reading.Lab, three.reading.Lab)) > 6.0


def test_the_pdf_holds_real_text_with_every_section():
    text, pages, reader = pdf_text(making_sheet_pdf(sheet()))
    assert pages == 2 and reader.metadata.title == "Ball gown, 4 March"
    for words in (
        "Ball gown",
        "4 March",
        "Shot silk organza",
        "straight grain, warp down; face out",
        "cross grain, warp to the right; back out",
        "Behind: white slip",
        "deep red",
        "\u221222.9",
        "\u00b12.4",
        "beyond screen",
        "Bone channel tape: plain.",
        "43 cm \u00d7 43 cm",  # half 20 x 40 on the fold, 1.5 all round: 43 x 43 opened out
        "16 7/8 in \u00d7 16 7/8 in",
        "It fits:",
        "76.5 cm (30 1/8 in)",
        "Press sheer polyester cool",
        "scrap",
        "open flame",
        "Measured",
        "Yarn colours (spectrophotometer)",
        "Not measured",
        "assumed",
        "Stitch the real sample here",
        GUIDE,
    ):
        assert words in text, words


def test_the_same_sheet_gives_the_same_bytes():
    assert making_sheet_pdf(sheet()) == making_sheet_pdf(sheet())


def test_other_scripts_are_kept_or_shown_as_missing():
    text, _, _ = pdf_text(making_sheet_pdf(sheet(title="Платье Ωραία č \u821e")))
    assert "Платье Ωραία č \u25a1" in text
    assert "\u25a1 stands for a letter that there is no type for" in text
    whole, _, _ = pdf_text(making_sheet_pdf(sheet(title="Платье Ωραία č")))
    assert "stands for a letter" not in whole


def test_png_pages_are_a4_at_the_resolution_asked(tmp_path):
    pages = making_sheet_images(sheet(), 100)
    assert [page.size for page in pages] == [(827, 1169)] * 2 and pages[0].mode == "RGB"
    names = save_making_sheet(tmp_path / "gown.png", sheet(), 150)
    assert [name.name for name in names] == ["gown-1.png", "gown-2.png"]
    with Image.open(names[0]) as image:
        assert image.size == (1240, 1754)
        assert image.info["dpi"] == pytest.approx((150, 150), abs=0.1)
    (pdf,) = save_making_sheet(tmp_path / "gown.PDF", sheet())
    assert pdf.read_bytes().startswith(b"%PDF")
    with pytest.raises(InputError, match=".pdf or .png"):
        save_making_sheet(tmp_path / "gown.jpg", sheet())
    with pytest.raises(InputError, match="dots per inch"):
        making_sheet_images(sheet(), 4000)


def test_a_short_sheet_takes_one_page(tmp_path):
    short = MakingSheet("Sash", "today", (SheetLayer("Voile"),))
    assert len(sheet_pages(short)) == 1
    assert save_making_sheet(tmp_path / "s.png", short, 72)[0].name == "s.png"
    text = " ".join(m.text for m in sheet_pages(short)[0].marks if isinstance(m, Text))
    assert "Behind: nothing, open air." in text and "Cutting list" not in text


def test_png_draws_what_the_page_says():
    page = Page(
        (
            Shape(((10, 10), (20, 10), (20, 20), (10, 20)), (1, 0, 0), None),
            Line(0, 30, 50, 30, 1.0),
            Picture(30, 10, 10, 10, Image.new("RGBA", (4, 4), (0, 0, 255, 0))),
            Text(45, 20, "M", 20, True),
        ),
        60,
        40,
    )
    pixels = np.asarray(page_image(page, 254)).astype(int)  # 10 pixels a millimetre
    assert pixels.shape == (400, 600, 3)
    assert pixels[150, 150].tolist() == [255, 0, 0] and pixels[150, 250].tolist() == [255] * 3
    assert pixels[300, 200].tolist() == [0, 0, 0] and pixels[320, 200].tolist() == [255] * 3
    assert pixels[150, 350].tolist() == [255] * 3  # see-through is white paper
    assert (pixels[130:200, 450:530].min(axis=2) < 80).any()


def test_nothing_is_cut_off_unsaid_when_there_is_too_much():
    many = sheet(
        pieces=tuple(Piece.rectangle(f"facing {i}", 6, 20) for i in range(60)),
        show_through=tuple(f"seam {i}: faint." for i in range(30)),
        cautions=cautions(["silk", "acetate"], sheer=True, dyeing=True, solvent=True, stage=True),
    )
    text, pages, _ = pdf_text(making_sheet_pdf(many))
    assert pages == 2 and text.count("more that this sheet has no room for") >= 1
    left_out = [int(n) for n in re.findall(r"and (\d+) more that this sheet", text)]
    shown = sum(f"facing {i} 1 " in text for i in range(60))
    shown += sum(f"seam {i}: faint." in text for i in range(30))
    assert shown + sum(left_out) == 60 + 30
    for line in many.cautions:  # cautions are never shortened
        assert line in text
    with pytest.raises(InputError, match="too long for two pages"):
        making_sheet_pdf(sheet(cautions=tuple("warm words " * 150 for _ in range(12))))


def test_a_long_list_cuts_no_other_short_where_there_is_room():
    shows = tuple(f"thing {k}: plain, much darker" for k in range(9))
    basis = tuple(
        SheetBasis(f"cloth {k}: " + "how closely packed its yarn is, " * 5, "usual", "assumed")
        for k in range(60)
    )
    text, pages, _ = pdf_text(making_sheet_pdf(sheet(show_through=shows, basis=basis)))
    assert pages == 2
    assert all(f"thing {k}:" in text for k in range(9))
    assert text.count("more that this sheet has no room for") == 1


@pytest.mark.parametrize("many", [9, 14])
def test_the_cutting_list_is_the_last_to_be_cut_short(many):
    pieces = tuple(Piece.rectangle(f"facing {k}", 6, 20) for k in range(many))
    basis = tuple(
        SheetBasis(f"cloth {k}: " + "how closely packed its yarn is, " * 4, "usual", "assumed")
        for k in range(16)
    )
    shows = tuple(f"thing {k}: plain, " + "much darker, " * 14 for k in range(9))
    text, pages, _ = pdf_text(
        making_sheet_pdf(sheet(pieces=pieces, show_through=shows, basis=basis))
    )
    assert pages == 2 and "more that this sheet has no room for" in text
    assert all(f"facing {k} 1 " in text for k in range(many))


def _corners(mark):
    if isinstance(mark, Shape):
        return list(mark.points)
    if isinstance(mark, Line):
        return [(mark.x0, mark.y0), (mark.x1, mark.y1)]
    if isinstance(mark, Picture):
        return [(mark.x, mark.y), (mark.x + mark.width, mark.y + mark.height)]
    wide = text_width(mark.text, mark.size, mark.bold)
    start = mark.x - {"left": 0.0, "centre": 0.5, "right": 1.0}[mark.align] * wide
    return [(start, mark.y - 1.0), (start + wide, mark.y)]


@given(
    st.integers(1, 12),
    st.integers(0, 6),
    st.integers(0, 12),
    st.integers(0, 30),
    st.text("organza m\u00e9 ", min_size=1, max_size=120).filter(str.strip),
)
@settings(deadline=None, max_examples=15)
def test_every_mark_stays_on_the_paper(layers, swatches, colours, pieces, words):
    picture = Image.new("RGB", (40, 90))
    made = sheet(
        title=words,
        date=words[:40],
        layers=tuple(SheetLayer(words, 17.0 * i, note=words) for i in range(layers)),
        swatches=tuple(SheetSwatch(picture, words) for _ in range(swatches)),
        colours=tuple(
            SheetColour(words, words, (100.0, -128.0, -128.0), (2.0, -1.0, 0.5), False, 10.0)
            for _ in range(colours)
        ),
        pieces=tuple(Piece.rectangle(words, 100, 200) for _ in range(pieces)),
    )
    pages = sheet_pages(made)
    assert 1 <= len(pages) <= 2
    for page in pages:
        for mark in page.marks:
            for x, y in _corners(mark):
                assert 8.0 <= x <= A4[0] - 8.0 and 8.0 <= y <= A4[1] - 6.0, mark


def test_text_is_wrapped_to_its_width():
    rows = wrapped("a few words and onelongunbreakableword" * 3, 20.0, 9.0)
    assert all(text_width(row, 9.0) <= 20.0 for row in rows)
    assert "".join(rows).replace(" ", "") == ("afewwordsandonelongunbreakableword" * 3)


def test_the_lay_is_turned_not_mirrored():
    piece = Piece.polygon(
        "hook", [(0, 0), (30, 0), (30, 10), (10, 10), (10, 50), (0, 50)], seam_cm=0
    )
    result = lay([piece], ClothInHand(100, 100), tries=1)
    block = lay_drawing(result, {"hook": 1}, 150.0, 80.0, Style())
    drawn = max(
        (mark for mark in block.marks if isinstance(mark, Shape) and len(mark.points) == 6),
        key=lambda mark: len(mark.points),
    )
    paper = Polygon([(x, -y) for x, y in drawn.points])  # y up, as on the table
    cloth = Polygon(result.placements[0].cut)
    assert paper.exterior.is_ccw == cloth.exterior.is_ccw
    assert paper.area / cloth.area == pytest.approx((paper.length / cloth.length) ** 2)


@pytest.mark.parametrize("length", [140, 400, 1500])
def test_every_piece_of_a_lay_bears_its_name_at_a_legible_size(length):
    pieces = [
        Piece.rectangle("skirt panel", 50, 95, quantity=2),
        Piece.rectangle("waistband", 4, 72),
        Piece.rectangle("bias binding, neck", 3, 60, quantity=2),
        Piece.rectangle("belt carrier", 14, 2, quantity=4),
    ]
    numbers = {piece.name: k for k, piece in enumerate(pieces, 1)}
    made = lay(pieces, ClothInHand(112, length), tries=3)
    style = Style()
    block = lay_drawing(made, numbers, 190.0, 118.0, style)
    texts = [mark for mark in block.marks if isinstance(mark, Text) and mark.bold]
    told = " ".join(mark.text for mark in texts)
    for placement in made.placements:
        assert told.count(placement.name) >= 1
    for name in {placement.name for placement in made.placements}:
        laid = sum(placement.name == name for placement in made.placements)
        assert told.count(f"{numbers[name]} {name}") == laid
    # 6 points is the least that is read at arm's length (common practice, no source)
    assert all(mark.size >= min(6.0, style.small) for mark in texts) and style.small >= 6.0
    boxes = [_text_box(mark) for mark in texts]
    for k, taken in enumerate(boxes):
        assert 0.0 <= taken.bounds[0] and taken.bounds[2] <= 190.5
        assert taken.bounds[3] <= block.height + 1.0
        assert not any(taken.intersection(other).area > 0.05 for other in boxes[:k])


def test_no_words_hide_a_flaw_a_piece_or_its_grain():
    """A cutter must see all three; the cloth has room beside them, or past the pieces."""
    pieces = [
        Piece.rectangle("sleeve", 36, 56, quantity=2, grain="bias"),
        Piece.rectangle("bodice back", 26, 42, quantity=2),
        Piece.rectangle("panel", 109, 212),
    ]
    cloth = in_hand_from("112 x 457 cm, flaw 8 x 8 cm at 51 x 102 cm, flaw 3 x 3 cm at 52 x 116 cm")
    made = lay(pieces, cloth, tries=5)
    assert made.fits
    block = lay_drawing(made, {p.name: k for k, p in enumerate(pieces, 1)}, 190.0, 80.0, Style())
    words = [(mark.text, _text_box(mark)) for mark in block.marks if isinstance(mark, Text)]
    assert sum(text.startswith("flaw") for text, _ in words) == 2
    shapes = [mark for mark in block.marks if isinstance(mark, Shape)]
    cloth, *flaws = (Polygon(shape.points) for shape in shapes[:3])
    times = [round(cloth.area / flaw.area) for flaw in flaws]
    assert times == [round(112 * 457 / 64), round(112 * 457 / 9)]
    cut = [Polygon(shape.points) for shape in shapes[3:] if shape.width == 0.3]
    assert len(cut) == 5
    for text, room in words:
        assert not any(room.intersects(flaw) for flaw in flaws)
        if text.startswith("flaw"):
            assert not any(room.intersection(piece).area > 0.05 for piece in cut)
    arrows = [
        LineString([(line.x0, line.y0), (line.x1, line.y1)])
        for line, head in itertools.pairwise(block.marks)
        if isinstance(line, Line) and isinstance(head, Shape) and len(head.points) == 3
    ]
    assert len(arrows) == 6  # one tells the warp
    assert not any(room.intersects(arrow) for _, room in words for arrow in arrows)


def _text_box(mark):
    half, tall = text_width(mark.text, mark.size, True) / 2, 0.25 * mark.size
    return box(mark.x - half, mark.y - tall, mark.x + half, mark.y)


@pytest.mark.parametrize(
    ("degrees", "words"),
    [
        (0, "straight grain, warp down"),
        (180, "straight grain, warp down, turned end for end"),
        (90, "cross grain, warp to the right"),
        (-90, "cross grain, warp to the left"),
        (45, "bias, warp down to the right"),
        (135, "bias, warp down to the left, turned end for end"),
        (-45, "bias, warp down to the left"),
        (20, "warp 20\u00b0 off straight, down to the right"),
    ],
)
def test_grain_in_words_and_arrow_agree(degrees, words):
    assert grain_words(degrees) == words
    tip = layer_icon(degrees, "face", 10.0)[-1].points[0]
    # Anticlockwise from straight down the page, y down.
    angle = np.rad2deg(np.arctan2(tip[0] - 5.0, tip[1] - 5.0))
    assert (angle - degrees) % 360 == pytest.approx(0.0, abs=1e-6) or (
        degrees - angle
    ) % 360 == pytest.approx(0.0, abs=1e-6)
    if "end for end" in words:
        assert tip[1] < 5.0
    elif "right" in words:
        assert tip[0] > 5.0
    elif "left" in words:
        assert tip[0] < 5.0


def test_a_lay_that_fails_says_so_on_the_sheet():
    wide = Piece.rectangle("panel", 120, 30)
    need = cloth_needed("voile", ((0.0, 1),), [wide], (), [ClothInHand(110, 100)], tries=2)
    lines = needed_sentences(need)
    assert lines[1].startswith("Cannot fit") and "Not placed: panel" in lines[2]
    text, _, _ = pdf_text(making_sheet_pdf(sheet(needs=(need,))))
    assert "Cannot fit: voile" in text


@pytest.mark.parametrize(
    "changes",
    [
        {"title": "  "},
        {"layers": ()},
        {"layers": (SheetLayer("x", 0.0, "inside"),)},
        {"layers": (SheetLayer("x", float("nan")),)},
        {"colours": (SheetColour("a", "b", (float("nan"), 0, 0), (0, 0, 0)),)},
        {"colours": (SheetColour("a", "b", (1, 0), (0, 0, 0)),)},
        {"basis": (SheetBasis("x", "", "perhaps"),)},
        {"notes": ("long " * 1000,)},
    ],
)
def test_bad_sheets_are_refused_in_one_line(changes):
    with pytest.raises(InputError) as caught:
        sheet(**changes)
    assert "\n" not in str(caught.value)


def test_what_it_rests_on_goes_on_below_the_cautions():
    """Beside an empty half column nothing is said to have no room."""
    basis = tuple(
        SheetBasis(f"cloth {k}: " + "how closely packed its yarn is, " * 4, "usual", "assumed")
        for k in range(18)
    )
    text, pages, _ = pdf_text(making_sheet_pdf(sheet(basis=basis, cautions=("Press it cool.",))))
    assert pages <= 2 and "no room for" not in text
    assert all(f"cloth {k}:" in text for k in range(18))
    assert text.index("What this rests on") < text.index("What this rests on, continued")


def test_panels_of_two_cloths_have_two_numbers():
    """A number of the cutting list stands on the lay of that cloth alone."""
    wanted = [FullnessWanted("skirt", "gathered", 72.0, wide, 84.0, fullness=2.5)
              for wide in (110.0, 136.0)]  # fmt: skip
    needs = tuple(
        cloth_needed(name, ((0.0, 1),), (), [one], [ClothInHand(one.cloth_width_cm, 400.0)],
                     tries=5)  # fmt: skip
        for name, one in zip(("organza", "chiffon"), wanted, strict=True)
    )
    text, _, _ = pdf_text(making_sheet_pdf(sheet(pieces=(), needs=needs)))
    listed, organza, chiffon = re.split("Lay on organza|Lay on chiffon", text)
    assert re.search(r"1\s+skirt panel, organza", listed)
    assert re.search(r"2\s+skirt panel, chiffon", listed)
    assert "1 skirt panel" in organza and "2 skirt panel" not in organza
    assert "2 skirt panel" in chiffon and "1 skirt panel" not in chiffon
