"""Units against definitions and printed conversion constants."""

import re
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weavecolor.cli import run
from weavecolor.errors import InputError
from weavecolor.textile import units


def test_cotton_count_times_tex_and_denier():
    # Ne x tex 590.5, Ne x denier 5315: printed in teaching texts on yarn numbering; the digits
    # follow from 453.59237 g / (840 x 0.9144 m).
    assert pytest.approx(590.5415, abs=1e-3) == units.NE_TEX
    assert 9.0 * units.linear_density_tex("Ne 1") == pytest.approx(5314.9, abs=0.1)


def test_momme():
    # 1 lb per 45 in x 100 yd; shop glossaries print 4.340 g/m2.
    assert units.areal_mass_g_m2("1 momme") == pytest.approx(4.33994, abs=1e-4)


def test_ounce_per_square_yard():
    # 1 oz/yd2 = 33.906 g/m2, printed in fabric conversion tables (from memory).
    assert units.areal_mass_g_m2("1 oz/yd2") == pytest.approx(33.906, abs=1e-3)


@pytest.mark.parametrize(
    ("text", "tex"),
    [
        ("20 tex", 20.0),
        ("200 dtex", 20.0),
        ("21 denier", 21.0 / 9.0),  # denier is g per 9000 m
        ("20/22 denier", 21.0 / 9.0),
        ("3 x 13/15 den", 3 * 14.0 / 9.0),
        ("Nm 50", 20.0),  # metric count is m per g
        ("50 Nm", 20.0),
        ("Nm 100/2", 20.0),
        ("Ne 40", 590.5415 / 40),
        ("40s", 590.5415 / 40),
        ("Ne 60/2", 590.5415 / 30),
        # raw silk of two and three threads, as mills write it; ISO 1139 for tex
        *((said, 2 * 21.0 / 9.0) for said in ("20/22 den x 2", "2 x 20/22 den", "2/20/22 denier",
                                              "2/20-22 den", "20/22 denier 2 ply", "20/22D 2-ply",
                                              "20/22 den \u00d7 2")),
        ("20 tex x 2", 40.0),
        ("R 40 tex/2", 40.0),
        ("R40 tex", 40.0),
        ("60s 2 ply", 590.5415 / 30),
    ],
)
def test_yarn_sizes(text, tex):
    assert units.linear_density_tex(text) == pytest.approx(tex, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "sett"),
    [
        ("40 /cm", 40.0),
        ("40/cm", 40.0),
        ("40 ends/cm", 40.0),
        ("40 per cm", 40.0),
        ("400 /10 cm", 40.0),
        ("400 /10cm", 40.0),
        ("400 /dm", 40.0),
        ("4 /mm", 40.0),
        ('101.6 /"', 40.0),
        ("101.6 /inch", 40.0),
        ("101.6 picks/inch", 40.0),
        ("101.6 epi", 40.0),
        ("101.6 tpi", 40.0),
        ("101.6 ends per inch", 40.0),
    ],
)
def test_setts(text, sett):
    assert units.sett_per_cm(text) == pytest.approx(sett, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("12 mm", 12.0),
        ("80 um", 0.08),
        ("3 cm", 30.0),
        ("4 dm", 400.0),
        ("1.5 m", 1500.0),
        ("45 inch", 1143.0),  # 25.4 mm exactly: international yard and pound agreement, 1959
        ("45 in", 1143.0),
        ('45"', 1143.0),
        ("3 ft", 914.4),
        ("3 feet", 914.4),
        ("2 yd", 1828.8),
        ("2 yds", 1828.8),
        ("1 yard", 914.4),
        ("2 yards", 1828.8),
    ],
)
def test_lengths(text, mm):
    assert units.length_mm(text) == pytest.approx(mm)


@pytest.mark.parametrize(
    "text",
    ["40", "denier", "", "-3 denier", "0 tex", "nan tex", "1e999 tex", "40 furlong", "75/36 denier",
     "84/2 dtex", "4,5 denier", "9" * 80 + " tex", None, 21.0, ["21 denier"], "Ne 0", "Ne 60/0"],
)  # fmt: skip
def test_bad_yarn_size_says_what_to_write(text):
    with pytest.raises(InputError) as caught:
        units.linear_density_tex(text)
    told = str(caught.value)
    assert re.search('write for example "(21 denier|75 denier f 36|84 dtex f 2)"', told)
    assert "\n" not in str(caught.value)


def test_a_monofilament_is_one():
    assert units.yarn_size("20D mono") == units.yarn_size("20 denier f 1") == (20 / 9, 1)
    assert units.yarn_size("20D monofilament") == units.yarn_size("20D/1F")


