"""Picture files: profile, what does not fit, shades without steps, loops."""

from __future__ import annotations

from io import BytesIO

import numpy as np
import pytest
from PIL import Image, ImageCms

from weavecolor.colour.colorimetry import icc_profile
from weavecolor.colour.screen import decoded, space
from weavecolor.errors import InputError
from weavecolor.picture.encode import (
    AS_SEEN,
    SHOULDER,
    Seeing,
    before_easing,
    eased,
    exposure_for,
    loop_bytes,
    png_bytes,
    to_image,
)
from weavecolor.scene.places import scene, scene_names


def level(value: float | tuple[float, float, float], size: int = 64) -> np.ndarray:
    return np.broadcast_to(np.asarray(value, np.float32), (size, size, 3)).copy()


@pytest.mark.parametrize("name", ["sRGB", "Display P3"])
def test_profile_is_embedded(name: str) -> None:
    made = to_image(level(0.3), Seeing(name))
    again = Image.open(BytesIO(png_bytes(made, 300)))
    assert again.info["icc_profile"] == icc_profile(name)
    profile = ImageCms.ImageCmsProfile(BytesIO(again.info["icc_profile"]))
    assert name.split()[0] in ImageCms.getProfileDescription(profile)
    assert again.info["dpi"][0] == pytest.approx(300, abs=0.1)


@pytest.mark.parametrize("value", [0.0, 0.004, 0.1234, 0.5, 0.97, 1.0])
def test_mean_survives_rounding(value: float) -> None:
    """The fixed noise spreads rounding: the mean of many pixels is finer than one code."""
    codes = np.asarray(to_image(level(value, 128))).astype(float)
    got = decoded(codes / 255.0).mean()
    assert got == pytest.approx(value, abs=6e-4)
    assert np.ptp(codes) <= 1


def test_soft_shade_shows_no_steps() -> None:
    """A slow ramp over three codes: averaged columns rise evenly, not in three jumps."""
    ramp = np.linspace(0.2, 0.205, 400, dtype=np.float32)
    picture = np.repeat(np.repeat(ramp[None, :, None], 128, axis=0), 3, axis=2)
    columns = np.asarray(to_image(picture))[..., 0].mean(axis=0)
    smooth = np.convolve(columns, np.full(20, 1 / 20), "valid")
    straight = np.linspace(smooth[0], smooth[-1], smooth.size)
    assert np.abs(smooth - straight).max() < 0.12


def test_what_does_not_fit_is_told_and_marked() -> None:
    vivid = level((0.8, -0.2, 0.1))
    vivid[:, :32] = 0.4
    plain = to_image(vivid)
    assert plain.info["out_of_range"] == pytest.approx(0.5)
    assert "50 %" in plain.info["notes"][-1]
    marked = np.asarray(to_image(vivid, Seeing(mark=True)))
    changed = (marked != np.asarray(plain)).any(axis=-1)
    assert changed[:, :32].sum() == 0
    assert 0.08 < changed[:, 32:].mean() < 0.25
    assert to_image(level(0.4)).info["notes"] == ()


def test_light_beyond_the_shoulder_keeps_its_order_and_its_hue() -> None:
    rng = np.random.default_rng(5)
    light = rng.uniform(0.0, 2.0, (400, 3)).astype(np.float32)
    for screen in ("sRGB", "Display P3"):
        to_y = space(screen).to_xyz[1]
        before, shown = light @ to_y, eased(light, Seeing(screen)) @ to_y
        low = before <= SHOULDER
        assert 0 < low.sum() < 400
        np.testing.assert_array_equal(eased(light, Seeing(screen))[low], light[low])
        assert shown.max() <= 1.0 + 1e-6
        order = np.argsort(before)
        assert np.all(np.diff(shown[order]) > -1e-6)  # but for rounding
        ratio = eased(light, Seeing(screen)) / light
        np.testing.assert_allclose(ratio, ratio[:, :1].repeat(3, 1), rtol=1e-5)
    for target in (0.036, 0.437, 0.82, 0.97):
        grey = np.full((1, 3), before_easing(target), np.float32)
        assert eased(grey)[0] == pytest.approx(target, abs=1e-5)


def test_folds_brighter_than_a_card_keep_relief_evenly() -> None:
    """Steps in light are shown whole up to the shoulder, and by a share that falls evenly to none
    where white cloth is turned to the window: from a card on, to 1.25 of it, 3.5 of L*."""
    light = np.linspace(SHOULDER - 0.05, 1.6, 331)
    grey = np.repeat(light[:, None], 3, axis=1).astype(np.float32)
    shown = eased(grey)[:, 0].astype(float)
    share = np.gradient(shown, light)
    wanted = np.clip((2.0 - SHOULDER - light) / (2.0 - 2.0 * SHOULDER), 0.0, 1.0)
    assert share == pytest.approx(wanted, abs=6e-3)
    bright = 116.0 * np.cbrt(np.interp([1.0, 1.25], light, shown)) - 16.0
    assert np.diff(bright)[0] > 3.4


@pytest.mark.parametrize("place", scene_names())
def test_hung_cloth_is_exposed_alike_in_every_place(place) -> None:
    """So that pictures of two places stand to each other as the words of the two do."""
    assert exposure_for(scene(place), AS_SEEN) == pytest.approx(1.0, abs=1e-6)


def test_exposure_lets_a_white_card_fit() -> None:
    for name in ("ballroom", "candlelit", "overcast"):
        for adapt in (True, False):
            exposure = exposure_for(scene(name), Seeing(adapt=adapt))
            assert 0 < exposure <= 1
    warm = exposure_for(scene("candlelit"), Seeing(adapt=False))
    assert warm < 0.9  # orange light would overflow the screen's red
    assert exposure_for(scene("overcast"), Seeing(exposure=0.5)) == 0.5
    assert exposure_for(scene("overcast"), AS_SEEN) == pytest.approx(1.0, abs=1e-6)


def frames(count: int = 5) -> list[Image.Image]:
    return [to_image(level((0.1 + 0.15 * k, 0.3, 0.5 - 0.08 * k), 24)) for k in range(count)]


@pytest.mark.parametrize("kind", ["webp", "png", ".gif"])
def test_loop(kind: str) -> None:
    made = frames()
    again = Image.open(BytesIO(loop_bytes(made, kind, 120)))
    assert again.n_frames == 5
    for k in range(5):
        again.seek(k)
        seen = np.asarray(again.convert("RGB")).astype(int)
        want = np.asarray(made[k]).astype(int)
        assert np.abs(seen.mean(axis=(0, 1)) - want.mean(axis=(0, 1))).max() < 3.0
    assert again.info.get("loop", 0) == 0


def test_a_gif_is_srgb_only() -> None:
    wide = [to_image(level(0.1 * k + 0.1, 16), Seeing("Display P3")) for k in range(2)]
    with pytest.raises(InputError):
        loop_bytes(wide, "gif")
    assert len(loop_bytes(wide, "webp")) > 0


def test_refusals() -> None:
    with pytest.raises(InputError):
        Seeing("CMYK")
    with pytest.raises(InputError):
        Seeing(exposure=0.0)
    with pytest.raises(InputError):
        to_image(level(float("nan")))
    with pytest.raises(InputError):
        loop_bytes(frames(1))
    with pytest.raises(InputError):
        loop_bytes(frames(2), "mp4")
