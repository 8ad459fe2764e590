"""What is told of a cloth is a value: it cannot be changed, and two of them can be compared."""

from __future__ import annotations

import dataclasses
import importlib
import pkgutil
import re

import pytest

import weavecolor
from weavecolor.errors import InputError
from weavecolor.measure import observations

ROOMS = ("textile", "optics", "colour", "cutting", "measure")
#: Holds what a search changes as it goes.
CHANGING = {"Problem"}


def _kinds():
    for found in pkgutil.walk_packages(weavecolor.__path__, "weavecolor."):
        if found.name.split(".")[1] in ROOMS:
            module = importlib.import_module(found.name)
            for kind in vars(module).values():
                if isinstance(kind, type) and dataclasses.is_dataclass(kind) and (
                    kind.__module__ == found.name
                ):
                    yield kind


def test_values_cannot_be_changed_and_arrays_are_not_compared_by_accident():
    kinds = list(_kinds())
    assert len(kinds) > 60
    for kind in kinds:
        name = f"{kind.__module__}.{kind.__name__}"
        params = kind.__dataclass_params__
        assert params.frozen is (kind.__name__ not in CHANGING), name
        # numpy answers == element by element: a class that holds arrays says how it compares
        held = " ".join(str(field.type) for field in dataclasses.fields(kind))
        if re.search(r"\b(Array|FloatArray|NDArray|Spectrum|Mask)\b", held):
            compares = vars(kind).get("__eq__")
            made = compares is not None and compares.__code__.co_filename == "<string>"
            assert not made, name


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"what": "width"}, "'width' is not what a fit can use"),
        ({"uncertainty": 0.0}, "open share: needs a number and an uncertainty above 0"),
        ({"value": float("nan")}, "open share: needs a number and an uncertainty above 0"),
        ({"value": -0.01}, "open share: a share is 0 to 1"),
        ({"value": 1.01}, "open share: a share is 0 to 1"),
        ({"what": "weight", "value": -1.0}, "weight: a share is 0 to 1, a weight"),
    ],
)
def test_known_numbers_are_values_that_check_themselves(change, says):
    known = observations.Known("open share", 0.4, 0.02)
    assert known == observations.Known("open share", 0.4, 0.02) and len({known, known}) == 1
    assert dataclasses.replace(known, what="weight", value=80.0).value == 80.0
    for edge in (0.0, 1.0):
        assert dataclasses.replace(known, value=edge).value == edge
    with pytest.raises(InputError, match=f"^{re.escape(says)}"):
        dataclasses.replace(known, **change)
    with pytest.raises(dataclasses.FrozenInstanceError):
        known.value = 0.5
