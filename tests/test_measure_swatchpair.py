"""Swatch over white and over black: regions, light, R and T, opacity, yarn at the frayed edge."""

from __future__ import annotations

from dataclasses import replace

import find_swatches
import numpy as np
import pytest
from cards import any_photo, photograph
from scipy.ndimage import gaussian_filter

from weavecolor.errors import InputError
from weavecolor.measure.neutral import REFERENCES, illumination, reflectance_picture
from weavecolor.measure.photograph import read_photograph
from weavecolor.measure.regions import find_regions
from weavecolor.measure.ruler import scale_from_length, scale_from_ruler
from weavecolor.measure.shots import look
from weavecolor.measure.swatchpair import fringe_colour, measure_pair

R, T = np.array([0.25, 0.12, 0.20]), np.array([0.35, 0.20, 0.30])
H, W = 600, 800


def table(which, R=R, T=T, paper=0.87, card=0.045, gain=(0.9, 0.75, 0.5), light=0.25,
          angle=6.0, seed=0, tone=1.0):  # type: ignore[no-untyped-def]
    """A table with paper, card and swatch in a warm, uneven light. Kubelka's formula is written
    out here, so that the solver is not checked against itself."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:H, 0:W]
    across, down = (x - W / 2) / W * 2, (y - H / 2) / H * 2
    ground = np.full((H, W), paper)
    if which == "both":
        ground[x > W / 2] = card
    if which == "black":
        ground[x > 0.22 * W] = card
    a = np.radians(angle)
    u = (x - W / 2) * np.cos(a) + (y - H / 2) * np.sin(a) - (0.1 * W if which == "black" else 0)
    v = -(x - W / 2) * np.sin(a) + (y - H / 2) * np.cos(a)
    on = (abs(u) < 0.24 * W) & (abs(v) < 0.24 * H)
    picture = np.repeat(ground[..., None], 3, 2)
    swatch = R + T * T * picture / (1 - R * picture)
    picture = np.where(on[..., None], swatch, picture)
    fall = np.exp(light * (0.6 * across + 0.5 * down - 0.3 * across**2))
    picture = gaussian_filter(tone * picture * fall[..., None] * np.array(gain), (1, 1, 0))
    noise = 0.01 * np.sqrt(picture + 0.01) * rng.standard_normal(picture.shape)
    return np.clip(picture + noise, 0, 1).astype(np.float32)


@pytest.mark.parametrize("parts", [("both",), ("white", "black")])
@pytest.mark.parametrize(
    ("R", "T"),
    [
        (R, T),
        ([0.30, 0.30, 0.30], [0.60, 0.60, 0.60]),  # sheer white
        ([0.02, 0.02, 0.02], [0.05, 0.05, 0.05]),  # black
        ([0.60, 0.58, 0.50], [0.25, 0.25, 0.25]),  # pale
        ([0.50, 0.10, 0.10], [0.00, 0.00, 0.00]),  # opaque
    ],
)
def test_reflectance_and_transmittance_come_back(parts, R, T) -> None:  # type: ignore[no-untyped-def]
    R, T = np.array(R), np.array(T)
    pair = measure_pair(*(table(p, R, T, seed=k) for k, p in enumerate(parts)))
    np.testing.assert_allclose(pair.R, R, atol=0.01)
    assert (np.abs(pair.R - R) < 3 * pair.R_uncertainty).all()
    assert (np.abs(pair.T - T) < 3 * pair.T_uncertainty).all()
    # near-opaque cloth: light passed goes as a square root, so its own error is the yardstick
    np.testing.assert_allclose(pair.T**2, T**2, atol=0.01)
    weights = np.array([0.2126, 0.7152, 0.0722])  # IEC 61966-2-1 luminance
    true = 100 * (R @ weights) / ((R + T**2 * 0.89 / (1 - 0.89 * R)) @ weights)  # TAPPI T 425
    assert pair.opacity_percent == pytest.approx(true, abs=3 * pair.opacity_uncertainty + 0.5)


def test_paper_off_the_assumed_reflectance_stays_within_the_uncertainty() -> None:
    pair = measure_pair(table("both", paper=0.84))
    assert (np.abs(pair.R - R) < 2.5 * pair.R_uncertainty).all()
    assert (np.abs(pair.T - T) < 2.5 * pair.T_uncertainty).all()
    wide = measure_pair(table("both"), paper=(0.87, 0.05))
    assert (wide.R_uncertainty > 1.5 * measure_pair(table("both")).R_uncertainty).all()


def test_white_balance_and_exposure_do_not_matter() -> None:
    warm = measure_pair(table("white"), table("black", tone=0.6, gain=(0.95, 0.6, 0.35)))
    np.testing.assert_allclose(warm.R, R, atol=0.01)
    np.testing.assert_allclose(warm.T, T, atol=0.015)


def test_a_lamp_and_mixed_light_are_told_with_their_effect() -> None:
    day = measure_pair(table("both", gain=(0.95, 0.9, 0.8)))
    assert not any("lamp" in text for text in day.cautions)
    lamp = measure_pair(table("both", gain=(0.95, 0.6, 0.35)))
    assert any("yellow" in text and "2.7 times" in text for text in lamp.cautions)
    picture = table("white", gain=(0.8, 0.8, 0.8))
    picture[..., 2] *= np.linspace(1.0, 0.75, W)[:, None].T  # a lamp at the right
    mixed = measure_pair(picture, table("black", gain=(0.8, 0.8, 0.8)))
    assert any("two colours" in text and "wrong by" in text for text in mixed.cautions)


def test_measured_colour_becomes_a_spectrum_of_that_colour() -> None:
    pair = measure_pair(table("both"))
    spectrum = pair.over_white.spectrum()
    assert spectrum.shape == (41,) and (spectrum >= 0).all() and (spectrum <= 1).all()
    red, green = spectrum[24:].mean(), spectrum[12:18].mean()
    assert red > green  # the swatch is redder than green
    assert 0 < pair.over_white.uncertainty_de < 3


def test_regions_lie_where_they_were_drawn_and_a_mark_wins() -> None:
    picture = table("both")
    found = find_regions(picture)
    assert set(found) == {"paper", "card", "swatch over white", "swatch over black"}
    left, _, right, _ = found["swatch over white"].box
    assert 0.26 * W < left < right <= W / 2
    left, _, right, _ = found["swatch over black"].box
    assert W / 2 <= left < right < 0.74 * W
    assert not found["paper"].mask[:, W // 2 :].any()
    box = (230, 280, 300, 340)
    marked = find_regions(picture, {"swatch over white": box})["swatch over white"]
    assert marked.box == box and marked.marked
    with pytest.raises(InputError, match="no region called"):
        find_regions(picture, {"cloth": box})
    with pytest.raises(InputError, match="outside the picture"):
        find_regions(picture, {"card": (2000, 0, 2100, 50)})


def test_swapped_pictures_are_told() -> None:
    white, black = table("white"), table("black")
    with pytest.raises(InputError, match="swapped"):
        measure_pair(black, white)
    boxes = {"swatch over white": (450, 240, 520, 340), "swatch over black": (260, 260, 340, 340)}
    with pytest.raises(InputError, match="swapped"):
        measure_pair(table("both"), marked_white=boxes, marked_black=boxes)


@pytest.mark.parametrize("parts", [("both",), ("white", "black")])
@pytest.mark.parametrize("grey", [0.13, 0.18])
def test_a_grey_card_is_reckoned_with_as_it_is(parts, grey) -> None:  # type: ignore[no-untyped-def]
    """The grounds' two reflectances and what is seen over each tell R and T, whatever they are."""
    pair = measure_pair(*(table(which, card=grey) for which in parts))
    assert (abs(pair.R - R) < 2 * pair.R_uncertainty + 0.01).all()
    assert (abs(pair.T - T) < 2 * pair.T_uncertainty + 0.01).all()
    assert pair.card.linear == pytest.approx([grey] * 3, rel=0.05)
    (told,) = (text for text in pair.cautions if "not black" in text)
    assert f"sends back {grey:.0%}".replace("%", " %") in told
    black = measure_pair(*(table(which) for which in parts))
    assert (pair.T_uncertainty > black.T_uncertainty).all()  # and is told as less sure
    assert not any("not black" in text for text in black.cautions)


