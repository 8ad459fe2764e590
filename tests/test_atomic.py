"""Files appear whole or not at all."""

import errno
import os
import threading

import pytest

from weavecolor.errors import InputError
from weavecolor.files.atomic import write_bytes, write_text


def test_writes_and_replaces(tmp_path):
    target = tmp_path / "cloth.toml"
    write_text(target, "first")
    write_text(target, "möchte")
    assert target.read_text(encoding="utf-8") == "möchte"
    assert [p.name for p in tmp_path.iterdir()] == ["cloth.toml"]
    assert target.stat().st_mode & 0o400


def test_nothing_half_written_when_the_disk_fails(tmp_path, monkeypatch):
    target = tmp_path / "cloth.toml"
    write_text(target, "whole")

    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match=r"cloth.toml: cannot be written: the disk is full"):
        write_bytes(target, b"half")
    assert target.read_text() == "whole"
    assert [p.name for p in tmp_path.iterdir()] == ["cloth.toml"]


def test_bad_places_are_named(tmp_path):
    with pytest.raises(InputError, match="nowhere/x.png: cannot be written"):
        write_bytes(tmp_path / "nowhere" / "x.png", b"")
    with pytest.raises(InputError, match="is a folder"):
        write_bytes(tmp_path, b"")
    with pytest.raises(InputError, match="cannot be written"):
        write_bytes("nul\0.png", b"")


def test_a_link_is_written_through(tmp_path):
    real, folder = tmp_path / "real.json", tmp_path / "elsewhere"
    folder.mkdir()
    real.write_text("before")
    link = folder / "link.json"
    link.symlink_to(real)
    assert write_text(link, "after") == link
    assert link.is_symlink() and real.read_text() == "after"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["elsewhere", "real.json"]
    assert [p.name for p in folder.iterdir()] == ["link.json"]
    ahead = folder / "ahead.json"
    ahead.symlink_to(tmp_path / "new.json")  # leads to a file that is not there yet
    write_text(ahead, "new")
    assert ahead.is_symlink() and (tmp_path / "new.json").read_text() == "new"


def test_a_full_disk_says_so(tmp_path, monkeypatch):
    def full(*_args):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match="the disk is full .No space left on device.; make room"):
        write_text(tmp_path / "cape.json", "x" * 1000)
    assert not list(tmp_path.iterdir())


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs pipes that have a name")
def test_what_is_no_file_is_written_to_and_stays(tmp_path):
    pipe, link, read = tmp_path / "pipe", tmp_path / "link.csv", []
    os.mkfifo(pipe)
    link.symlink_to(pipe)
    for way in (pipe, link):
        reader = threading.Thread(target=lambda: read.append(pipe.read_bytes()), daemon=True)
        reader.start()
        writer = threading.Thread(target=write_text, args=(way, "all of it"), daemon=True)
        writer.start()
        writer.join(10)
        reader.join(10)
    assert read == [b"all of it"] * 2
    assert pipe.is_fifo() and link.is_symlink()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["link.csv", "pipe"]
