"""How numbers are known travels as a value: refused where it makes no sense, kept by every file,
and nothing that is told hangs on words, on order or on having been saved."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from random import Random

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from weavecolor.errors import InputError
from weavecolor.files.clothfile import cloth_from_toml, cloth_to_toml, load_swatch, read_cloth
from weavecolor.making.answers import cloths_of
from weavecolor.making.file import from_json, to_json
from weavecolor.making.model import Making, MakingCloth
from weavecolor.optics.appearance import appearances
from weavecolor.optics.mightbe import lots, open_colour
from weavecolor.optics.stack import Layer, Stack
from weavecolor.optics.uncertainty import known_of, of_colour, of_difference
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene
from weavecolor.textile.assumedwords import assumed_words
from weavecolor.textile.howknown import NUMBERS, HowKnown, covariance, knowledge

BEFORE = Path(__file__).parent / "data" / "cloth-before-known.toml"
PLAIN = replace(load_swatch("shot-organza-red-black"), known=(), sources=())
DYED = {f"{system}.colour": HowKnown.measured(1.0) for system in ("warp", "weft")}
CHANGES = ((), ("grain",), ("layers",), ("backing",), ("scene",), ("stack", "backing"))

_spread = st.none() | st.floats(0.0, 20.0)
_line = st.text(
    st.characters(codec="utf-8", exclude_categories=("C", "Z"), include_characters=" "), max_size=40
)
_low = st.floats(-1e3, 1e3)
HOWS = st.one_of(
    st.builds(HowKnown.measured, _spread, _line),
    st.builds(HowKnown.stated, _line),
    st.builds(HowKnown.fitted, _spread, _line),
    st.builds(lambda a, b, s: HowKnown.assumed(min(a, b), max(a, b), s), _low, _low, _line),
    st.builds(lambda s: HowKnown.assumed(source=s), _line),
)
TOLD = st.dictionaries(st.sampled_from(NUMBERS), HOWS, max_size=8)


def told_of(*cloths):
    """All that is stated of cloths: ranges and reasons."""
    known = known_of(cloths)
    return of_colour(known, 0.0), [
        of_difference(d, known, 0.0, day, same_cloth=own, same_light=lit, changed=c)
        for d in (0.0, 0.7, 9.0)
        for c in CHANGES
        for day, own, lit in ((True, True, True), (False, True, False), (True, False, True))
    ]


@given(TOLD, st.randoms(use_true_random=False))
@example({"ends": HowKnown.stated("recovered from Lab")}, Random(1))
def test_the_same_content_gets_the_same_answer(told, random):
    cloth = replace(PLAIN, known=told)
    rows = list(told.items())
    random.shuffle(rows)
    assert replace(PLAIN, known=tuple(rows)) == cloth
    again = cloth_from_toml(cloth_to_toml(cloth))
    assert again == cloth and hash(again) == hash(cloth)
    making = from_json(to_json(Making(cloths=(MakingCloth.from_toml("o", cloth_to_toml(cloth)),))))
    (reopened,) = cloths_of(making).values()
    assert reopened == cloth
    other = load_swatch("silk-chiffon-ivory")
    assert told_of(cloth, other) == told_of(other, again, cloth) == told_of(reopened, other)


@given(TOLD, _line)
def test_no_answer_hangs_on_words(told, words):
    cloth = replace(PLAIN, known=told)
    mute = {name: replace(how, source=words) for name, how in told.items()}
    reworded = replace(
        PLAIN, known=mute, notes=words, remarks=("warp: packing 0.6 supposed",),
        sources=(("yarn optics", "fitted, 9.0 CIEDE2000 off what was seen"), ("ends", words)),
    )  # fmt: skip
    assert told_of(reworded) == told_of(cloth)
    assert told_of(cloth_from_toml(cloth_to_toml(reworded))) == told_of(cloth)


@given(TOLD, st.sampled_from(NUMBERS))
def test_what_was_assumed_never_makes_surer(told, name):
    before = replace(PLAIN, known={key: how for key, how in told.items() if key != name})
    after = replace(PLAIN, known={**told, name: HowKnown.assumed()})
    if name.endswith(".colour"):  # a spread may have been wider still
        return
    one, other = told_of(before), told_of(after)
    assert one[0].stated <= other[0].stated
    assert all(a.stated <= b.stated for a, b in zip(one[1], other[1], strict=True))


def test_a_file_without_the_table_is_read_as_before():
    """A file as an earlier state wrote it: its remarks and sources become values, once."""
    cloth = read_cloth(BEFORE)
    known = dict(cloth.known)
    assert known["warp.filaments"] == HowKnown.assumed(12, 21, "as usual for silk yarn")
    assert known["warp.packing"] == HowKnown.assumed(0.5, 0.72, "as usual for silk yarn")
    assert known["warp.gum"].way == known["warp.dull_per_mm"].way == "assumed"
    assert (known["weft.dull_per_mm"].low, known["weft.dull_per_mm"].high) == (2, 8)
    assert {known[f"{system}.colour"].way for system in ("warp", "weft")} == {"assumed"}
    assert known["ends"] == HowKnown.measured(source="counted with a lens")
    assert "picks" not in known and cloth.remarks == ()
    assert known_of([cloth]).yarn_assumed and known_of([cloth]).colour_recovered
    lines = assumed_words(cloth)
    # told in plain words, whether the file has a table or not; what a file says is kept as it is
    assert "warp colour taken from a screen colour: many dyes look so in daylight" in lines[1]
    assert known["warp.colour"].source.startswith("recovered from sRGB: many spectra")
    taken = lines[1].removeprefix("warp colour ")
    now = replace(cloth, known={**known, "warp.colour": HowKnown.assumed(source=taken)})
    assert assumed_words(now) == lines
    assert any(line.startswith("warp: 16 filaments (12 to 21), boiled off") for line in lines)
    assert cloth_from_toml(cloth_to_toml(cloth)) == cloth


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ('ends = { how = "guessed" }', "known.ends.how: 'guessed' must be one of measured,"),
        ('ends = { how = "stated", spread = 1 }', "known.ends.spread: a number that is stated"),
        ('ends = { how = "measured", spread = -1 }', "known.ends.spread: must be 0 or more"),
        ('ends = { how = "assumed", low = 2, high = 1 }', "known.ends.low: no range from 2 to 1"),
        ('ends = { how = "assumed", low = 2 }', "known.ends.low: give both ends"),
        ('ends = { spread = 2 }', "known.ends.how: is missing"),
        ('ends = { how = "stated", sorce = "x" }', "did you mean source?"),
        ('"warp.pack" = { how = "stated" }', "did you mean warp.packing?"),
        ('"warp.colour" = { how = "fitted", spread = 1, together = { "weft.colour" = 2 } }',
         "known.warp.colour.together.weft.colour: must be from -1 to 1"),
        ('"warp.colour" = { how = "fitted", spread = 1, together = { "weft.colour" = 0.2 } }',
         "known: warp.colour and weft.colour go together only where both are fitted"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_one_line(row, says):
    with pytest.raises(InputError) as caught:
        cloth_from_toml(f"{cloth_to_toml(PLAIN)}\n[known]\n{row}\n")
    line = str(caught.value)
    assert line.startswith("cloth: ") and says in line and "\n" not in line


def test_correlations_make_a_covariance_or_are_refused():
    names = ("warp.packing", "warp.twist", "warp.colour")
    share = (("warp.packing", "warp.twist", 0.9), ("warp.packing", "warp.colour", 0.9))
    told = {name: HowKnown.fitted(2.0) for name in names}
    told["warp.packing"] = HowKnown.fitted(1.0, together=[(b, r) for _, b, r in share])
    # 0.9 with both leaves these two at least 0.62 together: 0.9^2 - (1 - 0.9^2)
    for third, holds in ((0.63, True), (0.61, False)):
        told["warp.twist"] = HowKnown.fitted(2.0, together=[("warp.colour", third)])
        if not holds:
            with pytest.raises(InputError, match="cannot hold at once"):
                knowledge(told)
            continue
        matrix = covariance(knowledge(told), names)
        want = [[1.0, 1.8, 1.8], [1.8, 4.0, 4.0 * third], [1.8, 4.0 * third, 4.0]]
        assert np.allclose(matrix, want, rtol=1e-12)


def test_a_fit_that_cannot_tell_warp_from_weft_is_unsure_of_grain_alone():
    """Two colours known well together and badly apart: grain is unsure, the cloth's colour not."""

    def fitted(share):
        pair = [("weft.colour", share)]
        return known_of([replace(PLAIN, known={"warp.colour": HowKnown.fitted(4.0, together=pair),
                                               "weft.colour": HowKnown.fitted(4.0)})])  # fmt: skip

    alike, against = fitted(0.95), fitted(-0.95)
    assert alike.apart == pytest.approx(4.0 * np.sqrt(2.0 - 2.0 * 0.95))
    assert against.apart == pytest.approx(4.0 * np.sqrt(2.0 + 2.0 * 0.95))
    grain = [of_difference(3.0, k, 0.0, changed=("grain",)).stated for k in (alike, against)]
    layers = [of_difference(3.0, k, 0.0, changed=("layers",)).stated for k in (alike, against)]
    assert grain[1] > 12.0 > 6.0 > grain[0] and layers[0] == layers[1]
    assert not known_of([PLAIN]).colours


