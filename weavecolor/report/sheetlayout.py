"""The making sheet set on the page: sections of a sheet as blocks, fitted to two A4 pages.

Knows what each section looks like; the marks are drawn by ``sheetpdf`` and ``sheetpng``. Where two
pages are too few the type shrinks, then the longest lists are cut short and say so: that of what is
cut last.
"""

from __future__ import annotations

from dataclasses import replace

from weavecolor.cutting.fullness import FullnessPlan
from weavecolor.cutting.lengths import cm, inches
from weavecolor.cutting.needed import ClothNeeded, panels
from weavecolor.cutting.pieces import Piece, cut_outline, outer_words
from weavecolor.errors import InputError, capital
from weavecolor.optics.uncertainty import HELD
from weavecolor.picture.canvas import A4, LACKING, Line, Mark, Page, Picture, Text, rectangle
from weavecolor.report.sheetblocks import (
    INK,
    RULE,
    SOFT,
    Block,
    Column,
    Style,
    bullets,
    columns,
    heading,
    kept,
    line_mm,
    overfull,
    paged,
    paragraph,
    rest_note,
    shortened,
    stacked,
    table,
)
from weavecolor.report.sheetdata import MakingSheet, SheetSwatch
from weavecolor.report.sheetdrawings import lay_drawing, layer_icon, sample_box
from weavecolor.report.sheetwords import (
    folds_words,
    fullness_sentences,
    grain_words,
    needed_sentences,
)
from weavecolor.scene.folds import IN_FOLDS
from weavecolor.textile import grain

MARGIN, BOTTOM = 14.0, 15.0
WIDTH = A4[0] - 2 * MARGIN
GUTTER = 8.0
HALF = (WIDTH - GUTTER) / 2.0
LAY_KEY = (
    "Arrows are the pieces' grain lines, pointing to the hem; broken lines are sewing lines; "
    "crossed-out parts are not to be used. The cloth lies face up: of what goes back out the "
    "pieces are seen from their inside."
)
GUIDE = "A guide: a sewn sample in the real light decides."
LAYS_IN_WORDS = {
    "touching": "pressed together",
    "loose": "loose, as worn",
    "apart": "hung apart",
}

#: Lengths that lists are cut short to, one after another.
MOST = (40, 30, 24, 20, 16, 13, 10, 8, 6, 5, 4, 3, 2, 1)
#: The lists that may be cut short, what matters most first.
LISTS: tuple[str, ...] = (
    "layers", "cutting", "needs", "show through", "colours", "fullness", "notes", "basis",
)  # fmt: skip
#: Lays drawn already: by the lay, the type's scale, and the width.
Drawn = dict[tuple[int, float, float], Block]


_LACKING = f"{LACKING} stands for a letter that there is no type for here: write it in by hand."


def sheet_pages(sheet: MakingSheet) -> tuple[Page, ...]:
    """The sheet as one or two pages of marks."""
    styles = [Style(scale) for scale in (1.0, 0.94, 0.88, 0.82)]
    # what is sewn and cut before all else: without it nothing can be cut
    styles += [Style(0.82, most, whole) for whole in (LISTS[:2], LISTS[:0]) for most in MOST]
    drawn: Drawn = {}

    def fitted(style: Style) -> list[tuple[Mark, ...]] | None:
        pages = paged(_blocks(sheet, style, drawn), MARGIN, BOTTOM)
        return pages if len(pages) <= 2 and not overfull(pages, BOTTOM) else None

    pages = None
    for style in styles:
        pages = fitted(style)
        if pages:
            break
    if not pages:
        raise InputError(
            "the texts are too long for two pages; shorten cautions, notes or captions",
            field="making sheet",
        )
    for section in LISTS if style.most else ():  # what a page has room for all the same
        if section in style.whole:
            continue
        more = replace(style, whole=(*style.whole, section))
        longer = fitted(more)
        if longer:
            style, pages = more, longer
    made = tuple(
        Page((*marks, *_footer(sheet, number + 1, len(pages))))
        for number, marks in enumerate(pages)
    )
    lacking = any(LACKING in m.text for page in made for m in page.marks if isinstance(m, Text))
    if not lacking or _LACKING in sheet.notes:
        return made
    return sheet_pages(replace(sheet, notes=(*sheet.notes, _LACKING)))


