"""Work that is stopped, a full disk, a folder that cannot be written: the earlier file stays whole.

Each kind of file is written in a process of its own, which is killed (SIGKILL: nothing can be
tidied up) at every step of the write: before the temporary file is opened, half-way through its
bytes, before it is flushed to disk, before and after it takes the place of the earlier one.
"""

from __future__ import annotations

import io
import json
import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from PIL import Image

from weavecolor.cli import run
from weavecolor.errors import InputError
from weavecolor.files import atomic
from weavecolor.files.clothfile import read_cloth
from weavecolor.making.file import load_making

ROOT = Path(__file__).resolve().parents[1]

#: Python that writes one kind of file to ``path``; ``mark`` makes new content differ.
KINDS = {
    "cloth.toml": """
from dataclasses import replace
from weavecolor.files.atomic import write_text
from weavecolor.files.clothfile import cloth_to_toml, load_swatch
write_text(path, cloth_to_toml(replace(load_swatch("shot-organza-red-black"), notes=mark * 2000)))
""",
    "project.json": """
from weavecolor.making.file import save_making
from weavecolor.making.model import Making
save_making(path, Making(mark, notes=mark * 4000))
""",
    "sheet.png": """
import io
from PIL import Image
from weavecolor.files.atomic import write_bytes
from weavecolor.picture.encode import png_bytes
write_bytes(path, png_bytes(Image.effect_noise((300, 200), 80 if mark == "a" else 40)))
""",
    "sheet.pdf": """
from weavecolor.report.makingsheet import MakingSheet, SheetLayer, save_making_sheet
save_making_sheet(path, MakingSheet("Cape " + mark * 20, "4 March", (SheetLayer("organza", 0.0),)))
""",
    "table.json": """
from pathlib import Path
from weavecolor.cli._shared import give
give('{"rows": "' + mark * 4000 + '"}', Path(path))
""",
    "table.csv": """
from pathlib import Path
from weavecolor.cli._shared import give
give("pin,difference\\n" + (mark + ",1.0\\n") * 1000, Path(path))
""",
    "turning.webp": """
from PIL import Image
from weavecolor.files.atomic import write_bytes
from weavecolor.picture.encode import loop_bytes
base = 80 if mark == "a" else 40
frames = [Image.effect_noise((90, 60), base + k).convert("RGB") for k in range(4)]
write_bytes(path, loop_bytes(frames))
""",
}

#: What stops the process, as Python run before the write.
STOPS = {
    "before a temporary file": "tempfile.mkstemp = die",
    "half-way through the bytes": """
real = os.fdopen
def fdopen(*args, **rest):
    stream = real(*args, **rest)
    class Half:
        def __enter__(self): return self
        def __exit__(self, *rest): stream.close()
        def write(self, data):
            stream.write(data[: len(data) // 2]); stream.flush(); die()
    return Half()
os.fdopen = fdopen
""",
    "before it is on disk": "os.fsync = die",
    "before it is renamed": "os.replace = die",
    "after it is renamed": """
real = os.replace
def replace(*args):
    real(*args); die()
os.replace = replace
""",
}

PRELUDE = """
import os, signal, sys, tempfile
path, mark = sys.argv[1:]
def die(*args, **rest):
    os.kill(os.getpid(), signal.SIGKILL)
"""


def _write(path: Path, mark: str, kind: str) -> None:
    exec(KINDS[kind], {"path": str(path), "mark": mark})


def _write_and_die(path: Path, mark: str, kind: str, stop: str) -> None:
    """The same in a process that is killed at ``stop``."""
    # What is imported must not be stopped, so it is imported first.
    imports = "\n".join(x for x in KINDS[kind].splitlines() if x.startswith(("from", "import")))
    done = subprocess.run(
        [sys.executable, "-c", PRELUDE + imports + "\n" + stop + KINDS[kind], str(path), mark],
        cwd=ROOT, capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert done.returncode == -signal.SIGKILL, done.stderr


def _opens(path: Path) -> None:
    data = path.read_bytes()
    if path.suffix == ".toml":
        read_cloth(path)
    elif path.name == "project.json":
        load_making(path)
    elif path.suffix == ".json":
        json.loads(data)
    elif path.suffix == ".csv":
        assert data.endswith(b",1.0\n") and data.count(b"\n") == 1001
    elif path.suffix == ".pdf":
        assert data.startswith(b"%PDF-") and data.rstrip().endswith(b"%%EOF")
    else:
        with Image.open(io.BytesIO(data)) as image:
            for frame in range(getattr(image, "n_frames", 1)):
                image.seek(frame)
                image.load()


@pytest.mark.parametrize("kind", KINDS)
def test_killed_half_way_through_the_earlier_file_is_whole(tmp_path, kind):
    path = tmp_path / kind
    _write(path, "a", kind)
    before = path.read_bytes()
    _opens(path)
    _write_and_die(path, "b", kind, STOPS["half-way through the bytes"])
    assert path.read_bytes() == before
    # What was left behind is hidden and in nobody's way: the next writing succeeds.
    assert [p.name[:6] for p in tmp_path.iterdir() if p != path] == [".part-"]
    _write(path, "b", kind)
    _opens(path)
    assert path.read_bytes() != before


@pytest.mark.parametrize("stop", STOPS)
def test_killed_at_any_step_there_is_the_earlier_or_the_new(tmp_path, stop):
    path, other = tmp_path / "cloth.toml", tmp_path / "new" / "cloth.toml"
    other.parent.mkdir()
    _write(path, "a", "cloth.toml")
    _write(other, "b", "cloth.toml")
    before, after = path.read_bytes(), other.read_bytes()
    assert before != after
    _write_and_die(path, "b", "cloth.toml", STOPS[stop])
    expected = after if stop == "after it is renamed" else before
    assert path.read_bytes() == expected


def test_killed_before_there_was_a_file_none_appears(tmp_path):
    path = tmp_path / "cloth.toml"
    _write_and_die(path, "a", "cloth.toml", STOPS["before it is renamed"])
    assert not path.exists()


def test_stopped_by_hand_nothing_is_left_over(tmp_path, monkeypatch):
    path = tmp_path / "table.csv"
    atomic.write_text(path, "whole")

    def stop(handle):
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", stop)
    with pytest.raises(KeyboardInterrupt):
        atomic.write_text(path, "half")
    assert path.read_text() == "whole"
    assert [p.name for p in tmp_path.iterdir()] == ["table.csv"]


# --- a disk that is full, a folder that is read-only ------------------------------------------


@pytest.fixture
def small_disk(tmp_path):
    """A file system of 64 kB; skipped where this user may not mount one."""
    place = tmp_path / "disk"
    place.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(place)], capture_output=True
    )
    if mounted.returncode:
        pytest.skip("only root may mount a small disk; the next test fails the write by hand")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=True)


