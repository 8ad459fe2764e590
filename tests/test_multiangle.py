"""Readings at several angles, and the travel of a cloth that turns."""

from __future__ import annotations

import numpy as np
import pytest

from weavecolor.errors import InputError
from weavecolor.files.clothfile import load_swatch
from weavecolor.optics.appearance import appearance
from weavecolor.optics.multiangle import travel, turn
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene, turned

DUPION = Stack((Layer(load_swatch("shot-dupion-blue-gold")),), backing("white"))
WINDOW = scene("window at the side")


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


@pytest.mark.parametrize("angles", [[0.0, np.nan], [np.inf, 10.0], [], [[0.0, 1.0]]])
def test_what_is_no_list_of_angles_is_refused(angles):
    with pytest.raises(InputError, match="numbers of degrees"):
        turn(DUPION, WINDOW, angles)
