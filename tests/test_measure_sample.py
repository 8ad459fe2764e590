"""A sample corrects a fitted cloth, or is refused in words. How often what is told afterwards holds
the truth is counted by ``python -m tests.fit_coverage --samples``."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from camera import BARE, STRIP, SWATCH, Room, photograph, picture_of_layers
from fit_coverage import invented, told_off

from weavecolor import load_cloth
from weavecolor.cli import run
from weavecolor.colour.spectra import BANDS
from weavecolor.errors import InputError
from weavecolor.files.clothfile import cloth_from_toml, cloth_to_toml, read_cloth
from weavecolor.measure import parameters as p
from weavecolor.measure.photograph import read_photograph
from weavecolor.measure.sample import Sample, learn, lesson_words, sample_of, sample_seen
from weavecolor.measure.swatchpair import measure_one
from weavecolor.measure.tocloth import fitted_cloth
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import backing
from weavecolor.textile.construction import covers
from weavecolor.textile.howknown import HowKnown, knowledge

pytestmark = pytest.mark.usefixtures("store")


@pytest.fixture(scope="module")
def measured(one_fit):
    """A cloth photographed and fitted, as its file keeps it; and the truth."""
    return cloth_from_toml(cloth_to_toml(fitted_cloth(one_fit.fit))), one_fit.case.cloth


@pytest.fixture(scope="module")
def picture(measured):
    """Of a sample sewn from two layers of the truth, one turned a quarter, over white."""
    return taken(measured[1], (0.0, 90.0))


@pytest.fixture(scope="module")
def seen(measured, picture):
    return of_picture(measured[0], picture, (0.0, 90.0))


def laid(cloth, *grains: float) -> tuple[Layer, ...]:
    return tuple(Layer(cloth, grain) for grain in grains)


def taken(truth, grains: tuple[float, ...], over: str = "white") -> bytes:
    rng = np.random.default_rng(8)
    room = Room.drawn(rng)
    return photograph(picture_of_layers(laid(truth, *grains), over, room), room, rng)


def of_picture(mine, data: bytes, grains: tuple[float, ...], over: str = "white") -> Sample:
    marks = {"sample": SWATCH, "paper": STRIP} | ({"ground": BARE} if over == "black" else {})
    one = measure_one(read_photograph(data, name="sample").linear, marks)
    return sample_of(one, Stack(laid(mine, *grains)))


def test_again_is_the_same_cloth_with_the_same_ways_to_change():
    for number in range(3):
        rng = np.random.default_rng([3, number])
        _, start = invented(rng)
        first = p.Unknowns(start, np.zeros((2, BANDS)), np.zeros((2, BANDS)))
        x = first.prior_mean()
        x[: p.SLOW] += rng.normal(0.0, 0.15, p.SLOW)
        root = np.eye(p.SIZE - 2)[np.tril_indices(p.SIZE - 2)]
        known = knowledge({"foretold": HowKnown.fitted(root=root)})
        again = p.Unknowns.again(replace(first.cloth(x), known=known))
        mean = again.prior_mean()
        for step in (np.zeros(p.SIZE), 0.1 * rng.standard_normal(p.SIZE)):
            one, other = first.shaped(x + step), again.shaped(mean + step)
            assert covers(other) == pytest.approx(covers(one), rel=1e-9)
            for a, b in ((one.warp, other.warp), (one.weft, other.weft)):
                assert (b.flattening, b.packing) == pytest.approx((a.flattening, a.packing))
            assert other.warp_crimp == pytest.approx(one.warp_crimp, rel=1e-6)
        assert again.covariance() == pytest.approx(np.eye(p.SIZE))


def test_a_sample_corrects_and_narrows(measured, seen):
    mine, truth = measured
    lesson = learn(seen)
    open_ = p.Unknowns.again(mine).covariance()
    left = lesson.fit.covariance
    assert (np.diag(left) <= np.diag(open_) * (1 + 1e-9)).all()
    assert np.linalg.slogdet(left)[1] < np.linalg.slogdet(open_)[1] - 0.3
    assert [q.name for q in lesson.before] == [q.name for q in lesson.fit.quantities]
    off = told_off(lesson.fit, lesson.fit.quantities, truth)
    assert sum(abs(o) <= 1.0 for o in off.values()) >= len(off) - 1, off
    assert lesson.fit.residuals[0].delta < lesson.within
    text = lesson_words(lesson)
    assert "Learnt (before in brackets)" in text and "warp cover" in text
    assert all(len(line) <= 110 for line in text.splitlines())


def test_the_narrower_a_reading_the_nearer_the_cloth_comes(measured, seen):
    """With errors so large that nothing is learnt the cloth stays (Tarantola 2005, ch. 3); what is
    learnt is kept in its file, and learnt from again."""
    mine, _ = measured
    nothing, much = (
        learn(replace(seen, covariance=times * seen.covariance)).fit for times in (1e6, 0.1)
    )
    assert covers(nothing.cloth) == pytest.approx(covers(mine), rel=0.01)
    assert np.trace(much.covariance) < np.trace(nothing.covariance)
    kept = cloth_from_toml(cloth_to_toml(fitted_cloth(much)))
    before, after = (np.trace(p.Unknowns.again(c).covariance()[:-2, :-2]) for c in (mine, kept))
    assert after < before
    assert p.Unknowns.again(kept).prior_mean()[:2] == pytest.approx(p.logit(covers(kept)))


def test_contradiction_is_refused_in_words(measured):
    mine, truth = measured
    with pytest.raises(InputError, match=r"corrects nothing; .*(another cloth|it would look so)"):
        learn(sample_seen(Stack(laid(mine, 0.0, 90.0), backing("white")), [0.01, 0.7, 0.02],
                          [0.01] * 3))  # fmt: skip
    told = of_picture(mine, taken(truth, (0.0, 90.0), "black"), (0.0, 90.0), "black")
    wrong = replace(told, stack=replace(told.stack, backing=backing("white")))
    with pytest.raises(InputError, match="it lay on something black"):
        learn(wrong)


def test_a_cloth_that_was_never_fitted_is_refused(measured):
    organza = load_cloth("shot-organza-red-black")
    with pytest.raises(InputError, match="does not keep what a fit left open"):
        learn(sample_seen(Stack(laid(organza, 0.0)), [0.3, 0.1, 0.1], [0.01] * 3))
    two = Stack((Layer(organza), Layer(measured[0])))
    with pytest.raises(InputError, match="corrects one cloth"):
        sample_seen(two, [0.3, 0.1, 0.1], [0.01] * 3)


def test_command_line(measured, picture, tmp_path, capsys):
    mine, _ = measured
    (tmp_path / "mine.toml").write_text(cloth_to_toml(mine))
    (tmp_path / "sample.jpg").write_bytes(picture)
    boxes = [f"picture:{label}={','.join(map(str, box))}"
             for label, box in (("sample", SWATCH), ("paper", STRIP))]  # fmt: skip
    words = ["measure", "sample", str(tmp_path / "mine.toml"), str(tmp_path / "sample.jpg"),
             "--mark", boxes[0], "--mark", boxes[1],
             "--out", str(tmp_path / "new.toml")]  # fmt: skip
    assert run([*words, "--laid", "straight + cross"]) == 0
    assert "corrected by a sample" in capsys.readouterr().out
    made = read_cloth(tmp_path / "new.toml")
    assert p.Unknowns.again(made).learnt is not None
    assert run([*words, "--laid", "straight + sideways"]) == 2
    err = capsys.readouterr().err
    assert "--laid" in err and "tells of no layer" in err and err.count("\n") == 1
    assert run(["measure", "sample", "shot-organza-red-black", str(tmp_path / "sample.jpg"),
                "--mark", boxes[0], "--mark", boxes[1]]) == 2  # fmt: skip
    assert "does not keep what a fit left open" in capsys.readouterr().err