def test_a_count_of_both_systems_is_asked_about():
    """A label's "110 x 90" is ends and picks; a "thread count" adds both (common practice)."""
    with pytest.raises(InputError, match='ends = "110 /inch" and picks = "90 /inch", or /cm'):
        units.sett_per_cm("110 x 90")
    with pytest.raises(InputError, match='ends = "44 /cm" and picks = "40 /cm"$'):
        units.sett_per_cm("44x40 per cm")
    for said in ("180 thread count", "TC 180", "180TC"):
        with pytest.raises(InputError, match="ends and picks of a square inch together"):
            units.sett_per_cm(said)


@pytest.mark.parametrize("text", ["40", "40 cm", "40 /mile", "40 /cm /cm"])
def test_bad_sett_says_what_to_write(text):
    with pytest.raises(InputError, match='"40 /cm"'):
        units.sett_per_cm(text)


@pytest.mark.parametrize(
    ("read", "text", "range_"),
    [
        (units.sett_per_cm, "0 /cm", "from 0.2 to 500 threads/cm, got 0"),
        (units.sett_per_cm, "-100 /inch", "from 0.2 to 500 threads/cm, got -39.3701"),
        (units.areal_mass_g_m2, "-1 momme", "from 1 to 10000 g/m2, got -4.33994"),
    ],
)
def test_what_no_cloth_has_is_told_with_what_one_may_have(read, text, range_):
    with pytest.raises(InputError, match=range_):
        read(text)


@pytest.mark.parametrize("text", ["4.5", "4.5 cm", "4.5 momme g/m2"])
def test_bad_weight_says_what_to_write(text):
    with pytest.raises(InputError, match='"4.5 momme"'):
        units.areal_mass_g_m2(text)


@given(st.floats(1e-3, 1e4))
def test_written_tex_comes_back_exactly(tex):
    assert units.linear_density_tex(f"{tex!r} tex") == tex


@pytest.mark.parametrize("text", ["20-22 denier", "20 \u2013 22 den", "20/22 Denier"])
def test_a_raw_silk_size_is_a_range_however_it_is_dashed(text):
    assert units.linear_density_tex(text) == pytest.approx(21.0 / 9.0)


@pytest.mark.parametrize("text", ["Ne 40/50", "40/50s", "Nm 100/60", "Ne 60/13"])
def test_no_yarn_is_of_forty_threads(text):
    """Two counts parted by a stroke are no ply; Ne 40/50 was read as 40 threads, 472 tex."""
    with pytest.raises(InputError, match="threads in one; give one count, or the ply last"):
        units.linear_density_tex(text)


@pytest.mark.parametrize(
    ("text", "turns"),
    [
        ("600 /m", 600.0),
        ("600 tpm", 600.0),
        ("600 turns/m", 600.0),
        ("600 turns per m", 600.0),
        ("60 /dm", 600.0),
        ("6 /cm", 600.0),
        ("15.24 tpi", 600.0),  # 39.3701 inches to the metre
        ("15.24 /inch", 600.0),
        ("15.24 /in", 600.0),
        ("15.24 per inch", 600.0),
        ("0 /m", 0.0),
    ],
)
def test_twists(text, turns):
    assert units.turns_per_m(text) == pytest.approx(turns, rel=1e-12)


@pytest.mark.parametrize("text", ["600", "600 m", "600 tex", "600 /acre", "-1 /m", "1e999 tpm"])
def test_bad_twist_says_what_to_write(text):
    with pytest.raises(InputError, match='write for example "600 /m", "15 /inch" or "S 600"'):
        units.turns_per_m(text)


