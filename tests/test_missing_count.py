"""A yarn count nobody knows: worked out from the weight, taken as usual, or asked for."""

import pytest

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.decide.compare import Option, evaluate
from weavecolor.errors import InputError
from weavecolor.files.clothfile import cloth_from_dict, cloth_from_toml, cloth_to_toml
from weavecolor.optics import mightbe
from weavecolor.optics.appearance import appearance
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene
from weavecolor.textile.assumedwords import assumed_words
from weavecolor.textile.construction import cloth_mass_g_m2


def label(weight=None, warp=None, weft=None, like=None):
    def yarn(count):
        made = {"fibre": "silk", "kind": "filament", "colour": "#b01020"}
        return made | ({"count": count} if count else {}) | ({"like": like} if like else {})

    cloth = {"name": "From a shop label", "weave": "plain", "ends": "40 /cm", "picks": "38 /cm"}
    cloth |= {"warp": yarn(warp), "weft": yarn(weft)}
    return cloth | ({"weight": weight} if weight else {})


def test_from_the_weight_both_yarns_alike_and_the_weight_comes_out():
    cloth = cloth_from_dict(label(weight="4.3 momme"))
    assert cloth.warp.tex == cloth.weft.tex
    assert cloth_mass_g_m2(cloth) == pytest.approx(4.3 * 4.33994, rel=0.01)
    known = dict(cloth.known)
    assert known["warp.count"] == known["weft.count"]
    assert known["warp.count"].way == "assumed"
    (told,) = [line for line in assumed_words(cloth) if "from the weight and the setts" in line]
    assert told.startswith("warp and weft: count ")


def test_the_range_holds_the_true_count():
    """Silk organza of 21 denier at 40 x 38 /cm weighs about 19 g/m2 (n1 t1 + n2 t2, Peirce)."""
    told = cloth_from_dict(label(warp="21 denier", weft="21 denier"))
    worked_out = cloth_from_dict(label(weight=f"{cloth_mass_g_m2(told):.3f} g/m2"))
    how = dict(worked_out.known)["warp.count"]
    assert how.low < 21 / 9 < how.high


def test_one_missing_is_what_the_other_leaves():
    cloth = cloth_from_dict(label(weight="30 g/m2", warp="21 denier"))
    assert cloth.weft.tex > 1.5 * cloth.warp.tex
    with pytest.raises(InputError, match="weft.count: .*nearly the stated weight"):
        cloth_from_dict(label(weight="9.5 g/m2", warp="21 denier"))


def test_without_a_weight_the_usual_is_offered():
    with pytest.raises(InputError, match="count: is missing; .*weight.*silk organza") as refused:
        cloth_from_dict(label())
    assert "\n" not in str(refused.value)
    cloth = cloth_from_dict(label(like="silk organza"))
    assert cloth.warp.tex == pytest.approx(21 / 9)
    how = dict(cloth.known)["weft.count"]
    assert (how.way, how.source) == ("assumed", "as usual for silk organza yarn")
    assert any("count" in line and how.source in line for line in assumed_words(cloth))


def test_what_was_assumed_stays_assumed_in_the_file():
    cloth = cloth_from_dict(label(weight="4.3 momme"))
    again = cloth_from_toml(cloth_to_toml(cloth))
    assert again.warp == cloth.warp
    assert again.known == cloth.known
    assert dict(again.known)["warp.count"].way == "assumed"


#: Ends and picks a cm, and denier of warp and weft, as such cloth is woven: dupion and shantung
#: with a thick weft, taffeta, cloth of one yarn set closer one way, satin, repp, habutai, organza
#: (common practice, no source).
WOVEN = [
    (44, 20, 42, 150), (48, 24, 42, 100), (72, 38, 42, 63), (60, 40, 42, 42), (40, 60, 42, 42),
    (120, 45, 21, 63), (50, 16, 60, 180), (60, 31, 42, 42), (54, 44, 42, 63), (44, 54, 63, 42),
    (40, 38, 21, 21),
]  # fmt: skip


@pytest.mark.parametrize(("ends", "picks", "warp", "weft"), WOVEN)
def test_what_share_of_the_weight_is_weft_is_not_known_to_be_half(ends, picks, warp, weft):
    """Both counts lie within what is told where only the weight was known; were warp and weft taken
    as alike to an eighth, those of dupion, satin and repp would not."""
    setts = {"ends": f"{ends} /cm", "picks": f"{picks} /cm"}
    true = cloth_from_dict(label(warp=f"{warp} denier", weft=f"{weft} denier") | setts)
    made = cloth_from_dict(label(weight=f"{cloth_mass_g_m2(true):.3f} g/m2") | setts)
    known = dict(made.known)
    for system, yarn in (("warp", true.warp), ("weft", true.weft)):
        how = known[f"{system}.count"]
        assert how.low < yarn.tex < how.high
    assert cloth_mass_g_m2(made) == pytest.approx(cloth_mass_g_m2(true), rel=0.03)


def test_cloth_that_has_no_room_for_thicker_yarn_the_one_way_is_of_one_yarn():
    setts = {"ends": "30 /cm", "picks": "57 /cm"}
    true = cloth_from_dict(label(warp="133 denier", weft="133 denier") | setts)
    made = cloth_from_dict(label(weight=f"{cloth_mass_g_m2(true):.3f} g/m2") | setts)
    assert made.warp.tex == pytest.approx(made.weft.tex)


def test_one_missing_is_less_sure_the_less_of_the_weight_is_left_for_it():
    """8 % of the whole weight is a larger part of what is left."""
    few, many = (
        dict(cloth_from_dict(label(weight=f"{g} g/m2", warp="21 denier")).known)["weft.count"]
        for g in (14, 40)
    )
    assert few.high / few.low > 1.3 * many.high / many.low


def test_what_a_count_may_be_is_in_the_range_of_the_answer():
    """Sapphire and gold dupion of which only the weight is told: its look with the counts it has
    lies within the range told without them, which a range of one thickness for both would not
    hold."""
    colours = {"warp": "#1f3f9f", "weft": "#c8a040"}
    setts = {"ends": "44 /cm", "picks": "20 /cm"}

    def made(**told):
        cloth = label(**told) | setts
        return {**cloth, **{s: {**cloth[s], "colour": colours[s]} for s in colours}}

    true = cloth_from_dict(made(warp="42 denier", weft="150 denier"))
    supposed = cloth_from_dict(made(weight=f"{cloth_mass_g_m2(true):.3f} g/m2"))
    even = scene("overcast")
    told = evaluate([Option(Stack((Layer(supposed),), backing("white")), even)])[0]
    seen = appearance(Stack((Layer(true),), backing("white")), even).reading.Lab
    miss = ciede2000(told.appearance.reading.Lab, seen)
    assert 2.0 < miss < told.uncertainty.stated
    # and where counts are told, nothing of them is left open
    assert mightbe._by_share(supposed).any() and not mightbe._by_share(true).any()


def test_close_cloth_known_by_its_weight_is_answered_though_one_end_of_its_range_cannot_be_woven():
    yarn = {"like": "silk satin", "colour": "#a3122a"}
    told = {"name": "Own", "weave": "satin 8/3", "ends": "300 /inch", "picks": "110 /inch",
            "weight": "25 momme", "warp": yarn, "weft": yarn}  # fmt: skip
    stack = Stack((Layer(cloth_from_dict(told)),))
    (lab,) = mightbe.lots(stack, [backing("white")], scene("overcast"))
    assert 0.5 < lab[:, 0].std() < 15.0
