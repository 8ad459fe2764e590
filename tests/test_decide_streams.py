"""The screening model: against the adding formulas by hand, and against the full model."""

from __future__ import annotations

import pickle

import numpy as np
import pytest
from decide_samples import BLUE, PALE, RED, catalogue, sheer

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.decide import evaluate
from weavecolor.decide.streams import lay_under, over_grounds, single
from weavecolor.decide.tables import Tables, ray_share
from weavecolor.optics.appearance import appearance, contrast_ratio
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene


def scalar_tables(reflect: float, transmit: float) -> Tables:
    """One laid layer, one stream, one view, no beams: Kubelka and Munk's two fluxes."""

    def filled(value: float, *shape: int) -> np.ndarray:
        return np.full((1, 1, *shape), value)

    return Tables(
        np.ones(1),
        filled(transmit, 2, 1),
        filled(reflect, 1, 1),
        filled(reflect, 2, 1),
        filled(reflect, 0),
        np.zeros((1, 2)),
        np.zeros((1, 0)),
        np.zeros((2, 1, 2, 1)),
        np.zeros((2, 1, 0)),
        np.array([1]),
        np.zeros(0, dtype=np.intp),
        np.zeros(0, dtype=np.intp),
        1,
    )


def test_piles_of_equal_layers_follow_stokes():
    # Recurrence of G. G. Stokes (1862) for a layer of R .3, T .5: 2, 3 and 5 layers.
    known = {2: (0.382418, 0.274725), 3: (0.407994, 0.155164), 5: (0.418903, 0.050508)}
    tables = scalar_tables(0.3, 0.5)
    pile = single(tables, np.array([0]))
    for count in range(2, 6):
        pile = lay_under(tables, pile, np.array([0]))
        if count in known:
            R, T = known[count]
            assert pile.diffuse.item() == pytest.approx(R, abs=1e-6)
            assert pile.under.item() == pytest.approx(R, abs=1e-6)
            assert pile.transmit[0, 0, 1, 0] == pytest.approx(T, abs=1e-6)


def test_a_layer_over_grounds_follows_kubelka():
    # R .3, T .5 over Rg .05, .50, .89 (Kubelka, JOSA 44 (1954) 330).
    tables = scalar_tables(0.3, 0.5)
    grounds = np.array([[0.05], [0.50], [0.89]])
    diffuse, _ = over_grounds(tables, single(tables, np.array([0])), grounds, np.ones(3, np.intp))
    assert diffuse.ravel() == pytest.approx([0.312690, 0.447059, 0.603547], abs=1e-6)


@pytest.fixture(scope="module")
def setting():
    layers = [Layer(c, g) for c in (RED, BLUE, PALE) for g in (0.0, 90.0)]
    backings = [backing("white"), backing("black"), None]
    views = evaluate.viewpoints([scene("window at the side"), scene("lightbox behind")], True)
    quick = evaluate.screen_of(layers, backings, views, "loose", 3)
    return layers, backings, views, quick


def test_exact_measures_are_the_appearance(setting):
    layers, backings, views, _ = setting
    laid = (layers[0], layers[3])
    found = evaluate.exact(laid, backings, "loose", views)
    for k, behind in enumerate(backings):
        stack = Stack(laid, behind)
        for s, name in enumerate(("window at the side", "lightbox behind")):
            want = appearance(stack, scene(name)).reading.Lab
            assert found.scenes[k, s] == pytest.approx(want, abs=1e-4)
    assert found.opacity == pytest.approx(np.full(3, contrast_ratio(Stack(laid))), abs=1e-8)


def test_screening_stays_near_the_full_model(setting):
    layers, backings, views, quick = setting
    draw = np.random.default_rng(5)
    errors = []
    for depth in (1, 2, 3):
        laid = draw.integers(0, len(layers), (2, depth))
        found = evaluate.screen(quick, np.repeat(laid, 3, axis=0), np.tile(np.arange(3), 2))
        for k, numbers in enumerate(laid):
            full = evaluate.exact([layers[n] for n in numbers], backings, "loose", views)
            rows = slice(3 * k, 3 * k + 3)
            errors.append(ciede2000(found.scenes[rows], full.scenes).ravel())
            errors.append(ciede2000(found.turns[rows], full.turns).ravel())
            assert found.opacity[rows] == pytest.approx(full.opacity, abs=0.01)
    error = np.concatenate(errors)
    # about what is just noticeable: light keeps its way through clear filaments, and streams by
    # zenith alone do not tell it; each search measures this anew and keeps that much more
    assert np.sqrt(np.mean(error**2)) < 1.2
    assert error.max() < 3.5


def test_screening_does_not_depend_on_company(setting):
    *_, quick = setting
    layers = np.array([[0, 1, 2], [0, 1, 3], [4, 4, 4], [0, 2, 2]])
    grounds = np.array([0, 1, 2, 0])
    together = evaluate.screen(quick, layers, grounds)
    order = [2, 0, 3, 1]
    turned = evaluate.screen(quick, layers[order], grounds[order])
    assert np.array_equal(together.scenes[order], turned.scenes)
    for k in range(4):
        alone = evaluate.screen(quick, layers[k : k + 1], grounds[k : k + 1])
        assert alone.scenes[0] == pytest.approx(together.scenes[k], abs=1e-9)
        assert alone.opacity[0] == pytest.approx(together.opacity[k], abs=1e-12)


def test_screening_can_be_sent_to_another_process(setting):
    *_, quick = setting
    layers, grounds = np.array([[0, 1], [2, 3]]), np.array([0, 2])
    there = evaluate.screen(pickle.loads(pickle.dumps(quick)), layers, grounds)
    assert np.array_equal(there.scenes, evaluate.screen(quick, layers, grounds).scenes)
    assert len(pickle.dumps(quick)) < 2_000_000  # small enough to send with every task


def test_many_constructions_share_the_rays_of_a_few():
    """Twelve are traced by all rays; however many dyes, a construction counts once."""
    setts = [sheer(f"sheer {k}", np.full(41, 0.8), np.full(41, 0.7), 30.0 + 0.1 * k)
             for k in range(200)]  # fmt: skip
    assert ray_share(catalogue(200)) == 1.0
    assert ray_share(setts[:1]) == ray_share(setts[:12]) == 1.0
    assert ray_share(setts[:24]) == pytest.approx(0.5)
    assert ray_share(setts[:40] * 5) == pytest.approx(0.3)
    assert ray_share(setts) == pytest.approx(0.15)


def test_both_faces_of_a_cloth_are_one_task(setting):
    """Whoever works one out has traced the cloth for the other; each row stands where its layer
    does."""
    _, backings, views, _ = setting
    layers = [Layer(c, g, face) for g in (0.0, 90.0) for face in ("face", "back")
              for c in (RED, BLUE)]  # fmt: skip
    asked = []

    def run(call, arguments):
        for each in arguments:
            asked.append([(x.cloth.name, x.face) for laid in each[0] for x in laid])
            yield call(*each)

    made = evaluate.screen_of(layers, backings, views, "loose", 2, run=run).tables
    assert len(asked) == 2
    for cloth, of in zip((RED, BLUE), asked, strict=True):
        assert sorted(of) == 2 * [(cloth.name, "back")] + 2 * [(cloth.name, "face")]
    other = evaluate.screen_of(layers[::-1], backings, views, "loose", 2).tables
    for name in ("transmit", "under", "above", "pairs", "through"):
        assert getattr(other, name)[::-1] == pytest.approx(getattr(made, name), abs=1e-9), name