def test_a_build_that_was_measured_counts_by_its_spread():
    """Packing of thread in gum: usually 0.7 to 0.97, nine in ten, a standard uncertainty of .08."""

    def left(how):
        return known_of([replace(PLAIN, known={"warp.packing": how})])

    usual = (0.72 - 0.5) / 2.0 / 1.645  # of plain silk, as far as the fibre alone tells
    assert left(HowKnown.assumed(0.79, 0.81)).yarn_left == 1.0
    assert left(HowKnown.fitted(0.4 * usual)).yarn_left == pytest.approx(0.4)
    assert left(HowKnown.measured(9.0)).yarn_left == 1.0
    assert left(HowKnown.measured()).yarn_left == left(HowKnown.stated()).yarn_left == 0.0
    spreads = []
    for share in (0.0, 0.3, 0.6, 1.0):
        cloth = replace(PLAIN, known={"warp.packing": HowKnown.fitted(share * usual), **DYED})
        stack, ground = Stack((Layer(cloth),)), replace(backing("black"), inside=None)
        (drawn,) = lots(stack, [ground], scene("overcast"))
        Lab = appearances(stack, [ground], scene("overcast"))[0].reading.Lab
        spreads.append(open_colour(Lab, drawn))
    # of many filaments packing is not among what moves light by itself: what else is open remains
    assert spreads == sorted(spreads) and spreads[-1] > 0.3 > 1e-9 > spreads[0]


