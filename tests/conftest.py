"""For all tests: drawn examples have no deadline, since the machine may be busy with other work;
one thread of linear algebra, as in the tool; an eighth of its rays, but where numbers count."""

import fcntl
import os
import pickle
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import ModuleType

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("WEAVECOLOR_STORE", "0")
# what is compiled of the tests and the package is kept for other processes and runs, as anywhere
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

import pytest
from hypothesis import settings

from weavecolor.cache import keep_on
from weavecolor.cutting import lay
from weavecolor.files.store import on_this_machine
from weavecolor.optics.cell import filaments

sys.dont_write_bytecode = False  # as said above, in this process

# the same inputs each time, so that a change is judged by what it changed; others, and more, where
# longer was asked for
_LONGER = float(os.environ.get("WEAVECOLOR_FUZZ", "1"))
settings.register_profile(
    "any machine", deadline=None, derandomize=_LONGER == 1, max_examples=max(1, int(100 * _LONGER))
)
settings.load_profile("any machine")

filaments.EFFORT = 0.125


#: The files that take longest, which are begun first: no process is left alone with one in the end.
LONGEST = (
    "test_viewer_browser", "test_measure_fit", "test_page_app", "test_picture_closeup",
    "test_measure_threads", "test_numerics", "test_measure_swatchpair", "test_fuzz_readers",
    "test_measure_sample", "test_layer_optics", "test_decide_cluster", "test_page_load",
    "test_picture_sheets", "test_picture_hung", "test_traced_yarns", "test_measure_ruler",
    "test_store", "test_front_door", "test_interrupted", "test_long_repeats",
    "test_cell_openings", "test_clear_layer", "test_additions", "test_picture_lookup",
    "test_fuzz_making", "test_fuzz_physics", "test_making_file",
)  # fmt: skip


def pytest_collection_modifyitems(items) -> None:
    place = {name: number for number, name in enumerate(LONGEST)}
    items.sort(key=lambda item: place.get(item.path.stem, len(place)))


def pytest_configure(config) -> None:
    """Before there are several processes, compile in one."""
    config.option.loadscopereorder = False  # not the files of most tests first
    if getattr(config.option, "numprocesses", None) and not hasattr(config, "workerinput"):
        root = Path(__file__).resolve().parents[1]
        subprocess.run([sys.executable, "-m", "tests.compiled"], cwd=root, check=False)


def _forget() -> None:
    """Empty every cache of the package: what it holds was traced with other rays."""
    for name, module in list(sys.modules.items()):
        if name.startswith("weavecolor."):
            for thing in list(vars(module).values()):
                if hasattr(thing, "cache_clear") and not isinstance(thing, type):
                    thing.cache_clear()


@pytest.fixture(scope="module")
def all_rays():
    """As many rays as the tool takes, for tests of its numbers."""
    yield from _with_effort(filaments, 1.0)


@pytest.fixture
def quarter_rays():
    """A quarter of them, for one test: noisier, so that what holds now holds with all."""
    yield from _with_effort(filaments, 0.25)


@pytest.fixture(scope="module")
def half_rays_throughout():
    """Half of them, for a module."""
    yield from _with_effort(filaments, 0.5)


@pytest.fixture
def every_ray():
    """All of them, for one test."""
    yield from _with_effort(filaments, 1.0)


@pytest.fixture
def half_rays():
    """Half of them, as above."""
    yield from _with_effort(filaments, 0.5)


@pytest.fixture(scope="session")
def one_fit(tmp_path_factory):
    """A cloth photographed over white and over black, and fitted, with all rays, for few of them
    see what one aperture sends into another: half a minute and more, so once for all files and
    processes of a run."""
    from fit_coverage import outcome

    folder = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        folder = folder.parent  # of this run, and of all its processes
    kept = folder / "one-fit.pickle"
    with open(folder / "one-fit.lock", "w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)  # until it is closed
        if not kept.exists():
            with contextmanager(_with_effort)(filaments, 1.0):
                kept.write_bytes(pickle.dumps(outcome(1, 0)))
        return pickle.loads(kept.read_bytes())


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    """What a module's tests trace is kept for its next test, in a folder that nobody has used."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("WEAVECOLOR_STORE", "1")
        patch.setenv("WEAVECOLOR_HOME", str(tmp_path_factory.mktemp("home")))
        keep_on(on_this_machine())
        yield
    keep_on(None)


@pytest.fixture(scope="module")
def few_rays():
    """Very few rays, for laws that hold whatever their number."""
    yield from _with_effort(filaments, 0.02)


@pytest.fixture(scope="module")
def few_lays():
    """Few lays are tried, where it is not asked how good the best is."""
    yield from _with_effort(lay, 0.05)


def _with_effort(module: ModuleType, share: float) -> Iterator[None]:
    _forget()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "EFFORT", share)
        yield
    _forget()
