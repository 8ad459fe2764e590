"""A yarn count nobody knows: worked out from the weight, taken as usual, or asked for."""

import pytest

from weavecolor.errors import InputError
from weavecolor.files.clothfile import cloth_from_dict, cloth_from_toml, cloth_to_toml
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
    assert cloth_mass_g_m2(cloth) == pytest.approx(4.3 * 4.33994, rel=0.1)
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
