"""Errors put into the code on purpose, one at a time: does a test notice?

    python -m tests.mutants --listed     the errors of LISTED, each of which once went unseen
    python -m tests.mutants              a sample drawn from all one-place changes, resumed where
                                         the last run of the same sample ended
    python -m tests.mutants --report     what came of it so far

The core rooms are read as syntax trees; each comparison, sum, product, number, condition and return
gives a change or two. The sample is drawn by --seed from all of them before any is tried. A change
is tried in a process of its own, forked from one that has the libraries loaded already: the changed
module is compiled in memory in place of its file, and the tests that import it, the quickest first
up to a budget of seconds, run until one fails. Outcomes are appended to --state, one line of JSON
each; a change counts as noticed where a test fails, cannot be collected, or does not end in time.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import importlib.abc
import importlib.util
import json
import os
import random
import re
import signal
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent
ROOMS = ("textile", "optics", "colour", "cutting", "measure")
#: Processor seconds of tests (as measured here, unchanged) that a change is given, at most.
BUDGET = 30.0


@dataclass(frozen=True)
class Change:
    """``old`` text at ``start`` (characters into the file) replaced by ``new``."""

    file: str
    start: int
    old: str
    new: str
    line: int

    @property
    def name(self) -> str:
        return f"{self.file}:{self.line} {self.old[:60]!r} -> {self.new[:60]!r} @{self.start}"

    def applied(self) -> str:
        text = (ROOT / self.file).read_text(encoding="utf-8")
        if text[self.start : self.start + len(self.old)] != self.old:
            raise SystemExit(f"{self.file} has changed since the sample was drawn: begin anew")
        return text[: self.start] + self.new + text[self.start + len(self.old) :]


#: file, text to be found once, what is put in its place, tests that should notice.
LISTED: tuple[tuple[str, str, str, tuple[str, ...]], ...] = (
    # the doubt no longer asks what is changed: backing, layers, grain
    ("weavecolor/decide/compare.py", "changed=changed,", "changed=(),",
     ("tests/test_uncertainty.py",)),
    # daylight at either end for at both
    ("weavecolor/decide/compare.py", "near_daylight(a.scene) and near_daylight(b.scene)",
     "near_daylight(a.scene) or near_daylight(b.scene)", ("tests/test_uncertainty.py",)),
    # what is known of two cloths not joined
    ("weavecolor/decide/compare.py", "cloths = _cloths(a) + _cloths(b)", "cloths = _cloths(a)",
     ("tests/test_uncertainty.py",)),
    ("weavecolor/decide/compare.py", "cloths = _cloths(a) + _cloths(b)", "cloths = _cloths(b)",
     ("tests/test_uncertainty.py",)),
    # Fresnel's p part at an angle
    ("weavecolor/optics/cell/sheen.py", "p = (index * c - t) / (index * c + t)",
     "p = (c - index * t) / (c + index * t)", ("tests/test_sheen.py",)),
    ("weavecolor/optics/cell/paths.py", "rp = (index * cosine - beyond)",
     "rp = (cosine - index * beyond)", ("tests/test_witnesses.py",)),
    # the register of the openings kept, or lost by half as much
    ("weavecolor/optics/cell/pairs.py", "np.exp(-2.0 * np.pi**2 * distance.uneven**2 * way)",
     "np.exp(-1.0 * np.pi**2 * distance.uneven**2 * way)", ("tests/test_witnesses.py",)),
    ("weavecolor/optics/cell/pairs.py", "return chance + (joint - chance) * held", "return joint",
     ("tests/test_witnesses.py", "tests/test_cell_openings.py", "tests/test_adding.py")),
    # the scale's spread in thread counts
    ("weavecolor/measure/threads.py", "float(np.hypot(own, scale_uncertainty))", "float(own)",
     ("tests/test_measure_threads.py",)),
    # spreads of warp and weft exchanged
    ("weavecolor/measure/threads.py", '(ends, spreads[0], "ends_per_cm"), (picks, spreads[1],',
     '(ends, spreads[1], "ends_per_cm"), (picks, spreads[0],', ("tests/test_measure_threads.py",)),
    # the ruler's tilt
    ("weavecolor/measure/ruler.py", "true = spacing * float(np.cos(angle))", "true = spacing",
     ("tests/test_measure_swatchpair.py",)),
    # --scale on a picture read reduced
    ("weavecolor/cli/measure.py", "per_mm /= shot.reduced", "pass",
     ("tests/test_measure_threads.py",)),
    # units
    ("weavecolor/textile/units.py", '"yards": 914.4', '"yards": 9144.0', ("tests/test_units.py",)),
    ("weavecolor/textile/units.py", '"dm": 100.0', '"dm": 10.0', ("tests/test_units.py",)),
    ("weavecolor/textile/units.py", '"dm": 0.1', '"dm": 1.0', ("tests/test_units.py",)),
    # the sign of the turn of inner layers
    ("weavecolor/optics/appearance.py",
     "turn = (layers[-1].layer.grain_deg - layers[0].layer.grain_deg) % 360.0",
     "turn = (layers[0].layer.grain_deg - layers[-1].layer.grain_deg) % 360.0",
     ("tests/test_witnesses.py",)),
    # shortfall on a crosswise fold, used share, bias left out
    ("weavecolor/cutting/lay.py",
     'short = (shortest - length) * (2.0 if fold == "crosswise" else 1.0)',
     "short = shortest - length", ("tests/test_make_needed.py",)),
    ("weavecolor/cutting/lay.py", "cut_area / taken if taken > 0.0 else 0.0",
     "cut_area / sound.area if taken > 0.0 else 0.0", ("tests/test_make_needed.py",)),
    ("weavecolor/cli/decide.py", "kept.bias and not no_bias", "kept.bias",
     ("tests/test_decide_cli.py",)),
)

_COMPARE = {ast.Lt: ("<", "<="), ast.LtE: ("<=", "<"), ast.Gt: (">", ">="), ast.GtE: (">=", ">"),
            ast.Eq: ("==", "!="), ast.NotEq: ("!=", "=="), ast.In: ("in", "not in"),
            ast.NotIn: ("not in", "in"), ast.Is: ("is", "is not"),
            ast.IsNot: ("is not", "is")}  # fmt: skip
_BINARY = {ast.Add: ("+", "-"), ast.Sub: ("-", "+"), ast.Mult: ("*", "/"), ast.Div: ("/", "*"),
           ast.Pow: ("**", "*"), ast.Mod: ("%", "*"), ast.FloorDiv: ("//", "*")}  # fmt: skip
_NAMES = {"min": "max", "max": "min", "sin": "cos", "cos": "sin", "minimum": "maximum",
          "maximum": "minimum", "any": "all", "all": "any"}  # fmt: skip


def changes_of(file: str) -> list[Change]:
    """Every change of one file, in order."""
    text = (ROOT / file).read_text(encoding="utf-8")
    starts = [0]
    for line in text.splitlines(keepends=True):
        starts.append(starts[-1] + len(line))
    lines = text.splitlines()

    def at(line: int, column: int) -> int:
        return starts[line - 1] + len(lines[line - 1].encode()[:column].decode())

    found: list[Change] = []

    def put(start: int, old: str, new: str, line: int) -> None:
        found.append(Change(file, start, old, new, line))

    def between(one: ast.AST, other: ast.AST, word: str, new: str) -> None:
        begin = at(one.end_lineno, one.end_col_offset)  # type: ignore[attr-defined]
        end = at(other.lineno, other.col_offset)  # type: ignore[attr-defined]
        pattern = rf"(?<![\w*/<>=!]){re.escape(word)}(?![*/=])"
        hit = re.search(pattern, text[begin:end])
        if hit:
            put(begin + hit.start(), word, new, one.end_lineno)  # type: ignore[attr-defined]

    skip = _not_run(ast.parse(text))
    for node in ast.walk(ast.parse(text)):
        if not hasattr(node, "lineno") or node.lineno in skip:
            continue
        if isinstance(node, ast.Compare):
            sides = [node.left, *node.comparators]
            for one, op, other in zip(sides, node.ops, sides[1:], strict=False):
                between(one, other, *_COMPARE[type(op)])
        elif isinstance(node, ast.BinOp) and type(node.op) in _BINARY:
            if not any(isinstance(x, ast.Constant | ast.JoinedStr) and not isinstance(
                    getattr(x, "value", ""), int | float) for x in (node.left, node.right)):
                between(node.left, node.right, *_BINARY[type(node.op)])
        elif isinstance(node, ast.BoolOp):
            words = ("and", "or") if isinstance(node.op, ast.And) else ("or", "and")
            between(node.values[0], node.values[1], *words)
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Not):
            begin = at(node.lineno, node.col_offset)
            sign = "-" if isinstance(node.op, ast.USub) else "not "
            if text.startswith(sign, begin):
                put(begin, sign, "", node.lineno)
        elif isinstance(node, ast.Constant) and isinstance(node.value, int | float):
            begin, end = at(node.lineno, node.col_offset), at(node.end_lineno, node.end_col_offset)
            old = text[begin:end]
            if isinstance(node.value, bool):
                put(begin, old, str(not node.value), node.lineno)
            elif node.value == node.value and abs(node.value) < 1e300:
                new = node.value + 1 if isinstance(node.value, int) else node.value * 1.25 or 1.0
                put(begin, old, repr(new), node.lineno)
        elif isinstance(node, ast.Name | ast.Attribute):
            word = node.id if isinstance(node, ast.Name) else node.attr
            if word in _NAMES and isinstance(node.ctx, ast.Load):
                end = at(node.end_lineno, node.end_col_offset)
                put(end - len(word), word, _NAMES[word], node.lineno)
    return sorted(set(found), key=lambda c: (c.start, c.new))


def _not_run(tree: ast.AST) -> set[int]:
    """Lines whose text is no behaviour: annotations, docstrings, types for the checker."""
    lines: set[int] = set()
    for node in ast.walk(tree):
        hints = [getattr(node, "annotation", None), getattr(node, "returns", None)]
        if isinstance(node, ast.If) and isinstance(node.test, ast.Name):
            if node.test.id == "TYPE_CHECKING":
                lines |= set(range(node.lineno, node.end_lineno + 1))
        for hint in hints:
            if isinstance(hint, ast.AST) and not isinstance(node, ast.AnnAssign):
                lines |= set(range(hint.lineno, hint.end_lineno + 1)) - {node.lineno}
    return lines


def sample(seed: int, size: int) -> list[Change]:
    """The changes to be tried, always the same ones for one state of the code."""
    every = [
        change
        for room in ROOMS
        for path in sorted((ROOT / "weavecolor" / room).rglob("*.py"))
        for change in changes_of(path.relative_to(ROOT).as_posix())
    ]
    return random.Random(seed).sample(every, min(size, len(every)))


def module_of(file: str) -> str:
    return file.removesuffix(".py").replace("/", ".").removesuffix(".__init__")


def tests_of(file: str) -> list[str]:
    """The tests that import a module by name, and its worked examples."""
    module = module_of(file)
    room, name = module.rsplit(".", 1)
    direct = re.compile(
        rf"(from|import) {re.escape(module)}\b|from {re.escape(room)} import [^\n]*\b{name}\b"
    )
    found = [
        f"tests/{path.name}"
        for path in sorted(HERE.glob("test_*.py"))
        if direct.search(path.read_text(encoding="utf-8"))
        and not re.search(r"page|browser|interrupted|packaging|viewer", path.name)
    ]
    example = "/".join(file.removesuffix(".py").split("/")[1:])
    return [*found, f"tests/test_documented_examples.py::test_examples_run[{example}]"]


class _Changed(importlib.abc.MetaPathFinder, importlib.abc.SourceLoader):
    """Gives one module the changed text; what it compiles is not kept."""

    def __init__(self, change: Change) -> None:
        self.module, self.path = module_of(change.file), str(ROOT / change.file)
        self.text = change.applied().replace("cache=True", "cache=False")

    def find_spec(self, fullname, path=None, target=None):  # type: ignore[no-untyped-def]
        if fullname != self.module:
            return None
        return importlib.util.spec_from_file_location(
            fullname, self.path, loader=self,
            submodule_search_locations=None,
        )  # fmt: skip

    def get_filename(self, fullname: str) -> str:
        return self.path

    def get_data(self, path: str) -> bytes:
        if path != self.path:
            raise OSError(path)  # no kept bytecode
        return self.text.encode()


def tried(change: Change | None, tests: list[str], seconds: float) -> tuple[str, float]:
    """"passed", "failed", "none" (no test there) or "too long", of these tests in a fork; and the
    seconds of processor time."""
    child = os.fork()
    if child == 0:
        code = 99
        try:
            os.setpgid(0, 0)
            quiet = os.open(os.devnull, os.O_WRONLY)
            os.dup2(quiet, 1)
            os.dup2(quiet, 2)
            sys.path[:0] = [str(HERE), str(ROOT)]
            if change is not None:
                sys.meta_path.insert(0, _Changed(change))
            import pytest

            code = int(
                pytest.main(
                    ["-x", "-q", "-n", "0", "-p", "no:cacheprovider", "-m", "not slow and not "
                     "browser", "--no-header", "--rootdir", str(ROOT), *tests]
                )  # fmt: skip
            )
        finally:
            os._exit(code)
    with contextlib.suppress(OSError):
        os.setpgid(child, child)
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        done, status, used = os.wait4(child, os.WNOHANG)
        if done:
            code = os.waitstatus_to_exitcode(status)
            spent = used.ru_utime + used.ru_stime
            return {0: "passed", 5: "none"}.get(code, "failed"), spent
        time.sleep(0.05)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return "too long", seconds


def _preload() -> None:
    """Load what is not ours, once for all forks."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.chdir(ROOT)
    for name in ("numpy", "scipy.optimize", "scipy.ndimage", "scipy.interpolate", "numba", "colour",
                 "PIL.Image", "shapely", "click", "msgspec", "pandas", "pytest", "hypothesis",
                 "skimage", "fpdf", "_pytest.assertion.rewrite"):  # fmt: skip
        with contextlib.suppress(ImportError):
            importlib.import_module(name)


