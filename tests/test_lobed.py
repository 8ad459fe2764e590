"""Lobed filaments: traced as rounded triangles, and what is drawn of those that nobody told of,
against explicit lobed ones."""

import json
from dataclasses import replace
from pathlib import Path

import accuracy
import numpy as np
import pytest
from test_layer_optics import cloth

from weavecolor.errors import InputError
from weavecolor.files.clothfile import cloth_from_dict, cloth_from_toml, cloth_to_toml
from weavecolor.optics import mightbe_build
from weavecolor.optics.cell.filaments import FilamentCell, Strand, even, follow, kept
from weavecolor.optics.uncertainty import known_of
from weavecolor.textile.fibres import fibre
from weavecolor.textile.notmodelled import not_modelled
from weavecolor.textile.usual import ROUND, SECTIONS, Span, usual_section
from weavecolor.textile.yarn import Yarn

TRACED = json.loads((Path(__file__).parent / "data" / "lobed.json").read_text("utf-8"))
DYES, WOUND_DYES = (np.log(TRACED[key]) for key in ("dyes", "wound_dyes"))


def filaments(dull=0.0, fibre_name="polyester", filaments=16, colour=0.5):
    made = cloth(warp=colour, weft=colour, ends=40.0, picks=38.0, filaments=filaments, dull=dull)
    was = made.warp
    yarn = Yarn(
        fibre(fibre_name), was.tex, was.colour, was.packing, was.flattening, filaments=filaments,
        twist_turns_m=was.twist_turns_m, dull_per_mm=dull,
    )  # fmt: skip
    return replace(made, warp=yarn, weft=yarn, known=())


def _along(dyes, values, degree, at):
    """Logarithms of traced shares at logarithms of dye between and about those traced."""
    return np.polyval(np.polyfit(dyes, np.log(values), degree), at)


@pytest.mark.parametrize("kind, section, size", [(0, 1, 0.3), (0, 2, 0.75), (1, 1, 1.0)])
def test_lobes_move_light_as_is_drawn(kind, section, size):
    """Of cloth whose wound thread looks the same: lobed it must have more dye."""
    plain, lobed = (TRACED["kinds"][kind]["sections"][k] for k in (0, section))
    told = np.exp(_along(WOUND_DYES, plain["wound"], 3, DYES))
    many = np.linspace(-5.0, 2.0, 5000)
    wound = np.exp(_along(WOUND_DYES, lobed["wound"], 3, many))
    dyed = many[np.abs(wound[:, None] - told).argmin(axis=0)]
    assert np.all(dyed > DYES)
    moved = []
    for name, was in plain["cloths"].items():
        now = {key: _along(DYES, values, 2, dyed) for key, values in lobed["cloths"][name].items()}
        let = [
            np.log((over - sent) / 0.85)
            for over, sent in (
                (np.array(was["over_white"]), np.array(was["reflected"])),
                (np.exp(now["over_white"]), np.exp(now["reflected"])),
            )
        ]  # fmt: skip
        moved.append((let[1] / let[0] - 1.0, now["reflected"] - np.log(was["reflected"])))
    for traced, drawn in zip(np.mean(moved, axis=0), mightbe_build._LOBED, strict=True):
        at = np.interp(told, mightbe_build._WOUND, drawn)
        assert size * at == pytest.approx(traced, abs=0.09)


def test_bright_nylon_and_polyester_may_be_lobed_and_silk_is_somewhat():
    for name in ("nylon", "polyester"):
        assert usual_section(name, "filament", 0.0, 16) == Span(1.0, 1.0, 1.5)
        assert usual_section(name, "filament", 4.0, 16) == ROUND  # semi-dull
        assert usual_section(name, "spun", 0.0, 60) == usual_section(name, "filament", 0.0, 1)
    silk = filaments(fibre_name="silk").warp
    assert silk.section == 1.3 and ("section", SECTIONS["rounded triangle"]) in silk.supposed
    rod = filaments(fibre_name="silk", filaments=1).warp
    assert rod.section == 1.0 and "section" not in dict(rod.supposed)
    assert replace(silk, section=1.0, supposed=()).section == 1.0
    assert 1.0 < filaments(fibre_name="viscose").warp.section < silk.section
    assert filaments(fibre_name="wool").warp.section == 1.0
    with pytest.raises(InputError, match="section"):
        replace(silk, section=2.0)


