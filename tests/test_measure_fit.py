"""The fit: the same optics as the rest, true slopes, honest spread, and the round trip.

How often the truth lies in the stated ranges is told by ``python -m tests.fit_coverage``.
"""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import replace

import numpy as np
import pytest
from camera import (
    BARE,
    COLUMNS,
    ROWS,
    STRIP,
    SWATCH,
    WARP_THREADS,
    WEFT_THREADS,
    Room,
    photograph,
    photographed,
    picture_of,
    shots_of,
    thread_over,
)
from conftest import _with_effort
from fit_coverage import invented
from scipy.stats import binom

from weavecolor.cli import run
from weavecolor.colour.colorimetry import ciede2000
from weavecolor.colour.screen import channels_in_light
from weavecolor.colour.spectra import BANDS
from weavecolor.errors import InputError
from weavecolor.files.clothfile import (
    cloth_from_toml,
    cloth_to_toml,
    load_swatch,
    read_cloth,
)
from weavecolor.measure import parameters as p
from weavecolor.measure.fit import fit_cloth
from weavecolor.measure.fit_problem import Problem, directional, mixture, start_unknowns
from weavecolor.measure.fit_surface import smooth
from weavecolor.measure.observations import (
    Known,
    check_grounds,
    moved_lamp,
    seen_colour,
    seen_spectrum,
    thread_colour,
)
from weavecolor.measure.photograph import read_photograph
from weavecolor.measure.swatchpair import lab_of
from weavecolor.measure.tocloth import fitted_cloth, report, start_cloth
from weavecolor.optics.appearance import appearance
from weavecolor.optics.cell import filaments
from weavecolor.optics.dye import absorption
from weavecolor.optics.fitted import places
from weavecolor.optics.mightbe import lots, lots_in, open_colour
from weavecolor.optics.mightbe_sheen import GLINT
from weavecolor.optics.onelayer import between, laid, one_layer, over_backing
from weavecolor.optics.stack import Layer, Stack
from weavecolor.optics.uncertainty import known_of, of_colour, of_difference, reasons
from weavecolor.scene.backings import Backing, backing
from weavecolor.scene.places import scene
from weavecolor.textile.construction import check_weavable, cloth_mass_g_m2, covers, openness

SIDE = scene("window at the side")
ORGANZA = "shot-organza-red-black"


def grey(name: str, value: float) -> Backing:
    return Backing(name, np.full(BANDS, value))


@pytest.mark.parametrize(("grain", "face"), [(0.0, "face"), (37.0, "back")])
def test_forward_is_the_same_optics(grain, face):
    """Against ``appearance``, which is tested against path tracing and tables: by other rays."""
    cloth = load_swatch(ORGANZA)
    ready = one_layer(cloth, [laid(SIDE, grain, face), laid(SIDE, 90.0, "face")])
    value, slopes = between(ready, np.stack([absorption(cloth.warp), absorption(cloth.weft)], 1))
    behind = backing("calico")
    factors, _ = over_backing(ready, 0, value, slopes, behind.reflectance)
    fall = SIDE.lights[0].irradiance * np.cos(np.radians(SIDE.lights[0].zenith_deg))
    radiance = factors[:, 0] * fall + factors[:, 1] * SIDE.diffuse
    true = appearance(Stack((Layer(cloth, grain, face),), behind), SIDE).radiance
    assert radiance == pytest.approx(true, rel=0.01)


def test_forward_slopes():
    cloth = load_swatch(ORGANZA)
    ready = one_layer(cloth, [laid(SIDE, 0.0, "face")], 0.1)
    dye = np.array([[2.0, 15.0], [40.0, 0.5]])
    behind = np.array([0.8, 0.3])

    def factors(ln, ground):
        return over_backing(ready, 0, *between(ready, np.exp(ln)), ground)[0]

    _, slopes = over_backing(ready, 0, *between(ready, dye), behind)
    for k in range(2):
        step = 1e-4 * np.eye(2)[k]
        numeric = (factors(np.log(dye) + step, behind) - factors(np.log(dye) - step, behind)) / 2e-4
        assert slopes[k] == pytest.approx(numeric, rel=1e-4, abs=1e-6)
    numeric = (factors(np.log(dye), behind + 1e-4) - factors(np.log(dye), behind - 1e-4)) / 2e-4
    assert slopes[2] == pytest.approx(numeric, rel=1e-4)


