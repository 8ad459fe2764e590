"""Cloth geometry against Peirce, mesh tables and the trade's weights."""

import csv
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from weavecolor.errors import InputError
from weavecolor.files.clothfile import cloth_from_toml, cloth_to_toml
from weavecolor.textile import construction as con
from weavecolor.textile.cloth import Cloth, Fibre, Yarn
from weavecolor.textile.fibres import fibre
from weavecolor.textile.units import MOMME_G_M2, linear_density_tex, sett_per_cm
from weavecolor.textile.weaves import weave

GREY = np.full(41, 0.5)
MESH = list(csv.DictReader((Path(__file__).parent / "data/mesh_open_area.csv").open()))


def yarn(tex, name="cotton", **more):
    return Yarn(fibre(name), tex, GREY, **{"packing": 0.7, "flattening": 1.0, **more})


def cloth(ends, picks, warp, weft=None, spec="plain", **more):
    return Cloth("cloth", warp, weft or warp, weave(spec), ends, picks, **more)


def round_yarn(diameter_mm):
    """A yarn of this diameter: solid fibre of density 1."""
    return Yarn(
        Fibre("unit", 1.5, 1.5, 1.0), math.pi * (diameter_mm / 10) ** 2 / 4 * 1e5, GREY, packing=1.0
    )


def test_cover_factor():
    # Teaching text on woven fabric calculation: 28 /cm of 20 tex, K = 12.5.
    assert con.cover_factor_si(28, 20) == pytest.approx(12.522, abs=1e-3)


def test_yarn_diameter():
    # 34.14 sqrt(v / Ne) mils, v = 1.1 cm3/g: 1/28 sqrt(Ne) inch (Balasubramanian's notes after
    # Peirce, J. Text. Inst. 28 (1937) T45). 1/v is rho phi.
    twenty = yarn(20.0, packing=(1 / 1.1) / 1.52)
    assert twenty.diameter_mm == pytest.approx(0.16737, abs=1e-5)
    assert twenty.diameter_mm / 25.4 == pytest.approx(34.14e-3 * math.sqrt(1.1 * 20 / 590.54), 3e-3)
    assert con.fractional_cover(twenty.diameter_mm, 28) == pytest.approx(0.46862, abs=1e-4)
    # 21 denier silk, 1.34 g/cm3, packing 0.7: geometry.
    raw = yarn(linear_density_tex("21 denier"), "silk", packing=0.7)
    assert raw.diameter_mm == pytest.approx(0.05628, abs=1e-5)


def test_peirce_cloth_cover():
    # c1 + c2 - c1 c2; as Kc = K1 + K2 - K1 K2 / 28: 12 and 12 give 18.857 (Peirce 1937).
    assert con.cloth_cover(0.4, 0.3) == pytest.approx(0.58, abs=1e-12)
    assert 28 * con.cloth_cover(12 / 28, 12 / 28) == pytest.approx(18.857, abs=1e-3)


@pytest.mark.parametrize("row", MESH, ids=lambda r: f"{r['aperture_um']}-{r['wire_um']}")
def test_open_area_of_mesh(row):
    # ISO 9044: open area 100 (w / (w + d))^2; printed figures of sieves and screens.
    aperture, wire = float(row["aperture_um"]) / 1000, float(row["wire_um"]) / 1000
    sett = 10.0 / (aperture + wire)
    percent = 100 * con.openness(cloth(sett, sett, round_yarn(wire)))
    assert percent == pytest.approx(float(row["open_area_pct_formula"]), abs=0.01)
    if row["open_area_pct_printed"]:
        assert percent == pytest.approx(float(row["open_area_pct_printed"]), abs=0.5)


def test_areal_mass():
    # Geometry: (28 x 20 + 28 x 20) / 10, and with 8 % crimp both ways.
    assert con.areal_mass(28, 20, 0, 28, 20, 0) == pytest.approx(112.0, abs=1e-9)
    assert con.areal_mass(28, 20, 0.08, 28, 20, 0.08) == pytest.approx(120.96, abs=1e-9)


