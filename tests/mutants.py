"""Errors put into the code on purpose, one at a time: does a test notice?

    python -m tests.mutants --listed     the errors of LISTED, each of which once went unseen
    python -m tests.mutants              a sample drawn from all one-place changes, resumed where
                                         the last run of the same sample ended
    python -m tests.mutants --report     what came of it so far

The core rooms are read as syntax trees; each comparison, sum, product, number, condition and return
gives a change or two. The sample is drawn by --seed from all of them before any is tried. --workers
says how many are tried at once, --until after how many minutes to stop.

First the tests are run as they are, file by file: how long each takes and (with Python 3.12 or
newer) which functions of the core rooms it runs. A change is tried in a process of its own, forked
from one that has the libraries loaded already: the changed module is compiled in memory in place of
its file, so nothing is written into the tree, and tests run until one fails: those that run the
changed function, the quickest first, then the others of the files that import its module, up to a
budget of processor seconds. Nothing that tests start as another process sees the change. Outcomes
are appended to --state at once, one line of JSON each; a change counts as noticed where a test
fails, cannot be collected, or takes far longer than unchanged. Hypothesis draws the same examples
each time and does not simplify what it finds.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import hashlib
import importlib.abc
import importlib.util
import json
import os
import random
import re
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent
ROOMS = ("textile", "optics", "colour", "cutting", "measure")
#: Processor seconds of tests (as measured here, unchanged) that a change is given, at most.
BUDGET = 60.0
#: Changes that no test need notice, and why: file, text of the line, old, new, reason, by tabs.
EXCUSED = HERE / "data" / "unnoticed.tsv"
#: Of these at most so many in the first round, a few quick tests of every file.
FIRST = 3.0
#: A test is stopped after so many processor seconds, and so many times what its file takes.
PATIENCE = (30.0, 5.0)
#: Seconds that the compiled parts may take to compile anew.
COMPILING = 150.0
#: Outcomes of an error that was noticed.
NOTICED = {"failed", "too long"}
#: Bytes that a test may ask for, lest an error ask for all.
MEMORY = 16 << 30
#: Not of the core rooms, or seeing nothing of a change: other processes, a browser.
LEFT_OUT = re.compile(r"page|browser|interrupted|packaging|viewer")


@dataclass(frozen=True)
class Change:
    """``old`` text at ``start`` (characters into the file) replaced by ``new``."""

    file: str
    start: int
    old: str
    new: str
    line: int

    @property
    def reason(self) -> str:
        """Why no test need notice it; empty where none is told."""
        text = (ROOT / self.file).read_text(encoding="utf-8").splitlines()[self.line - 1].strip()
        return excused().get((self.file, text, self.old, self.new), "")

    @property
    def name(self) -> str:
        return f"{self.file}:{self.line} {self.old[:60]!r} -> {self.new[:60]!r} @{self.start}"

    def applied(self) -> str:
        text = (ROOT / self.file).read_text(encoding="utf-8")
        if text[self.start : self.start + len(self.old)] != self.old:
            raise SystemExit(f"{self.file} has changed since the sample was drawn: begin anew")
        return text[: self.start] + self.new + text[self.start + len(self.old) :]


@cache
def excused() -> dict[tuple[str, ...], str]:
    """The reasons of ``EXCUSED`` by file, line, old and new text."""
    rows = [x.split("\t") for x in EXCUSED.read_text(encoding="utf-8").splitlines()[1:]]
    return {tuple(row[:4]): row[4] for row in rows}


#: file, text to be found once, what is put in its place, tests that should notice.
LISTED: tuple[tuple[str, str, str, tuple[str, ...]], ...] = (
    # the doubt no longer asks what is changed: backing, layers, grain
    (
        "weavecolor/decide/compare.py",
        "changed=changed,",
        "changed=(),",
        ("tests/test_uncertainty.py",),
    ),
    # daylight at either end for at both
    (
        "weavecolor/decide/compare.py",
        "near_daylight(a.scene) and near_daylight(b.scene)",
        "near_daylight(a.scene) or near_daylight(b.scene)",
        ("tests/test_uncertainty.py",),
    ),
    # what is known of two cloths not joined
    (
        "weavecolor/decide/compare.py",
        "cloths = _cloths(a) + _cloths(b)",
        "cloths = _cloths(a)",
        ("tests/test_uncertainty.py",),
    ),
    (
        "weavecolor/decide/compare.py",
        "cloths = _cloths(a) + _cloths(b)",
        "cloths = _cloths(b)",
        ("tests/test_uncertainty.py",),
    ),
    # Fresnel's p part at an angle
    (
        "weavecolor/optics/cell/paths.py",
        "rp = (index * cosine - beyond)",
        "rp = (cosine - index * beyond)",
        ("tests/test_witnesses.py",),
    ),
    # the register of the openings kept, or lost by half as much
    (
        "weavecolor/optics/cell/pairs.py",
        "np.exp(-2.0 * np.pi**2 * distance.uneven**2 * way)",
        "np.exp(-1.0 * np.pi**2 * distance.uneven**2 * way)",
        ("tests/test_witnesses.py",),
    ),
    (
        "weavecolor/optics/cell/pairs.py",
        "return chance + (joint - chance) * held",
        "return joint",
        ("tests/test_witnesses.py", "tests/test_cell_openings.py", "tests/test_adding.py"),
    ),
    # the scale's spread in thread counts
    (
        "weavecolor/measure/threads.py",
        "float(np.hypot(own, scale_uncertainty))",
        "float(own)",
        ("tests/test_measure_threads.py",),
    ),
    # spreads of warp and weft exchanged
    (
        "weavecolor/measure/threads.py",
        '(ends, spreads[0], "ends_per_cm"), (picks, spreads[1],',
        '(ends, spreads[1], "ends_per_cm"), (picks, spreads[0],',
        ("tests/test_measure_threads.py",),
    ),
    # the ruler's tilt
    (
        "weavecolor/measure/ruler.py",
        "true = spacing * float(np.cos(angle))",
        "true = spacing",
        ("tests/test_measure_swatchpair.py",),
    ),
    # --scale on a picture read reduced
    (
        "weavecolor/cli/measure.py",
        "per_mm /= shot.reduced",
        "pass",
        ("tests/test_measure_threads.py",),
    ),
    # units
    ("weavecolor/textile/units.py", '"yards": 914.4', '"yards": 9144.0', ("tests/test_units.py",)),
    ("weavecolor/textile/units.py", '"dm": 100.0', '"dm": 10.0', ("tests/test_units.py",)),
    ("weavecolor/textile/units.py", '"dm": 0.1', '"dm": 1.0', ("tests/test_units.py",)),
    # the sign of the turn of inner layers
    (
        "weavecolor/optics/appearance.py",
        "turn = (layers[-1].layer.grain_deg - layers[0].layer.grain_deg) % 360.0",
        "turn = (layers[0].layer.grain_deg - layers[-1].layer.grain_deg) % 360.0",
        ("tests/test_witnesses.py",),
    ),
    # shortfall on a crosswise fold, used share, bias left out
    (
        "weavecolor/cutting/lay.py",
        'short = (shortest - length) * (2.0 if fold == "crosswise" else 1.0)',
        "short = shortest - length",
        ("tests/test_make_needed.py",),
    ),
    (
        "weavecolor/cutting/lay.py",
        "cut_area / taken if taken > 0.0 else 0.0",
        "cut_area / sound.area if taken > 0.0 else 0.0",
        ("tests/test_make_needed.py",),
    ),
    (
        "weavecolor/cli/decide.py",
        "kept.bias and not no_bias",
        "kept.bias",
        ("tests/test_make_needed.py",),
    ),
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
            if not any(
                isinstance(x, ast.Constant | ast.JoinedStr)
                and not isinstance(getattr(x, "value", ""), int | float)
                for x in (node.left, node.right)
            ):
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
    """Lines whose text is no behaviour: annotations, types for the checker, sizes of caches and how
    to compile."""
    lines: set[int] = set()
    for node in ast.walk(tree):
        hints = [getattr(node, "annotation", None), getattr(node, "returns", None)]
        if isinstance(node, ast.If) and isinstance(node.test, ast.Name):
            if node.test.id == "TYPE_CHECKING":
                lines |= set(range(node.lineno, node.end_lineno + 1))
        for hint in hints:
            if isinstance(hint, ast.AST) and not isinstance(node, ast.AnnAssign):
                lines |= set(range(hint.lineno, hint.end_lineno + 1)) - {node.lineno}
        for made in getattr(node, "decorator_list", ()):
            if re.search(r"cache|njit", ast.unparse(made)):
                lines |= set(range(made.lineno, made.end_lineno + 1))
        if isinstance(node, ast.Assign) and re.match(r"(Kept|njit)\(", ast.unparse(node.value)):
            lines |= set(range(node.lineno, node.end_lineno + 1))
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


@lru_cache(maxsize=1)
def functions() -> tuple[tuple[str, int, int], ...]:
    """Every function of the core rooms: file, first and last line."""
    found = []
    for room in ROOMS:
        for path in sorted((ROOT / "weavecolor" / room).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.FunctionDef):
                    first = min([node.lineno, *(d.lineno for d in node.decorator_list)])
                    file = path.relative_to(ROOT).as_posix()
                    found.append((file, first, int(node.end_lineno or first)))
    return tuple(sorted(found))


@cache
def function_at(file: str, line: int) -> int:
    """Number of the innermost function about a line, -1 where there is none."""
    about = [
        (last - first, number) for number, (where, first, last) in enumerate(functions())
        if where == file and first <= line <= last
    ]  # fmt: skip
    return min(about)[1] if about else -1


def test_files() -> list[str]:
    return [
        f"tests/{p.name}" for p in sorted(HERE.glob("test_*.py")) if not LEFT_OUT.search(p.name)
    ]


@cache
def imported_by(file: str) -> tuple[set[str], str]:
    """The files of tests that import a module by name, or every module, and its worked examples."""
    module = module_of(file)
    room, name = module.rsplit(".", 1)
    direct = re.compile(
        rf"(from|import) {re.escape(module)}\b"
        rf"|from {re.escape(room)} import (?:[^\n(]*|\([^)]*)\b{name}\b"
        r"|walk_packages\(weavecolor"
    )
    files = {t for t in test_files() if direct.search((ROOT / t).read_text(encoding="utf-8"))}
    example = "/".join(file.removesuffix(".py").split("/")[1:])
    return files, f"tests/test_documented_examples.py::test_examples_run[{example}]"


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


class _Drawn:
    """Hypothesis draws alike each time, keeps nothing and does not simplify."""

    def pytest_sessionstart(self) -> None:
        from hypothesis import Phase, settings

        phases = (Phase.explicit, Phase.generate)
        settings.register_profile("errors", deadline=None, derandomize=True, database=None,
                                  phases=phases)  # fmt: skip
        settings.load_profile("errors")


def _spent() -> float:
    return sum(os.times()[:4])


class _Measure(_Drawn):
    """Seconds, functions run and outcome of each test, by its name."""

    def __init__(self) -> None:
        self.rows: dict[str, tuple[float, list[int]]] = {}
        self._bad: set[str] = set()
        self._good: set[str] = set()
        self._ran: set[int] = set()
        self._rooms = tuple(str(ROOT / "weavecolor" / room) + os.sep for room in ROOMS)
        if hasattr(sys, "monitoring"):
            watch = sys.monitoring
            watch.use_tool_id(watch.COVERAGE_ID, "errors")
            watch.register_callback(watch.COVERAGE_ID, watch.events.PY_START, self._start)
            watch.set_events(watch.COVERAGE_ID, watch.events.PY_START)

    def _start(self, code, _offset):  # type: ignore[no-untyped-def]
        if code.co_filename.startswith(self._rooms):
            file = Path(code.co_filename).relative_to(ROOT).as_posix()
            self._ran.add(function_at(file, code.co_firstlineno))
        return sys.monitoring.DISABLE

    def pytest_runtest_logreport(self, report) -> None:  # type: ignore[no-untyped-def]
        if report.failed:
            self._bad.add(report.nodeid)
        elif report.when == "call" and report.passed:
            self._good.add(report.nodeid)

    def pytest_runtest_protocol(self, item):  # type: ignore[no-untyped-def]
        self._ran.clear()
        if hasattr(sys, "monitoring"):
            sys.monitoring.restart_events()
        began = _spent()
        yield
        self.rows[item.nodeid] = (round(_spent() - began, 3), sorted(self._ran - {-1}))

    def sound(self) -> dict[str, tuple[float, list[int]]]:
        return {n: row for n, row in self.rows.items() if n in self._good - self._bad}


class _Try(_Drawn):
    """Runs the named tests only, in that order of files, each with its own limit of seconds."""

    def __init__(self, limits: dict[str, float], note: Path, first: float) -> None:
        self.limits, self.note = limits, note
        signal.setitimer(signal.ITIMER_PROF, first)

    def pytest_collection_modifyitems(self, items) -> None:  # type: ignore[no-untyped-def]
        items[:] = [item for item in items if item.nodeid in self.limits]

    def pytest_runtest_protocol(self, item):  # type: ignore[no-untyped-def]
        self.note.write_text(item.nodeid, encoding="utf-8")
        # by default the signal ends the process
        signal.setitimer(signal.ITIMER_PROF, self.limits[item.nodeid])
        yield
        signal.setitimer(signal.ITIMER_PROF, 0.0)

    def pytest_runtest_logreport(self, report) -> None:  # type: ignore[no-untyped-def]
        if report.failed:
            self.note.write_text(report.nodeid, encoding="utf-8")


def _pytest(tests: list[str], folder: Path, plugin: _Drawn, *options: str) -> int:
    import pytest

    for kind in (_Measure, _Try):
        kind.pytest_runtest_protocol = pytest.hookimpl(hookwrapper=True)(  # type: ignore
            kind.pytest_runtest_protocol
        )
    return int(
        pytest.main(
            [
                "-q",
                "-o",
                "addopts=",
                "-p",
                "no:cacheprovider",
                "-p",
                "no:xdist",
                "-m",
                "not slow and not browser",
                "--no-header",
                "--rootdir",
                str(ROOT),
                "--basetemp",
                str(folder / "tmp"),
                *options,
                *tests,
            ],
            plugins=[plugin],
        )  # fmt: skip
    )


@dataclass
class Job:
    """Work in a process of its own with a folder of its own: ``work`` gives its exit code, ``done``
    takes the outcome ("passed", "failed", "none", "too long"), processor seconds and the folder."""

    work: Callable[[Path], int]
    done: Callable[[str, float, Path], list[Job]]
    wall: float = 900.0
    folder: Path = Path()
    end: float = 0.0


def _forked(job: Job) -> int:
    job.end = time.monotonic() + job.wall
    job.folder = Path(tempfile.mkdtemp(prefix="errors-"))
    child = os.fork()
    if child:
        with contextlib.suppress(OSError):
            os.setpgid(child, child)
        return child
    code = 99
    try:
        os.setpgid(0, 0)
        signal.signal(signal.SIGINT, signal.SIG_DFL)
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
        told = os.open(job.folder / "told", os.O_WRONLY | os.O_CREAT)
        os.dup2(told, 1)
        os.dup2(told, 2)
        code = job.work(job.folder)
    finally:
        os._exit(code)


def at_once(jobs: list[Job], workers: int, end: float) -> None:
    """Run the jobs and those that follow from them, ``workers`` at a time, until ``end``; what is
    running then is given up."""
    waiting, running = list(reversed(jobs)), dict[int, Job]()
    try:
        while waiting or running:
            if time.monotonic() > end:
                break
            while waiting and len(running) < workers:
                job = waiting.pop()
                running[_forked(job)] = job
            child, status, used = os.wait4(-1, os.WNOHANG)
            for late in [c for c, j in running.items() if time.monotonic() > j.end]:
                os.killpg(late, signal.SIGKILL)
                running[late].end = float("inf")
            if not child:
                time.sleep(0.05)
                continue
            job = running.pop(child)
            with contextlib.suppress(OSError):
                os.killpg(child, signal.SIGKILL)  # what it left running
            code = os.waitstatus_to_exitcode(status)
            stopped = {-signal.SIGPROF: "too long", -signal.SIGKILL: "too long"}
            outcome = {0: "passed", 5: "none", **stopped}.get(code, "failed")
            waiting += job.done(outcome, used.ru_utime + used.ru_stime, job.folder)
            shutil.rmtree(job.folder, ignore_errors=True)
    finally:
        for child, job in running.items():
            with contextlib.suppress(OSError):
                os.killpg(child, signal.SIGKILL)
            os.waitpid(child, 0)
            shutil.rmtree(job.folder, ignore_errors=True)


def _preload() -> None:
    """Load what is not ours, once for all forks."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ.setdefault("NUMBA_NUM_THREADS", "1")
    os.environ["PYTHONPATH"] = os.pathsep.join(
        [str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])]
    )
    os.chdir(ROOT)
    sys.path[:0] = [str(HERE), str(ROOT)]
    for name in ("numpy", "scipy.optimize", "scipy.ndimage", "scipy.interpolate", "numba", "colour",
                 "PIL.Image", "shapely", "click", "msgspec", "pandas", "pytest", "hypothesis",
                 "skimage", "fpdf", "_pytest.assertion.rewrite"):  # fmt: skip
        with contextlib.suppress(ImportError):
            importlib.import_module(name)