@pytest.fixture(scope="module")
def small():
    """What was seen of a cloth, with the light of twelve constructions; not to be changed."""
    start = start_cloth("x", 40.0, 36.0)
    seen = [
        seen_colour("w", [0.5, 0.3, 0.2], [0.01] * 3, grey("white", 0.87), paper_error=0.03),
        seen_colour("b", [0.3, 0.1, 0.05], [0.01] * 3, grey("black", 0.04), paper_error=0.03),
    ]
    threads = [thread_colour("warp", [0.5, 0.1, 0.1], [0.02] * 3),
               thread_colour("weft", [0.2, 0.2, 0.1], [0.02] * 3, opaque=True)]  # fmt: skip
    known = [Known("weight", 25.0, 2.0), Known("open share", 0.3, 0.05)]
    problem = Problem.of(start, seen, threads, known)
    unknowns = start_unknowns(start, seen, threads)
    middle, width = unknowns.prior_mean()[: p.SLOW], np.full(p.SLOW, 0.2)
    with contextmanager(_with_effort)(filaments, 1.0):  # few rays bend the surface
        traced = [problem.traced(unknowns, at) for at in places(middle, width, 12)]
    problem.surface = smooth(traced, middle, width)
    return problem, unknowns


def test_slopes_of_everything(small):
    """Chain of slopes against differences, every parameter."""
    problem, unknowns = small
    rng = np.random.default_rng(3)
    x = unknowns.prior_mean() + 0.1 * rng.standard_normal(p.SIZE)
    _, slope = problem.residual(unknowns, x)
    for k in range(p.SIZE):
        step = np.zeros(p.SIZE)
        step[k] = 1e-3
        numeric = (problem.residual(unknowns, x + step)[0]
                   - problem.residual(unknowns, x - step)[0]) / 2e-3  # fmt: skip
        near = 0.03 * np.abs(numeric).max() if k < p.SLOW else 2e-3  # one-sided there
        assert slope[:, k] == pytest.approx(numeric, rel=2e-3, abs=near), k


def test_parameters_make_weavable_cloth_of_the_covers_asked():
    start = start_cloth("x", 44.0, 30.0)
    curves = np.zeros((2, BANDS))
    unknowns = p.Unknowns(start, curves, curves)
    for warp, weft in ((0.1, 0.2), (0.5, 0.5), (0.6, 0.6), (0.93, 0.5), (0.9, 0.9)):
        x = unknowns.prior_mean()
        x[:2] = p.logit([warp, weft])
        cloth = unknowns.cloth(x)
        check_weavable(cloth)
        assert covers(cloth) == pytest.approx((warp, weft), abs=1e-9)
        assert openness(cloth) == pytest.approx((1 - warp) * (1 - weft), abs=1e-9)
    # looser yarn of the same width weighs as much less
    x[p.PACKING] = -0.1
    assert cloth_mass_g_m2(unknowns.cloth(x)) == pytest.approx(
        np.exp(-0.1) * cloth_mass_g_m2(cloth), rel=1e-4  # the closest packing bends it a little
    )


def test_recentring_keeps_the_cloth(small):
    _, unknowns = small
    x = unknowns.prior_mean()
    x[p.SLOW : p.SLOW + 24] += 0.3
    again, moved = unknowns.recentred(x)
    before, after = unknowns.cloth(x), again.cloth(moved)
    for one, other in ((before.warp, after.warp), (before.weft, after.weft)):
        Lab = [lab_of(p.linear_of(y.colour)) for y in (one, other)]
        assert ciede2000(*Lab) < 0.5


def test_photographs_settle_what_they_can(one_fit):
    fit = one_fit.fit
    assert fit.converged and fit.misfit < 1.5 and fit.residual_de < 4.0
    assert all(one_fit.held[name] for name in ("warp cover", "weft cover", "open share")), one_fit
    # were each held 90 times in 100, fewer than so many would be seen in one of a hundred fits
    least = binom.ppf(0.01, len(one_fit.held), 0.9)
    assert sum(one_fit.held.values()) >= least, one_fit.off
    for q in fit.quantities:
        assert q.around[0] <= q.value <= q.around[1] or q.name.endswith("colour")


