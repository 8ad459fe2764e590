"""For all tests: drawn examples have no deadline, since the machine may be busy with other work;
one thread of linear algebra, as in the tool; an eighth of its rays, but where numbers count."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import settings

from weavecolor.optics import appearance, layer
from weavecolor.optics.cell import filaments

settings.register_profile("any machine", deadline=None)
settings.load_profile("any machine")

_HELD = (
    filaments.white_cell, filaments.white_named, filaments._rays, filaments._first, layer._solved,
    appearance._layers, appearance._piles, appearance._seen,
)  # fmt: skip

filaments.EFFORT = 0.125


@pytest.fixture(scope="module")
def all_rays():
    """As many rays as the tool takes, for tests of its numbers."""
    for held in _HELD:
        held.cache_clear()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(filaments, "EFFORT", 1.0)
        yield
    for held in _HELD:
        held.cache_clear()