def test_missing_parts_are_told() -> None:
    with pytest.raises(InputError, match="no dark card is seen; photograph .* on dull black card"):
        measure_pair(table("white"), table("white"))
    with pytest.raises(InputError, match="no dark card is seen in the one picture given"):
        measure_pair(table("white"))
    with pytest.raises(InputError, match=r"black: no dark card is seen; .* \(grey card of 18 %"):
        measure_pair(table("white"), table("black", card=0.5))
    with pytest.raises(InputError, match="burnt out|bare"):
        measure_pair(np.clip(table("both") * 3, 0, 1))
    with pytest.raises(InputError, match="paper"):
        measure_pair(table("white"), np.full((H, W, 3), 0.03, np.float32))


def test_uneven_light_is_fitted_and_too_uneven_refused() -> None:
    picture = table("white", light=0.4)
    paper = find_regions(picture)["paper"]
    field = illumination(picture, paper.mask)
    flat = reflectance_picture(picture, field)
    np.testing.assert_allclose(paper.values(flat).mean(0), REFERENCES["white paper"][0], atol=0.005)
    corners = [flat[20:60, 20:60].mean(), flat[-60:-20, -60:-20].mean()]
    assert abs(corners[0] - corners[1]) < 0.02
    steep = np.repeat(np.exp(np.linspace(-3.0, -0.4, W))[None, :, None], H, 0) * np.ones(3)
    with pytest.raises(InputError, match="falls off too much"):
        illumination(steep, np.ones((H, W), dtype=bool))
    with pytest.raises(InputError, match="strongly coloured"):
        illumination(np.full((H, W, 3), [0.6, 0.2, 0.05]), np.ones((H, W), dtype=bool))
    with pytest.raises(InputError, match="no neutral called"):
        illumination(picture, paper.mask, "beige sofa")