@pytest.mark.usefixtures("every_ray")
def test_a_fit_shows_its_own_cloth(one_fit):
    """What a fit says it shows is what ``appearance`` gives of its cloth, lamp and paper as fitted:
    not what a surface smoothed over its neighbours."""
    fit = one_fit.fit
    x = fit.values
    for one, told in zip(one_fit.seen, fit.residuals, strict=False):
        assert told.seen == pytest.approx(lab_of(one.value))
        lamp, sky, *_ = mixture(directional(one.scene), one.light_error, x[p.LIGHT])
        lift = np.exp(one.paper_error * x[p.PAPER])
        (light,) = one.scene.lights
        there = replace(light, zenith_deg=moved_lamp(light.zenith_deg, x[p.LAMP]))
        there = replace(
            there, irradiance=lamp * light.irradiance * light.on_cloth[0] / there.on_cloth[0]
        )
        place = replace(one.scene, lights=(there,), diffuse=sky * one.scene.diffuse)
        behind = Backing("ground", lift * np.asarray(one.backing.reflectance))
        pile = Stack((Layer(fit.cloth, one.grain_deg),), behind)
        factor = appearance(pile, place).radiance_factor
        white = channels_in_light(one.channels, there.on_cloth + place.diffuse)
        assert float(ciede2000(told.shown, lab_of(white @ factor / lift))) < 2.5


def test_pictures_that_do_not_agree_make_every_answer_of_the_cloth_less_sure(one_fit):
    """A turned picture of another cloth, say: what the cloth is shown off by stands in its file,
    and no answer forgets it."""
    fit = replace(one_fit.fit, misfit=40.0)
    agreed, other = fitted_cloth(one_fit.fit), fitted_cloth(fit)
    assert "shown" not in dict(agreed.known)
    kept = cloth_from_toml(cloth_to_toml(other))
    known = known_of([kept])
    assert known.off == pytest.approx(fit.residual_de) and known_of([agreed]).off == 0.0
    assert f"shown {fit.residual_de:.1f} CIEDE2000 off" in " ".join(reasons(known))
    # a sample that corrects it does not make its pictures agree
    after = fitted_cloth(replace(one_fit.fit, cloth=kept))
    assert dict(after.known)["shown"] == dict(kept.known)["shown"]


def test_file_holds_the_cloth_and_what_was_not_settled(one_fit):
    fit = one_fit.fit
    cloth = fitted_cloth(fit, "Organza as measured")
    again = cloth_from_toml(cloth_to_toml(cloth))
    assert again.name == "Organza as measured"
    assert covers(again) == pytest.approx(covers(fit.cloth), rel=1e-9)
    assert absorption(again.warp) == pytest.approx(absorption(fit.cloth.warp), rel=1e-6)
    for settled, word in ((True, "fitted: "), (False, "assumed, the pictures do not settle it: ")):
        every = tuple(replace(q, settled=settled) for q in fit.quantities)
        sources = dict(fitted_cloth(replace(fit, quantities=every)).sources)
        assert all(sources[f"{system} cover"].startswith(word) for system in ("warp", "weft"))
    assert not known_of([again]).yarn_assumed
    text = report(fit)
    assert "not settled" in text and "What was given can tell:" in text
    assert all(len(line) <= 110 for line in text.splitlines())
    # what a search leaves of nothing is told as nothing, and no number as a power of ten
    bare = [replace(q, value=7.4e-15) for q in fit.quantities if q.name == "dullness"]
    heavy = replace(bare[0], name="weight", value=104.2, around=(20.0, 1234.0), unit="g/m2")
    text = report(replace(fit, quantities=(*bare, heavy)))
    assert "how milky the fibre is: 0 per mm" in text
    assert "weight: 104 g/m2, 20 to 1200 at least nine times in ten" in text


def test_advice_never_asks_for_what_was_given(one_fit):
    for q in one_fit.fit.quantities:
        if "weight" in one_fit.fit.given:
            assert "weigh" not in q.advice
        if "turned" in one_fit.fit.given:
            assert "turned" not in q.advice
        if "over black" in one_fit.fit.given:
            assert "over black" not in q.advice