def test_organza_like_cloth():
    # 40 /cm of 21 denier silk, packing 0.7: geometry; 4-6 momme is printed for silk organza.
    raw = yarn(linear_density_tex("21 denier"), "silk", packing=0.7)
    d = con.describe(cloth(40, 40, raw, warp_crimp=0.0, weft_crimp=0.0))
    assert d.warp_cover == pytest.approx(0.2251, abs=1e-3)
    assert d.openness == pytest.approx(0.6004, abs=1e-3)
    assert d.mass_g_m2 == pytest.approx(18.67, abs=1e-2)
    assert 4.0 < d.mass_momme < 6.0
    assert d.mass_g_m2 / d.mass_momme == pytest.approx(MOMME_G_M2)


def test_jammed_square_cloth():
    # Peirce 1937, jammed square plain cloth: theta 60 degrees, p/D 0.866, crimp 0.2092; then
    # d/p 0.57735 and cloth cover 0.82137.
    d = 0.2
    jammed = 10.0 / (2 * d * math.sqrt(0.75))
    tight = cloth(jammed * (1 - 1e-9), jammed * (1 - 1e-9), round_yarn(d))
    con.check_weavable(tight)
    assert con.predicted_crimps(tight) == pytest.approx((0.20920, 0.20920), abs=1e-4)
    numbers = con.describe(tight)
    assert numbers.warp_cover == pytest.approx(0.57735, abs=1e-4)
    assert numbers.cloth_cover == pytest.approx(0.82137, abs=1e-4)
    assert numbers.jamming == pytest.approx(1.0, abs=1e-6)
    with pytest.raises(InputError, match="above jamming"):
        con.check_weavable(cloth(jammed * 1.001, jammed * 1.001, round_yarn(d)))


def test_plain_cotton_jams_at_cover_factor_16():
    # A teaching text on cloth setting: K_SI 12 weaves easily, 14 needs a strong loom, 16 jams
    # (rank only); Peirce's square cloth at v 1.1 jams at English K 16.17.
    def at(k):
        n = 10 * k / math.sqrt(20)
        return cloth(n, n, yarn(20.0, packing=(1 / 1.1) / 1.52))

    con.check_weavable(at(12))
    con.check_weavable(at(14))
    with pytest.raises(InputError):
        con.check_weavable(at(16))
    limit = at(1)
    sett = limit.ends_per_cm / con.describe(limit).jamming
    # K_SI / K_English = sqrt(590.5415) / 25.4; a conversion table prints 0.957.
    assert con.cover_factor_si(sett, 20) / 0.95673 == pytest.approx(16.17, rel=3e-3)


def test_yarn_wider_than_its_room_is_named():
    with pytest.raises(InputError) as caught:
        con.check_weavable(cloth(60, 5, round_yarn(0.2)))
    text = str(caught.value)
    assert text.startswith("ends: 60 ends/cm of 31.42 tex warp is above jamming: cover 1.20")
    assert "at most 50 ends/cm" in text


def test_longer_floats_set_closer():
    d = 0.2
    for spec in ("twill 2/2", "satin 8/3", "hopsack 2/2"):
        con.check_weavable(cloth(32, 32, round_yarn(d), spec=spec))
    with pytest.raises(InputError, match="above jamming for plain"):
        con.check_weavable(cloth(32, 32, round_yarn(d)))


def test_a_thin_weft_lets_the_warp_close_up():
    # With picks wide apart the weft lies straight and the ends can touch: the fine rib of taffeta.
    con.check_weavable(cloth(49, 20, round_yarn(0.2), round_yarn(0.1)))


def test_predicted_crimp_against_peirces_estimate():
    # Peirce's short formula for open cloth, h = (4/3) p sqrt(crimp).
    open_cloth = cloth(20, 18, round_yarn(0.15), round_yarn(0.12))
    warp, weft = con.predicted_crimps(open_cloth)
    thick, share = 0.27, 0.12 / 0.27
    assert share * thick == pytest.approx(4 / 3 * (10 / 18) * math.sqrt(warp), rel=0.05)
    assert (1 - share) * thick == pytest.approx(4 / 3 * (10 / 20) * math.sqrt(weft), rel=0.05)
    again = con.share_from_crimps(open_cloth, warp, weft)
    assert again == pytest.approx(share, abs=0.01)


