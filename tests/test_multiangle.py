"""Readings at several angles, and the travel of a cloth that turns."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from weavecolor.errors import InputError
from weavecolor.files.clothfile import load_swatch
from weavecolor.optics.appearance import appearance
from weavecolor.optics.multiangle import flop_index, multiangle, travel, turn, view_of
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene, turned

DUPION = Stack((Layer(load_swatch("shot-dupion-blue-gold")),), backing("white"))
WINDOW = scene("window at the side")


@pytest.mark.parametrize(
    ("lightness", "index"),
    # 2.69 (L15 - L110)^1.11 / L45^0.86: formula from memory, values computed from it
    [((90, 50, 30), 8.7576), ((120, 60, 30), 11.742), ((100, 40, 20), 14.602), ((50, 50, 50), 0.0)],
)
def test_flop_index(lightness: tuple[float, float, float], index: float) -> None:
    assert flop_index(*lightness) == pytest.approx(index, abs=1e-3)


@given(st.floats(1, 100), st.floats(1, 100), st.floats(1, 100))
def test_flop_index_changes_sign_with_direction(a: float, b: float, c: float) -> None:
    assert flop_index(a, b, c) == pytest.approx(-flop_index(c, b, a))


def test_flop_index_refuses() -> None:
    with pytest.raises(InputError):
        flop_index(50.0, 0.0, 20.0)


def test_geometry() -> None:
    """ASTM E2194: light at 45 degrees; 15, 45 and 110 from the specular direction, positive
    towards the normal, so views at 30 beyond the normal, 0, and 65 on the light's own side."""
    assert view_of(15.0, 0.0) == (30.0, 180.0)
    assert view_of(45.0, 70.0)[0] == 0.0
    assert view_of(110.0, 70.0) == (65.0, 70.0)


def test_shot_cloth_changes_by_a_quarter_turn() -> None:
    """The index is found at each rotation of a fabric (abstract of a study of fabrics turned in
    plane, UTIA, found), and a shot cloth's must change with a quarter turn."""
    along, across = multiangle(DUPION, (0.0, 90.0))
    assert abs(along.flop_index - across.flop_index) > 0.1
    assert np.abs(along.Lab - across.Lab).max() > 3.0
    again = multiangle(DUPION, (360.0,))[0]
    assert again.Lab == pytest.approx(along.Lab, abs=1e-6)


def test_turn_is_the_appearance_in_turned_light() -> None:
    """Turning the cloth by a is turning light and viewer by -a."""
    Lab = turn(DUPION, WINDOW, [0.0, 35.0, 90.0, 360.0])
    # the angle's rounding moves rays by as little
    assert Lab[0] == pytest.approx(appearance(DUPION, WINDOW).reading.Lab, abs=1e-4)
    assert Lab[3] == pytest.approx(Lab[0], abs=1e-9)
    for k, angle in ((1, 35.0), (2, 90.0)):
        want = appearance(DUPION, turned(WINDOW, -angle)).reading.Lab
        assert Lab[k] == pytest.approx(want, abs=1e-4)


def test_turn_is_another_grain() -> None:
    """Turning the cloth is laying it at another grain angle."""
    Lab = turn(DUPION, WINDOW, [30.0])[0]
    laid = Stack((Layer(DUPION.layers[0].cloth, 30.0),), DUPION.backing)
    assert Lab == pytest.approx(appearance(laid, WINDOW).reading.Lab, abs=0.3)


def test_backlight_through_turning_gauze() -> None:
    stack = Stack((Layer(load_swatch("stage-gauze-black")),), None)
    behind = scene("lightbox behind")
    Lab = turn(stack, behind, [0.0, 90.0])
    assert Lab[0] == pytest.approx(appearance(stack, behind).reading.Lab, abs=1e-6)
    assert Lab[0, 0] > 50.0


def circle(hues: list[float], chroma: float = 40.0) -> np.ndarray:
    h = np.radians(hues)
    return np.stack([np.full(h.size, 50.0), chroma * np.cos(h), chroma * np.sin(h)], axis=-1)


def test_travel_takes_the_short_way_over_zero() -> None:
    assert travel(circle([350, 0, 10, 20])).hue_deg == pytest.approx(30.0)
    assert travel(circle([90, 100, 140])).hue_deg == pytest.approx(50.0)
    assert travel(circle([0, 120, 240], 0.5)).hue_deg is None
    gone = travel([[40, 0, 0], [70, 0, 0], [50, 0, 0]])
    assert gone.lightness == pytest.approx(30.0)
    assert gone.between == (0, 1)


@pytest.mark.parametrize("angles", [[], [np.nan], list(range(721))])
def test_turn_refuses(angles: list[float]) -> None:
    with pytest.raises(InputError):
        turn(DUPION, WINDOW, angles)


@pytest.mark.parametrize("azimuth", [90.0, 30.0])
def test_light_from_another_side_is_the_cloth_laid_the_other_way(azimuth: float) -> None:
    """Only what lies between light and grain counts."""
    laid = Stack((Layer(DUPION.layers[0].cloth, azimuth),), DUPION.backing)
    found, other = multiangle(laid, (azimuth, 0.0))
    (plain,) = multiangle(DUPION, (0.0,))
    assert found.azimuth_deg == azimuth and other.azimuth_deg == 0.0
    assert found.Lab == pytest.approx(plain.Lab, abs=0.3)
    assert found.flop_index == pytest.approx(plain.flop_index, abs=0.1)
    assert np.abs(other.Lab - plain.Lab).max() > 1.0
    assert found.flop_index == pytest.approx(flop_index(*found.Lab[:, 0]))


def test_what_a_flop_index_takes() -> None:
    # 2.69 * 80^1.11 / 40^0.86, as of (100, 40, 20): only the step counts, down to a black
    assert flop_index(80.0, 40.0, 0.0) == pytest.approx(14.602, abs=1e-3)
    assert flop_index(80.5, 40.0, 0.5) == pytest.approx(14.602, abs=1e-3)
    assert flop_index(0.0, 40.0, 80.0) == pytest.approx(-14.602, abs=1e-3)
    told = "^a flop index takes lightnesses from 0, that at 45 degrees above 0$"
    for bad in ((-0.1, 40.0, 20.0), (80.0, 40.0, -0.1), (80.0, 0.0, 20.0), (80.0, -1.0, 20.0)):
        with pytest.raises(InputError, match=told):
            flop_index(*bad)


@given(st.floats(-60.0, 200.0), st.floats(-720.0, 720.0))
def test_views_stand_as_far_from_the_specular_as_asked(aspecular: float, azimuth: float) -> None:
    """Light from 45 degrees is mirrored to 45 degrees beyond the normal; turned towards the normal
    and over it, in one plane."""
    zenith, turn = view_of(aspecular, azimuth)
    assert 0.0 <= zenith and 0.0 <= turn < 360.0
    seen = np.radians(zenith) * (1 if abs((turn - azimuth + 180) % 360 - 180) < 90 else -1)
    assert np.degrees(seen) == pytest.approx(aspecular - 45.0, abs=1e-9)