def _footer(sheet: MakingSheet, number: int, total: int) -> list[Mark]:
    y = A4[1] - 9.0
    right = A4[0] - MARGIN
    name = sheet.title if len(sheet.title) <= 50 else sheet.title[:49].rstrip() + "\u2026"
    return [
        Line(MARGIN, y - 3.4, right, y - 3.4, 0.15, RULE),
        Text(MARGIN, y, GUIDE, 7.2, True, INK),
        Text(
            right,
            y,
            f"{name}, {sheet.date} \u00b7 page {number} of {total}",
            7.2,
            False,
            SOFT,
            "right",
        ),
    ]


def _blocks(sheet: MakingSheet, style: Style, drawn: Drawn) -> list[Block]:
    blocks = [_title(sheet, style)]
    left = stacked([heading("Layers, outside in", HALF, style), *_layers(sheet, style)])
    if sheet.swatches:
        room = Block((), style.mm(4.5))
        right = stacked(
            [heading("How it should look", HALF, style), _swatches(sheet, style), room,
             _verdict(style)]
        )  # fmt: skip
        left = stacked([left, room, _sample_here(style)])
        blocks.append(columns([left, right], [0.0, HALF + GUTTER]))
    else:
        blocks.append(left)
    if sheet.colours:
        blocks += [heading("Predicted colour", WIDTH, style), *_colours(sheet, style)]
    if sheet.show_through:
        title = "What will show through, each in the light where it shows most"
        blocks.append(heading(title, WIDTH, style))
        blocks += bullets(sheet.show_through, WIDTH, style.of("show through"))
    if sheet.notes:
        blocks += [heading("Notes", WIDTH, style), *bullets(sheet.notes, WIDTH, style.of("notes"))]
    if not sheet.swatches:
        blocks.append(_sample(style))
    if sheet.pieces or sheet.needs:
        blocks += kept([heading("Cutting list", WIDTH, style), *_cutting(sheet, style)])
    blocks += _lays(sheet, style, drawn)
    if sheet.fullness:
        lines = [line for name, plan in sheet.fullness for line in fullness_sentences(name, plan)]
        blocks += [heading("Fullness", WIDTH, style), *bullets(lines, WIDTH, style.of("fullness"))]
    first: list[Block] = []
    if sheet.cautions:
        cautions = bullets(sheet.cautions, HALF, style, whole=True)
        first = [heading("Cautions", HALF, style), *cautions]
    then = _basis(sheet, style) if sheet.basis else []
    if first or then:
        blocks.append(_side_by_side(first, "What this rests on", then, style))
    return blocks


def _side_by_side(first: list[Block], title: str, then: list[Block], style: Style) -> Block:
    """Two columns as even as can be: of what stands ``then``, under its ``title``, the beginning
    goes below what stands ``first``, where that makes them shorter."""
    begin, on = (heading(text, HALF, style) for text in (title, f"{title}, continued"))
    made = [
        columns([stacked(left), stacked(right)], [0.0, HALF + GUTTER])
        for k in range(len(then))
        if k == 0 or not then[k - 1].joined
        for left, right in [
            ([*first, begin, *then[:k]], [on, *then[k:]]) if k else (first, [begin, *then])
        ]
    ]
    return min(made, key=lambda block: block.height) if made else stacked(first)


def _title(sheet: MakingSheet, style: Style) -> Block:
    size = 19.0 * style.scale
    room = WIDTH - style.mm(42.0)
    kicker = paragraph("Making sheet", room, style.head, colour=SOFT)
    name = stacked([kicker, paragraph(sheet.title, room, size, bold=True, lines=2)])
    base = name.height
    date = paragraph(sheet.date, style.mm(40.0), style.head, lines=1).marks[0]
    first = kicker.marks[0]
    assert isinstance(date, Text) and isinstance(first, Text)
    marks: list[Mark] = list(name.marks)
    marks.append(Text(WIDTH, first.y, date.text, style.head, False, INK, "right"))
    marks.append(Line(0.0, base + 1.0, WIDTH, base + 1.0, 0.6, INK))
    return Block(tuple(marks), base + 1.6)


