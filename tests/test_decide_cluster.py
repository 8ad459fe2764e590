"""The search on other processes: the same answer, and none the worse for the loss of a worker."""

from __future__ import annotations

import os
import signal
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import numpy as np
import pytest
from decide_samples import catalogue

from weavecolor.decide import nearest
from weavecolor.decide.candidates import Material, candidates
from weavecolor.decide.running import Cluster
from weavecolor.decide.search import search
from weavecolor.decide.wishes import Limits, Wish
from weavecolor.optics.cell import filaments
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene

WISH = [Wish("target", np.array([45.0, 12.0, 8.0]))]


def few_rays(effort):
    """Let another process trace as few rays as the tests do (see conftest)."""
    filaments.EFFORT = effort


@pytest.fixture(scope="module")
def found():
    return candidates(
        [Material(cloth) for cloth in catalogue(8)],
        [backing("white"), backing("black")],
        Limits((1, 2)),
    )


@pytest.fixture(scope="module")
def in_many_tasks():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(nearest, "_PAIRS", 16)
        yield


def looked(found, **how):
    few = {"wanted": 40, "budget": 8, "sample": 4, "options": 3}
    return search(found, WISH, [scene("window at the side")], limit=1, **few, **how)


def signature(made):
    return [
        (one.key, one.loss, one.measures.scenes.tobytes(), one.measures.opacity.tobytes())
        for one in (*made.options, *made.worked_out)
    ], made.guarantee, made.cloud.values.tobytes()


@pytest.fixture(scope="module")
def here(found, in_many_tasks):
    return signature(looked(found))


def test_two_processes_give_the_same(found, here):
    how = {"initializer": few_rays, "initargs": (filaments.EFFORT,)}
    with ProcessPoolExecutor(2, get_context("spawn"), **how) as pool:
        assert signature(looked(found, executor=pool)) == here


def test_a_cluster_gives_the_same_and_survives_the_loss_of_a_worker(found, here):
    distributed = pytest.importorskip("distributed")
    told, killed = [], []
    effort = filaments.EFFORT

    class FewRays(distributed.WorkerPlugin):  # also for the worker that takes a lost one's place
        def setup(self, worker):
            few_rays(effort)

    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster, set_as_default=False) as client,
    ):
        client.register_plugin(FewRays())
        before = client.run(os.getpid)

        def progress(done, total):
            told.append((done, total))
            if done == 12 and not killed:  # eight cloths are done, stacks are on their way
                killed.append(min(before.values()))
                os.kill(killed[0], signal.SIGKILL)

        there = looked(found, executor=Cluster(client), progress=progress)
        assert len(before) == 2 and killed
    # a worker may have another number of threads for linear algebra: the last bit may differ
    ranked, promise, _ = here
    assert [one[0] for one in signature(there)[0]] == [one[0] for one in ranked]
    losses = [one.loss for one in (*there.options, *there.worked_out)]
    assert losses == pytest.approx([one[1] for one in ranked], abs=1e-9)
    for count in ("complete", "proven", "screened", "bounded", "ruled_out", "checked"):
        assert getattr(there.guarantee, count) == getattr(promise, count)
    done = [d for d, _ in told]
    assert done == sorted(done) and told[-1][0] == told[-1][1] and len(done) > 20
