"""Docstrings name what is taken: every parameter at the front door and of the core's functions."""

from __future__ import annotations

import ast
import dataclasses
import inspect
import re
from pathlib import Path

import click
import pytest

import weavecolor as wc
from weavecolor.cli import verbs

ROOT = Path(wc.__file__).parent
#: Every public module: of the package, and of the page beside it.
MODULES = sorted(
    path
    for folder in (ROOT, ROOT.parent / "ui")
    for path in folder.rglob("*.py")
    if not path.name.startswith("_")
)


def unnamed(names, text):
    """The names that are told neither in code nor in a list of parameters in ``text``, before its
    example: a word of a sentence may be alike by chance."""
    told = text.split("Examples\n")[0]
    code = " ".join(re.findall(r"``(.*?)``", told, re.DOTALL))
    listed = " ".join(re.findall(r"^\s*([\w, *]+?)\s*(?::|$)", told, re.MULTILINE))
    return [name for name in names if not re.search(rf"\b{re.escape(name)}\b", f"{code} {listed}")]


@pytest.mark.parametrize("name", wc.__all__)
def test_front_door_names_all_that_it_takes(name):
    thing = getattr(wc, name)
    text = inspect.getdoc(thing) or ""
    if dataclasses.is_dataclass(thing):
        # what a computed result holds is told by its type; what a user gives, by name
        assert unnamed([f.name for f in dataclasses.fields(thing) if f.init], text) == []
        assert "Parameters\n---" in text and ">>>" in text
    elif inspect.isfunction(thing):
        taken = list(inspect.signature(thing).parameters)
        assert unnamed(taken, text) == [] and "Returns\n---" in text
        if taken:
            assert "Parameters\n---" in text and "Raises\n---" in text
        assert ">>>" in text
    assert "Notes\n---" in text
    # what rests on nothing published says nothing of it
    assert ("References\n---" in text) is (name not in ("InputError", "laid", "swatches"))


def taking(path):
    """Public functions and methods of three arguments and more: node, arguments."""
    for node in ast.parse(path.read_text("utf-8")).body:
        inner = [node] if isinstance(node, ast.FunctionDef) else getattr(node, "body", [])
        for one in [] if getattr(node, "name", "_").startswith("_") else inner:
            if isinstance(one, ast.FunctionDef) and not one.name.startswith("_"):
                of = one.args
                more = [a for a in (of.vararg, of.kwarg) if a]
                every = (*of.posonlyargs, *of.args, *of.kwonlyargs, *more)
                names = [a.arg for a in every if a.arg not in ("self", "cls")]
                if len(names) >= 3:
                    yield one, names


def test_functions_of_three_arguments_name_them_all():
    bare, met = [], 0
    for path in MODULES:
        for node, names in taking(path):
            met += 1
            # a command's options have a help of their own: the next test
            if not any("command" in ast.unparse(mark) for mark in node.decorator_list):
                left = unnamed(names, ast.get_docstring(node) or "")
                bare += [f"{path.name}: {node.name} does not tell {left}"] if left else []
    assert bare == [] and met > 300


def test_every_option_of_the_command_line_tells_what_it_is():
    bare, left, met = [], [("weavecolor", verbs)], 0
    while left:
        name, command = left.pop()
        bare += [] if command.help else [name]
        options = [p for p in command.params if isinstance(p, click.Option)]
        met += len(options)
        bare += [f"{name} {p.name}" for p in options if not p.help]
        if isinstance(command, click.Group):
            inner = command.list_commands(None)
            left += [(f"{name} {k}", command.get_command(None, k)) for k in inner]
    assert bare == [] and met > 100


def test_an_unnamed_parameter_would_be_noticed():
    assert unnamed(["width", "kind"], "Of ``width`` mm.\n\nExamples\nkind") == ["kind"]
