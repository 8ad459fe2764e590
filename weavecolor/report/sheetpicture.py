"""A comparison as one picture: labelled patches of flat colour on a neutral ground.

Knows how the sheet is set out and drawn; computes no colours and writes no files. The ground is a
grey of luminous reflectance 0.5, inside the 10 to 60 % of the neutral surround for judging colour
(ISO 3664, from memory). A colour that the screen cannot show has a hatched corner.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO

import numpy as np
from PIL import Image, ImageDraw

from weavecolor.colour.colorimetry import encode, icc_profile
from weavecolor.decide.compare import AXES, Comparison, Outcome, Step
from weavecolor.decide.unexpected import unexpected
from weavecolor.errors import InputError
from weavecolor.picture.typeface import font, wrapped
from weavecolor.report.cautions import cautions
from weavecolor.report.comparisontable import HOW_TO_READ, assumptions, heading

Grey = int
GROUND: Grey = 188  # Y = 0.50
INK: Grey = 24
QUIET: Grey = 70

# Sizes in units that are pixels at scale 1.
MARGIN = 36
PATCH = (150, 92)
GUTTER = 44
LABELS = 54
ROW_GAP = 26
ROW_HEAD = 92
GROUP_GAP = 48
WIDEST = 1500
GREYS = (10.0, 30.0, 50.0, 70.0, 90.0)
#: Most patches on one sheet.
MOST_PATCHES = 400

_SEEN = {True: "\u25cf", None: "\u25cb", False: "\u2013"}
_COLUMNS = ("grain", "backing", "scene", "face", "lay", "layers")
_ROWS = ("stack", "layers", "scene", "backing", "face", "lay", "grain")
_GROUPS = ("stack", "backing", "face", "lay", "scene", "layers", "grain")


@dataclass(frozen=True)
class _Plan:
    """Which axis runs along columns, rows and groups; the rest make blocks."""

    column: str
    row: str
    group: str
    blocks: tuple[str, ...]


def _plan(varied: Sequence[str]) -> _Plan:
    left = list(varied)

    def take(order: Sequence[str]) -> str:
        axis = next((axis for axis in order if axis in left), "")
        if axis:
            left.remove(axis)
        return axis

    column, row, group = take(_COLUMNS), take(_ROWS), take(_GROUPS)
    return _Plan(column, row, group, tuple(axis for axis in AXES if axis in left))


def sheet_png(comparison: Comparison, title: str = "", scale: int = 2) -> bytes:
    """:func:`sheet_image` as a PNG file with an sRGB profile; the same input, the same bytes.

    Parameters
    ----------
    comparison : Comparison
    title : str
        The cloth's name by default.
    scale : int
        Pixels a unit, 1 to 4.

    Examples
    --------
    >>> from weavecolor.decide.compare import compare
    >>> sheet_png(compare(organza, scenes=(window,)), scale=1)[1:4]
    b'PNG'
    """
    out = BytesIO()
    sheet_image(comparison, title, scale).save(
        out, "PNG", compress_level=6, icc_profile=icc_profile("sRGB")
    )
    return out.getvalue()


def sheet_image(comparison: Comparison, title: str = "", scale: int = 2) -> Image.Image:
    """The sheet, RGB for an sRGB screen.

    ``title``: default the cloth's name. ``scale`` 1 to 4: pixels a unit; a patch is 150 x 92
    units. Raises InputError for more than 400 patches.

    Parameters
    ----------
    comparison : Comparison
        Of at most 400 outcomes.
    title : str
    scale : int

    Examples
    --------
    >>> from weavecolor.decide.compare import compare
    >>> sheet_image(compare(organza, scenes=(window,)), scale=1).mode
    'RGB'
    """
    if len(comparison.outcomes) > MOST_PATCHES:
        raise InputError(
            f"{len(comparison.outcomes)} patches do not fit one sheet; compare at most "
            f"{MOST_PATCHES} options"
        )
    if isinstance(scale, bool) or scale not in (1, 2, 3, 4):
        raise InputError(f"a scale of {scale!r} will not do; use 1, 2, 3 or 4")
    return _Sheet(comparison, title, scale).image()


class _Sheet:
    """Sets a comparison out from top to bottom, then draws what was set."""

    def __init__(self, comparison: Comparison, title: str, scale: int) -> None:
        self.comparison, self.scale = comparison, scale
        told, self.common = heading(comparison)
        self.title = title or told
        self.plan = _plan(comparison.varied())
        self.places = np.arange(len(comparison.outcomes)).reshape(comparison.shape)
        self.steps = {(step.start, step.end): step for step in comparison.steps}
        self.columns = self._size(self.plan.column)
        self.rows = self._size(self.plan.row)
        self.head = ROW_HEAD if self.plan.row else 0
        self.group_width = self.head + self.columns * (PATCH[0] + GUTTER) - GUTTER
        fits = (WIDEST + GROUP_GAP) // (self.group_width + GROUP_GAP)
        self.abreast = max(1, min(self._size(self.plan.group), fits))
        across = self.abreast * (self.group_width + GROUP_GAP) - GROUP_GAP
        self.width = max(across, 620) + 2 * MARGIN
        self.marks: list[tuple[str, tuple[object, ...]]] = []

    def _size(self, axis: str) -> int:
        return self.comparison.shape[AXES.index(axis)] if axis else 1

    def image(self) -> Image.Image:
        y = self._heading(MARGIN)
        for choice in itertools.product(*(range(self._size(a)) for a in self.plan.blocks)):
            y = self._block(dict(zip(self.plan.blocks, choice, strict=True)), y)
        height = self._footing(y) + MARGIN
        size = (round(self.width * self.scale), round(height * self.scale))
        picture = Image.new("RGB", size, (GROUND,) * 3)
        draw = ImageDraw.Draw(picture)
        for kind, args in self.marks:
            getattr(self, f"_draw_{kind}")(draw, *args)
        return picture

    # Setting out: every mark is kept in units and drawn once the height is known.

    def _text(
        self, x: float, y: float, text: str, size: float = 13, *, bold: bool = False,
        grey: Grey = INK, anchor: str = "la",
    ) -> None:  # fmt: skip
        self.marks.append(("text", (x, y, text, size, bold, grey, anchor)))

    def _lines(
        self, x: float, y: float, text: str, width: float, size: float = 13, grey: Grey = INK,
        most: int = 0,
    ) -> float:  # fmt: skip
        for line in wrapped(text, width * self.scale, font(size * self.scale), most):
            self._text(x, y, line, size, grey=grey)
            y += size * 1.35
        return y

    def _heading(self, y: float) -> float:
        inner = self.width - 2 * MARGIN
        for line in wrapped(self.title, inner * self.scale, font(24 * self.scale, True), 2):
            self._text(MARGIN, y, line, 24, bold=True)
            y += 32
        text = ", ".join([*self.common, f"{self.comparison.observer}\u00b0 observer"])
        return self._lines(MARGIN, y + 2, text, inner, 14, QUIET) + 14

    def _block(self, fixed: dict[str, int], y: float) -> float:
        if fixed:
            words = ", ".join(self.comparison.labels(axis)[k] for axis, k in fixed.items())
            self._text(MARGIN, y, words, 18, bold=True)
            y += 32
        count = self._size(self.plan.group)
        bottom = y
        for k in range(count):
            at = k % self.abreast
            if at == 0:
                y = bottom
            x = MARGIN + at * (self.group_width + GROUP_GAP)
            bottom = max(bottom, self._group({**fixed, self.plan.group: k}, x, y))
        return bottom + 8

    def _group(self, fixed: dict[str, int], x: float, y: float) -> float:
        plan = self.plan
        if plan.group:
            k = fixed[plan.group]
            self._text(x, y, self.comparison.labels(plan.group)[k], 15, bold=True)
            if k:
                self._text(x + self.group_width, y + 2, self._apart(fixed), 12, grey=QUIET,
                           anchor="ra")  # fmt: skip
            y += 26
        if plan.column:
            for j, label in enumerate(self.comparison.labels(plan.column)):
                centre = x + self.head + j * (PATCH[0] + GUTTER)
                if plan.column == "backing" and plan.group:
                    label = label.removesuffix(" behind")
                short = wrapped(label, PATCH[0] * self.scale, font(13 * self.scale), 1)[0]
                self._text(centre, y, short, 13)
            y += 21
        for i in range(self.rows):
            if plan.row:
                label = self.comparison.labels(plan.row)[i]
                self._lines(x, y + 4, label, ROW_HEAD - 12, 13, most=9)
            for j in range(self.columns):
                here = {**fixed, plan.row: i, plan.column: j}
                self._patch(self._place(here), x + self.head + j * (PATCH[0] + GUTTER), y)
                if j:
                    self._step({**here, plan.column: j - 1}, here,
                               x + self.head + j * (PATCH[0] + GUTTER) - GUTTER / 2,
                               y + PATCH[1] / 2 - 17, True)  # fmt: skip
                if i:
                    self._step({**here, plan.row: i - 1}, here,
                               x + self.head + j * (PATCH[0] + GUTTER) + PATCH[0] / 2,
                               y - ROW_GAP + 3, False)  # fmt: skip
            y += PATCH[1] + LABELS + ROW_GAP
        return y - ROW_GAP + 12

    def _place(self, at: dict[str, int]) -> int:
        return int(self.places[tuple(at.get(axis, 0) for axis in AXES)])

    def _apart(self, fixed: dict[str, int]) -> str:
        """How far a group lies from the one before, over all its patches."""
        plan, deltas = self.plan, []
        for i, j in itertools.product(range(self.rows), range(self.columns)):
            here = {**fixed, plan.row: i, plan.column: j}
            before = {**here, plan.group: fixed[plan.group] - 1}
            deltas.append(self.steps[self._place(before), self._place(here)].delta)
        before_words = self.comparison.labels(plan.group)[fixed[plan.group] - 1]
        low, high = f"{min(deltas):.1f}", f"{max(deltas):.1f}"
        span = low if low == high else f"{low} to {high}"
        return f"{span} from {before_words}"

    def _patch(self, place: int, x: float, y: float) -> None:
        outcome = self.comparison.outcomes[place]
        reading = outcome.appearance.reading
        self.marks.append(("patch", (x, y, outcome)))
        y += PATCH[1] + 4
        L, a, b = (f"{v:.0f}".replace("-0", "0") if abs(v) < 0.5 else f"{v:.0f}"
                   for v in reading.Lab)  # fmt: skip
        numbers = f"L {L}  a {a}  b {b}".replace("-", "\u2212")
        wide = sum(font(12 * self.scale).getlength(text) for text in (numbers, reading.hex))
        size = 12 if wide < (PATCH[0] - 4) * self.scale else 11
        self._text(x, y, numbers, size)
        self._text(x + PATCH[0], y, reading.hex, size, grey=QUIET, anchor="ra")
        self._lines(x, y + 17, reading.words, PATCH[0], 12, most=2)

    def _step(
        self, before: dict[str, int], here: dict[str, int], x: float, y: float, across: bool
    ) -> None:
        step = self.steps[self._place(before), self._place(here)]
        sign = sign_of(step)
        if across:
            self._text(x, y, f"{step.delta:.1f}", 13, anchor="ma")
            self._text(x, y + 17, sign, 13, anchor="ma")
        else:
            self._text(x, y, f"\u2195 {step.delta:.1f} {sign}", 13, anchor="ma")

    def _footing(self, y: float) -> float:
        inner = self.width - 2 * MARGIN
        self.marks.append(("rule", (MARGIN, y, inner)))
        y += 14
        linear = np.array([[((L + 16.0) / 116.0) ** 3] * 3 for L in GREYS])
        codes, _ = encode(linear)
        for k, (L, code) in enumerate(zip(GREYS, codes, strict=True)):
            x = MARGIN + k * 46
            self.marks.append(("grey", (x, y, 46, 34, int(code[0]))))
            self._text(x + 23, y + 37, f"{L:.0f}", 11, grey=QUIET, anchor="ma")
        x = MARGIN + 46 * len(GREYS) + 20
        self._lines(
            x, y, "Neutral greys of that L*. If they look tinted here, so does everything else: "
            "judge on another screen or in other room light.", inner - x + MARGIN, 12, QUIET, 3,
        )  # fmt: skip
        y += 62
        for text in self._notes():
            y = self._lines(MARGIN, y, text, inner, 12.5) + 4
        return y

    def _lies(self) -> str:
        flat = {not o.option.scene.views for o in self.comparison.outcomes}
        return "cloth " + " or ".join("held flat" if one else "in folds" for one in sorted(flat))

    def _notes(self) -> list[str]:
        outcomes = self.comparison.outcomes
        notes = []
        if self.comparison.steps:
            notes.append(
                f"Numbers between patches: {HOW_TO_READ}"
                + (
                    f" {_SEEN[True]} she would see it, {_SEEN[None]} cannot tell, "
                    f"{_SEEN[False]} she would not see it."
                    if any(step.verdict for step in self.comparison.steps)
                    else ""
                )
            )
        notes += unexpected(outcomes, self.comparison.observer)
        known = sorted({f"{o.uncertainty.stated:.1f}" for o in outcomes}, key=float)
        span = known[0] if len(known) == 1 else f"{known[0]} to {known[-1]}, by patch"
        assumed = "; ".join(assumptions(self.comparison))
        notes.append(
            f"A single colour is known give or take {span}"
            + (f": {assumed}." if assumed else ".")
            + f" Patches are the mean colour of {self._lies()} from afar, without its thread."
        )
        if any(not outcome.appearance.reading.in_srgb for outcome in outcomes):
            notes.append(
                "Hatched corner: beyond what this screen's range (sRGB) can show; the patch is "
                "the nearest colour of the same hue, and the cloth is brighter or more vivid."
            )
        scenes = {o.option.scene.name: o.option.scene.notes for o in outcomes}
        notes += [f"{name[0].upper() + name[1:]}: {text}" for name, text in scenes.items() if text]
        layers = outcomes[0].option.stack.layers
        fibres = {y.fibre.name for layer in layers for y in (layer.cloth.warp, layer.cloth.weft)}
        return notes + list(cautions(sorted(fibres))[:1])

    # Drawing.

    def _draw_text(
        self, draw: ImageDraw.ImageDraw, x: float, y: float, text: str, size: float, bold: bool,
        grey: Grey, anchor: str,
    ) -> None:  # fmt: skip
        at = (round(x * self.scale), round(y * self.scale))
        draw.text(at, text, (grey,) * 3, font(size * self.scale, bold), anchor)

    def _draw_rule(self, draw: ImageDraw.ImageDraw, x: float, y: float, width: float) -> None:
        self._box(draw, x, y, width, 1, (QUIET + 60,) * 3)

    def _draw_grey(
        self, draw: ImageDraw.ImageDraw, x: float, y: float, width: float, height: float, grey: Grey
    ) -> None:
        self._box(draw, x, y, width, height, (grey,) * 3)

    def _draw_patch(self, draw: ImageDraw.ImageDraw, x: float, y: float, outcome: Outcome) -> None:
        reading = outcome.appearance.reading
        self._box(draw, x, y, *PATCH, screen_colour(outcome))
        if not reading.in_srgb:
            ink = (245,) * 3 if reading.Lab[0] < 55.0 else (20,) * 3
            right = x + PATCH[0]
            for k in range(4, 29, 6):
                ends = [(right - k, y), (right, y + k)]
                draw.line([(round(u * self.scale), round(v * self.scale)) for u, v in ends],
                          fill=ink, width=self.scale)  # fmt: skip

    def _box(
        self, draw: ImageDraw.ImageDraw, x: float, y: float, width: float, height: float,
        colour: tuple[int, ...],
    ) -> None:  # fmt: skip
        s = self.scale
        left, top = round(x * s), round(y * s)
        right, bottom = left + round(width * s) - 1, top + round(height * s) - 1
        draw.rectangle((left, top, right, bottom), fill=colour)


def screen_colour(outcome: Outcome) -> tuple[int, int, int]:
    """The 8-bit sRGB colour of a patch.

    Examples
    --------
    >>> from weavecolor.decide.compare import compare
    >>> len(screen_colour(compare(organza, scenes=(window,)).outcomes[0]))
    3
    """
    red, green, blue = (int(v) for v in np.rint(255.0 * outcome.appearance.reading.srgb))
    return red, green, blue


def sign_of(step: Step) -> str:
    """The sign that stands by a difference: seen, cannot tell, not seen; "" across scenes.

    Examples
    --------
    >>> from weavecolor.decide.compare import compare
    >>> sign_of(compare(organza, counts=(1, 2), scenes=(window,)).steps[0]) in ("●", "◐", "○", "")
    True
    """
    return _SEEN[step.verdict.sees] if step.verdict else ""
