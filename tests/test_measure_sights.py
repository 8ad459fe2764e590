"""What is seen and told of a cloth: how sure each reading is, by its covariance written out."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from weavecolor.colour.screen import camera_channels
from weavecolor.colour.spectra import BANDS
from weavecolor.errors import InputError
from weavecolor.measure import observations as o
from weavecolor.measure.swatchpair import measured_colour
from weavecolor.scene.backings import Backing
from weavecolor.scene.places import scene

WHITE, BLACK = (Backing(n, np.full(BANDS, r)) for n, r in (("white", 0.9), ("black", 0.03)))


def test_a_colour_seen_errs_by_its_own_and_by_the_model_s_share():
    value, own = [0.4, 0.1, 0.01], [0.01, 0.02, 0.03]
    seen = o.seen_colour("it", value, own, WHITE, grain_deg=370.0, face="back", paper_error=0.02)
    model = o.MODEL_SHARE * np.maximum(value, 0.02)  # of black as of a fiftieth
    assert seen.covariance == pytest.approx(np.diag(np.square(own) + model**2))
    assert (seen.grain_deg, seen.face, seen.paper_error) == (10.0, "back", 0.02)
    assert seen.light_error == 0.08 and seen.channels == pytest.approx(camera_channels())
    full = np.diag(np.square(own)) + 1e-5
    again = o.seen_colour("it", value, full, WHITE)
    assert again.covariance == pytest.approx(full + np.diag(model**2))


def test_bands_of_a_spectrum_err_together_nearby():
    """Nine tenths of the variance goes over from band to band by a bell of 40 nm."""
    seen = o.seen_spectrum("it", np.full(BANDS, 0.3), 0.02, WHITE)
    nm = 10.0 * np.abs(np.arange(BANDS)[:, None] - np.arange(BANDS))
    wanted = 0.02**2 * 0.9 * np.exp(-0.5 * (nm / 40.0) ** 2)
    wanted += np.eye(BANDS) * (0.02**2 * 0.1 + (o.MODEL_SHARE * 0.3) ** 2)
    assert seen.covariance == pytest.approx(wanted)
    assert seen.paper_error == seen.light_error == 0.0
    assert seen.channels == pytest.approx(np.eye(BANDS)) and not seen.scene.lights


@pytest.mark.parametrize(
    ("value", "error", "says"),
    [
        ([0.3, 0.3], [0.01] * 3, "needs 3 values"), ([0.3] * 3, [0.01] * 2, "needs 3 values"),
        ([0.3] * 3, np.zeros((3, 2)), "needs 3 values"),
        ([0.3, np.nan, 0.3], [0.01] * 3, "not numbers"),
        ([0.3] * 3, [0.01, np.inf, 0.01], "not numbers"),
        ([0.3, -0.201, 0.3], [0.01] * 3, "lies within 0 and 1"),
        ([2.001, 0.3, 0.3], [0.01] * 3, "lies within 0 and 1"),
        ([0.3] * 3, [0.01, 0.0, 0.01], "uncertainties above 0"),
        ([0.3] * 3, np.diag([1e-4, -1e-4, 1e-4]), "uncertainties above 0"),
    ],
)  # fmt: skip
def test_what_is_no_reading_is_refused(value, error, says):
    with pytest.raises(InputError, match=f"^it.*{says}"):
        o.checked("it", value, error, 3)


def test_readings_a_little_beyond_0_and_1_are_taken():
    for value in (-0.2, 2.0):
        mean, spread = o.checked("it", [value, 0.3, 0.3], [0.01, 0.02, 0.03], 3)
        assert mean[0] == value and spread == pytest.approx(np.diag([1e-4, 4e-4, 9e-4]))


def test_light_from_behind_and_no_side_of_cloth_are_refused():
    with pytest.raises(InputError, match="light in front of the cloth only"):
        o.seen_colour("it", [0.3] * 3, [0.01] * 3, WHITE, light="lightbox behind")
    window = scene("window")
    low = replace(window, lights=(replace(window.lights[0], zenith_deg=85.0),))
    assert o.seen_colour("it", [0.3] * 3, [0.01] * 3, WHITE, light=low).scene is low
    with pytest.raises(InputError, match="is not a side of cloth"):
        o.seen_colour("it", [0.3] * 3, [0.01] * 3, WHITE, face="front")


def _over(white, black, on_white=0.5, on_black=0.3):
    made = []
    for name, ground, value in (("white", white, on_white), ("black", black, on_black)):
        seen_on = Backing(name, np.full(BANDS, ground))
        made.append(o.seen_spectrum(f"over {name}", np.full(BANDS, value), 0.01, seen_on))
    return made


def test_grounds_at_both_sides_of_their_limits():
    for white, black in ((0.4, 0.2), (1.0, 0.0), (0.9, 0.03)):
        o.check_grounds(_over(white, black), 0.01)
    with pytest.raises(InputError, match="^--white-ground: a white ground reflects 0.4 to 1"):
        o.check_grounds(_over(0.39, 0.03), 0.01)
    with pytest.raises(InputError, match="^--black-ground: a black ground reflects 0 to 0.2"):
        o.check_grounds(_over(0.9, 0.21), 0.01)
    # darker over white by more than two uncertainties
    o.check_grounds(_over(0.9, 0.03, 0.3, 0.319), 0.01)
    with pytest.raises(InputError, match="the two names are exchanged"):
        o.check_grounds(_over(0.9, 0.03, 0.3, 0.321), 0.01)
    o.check_grounds(_over(0.9, 0.03, 0.3, 0.321)[:1], 0.01)
    # opaque cloth reads alike, but no two readings are the same to the last digit
    o.check_grounds(_over(0.9, 0.03, 0.3, 0.3 + 1e-6), 0.01)
    with pytest.raises(InputError, match="the same spectrum is given for over white and over bl"):
        o.check_grounds(_over(0.9, 0.03, 0.3, 0.3), 0.01)


def test_bare_thread_errs_in_its_lightness_as_a_whole():
    value, own = np.array([0.4, 0.2, 0.1]), [0.01] * 3
    seen = o.thread_colour("weft", value, own, shade=0.1, grounds=(0.87,))
    wanted = 1e-4 * np.eye(3) + 0.01 * np.outer(value, value) + 1e-6 * np.eye(3)
    assert seen.covariance == pytest.approx(wanted)
    assert seen.name == "weft thread" and seen.grounds == (0.87,) and not seen.opaque
    assert o.thread_colour("warp", value, own, opaque=True, grounds=()).opaque
    with pytest.raises(InputError, match="loose threads were seen on some ground"):
        o.thread_colour("warp", value, own, grounds=())
    for call in (lambda: o.thread_colour("ends", value, own),
                 lambda: o.thread_spectrum("ends", np.full(BANDS, 0.3))):  # fmt: skip
        with pytest.raises(InputError, match="'ends' is no yarn system; use warp or weft"):
            call()
    wound = o.thread_spectrum("warp", np.full(BANDS, 0.3), 0.02)
    assert wound.opaque and wound.grounds == ()
    assert np.diag(wound.covariance) == pytest.approx(0.02**2)
    fringe = measured_colour(value, np.array(own))
    told = o.thread_seen("warp", fringe, grounds=(0.5,))
    plain = o.thread_colour("warp", value, own, grounds=(0.5,))
    assert told.covariance == pytest.approx(plain.covariance) and told.grounds == (0.5,)


def test_the_paper_s_part_of_a_doubt_is_taken_off_once():
    colour = measured_colour(np.array([0.5, 0.2, 0.05]), np.array([0.03, 0.02, 0.01]))
    own = o.own_uncertainty(colour, 0.04)
    assert own == pytest.approx(np.sqrt([0.03**2 - 0.02**2, 0.02**2 - 0.008**2, 1e-4 - 4e-6]))
    # never surer than so
    assert o.own_uncertainty(colour, 0.2) == pytest.approx(0.002 + 0.003 * colour.linear)
    pair = SimpleNamespace(
        paper=0.8, paper_uncertainty=0.032, card_light=0.05, over_white=colour,
        over_black=measured_colour(np.array([0.3, 0.1, 0.02]), np.array([0.02] * 3)),
    )  # fmt: skip
    over_white, over_black = o.pair_seen(pair, grain_deg=90.0, light_error=0.05)
    for seen, name, ground, what in ((over_white, "white", 0.8, pair.over_white),
                                     (over_black, "black", 0.05, pair.over_black)):  # fmt: skip
        assert seen.name == f"over {name}" and seen.backing.name == name
        assert seen.backing.reflectance == pytest.approx(ground)
        assert (seen.grain_deg, seen.paper_error, seen.light_error) == (90.0, 0.04, 0.05)
        model = o.MODEL_SHARE * np.maximum(what.linear, 0.02)
        wanted = o.own_uncertainty(what, 0.04) ** 2 + model**2
        assert np.diag(seen.covariance) == pytest.approx(wanted)