class State:
    """Outcomes by the change's name, and how long each test file takes, kept in a file."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.outcomes: dict[str, dict[str, object]] = {}
        self.seconds: dict[str, float] = {}
        if path.exists():
            for line in path.read_text(encoding="utf-8").splitlines():
                row = json.loads(line)
                if "took" in row:
                    self.seconds[row["tests"]] = row["took"]
                else:
                    self.outcomes[row["change"]] = row

    def add(self, row: dict[str, object]) -> None:
        with self.path.open("a", encoding="utf-8") as out:
            out.write(json.dumps(row) + "\n")
        if "took" in row:
            self.seconds[str(row["tests"])] = float(row["took"])  # type: ignore[arg-type]
        else:
            self.outcomes[str(row["change"])] = row

    def took(self, tests: str) -> float:
        """Seconds of these tests on the unchanged code; endless where they fail by themselves."""
        if tests not in self.seconds:
            outcome, spent = tried(None, [tests], 900.0)
            sound = outcome in ("passed", "none")
            self.add({"tests": tests, "took": round(spent, 2) if sound else 1e9})
        return self.seconds[tests]


def chosen(state: State, file: str, budget: float) -> tuple[list[str], float]:
    """The quickest tests of a module within the budget, at least one; and their seconds."""
    ranked = sorted((state.took(tests), tests) for tests in tests_of(file))
    taken: list[str] = []
    spent = 0.0
    for seconds, tests in ranked:
        if seconds < 1e9 and (not taken or spent + seconds <= budget):
            taken.append(tests)
            spent += seconds
    return taken, spent


def listed() -> Iterator[tuple[Change, tuple[str, ...]]]:
    for file, old, new, tests in LISTED:
        text = (ROOT / file).read_text(encoding="utf-8")
        if text.count(old) != 1:
            raise SystemExit(f"{file}: {old!r} stands there {text.count(old)} times, not once")
        start = text.index(old)
        yield Change(file, start, old, new, text.count("\n", 0, start) + 1), tests


def report(state: State, drawn: list[Change]) -> str:
    """Noticed and unnoticed, room by room, then every change that no test noticed."""
    lines, missed = [], []
    for room in (*ROOMS, ""):
        rows = [
            state.outcomes[c.name] for c in drawn
            if c.name in state.outcomes and c.file.startswith(f"weavecolor/{room}")
        ]  # fmt: skip
        seen = sum(row["outcome"] in ("failed", "too long") for row in rows)
        if rows:
            name = room or f"all ({len(drawn)} drawn)"
            lines.append(f"{name}: {seen} of {len(rows)} noticed, {100 * seen / len(rows):.0f} %")
        if not room:
            missed = [str(r["change"]) for r in rows if r["outcome"] not in ("failed", "too long")]
    return "\n".join([*lines, *(f"  unnoticed: {name}" for name in missed)])


def main() -> int:
    parser = argparse.ArgumentParser(description="Put errors in; see whether a test notices.")
    parser.add_argument("--listed", action="store_true")
    parser.add_argument("--only", default="", help="with --listed: files whose name holds this")
    parser.add_argument("--report", action="store_true")
    parser.add_argument("--seed", type=int, default=20)
    parser.add_argument("--sample", type=int, default=400)
    parser.add_argument("--budget", type=float, default=BUDGET)
    parser.add_argument("--until", type=float, default=float("inf"), help="stop after minutes")
    parser.add_argument("--state", type=Path, default=ROOT / ".mutants.jsonl")
    asked = parser.parse_args()
    began = time.monotonic()
    _preload()
    if asked.listed:
        missed = 0
        for change, tests in listed():
            if asked.only not in change.file:
                continue
            outcome, _ = tried(change, list(tests), 900.0)
            missed += outcome not in ("failed", "too long")
            print(f"{outcome:8s} {change.name}", flush=True)
        return 1 if missed else 0
    state, drawn = State(asked.state), sample(asked.seed, asked.sample)
    if not asked.report:
        for number, change in enumerate(drawn):
            if change.name in state.outcomes:
                continue
            if time.monotonic() - began > 60.0 * asked.until:
                break
            tests, seconds = chosen(state, change.file, asked.budget)
            # a busy machine gives a process a small part of a core
            outcome, spent = tried(change, tests, 60.0 + 20.0 * seconds) if tests else ("none", 0)
            state.add({"change": change.name, "outcome": outcome, "tests": tests,
                       "seconds": round(spent, 1)})  # fmt: skip
            print(f"{number + 1}/{len(drawn)} {outcome:8s} {change.name}", flush=True)
    print(report(state, drawn))
    return 0


if __name__ == "__main__":
    sys.exit(main())
