"""Reading pictures safely: kinds, orientation, profile, and everything that must be refused."""

from __future__ import annotations

import io
import os
import struct
import subprocess
import sys
import zlib

import numpy as np
import pillow_heif
import pytest
from PIL import Image, ImageCms, ImageDraw

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


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF"])
def test_a_large_picture_is_read_reduced(kind: str) -> None:
    photo = read_photograph(_bytes(_picture((1600, 1200)), kind), max_pixels=1e6)
    assert photo.linear.shape[:2] == (600, 800) and photo.reduced == 2
    assert any("read reduced" in c for c in photo.cautions)
    full = read_photograph(_bytes(_picture((1600, 1200)), kind))
    assert full.reduced == 1
    np.testing.assert_allclose(photo.linear[300, 600], full.linear[600, 1200], atol=0.01)


def test_reducing_averages_light_and_turns_it_upright() -> None:
    codes = np.full((200, 300), 200, np.uint8)
    codes[:, ::2] = 60
    codes[:20] = 20  # or it would be blank
    exif = Image.Exif()
    exif[0x0112] = 6
    photo = read_photograph(_bytes(Image.fromarray(codes), "PNG", exif=exif), max_pixels=15e3)
    assert photo.linear.shape[:2] == (150, 100) and photo.reduced == 2
    # IEC 61966-2-1: code 200 is 0.5776, code 60 is ((60/255 + 0.055) / 1.055)^2.4 = 0.0452
    np.testing.assert_allclose(photo.linear[:, :90], (0.5776 + 0.0452) / 2, atol=5e-4)
    assert photo.linear[:, 90:].max() < 0.01  # the stored top lies right when upright