def _layers(sheet: MakingSheet, style: Style) -> list[Block]:
    size = style.mm(15.0 if len(sheet.layers) <= 5 else 11.0)
    left = size + style.mm(4.0)
    room = HALF - left
    blocks = []
    shown, rest = shortened(sheet.layers, style.of("layers"))
    for number, layer in enumerate(shown, 1):
        out = "face out" if layer.face == "face" else "back out (pattern laid face down)"
        words = [
            paragraph(f"{number}  {layer.cloth}", room, style.body, bold=True, lines=2),
            paragraph(f"{grain_words(layer.grain_deg)}; {out}", room, style.body),
        ]
        if layer.note:
            words.append(paragraph(layer.note, room, style.small, colour=SOFT))
        text = stacked(words)
        icon = Block(tuple(layer_icon(layer.grain_deg, layer.face, size)), size)
        row = columns([icon, text], [0.0, left])
        blocks.append(Block(row.marks, row.height + style.mm(2.2)))
    blocks += rest_note(rest, HALF, style)
    behind = sheet.backing or "nothing, open air"
    how = LAYS_IN_WORDS.get(sheet.lay_of_stack, sheet.lay_of_stack)
    line = f"Behind: {behind}." + (f" Layers {how}." if len(sheet.layers) > 1 else "")
    blocks.append(paragraph(line, HALF, style.body))
    key = "Seen from outside, hem down. Arrow and lines: the warp. White: face; grey: back."
    blocks.append(paragraph(key, HALF, style.small, colour=SOFT))
    return blocks


def _swatches(sheet: MakingSheet, style: Style) -> Block:
    shown = sheet.swatches[: min(6, style.most or 6)]
    gap = style.mm(3.0)
    wide = (HALF - gap) / 2
    rows: list[Block] = [_swatch(shown[0], HALF, style)]
    for start in range(1, len(shown), 2):
        row = [_swatch(swatch, wide, style) for swatch in shown[start : start + 2]]
        rows.append(columns(row, [i * (wide + gap) for i in range(len(row))]))
    left = len(sheet.swatches) - len(shown)
    return stacked([*rows, *rest_note(left, HALF, style, "picture")], style.mm(1.6))


def _swatch(swatch: SheetSwatch, wide: float, style: Style) -> Block:
    across, down = swatch.picture.size
    # A picture by itself is large: it is what the sheet is looked at for.
    most = style.mm(80.0 if wide > HALF - 1.0 else 46.0)
    tall = min(wide * down / max(1, across), most)
    kept = min(wide, tall * across / max(1, down))
    marks: list[Mark] = [
        Picture(0.0, 0.0, kept, tall, swatch.picture),
        rectangle(0.0, 0.0, kept, tall, stroke=RULE, line=0.15),
    ]
    caption = paragraph(swatch.caption, wide, style.small, colour=SOFT, lines=2)
    return stacked([Block(tuple(marks), tall + 0.6), caption])


def _colours(sheet: MakingSheet, style: Style) -> list[Block]:
    colours = sheet.colours
    shown, rest = shortened(colours, style.of("colours"))
    rows = []
    for colour in shown:
        spread = "" if colour.uncertainty is None else f"\u00b1{colour.uncertainty:.1f}"
        rows.append(
            [
                colour.light,
                "",
                colour.words,
                *(_signed(value) for value in colour.lab),
                spread,
                "as shown" if colour.on_screen else "beyond screen *",
            ]
        )
    layout = [
        Column("Light", 46, bold=True),
        Column("Chip", 17),
        Column("In words", 36),
        Column("L*", 13, right=True),
        Column("a*", 13, right=True),
        Column("b*", 13, right=True),
        Column("\u00b1 \u0394E00", 17, right=True),
        Column("On screen", WIDTH - 155),
    ]
    blocks = table(layout, rows, style)
    tall = line_mm(style.body)
    for i, colour in enumerate(shown):
        chip = rectangle(
            46.0, style.mm(0.9), 14.0, tall, fill=_three(colour.srgb), stroke=INK, line=0.15
        )
        row = blocks[i + 1]
        blocks[i + 1] = Block((*row.marks, chip), row.height)
    blocks += rest_note(rest, WIDTH, style)
    says = "Chips and pictures depend on screen and printer: go by the numbers and the words."
    if any(colour.uncertainty is not None for colour in colours):
        says += f" \u00b1 \u0394E00 (CIEDE2000): {HELD} the cloth is no further off."
    if any(not colour.on_screen for colour in colours):
        says += (
            " * The cloth is brighter or more vivid than a screen shows; chip and pictures are "
            "duller."
        )
    blocks.append(paragraph(says, WIDTH, style.small, colour=SOFT))
    hung = any(colour.light.endswith(IN_FOLDS) for colour in colours)
    if folds := folds_words(sheet.fullness, hung):
        blocks.append(paragraph(folds, WIDTH, style.body))
    return blocks