def test_a_full_disk_is_told_in_a_line_and_keeps_what_was_there(small_disk):
    path = small_disk / "sheet.png"
    atomic.write_bytes(path, b"whole" * 1000)
    with pytest.raises(InputError) as refusal:
        atomic.write_bytes(path, os.urandom(100_000))
    said = str(refusal.value)
    assert "No space left on device" in said and str(path) in said and "\n" not in said
    assert path.read_bytes() == b"whole" * 1000
    assert [p.name for p in small_disk.iterdir()] == ["sheet.png"]
    atomic.write_bytes(path, b"less")  # room again, since nothing was left behind


def test_a_full_disk_at_the_command_line(small_disk, capsys):
    path = small_disk / "described.json"
    (small_disk / "filler").write_bytes(bytes(64_000))
    words = ["describe", "shot-organza-red-black", "--save", str(path)]
    assert run(words) == 2
    _, err = capsys.readouterr()
    assert err.count("\n") == 1 and "No space left on device" in err
    assert not path.exists()


def test_a_read_only_disk_is_told_in_a_line(small_disk, capsys):
    path = small_disk / "described.json"
    atomic.write_text(path, "whole")
    remounted = subprocess.run(
        ["mount", "-o", "remount,ro", str(small_disk)], capture_output=True
    )
    assert remounted.returncode == 0
    assert run(["describe", "shot-organza-red-black", "--save", str(path)]) == 2
    _, err = capsys.readouterr()
    assert err.count("\n") == 1 and "Read-only file system" in err and str(path) in err
    assert path.read_text() == "whole"


@pytest.mark.parametrize("number", [28, 122, 30, 13, 5, 27], ids=os.strerror)
@pytest.mark.parametrize("step", ["write", "fsync", "replace"])
def test_whatever_the_disk_says_is_told_in_a_line(tmp_path, monkeypatch, number, step):
    """28 full, 122 over quota, 30 read-only, 13 not allowed, 5 broken, 27 too large."""
    path = tmp_path / "cape.json"
    atomic.write_text(path, "whole")

    def fail(*args, **rest):
        raise OSError(number, os.strerror(number))

    if step == "write":
        monkeypatch.setattr(atomic.tempfile, "mkstemp", fail)
    else:
        monkeypatch.setattr(os, step, fail)
    with pytest.raises(InputError) as refusal:
        atomic.write_text(path, "half")
    said = str(refusal.value)
    assert os.strerror(number) in said and "cape.json" in said and "\n" not in said
    monkeypatch.undo()
    assert path.read_text() == "whole"
    assert [p.name for p in tmp_path.iterdir()] == ["cape.json"]


def test_text_that_cannot_be_written_is_told_in_a_line(tmp_path):
    with pytest.raises(InputError, match="note.txt: .*UTF-8"):
        atomic.write_text(tmp_path / "note.txt", "half a letter \ud83e")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no device that is always full")
def test_output_to_a_full_disk_is_told_in_a_line():
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "weavecolor", "cloths"], cwd=ROOT, stdout=full,
            stderr=subprocess.PIPE, text=True, timeout=60,
        )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1 and "No space left on device" in done.stderr


def test_an_earlier_file_keeps_who_may_read_it(tmp_path):
    path = tmp_path / "private.toml"
    atomic.write_text(path, "first")
    path.chmod(0o600)
    atomic.write_text(path, "second")
    assert path.read_text() == "second" and path.stat().st_mode & 0o777 == 0o600


def test_many_writers_of_one_file_leave_one_whole(tmp_path):
    path = tmp_path / "cape.json"
    texts = [f"{n}" * 50_000 for n in range(8)]
    threads = [threading.Thread(target=atomic.write_text, args=(path, text)) for text in texts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert path.read_text() in texts
    assert [p.name for p in tmp_path.iterdir()] == ["cape.json"]