def test_every_name_of_a_length_means_the_same_wherever_it_stands():
    # the inch is 25.4 mm and the yard 36 inches (international yard and pound agreement, 1959)
    for inch in ("in", "inch", '"'):
        assert units.sett_per_cm(f"254 /{inch}") == pytest.approx(100.0, rel=1e-12)
        assert units.length_mm(f"10 {inch}") == pytest.approx(254.0, rel=1e-12)
    for centimetre in ("cm", "centimetre", "centimeter"):
        assert units.sett_per_cm(f"40 /{centimetre}") == 40.0
    for same in ("g/m2", "g/m²", "g/m^2", "gsm", "g/sqm", "grams per square metre"):
        assert units.areal_mass_g_m2(f"60 {same}") == 60.0
    for ounces in ("oz/yd2", "oz/yd²", "oz/yd^2", "oz/sq yd", "ounces per square yard"):
        # 16 x 28.349523 g over 0.83612736 m2 (NIST SP 811, app. B, from memory)
        assert units.areal_mass_g_m2(f"16 {ounces}") == pytest.approx(542.4919, abs=1e-3)
    for silk in ("momme", "mommes"):
        assert units.areal_mass_g_m2(f"16 {silk}") == pytest.approx(16 * 4.33994, abs=2e-3)
    for cotton in ("40 Ne", "40 NEC", "40 s", "40 cotton count"):
        assert units.linear_density_tex(cotton) == pytest.approx(14.7635, abs=1e-4)
    for denier in ("den", "denier", "Td"):
        assert units.linear_density_tex(f"90 {denier}") == pytest.approx(10.0, rel=1e-12)
    assert units.linear_density_tex("200 decitex") == units.linear_density_tex("200 dtex") == 20.0
    assert units.linear_density_tex("50 metric count") == pytest.approx(20.0, rel=1e-12)


def test_the_edges_of_what_is_a_range_and_what_a_ply():
    # a raw-silk range spans at most three tenths; both ends told, the first the lower
    assert units.linear_density_tex("20/26 denier") == pytest.approx(23 / 9, rel=1e-12)
    for other in ("20/26.1 denier", "20/20 denier", "22/20 denier"):
        with pytest.raises(InputError, match="could be a range, a ply or a number of filaments"):
            units.linear_density_tex(other)
    assert units.linear_density_tex("Nm 100/1") == pytest.approx(10.0, rel=1e-12)
    for other in ("Nm 100/0.5", "Nm 100/2.5"):
        with pytest.raises(InputError, match="a ply is a whole number of threads"):
            units.linear_density_tex(other)
    # sixty characters can be a size, sixty-one cannot
    assert units.linear_density_tex("0" * 54 + "20 tex") == 20.0
    with pytest.raises(InputError, match="is too long for a yarn size"):
        units.linear_density_tex("0" * 55 + "20 tex")
    assert units.yarn_size("84 dtex F12345") == (8.4, 12345)
    with pytest.raises(InputError):
        units.yarn_size("84 dtex f 123456")


@pytest.mark.parametrize("tenths", range(11, 2000, 37))
def test_one_size_is_one_number_in_all_units(tenths):
    # the inch is 2.54 cm: 40 /cm is 101.6 /inch, to the last digit
    written = f"{tenths // 10}.{tenths % 10}"
    inch, tpi = Fraction(254 * tenths, 1000), Fraction(254 * tenths, 10**5)
    assert units.sett_per_cm(f"{float(inch)!r} /inch") == float(written)
    assert units.sett_per_cm(f"{tenths} /dm") == float(written)
    assert units.turns_per_m(f"{float(tpi)!r} tpi") == float(written)
    assert units.linear_density_tex(f"{tenths} dtex") == float(written)


def test_labels_as_mills_and_shops_write_them():
    # two-fold 60s weighs as one thread of 30s, 590.54 / 30 tex, whichever number comes first:
    # trade practice, from memory
    for text in ("2/60s", "60/2s", "Ne 60/2", "2/60 Ne"):
        assert units.linear_density_tex(text) == pytest.approx(590.541 / 30.0, rel=1e-5)
    assert units.linear_density_tex("Nm 2/120") == units.linear_density_tex("Nm 120/2")
    with pytest.raises(InputError, match='write which, "6 x 4 ne" or "4 x 6 ne"'):
        units.linear_density_tex("Ne 4/6")
    assert units.linear_density_tex("6 x 4 ne") == pytest.approx(6 * 590.541 / 4.0, rel=1e-5)
    assert units.linear_density_tex("12/3 Ne") == pytest.approx(590.541 / 4.0, rel=1e-5)
    for text in ("75D/36F", "75 denier f 36", "75 D / 36 f"):
        assert units.yarn_size(text) == (pytest.approx(75 / 9), 36)
    assert units.yarn_size("20D") == (pytest.approx(20 / 9), None)
    # silk is labelled in momme as mm or m/m
    for text in ("16mm", "16 m/m"):
        assert units.areal_mass_g_m2(text) == units.areal_mass_g_m2("16 momme")
    assert units.areal_mass_g_m2("1.9 oz / yd2") == units.areal_mass_g_m2("1.9 oz/yd2")


