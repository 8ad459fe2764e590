"""Matt yarns that nothing enters, a limit of the cell: against traced ones."""

import itertools

import accuracy
import numpy as np
import pytest

from weavecolor.colour.colorimetry import ciede2000, lab_from_xyz
from weavecolor.colour.screen import space
from weavecolor.optics import uncertainty as u

# by all rays the errors are smaller yet
pytestmark = pytest.mark.usefixtures("half_rays_throughout")


def rows_of(figures):
    """Figures by name, for tests that hold one of them."""
    return {f.what: f for f in figures}


# Against traced yarns: rms under 2 % and worst under 6 % over black, 3 % and 8 % over white


@pytest.mark.parametrize("ground", ["black", "white"])
def test_one_layer_against_traced_yarns(ground):
    figure = rows_of(accuracy.first_radiance_factors())[f"One layer over {ground}"]
    assert figure.errors.size >= 120
    assert figure.holds, str(figure)


@pytest.mark.slow
@pytest.mark.usefixtures("every_ray")
@pytest.mark.parametrize("ground", ["black", "white"])
def test_one_layer_of_other_covers(ground):
    # covers 0.3 to 0.9, equal and not, other angles; nothing is fitted to one of them
    figures = rows_of(accuracy.cover_radiance_factors())
    figure = figures[f"One layer over {ground}, covers 0.3 to 0.9"]
    assert figure.errors.size >= 480
    assert figure.holds, str(figure)


@pytest.mark.slow
@pytest.mark.usefixtures("every_ray")
@pytest.mark.parametrize("ground", ["black", "white"])
@pytest.mark.parametrize("spec", ["twill 2/2", "satin 5/2"])
def test_one_layer_of_other_weaves(spec, ground):
    figures = rows_of(accuracy.cover_radiance_factors())
    name = f"One layer of {spec} over {ground}"
    if name not in figures:
        pytest.fail(f"{spec} is not in the traced table")
    assert figures[name].holds, str(figures[name])


@pytest.mark.parametrize("what", ["All light sent back", "All light let through"])
def test_flux_against_traced_yarns(what):
    # over black and white; and what reaches the backing for the first time
    figure = rows_of(accuracy.first_radiance_factors())[what]
    assert figure.holds, str(figure)


def _lightness(y):
    return 116.0 * np.cbrt(np.maximum(y, 0.008856)) - 16.0


def _opaque():
    """Errors in L* against traced matt yarns: of single angles, and of shares of light."""
    angles, shares = [], []
    for found in accuracy.first_answers():
        row = found.row
        angles.append((_lightness(found.brf) - _lightness(row.brf)).ravel())
        shares.append(_lightness(found.up) - _lightness(row.up))
        shares.append(_lightness(found.down) - _lightness(row.down))
    return np.concatenate(angles), np.concatenate(shares)


def test_opaque_yarn_is_the_limit():
    angles, shares = _opaque()
    assert shares.size >= 200 and angles.size >= 400
    assert np.abs(shares).max() <= 1.0
    assert np.sqrt(np.mean(angles**2)) <= 1.0


# Traced stacks: rms under 3 %, worst under 8 %

FIRST = [what for _, what in accuracy.GROUPS if "touching" not in what]


@pytest.mark.parametrize("what", FIRST)
def test_stacks_against_traced_yarns(what):
    figures = {f.what: f for f in accuracy.first_radiance_factors()}
    assert figures[what].errors.size >= 30
    assert figures[what].holds, str(figures[what])


@pytest.mark.slow
@pytest.mark.usefixtures("every_ray")
@pytest.mark.parametrize("what", [what for _, what in accuracy.GROUPS])
def test_stacks_of_other_covers(what):
    figures = {f.what: f for f in accuracy.cover_radiance_factors()}
    figure = figures[f"{what}, covers 0.3 to 0.9"]
    assert figure.holds, str(figure)


# What is claimed of colours and of differences

NOTHING_ASSUMED = u.Known(yarn_assumed=False, colour_recovered=False)


def _labs(brf):
    """Lab (views, 2 backings, 3) of the crimson and black channels of a traced row."""
    rgb = np.stack([brf[:, [0, 4]], brf[:, [1, 5]], brf[:, [1, 5]]], axis=-1)
    screen = space("sRGB")
    return lab_from_xyz(100.0 * rgb @ screen.to_xyz.T, screen.white)


@pytest.fixture(scope="module")
def pairs():
    """(model, traced) Lab of every row of the first table (tests/data/raytraced.json)."""
    return [(a.row, _labs(a.brf), _labs(a.row.brf)) for a in accuracy.first_answers()]


def test_single_colours_are_as_near_the_traced_ones_as_claimed(pairs):
    misses = np.concatenate([ciede2000(model, truth).ravel() for _, model, truth in pairs])
    assert misses.size > 100
    assert np.sqrt(np.mean(misses**2)) < u.MODEL


def test_differences_are_as_near_the_traced_ones_as_claimed(pairs):
    """Nine in ten within what is said; over backings, and over grain at the same view."""
    predicted, true = [], []
    for _, model, truth in pairs:
        predicted.append(ciede2000(model[:, 0], model[:, 1]))
        true.append(ciede2000(truth[:, 0], truth[:, 1]))
    for (a, m1, t1), (b, m2, t2) in itertools.combinations(pairs, 2):
        alike = (a.group, a.turns, a.jitter) == (b.group, b.turns, b.jitter)
        if alike and a.inc and b.inc and a.inc[0] == b.inc[0] and a.inc != b.inc:
            n = min(len(a.views), len(b.views), 3)
            predicted.append(ciede2000(m1[:n], m2[:n]).ravel())
            true.append(ciede2000(t1[:n], t2[:n]).ravel())
    said = np.concatenate(predicted)
    miss = np.abs(said - np.concatenate(true))
    stated = [u.COVERAGE * u.of_difference(d, NOTHING_ASSUMED, 0.0).model for d in said]
    assert said.size > 100
    assert np.mean(miss <= stated) > 0.9
