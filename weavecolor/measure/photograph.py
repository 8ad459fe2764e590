"""Read a photograph safely, and put it into linear light.

Knows picture files; knows nothing of cloth. Nothing in a file is run, kept or written anywhere,
and of what a telephone adds to a picture only the orientation and the colour profile are read.
"""

from __future__ import annotations

import io
import os
import warnings
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

from weavecolor.colour.screen import decoded
from weavecolor.errors import InputError

#: Readable kinds. A JPEG with a second small picture behind it, as some telephones make, opens
#: as a JPEG and then calls itself MPO.
FORMATS = ("JPEG", "PNG", "TIFF", "WEBP")
SMALLEST = 64  # pixels
LARGEST_FILE = 150_000_000  # bytes
#: Rows of luminance for linear sRGB (IEC 61966-2-1).
LUMINANCE = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)

_HEIC = (b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1")


@dataclass(frozen=True, eq=False)
class Photograph:
    """A picture in linear light: ``linear`` (rows, columns, 3) float32, sRGB primaries, 0-1.

    ``clipped`` (rows, columns) marks pixels at the top of their range in any channel.
    ``reduced`` is how many of the file's pixels go into one here along a side. ``cautions`` are
    sentences for the user.
    """

    linear: NDArray[np.float32]
    clipped: NDArray[np.bool_]
    reduced: int
    cautions: tuple[str, ...]


def read_photograph(
    source: str | os.PathLike[str] | bytes, max_pixels: float = 50e6, *, name: str | None = None
) -> Photograph:
    """Read a JPEG, PNG, TIFF or WebP photograph.

    Parameters
    ----------
    source : path or bytes
    max_pixels : float
        A larger JPEG is read at a half, quarter or eighth of its size; anything else larger is
        refused before it is unpacked.
    name : str, optional
        What to call the picture in a complaint (default: the file's name).

    Raises
    ------
    InputError
        Not a picture, of another kind, damaged, too large, too small, blank, burnt out or dark;
        the line says how to shoot it again.

    Examples
    --------
    >>> import io
    >>> from PIL import Image
    >>> ramp = np.tile(np.linspace(20, 230, 80).astype(np.uint8), (72, 1))
    >>> file = io.BytesIO()
    >>> Image.fromarray(ramp).save(file, "PNG")
    >>> read_photograph(file.getvalue()).linear.shape
    (72, 80, 3)
    """
    if isinstance(source, bytes):
        data, where = source, name or "picture"
    else:
        path = Path(source)
        where = name or path.name
        try:
            if path.stat().st_size > LARGEST_FILE:
                raise InputError(_too_large("the file is over 150 MB"), file=where)
            data = path.read_bytes()
        except OSError as error:
            reason = error.strerror or "it cannot be opened"
            raise InputError(f"the picture cannot be read: {reason}", file=where) from None
    if len(data) > LARGEST_FILE:
        raise InputError(_too_large("the file is over 150 MB"), file=where)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return _read(data, max_pixels)
    except InputError as error:
        raise error.at(file=where) from None
    except Image.DecompressionBombError:
        raise InputError(_too_large("it would unpack to far too many pixels"), file=where) from None
    except UnidentifiedImageError:
        raise InputError(_unknown(data), file=where) from None
    except (OSError, SyntaxError, ValueError, EOFError, MemoryError, OverflowError, KeyError,
            IndexError, TypeError, AttributeError):
        raise InputError(
            "the picture is damaged or only half there; copy it from the telephone again",
            file=where,
        ) from None


def _too_large(what: str) -> str:
    return f"{what}; set the camera to a size of 12 to 50 megapixels or crop the picture"


def _unknown(data: bytes) -> str:
    if data[4:8] == b"ftyp" and data[8:12] in _HEIC:
        return (
            "this is a HEIC picture; set the telephone to save JPEG (most compatible), "
            "or export the picture as JPEG"
        )
    if not data:
        return "the picture file is empty; copy it from the telephone again"
    return "this is no picture that can be read; give a JPEG, PNG, TIFF or WebP"


def _read(data: bytes, max_pixels: float) -> Photograph:
    cautions: list[str] = []
    Image.init()  # registers the readers; without it only some kinds are known by name
    with Image.open(io.BytesIO(data), formats=FORMATS) as image:
        columns, rows = image.size
        full = max(columns, rows)
        if columns * rows > max_pixels:
            shrink = int(np.ceil(np.sqrt(columns * rows / max_pixels)))
            if image.format not in ("JPEG", "MPO") or shrink > 8:
                raise InputError(_too_large(f"{columns * rows / 1e6:.0f} megapixels is too large"))
            shrink = next(s for s in (2, 4, 8) if s >= shrink)
            image.draft("RGB", (columns // shrink, rows // shrink))
            cautions.append(
                f"the picture has {columns * rows / 1e6:.0f} megapixels and was read smaller"
            )
        if min(columns, rows) < SMALLEST:
            raise InputError(
                f"the picture is only {columns} x {rows} pixels; send the original, not a thumbnail"
            )
        image.load()
        if image.size[0] * image.size[1] > max_pixels:
            raise InputError(_too_large(f"{columns * rows / 1e6:.0f} megapixels is too large"))
        reduced = max(1, round(full / max(image.size)))
        profile = image.info.get("icc_profile")
        turned = _upright(image, cautions)
        linear, top = _linear(turned, profile, cautions)
    cautions += _judge(linear, top)
    return Photograph(linear, top, reduced, tuple(cautions))


def _upright(image: Image.Image, cautions: list[str]) -> Image.Image:
    try:
        return ImageOps.exif_transpose(image)
    except Exception:  # a broken tag block must not lose the picture
        cautions.append("the camera's notes in the picture are damaged; check that it is upright")
        return image.copy()


def _linear(
    image: Image.Image, profile: bytes | None, cautions: list[str]
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    if image.mode in ("I;16", "I;16B", "I;16L", "I"):
        grey = np.asarray(image, dtype=np.float64) / 65535.0
        values = np.repeat(decoded(np.clip(grey, 0, 1))[..., None], 3, axis=2)
        return values.astype(np.float32), grey >= 0.999
    if image.mode in ("F",):
        raise InputError("a picture of floating numbers has no known scale; export it as 8-bit")
    if "A" in image.getbands() or "transparency" in image.info:
        image = image.convert("RGBA")
        if np.asarray(image.getchannel("A")).min() < 255:
            raise InputError("the picture has see-through parts; send the photograph itself")
        image = image.convert("RGB")
    top = _top(image)
    if profile:
        try:
            image = _to_srgb(image, profile)
        except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
            cautions.append("the picture's colour profile is damaged; it was taken as sRGB")
    if image.mode != "RGB":
        image = image.convert("RGB")
    table = decoded(np.arange(256) / 255.0).astype(np.float32)
    return table[np.asarray(image)], top


def _top(image: Image.Image) -> NDArray[np.bool_]:
    """Clipping is judged on the file's own numbers, before any profile spreads them."""
    values = np.asarray(image if image.mode in ("RGB", "L") else image.convert("RGB"))
    return np.asarray(values >= 254 if values.ndim == 2 else (values >= 254).any(axis=2))


def _to_srgb(image: Image.Image, profile: bytes) -> Image.Image:
    if image.mode not in ("RGB", "L", "CMYK"):
        image = image.convert("RGB")
    converted: Image.Image | None = ImageCms.profileToProfile(
        image,
        ImageCms.ImageCmsProfile(io.BytesIO(profile)),
        ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        outputMode="RGB",
    )
    if converted is None:
        raise ValueError("no conversion")
    return converted


def _judge(linear: NDArray[np.float32], clipped: NDArray[np.bool_]) -> list[str]:
    """Refuse what cannot be measured; caution about what can, poorly."""
    step = max(1, int(np.sqrt(clipped.size / 1e6)))
    light = linear[::step, ::step] @ LUMINANCE
    low, high, brightest = np.percentile(light, [1, 99, 99.9])
    burnt = float(clipped.mean())
    if burnt > 0.25:
        raise InputError(
            f"{100 * burnt:.0f} % of the picture is burnt out; shoot it again a little darker "
            "(tap the paper to set the exposure) and without flash"
        )
    if brightest < 0.02:
        raise InputError(
            "the picture is too dark to measure; shoot it again beside a window in daylight"
        )
    span = np.percentile(linear[::step, ::step], [1, 99], axis=(0, 1))
    if float((span[1] - span[0]).max()) < 0.006 and high - low < 0.006:
        raise InputError("the picture is blank; shoot the cloth again, in focus and not covered")
    cautions = []
    if burnt > 0.01:
        cautions.append(
            f"{100 * burnt:.1f} % of the picture is burnt out; colours there are not measured"
        )
    if brightest < 0.15:
        cautions.append("the picture is dark, so its colours are uncertain; more daylight helps")
    return cautions