def test_data_as_mills_write_them():
    """ISO 2947: dtex, then f and the number of filaments, then the threads folded together."""
    for text in ("167 dtex f 48 x 2", "dtex 167 f 48 x 2", "dtex 167f48x2", "167 dtex f48x2"):
        assert units.yarn_size(text) == (pytest.approx(33.4), 96), text
    assert units.yarn_size("50 dtex f 72x1") == (pytest.approx(5.0), 72)
    assert units.yarn_size("dtex 167 f 48") == (pytest.approx(16.7), 48)
    for text in ("330 dtex Z120", "84 dtex SD"):
        size = " ".join(text.split()[:2])
        with pytest.raises(InputError, match=f'write "{size}", and by itself .* twist = "120 /m"'):
            units.yarn_size(text)
    # a weight of the running length is one of the area only with the width: 185 / 1.48
    assert 185.0 / 1.48 == pytest.approx(125.0)
    for text in ("185 g/m", "185 g/lm", "12 oz / running yd", "9 oz/yd"):
        with pytest.raises(InputError, match="running length: divide it by the width, .* 125 g/m2"):
            units.areal_mass_g_m2(text)


def test_folded_yarn_has_the_filaments_of_all_its_threads():
    # ISO 1139 writes a folded yarn by its singles; two threads of 24 filaments have 48
    for text in ("2 x 84 dtex f 24", "2x84dtex/24f"):
        assert units.yarn_size(text) == (pytest.approx(16.8), 48)
    with pytest.raises(InputError, match='write the threads first .* "2 x 60 nm"'):
        units.linear_density_tex("Nm 60 x 2")
    with pytest.raises(InputError, match="could be 20 threads or 3"):
        units.linear_density_tex("20 x 3 Ne")
    assert units.linear_density_tex("2 x 60 Nm") == pytest.approx(2000.0 / 60.0)
    assert units.linear_density_tex("12 x 60 Nm") == pytest.approx(12000.0 / 60.0)


def test_a_range_of_deniers_is_raw_silk_s_alone():
    # reeled silk varies along its length; a nylon of 20 denier in 24 filaments is labelled 20/24
    # too: trade practice, from memory
    units.check_hank("20/22 denier", "silk")
    units.check_hank("20 denier f 24", "nylon")
    with pytest.raises(InputError, match='of nylon could be .*: write "20 denier f 24"'):
        units.check_hank("20/24 den", "nylon")


@pytest.mark.parametrize(
    ("text", "fibre", "right", "tex"),
    [
        # one pound of 300, 560 and 840 yards: ISO 2947 lists these counts; the hanks from memory
        ("40s", "flax", "40 lea", 1653.5162 / 40),
        ("2/48s", "wool", "2/48 worsted", 885.8122 / 24),
        ("60/2s", "silk", "Ne 60/2", 590.5415 / 30),
        ("60s", "silk", "Ne 60", 590.5415 / 60),
        ("2/60s", "cotton", "2/60 Ne", 590.5415 / 30),
    ],
)
def test_a_bare_s_is_cotton_s_count_of_cotton_alone(text, fibre, right, tex):
    assert units.linear_density_tex(right) == pytest.approx(tex, rel=1e-6)
    units.check_hank(right, fibre)
    if fibre == "cotton" or text == "60s":
        units.check_hank(text, fibre)
        return
    with pytest.raises(InputError, match=f"of {fibre} counts .*: write"):
        units.check_hank(text, fibre)


def test_linen_of_40s_is_asked_about_wherever_it_is_told(tmp_path, capsys):
    file = tmp_path / "linen.toml"
    yarn = 'fibre = "linen"\ncount = "40s"\nkind = "spun"\ncolour = "#c8b898"\n'
    file.write_text(
        f'name = "L"\nweave = "plain"\nends = "16 /cm"\npicks = "16 /cm"\n[warp]\n{yarn}'
        f"[weft]\n{yarn}"
    )
    assert run(["describe", str(file)]) == 2
    told = capsys.readouterr().err
    assert "warp.count" in told and '"40 lea" or "Ne 40"' in told and told.count("\n") == 1
    file.write_text(file.read_text().replace("40s", "40 lea"))
    assert run(["describe", str(file)]) == 0
    assert "41.3 tex" in capsys.readouterr().out
    table = tmp_path / "seen.csv"
    table.write_text("nm,w\n" + "\n".join(f"{nm},0.5" for nm in range(400, 710, 10)))
    words = ["measure", "spectra", str(table), "--over-white", "w", "--ends", "16 /cm", "--picks",
             "16 /cm", "--fibre", "flax", "--yarn", "spun", "--warp-count", "40s"]  # fmt: skip
    assert run(words) == 2
    told = capsys.readouterr().err
    assert "--warp-count" in told and "40 lea" in told
