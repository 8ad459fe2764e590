"""Textile, function by function: symmetries of plans, limits and usual numbers of yarns."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from scipy.special import spherical_jn, spherical_yn

from weavecolor.colour.spectra import BANDS
from weavecolor.errors import InputError
from weavecolor.files.clothfile import cloth_from_dict, load_swatch
from weavecolor.textile.assumedwords import _phrase, assumed_words
from weavecolor.textile.construction import cloth_cover
from weavecolor.textile.fibres import fibre
from weavecolor.textile.howknown import HowKnown
from weavecolor.textile.usual import LUSTRES, USUAL, usual_yarn
from weavecolor.textile.weaves import half_turn, weave
from weavecolor.textile.yarn import STEEPEST_TWIST_DEG, Yarn, greatest_packing

GREY = np.full(BANDS, 0.4)


@pytest.mark.parametrize("shape", [(2, 5), (5, 2), (3, 4), (4, 3), (3, 3)])
def test_a_half_turn_is_about_the_place_told_wherever_that_lies(shape):
    rng = np.random.default_rng(3)
    picks, ends = np.indices(shape)
    for pick in range(shape[0]):
        for end in range(shape[1]):
            plan = rng.random(shape) < 0.5
            turned = plan[(pick - picks) % shape[0], (end - ends) % shape[1]]
            found = half_turn((plan | turned).astype(int).tolist())
            assert found is not None
            moved = (plan | turned)[(found[0] - picks) % shape[0], (found[1] - ends) % shape[1]]
            assert np.array_equal(moved, plan | turned)
    lopsided = ((1, 1, 0, 1), (1, 0, 0, 0), (0, 1, 0, 0), (0, 0, 0, 1))
    assert half_turn(lopsided) is None


@pytest.mark.parametrize("text", ["satin 8/3/1", "satin 5/2/2", "satin 8/3/8/3"])
def test_a_satin_has_ends_and_one_counter(text):
    with pytest.raises(InputError, match="a satin is ends/counter"):
        weave(text)


@pytest.mark.parametrize("said", ["satin", "charmeuse", "satin-back chiffon", "crepe-back satin"])
def test_a_satin_without_its_number_is_told_how_to_find_it(said):
    """ISO 3572: in a satin of n ends each end lies over n - 1 picks and under one."""
    with pytest.raises(InputError, match="over four others .* over seven") as refused:
        weave(said)
    assert "\n" not in str(refused.value)
    for name, floats in (("satin 5/2", 4), ("satin 8/3", 7)):
        assert f'"{name}"' in str(refused.value)
        assert {column.count(1) for column in zip(*weave(name).lift, strict=True)} == {floats}
    with pytest.raises(InputError, match='over two and under one write "twill 2/1", over two and '):
        weave("twill")
    assert weave("twill 2/1").lift[0] == (1, 1, 0) and weave("twill 2/2").lift[0] == (1, 1, 0, 0)


def test_filaments_that_nobody_tells_are_the_usual_ones():
    for tex in (1.5, 2.33, 6.0, 30.0):
        yarn = Yarn(fibre("silk"), tex, GREY, packing=0.6)
        assert yarn.filaments == usual_yarn("silk", "filament").filaments(tex) > 1
    assert Yarn(fibre("silk"), 2.33, GREY, packing=0.95, filaments=1).filaments == 1


@pytest.mark.parametrize("filaments", [2, 3, 40])
def test_no_yarn_of_filaments_is_twisted_steeper_than_it_could_be(filaments):
    """The outer filaments lie at the arc tangent of pi times thickness times turns."""
    packing = 0.9 * greatest_packing(filaments)

    def yarn(turns):
        return Yarn(fibre("silk"), 30.0, GREY, packing=packing, filaments=filaments,
                    twist_turns_m=turns)  # fmt: skip

    thick = yarn(0.0).diameter_mm
    most = 1000.0 * np.tan(np.radians(STEEPEST_TWIST_DEG)) / (np.pi * thick)
    assert yarn(0.99 * most).twist_turns_m == 0.99 * most
    with pytest.raises(InputError, match="lay the outer filaments of a yarn"):
        yarn(1.01 * most)


@pytest.mark.parametrize(
    ("dull", "said"),
    [(0.0, "bright fibre"), (4.0, "semi-dull fibre, scattering 4 /mm inside"),
     (20.0, "dull fibre, scattering 20 /mm inside"),
     (7.0, "dulled fibre, scattering 7 /mm inside")],
)  # fmt: skip
def test_a_lustre_is_told_by_its_word_where_it_has_one(dull, said):
    cloth = load_swatch("shot-organza-teal-copper")
    yarn = Yarn(fibre("polyester"), 5.0, GREY, dull_per_mm=dull)
    assert _phrase("dull_per_mm", yarn, cloth, "warp", HowKnown.stated()) == said


@pytest.mark.parametrize(
    ("name", "kind", "said"),
    [("silk", "filament", "filaments three-sided with rounded corners, these 1.3 (1.1 to 1.6) "
      "times as far from the middle as the sides"),
     ("viscose", "filament", "filaments as if three-sided with rounded corners, these 1.15 (1 to "
      "1.4) times as far from the middle as the sides"),
     ("cupro", "filament", "round filaments, or with corners up to 1.1 times as far from the "
      "middle as the sides"),
     ("cotton", "spun", "round fibres, or with corners up to 1.1 times as far from the middle as "
      "the sides")],
)  # fmt: skip
def test_a_section_is_told_as_one_could_draw_it(name, kind, said):
    yarn = {"fibre": name, "kind": kind, "count": "10 tex", "colour": "teal"}
    cloth = cloth_from_dict({"name": "C", "weave": "plain", "ends": "20 /cm", "picks": "20 /cm",
                             "warp": yarn, "weft": yarn})  # fmt: skip
    told = " ".join(assumed_words(cloth))
    assert f"bright fibre, {said} supposed, as usual for {name}" in told


def test_usual_yarns_are_yarns_that_there_can_be():
    """Ranges hold what is usual; no yarn is fuller than full, rounder than round, or too fine."""
    for one in USUAL.values():
        for span in (one.packing, one.flattening, one.twist_factor, one.fineness_dtex, one.tex):
            if span is not None:
                assert span.low <= span.usual <= span.high, one.name
                # at an end only where nothing lies beyond: no twist, round, full
                end = span.usual in (0.0, 1.0)
                assert end or span.low < span.usual < span.high, one.name
        rods = 1 if one.fineness_dtex is None or one.gum else 1000
        assert 0.0 < one.packing.low and one.packing.high <= greatest_packing(rods), one.name
        assert one.flattening.low >= 1.0, one.name
        # reeled silk and single filaments are sold by the denier, 9 to the tex
        if one.tex is not None and (one.fibre == "silk" or "denier" in one.source):
            for value in (one.tex.low, one.tex.usual, one.tex.high):
                assert Fraction(9.0 * value).limit_denominator(1000).denominator == 1, one.name


def test_cloth_covered_by_one_system_is_covered():
    """Peirce 1937: c1 + c2 - c1 c2; yarns closer than side by side cover no more than all."""
    for full in (1.0, 1.1, 1.3, 4.0):
        assert cloth_cover(full, 0.3) == cloth_cover(0.3, full) == 1.0
        assert cloth_cover(full, full) == 1.0
    assert cloth_cover(0.6, 0.3) == pytest.approx(1.0 - 0.4 * 0.7)


def test_usual_yarns_of_one_make_are_alike():
    """What the trade makes in one way has one set of numbers (common practice, no source): both
    acetates are spun dry through the same spinnerets; made fibres are cut for the cotton system,
    and twist holds every such yarn as round as cotton."""
    for kind in ("filament", "spun"):
        one, other = (usual_yarn(name, kind) for name in ("acetate", "triacetate"))
        names = ("fineness_dtex", "packing", "twist_factor", "flattening", "lustre", "tex")
        assert [getattr(one, x) for x in names] == [getattr(other, x) for x in names]
    cotton = usual_yarn("cotton", "spun").flattening
    staple = ("silk", "viscose", "cupro", "acetate", "triacetate", "nylon", "polyester", "acrylic")
    for name in ("flax", *staple):
        assert usual_yarn(name, "spun").flattening == cotton, name
    assert usual_yarn("wool", "spun").flattening.usual == cotton.usual  # springs back: less range
    assert usual_yarn("wool", "spun").flattening.high < cotton.high


def test_only_yarn_that_is_laid_flat_is_never_round():
    """Out of the cloth, and in an open one, yarn is round (F. T. Peirce, J. Text. Inst. 28 (1937)
    T45); only thick-set cloth of untwisted filaments presses all of it."""
    flat = {one.name for one in USUAL.values() if one.flattening.low > 1.0}
    assert flat == {"silk taffeta", "silk satin", "viscose", "cupro", "acetate", "triacetate"}
    assert all(USUAL[name].twist_factor.usual <= 700.0 for name in flat)


@pytest.mark.parametrize("name", [one.name for one in USUAL.values() if one.fineness_dtex])
def test_fibres_are_as_fine_as_cloth_for_clothes_has_them(name):
    """Made fibres for clothing are 1 to 5 denier, a microfibre from 0.8, hair-like acrylic to 5.5
    (common practice, no source; 1 denier is 10/9 dtex); the cotton is 1.2 to 2.2 dtex, silk 1 to
    2, and wool of 14 to 30 um and linen are the only coarse ones."""
    one = USUAL[name]
    fine, coarse = {
        "cotton": (1.2, 2.2), "silk": (0.9, 2.0), "wool": (2.0, 9.3), "flax": (1.5, 15.0),
        "acrylic": (1.0, 5.5 / 0.9),
    }.get(one.fibre, (0.8 / 0.9, 5.0 / 0.9))  # fmt: skip
    assert fine <= one.fineness_dtex.low and one.fineness_dtex.high <= coarse
    if one.fibre == "wool":  # round, of 1.31 g/cm3: 9.86 um across at 1 dtex
        across = 9.86 * np.sqrt([one.fineness_dtex.low, one.fineness_dtex.high])
        assert 14.0 < across[0] < 20.0 and 25.0 < across[1] < 31.0


def _mie(x: float, m: float) -> tuple[float, float]:
    """Efficiency of scattering and mean cosine of a sphere of size ``x`` and index ``m`` (C. F.
    Bohren, D. R. Huffman, Absorption and Scattering of Light by Small Particles, 1983, ch. 4)."""
    n = np.arange(1, int(x + 4.0 * x ** (1 / 3) + 10))

    def psi(z):
        return z * spherical_jn(n, z), spherical_jn(n, z) + z * spherical_jn(n, z, True)

    (inner, d_inner), (outer, d_outer) = psi(m * x), psi(x)
    hankel = spherical_jn(n, x) + 1j * spherical_yn(n, x)
    xi = x * hankel
    d_xi = hankel + x * (spherical_jn(n, x, True) + 1j * spherical_yn(n, x, True))
    a = (m * inner * d_outer - outer * d_inner) / (m * inner * d_xi - xi * d_inner)
    b = (inner * d_outer - m * outer * d_inner) / (inner * d_xi - m * xi * d_inner)
    q = 2.0 / x**2 * ((2 * n + 1) * (abs(a) ** 2 + abs(b) ** 2)).sum()
    k = n[:-1]
    turned = (k * (k + 2) / (k + 1) * (a[:-1] * a[1:].conj() + b[:-1] * b[1:].conj()).real).sum()
    turned += ((2 * n + 1) / (n * (n + 1)) * (a * b.conj()).real).sum()
    return float(q), float(4.0 / x**2 * turned / q)


def test_dull_fibre_scatters_as_its_pigment_does():
    """Spheres of anatase 0.3 um across (index 2.5, 3.9 g/cm3), in fibre of index 1.6 and 1.39
    g/cm3, by Mie's theory, less what goes straight on; five times the pigment, five times that."""
    rayleigh = 8 / 3 * 1e-8 * (0.69 / 3.69) ** 2
    assert _mie(1e-2, 1.3)[0] == pytest.approx(rayleigh, rel=1e-3)
    for word, mass in (("semi-dull", 0.003), ("dull", 0.015)):
        span = LUSTRES[word]
        for um in (0.45, 0.55, 0.65):
            q, mean = _mie(np.pi * 0.3 * 1.6 / um, 2.5 / 1.6)
            made = 1.5 * mass * 1.39 / 3.9 / 0.3 * q * (1.0 - mean) * 1e3
            assert span.low < made < span.high
            assert span.usual / 2.0 < made < 2.0 * span.usual
    some, five = LUSTRES["semi-dull"], LUSTRES["dull"]
    assert (five.low, five.usual, five.high) == (5 * some.low, 5 * some.usual, 5 * some.high)
    assert some.high == 2 * some.usual == 4 * some.low
    bright = LUSTRES["bright"]
    assert bright.low == bright.usual == 0.0 < bright.high < some.low
