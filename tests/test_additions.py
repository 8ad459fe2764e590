"""What DEVELOPERS.md promises of additions: at most three files change, and all doors know."""

from __future__ import annotations

import ast
import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from weavecolor.decide.wishes import ASKED, WISHES

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "weavecolor"
OF_A_WISH = ("wishes", "shortlist")

ASK = """
import json
from click.testing import CliRunner
from weavecolor.cli import backings, lights
from weavecolor.colour.lights import light_spectrum
import numpy as np
from weavecolor.decide.judged import Evaluation
from weavecolor.decide.shortlist import reasons
from weavecolor.decide.wishes import ASKED, Measures, total_loss
from weavecolor.decide.wishwords import wish_from
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.places import scene
from weavecolor.files.clothfile import cloth_from_dict, cloth_from_toml, cloth_to_toml
from weavecolor.making.file import from_json, to_json
from weavecolor.making.model import Making
from weavecolor.scene.backings import backing
from weavecolor.textile.construction import describe
yarn = {"fibre": "ramie", "count": "21 denier", "kind": "filament", "colour": "#b01020"}
told = {"name": "Own", "weave": "plain", "ends": "40 /cm", "picks": "38 /cm"}
cloth = cloth_from_dict({**told, "warp": yarn, "weft": yarn})
making = from_json(to_json(Making(backings=("felt",), wishes=("strongest colour",))))
wish = wish_from(making.wishes[0])
seen = Measures(np.array([[[50.0, 30.0, -40.0]]]), np.zeros((1, 0, 3)), np.array([0.5]))
one = Evaluation((1, 0), Stack((Layer(cloth),)), seen, 1.0, True, 20.0)
said = [CliRunner().invoke(one.command).output for one in (backings, lights)]
print(json.dumps([describe(cloth).mass_g_m2, cloth_from_toml(cloth_to_toml(cloth)) == cloth,
                  float(backing("felt").reflectance.max()), making.backings[0],
                  light_spectrum("gas mantle").size,
                  "felt" in said[0], "gas mantle" in said[1], wish.kind in ASKED,
                  float(total_loss((wish,), seen)[0]),
                  reasons(one, [wish], [scene("overcast")])[0].words]))
"""


def added(path, first, row):
    """A row before the line that begins with ``first``."""
    text = path.read_text("utf-8")
    line = next(line for line in text.splitlines() if line.startswith(first))
    path.write_text(text.replace(line, f"{row}\n{line}", 1))


def test_a_fibre_a_backing_and_a_lamp_change_one_file_and_a_wish_two(tmp_path):
    copy = tmp_path / "weavecolor"
    # with what is compiled: of what is changed below it is compiled anew
    shutil.copytree(PACKAGE, copy, ignore=shutil.ignore_patterns("shapes"))
    shutil.copytree(ROOT / "swatches", tmp_path / "swatches", ignore=shutil.ignore_patterns("pic*"))
    fibres = copy / "data" / "fibres.csv"
    fibres.write_text(fibres.read_text("utf-8").rstrip() + "\nramie,1.596,1.528,1.51,invented\n")
    table = copy / "data" / "backings.csv"
    lines = table.read_text("utf-8").splitlines()
    head = next(k for k, line in enumerate(lines) if line.startswith("wavelength_nm"))
    lines[head:] = [line + (",felt" if k == 0 else ",0.25") for k, line in enumerate(lines[head:])]
    table.write_text("\n".join(lines) + "\n")
    lamp = '    Lamp("gas mantle", "", kelvin=1900.0),'
    added(copy / "colour" / "lights.py", "    Lamp(", lamp)
    wishes, told = (copy / "decide" / f"{name}.py" for name in OF_A_WISH)
    strength = "lambda _, of: 100.0 - np.hypot(of.Lab[:, 1], of.Lab[:, 2])"
    added(wishes, '    "target": "nearest to a target', '    "strongest colour": "100 less C*",')
    added(wishes, '    "deepest": "as deep', '    "strongest colour": "the strongest colour",')
    added(wishes, '    "target": lambda', f'    "strongest colour": {strength},')
    reason = "lambda one, *_: Reason(f'As strong as C* {np.hypot(*one.Lab[1:]):.0f}.')"
    added(told, '    "target": _near', f'    "strongest colour": {reason},')
    added(told, "from weavecolor", "import numpy as np")
    ran = subprocess.run([sys.executable, "-c", ASK], cwd=tmp_path, capture_output=True, text=True)
    assert ran.returncode == 0, ran.stderr
    mass, kept, felt, behind, bands, *listed = json.loads(ran.stdout)
    assert 15.0 < mass < 25.0 and kept and felt == pytest.approx(0.25, abs=1e-12)
    assert behind == "felt" and bands == 41
    assert listed == [True, True, True, 50.0, "As strong as C* 50."]


@pytest.mark.parametrize("kind", [kind for kind in WISHES if " " in kind])
def test_a_kind_of_wish_stands_in_three_files(kind):
    files = [
        path.relative_to(ROOT).as_posix()
        for folder in ("weavecolor", "ui")
        for path in (ROOT / folder).rglob("*.py")
        if any(isinstance(x, ast.Constant) and x.value == kind
               for x in ast.walk(ast.parse(path.read_text("utf-8"))))
    ]  # fmt: skip
    assert len(files) <= 3 and set(files) >= {f"weavecolor/decide/{x}.py" for x in OF_A_WISH}, files
    assert set(ASKED) == set(WISHES)
