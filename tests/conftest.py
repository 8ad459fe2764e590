"""For all tests: drawn examples have no deadline, since the machine may be busy with other work;
and one thread of linear algebra, as in the tool itself."""

import os

import pytest
from hypothesis import settings

from weavecolor.optics import appearance, layer
from weavecolor.optics.cell import filaments

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

settings.register_profile("any machine", deadline=None)
settings.load_profile("any machine")

_HELD = (
    filaments.white_cell, filaments.white_named, filaments._rays, filaments._first, layer._solved,
    appearance._layers, appearance._piles, appearance._seen,
)  # fmt: skip


@pytest.fixture(scope="module")
def few_rays():
    """An eighth of the rays, for laws that hold whatever the noise."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(filaments, "EFFORT", 0.125)
        for held in _HELD:
            held.cache_clear()
        yield
    for held in _HELD:
        held.cache_clear()
