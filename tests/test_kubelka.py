"""A film over a ground against Kubelka and the definition of paper opacity."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weavecolor.errors import InputError
from weavecolor.optics import kubelka as km

share = st.floats(0.0, 1.0)


@pytest.mark.parametrize(("ground", "seen"), [(0.05, 0.312690), (0.5, 0.447059), (0.89, 0.603547)])
def test_layer_over_ground(ground, seen):
    assert km.over(0.3, 0.5, ground) == pytest.approx(seen, abs=1e-6)


def test_black_white_pair_and_paper_opacity():
    # TAPPI T 425 defines 100 R0/R0.89 (89 % backing); the numbers follow.
    r, t = km.from_black_white(0.30, 0.60, 0.89)
    assert r == pytest.approx(0.30, abs=1e-12)
    assert t == pytest.approx(0.497070, abs=1e-5)
    assert 100 * r / km.over(r, t, 0.89) == pytest.approx(50.0, abs=1e-5)


@given(st.floats(0.02, 0.7), st.floats(0.1, 1.0), st.floats(0.0, 0.1), st.floats(0.5, 0.95))
def test_black_white_pair_comes_back(r, part, black, white):
    t = part * (1 - r)
    back = km.from_black_white(km.over(r, t, black), km.over(r, t, white), white, black)
    assert back[0] == pytest.approx(r, abs=1e-9)
    assert back[1] == pytest.approx(t, abs=1e-6)


def test_bad_input():
    for call in (
        lambda: km.over(1.2, 0.5, 0.5),
        lambda: km.over(0.2, math.nan, 0.5),
        lambda: km.from_black_white(0.6, 0.3, 0.89),
        lambda: km.from_black_white(0.3, 0.6, 0.05, 0.89),
        lambda: km.from_black_white([0.3, 0.3], [0.6, 0.3], [0.89, 0.05], 0.05),  # one of them
    ):
        with pytest.raises(InputError):
            call()