def _three(srgb: tuple[float, float, float]) -> tuple[float, float, float]:
    red, green, blue = (min(1.0, max(0.0, float(value))) for value in srgb)
    return red, green, blue


def _signed(value: float) -> str:
    return f"{value:.1f}".replace("-0.0", "0.0").replace("-", "\u2212")


def _sample(style: Style) -> Block:
    """Room for the sewn sample, and what was seen of it beside."""
    body = columns([_sample_here(style), _verdict(style)], [0.0, HALF + GUTTER])
    return stacked([Block((), style.mm(4.5)), body])


def _sample_here(style: Style) -> Block:
    return sample_box(HALF, style.mm(44.0), style)


def _verdict(style: Style) -> Block:
    """Lines to write on: in what light the sample was seen, and what was decided."""
    tall, room = style.mm(44.0), HALF
    pitch = style.mm(8.6)
    marks: list[Mark] = list(paragraph(GUIDE, room, style.head, bold=True).marks)
    top = paragraph(GUIDE, room, style.head, bold=True).height + style.mm(5.0)
    for i, label in enumerate(("Light it was seen in", "Against", "Keep, or change to", "Date")):
        y = top + i * pitch
        marks.append(Text(0.0, y, label, style.small, False, SOFT))
        marks.append(Line(style.mm(28.0), y + 0.6, room, y + 0.6, 0.15, RULE))
    return Block(tuple(marks), tall)


#: A piece, the cloth it is cut of ("": of each), the grain it is told by, and a panel's plan.
Row = tuple[Piece, str, str, FullnessPlan | None]


def _cut_pieces(sheet: MakingSheet) -> list[Row]:
    """Pieces, then the panels of each fullness with its plan, for one layer; the layer of panels
    that differ."""
    found: list[Row] = [(piece, "", "", None) for piece in sheet.pieces]
    for need in sheet.needs:
        for (what, plan, _), part in zip(need.plans, need.parts, strict=False):
            whose = need.cloth if len(sheet.needs) > 1 else ""
            lies = grain.grain_words(plan.grain_deg) if len(need.grains) > 1 else ""
            row = replace(panels(what, plan), layers=part.layers), whose, lies, plan
            if row not in found:
                found.append(row)
    return found


def _numbers(listed: list[Row], cloth: str) -> dict[str, int]:
    """The number in the cutting list of what is cut of a ``cloth``, by its name: panels of two
    cloths differ, and so do their numbers."""
    named = dict.fromkeys((piece.name, whose) for piece, whose, *_ in listed)
    return {name: k for k, (name, whose) in enumerate(named, 1) if whose in ("", cloth)}


def _cutting(sheet: MakingSheet, style: Style) -> list[Block]:
    listed = _cut_pieces(sheet)
    shown, rest = shortened(listed, style.of("cutting"))
    numbers = {cloth: _numbers(listed, cloth) for cloth in {row[1] for row in listed}}
    rows = []
    for piece, cloth, lies, plan in shown:
        whose = ", ".join(filter(None, (cloth, lies)))
        left, low, right, high = cut_outline(piece).bounds
        how = []
        if piece.fold_edge is not None:
            how.append("on the fold")
        if piece.pair:
            how.append("in pairs, left and right")
        if piece.grain:
            how.append(
                "straight or cross grain" if piece.grain == "either" else f"{piece.grain} grain"
            )
        if piece.layers is not None and piece.layers < len(sheet.layers):
            how.append(outer_words(piece.layers))
        if abs(piece.grain_deg) > 0.05:
            how.append(f"grain line {piece.grain_deg:g}\u00b0 off")
        seam = piece.seam_cm
        if plan is not None:  # its panels are cut to a size that holds all this
            seam = plan.seam_cm
            down = plan.drop_cm / 2.0 if plan.doubled else plan.drop_cm - plan.hem_cm
            how.append("hem on the fold" if plan.doubled else f"hem {cm(plan.hem_cm)}")
            how.append(f"top {cm(down - plan.length_cm)}")
        rows.append(
            [
                str(numbers[cloth][piece.name]),
                f"{piece.name}, {whose}" if whose else piece.name,
                str(piece.quantity),
                f"{cm(right - left)} \u00d7 {cm(high - low)}",
                f"{inches(right - left)} \u00d7 {inches(high - low)}",
                cm(seam) if seam else "none",
                ", ".join(how),
            ]
        )
    layout = [
        Column("No.", 9, bold=True),
        Column("Piece", 37, bold=True),
        Column("Cut", 13, right=True),
        Column("Cut size, opened out", 36),
        Column("in inches", 37),
        Column("Seam", 15),
        Column("How", WIDTH - 147),
    ]
    blocks = [*table(layout, rows, style), *rest_note(rest, WIDTH, style)]
    layers = len(sheet.layers)
    if layers > 1:
        named = any(cloth or lies for _, cloth, lies, _ in listed)
        note = f"The numbers are for one layer: cut every piece once in each of the {layers} layers"
        if any(piece.layers is not None and piece.layers < layers for piece, *_ in listed):
            note += ", but what is said to be of the outer ones alone"
        note += ", and panels in the layers of the cloth or grain named." if named else "."
        blocks.append(paragraph(note, WIDTH, style.body, bold=True))
    return blocks