class State:
    """Outcomes by the change's name, and what each file of tests takes and runs, kept in a file."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.outcomes: dict[str, dict[str, object]] = {}
        #: by file of tests: name of test -> seconds, functions run
        self.tests: dict[str, dict[str, tuple[float, list[int]]]] = {}
        if path.exists():
            for line in path.read_text(encoding="utf-8").splitlines():
                with contextlib.suppress(json.JSONDecodeError):  # a line cut off by a kill
                    self._take(json.loads(line))

    def _take(self, row: dict[str, object]) -> None:
        if "change" in row:
            self.outcomes[str(row["change"])] = row
        elif row["of"] == _content(str(row["file"])):
            self.tests[str(row["file"])] = row["tests"]  # type: ignore[assignment]

    def add(self, row: dict[str, object]) -> None:
        with self.path.open("a", encoding="utf-8") as out:
            out.write(json.dumps(row, separators=(",", ":")) + "\n")
        self._take(row)


@cache
def _content(file: str) -> str:
    """Stands for a file of tests and all that it may run."""
    digest = hashlib.sha256((ROOT / file).read_bytes())
    for path in [HERE / "conftest.py", *sorted((ROOT / "weavecolor").rglob("*.py"))]:
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def measuring(state: State, file: str) -> Job:
    """The tests of a file as they are."""

    def work(folder: Path) -> int:
        plugin = _Measure()
        code = _pytest([file], folder, plugin)
        (folder / "rows").write_text(json.dumps(plugin.sound()), encoding="utf-8")
        return code

    def done(outcome: str, seconds: float, folder: Path) -> list[Job]:
        rows = folder / "rows"
        tests = json.loads(rows.read_text(encoding="utf-8")) if rows.exists() else {}
        state.add({"file": file, "of": _content(file), "outcome": outcome,
                   "seconds": round(seconds, 1), "tests": tests})  # fmt: skip
        print(f"{outcome:8s} {seconds:6.1f} s, {len(tests):3d} tests sound: {file}", flush=True)
        if outcome == "failed":
            lines = (folder / "told").read_text(encoding="utf-8", errors="replace").splitlines()
            print("\n".join(f"    {x[:150]}" for x in lines if re.match("FAILED|ERROR", x)))
        return []

    return Job(work, done)


def _compile(folder: Path) -> int:
    """Keep compiled what every process would else compile for itself."""
    import compiled

    if compiled.missing():
        compiled.compile_all()
    return 0


def chosen(state: State, change: Change, budget: float) -> tuple[list[str], list[str]]:
    """The tests of a change, in two rounds: a few quick ones, and the rest of the budget."""
    took = {name: row[0] for rows in state.tests.values() for name, row in rows.items()}
    ran = {name: row[1] for rows in state.tests.values() for name, row in rows.items()}
    files, example = imported_by(change.file)
    near = {n for n in took if n.split("::")[0] in files or n == example}
    number = function_at(change.file, change.line)
    own = {n for n, numbers in ran.items() if number in numbers}
    if not own:  # not in a function, compiled, or never run
        own = {n for n, numbers in ran.items()
               if any(functions()[k][0] == change.file for k in numbers)}  # fmt: skip
    ranked = sorted(own if number >= 0 and own else own | near, key=lambda n: (took[n], n))
    ranked += sorted((near | own) - set(ranked), key=lambda n: (took[n], n))
    rounds: tuple[list[str], list[str]] = ([], [])
    spent, seen = 0.0, set[str]()
    for name in ranked:
        file = name.split("::")[0]
        spent += took[name] + (0.0 if file in seen else 0.5)  # to load the file
        if spent > budget and any(rounds):
            break
        rounds[0 if spent <= FIRST or not rounds[0] else 1].append(name)
        seen.add(file)
    return rounds


def trying(state: State, change: Change, rounds: list[list[str]], told: str) -> Job:
    """A change with the tests of the first round; those of the next follow where it passes."""
    tests, *later = rounds
    compiled = "njit" in (ROOT / change.file).read_text("utf-8")
    extra = COMPILING if compiled else 0.0
    by_file: dict[str, float] = {}
    for rows in state.tests.values():
        for name, row in rows.items():
            file = name.split("::")[0]
            by_file[file] = max(by_file.get(file, 0.0), row[0])
    limits = {
        n: PATIENCE[0] + extra + PATIENCE[1] * by_file.get(n.split("::")[0], 60.0) for n in tests
    }

    def work(folder: Path) -> int:
        sys.meta_path.insert(0, _Changed(change))
        if compiled:
            import numba

            numba.config.CACHE_DIR = str(folder)  # nothing that was compiled with or without it
        plugin = _Try(limits, folder / "test", PATIENCE[0] + extra)
        return _pytest(list(dict.fromkeys(n.split("::")[0] for n in tests)), folder, plugin, "-x")

    def done(outcome: str, seconds: float, folder: Path) -> list[Job]:
        if outcome in ("passed", "none") and later:
            return [trying(state, change, later, told)]
        note = folder / "test"
        by = note.read_text(encoding="utf-8") if note.exists() else "loading"
        row: dict[str, object] = {"change": change.name, "outcome": outcome,
                                  "seconds": round(seconds, 1)}  # fmt: skip
        if outcome in ("passed", "none"):
            row["tests"] = sum(map(len, rounds))
        else:
            row["by"] = by
        state.add(row)
        print(f"{told} {outcome:8s} {seconds:6.1f} s {change.name}", flush=True)
        return []

    return Job(work, done, wall=2.0 * sum(sorted(limits.values())[-3:]) + 5.0 * BUDGET)


def listed() -> Iterator[tuple[Change, tuple[str, ...]]]:
    for file, old, new, tests in LISTED:
        text = (ROOT / file).read_text(encoding="utf-8")
        if text.count(old) != 1:
            raise SystemExit(f"{file}: {old!r} stands there {text.count(old)} times, not once")
        start = text.index(old)
        yield Change(file, start, old, new, text.count("\n", 0, start) + 1), tests


def _try_listed(only: str, workers: int, end: float) -> int:
    told: list[str] = []

    def job(change: Change, tests: tuple[str, ...]) -> Job:
        def work(folder: Path) -> int:
            sys.meta_path.insert(0, _Changed(change))
            return _pytest(list(tests), folder, _Drawn(), "-x")

        def done(outcome: str, seconds: float, folder: Path) -> list[Job]:
            told.append(outcome)
            print(f"{outcome:8s} {change.name}", flush=True)
            return []

        return Job(work, done)

    jobs = [job(change, tests) for change, tests in listed() if only in change.file]
    at_once([Job(_compile, lambda *told: [])], 1, end)
    at_once(jobs, workers, end)
    return 0 if len(told) == len(jobs) and set(told) <= NOTICED else 1


def report(state: State, drawn: list[Change]) -> str:
    """Noticed and unnoticed, room by room, then every change that no test noticed, those that no
    test need notice with the reason."""
    lines, missed = [], []
    for room in (*ROOMS, ""):
        tried = [
            c for c in drawn
            if c.name in state.outcomes and c.file.startswith(f"weavecolor/{room}")
        ]  # fmt: skip
        missed = [c for c in tried if state.outcomes[c.name]["outcome"] not in NOTICED]
        seen, alike = len(tried) - len(missed), sum(bool(c.reason) for c in missed)
        if tried:
            name = room or f"all ({len(drawn)} drawn)"
            lines.append(
                f"{name}: {seen} of {len(tried)} noticed, {100 * seen / len(tried):.0f} %; "
                f"of the rest {alike} with a reason"
            )
    missed.sort(key=lambda c: (bool(c.reason), c.name))
    return "\n".join(
        [*lines, *(f"  unnoticed: {c.name}" + f" ({c.reason})" * bool(c.reason) for c in missed)]
    )


def main() -> int:
    parser = argparse.ArgumentParser(description="Put errors in; see whether a test notices.")
    parser.add_argument("--listed", action="store_true")
    parser.add_argument("--only", default="", help="files whose name holds this")
    parser.add_argument("--report", action="store_true")
    parser.add_argument("--again", action="store_true", help="try anew what went unnoticed")
    parser.add_argument("--seed", type=int, default=20)
    parser.add_argument("--sample", type=int, default=400)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--budget", type=float, default=BUDGET)
    parser.add_argument("--until", type=float, default=float("inf"), help="stop after minutes")
    parser.add_argument("--state", type=Path, default=ROOT / ".mutants.jsonl")
    asked = parser.parse_args()
    end = time.monotonic() + 60.0 * asked.until
    asked.state = asked.state.resolve()
    state, drawn = State(asked.state), sample(asked.seed, asked.sample)
    if asked.report:
        print(report(state, drawn))
        return 0
    _preload()
    left = [
        number for number, change in enumerate(drawn)
        if asked.only in change.file
        and (change.name not in state.outcomes
             or asked.again and state.outcomes[change.name]["outcome"] not in NOTICED)
    ]  # fmt: skip
    if asked.listed:
        return _try_listed(asked.only, asked.workers, end)
    if left:
        at_once([Job(_compile, lambda *told: [])], 1, end)
        files = [f for f in test_files() if f not in state.tests]
        at_once([measuring(state, file) for file in files], asked.workers, end)
    if all(f in state.tests for f in test_files()):
        jobs = []
        for number in left:
            rounds = [r for r in chosen(state, drawn[number], asked.budget) if r]
            if rounds:
                told = f"{number + 1}/{len(drawn)}"
                jobs.append(trying(state, drawn[number], rounds, told))
            else:
                state.add({"change": drawn[number].name, "outcome": "none"})
        at_once(jobs, asked.workers, end)
    print(report(state, drawn))
    return 0


if __name__ == "__main__":
    sys.exit(main())