def test_heic_is_read_upright() -> None:
    plain = read_photograph(_bytes(_picture()))
    out = io.BytesIO()
    exif = Image.Exif()
    exif[0x0112] = 3
    pillow_heif.from_pillow(_picture().rotate(180)).save(out, quality=95, exif=exif.tobytes())
    for name in (None, "IMG_0001.HEIC"):
        photo = read_photograph(out.getvalue(), name=name)
        assert photo.linear.shape == plain.linear.shape
        assert float(np.abs(photo.linear - plain.linear).mean()) < 0.01
    for most in (200, len(out.getvalue()) // 2):  # its head, and its picture, are broken off
        with pytest.raises(InputError, match="HEIC or film file is damaged .* export it as JPEG"):
            read_photograph(out.getvalue()[:most])


def test_unusual_kinds_are_read_right() -> None:
    plain = read_photograph(_bytes(_picture())).linear
    palette = read_photograph(_bytes(_picture().quantize(8)))
    np.testing.assert_allclose(palette.linear, plain, atol=0.01)
    grey = np.linspace(5000, 60000, 90 * 120).reshape(90, 120).astype(np.uint16)
    deep = read_photograph(_bytes(Image.fromarray(grey)))
    shallow = read_photograph(_bytes(Image.fromarray((grey / 257).round().astype(np.uint8))))
    np.testing.assert_allclose(deep.linear, shallow.linear, atol=0.005)
    assert len(np.unique(deep.linear)) > 2000  # sixteen bits were kept
    inks = read_photograph(_bytes(_picture().convert("CMYK"), "JPEG", quality=97))
    np.testing.assert_allclose(inks.linear[80, 100], plain[80, 100], atol=0.02)
    assert any("printing inks" in c for c in inks.cautions)
    lab = ImageCms.createProfile("LAB")
    to_lab = ImageCms.buildTransform(ImageCms.createProfile("sRGB"), lab, "RGB", "LAB")
    with pytest.raises(InputError, match="export it as RGB"):
        read_photograph(_bytes(ImageCms.applyTransform(_picture(), to_lab), "TIFF"))
    with pytest.raises(InputError, match="kind of TIFF"):
        read_photograph(b"II*\0" + bytes(200))


def test_what_is_no_file_is_refused_at_once(tmp_path) -> None:  # type: ignore[no-untyped-def]
    os.mkfifo(tmp_path / "pipe.jpg")  # opening it would wait for ever
    (tmp_path / "folder.jpg").mkdir()
    with pytest.raises(InputError, match=r"pipe.jpg: .*no ordinary file"):
        read_photograph(tmp_path / "pipe.jpg")
    with pytest.raises(InputError, match="no ordinary file"):
        read_photograph("/dev/zero")
    with pytest.raises(InputError, match="folder"):
        read_photograph(tmp_path / "folder.jpg")


def test_a_picture_bomb_stays_within_600_megabytes(tmp_path) -> None:  # type: ignore[no-untyped-def]
    # 49 megapixels of one colour in a small file: it took 2.65 GB when unpacked whole
    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(
            ">I", zlib.crc32(name + body)
        )

    side = 7000
    row = b"\0" + bytes([90, 60, 40]) * side
    packer = zlib.compressobj(1)
    body = b"".join(packer.compress(row) for _ in range(side)) + packer.flush()
    head = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    file = tmp_path / "bomb.png"
    file.write_bytes(b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", body)
                     + chunk(b"IEND", b""))  # fmt: skip
    code = (
        "import re, sys\n"
        "from weavecolor.measure.photograph import read_photograph\n"
        "from weavecolor.errors import InputError\n"
        "try: read_photograph(sys.argv[1])\n"
        "except InputError as e: print(e)\n"
        # the peak of this program alone: what the tests held before it began does not count
        "print(re.search(r'VmHWM:\\s*(\\d+)', open('/proc/self/status').read())[1])\n"
    )
    done = subprocess.run([sys.executable, "-c", code, str(file)], capture_output=True, text=True,
                          check=True)  # fmt: skip
    told, kilobytes = done.stdout.splitlines()
    assert "blank" in told
    assert int(kilobytes) < 600_000


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
        (b"\x00\x00\x00\x18ftypheic" + b"\x00" * 40, "HEIC|damaged"),
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


def test_a_palette_s_colours_go_through_the_profile_too() -> None:
    image = Image.new("RGB", (80, 80), (250, 60, 40))
    ImageDraw.Draw(image).rectangle((0, 0, 40, 80), fill=(128, 128, 128))
    wide = read_photograph(_bytes(image, icc_profile=icc_profile("Display P3")))
    few = image.quantize(colors=8)
    assert few.mode == "P"
    got = read_photograph(_bytes(few, icc_profile=icc_profile("Display P3")))
    np.testing.assert_array_equal(got.linear, wide.linear)
    assert got.cautions == wide.cautions


@pytest.mark.parametrize(
    ("code", "said"),
    [(38, "too dark to measure"), (40, "the picture is dark"), (107, "the picture is dark"),
     (109, None)],
)  # fmt: skip
def test_how_dark_a_picture_may_be(code: int, said: str | None) -> None:
    # IEC 61966-2-1: codes 38 and 40 are 0.0194 and 0.0212, 107 and 109 are 0.1470 and 0.1529
    image = Image.new("RGB", (100, 100), (code, code, code))
    ImageDraw.Draw(image).rectangle((0, 0, 50, 99), fill=(2, 2, 2))
    if said == "too dark to measure":
        with pytest.raises(InputError, match=said):
            read_photograph(_bytes(image))
        return
    dark = ["the picture is dark, so its colours are uncertain; more daylight helps"]
    assert list(read_photograph(_bytes(image)).cautions) == (dark if said else [])


@pytest.mark.parametrize("mode", ["RGB", "L", "P", "CMYK"])
def test_what_is_burnt_out_is_so_in_any_kind_of_file(mode: str) -> None:
    image = Image.new("RGB", (100, 100), (120, 120, 120))
    ImageDraw.Draw(image).rectangle((0, 0, 9, 99), fill=(255, 255, 255))
    ImageDraw.Draw(image).rectangle((40, 0, 49, 99), fill=(0, 0, 0))  # of 255 parts black
    stored = image.quantize(8) if mode == "P" else image.convert(mode)
    photo = read_photograph(_bytes(stored, "TIFF"))
    assert photo.clipped[:, :10].all() and not photo.clipped[:, 10:].any()
    assert "10.0 % of the picture is burnt out; colours there are not measured" in photo.cautions
