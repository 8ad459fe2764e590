"""Reading pictures safely: kinds, orientation, profile, and everything that must be refused."""

from __future__ import annotations

import io
import struct
import zlib

import numpy as np
import pytest
from PIL import Image, ImageDraw

from weavecolor.colour.iccprofile import icc_profile
from weavecolor.errors import InputError
from weavecolor.measure.card import instructions
from weavecolor.measure.photograph import read_photograph


def _picture(size: tuple[int, int] = (120, 90)) -> Image.Image:
    image = Image.new("RGB", size, (200, 198, 190))
    ImageDraw.Draw(image).rectangle((10, 10, size[0] // 2, size[1] // 2), fill=(120, 30, 60))
    return image


def _bytes(image: Image.Image, kind: str = "PNG", **options: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "TIFF", "WEBP"])
def test_reads_the_usual_kinds_into_linear_light(kind: str) -> None:
    options = {"quality": 95} if kind in ("JPEG", "WEBP") else {}
    photo = read_photograph(_bytes(_picture(), kind, **options))
    assert photo.linear.shape == (90, 120, 3) and photo.linear.dtype == np.float32
    # IEC 61966-2-1: code 200 is ((200/255 + 0.055) / 1.055)^2.4 = 0.5776
    assert photo.linear[80, 100, 0] == pytest.approx(0.5776, abs=0.012)
    assert photo.reduced == 1 and photo.cautions == ()


@pytest.mark.parametrize("tag", range(1, 9))
def test_orientation_is_honoured(tag: int) -> None:
    # EXIF 2.32, tag 0x0112: which way each of the eight values turns the stored rows
    upright = np.asarray(_picture())
    undo = {
        1: lambda a: a,
        2: lambda a: a[:, ::-1],
        3: lambda a: a[::-1, ::-1],
        4: lambda a: a[::-1],
        5: lambda a: a.transpose(1, 0, 2),
        6: lambda a: np.rot90(a, 1),
        7: lambda a: a[::-1, ::-1].transpose(1, 0, 2),
        8: lambda a: np.rot90(a, -1),
    }[tag]
    exif = Image.Exif()
    exif[0x0112] = tag
    stored = Image.fromarray(np.ascontiguousarray(undo(upright)))
    photo = read_photograph(_bytes(stored, "PNG", exif=exif))
    plain = read_photograph(_bytes(_picture()))
    np.testing.assert_array_equal(photo.linear, plain.linear)


def test_embedded_profile_is_honoured() -> None:
    image = Image.new("RGB", (80, 80), (250, 60, 40))
    ImageDraw.Draw(image).rectangle((0, 0, 40, 80), fill=(128, 128, 128))
    plain = read_photograph(_bytes(image))
    wide = read_photograph(_bytes(image, icc_profile=icc_profile("Display P3")))
    np.testing.assert_allclose(wide.linear[40, 10], plain.linear[40, 10], atol=0.006)  # grey stays
    # a P3 red of these numbers is stronger than the same numbers in sRGB
    assert wide.linear[40, 70, 1] < plain.linear[40, 70, 1] - 0.01
    broken = read_photograph(_bytes(image, icc_profile=b"not a profile at all" * 10))
    np.testing.assert_array_equal(broken.linear, plain.linear)
    assert any("profile is damaged" in c for c in broken.cautions)


def test_a_large_jpeg_is_read_smaller_and_a_large_png_refused() -> None:
    big = _picture((1600, 1200))
    photo = read_photograph(_bytes(big, "JPEG"), max_pixels=1e6)
    assert photo.linear.shape[:2] == (600, 800) and photo.reduced == 2
    assert any("megapixels" in c for c in photo.cautions)
    with pytest.raises(InputError, match="megapixels is too large"):
        read_photograph(_bytes(big, "PNG"), max_pixels=1e6)


def _bomb(side: int) -> bytes:
    def chunk(name: bytes, body: bytes) -> bytes:
        check = struct.pack(">I", zlib.crc32(name + body))
        return struct.pack(">I", len(body)) + name + body + check

    head = struct.pack(">IIBBBBB", side, side, 8, 0, 0, 0, 0)
    return (b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head)
            + chunk(b"IDAT", zlib.compress(bytes(1000))) + chunk(b"IEND", b""))


@pytest.mark.parametrize("side", [9_000, 60_000])
def test_decompression_bombs_are_refused_before_unpacking(side: int) -> None:
    with pytest.raises(InputError, match="too large|too many pixels"):
        read_photograph(_bomb(side))


@pytest.mark.parametrize(
    ("data", "line"),
    [
        (b"", "empty"),
        (b"#!/bin/sh\necho hello\n", "no picture"),
        (b"\x00\x00\x00\x18ftypheic" + b"\x00" * 40, "HEIC"),
        (_bytes(_picture(), "PNG")[:150], "damaged|no picture"),
        (_bytes(_picture((400, 400)), "JPEG")[:900], "damaged"),
        (_bytes(_picture((40, 200))), "only 40 x 200"),
        (_bytes(Image.new("RGB", (100, 100), (90, 90, 90))), "blank"),
        (_bytes(Image.new("RGB", (100, 100), (255, 255, 255))), "burnt out"),
        (_bytes(Image.new("RGB", (100, 100), (5, 4, 6))), "too dark"),
    ],
)
def test_bad_pictures_get_a_line_that_says_what_to_do(data: bytes, line: str) -> None:
    with pytest.raises(InputError, match=line) as caught:
        read_photograph(data, name="swatch.jpg")
    assert str(caught.value).startswith("swatch.jpg: ") and "\n" not in str(caught.value)


def test_random_bytes_after_a_good_start_never_escape_as_another_error() -> None:
    rng = np.random.default_rng(4)
    for kind in ("PNG", "JPEG", "TIFF", "WEBP"):
        good = _bytes(_picture(), kind)
        for _ in range(25):
            bad = bytearray(good)
            for place in rng.integers(4, len(bad), 12):
                bad[place] = int(rng.integers(256))
            try:
                photo = read_photograph(bytes(bad))
            except InputError:
                continue
            assert np.isfinite(photo.linear).all()


def test_missing_file_is_told(tmp_path) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(InputError, match="cannot be read"):
        read_photograph(tmp_path / "none.jpg")


def test_see_through_pictures_are_refused() -> None:
    with pytest.raises(InputError, match="see-through"):
        read_photograph(_bytes(Image.new("RGBA", (90, 90), (90, 80, 70, 100))))


def test_instructions_are_plain_text_and_name_what_is_needed() -> None:
    text = instructions()
    assert max(len(line) for line in text.splitlines()) <= 100
    for word in ("window", "no flash", "white paper", "black card", "ruler", "flame"):
        assert word in text
