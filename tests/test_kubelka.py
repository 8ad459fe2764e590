"""Films and piles against Stokes, Kubelka and the paper-opacity definitions."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from weavecolor.errors import InputError
from weavecolor.optics import kubelka as km

share = st.floats(0.0, 1.0)


def test_two_layers():
    # Stokes, Proc. R. Soc. 11 (1862) 545; Kubelka, J. Opt. Soc. Am. 44 (1954) 330 (formulas from
    # memory, numbers computed from them by hand).
    front, through, back = km.add(0.3, 0.5, 0.4, 0.45)
    assert front == pytest.approx(0.413636, abs=1e-6)
    assert through == pytest.approx(0.255682, abs=1e-6)
    assert back == pytest.approx(0.469034, abs=1e-6)


@pytest.mark.parametrize(
    ("plates", "through"), [(1, 0.923077), (2, 0.857143), (5, 0.705882), (10, 0.545455)]
)
def test_clear_plates(plates, through):
    # Stokes 1862: T = (1 - r) / (1 + (2 m - 1) r) for m plates; r = 0.04 a face, two faces each.
    r, t = km.pile(0.04, 0.96, 2 * plates)
    assert t == pytest.approx(through, abs=1e-6)
    assert r + t == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize(
    ("layers", "r", "t"),
    [(2, 0.382418, 0.274725), (3, 0.407994, 0.155164), (5, 0.418903, 0.050508)],
)
def test_pile(layers, r, t):
    # The same recurrence carried out by hand.
    assert km.pile(0.3, 0.5, layers) == (pytest.approx(r, abs=1e-6), pytest.approx(t, abs=1e-6))


def test_endless_pile():
    # Kubelka: a = (1 + R^2 - T^2) / 2R, R_inf = a - sqrt(a^2 - 1).
    r, t = km.pile(0.3, 0.5, math.inf)
    assert r == pytest.approx(0.420204, abs=1e-6)
    assert t == 0.0


@pytest.mark.parametrize(("ground", "seen"), [(0.05, 0.312690), (0.5, 0.447059), (0.89, 0.603547)])
def test_layer_over_ground(ground, seen):
    assert km.over(0.3, 0.5, ground) == pytest.approx(seen, abs=1e-6)


def test_k_over_s():
    # Kubelka and Munk, Z. tech. Phys. 12 (1931) 593: K/S = (1 - R)^2 / 2R.
    r = [0.1, 0.2, 0.3, 0.4, 0.6, 0.8, 0.9]
    ks = [4.05, 1.6, 0.81667, 0.45, 0.13333, 0.025, 0.0055556]
    assert km.k_over_s(r) == pytest.approx(ks, abs=1e-5)
    assert km.reflectivity(ks) == pytest.approx(r, abs=1e-5)
    assert km.k_over_s(0.0) == math.inf
    assert km.reflectivity(math.inf) == 0.0


def test_absorbing_film():
    # K 0.45, S 1, X 1: the coth form of Kubelka, J. Opt. Soc. Am. 38 (1948) 448, done here as
    # an independent way to the same numbers.
    a, b = 1.45, 1.05
    coth = 1.0 / math.tanh(b)
    r, t = km.film(km.reflectivity(0.45), 1.0)
    assert r == pytest.approx(0.358032, abs=1e-6)
    assert r == pytest.approx(1.0 / (a + b * coth), abs=1e-12)
    assert t == pytest.approx(0.299822, abs=1e-6)
    assert t == pytest.approx(b / (a * math.sinh(b) + b * math.cosh(b)), abs=1e-12)
    assert km.over(r, t, 0.89) == pytest.approx(0.475454, abs=1e-6)


@pytest.mark.parametrize(("scatter", "r", "t"), [(1.0, 0.5, 0.5), (3.0, 0.75, 0.25)])
def test_film_without_absorption(scatter, r, t):
    # R = SX / (1 + SX).
    assert km.film(1.0, scatter) == (pytest.approx(r, abs=1e-9), pytest.approx(t, abs=1e-9))


def test_black_white_pair_and_paper_opacity():
    # TAPPI T 425 defines 100 R0/R0.89 (89 % backing) and 100 R0/R_inf (paper backing, also
    # ISO 2471); the numbers follow.
    r, t = km.from_black_white(0.30, 0.60, 0.89)
    assert r == pytest.approx(0.30, abs=1e-12)
    assert t == pytest.approx(0.497070, abs=1e-5)
    assert 100 * r / km.over(r, t, 0.89) == pytest.approx(50.0, abs=1e-5)
    r_inf, _ = km.pile(r, t, math.inf)
    assert r_inf == pytest.approx(0.418128, abs=1e-5)
    assert 100 * r / r_inf == pytest.approx(71.748, abs=1e-3)


def test_limits():
    assert km.film(0.4, math.inf) == (pytest.approx(0.4), 0.0)
    assert km.film(0.4, 0.0) == (0.0, 1.0)
    assert km.film(1.0, math.inf) == (1.0, 0.0)
    assert km.film(0.0, 2.0) == (0.0, 0.0)
    assert km.over(1.0, 0.0, 1.0) == 1.0
    assert km.pile(0.3, 0.5, 0) == (0.0, 1.0)


@given(st.floats(1e-4, 1.0), st.floats(1e-3, 20.0))
def test_a_film_keeps_energy_and_approaches_its_reflectivity(r_inf, scatter):
    r, t = km.film(r_inf, scatter)
    assert r >= 0 and t >= 0 and r + t <= 1 + 1e-12
    thicker, thinner_through = km.film(r_inf, 2 * scatter)
    assert r <= thicker + 1e-12 and thicker <= r_inf + 1e-12 and thinner_through <= t + 1e-12


@given(st.floats(0.02, 0.999), st.floats(0.01, 4.0))
def test_two_half_films_are_one(r_inf, scatter):
    whole = km.film(r_inf, scatter)
    half = km.film(r_inf, scatter / 2)
    front, through, _ = km.add(*half, *half)
    assert front == pytest.approx(whole[0], abs=1e-9)
    assert through == pytest.approx(whole[1], abs=1e-9)


@given(st.floats(0.02, 0.99), st.floats(0.05, 3.0))
def test_film_from_undoes_film(r_inf, scatter):
    r, x = km.film_from(*km.film(r_inf, scatter))
    assert km.film(r, x)[0] == pytest.approx(km.film(r_inf, scatter)[0], abs=1e-9)
    assert km.film(r, x)[1] == pytest.approx(km.film(r_inf, scatter)[1], abs=1e-7)


@given(share, share, share, share)
def test_adding_keeps_energy_and_order_of_light(r1, a1, r2, a2):
    t1, t2 = (1 - r1) * a1, (1 - r2) * a2
    front, through, back = km.add(r1, t1, r2, t2)
    assert front + through <= 1 + 1e-9 and back + through <= 1 + 1e-9
    assert km.add(r2, t2, r1, t1)[1] == pytest.approx(through, abs=1e-12)


@given(st.floats(0.02, 0.7), st.floats(0.1, 1.0), st.floats(0.0, 0.1), st.floats(0.5, 0.95))
def test_black_white_pair_comes_back(r, part, black, white):
    t = part * (1 - r)
    back = km.from_black_white(km.over(r, t, black), km.over(r, t, white), white, black)
    assert back[0] == pytest.approx(r, abs=1e-9)
    assert back[1] == pytest.approx(t, abs=1e-6)


def test_bad_input():
    for call in (
        lambda: km.k_over_s(1.2),
        lambda: km.film([0.2, math.nan], 1.0),
        lambda: km.film(0.2, -1.0),
        lambda: km.from_black_white(0.6, 0.3, 0.89),
        lambda: km.from_black_white(0.3, 0.6, 0.05, 0.89),
        lambda: km.pile(0.3, 0.5, 1.5),
        lambda: km.pile(0.3, 0.5, math.nan),
        lambda: km.film_from(0.7, 0.7),
        lambda: km.add(0.3, 0.5, 0.4, 0.45, 0.1),
    ):
        with pytest.raises(InputError):
            call()


def test_shapes_broadcast():
    r, t = km.film(np.linspace(0.1, 0.9, 41)[None, :], np.array([[0.5], [1.0]]))
    assert r.shape == t.shape == (2, 41)


def test_more_layers_are_added_as_pairs():
    """Three layers of different kind: by Stokes's sums two by two, whichever two come first, and
    counting every way light can go to and fro."""
    layers = [(0.2, 0.5), (0.4, 0.3), (0.1, 0.85)]
    front, through, back = km.add(*layers[0], *layers[1], *layers[2])
    # a walk among the layers: shares going down and up between them, turn by turn
    down, out_top, out_bottom = [1.0, 0.0, 0.0], 0.0, 0.0
    up = [0.0, 0.0, 0.0]  # onto the underside of each layer
    for _ in range(200):
        next_down, next_up = [0.0] * 4, [0.0] * 4
        for k, (r, t) in enumerate(layers):
            next_down[k + 1] += down[k] * t + up[k] * r
            next_up[k] += down[k] * r + up[k] * t
        out_top += next_up[0]
        out_bottom += next_down[3]
        down, up = [0.0, next_down[1], next_down[2]], [next_up[1], next_up[2], 0.0]
    assert (front, through) == (pytest.approx(out_top), pytest.approx(out_bottom))
    turned = km.add(*layers[2], *layers[1], *layers[0])
    assert turned == (pytest.approx(back), pytest.approx(through), pytest.approx(front))
    # four alike are a pile
    four = km.add(*(layers[0] * 4))
    assert four[:2] == tuple(pytest.approx(x) for x in km.pile(*layers[0], 4))
    with pytest.raises(InputError, match="^layers are added as pairs of reflectance and transmitt"):
        km.add(0.2, 0.5, 0.2, 0.5, 0.3)