@pytest.mark.parametrize("words", ["fitted to what was seen; sheen and lustre as usual",
                                   "assumed: fitted as matt yarn, 6.5 CIEDE2000 off what was seen"])
def test_a_cloth_fitted_as_matt_is_not_known_well(words):
    """Also one that an earlier state fitted: its yarns count as assumed, and what is told of a
    fitted cloth is at least as wide as what its own pictures missed by."""
    plain = replace(load_swatch(ORGANZA), sources=(), remarks=(), known=())
    kept = cloth_to_toml(plain) + f'[source]\n"yarn optics" = "{words}"\n'
    fitted = cloth_from_toml(kept)
    narrow, wide = known_of([plain]), known_of([fitted])
    assert wide.yarn_assumed and not narrow.yarn_assumed
    assert of_colour(wide, 0.0).stated > of_colour(narrow, 0.0).stated
    assert of_difference(5.0, wide, 0.0).stated > of_difference(5.0, narrow, 0.0).stated
    assert wide.off == (6.5 if "6.5" in words else 6.0)
    assert min(of_colour(wide, 0.0).stated, of_difference(5.0, wide, 0.0).stated) > wide.off
    assert of_difference(0.0, wide, 0.0).stated < 1.0


def test_a_fit_leaves_open_what_was_not_seen(one_fit):
    """Its cloth and that cloth in its file, read again, are drawn alike; what was photographed, as
    a share of its light, less widely than another ground in another light. Over a ground that was
    photographed they keep to what the pictures leave open, which without them they do not."""
    mine = fitted_cloth(one_fit.fit)
    again = cloth_from_toml(cloth_to_toml(mine))
    single, turned = Stack((Layer(mine),)), Stack((Layer(mine, 90.0),))
    (over_white,) = lots(single, [grey("white", 0.87)], SIDE)
    (reopened,) = lots(Stack((Layer(again),)), [grey("white", 0.87)], SIDE)
    assert reopened == pytest.approx(over_white, abs=0.02)
    look = appearance(replace(single, backing=grey("white", 0.87)), SIDE).reading.Lab
    aside = appearance(replace(turned, backing=grey("dark", 0.1)), scene("ballroom")).reading.Lab
    (over_dark,) = lots(turned, [grey("dark", 0.1)], scene("ballroom"))
    seen, unseen = open_colour(look, over_white), open_colour(aside, over_dark)
    assert min(seen, unseen) > 0.2 and max(seen, unseen) < 15.0

    def share_open(Lab):
        return np.std(np.log(((16.0 + Lab[:, 0]) / 116.0) ** 3))

    shares = share_open(over_white), share_open(over_dark)
    assert shares[0] < shares[1]
    unsure = np.sqrt(np.diag(one_fit.fit.looks.covariance)[:3]) / one_fit.fit.looks.values[0]
    blind = {k: how for k, how in mine.known if k != "photographed"}
    (free,) = lots(Stack((Layer(replace(mine, known=blind)),)), [grey("white", 0.87)], SIDE)
    # the pictures, and what smooth yarn may mirror of another window
    left = np.hypot(unsure, 0.7 * GLINT["rods"] / one_fit.fit.looks.values[0]).max()
    assert 1.3 * unsure.max() < share_open(free)
    assert 0.005 < shares[0] < 1.3 * left
    assert open_colour(look, free) > seen


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: fit_cloth(start_cloth("x", 40, 40), []), "at least the cloth's colour"),
        (lambda: Known("thickness", 1.0, 0.1), "not what a fit can use"),
        (lambda: Known("weight", 30.0, 0.0), "uncertainty above 0"),
        (lambda: Known("open share", 1.3, 0.1), "0 to 1"),
        (lambda: start_cloth("x", 0.0, 40), "1 to 300"),
        (lambda: start_cloth("x", 40, 40, warp_kind="wool"), "filament or spun"),
        (lambda: start_cloth("x", 40, 40, warp_tex=-1.0), "no yarn"),
        (lambda: seen_colour("w", [0.5, 0.5], [0.1, 0.1], grey("w", 0.9)), "3 values"),
        (lambda: seen_colour("w", [50, 50, 50], [1, 1, 1], grey("w", 0.9)), "within 0 and 1"),
        (lambda: seen_colour("w", [0.5] * 3, [0.1] * 3, grey("w", 0.9),
                             light="lightbox behind"), "in front"),
        (lambda: seen_colour("w", [0.5] * 3, [0.1] * 3, grey("w", 0.9), face="up"), "face"),
        (lambda: thread_colour("selvedge", [0.5] * 3, [0.1] * 3), "warp or weft"),
    ],
)  # fmt: skip
def test_refusals(make, words):
    with pytest.raises(InputError, match=words):
        make()