@given(st.floats(0.3, 3.0), st.floats(0.01, 1.0))
def test_peirces_equations_hold(spacing, part):
    # Solve his p = (l - D t) cos t + D sin t, h = (l - D t) sin t + D (1 - cos t) forwards again.
    d, h = 1.0, part
    assume(math.hypot(d - h, spacing) >= d)
    length = spacing * (1 + con.peirce_crimp(spacing, h, d))
    angle = math.atan2(spacing, d - h) - math.acos(min(1.0, d / math.hypot(d - h, spacing)))
    rest = length - d * angle
    assert rest >= -1e-9
    assert rest * math.cos(angle) + d * math.sin(angle) == pytest.approx(spacing, abs=1e-9)
    assert rest * math.sin(angle) + d * (1 - math.cos(angle)) == pytest.approx(h, abs=1e-9)
    assert length >= math.hypot(spacing, h) - 1e-9  # never shorter than the straight line


@given(
    st.floats(5, 60), st.floats(5, 60), st.floats(0.05, 0.2), st.floats(0.05, 0.2),
    st.floats(1.0, 3.0), st.sampled_from(["plain", "twill 2/1", "satin 5/2", "warp rib 2/2"]),
)  # fmt: skip
def test_any_weavable_cloth_has_sound_numbers(ends, picks, d1, d2, flat, spec):
    made = cloth(ends, picks, replace(round_yarn(d1), flattening=flat), round_yarn(d2), spec)
    try:
        con.check_weavable(made)
    except InputError:
        assert con.describe(made).jamming > 1 - 1e-6
        return
    low, high = con.share_range(made)
    assert low - 1e-9 <= con.natural_share(made) <= high + 1e-9
    assert all(0 <= crimp < 1 for crimp in con.predicted_crimps(made))
    numbers = con.describe(made)
    assert 0 <= numbers.openness <= 1
    assert numbers.jamming <= 1 + 1e-6


def test_swapping_warp_and_weft_swaps_the_numbers():
    one = cloth(20, 15, round_yarn(0.2), round_yarn(0.1))
    other = cloth(15, 20, round_yarn(0.1), round_yarn(0.2))
    assert con.openness(one) == pytest.approx(con.openness(other))
    assert con.predicted_crimps(one) == pytest.approx(con.predicted_crimps(other)[::-1])
    assert con.natural_share(one) == pytest.approx(1 - con.natural_share(other))


@pytest.mark.parametrize(
    ("spec", "floats"), [("plain", 1), ("twill 2/2", 2), ("hopsack 2/2", 2), ("satin 8/3", 4)]
)
def test_room_at_the_interlacings_where_threads_lie_side_by_side(spec, floats):
    # Of f threads in f spacings f - 1 lie side by side under the float: f p - (f - 1) w is left
    # between the middles where the other thread passes; the rest is Pythagoras in Peirce's circle.
    p, w = 10 / 40, 0.2
    made = cloth(40, 30, round_yarn(w), spec=spec)
    ends = floats * p - (floats - 1) * w
    picks = floats * (10 / 30) - (floats - 1) * w
    low, high = con.share_range(made)
    assert low == pytest.approx(math.sqrt(max(0.0, 1 - (ends / (2 * w)) ** 2)), abs=1e-6)
    assert high == pytest.approx(1 - math.sqrt(max(0.0, 1 - (picks / (2 * w)) ** 2)), abs=1e-6)
    # a racetrack's flat part lies on the spacing: half as high and twice as wide, round for flat
    flat = cloth(30, 20, replace(round_yarn(w), flattening=2.0), spec="plain")
    width, height = w * math.sqrt(2), w / math.sqrt(2)
    left = 10 / 30 - (width - height)
    low, _ = con.share_range(flat)
    assert low == pytest.approx(math.sqrt(max(0.0, 1 - (left / (2 * height)) ** 2)), abs=1e-6)