def test_what_lobes_would_do_is_said_and_lies_in_the_range():
    """Of a cloth of which all else is told."""
    told = filaments()
    said = known_of([told]).contradictions
    assert len(said) == 1 and "as often trilobal as round" in said[0]
    assert not known_of([filaments(dull=4.0)]).contradictions
    hinders, back = mightbe_build.moved_by_build(told)
    more = hinders[:, 20] > 0.0
    assert 0.35 < more.mean() < 0.65 and not back[~more].any()
    # two fibres may differ in it, one fibre does not
    mixed = replace(told, weft=filaments(fibre_name="nylon").weft)
    one, other = mightbe_build.more_lobed(mixed)
    assert (one > 0.0).any() and not np.array_equal(one > 0.0, other > 0.0)
    assert np.array_equal(*mightbe_build.more_lobed(told))
    # silk is told as lobed, and lies to both sides of it
    silk = mightbe_build.more_lobed(filaments(fibre_name="silk"))
    assert np.array_equal(*silk) and silk.min() < -0.4 and 0.02 < silk.max() < 0.2
    # and where the mill tells its section nothing is left open
    for section in (1.0, 1.5):
        stated = replace(told, **{
            system: replace(getattr(told, system), section=section, supposed=())
            for system in ("warp", "weft")
        }, known=())  # fmt: skip
        assert not known_of([stated]).contradictions and not mightbe_build.more_lobed(stated).any()


def test_a_name_that_tells_of_many_lobes_is_answered():
    for word in ("octalobal organza", "Multi-lobal polyester"):
        assert "lobes" in not_modelled(word).what
    assert not_modelled("trilobal organza") is None


def rods(section, rng):
    """Rods of .1 every .25, crossed, each turned at random; two of them are a yarn here."""
    strands = [
        Strand(0.7, 0.24, 2, 2 * 0.05**2 / (0.35 * 0.12), 1.55, section=section, centres=tuple(
            (at, 0.0, turn) for at, turn in zip((-2.5, 2.5), rng.uniform(0, 2 * np.pi, 2),
                                                strict=True)))
        for _ in range(2)
    ]  # fmt: skip
    cell = FilamentCell(((1,),), *strands, 0.5, 0.5, 0.056, 0.056)
    assert cell.warp.filament_radius == pytest.approx(0.05)
    return cell


@pytest.mark.parametrize(
    ("section", "traced"), [(1.0, (0.076, 0.252)), (1.1 / 0.9, (0.181, 0.367))]
)
def test_rods_that_are_not_round_send_back_as_traced_elsewhere(section, traced):
    """By the tracer of lobed.json and by mitsuba, which agree within .003 (its ``about``)."""
    rng, found = np.random.default_rng(3), []
    for _ in range(1 if section == 1.0 else 40):
        cell, sent = rods(section, rng), []
        for zenith in np.radians([0.0, 60.0]):
            toward = np.array([*[np.sin(zenith) / 2**0.5] * 2, np.cos(zenith)])
            rays = follow(cell, np.tile(toward, (1500, 1)), np.ones(1500))
            sent.append(rays.weight[rays.toward[:, 2] > 0].sum())
        found.append(sent)
    noise = np.std(found, axis=0) / max(len(found), 2) ** 0.5
    assert noise.max() < 0.01
    assert np.all(np.abs(np.mean(found, axis=0) - traced) < 0.004 + 2.5 * noise)


def test_cloth_of_lobed_filaments_moves_as_traced():
    figure = accuracy.lobed()
    assert figure.holds, figure


@pytest.mark.parametrize("section", [1.1, 1.4, 1.8])
def test_clear_lobed_filaments_lose_no_light_and_are_seen_alike_both_ways(section):
    """Energy, and reciprocity in even light: what goes through from above goes through from below
    (H. C. van de Hulst, Light Scattering by Small Particles, 1957, ch. 3)."""
    thread = Strand(0.12, 0.08, 9, 0.55, section=section)
    other = Strand(0.1, 0.1, 7, 0.6, twist=4.0, section=section)
    cell = FilamentCell(((1, 1, 0), (0, 1, 1), (1, 0, 1)), thread, other, 0.2, 0.22, 0.05, 0.05)
    absorption = np.array([[0.0, 0.0], [8.0, 2.0]])
    (above, free), (below, free_) = (even(cell, 40_000, up) for up in (True, False))
    sent, got = above @ kept(cell, absorption), below @ kept(cell, absorption)
    assert sent[:, 0].sum() + free == pytest.approx(1.0, abs=2e-3)
    assert sent[1] + free == pytest.approx(got[0] + free_, abs=0.008)


def test_a_file_tells_a_section_by_its_word_or_its_ratio():
    """A word leaves open how far; a ratio is that."""
    yarn = {"fibre": "polyester", "count": "75D/36F", "lustre": "bright", "colour": "#3050c0"}
    told = {"name": "Own", "weave": "satin 5/2", "ends": "60 /cm", "picks": "36 /cm"}
    made = cloth_from_dict({**told, "warp": {**yarn, "section": "trilobal"},
                            "weft": {**yarn, "section": 1.4}})  # fmt: skip
    known = dict(made.known)
    assert (made.warp.section, made.weft.section) == (1.5, 1.4)
    assert known["warp.section"].way == "assumed" and "weft.section" not in known
    assert not known_of([made]).contradictions
    assert cloth_from_toml(cloth_to_toml(made)) == made
    with pytest.raises(InputError, match=r"warp\.section: .*trilobal, or a ratio such as"):
        cloth_from_dict({**told, "warp": {**yarn, "section": "starry"}, "weft": yarn})
