"""Docstrings name what is taken: every parameter at the front door and of the core's functions."""

from __future__ import annotations

import ast
import dataclasses
import inspect
import re
from pathlib import Path

import pytest

import weavecolor as wc

ROOT = Path(wc.__file__).parent
#: Rooms whose functions of three parameters and more name them all; compiled loops and the cell's
#: inner functions, which no maker calls, are left out.
ROOMS = sorted(
    path.relative_to(ROOT)
    for room in ("textile", "files", "cutting", "decide", "optics", "making", "report")
    for path in (ROOT / room).glob("*.py")
    if path.name not in ("dye.py", "kubelka.py", "matt.py", "allround.py")
)


def unnamed(names, text):
    """The names that do not stand as words in ``text`` before its example."""
    told = text.split("Examples\n")[0]
    return [name for name in names if not re.search(rf"\b{re.escape(name)}\b", told)]


@pytest.mark.parametrize("name", wc.__all__)
def test_front_door_names_all_that_it_takes(name):
    thing = getattr(wc, name)
    text = inspect.getdoc(thing) or ""
    if dataclasses.is_dataclass(thing):
        # what a computed result holds is told by its type; what a user gives, by name
        assert unnamed([f.name for f in dataclasses.fields(thing) if f.init], text) == []
    elif inspect.isfunction(thing):
        taken = list(inspect.signature(thing).parameters)
        assert unnamed(taken, text) == []
        if taken:
            assert "Raises" in text
            # a fit takes longer than an example may
            assert ">>>" in text or name == "fit_cloth"


def functions(tree):
    return [x for x in tree.body if isinstance(x, ast.FunctionDef) and not x.name.startswith("_")]


@pytest.mark.parametrize("path", ROOMS, ids=str)
def test_core_names_all_parameters_of_its_functions(path):
    for one in functions(ast.parse((ROOT / path).read_text("utf-8"))):
        of = one.args
        names = [a.arg for a in (*of.posonlyargs, *of.args, *of.kwonlyargs)]
        text = ast.get_docstring(one) or ""
        if len(names) >= 3 and not text.startswith("As :func:"):
            assert unnamed(names, text) == [], one.name


def test_an_unnamed_parameter_would_be_noticed():
    assert unnamed(["width", "kind"], "Of ``width`` mm.\n\nExamples\nkind") == ["kind"]
