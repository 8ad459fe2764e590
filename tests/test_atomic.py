"""Files appear whole or not at all."""

import os

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
    with pytest.raises(InputError, match=r"cloth.toml: cannot be written \(No space left"):
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