def test_a_weight_off_by_more_than_a_quarter_is_told_with_the_likely_slip():
    # 25 ends and picks of 20 tex, uncrimped, are 100 g/m2
    made = cloth(25, 25, yarn(20.0), warp_crimp=0.0, weft_crimp=0.0)
    assert con.cloth_mass_g_m2(made) == 100.0
    for agrees in (75.0, 100.0, 125.0):
        assert con.weight_contradiction(replace(made, declared_g_m2=agrees)) == ""
    # a quarter more of a bound away each slip is still taken for itself
    count = "the count: weigh a piece, or unravel a thread and measure it"
    for times, why in (
        (9.0, "a count in tex that was taken for denier"),
        (10.0, "a count in tex that was taken for dtex"),
        (1 / 9, "a count in denier that was taken for tex"),
        (0.1, "a count in dtex that was taken for tex"),
        (2.54, "setts to the centimetre that were taken for setts to the inch"),
        (1 / 2.54, "setts to the inch that were taken for setts to the centimetre"),
        (2.0, "a ply that was left out of the count, or setts that are both half what they "
         "should be"),
        (0.5, "a ply that was counted twice, or setts that are both double what they should be"),
        (4.0, count),
        (1.5, count),
        (0.7, count),
        (12.5, "a wrong weight"),
        (0.079, "a wrong weight"),
    ):
        told = con.weight_contradiction(replace(made, declared_g_m2=100.0 * times))
        assert told.endswith(f"Likely cause: {why}."), told
        assert told.startswith(
            f"cloth: the stated weight of {100.0 * times:.3g} g/m2 is {times:.2g} times the 100 "
            "g/m2 that yarns and setts give;"
        )
    for beyond in (74.9, 125.1):
        assert "Likely cause" in con.weight_contradiction(replace(made, declared_g_m2=beyond))


@pytest.mark.parametrize(
    ("right", "slip", "why"),
    [
        ("21 denier", "21 tex", "a count in denier that was taken for tex"),
        ("21 tex", "21 denier", "a count in tex that was taken for denier"),
        ("21 dtex", "21 tex", "a count in dtex that was taken for tex"),
        ("21 tex", "21 dtex", "a count in tex that was taken for dtex"),
        ("Ne 40/2", "Ne 40", "a ply that was left out of the count"),
        ("Ne 40", "Ne 40/2", "a ply that was counted twice"),
        ("/inch", "/cm", "setts to the inch that were taken for setts to the centimetre"),
        ("/cm", "/inch", "setts to the centimetre that were taken for setts to the inch"),
    ],
)
def test_the_slip_that_was_made_is_the_one_that_is_told(right, slip, why):
    def woven(told):
        sett = sett_per_cm(f"20 {told}") if told.startswith("/") else 20.0
        tex = 20.0 if told.startswith("/") else linear_density_tex(told)
        return cloth(sett, sett, yarn(tex), warp_crimp=0.0, weft_crimp=0.0)

    stated = con.cloth_mass_g_m2(woven(right))
    told = con.weight_contradiction(replace(woven(slip), declared_g_m2=stated))
    assert f"Likely cause: {why}" in told


def test_a_description_tells_what_a_hand_would_reckon():
    # 25 ends of 20 tex and 20 picks of 30 tex: 50 + 60 g/m2, 110; 2.54 cm to the inch
    made = cloth(25, 20, yarn(20.0, flattening=1.44), yarn(30.0), "twill 2/1", warp_crimp=0.1,
                 weft_crimp=0.05, warp_share=0.25)  # fmt: skip
    told = con.describe(made)
    assert told.mass_g_m2 == pytest.approx(55.0 + 63.0)
    assert told.mass_momme == pytest.approx(118.0 / 4.33994, rel=1e-5)
    assert told.ends_per_inch == pytest.approx(63.5) and told.picks_per_inch == pytest.approx(50.8)
    assert told.warp_cover_factor == pytest.approx(25 * math.sqrt(20) / 10)
    assert told.weft_cover_factor == pytest.approx(20 * math.sqrt(30) / 10)
    # 4 T / (pi rho phi) with T in g/cm: 20 tex of cotton (1.52) at 0.7 is 0.1547 mm thick; 1.2
    # times as wide as thick round, as high over it
    round_mm = 10 * math.sqrt(4 * 20e-5 / (math.pi * made.warp.fibre.density_g_cm3 * 0.7))
    assert told.warp_diameter_mm == pytest.approx(round_mm)
    assert told.warp_width_mm == pytest.approx(1.2 * round_mm)
    assert told.warp_cover == pytest.approx(2.5 * 1.2 * round_mm)
    assert told.cloth_cover + told.openness == pytest.approx(1.0)
    # the taller of the two systems: a quarter of both heights for the warp, the rest for the weft
    high_warp, high_weft = round_mm / 1.2, told.weft_diameter_mm
    both = high_warp + high_weft
    assert told.thickness_mm == pytest.approx(max(both / 4 + high_warp, 3 * both / 4 + high_weft))
    assert told.warp_on_face == pytest.approx(2 / 3)
    assert told.sheer  # 26 % open


