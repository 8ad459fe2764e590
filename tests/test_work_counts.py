"""What is worked out once is not worked out again: work is counted, never timed."""

from __future__ import annotations

import subprocess
import sys
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from weavecolor.decide.compare import Option, evaluate
from weavecolor.decide.showthrough import shown_in, usual_items
from weavecolor.files.clothfile import load_swatch
from weavecolor.optics import adding, appearance, layer, mightbe
from weavecolor.optics.cell import filaments
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene

PLACES = tuple(scene(name) for name in ("window at the side", "ballroom", "candlelit"))


@pytest.fixture
def counted(monkeypatch):
    """Counts of traced bundles and nodes, layers laid, additions; every cache empty before."""
    for kept in (
        appearance._layers, appearance._piles, appearance._seen, appearance._got, mightbe._sent,
    ):  # fmt: skip
        kept.cache_clear()
    counts: Counter[str] = Counter()

    def count(module, name):
        whole = getattr(module, name)

        def told(*args, **words):
            counts[name] += 1
            return whole(*args, **words)

        monkeypatch.setattr(module, name, told)

    count(layer, "laid")
    monkeypatch.setattr(mightbe, "laid", layer.laid)
    count(adding, "add")
    monkeypatch.setattr(appearance, "add", adding.add)
    count(filaments, "followed")
    return counts


def test_a_stack_is_laid_and_added_once_for_all_scenes_and_backings(counted):
    organza, chiffon = (load_swatch(x) for x in ("shot-organza-teal-copper", "silk-chiffon-ivory"))
    layers = (Layer(organza), Layer(organza, 90.0), Layer(chiffon, 20.0, "back"))
    grounds = [backing("white"), backing("black"), None]
    made = evaluate([Option(Stack(layers, b), s) for s in PLACES for b in grounds])
    # three unlike layers and two additions for the looks, as many for what their dyes might be, and
    # the two further in by themselves for what their build might be
    assert counted["laid"] == 6 + 2 and counted["add"] == 4
    counted.clear()
    for item in usual_items(Stack(layers[:2], backing("white"))):
        shown_in([item], PLACES)
    # looks lay the organza's back for the seam, and add 1 (as it is) + 3 (seam) + 2 (pocket); draws
    # lay 2 + 3 (seam) + 2 (pocket) + 1 (lining's edge) unlike layers, and add 1 + 3 + 3
    assert (counted["laid"], counted["add"]) == (1 + 8, 6 + 7)
    # the same, one by one
    for one, light in zip(made[::3], PLACES, strict=True):
        alone = evaluate([Option(Stack(layers, grounds[0]), light)])[0]
        assert np.abs(alone.appearance.reading.Lab - one.appearance.reading.Lab).max() < 1e-9
        assert np.abs(alone.drawn - one.drawn).max() < 1e-9


def test_rods_are_traced_once_for_answers_and_pictures(counted):
    from weavecolor.optics.cell.flood import _floods, flood

    for kept in (filaments._white, filaments._followed, _floods, layer._solved):
        kept.cache_clear()
    flood(layer.solved(load_swatch("shot-organza-red-black")).white.cell)
    assert counted["followed"] == 1


NAMED = """
import sys
sys.path.insert(0, "ui")
import gate, livepicture, orders, pictures, session
from state import begun, option_words, table_of
from weavecolor.making.lightchoice import LightChoice, light_words
now = begun()
asked = pictures.worn(now, table_of(now), LightChoice("candlelit"))
print(pictures.live(asked).name, option_words(now, table_of(now)), light_words(asked.light))
print(sorted({"numba", "colour", "weavecolor.optics.appearance"} & set(sys.modules)))
"""


def test_a_picture_on_the_disk_is_named_without_the_optics():
    root = Path(__file__).resolve().parents[1]
    words = [sys.executable, "-c", NAMED]
    ran = subprocess.run(words, cwd=root, capture_output=True, text=True)
    assert ran.returncode == 0, ran.stderr
    named, loaded = ran.stdout.strip().splitlines()
    assert named.startswith("live-") and loaded == "[]"
