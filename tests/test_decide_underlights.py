"""One choice in every light, and metamerism."""

from __future__ import annotations

from dataclasses import replace

import colour
import numpy as np
import pytest
from decide_samples import BLUE, RED, dye, settled_as

from weavecolor.cli import run
from weavecolor.colour.colorimetry import ciede2000, metamerism_index
from weavecolor.colour.lights import light_spectrum
from weavecolor.colour.spectra import WAVELENGTHS
from weavecolor.colour.tristimulus import weights, xyz
from weavecolor.decide.compare import Option, evaluate, steps
from weavecolor.decide.underlights import metamerism, suited, under_lights
from weavecolor.errors import InputError
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene, scene_names

STACK = Stack((Layer(RED),), backing("white"))
SCENES = [scene(name) for name in ("overcast", "candlelit", "stage LED")]


def metameric_black(light: np.ndarray) -> np.ndarray:
    """A spectrum that looks like nothing under ``light`` (G. Wyszecki, Farbe 2 (1953) 39): what a
    zigzag has left when its projection on the weighted matching functions is taken away."""
    seen = weights("2") * light[:, None]
    zigzag = np.sin((WAVELENGTHS - 380.0) / 400.0 * 6.0 * np.pi)
    black = zigzag - seen @ np.linalg.solve(seen.T @ seen, seen.T @ zigzag)
    return black / np.abs(black).max()


def test_the_worst_light_is_named():
    found = under_lights(STACK, SCENES)
    whites = [xyz(one.white, one.white) for one in SCENES]
    Labs = np.array([
        settled_as(look.reading.XYZ, white)
        for look, white in zip(found.looks, whites, strict=True)
    ])  # fmt: skip
    apart = ciede2000(Labs[:, None], Labs[None])
    a, b = np.unravel_index(apart.argmax(), apart.shape)
    assert found.change == pytest.approx(apart.max())
    assert set(found.worst) == {SCENES[a].name, SCENES[b].name}
    assert all(name in found.words for name in found.worst)
    pair = [Option(STACK, scene(name)) for name in found.worst]
    (step,) = steps(evaluate(pair), [(0, 1)])  # said as in a comparison, and as surely
    assert (found.change, found.doubt) == pytest.approx((step.delta, step.uncertainty.stated))
    doubt = step.uncertainty.stated
    assert f"by {step.delta:.1f} CIEDE2000, give or take {doubt:.1f}, to" in found.words
    assert step.uncertainty.stated > 1.0  # what nobody measured of the yarns is open in every light


def test_places_with_light_from_behind_suit_open_air_alone(capsys):
    open_air, over_white = suited(replace(STACK, backing=None)), suited(STACK)
    assert [one.name for one in open_air] == list(scene_names())
    assert {one.name for one in open_air} - {one.name for one in over_white} == {"lightbox behind"}
    for behind, there in (("open", True), ("white", False)):
        assert run(["decide", "lights", "stage-gauze-black", "--behind", behind]) == 0
        assert ("lightbox behind" in capsys.readouterr().out) is there


def test_a_metameric_pair_parts_in_the_other_light_alone():
    # No published pair of spectra with its index is at hand; the pair is constructed, and what is
    # left after a perfect match is compared with colour-science's own chain from spectrum to Lab.
    daylight, tungsten = light_spectrum("daylight"), light_spectrum("tungsten")
    one = dye(0.1, 0.6, 560.0, 40.0)
    other = one + 0.08 * metameric_black(daylight)
    assert other.min() > 0 and other.max() < 1
    found = metamerism(one, other, "daylight", ("daylight", "tungsten"))
    assert found.match < 1e-6 and found.indices[0] < 1e-6
    assert found.indices[1] > 0.5 and found.worst == 1 and "tungsten" in found.words

    def lab(reflectance):
        domain = colour.SpectralShape(380, 780, 10)
        sample = colour.SpectralDistribution(reflectance, domain)
        lamp = colour.SpectralDistribution(tungsten, domain)
        cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(domain)
        perfect = colour.SpectralDistribution(np.ones(41), domain)
        XYZ, white = (
            colour.sd_to_XYZ(s, cmfs, lamp, method="Integration") for s in (sample, perfect)
        )
        return colour.XYZ_to_Lab(XYZ / 100.0, colour.XYZ_to_xy(white))

    want = colour.delta_E(lab(one), lab(other), method="CIE 2000")
    assert found.indices[1] == pytest.approx(want, rel=0.03)


def test_the_index_grows_with_the_metameric_part_and_not_with_depth():
    daylight = light_spectrum("daylight")
    one, black = dye(0.1, 0.6, 560.0, 40.0), metameric_black(daylight)
    sizes = [metamerism(one, one + k * black).indices[0] for k in (0.0, 0.02, 0.04, 0.08)]
    assert sizes[0] == pytest.approx(0.0, abs=1e-9)
    assert sizes == sorted(sizes) and sizes[-1] > 2.5 * sizes[1]
    # CIE 15: a pair that does not quite match is corrected by the ratio of the tristimulus
    # values, so one yarn dyed in proportion lighter has no metamerism.
    assert metamerism(one, 0.9 * one).indices == pytest.approx([0.0] * 5, abs=1e-9)
    assert metamerism(one, 0.9 * one).match > 1.0
    index = metamerism_index(one, one + 0.04 * black, daylight, light_spectrum("tungsten"))
    assert sizes[2] == pytest.approx(float(index))


def test_colours_far_apart_are_no_pair():
    assert "says little" in metamerism(RED.warp.colour, BLUE.warp.colour).words


def test_colours_by_eye_may_part_in_any_other_light():
    """Two dyes of one screen colour: their recovered spectra are one and part nowhere, yet real
    ones do (the pair of the test above, by colour-science 0.5 and more)."""
    one = RED.warp.colour
    told = metamerism(one, one, recovered=True)
    assert "would not see it (difference 0.0 give or take 0.7)" in told.words
    assert "cannot be told" in told.words and "hardly parts" not in told.words
    # by another light not even a match is sure: measured surfaces differ there by 1.8 on average
    by_lamp = metamerism(one, one, "tungsten", recovered=True)
    assert by_lamp.doubt > 1.8 and "Cannot tell (difference 0.0" in by_lamp.words
    assert metamerism(one, one, "tungsten").doubt == told.doubt


def test_bad_input_is_told():
    with pytest.raises(InputError, match="at least 2 scenes"):
        under_lights(STACK, SCENES[:1])
    with pytest.raises(InputError, match="twice"):
        under_lights(STACK, [SCENES[0], SCENES[0]])
    with pytest.raises(InputError, match="at least one light"):
        metamerism(RED.warp.colour, BLUE.warp.colour, lights=())


def test_a_match_is_called_unseen_only_with_its_doubt():
    one = RED.warp.colour
    alike = metamerism(one, one)
    assert alike.match == 0.0
    assert "would not see it (difference 0.0 give or take 0.7)" in alike.words
    # 0.3 to 1 apart is less than the threshold, but not by more than two readings may be wrong.
    near = metamerism(one, np.clip(0.97 * one, 0.0, 1.0))
    assert 0.3 < near.match < 1.0
    assert "Cannot tell" in near.words and "not see" not in near.words
