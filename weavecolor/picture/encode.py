"""From linear light to a picture file: screen space, profile, what does not fit, animation.

Knows screens and file formats; knows nothing of cloth. Linear pictures are (height, width, 3), the
perfect diffuser being 1.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from io import BytesIO
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from weavecolor.colour.colorimetry import icc_profile, linear_rgb
from weavecolor.colour.screen import HIGHEST, LOWEST, encoded, fit_to_gamut
from weavecolor.colour.screen import space as known_space
from weavecolor.errors import InputError
from weavecolor.scene.places import illumination
from weavecolor.scene.scene import Scene

Picture = NDArray[np.float32]

MOST_PIXELS = 20_000_000
_ROWS = 128  # rows worked on at a time


@dataclass(frozen=True)
class Seeing:
    """How a picture is shown; the same for every option that is compared.

    ``space``: "sRGB" or "Display P3". ``adapt``: True as the eye sees it once used to the light,
    False with the cast of the light left in. ``exposure``: factor on linear light, 0.01 to 100,
    None for the one that suits the scene (never the cloth). ``mark``: hatch what the screen cannot
    show.
    """

    space: str = "sRGB"
    adapt: bool = True
    exposure: float | None = None
    mark: bool = False

    def __post_init__(self) -> None:
        known_space(self.space)
        if self.exposure is not None and not 0.01 <= self.exposure <= 100.0:
            raise InputError(f"an exposure is a factor from 0.01 to 100, got {self.exposure:g}")


#: The plain way: sRGB, adapted, exposed for the scene.
AS_SEEN = Seeing()


def on_screen(
    radiance: NDArray[Any], scene: Scene, seeing: Seeing, observer: str = "2"
) -> NDArray[np.float64]:
    """Linear RGB (..., 3) of spectra ``radiance`` (..., 41) in ``scene``, before exposure, in the
    space and adaptation of ``seeing``, for the ``observer`` "2" or "10"."""
    return linear_rgb(
        radiance,
        illumination(scene),
        seeing.space,
        seeing.adapt,
        white=scene.white,
        observer=observer,
    )


def exposure_for(scene: Scene, seeing: Seeing) -> float:
    """The exposure of ``seeing``, or the largest up to 1 at which a white card that faces the eye
    in ``scene`` would still fit."""
    if seeing.exposure is not None:
        return seeing.exposure
    card = float(on_screen(illumination(scene), scene, seeing).max())
    return min(1.0, 1.0 / max(card, 1e-9))


#: Luminance up to which hung cloth is shown as it is, a white card's that faces the eye being 1.
#: Folds turned to a lamp have more light than the card, white cloth turned to the window 1.45. From
#: here to there each step in light is shown by a smaller share of it, which falls evenly to none,
#: as by the shoulder of film (common practice, no source). Over 20 white shapes by the window .55
#: of the relief beyond L* 87 is kept, and .35 beyond a white card's, for 2.7 of L* in the mean; to
#: keep more of the last, all that is pale is drawn darker than told: by even steps of L* from 82
#: on .47 and .45, for 4.
SHOULDER = 0.55


def eased(linear: Picture, seeing: Seeing = AS_SEEN) -> Picture:
    """Exposed linear light (..., 3) with all luminance beyond :data:`SHOULDER` brought to 1 at
    most, in its order and of its own hue.

    Examples
    --------
    >>> [round(float(eased(np.full(3, grey, np.float32))[0]), 2) for grey in (0.5, 1.0, 1.5)]
    [0.5, 0.89, 1.0]
    """
    luminance = linear @ known_space(seeing.space).to_xyz[1].astype(np.float32)
    bright = luminance > SHOULDER
    out = linear.copy()
    over, room = luminance[bright][:, None], 1.0 - SHOULDER
    past = np.minimum(over - SHOULDER, 2.0 * room)
    out[bright] *= (SHOULDER + past * (1.0 - 0.25 * past / room)) / over
    return out


def before_easing(shown: float) -> float:
    """The luminance that :func:`eased` makes ``shown`` of, at most 1.

    Examples
    --------
    >>> round(before_easing(0.82), 3)
    0.881
    """
    room = 1.0 - SHOULDER
    if shown <= SHOULDER:
        return shown
    return SHOULDER + 2.0 * room * (1.0 - math.sqrt((1.0 - shown) / room))


def check_size(width_px: int, height_px: int) -> None:
    """Raises InputError unless both are whole, 8 or more, and the picture no more than 20 Mpx.

    Examples
    --------
    >>> check_size(800, 600)  # nothing is said of a size that can be drawn
    """
    for value in (width_px, height_px):
        if isinstance(value, bool) or not isinstance(value, (int, np.integer)) or value < 8:
            raise InputError(f"a picture is at least 8 pixels each way, got {value!r}")
    if width_px * height_px > MOST_PIXELS:
        raise InputError(f"{width_px} x {height_px} pixels is too large; the most is 20 million")


@lru_cache(maxsize=1)
def _curve() -> NDArray[np.float32]:
    table = (255.0 * encoded(np.arange(65536) / 65535.0)).astype(np.float32)
    table.setflags(write=False)
    return table


def _grain(first_row: int, rows: int, width: int) -> NDArray[np.float32]:
    """Fixed fine noise, 0-1, that spreads rounding evenly so that soft shades show no steps.

    Interleaved gradient noise (J. Jimenez, SIGGRAPH 2014 course).
    """
    y = np.arange(first_row, first_row + rows, dtype=np.float32)[:, None]
    x = np.arange(width, dtype=np.float32)[None, :]
    inner = 0.06711056 * x + 0.00583715 * y
    outer = 52.9829189 * (inner - np.floor(inner))
    return (outer - np.floor(outer)).astype(np.float32)


def to_image(linear: Picture, seeing: Seeing = AS_SEEN, notes: Sequence[str] = ()) -> Image.Image:
    """An RGB image of ``linear`` light (h, w, 3) that is already exposed, on the screen of
    ``seeing``.

    ``image.info`` holds "icc_profile", "out_of_range" (share of pixels that the screen cannot
    show, 0-1) and "notes" (``notes``, sentences to tell with the picture). Out-of-range colours
    become the nearest of the same hue; ``seeing.mark`` hatches them. Raises InputError on values
    that are not finite.

    Examples
    --------
    >>> to_image(np.full((4, 6, 3), 0.2, np.float32)).size
    (6, 4)
    """
    height, width = linear.shape[:2]
    codes = np.empty((height, width, 3), np.uint8)
    outside = 0
    curve = _curve()
    for first in range(0, height, _ROWS):
        part = np.asarray(linear[first : first + _ROWS], np.float32)
        low, high = part.min(), part.max()
        if not (np.isfinite(low) and np.isfinite(high)):
            raise InputError("a picture holds values that are not numbers")
        mask = None
        if low < LOWEST or high > HIGHEST:
            mask = np.asarray(((part < LOWEST) | (part > HIGHEST)).any(axis=-1))
            outside += int(np.count_nonzero(mask))
            part = part.copy()
            part[mask] = fit_to_gamut(part[mask], seeing.space)
        steps = np.clip(part * np.float32(65535.0) + np.float32(0.5), 0.0, 65535.0)
        shade = curve[steps.astype(np.uint16)]
        shade += _grain(first, part.shape[0], width)[..., None]
        code = np.minimum(shade, np.float32(255.0)).astype(np.uint8)
        if seeing.mark and mask is not None:
            _hatch(code, mask, first)
        codes[first : first + _ROWS] = code
    image = Image.fromarray(codes, "RGB")
    share = outside / (height * width)
    image.info["icc_profile"] = icc_profile(seeing.space)
    image.info["out_of_range"] = share
    image.info["notes"] = (*notes, *_range_note(share, seeing))
    return image


def _hatch(code: NDArray[np.uint8], mask: NDArray[np.bool_], first_row: int) -> None:
    """Fine slanting lines, light on dark and dark on light."""
    rows, width = mask.shape
    across = np.arange(width)[None, :] + np.arange(first_row, first_row + rows)[:, None]
    line = mask & (across % 7 == 0)
    bright = code[line].astype(np.int32) @ np.array([2, 7, 1]) > 1275
    code[line] = np.where(bright[:, None], 40, 225)


def _range_note(share: float, seeing: Seeing) -> tuple[str, ...]:
    if share <= 0:
        return ()
    part = "under 1 %" if share < 0.01 else f"{100 * share:.0f} %"
    marked = ", hatched" if seeing.mark else ""
    a = "an" if seeing.space == "sRGB" else "a"
    return (
        f"{part} of the picture is beyond what {a} {seeing.space} screen shows{marked}: "
        "the cloth itself is more vivid or brighter there",
    )


def png_bytes(image: Image.Image, dpi: float | None = None) -> bytes:
    """PNG with the picture's profile embedded.

    Examples
    --------
    >>> png_bytes(Image.new("RGB", (4, 4)))[1:4]
    b'PNG'
    """
    out = BytesIO()
    extra: dict[str, Any] = {"dpi": (dpi, dpi)} if dpi else {}
    # what is left to gain by the usual 6 is a tenth of the bytes, for twice the time
    image.save(
        out, "PNG", compress_level=4, icc_profile=image.info.get("icc_profile"), **extra
    )
    return out.getvalue()


def loop_bytes(frames: Sequence[Image.Image], kind: str = "webp", frame_ms: int = 90) -> bytes:
    """An endless loop of equal-sized RGB ``frames``, two or more, of ``frame_ms`` (20 to 10 000)
    each.

    ``kind`` "webp" or "png" (animated, full colour, with profile) or "gif" (256 colours shared by
    all frames, no profile: GIF cannot hold one, so it is for sRGB only). Raises InputError for
    anything else.

    Examples
    --------
    >>> loop_bytes([Image.new("RGB", (64, 64), shade) for shade in ("red", "black")])[8:12]
    b'WEBP'
    """
    if len(frames) < 2:
        raise InputError("a loop needs at least two frames")
    if not 20 <= frame_ms <= 10_000:
        raise InputError("a frame lasts 20 to 10000 milliseconds")
    kind = kind.lower().lstrip(".")
    first, rest = frames[0], list(frames[1:])
    profile = first.info.get("icc_profile")
    out = BytesIO()
    if kind == "webp":
        first.save(
            out, "WEBP", save_all=True, append_images=rest, duration=frame_ms, loop=0,
            quality=88, method=2, icc_profile=profile,
        )  # fmt: skip
    elif kind in ("png", "apng"):
        first.save(
            out, "PNG", save_all=True, append_images=rest, duration=frame_ms, loop=0,
            icc_profile=profile, compress_level=4,
        )  # fmt: skip
    elif kind == "gif":
        if profile is not None and profile != icc_profile("sRGB"):
            raise InputError("a GIF holds no profile: make it in sRGB, or a WebP or PNG")
        palette = _shared_palette(frames)
        flat = [f.quantize(palette=palette, dither=Image.Dither.FLOYDSTEINBERG) for f in frames]
        for f in flat:
            f.info.pop("icc_profile", None)
        flat[0].save(
            out, "GIF", save_all=True, append_images=flat[1:], duration=frame_ms, loop=0,
            optimize=False,
        )  # fmt: skip
    else:
        raise InputError(f"{kind!r} is not a kind of loop; use webp, png or gif")
    return out.getvalue()


def _shared_palette(frames: Sequence[Image.Image]) -> Image.Image:
    """One palette for all frames, so that colours do not flicker."""
    some = [f.resize((64, 64)) for f in frames[:: max(1, len(frames) // 16)]]
    strip = Image.new("RGB", (64 * len(some), 64))
    for k, f in enumerate(some):
        strip.paste(f, (64 * k, 0))
    return strip.quantize(colors=256, method=Image.Quantize.MEDIANCUT)
