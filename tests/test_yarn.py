"""Yarns of filaments: values, what the trade could meet, and what it usually makes."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from weavecolor.colour.spectra import WAVELENGTHS
from weavecolor.errors import InputError
from weavecolor.files.clothfile import cloth_from_dict
from weavecolor.front import laid, load_cloth, save_cloth
from weavecolor.optics.uncertainty import known_of
from weavecolor.textile.cloth import Cloth, Weave
from weavecolor.textile.construction import covers
from weavecolor.textile.fibres import FIBRES, fibre
from weavecolor.textile.howknown import HowKnown
from weavecolor.textile.usual import LUSTRES, USUAL, Span, usual_yarn
from weavecolor.textile.weaves import weave
from weavecolor.textile.yarn import RANGES, Fibre, Yarn, filaments_of, greatest_packing

GREY = np.full(41, 0.4)
RAW = Yarn(fibre("silk"), 21 / 9, GREY, 0.8, filaments=15, gum=True)
THROWN = Yarn(fibre("silk"), 21 / 9, GREY, 0.65, filaments=15)


def test_yarns_are_values():
    again = replace(RAW, colour=GREY.copy())
    assert again == RAW and hash(again) == hash(RAW) and again is not RAW
    assert replace(RAW, colour=np.full(41, 0.41)) != RAW
    assert replace(RAW, absorption=np.zeros(41)) != RAW
    assert replace(RAW, gum=False, packing=0.7) != RAW
    assert RAW != "silk"
    cloth = Cloth("a", RAW, RAW, weave("plain"), 40.0, 38.0)
    assert cloth == Cloth("a", again, again, weave("plain"), 40.0, 38.0)
    assert len({cloth, replace(cloth), replace(cloth, ends_per_cm=41.0)}) == 2


def test_a_yarn_cannot_be_changed_from_outside():
    mine = GREY.copy()
    yarn = replace(RAW, colour=mine)
    mine[:] = 0.9
    assert yarn.colour == pytest.approx(GREY)
    with pytest.raises(ValueError, match="read-only"):
        yarn.colour[0] = 0.0


def test_rods_that_light_meets():
    # in gum one rod as thick as the thread; boiled off fifteen, which fill its packing
    assert RAW.rods == 1 and RAW.rod_diameter_mm == RAW.diameter_mm
    assert THROWN.rods == 15
    area = 15 * THROWN.rod_diameter_mm**2 / THROWN.diameter_mm**2
    assert area == pytest.approx(THROWN.packing)
    # 1.55 dtex of silk, 1.34 g/cm3: pi d^2 / 4 = 1.55e-6 g/cm / 1.34 g/cm3, so d is 12.2 um
    assert THROWN.fineness_dtex == pytest.approx(1.556, abs=1e-3)
    assert THROWN.rod_diameter_mm == pytest.approx(0.01216, abs=2e-5)
    # one turn a millimetre is 2 pi a millimetre
    assert replace(THROWN, twist_turns_m=1000.0).twist_rad_mm == pytest.approx(2.0 * math.pi)


@given(st.floats(0.5, 500.0), st.floats(0.8, 8.0))
def test_number_and_fineness_are_two_ways_to_say_it(tex, dtex):
    count = filaments_of(tex, dtex)
    assert count >= 1
    assert abs(count - 10.0 * tex / dtex) <= 0.5 or count == 1


@pytest.mark.parametrize("name", RANGES)
def test_what_the_trade_could_never_meet_is_refused_by_name(name):
    low, high, unit = RANGES[name]
    for value in (high * 1.01 + 1, low - 0.01, math.nan, math.inf):
        if name == "filaments" and not math.isfinite(value):
            continue
        with pytest.raises(InputError) as caught:
            replace(THROWN, **{name: value})
        line = str(caught.value)
        assert line.startswith((f"{name}: ", "dtex per filament: ")) and "\n" not in line
        assert "must be from" in line and unit in line


@pytest.mark.parametrize(
    ("change", "complaint"),
    [
        ({"kind": "felt"}, "'felt' must be one of filament, spun"),
        ({"colour": np.full(41, 1.5)}, "colour lies from 0 to 1 in every band"),
        ({"colour": np.full(41, np.nan)}, "colour lies from 0 to 1 in every band"),
        ({"colour": np.full(40, 0.5)}, "colour has 41 bands, got shape"),
        ({"absorption": np.full(41, -1.0)}, "absorption lies from 0 to"),
        ({"filaments": 2.5}, "a whole number, got 2.5"),
        ({"packing": 0.9}, "15 round filaments fill at most 0.733 of a yarn, got 0.9"),
        ({"gum": True, "fibre": fibre("nylon")}, "filament nylon has no gum"),
        ({"gum": True, "kind": "spun"}, "spun silk has no gum"),
        ({"tex": 900.0, "filaments": 6000, "twist_turns_m": 4000.0}, "outer filaments of a yarn"),
        ({"tex": 0.1, "filaments": 4000}, "dtex per filament: must be from 0.03"),
    ],
)
def test_fields_that_contradict_one_another(change, complaint):
    with pytest.raises(InputError, match=complaint) as caught:
        replace(THROWN, **change)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"ends_per_cm": 1e-9}, "ends"), ({"picks_per_cm": 1e6}, "picks"),
        ({"picks_per_cm": math.nan}, "picks"), ({"warp_crimp": 1.0}, "warp.crimp"),
        ({"weft_crimp": -0.1}, "weft.crimp"), ({"declared_g_m2": math.inf}, "weight"),
        ({"warp_share": 1.5}, "warp_share"),
    ],
)  # fmt: skip
def test_cloth_that_the_trade_could_never_meet(change, field):
    cloth = Cloth("a", RAW, RAW, weave("plain"), 40.0, 38.0)
    with pytest.raises(InputError, match=f"^{field}: must be from .* got "):
        replace(cloth, **change)


def test_densest_packings_of_circles():
    # 7 in a hexagon's shape: 7 / 9 exactly; 2 side by side: a half; 19: 19 / (1 + 3.8637)^2
    assert greatest_packing(7) == pytest.approx(7 / 9, abs=1e-3)
    assert greatest_packing(2) == 0.5
    assert greatest_packing(19) == pytest.approx(19 / (1 + math.sqrt(2) + math.sqrt(6)) ** 2, 1e-3)
    assert greatest_packing(3) == pytest.approx(3 / (1 + 2 / math.sqrt(3)) ** 2, abs=1e-3)


@pytest.mark.parametrize("name", USUAL)
def test_every_usual_yarn_can_be_spun_or_reeled(name):
    sort = USUAL[name]
    for tex in (2.3, 8.4, 30.0):
        count = sort.filaments(tex)
        packing = sort.packing.usual
        if not sort.gum:
            packing = min(packing, greatest_packing(count))
        yarn = Yarn(
            fibre(sort.fibre), tex, GREY, packing, sort.flattening.usual, sort.kind,
            filaments=count, gum=sort.gum, twist_turns_m=sort.twist(tex).usual,
            dull_per_mm=LUSTRES[sort.lustre].usual,
        )  # fmt: skip
        assert yarn.filaments == count
    assert "no source" in sort.source


def test_every_fibre_has_a_usual_yarn():
    for name in FIBRES:
        assert usual_yarn(name, "spun").kind == "spun"
        assert usual_yarn(name).fibre == name
    assert usual_yarn("wire").fineness_dtex is None  # what is unknown is one solid rod
    with pytest.raises(InputError, match="'felt' is no kind of yarn"):
        usual_yarn("silk", "felt")
    with pytest.raises(InputError, match="lies outside"):
        Span(1.0, 2.0, 3.0)


def test_forty_to_a_hundred_and_fifty_fibres_in_spun_yarn():
    # usual of the counts of apparel, Ne 20 to Ne 60 (common practice, no source)
    counts = [usual_yarn("cotton", "spun").filaments(590.54 / ne) for ne in (24, 40, 60)]
    assert all(40 <= n <= 150 for n in counts) and counts == sorted(counts, reverse=True)


def test_indices_and_density_of_a_fibre_end_where_no_fibre_lies_beyond():
    edge = Fibre("edge", 1.3, 1.9, 0.85)
    assert Fibre("edge", 1.9, 1.3, 3.0).index == pytest.approx((1.9 + 2.6) / 3.0)
    for change, field in (
        ({"n_parallel": 1.91}, "index"), ({"n_parallel": 1.29}, "index"),
        ({"n_perpendicular": 1.91}, "index"), ({"n_perpendicular": 1.29}, "index"),
        ({"density_g_cm3": 0.84}, "density"), ({"density_g_cm3": 3.01}, "density"),
    ):  # fmt: skip
        (value,) = change.values()
        with pytest.raises(InputError, match=f"^{field}: must be from .*, got {value}"):
            replace(edge, **change)


@pytest.mark.parametrize("steep", [64.0, 66.0])
def test_outer_filaments_lie_at_the_angle_of_a_helix(steep):
    # tan of the angle is the circumference times turns to the length: 0.1 mm of solid fibre of
    # density 1 is pi/4 x 1e-4 cm2, 7.85 tex at packing 1, 10.5 tex at 0.75 and 1.33 g/cm3
    thick = 0.5
    yarn = Yarn(
        Fibre("unit", 1.5, 1.5, 1.0), math.pi * thick**2 / 4 * 1e3 * 0.75, GREY, 0.75, filaments=60
    )
    assert yarn.diameter_mm == pytest.approx(thick)
    turns = 1000.0 * math.tan(math.radians(steep)) / (math.pi * thick)
    if steep < 65.0:
        assert replace(yarn, twist_turns_m=turns).twist_turns_m == turns
        return
    with pytest.raises(InputError) as caught:
        replace(yarn, twist_turns_m=turns)
    assert str(caught.value) == (
        f"twist_turns_m: {turns:g} turns/m lay the outer filaments of a yarn 0.5 mm thick at 66 "
        "degrees, at most 65; give fewer turns"
    )


@pytest.mark.parametrize("name", [n for n in USUAL if n.endswith(" spun")])
def test_spun_yarn_for_cloth_is_not_twisted_past_its_strongest(name):
    # From memory: spun yarn is strongest where its outer fibres lie at some 25 to 30 degrees, and
    # below some 10 degrees they slide; only voile and crepe are twisted harder.
    sort = USUAL[name]
    for tex in (10.0, 40.0):
        twist = sort.twist(tex)
        thick = Yarn(fibre(sort.fibre), tex, GREY, sort.packing.usual, kind="spun").diameter_mm

        def angle(turns, thick=thick):
            return math.degrees(math.atan(math.pi * thick * turns / 1000.0))

        assert 10.0 < angle(twist.low) < 23.0
        assert 16.0 < angle(twist.usual) < 26.0
        assert angle(twist.usual) < angle(twist.high) < 31.0


@pytest.mark.parametrize(
    ("of", "kind", "tex", "gum"),
    [("polyester", "filament", 75 / 9, None), ("cotton", "spun", 10.0, None),
     ("silk", "filament", 21 / 9, True), ("nylon", "filament", 0.5, None)],
)  # fmt: skip
def test_what_nobody_told_is_supposed_alike_in_python_and_in_a_file(tmp_path, of, kind, tex, gum):
    """One cloth has one answer and one range, whichever way it is told."""
    yarn = Yarn(fibre(of), tex, GREY, kind=kind, gum=bool(gum))
    made = Cloth("own", yarn, yarn, weave("plain"), 20.0, 18.0)
    told = {"fibre": of, "kind": kind, "count": f"{tex!r} tex", **({"gum": gum} if gum else {}),
            "colour": {"wavelengths": list(WAVELENGTHS), "reflectance": list(GREY)}}  # fmt: skip
    read = cloth_from_dict({"name": "own", "weave": "plain", "ends": "20 /cm", "picks": "18 /cm",
                            "warp": told, "weft": told})  # fmt: skip
    asked = [row for row in read.known if not row[0].endswith(".gum")]
    assert [name for name, _ in made.known] == [name for name, _ in asked]
    assert all(how.way == "assumed" for _, how in made.known)
    for (name, one), (_, other) in zip(made.known, asked, strict=True):
        assert (one.low, one.high) == pytest.approx((other.low, other.high)), name
        assert one.source == other.source
    for name in ("filaments", "packing", "flattening", "dull_per_mm"):
        assert getattr(made.warp, name) == getattr(read.warp, name)
    assert made.warp.twist_turns_m == pytest.approx(read.warp.twist_turns_m, rel=5e-3)
    assert known_of([made]).yarn_assumed
    again = load_cloth(save_cloth(tmp_path / "own.toml", replace(made, warp_share=0.5)))
    assert again.known == made.known


def test_a_number_told_is_no_longer_supposed():
    bare = Yarn(fibre("polyester"), 75 / 9, GREY)
    assert [name for name, _ in bare.supposed] == [
        "filaments", "packing", "flattening", "twist_turns_m", "dull_per_mm"
    ]  # fmt: skip
    finer = replace(bare, tex=5.0, colour=np.full(41, 0.2))
    assert finer.supposed == bare.supposed
    told = replace(bare, packing=0.55, filaments=24)
    assert [name for name, _ in told.supposed] == ["flattening", "twist_turns_m", "dull_per_mm"]
    all_told = Yarn(fibre("polyester"), 75 / 9, GREY, 0.6, 1.0, filaments=36, twist_turns_m=0.0,
                    dull_per_mm=0.0, section=1.0)  # fmt: skip
    cloth = Cloth("own", all_told, told, weave("plain"), 20.0, 18.0)
    assert [name for name, _ in cloth.known] == [
        "weft.flattening", "weft.twist", "weft.dull_per_mm"
    ]  # fmt: skip
    assert not all_told.supposed
    own = {"weft.twist": HowKnown.stated("the mill")}
    assert dict(replace(cloth, known=own).known)["weft.twist"] == own["weft.twist"]


def test_close_cloth_told_in_python_is_pressed_by_its_neighbours_as_in_a_file():
    yarn = Yarn(fibre("silk"), 60 / 9, GREY)
    close = Cloth("satin", yarn, yarn, weave("satin 5/2"), 100.0, 40.0)
    assert covers(close)[0] > 1.0
    assert covers(laid(close).layers[0].cloth)[0] == pytest.approx(0.99, abs=1e-3)


@pytest.mark.parametrize(
    ("make", "line"),
    [
        (lambda: Yarn("silk", 2.3, GREY), "fibre: a Fibre, such as fibre('silk'), got 'silk'"),
        (lambda: Yarn(fibre("silk"), "21 denier", GREY),
         "tex: must be a number from 0.05 to 10000 tex, got '21 denier'"),
        (lambda: replace(RAW, packing=True), "packing: must be a number from 0.1 to 1, got True"),
        (lambda: Yarn(fibre("silk"), 2.3, "red"),
         "a yarn's colour is 41 numbers, one for each band, got 'red'"),
        (lambda: Cloth("a", RAW, RAW, "plain", 40.0, 38.0), "weave: must be a Weave, got 'plain'"),
        (lambda: Cloth("a", RAW, "silk", weave("plain"), 40.0, 38.0),
         "weft: must be a Yarn, got 'silk'"),
        (lambda: Cloth("a", RAW, RAW, weave("plain"), "40 /cm", 38.0),
         "ends: must be a number from 0.2 to 500 threads/cm, got '40 /cm'"),
        (lambda: Weave("felt", ((1, 1), (1, 1))),
         "end 1 never interlaces, so the cloth would fall apart; every end and pick must change "
         "sides at least once"),
    ],
)  # fmt: skip
def test_what_is_no_yarn_and_no_cloth_is_told_in_one_line(make, line):
    with pytest.raises(InputError) as caught:
        make()
    assert str(caught.value) == line


def test_the_closest_packings_of_equal_circles_by_their_geometry():
    """How many radii of a circle the one about n of them is, in closed form, of those that have one
    (Graham and others, Discrete Math. 181 (1998) 139; Pirl, Math. Nachr. 40 (1969) 111; from
    memory): n over the square of that, cut off to three places."""
    def ring(n):
        return 1.0 + 1.0 / math.sin(math.pi / n)

    across = {
        2: ring(2), 3: ring(3), 4: ring(4), 5: ring(5), 6: ring(6), 7: ring(6), 8: ring(7),
        9: ring(8), 11: 1.0 + 1.0 / math.sin(math.pi / 9), 13: 2.0 + math.sqrt(5.0),
        18: 1.0 + math.sqrt(2.0) + math.sqrt(6.0), 19: 1.0 + math.sqrt(2.0) + math.sqrt(6.0),
    }  # fmt: skip
    for n, radii in across.items():
        assert greatest_packing(n) == pytest.approx(math.floor(1e3 * n / radii**2) / 1e3)
