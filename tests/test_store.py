"""What was worked out is kept for the next run, bit by bit, and not taken where it is not true."""

from __future__ import annotations

import os
import sys
from collections import OrderedDict

import numpy as np
import pytest

from weavecolor import cache
from weavecolor.files import store
from weavecolor.files.clothfile import load_swatch
from weavecolor.optics.appearance import in_scenes
from weavecolor.optics.cell import filaments
from weavecolor.optics.stack import Layer, Stack
from weavecolor.picture import tables as hung
from weavecolor.picture import threads
from weavecolor.picture.encode import AS_SEEN
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene

CLOTH = load_swatch("silk-chiffon-ivory")
STACK = Stack((Layer(CLOTH), Layer(CLOTH, 90.0)))
SINGLE = Stack((Layer(CLOTH),))
PLACES = [scene("window at the side"), scene("ballroom")]


def forget():
    """As in a new run."""
    for name, module in list(sys.modules.items()):
        if name.startswith("weavecolor."):
            for thing in vars(module).values():
                if hasattr(thing, "cache_clear") and not isinstance(thing, type):
                    thing.cache_clear()


@pytest.fixture(scope="module", autouse=True)
def few(few_rays):
    yield


@pytest.fixture
def traced(monkeypatch):
    """How many bundles are followed."""
    counts = []
    whole = filaments.followed

    def told(*args, **words):
        counts.append(1)
        return whole(*args, **words)

    monkeypatch.setattr(filaments, "followed", told)
    yield counts
    cache.keep_on(None)
    forget()


def looks(stack=STACK):
    forget()
    found = in_scenes(stack, [backing("white"), None], PLACES)
    picture = hung.tables(stack, PLACES[0], coarse=True)
    light = hung.rgb_matrix(np.ones(41), PLACES[0], AS_SEEN, "2")
    rows = threads.threads(stack, (0.3, 0.3, 0.05, 0.05, 45.0), light)
    return [*(x.radiance for one in found for x in one), rows], picture


def test_the_next_run_traces_nothing_and_says_the_same(tmp_path, traced):
    cache.keep_on(store.FolderStore(tmp_path / "worked-out"))
    first, picture = looks()
    assert traced
    traced.clear()
    again, same = looks()
    assert not traced
    assert all(np.array_equal(a, b) for a, b in zip(first, again, strict=True))
    assert same.to_bytes() == picture.to_bytes() and same.half_turn == picture.half_turn
    cache.keep_on(None)
    anew, fresh = looks()
    assert traced
    assert all(np.array_equal(a, b) for a, b in zip(first, anew, strict=True))
    assert fresh.to_bytes() == picture.to_bytes()


def test_threads_are_kept_for_any_outermost_grain():
    light, how = np.ones((41, 3)), (0.3, 0.3, 0.05, 0.05, 45.0)
    turned = Stack((Layer(CLOTH, 30.0), Layer(CLOTH, 120.0)))
    one, other = (threads.threads(stack, how, light) for stack in (STACK, turned))
    forget()
    assert other is one and np.array_equal(threads.threads(turned, how, light), one)


def test_what_cannot_be_read_or_is_of_other_rays_or_code_is_made_anew(
    tmp_path, traced, monkeypatch
):
    cache.keep_on(store.FolderStore(tmp_path))
    first, _ = looks(SINGLE)
    for file in tmp_path.iterdir():
        file.write_bytes(file.read_bytes()[:-30])  # cut short
    traced.clear()
    again, _ = looks(SINGLE)
    assert traced and all(np.array_equal(a, b) for a, b in zip(first, again, strict=True))
    traced.clear()
    monkeypatch.setattr(filaments, "EFFORT", 2.0 * filaments.EFFORT)
    looks(SINGLE)
    assert traced
    monkeypatch.setattr(filaments, "EFFORT", 0.5 * filaments.EFFORT)
    traced.clear()
    monkeypatch.setattr(store, "source", lambda: "changed")
    looks(SINGLE)
    assert traced


def test_a_closed_folder_costs_time_only(tmp_path, traced):
    taken = tmp_path / "a file"
    taken.write_text("no folder")
    cache.keep_on(store.FolderStore(taken / "below"))
    looks(SINGLE)
    traced.clear()
    looks(SINGLE)
    assert traced


def test_the_oldest_go_first(tmp_path, monkeypatch):
    monkeypatch.setattr(store, "MOST", 2 * store.BLOCK + 250)  # a block of the disk each
    monkeypatch.setattr(store, "EACH", 1)
    kept = store.FolderStore(tmp_path)
    for number in range(4):
        kept.write(f"n{number}", bytes(100))
        for age, file in enumerate(sorted(tmp_path.iterdir(), reverse=True)):
            os.utime(file, (1e9 - age, 1e9 - age))
    assert kept.read("n3") == bytes(100) and kept.read("n0") is None


def test_the_command_line_keeps_on_this_machine_and_tests_do_not(tmp_path, monkeypatch):
    assert store.on_this_machine() is None  # as the whole suite has it
    monkeypatch.setenv("WEAVECOLOR_STORE", "1")
    monkeypatch.setenv("WEAVECOLOR_HOME", str(tmp_path))
    assert store.on_this_machine() == store.FolderStore(tmp_path / "worked-out")


def test_all_together_hold_so_much_and_each_its_last(monkeypatch):
    monkeypatch.setattr(cache, "MOST_BYTES", 1_700_000)
    monkeypatch.setattr(cache, "_large", OrderedDict())  # whatever ran before is not counted
    one, other = cache.Kept(9), cache.Kept(9)
    for key in range(3):
        one.one(key, lambda: np.zeros(50_000))  # 400 kB each
    one.one(0, lambda: None)  # asked for again
    for key in range(2):
        other.one(key, lambda: (np.zeros(25_000), {"b": np.zeros(25_000)}))
    made = []
    for kept, key in ((one, 0), (other, 0), (other, 1), (one, 2), (one, 1)):
        kept.one(key, lambda at=key: made.append(at))
    assert made == [1]  # the one that was asked for longest ago
    one.cache_clear()
    other.cache_clear()
    assert not cache._large
    monkeypatch.setattr(cache, "MOST_BYTES", 0)
    for kept in (one, other):
        kept.one("last", lambda: np.zeros(50_000))
    assert isinstance(one.one("last", lambda: None), np.ndarray)  # each keeps its last


def test_large_values_are_let_go_small_ones_kept(monkeypatch):
    monkeypatch.setattr(cache, "_large", OrderedDict())
    large, small = cache.Kept(9), cache.Kept(9)
    large.one("cloth", lambda: np.zeros(50_000))
    small.one("word", lambda: np.zeros(5))
    cache.let_go()
    assert large.one("cloth", lambda: None) is None and not cache._large
    assert small.one("word", lambda: None) is not None