def _lays(sheet: MakingSheet, style: Style, drawn: Drawn) -> list[Block]:
    """One cloth across the page, several in two columns."""
    shown, rest = shortened(sheet.needs, style.of("needs"))
    width = WIDTH if len(shown) <= 1 else HALF
    listed = _cut_pieces(sheet)
    each = [
        stacked(_need(need, _numbers(listed, need.cloth), style, width, drawn)) for need in shown
    ]
    blocks = list(each) if len(each) <= 1 else [
        columns(each[start : start + 2], [0.0, HALF + GUTTER][: len(each[start : start + 2])])
        for start in range(0, len(each), 2)
    ]  # fmt: skip
    if any(need.laid for need in shown):
        key = f"Numbers as in the cutting list. {LAY_KEY}"
        blocks.append(paragraph(key, WIDTH, style.small, colour=SOFT))
    return [*blocks, *rest_note(rest, WIDTH, style)]


def _need(
    need: ClothNeeded, numbers: dict[str, int], style: Style, width: float, drawn: Drawn
) -> list[Block]:
    # A lay that leaves pieces over must not be taken for one that can be cut.
    said = f"Lay on {need.cloth}" if need.enough else (
        f"{capital(need.verdict)}: {need.cloth}"
    )  # fmt: skip
    folds = {"lengthwise": ", folded along the warp", "crosswise": ", folded across"}
    folded = folds.get(need.laid[0][1].fold, "") if need.laid else ""
    title = paragraph(f"{said}{folded}", width, style.head, bold=True, lines=1).marks[0]
    assert isinstance(title, Text)
    blocks = [heading(title.text, width, style)]
    for _, made in need.laid:
        key = id(made), style.scale, width
        if key not in drawn:  # shorter lists change no drawing
            height = style.mm(74.0 / len(need.laid))
            drawn[key] = lay_drawing(made, numbers, width, height, style)
        drawing = drawn[key]
        blocks.append(Block(drawing.marks, drawing.height + 0.8))
    return [*blocks, *bullets(needed_sentences(need), width, style, whole=True)]


def _basis(sheet: MakingSheet, style: Style) -> list[Block]:
    measured = [entry for entry in sheet.basis if entry.how_known == "measured"]
    assumed = [entry for entry in sheet.basis if entry.how_known != "measured"]
    layout = [Column("", HALF - 19.0), Column("", 19.0)]
    blocks: list[Block] = []
    for title, entries in (("Measured", measured), ("Not measured", assumed)):
        if not entries:
            continue
        shown, rest = shortened(entries, style.of("basis"))
        layout = [Column(title, HALF - 19.0), Column("How known", 19.0, bold=True)]
        rows = [
            [entry.what + (f" ({entry.source})" if entry.source else ""), entry.how_known]
            for entry in shown
        ]
        if title == "Measured":
            layout = [Column(title, HALF - 0.1), Column("", 0.1)]
            rows = [[row[0], ""] for row in rows]
        blocks += table(layout, rows, style)
        blocks += rest_note(rest, HALF, style)
    return blocks
