"""What reaches a user: the source archive and the wheel, and the ranges of what it needs."""

from __future__ import annotations

import importlib.metadata
import os
import re
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """A source archive from the checkout, and a wheel from that archive."""
    out = tmp_path_factory.mktemp("dist")
    subprocess.run(
        [sys.executable, "-m", "build", "--no-isolation", "--outdir", str(out), str(ROOT)],
        check=True, capture_output=True, timeout=240,
    )  # fmt: skip
    (archive,) = out.glob("*.tar.gz")
    (wheel,) = out.glob("*.whl")
    return archive, wheel


def _tracked(folder, suffixes):
    return {
        path.relative_to(ROOT).as_posix()
        for path in (ROOT / folder).rglob("*")
        if path.suffix in suffixes and "__pycache__" not in path.parts
    }


def test_the_wheel_holds_the_package_its_data_the_swatches_and_the_page(built):
    names = set(zipfile.ZipFile(built[1]).namelist())
    wanted = _tracked("weavecolor", {".py", ".csv", ".ttf", ".txt"})
    for folder, suffixes in (("swatches", {".toml", ".csv", ".json"}), ("ui", {".py"})):
        files = _tracked(folder, suffixes)
        assert files
        wanted |= {f"weavecolor/{name}" for name in files}
    assert wanted <= names
    assert not [name for name in names if name.startswith("tests/")]
    # the README's pictures and the linter's settings are of no use to who installs it
    assert not [n for n in names if n.endswith(".png") and "swatches" in n]
    assert not [name for name in names if name.endswith("ruff.toml")]


def test_the_source_archive_holds_the_tests_and_the_papers(built):
    with tarfile.open(built[0]) as archive:
        names = {name.split("/", 1)[1] for name in archive.getnames() if "/" in name}
    assert {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml"} <= names
    assert _tracked("tests", {".py", ".json"}) <= names


def test_the_command_works_from_the_wheel_and_finds_its_swatches(built, tmp_path):
    zipfile.ZipFile(built[1]).extractall(tmp_path / "site")
    done = subprocess.run(
        [sys.executable, "-m", "weavecolor", "cloths"],
        cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(tmp_path / "site")},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert "shot-organza-red-black" in done.stdout
    assert str(tmp_path / "site" / "weavecolor" / "swatches") in done.stdout


def test_every_need_has_a_lowest_and_a_highest_version():
    for need in PROJECT["dependencies"]:
        assert re.fullmatch(r"[A-Za-z0-9-]+>=\d[\d.]*,<\d[\d.]*", need), need


def test_the_list_of_lowest_versions_is_that_of_the_project():
    lines = (ROOT / "tests" / "lowest.txt").read_text("utf-8").splitlines()
    pinned = dict(line.split("==") for line in lines if "==" in line)
    for need in PROJECT["dependencies"]:
        name, lowest = re.match(r"([A-Za-z0-9-]+)>=(\d[\d.]*)", need).groups()
        assert pinned[name] == lowest or pinned[name].startswith(f"{lowest}."), need


def test_what_is_installed_lies_within_the_ranges():
    from packaging.requirements import Requirement

    for need in map(Requirement, PROJECT["dependencies"]):
        version = importlib.metadata.version(need.name)
        assert need.specifier.contains(version), f"{need} but {version}"


def test_the_readme_has_the_two_commands_and_pictures_that_exist():
    text = (ROOT / "README.md").read_text("utf-8")
    assert "python -m pytest" in text
    assert "weavecolor compare" in text
    pictures = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", text)
    assert pictures
    for picture in pictures:
        assert (ROOT / picture).is_file(), picture


def test_the_check_script_runs_what_the_readme_says():
    script = ROOT / ".ci" / "run"
    assert os.access(script, os.X_OK)
    assert "python -m pytest" in script.read_text("utf-8")


def test_the_page_is_where_the_command_looks():
    from weavecolor.cli.page import page_file

    assert page_file().name == "page.py"