def _by_spectra(white: float, black: float, over: tuple[float, float]) -> list[object]:
    return [
        seen_spectrum(f"over {name}", np.full(BANDS, value), 0.01, grey(name, ground))
        for name, value, ground in (("white", over[0], white), ("black", over[1], black))
    ]


def test_exchanged_grounds_are_refused():
    check_grounds(_by_spectra(0.89, 0.0, (0.5, 0.3)), 0.01)
    check_grounds(_by_spectra(0.89, 0.0, (0.3, 0.31)), 0.01)  # opaque, within the reading's error
    for case, words in (
        (_by_spectra(0.0, 0.89, (0.5, 0.3)), "white ground"),
        (_by_spectra(0.89, 0.5, (0.5, 0.3)), "black ground"),
        (_by_spectra(0.89, 0.02, (0.3, 0.5)), "exchanged"),
    ):
        with pytest.raises(InputError, match=words):
            check_grounds(case, 0.01)


def _marked(picture: str, boxes: dict[str, tuple[int, ...]]) -> list[str]:
    out = []
    for label, box in boxes.items():
        out += ["--mark", f"{picture}:{label}={','.join(str(side) for side in box)}"]
    return out


def crossed(cloth) -> Stack:
    """Two layers, the lower one turned a quarter, over calico."""
    return Stack((Layer(cloth, 0.0), Layer(cloth, 90.0)), backing("calico"))


