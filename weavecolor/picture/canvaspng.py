"""Pages to pictures: the same marks drawn with Pillow, enlarged, then reduced for clean edges.

Knows Pillow; the pages come ready laid out.
"""

from __future__ import annotations

import math
from io import BytesIO

from PIL import Image, ImageDraw

from weavecolor.errors import InputError
from weavecolor.picture.canvas import MM_PER_POINT, Colour, Line, Page, Picture, Text, printable
from weavecolor.picture.typeface import font


def page_image(page: Page, dpi: int = 200) -> Image.Image:
    """One page as an RGB picture at ``dpi`` (72 to 400). Raises InputError outside that range."""
    if isinstance(dpi, bool) or not isinstance(dpi, int) or not 72 <= dpi <= 400:
        raise InputError(f"{dpi!r} will not do; use 72 to 400 dots per inch", field="dpi")
    over = 2 if dpi >= 150 else 4
    scale = dpi / 25.4 * over
    size = (round(page.width * dpi / 25.4), round(page.height * dpi / 25.4))
    image = Image.new("RGB", (size[0] * over, size[1] * over), "white")
    draw = ImageDraw.Draw(image)
    for mark in page.marks:
        if isinstance(mark, Picture):
            box = (max(1, round(mark.width * scale)), max(1, round(mark.height * scale)))
            fitted = flat(mark.image).resize(box, Image.Resampling.LANCZOS)
            image.paste(fitted, (round(mark.x * scale), round(mark.y * scale)))
        elif isinstance(mark, Text):
            face = font(mark.size * MM_PER_POINT * scale, mark.bold)
            anchor = {"left": "ls", "centre": "ms", "right": "rs"}[mark.align]
            text = printable(mark.text, mark.bold)
            at = (mark.x * scale, mark.y * scale)
            draw.text(at, text, fill=_rgb(mark.colour), font=face, anchor=anchor)
        elif isinstance(mark, Line):
            ends = [(mark.x0 * scale, mark.y0 * scale), (mark.x1 * scale, mark.y1 * scale)]
            _stroke(draw, ends, mark.width * scale, mark.colour, mark.dash, scale)
        else:
            points = [(x * scale, y * scale) for x, y in mark.points]
            if mark.fill is not None:
                draw.polygon(points, fill=_rgb(mark.fill))
            if mark.stroke is not None:
                ring = [*points, points[0]]
                _stroke(draw, ring, mark.width * scale, mark.stroke, mark.dash, scale)
    return image.reduce(over)


def png_bytes(page: Page, dpi: int = 200) -> bytes:
    """One page as a PNG file that states its resolution."""
    out = BytesIO()
    page_image(page, dpi).save(out, "PNG", dpi=(dpi, dpi))
    return out.getvalue()


def flat(image: Image.Image) -> Image.Image:
    """The picture as plain RGB, see-through parts over white."""
    if image.mode == "RGB":
        return image
    if "A" in image.getbands() or "transparency" in image.info:
        rgba = image.convert("RGBA")
        white = Image.new("RGBA", rgba.size, "white")
        return Image.alpha_composite(white, rgba).convert("RGB")
    return image.convert("RGB")


def _rgb(colour: Colour) -> tuple[int, int, int]:
    red, green, blue = (round(255 * min(1.0, max(0.0, level))) for level in colour)
    return red, green, blue


def _stroke(
    draw: ImageDraw.ImageDraw,
    points: list[tuple[float, float]],
    width: float,
    colour: Colour,
    dash: tuple[float, float] | None,
    scale: float,
) -> None:
    pixels = max(1, round(width))
    if not dash:
        draw.line(points, fill=_rgb(colour), width=pixels, joint="curve")
        return
    on, off = dash[0] * scale, dash[1] * scale
    for (x0, y0), (x1, y1) in zip(points[:-1], points[1:], strict=True):
        length = math.hypot(x1 - x0, y1 - y0)
        at = 0.0
        while at < length:
            a, b = at / length, min(1.0, (at + on) / length)
            ends = [(x0 + a * (x1 - x0), y0 + a * (y1 - y0))]
            ends.append((x0 + b * (x1 - x0), y0 + b * (y1 - y0)))
            draw.line(ends, fill=_rgb(colour), width=pixels)
            at += on + off