def test_grey_card_gives_the_same_colours_as_paper() -> None:
    picture = np.full((200, 300, 3), 0.18) * np.array([0.9, 0.7, 0.5])
    picture[:, 150:] = np.array([0.3, 0.1, 0.2]) * np.array([0.9, 0.7, 0.5])
    card = np.zeros((200, 300), dtype=bool)
    card[:, :140] = True
    flat = reflectance_picture(picture, illumination(picture, card, "grey card"))
    np.testing.assert_allclose(flat[100, 250], [0.3, 0.1, 0.2], rtol=0.01)


def _fringe(ground: float, colour: np.ndarray, through: float, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:120, 0:200].astype(float)
    cover = np.clip(1.6 - np.abs((x + 3 * np.sin(y / 20)) % 14 - 7) / 2.2, 0, 1)
    shadow = 1 - 0.35 * np.exp(-(((x + 3 * np.sin(y / 20)) % 14 - 11) ** 2) / 6)
    yarn = colour * (1 - through) + through * ground * colour
    picture = ground * (shadow * (1 - cover))[..., None] + cover[..., None] * yarn
    return picture + 0.006 * rng.standard_normal(picture.shape)


@pytest.mark.parametrize("colour", [[0.45, 0.08, 0.10], [0.05, 0.12, 0.35], [0.03, 0.03, 0.035]])
def test_frayed_edge_gives_the_yarn_and_not_its_shadow(colour) -> None:  # type: ignore[no-untyped-def]
    colour = np.array(colour)
    box = (5, 5, 195, 115)
    found = fringe_colour(_fringe(0.87, colour, 0.1, 1), box, _fringe(0.04, colour, 0.1, 2), box,
                          ground_black=0.04)
    np.testing.assert_allclose(found.linear, colour, atol=0.03 + 0.08 * colour.max())
    assert (np.abs(found.linear - colour) < 4 * found.uncertainty + 0.01).all()


def test_bare_paper_is_no_frayed_edge() -> None:
    paper = 0.87 + 0.005 * np.random.default_rng(0).standard_normal((100, 100, 3))
    with pytest.raises(InputError, match="no threads"):
        fringe_colour(paper, (0, 0, 100, 100))


