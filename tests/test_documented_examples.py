"""The examples in the docstrings run, and every public function has one.

What they take as given stands in the package's own docstring, and is made from it here.
"""

from __future__ import annotations

import ast
import doctest
import importlib
from functools import lru_cache
from pathlib import Path

import pytest

import weavecolor

PACKAGE = Path(weavecolor.__file__).resolve().parent
#: Folders of the package that are public, "" the package itself. ``cell`` and ``cli`` are not:
#: the one is reached through ``appearance``, the other through the command line.
FOLDERS = (
    "", "colour", "textile", "files", "scene", "optics", "measure", "cutting", "picture",
    "decide", "making", "report",
)  # fmt: skip

#: Parts that other modules of the package are made of; nobody else calls them.
PARTS = {
    "colour/library", "optics/adding", "optics/allround", "optics/fitted", "optics/layer",
    "optics/mightbe_build", "optics/mightbe_sheen", "optics/onelayer", "optics/poses",
    "cutting/nesting", "cutting/turns", "making/checks", "making/earlier",
    "picture/hanging", "picture/lookup", "picture/parcels", "picture/raster", "picture/sweep",
    "picture/tables", "picture/threads",
    "picture/canvas", "picture/canvaspdf", "picture/canvaspng", "picture/canvassvg",
    "picture/celltexture", "picture/lettering", "picture/typeface",
    "picture/waves",
    "report/laydrawing", "report/sheetblocks", "report/sheetdata", "report/sheetdrawings",
    "report/sheetfrommaking", "report/sheetlayout", "report/sheetwords",
    "decide/blocks", "decide/bounds", "decide/evaluate", "decide/lastlayer",
    "decide/nearest", "decide/found", "decide/looks", "decide/running",
    "decide/streams", "decide/tables",
    "measure/fit_problem", "measure/fit_report", "measure/fit_surface",
    "measure/lattice",
    "measure/observations", "measure/parameters",
}  # fmt: skip

#: Public, but an example would need a photograph or many seconds; the named file of the tests
#: shows the use.
SHOWN_IN_TESTS = {
    "measure/grid": ({"read_grid"}, "test_measure_grid"),
    "measure/gridwords": ({"grid_report", "grid_table"}, "test_measure_grid"),
    "measure/neutral": ({"reflectance_picture"}, "test_measure_swatchpair"),
    "measure/regions": ({"find_regions"}, "test_measure_swatchpair"),
    "measure/ruler": ({"scale_from_ruler", "find_ruler"}, "test_measure_ruler"),
    "measure/sample": ({"sample_of", "lesson_words"}, "test_measure_sample"),
    "measure/shots": ({"look", "look_wound"}, "test_measure_grid"),
    "measure/swatchpair": (
        {"measure_one", "measure_pair", "fringe_colour"}, "test_measure_swatchpair"
    ),
    "measure/tocloth": ({"fitted_cloth", "report"}, "test_measure_fit"),
    "picture/closeup": ({"placement", "scale_of", "closeup_linear"}, "test_picture_closeup"),
    "picture/composite": ({"draw_sheet"}, "test_picture_sheets"),
    "picture/encode": ({"on_screen", "exposure_for"}, "test_picture_encode"),
}


def modules() -> dict[str, Path]:
    found = {}
    for folder in FOLDERS:
        for path in sorted((PACKAGE / folder).glob("*.py")):
            if path.stem not in ("__init__", "__main__"):
                found[f"{folder}/{path.stem}".strip("/")] = path
    return found


@lru_cache(maxsize=1)
def given() -> dict[str, object]:
    """What the package's docstring makes."""
    names: dict[str, object] = {}
    for example in doctest.DocTestParser().get_examples(weavecolor.__doc__ or ""):
        exec(example.source, names)
    del names["__builtins__"]
    assert {"np", "organza", "single", "double", "window", "project"} <= set(names)
    return names


def functions(path: Path) -> dict[str, str]:
    """Public functions of a module with their docstrings."""
    return {
        node.name: ast.get_docstring(node) or ""
        for node in ast.parse(path.read_text("utf-8")).body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")
    }


WITH_EXAMPLES = [n for n, path in modules().items() if ">>>" in path.read_text("utf-8")]


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_examples_run(name):
    module = importlib.import_module("weavecolor." + name.replace("/", "."))
    finder = doctest.DocTestFinder(recurse=True)
    runner = doctest.DocTestRunner(verbose=False)
    told: list[str] = []
    ran = 0
    for member in sorted(vars(module)):
        thing = vars(module)[member]
        # An lru_cache hides its function from doctest's own search.
        target = getattr(thing, "__wrapped__", thing)
        if getattr(target, "__module__", "") != module.__name__ or not callable(target):
            continue
        for test in finder.find(target, member, module=module, extraglobs=given()):
            ran += len(test.examples)
            runner.run(test, out=told.append)
    assert ran > 0
    assert not told, "".join(told)


def test_every_public_function_has_an_example():
    missing = [
        f"{name}.{function}"
        for name, path in modules().items()
        if name not in PARTS
        for function, text in functions(path).items()
        if ">>>" not in text and function not in SHOWN_IN_TESTS.get(name, ((), ""))[0]
    ]
    assert not missing


def test_the_lists_here_name_only_what_is_there():
    here = modules()
    assert set(here) >= PARTS
    for name, (names, test) in SHOWN_IN_TESTS.items():
        assert names <= set(functions(here[name])), name
        text = Path(__file__).with_name(f"{test}.py").read_text("utf-8")
        assert any(function in text for function in names), (name, test)