@pytest.mark.usefixtures("quarter_rays")
def test_from_photographs_to_an_unseen_stack(tmp_path, capsys):
    """Files in, cloth file out, and that cloth asked for two layers cross grain over calico in
    other lights: within what is told of it, and within 3 CIEDE2000 where no lamp stands near the
    mirror's place of smooth yarn."""
    rng = np.random.default_rng([20, 2])
    (sort, cloth), room = invented(rng), Room.drawn(rng)
    laid_down = (("white", "white", 0), ("black", "black", 0), ("turned", "white", 90))
    for name, over, grain in laid_down:
        data = photograph(picture_of(cloth, over, grain, room), room, rng)
        (tmp_path / f"{name}.jpg").write_bytes(data)
    out, pictures = tmp_path / "mine.toml", {n: str(tmp_path / f"{n}.jpg") for n in
                                             ("white", "black", "turned")}  # fmt: skip
    swatch, bare = {"swatch over white": SWATCH}, {"warp thread": WARP_THREADS,
                                                   "weft thread": WEFT_THREADS}  # fmt: skip
    on_black = {"swatch over black": SWATCH, "card": BARE, "paper": STRIP}
    words = [
        "measure", "photos", pictures["white"], pictures["black"], "--turned", pictures["turned"],
        "--frayed", pictures["white"], "--frayed-black", pictures["black"], "--like", sort,
        "--ends", f"{cloth.ends_per_cm} /cm", "--picks", f"{cloth.picks_per_cm} /cm",
        "--name", "Organza in hand", "--out", str(out),
        *_marked("white", swatch), *_marked("turned", swatch), *_marked("black", on_black),
        *_marked("frayed", {**swatch, **bare}), *_marked("frayed black", {**on_black, **bare}),
    ]  # fmt: skip
    assert run(words) == 0
    text = capsys.readouterr().out
    assert text.startswith("Organza in hand") and "turned a quarter" in text
    assert "the search stopped" not in text
    made = read_cloth(out)
    off, told, names = {}, {}, ("noon outdoors", "overcast", "ballroom")
    might = lots_in(crossed(made), [backing("calico")], [scene(name) for name in names])
    for name, (drawn,) in zip(names, might, strict=True):
        Lab = [appearance(crossed(c), scene(name)).reading.Lab for c in (made, cloth)]
        off[name] = float(ciede2000(*Lab))
        told[name] = of_colour(known_of([made]), open_colour(Lab[0], drawn)).stated
    assert all(off[name] < told[name] < 12.0 for name in off), (off, told)
    assert off["overcast"] < 3.0, off


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["photos", "nothing.jpg", "--ends", "40", "--picks", "40"], "nothing.jpg"),
        (["photos", "nothing.jpg", "--out", "mine.txt"], "ends in .toml"),
        (["photos", "x.jpg", "--mark", "black=1,2,3,4"], "--mark"),
        (["threads", "nothing.jpg"], "nothing.jpg"),
        (["spectra", "nothing.csv", "--over-white", "a"], "nothing.csv"),
    ],
)
def test_command_line_refuses_in_one_line(words, told, capsys):
    assert run(["measure", *words]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and told in err


def test_a_table_of_spectra_says_what_it_holds(tmp_path, capsys):
    table = tmp_path / "seen.csv"
    rows = [f"{nm},.5,.1" for nm in range(380, 790, 10)]
    table.write_text("\n".join(["nm,on paper,on card", *rows]))
    assert run(["measure", "spectra", str(table), "--ends", "40 /cm", "--picks", "38 /cm"]) == 2
    assert "holds 'on paper', 'on card': say which is of the cloth" in capsys.readouterr().err


def test_command_line_card(capsys):
    assert run(["measure", "card"]) == 0
    assert "PHOTOGRAPH THE CLOTH" in capsys.readouterr().out


def test_cloth_as_clear_as_air_is_measured():
    """Measuring error makes it let through more than all light: no reason to refuse it."""
    room = Room()
    pictures = {}
    for over, ground in (("white", room.paper), ("black", room.card)):
        picture = np.full((ROWS, COLUMNS, 3), ground)
        left, top, right, bottom = STRIP
        picture[top:bottom, left:right] = room.paper
        left, top, right, bottom = SWATCH
        picture[top:bottom, left:right] = ground * (1.01 if over == "white" else 0.98)
        data = photograph(picture, room, np.random.default_rng(4))
        pictures[over] = read_photograph(data, name=over).linear
    seen, _ = shots_of(pictures, turned=False, threads=False)
    assert [s.value for s in seen] == [pytest.approx([room.paper] * 3, abs=0.03),
                                       pytest.approx([room.card] * 3, abs=0.01)]  # fmt: skip


def test_dark_thread_on_black_is_taken_from_white_alone():
    cloth, room = load_swatch(ORGANZA), Room()
    pictures = {}
    for over in ("white", "black"):
        picture = picture_of(cloth, over, 0, room)
        if over == "black":
            left, top, right, bottom = WEFT_THREADS
            picture[top:bottom, left:right] = room.card
        data = photograph(picture, room, np.random.default_rng(2))
        pictures[over] = read_photograph(data, name=over).linear
    _, threads = shots_of(pictures, turned=False)
    assert [len(t.grounds) for t in threads] == [2, 1]


def test_threads_seen_in_photographs_are_near_their_yarn():
    """The camera's threads are what the fit takes them for, but for the shade it allows."""
    rng = np.random.default_rng(2)
    cloth, room = load_swatch(ORGANZA), Room(shade=1.0)
    _, threads = photographed(cloth, room, rng)
    for thread, yarn in zip(threads, (cloth.warp, cloth.weft), strict=True):
        grounds = [thread_over(yarn, g, room) for g in thread.grounds]
        unsure = np.sqrt(np.diag(thread.covariance))
        assert (np.abs(thread.value - np.mean(grounds, axis=0)) < 3.0 * unsure).all()


def test_whoever_is_told_how_far_a_fit_is_may_end_it(monkeypatch):
    begun, real = [], Problem.traced
    monkeypatch.setattr(
        Problem, "traced", lambda self, *args: begun.append(1) or real(self, *args)
    )

    def told(done, most):
        raise InputError(f"enough after {done} of {most}")

    seen = seen_colour("w", [0.5, 0.3, 0.2], [0.01] * 3, grey("white", 0.87))
    with pytest.raises(InputError, match="enough after 1 of "):
        fit_cloth(start_cloth("x", 40.0, 36.0), [seen], progress=told)
    assert len(begun) <= 4  # the first surface alone is of fourteen