def _ruler(spacing: float, tilt: float = 0.0, wood: float = 0.7) -> np.ndarray:
    y, x = np.mgrid[0:80, 0:500].astype(float)
    a = np.radians(tilt)
    run = x * np.cos(a) + (y - 40) * np.sin(a) + 3.3
    tick = np.round(run / spacing)
    reach = np.where(tick % 10 == 0, 70, np.where(tick % 5 == 0, 55, 40))
    on = (np.abs(run - tick * spacing) < 0.11 * spacing) & (y < reach)
    picture = gaussian_filter(np.where(on, 0.08, wood), 0.8)
    return picture + 0.01 * np.random.default_rng(1).standard_normal(picture.shape)


@pytest.mark.parametrize("spacing", [8.4, 12.0, 23.7])
@pytest.mark.parametrize("tilt", [0.0, 6.0, -12.0])
def test_ruler_scale(spacing: float, tilt: float) -> None:
    picture = _ruler(spacing, tilt)
    scale = scale_from_ruler(picture, (5, 5, 495, 75))
    # cos 12 degrees is 0.978: a tilt that is not taken off shows
    assert scale.pixels_per_mm == pytest.approx(spacing, rel=0.004)
    assert scale.relative_uncertainty < 0.02
    upright = scale_from_ruler(picture.T, (5, 5, 75, 495))
    assert upright.pixels_per_mm == pytest.approx(spacing, rel=0.01)


def test_no_ruler_is_refused_and_a_known_length_will_do() -> None:
    rng = np.random.default_rng(5)
    with pytest.raises(InputError, match="no even row of ticks"):
        scale_from_ruler(rng.random((80, 400)), (0, 0, 400, 80))
    with pytest.raises(InputError, match="too small"):
        scale_from_ruler(rng.random((80, 400)), (0, 0, 30, 30))
    scale = scale_from_length((100, 100), (400, 500), 50.0)
    assert scale.pixels_per_mm == pytest.approx(10.0)
    with pytest.raises(InputError, match="more than 0"):
        scale_from_length((0, 0), (100, 0), 0.0)
    with pytest.raises(InputError, match="too close"):
        scale_from_length((0, 0), (5, 0), 10.0)


@pytest.mark.parametrize("number", range(8))
def test_parts_are_found_in_photographs_of_card_in_falling_light(number: int) -> None:
    """The long set is ``python -m tests.find_swatches``."""
    layout = ("black", "both", "black", "white")[number % 4]
    one = find_swatches.found(77, number, layout)
    assert one.right, (one.strays, one.left_out)


def test_grey_card_is_found_in_photographs_or_refused() -> None:
    read = 0
    for number in range(8):
        photo = any_photo(np.random.default_rng([78, number]), ("black", "both")[number % 2])
        data, label = photograph(replace(photo, card=(0.18, 0.18, 0.18)))
        regions = find_regions(read_photograph(data).linear)
        needed = find_swatches.NEEDED[photo.layout]
        if set(needed) <= set(regions):
            read += 1
            for name in needed:
                seen = label[regions[name].mask]
                assert (seen[seen >= 0] == find_swatches.PARTS[name]).mean() > 0.98, (number, name)
    assert read >= 6


def test_every_picture_of_a_set_rests_on_the_same_paper() -> None:
    """Paper of 0.87 known to 0.0174, 2 %: so much is common to all that is measured on it."""
    white, black = table("white", seed=1), table("black", seed=2)
    shots = look(white, black, turned=table("white", seed=3), paper=(0.87, 0.0174))
    over_white, over_black, turned = shots.seen
    assert [s.paper_error for s in shots.seen] == pytest.approx([0.02] * 3, rel=1e-6)
    assert [s.grain_deg for s in shots.seen] == [0.0, 0.0, 90.0]
    assert turned.backing is over_white.backing and over_black.backing.name == "black"
    # the same cloth in the same light: as unsure turned as before
    assert turned.value == pytest.approx(over_white.value, abs=0.01)
    spread = np.diag(turned.covariance) / np.diag(over_white.covariance)
    assert (0.5 < spread).all() and (spread < 2.0).all()
    assert shots.threads == ()