def test_what_was_assumed_is_told_in_one_line_for_both_systems():
    told = {f"{s}.packing": HowKnown.assumed(0.7, 0.95, "by feel") for s in ("warp", "weft")}
    told["weft.twist"] = HowKnown.assumed(0.0, 1234.0)
    told["ends"] = HowKnown.assumed(38.0, 42.0, "a guess")
    assert assumed_words(replace(PLAIN, known=told)) == (
        "warp and weft: packed to 0.8 (0.7 to 0.95) of full supposed, by feel",
        "weft: twist 0 /m (0 to 1230) supposed",
        "ends 40 /cm (38 to 42) supposed, a guess",
    )


@pytest.mark.parametrize("spread", [1e-4, 1.0, 1e4])
def test_correlations_are_checked_whatever_the_unit(spread):
    """Of three numbers all pairs cannot go against one another by more than a half: 1 + 2 r is
    the least root of their correlations."""

    def told(r):
        names = ("warp.colour", "weft.colour", "warp.cover")
        return {
            name: HowKnown.fitted(spread, together=[(n, r) for n in names if n != name])
            for name in names
        }

    assert len(knowledge(told(-0.499))) == 3
    with pytest.raises(InputError, match="these correlations cannot hold at once"):
        knowledge(told(-0.51))


@pytest.mark.parametrize("how", [3, "measured", None, 0.5])
def test_how_a_number_is_known_is_no_bare_value(how):
    with pytest.raises(InputError, match="does not tell how warp.count is known; give a HowKnown"):
        knowledge({"warp.count": how})
