"""Read a photograph safely, and put it into linear light.

Knows picture files; knows nothing of cloth. Nothing in a file is run, kept or written anywhere,
and of what a telephone adds to a picture only the orientation and the colour profile are read.
"""

from __future__ import annotations

import io
import os
import stat
import warnings
from dataclasses import dataclass
from functools import reduce
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
from numpy.typing import NDArray
from PIL import Image, ImageCms, UnidentifiedImageError

from weavecolor.colour.screen import decoded, space
from weavecolor.errors import InputError

#: Readable kinds. A JPEG with a second small picture behind it, as some telephones make, opens
#: as a JPEG and then calls itself MPO.
FORMATS = ("JPEG", "PNG", "TIFF", "WEBP", "HEIF")
SMALLEST = 64  # pixels
LARGEST_FILE = 150_000_000  # bytes
#: Pixels a picture has in here; a larger one is read reduced.
MOST_PIXELS = 16e6
#: Pixels beyond which nothing but a JPEG, which unpacks at a part of its size, is unpacked at all.
MOST_UNPACKED = 64e6
#: Rows unpacked into linear light at a time, after reduction.
STRIPE = 128
#: Rows of luminance for linear sRGB (IEC 61966-2-1).
LUMINANCE = space("sRGB").to_xyz[1].astype(np.float32)


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
    source: str | os.PathLike[str] | bytes,
    max_pixels: float = MOST_PIXELS,
    *,
    name: str | None = None,
) -> Photograph:
    """Read a JPEG, HEIC, PNG, TIFF or WebP photograph.

    Parameters
    ----------
    source : path or bytes
    max_pixels : float
        A larger one is read reduced by a whole number along each side; what would unpack to more
        than ``MOST_UNPACKED`` is refused before it is unpacked.
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
            seen = path.stat()
            if not stat.S_ISREG(seen.st_mode):  # a pipe would never end, a device never stop
                what = "a folder" if stat.S_ISDIR(seen.st_mode) else "no ordinary file"
                raise InputError(f"this is {what}; give a picture file", file=where)
            if seen.st_size > LARGEST_FILE:
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
            return _read(data, min(max_pixels, MOST_UNPACKED))
    except InputError as error:
        raise error.at(file=where) from None
    except Image.DecompressionBombError:
        raise InputError(_too_large("it would unpack to far too many pixels"), file=where) from None
    except UnidentifiedImageError:
        raise InputError(_unknown(data), file=where) from None
    except (OSError, SyntaxError, ValueError, EOFError, MemoryError, OverflowError, KeyError,
            IndexError, TypeError, AttributeError):
        damaged = "the picture is damaged or only half there; copy it from the telephone again"
        raise InputError(_unknown(data) if _heic(data) else damaged, file=where) from None


def _too_large(what: str) -> str:
    return f"{what}; set the camera to a size of 12 to 50 megapixels or crop the picture"


def _unknown(data: bytes) -> str:
    if not data:
        return "the picture file is empty; copy it from the telephone again"
    if data[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return "this kind of TIFF is not read; export it as 8-bit RGB, or as JPEG"
    if _heic(data):
        return (
            "this HEIC or film file is damaged or of a kind not read; copy it from the telephone "
            "again, or export it as JPEG"
        )
    return "this is no picture that can be read; give a JPEG, HEIC, PNG, TIFF or WebP"


def _heic(data: bytes) -> bool:
    return data[4:8] == b"ftyp"


def _read(data: bytes, max_pixels: float) -> Photograph:
    cautions: list[str] = []
    Image.init()  # registers the readers; without it only some kinds are known by name
    pillow_heif.register_heif_opener(thumbnails=False)
    with Image.open(io.BytesIO(data), formats=FORMATS) as image:
        columns, rows = image.size
        pixels = columns * rows
        if min(columns, rows) < SMALLEST:
            raise InputError(
                f"the picture is only {columns} x {rows} pixels; send the original, not a thumbnail"
            )
        drafted = 1
        if pixels > max_pixels and image.format in ("JPEG", "MPO"):
            wanted = next((s for s in (2, 4, 8) if pixels <= max_pixels * s * s), 8)
            image.draft("RGB", (columns // wanted, rows // wanted))
            drafted = max(1, round(columns / image.size[0]))
        if image.size[0] * image.size[1] > MOST_UNPACKED:
            raise InputError(_too_large(f"{pixels / 1e6:.0f} megapixels is too large"))
        image.load()
        turn = _orientation(image, cautions)
        shrink = int(np.ceil(np.sqrt(image.size[0] * image.size[1] / max_pixels)))
        linear, top = _linear(image, image.info.get("icc_profile"), shrink, cautions)
        if drafted * shrink > 1:
            cautions.append(f"the picture has {pixels / 1e6:.0f} megapixels and was read reduced")
    linear, top = (np.ascontiguousarray(_TURNS[turn](a)) for a in (linear, top))
    cautions += _judge(linear, top)
    return Photograph(linear, top, drafted * shrink, tuple(cautions))


#: EXIF 2.32, tag 0x0112: what brings the stored rows upright.
_TURNS = {
    1: lambda a: a,
    2: lambda a: a[:, ::-1],
    3: lambda a: a[::-1, ::-1],
    4: lambda a: a[::-1],
    5: lambda a: a.swapaxes(0, 1),
    6: lambda a: np.rot90(a, -1),
    7: lambda a: a[::-1, ::-1].swapaxes(0, 1),
    8: lambda a: np.rot90(a, 1),
}


def _orientation(image: Image.Image, cautions: list[str]) -> int:
    try:
        turn = image.getexif().get(0x0112, 1)
    except Exception:  # a broken tag block must not lose the picture
        cautions.append("the camera's notes in the picture are damaged; check that it is upright")
        return 1
    return turn if turn in _TURNS else 1


def _linear(
    image: Image.Image, profile: bytes | None, shrink: int, cautions: list[str]
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Linear light and what is clipped, ``shrink`` times smaller, a stripe of rows at a time.

    Light is averaged, not codes; no more than one stripe is held at full size.
    """
    if image.mode == "F":
        raise InputError("a picture of floating numbers has no known scale; export it as 8-bit")
    if image.mode in ("LAB", "HSV"):
        raise InputError(f"the picture's numbers are {image.mode}; export it as RGB")
    deep = image.mode in ("I;16", "I;16B", "I;16L", "I")
    if image.mode == "CMYK" and not profile:
        cautions.append("the picture is in printing inks without a profile; its colours are rough")
    to_srgb = None
    if profile and not deep:
        try:
            to_srgb = _transform(image, profile)
        except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
            cautions.append("the picture's colour profile is damaged; it was taken as sRGB")
    see_through = "A" in image.getbands() or "transparency" in image.info
    table = decoded(np.arange(256) / 255.0).astype(np.float32)
    columns, rows = image.size[0] // shrink, image.size[1] // shrink
    linear = np.empty((rows, columns, 3), np.float32)
    top = np.empty((rows, columns), bool)
    for start in range(0, rows, STRIPE):
        stop = min(rows, start + STRIPE)
        stripe = image.crop((0, start * shrink, columns * shrink, stop * shrink))
        if deep:
            grey = np.clip(np.asarray(stripe, dtype=np.float32) / 65535.0, 0, 1)
            light = np.repeat(decoded(grey).astype(np.float32)[..., None], 3, axis=2)
            burnt = grey >= 0.999
        else:
            if see_through:
                stripe.info.update(image.info)
                stripe = stripe.convert("RGBA")
                if np.asarray(stripe.getchannel("A")).min() < 255:
                    raise InputError("the picture has see-through parts; send the photo itself")
                stripe = stripe.convert("RGB")
            burnt = _top(stripe)
            if to_srgb is not None:
                if stripe.mode not in ("RGB", "L", "CMYK"):
                    stripe = stripe.convert("RGB")
                changed = ImageCms.applyTransform(stripe, to_srgb)
                stripe = stripe if changed is None else changed
            light = table[np.asarray(stripe if stripe.mode == "RGB" else stripe.convert("RGB"))]
        linear[start:stop] = light if shrink == 1 else _blocks(light, shrink) / shrink**2
        top[start:stop] = burnt if shrink == 1 else _blocks(burnt, shrink)
    return linear, top


def _blocks(values: NDArray[Any], size: int) -> NDArray[Any]:
    """Sums (of booleans: any) over blocks of size x size; whole slices at a time are quickest."""
    slices = [values[i::size, j::size] for i in range(size) for j in range(size)]
    return np.asarray(reduce(np.add, slices))


def _top(image: Image.Image) -> NDArray[np.bool_]:
    """Clipping is judged on the file's own numbers, before any profile spreads them."""
    values = np.asarray(image if image.mode in ("RGB", "L") else image.convert("RGB"))
    top = values >= 254  # plane by plane: over an axis of three it takes four times as long
    return np.asarray(top if top.ndim == 2 else reduce(np.logical_or, np.moveaxis(top, 2, 0)))


def _transform(image: Image.Image, profile: bytes) -> ImageCms.ImageCmsTransform:
    return ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(profile)),
        ImageCms.createProfile("sRGB"),
        image.mode if image.mode in ("RGB", "L", "CMYK") and "transparency" not in image.info
        else "RGB",
        "RGB",
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )


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