def test_what_is_handled_as_sheer():
    thin = con.describe(cloth(25, 25, yarn(20.0)))
    for openness, mass, sheer in ((0.14, 46.0, False), (0.16, 46.0, True), (0.14, 44.0, True)):
        assert replace(thin, openness=openness, mass_g_m2=mass).sheer is sheer


def test_close_cloth_that_nobody_told_the_crimp_of_is_woven_as_it_can_be():
    """A cotton poplin, 52 x 28 /cm of Ne 40: ends so close lie on opposite sides of a pick, so that
    they rise at least sqrt(1 - (p/D)^2) of the way (Peirce 1937), whoever tells the cloth."""
    poplin = cloth(52.0, 28.0, yarn(14.76, kind="spun", packing=0.6, flattening=1.2))
    thick, spacing = poplin.warp.height_mm * 2.0, 10.0 / 52.0
    spacing -= poplin.warp.width_mm - poplin.warp.height_mm
    least = math.sqrt(1.0 - (spacing / thick) ** 2)
    assert least > 0.7
    assert con.geometry_of(poplin).warp_share == pytest.approx(least)
    read = cloth_from_toml(cloth_to_toml(poplin))
    assert con.geometry_of(read) == con.geometry_of(poplin)
    # Peirce's crimps of 5 % each would lay these threads otherwise
    open_cloth = cloth(30.0, 15.0, yarn(14.76, kind="spun", packing=0.6, flattening=1.2))
    assert abs(con.share_from_crimps(open_cloth, 0.05, 0.05) - 0.5) > 0.1
    read = cloth_from_toml(cloth_to_toml(open_cloth))
    assert con.geometry_of(read) == con.geometry_of(open_cloth)
    assert replace(read, warp_share=None) == open_cloth
    told = replace(poplin, warp_share=0.9)
    con.check_weavable(told)
    assert con.geometry_of(told).warp_share == 0.9
    with pytest.raises(InputError, match=r"warp_share: .* 0\.5 of the crimp .* woven at .*, 0\.7"):
        con.check_weavable(replace(poplin, warp_share=0.5))


def test_a_cloth_read_from_a_file_and_set_closer_is_told_how_it_can_be_woven():
    """A file always ends in a share; the closer sett leaves another."""
    read = cloth_from_toml(cloth_to_toml(cloth(30.0, 15.0, yarn(14.76, kind="spun", packing=0.6))))
    closer = replace(read, ends_per_cm=66.0)
    with pytest.raises(InputError, match="66 ends and 15 picks/cm, .*leave warp_share out"):
        con.check_weavable(closer)
    free = replace(closer, warp_share=None)
    con.check_weavable(free)
    assert con.geometry_of(free).warp_share == pytest.approx(con.share_range(free)[0])


def test_hairs_take_as_much_straight_light_as_explicit_ones_do():
    """Straight hairs of half a millimetre in the mean that stand anyhow on the yarns of a voile,
    traced beside its filaments (a program of its own, 40 000 rays): .4543 of a beam square on meets
    nothing without hairs, then so much. A hair's foot lies on yarn, where no light passes."""
    d, packing, fibres = 0.106, 0.65, 49
    tex = (0.1 * d) ** 2 * np.pi / 4 * fibre("cotton").density_g_cm3 * packing * 1e5
    spun = yarn(tex, packing=packing, kind="spun", filaments=fibres)
    voile = cloth(10 / 0.30, 10 / 0.31, spun)
    for hairiness, left in ((1.5, 0.3999), (3.0, 0.3523), (5.0, 0.3022)):
        assert 1.0 - con.hairs_take(voile, hairiness) == pytest.approx(left / 0.4543, abs=0.015)
    few, many = (con.hairs_take(voile, h) for h in con.HAIRINESS)
    assert 0.0 == con.hairs_take(voile, 0.0) < few < many < 0.5
    smooth = replace(spun, kind="filament")
    assert con.hairs_take(replace(voile, warp=smooth, weft=smooth), 3.0) == 0.0
    one = con.hairs_take(replace(voile, weft=smooth), 3.0)
    other = con.hairs_take(replace(voile, warp=smooth), 3.0)
    assert (1.0 - one) * (1.0 - other) == pytest.approx(1.0 - con.hairs_take(voile, 3.0))
