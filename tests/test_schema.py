"""Files fitted to types: each misfit told in one plain line, whatever was handed in.

No outside source: these are properties.
"""

import datetime
import math
from typing import Annotated, Literal

import msgspec
import pytest

from weavecolor.cutting.piecesfile import cutting_from_toml
from weavecolor.errors import InputError, within
from weavecolor.files.clothfile import cloth_from_dict, cloth_from_toml
from weavecolor.files.schema import Bare, Finite, Meant, Numbers, chosen, fit, inside
from weavecolor.making.file import from_json
from weavecolor.textile.units import sett_per_cm


class Panel(msgspec.Struct, frozen=True, kw_only=True):
    name: str
    pair: bool = False
    quantity: int = 1
    corners: tuple[tuple[Finite, Finite], ...] = ()

    def __post_init__(self):
        within("quantity", self.quantity, 1, 500)


class Told(msgspec.Struct, frozen=True, kw_only=True):
    ends: Meant[Literal["sett"], float]
    side: Meant[Literal["side"], str] | None = None
    packing: Bare[Literal["packing"], float] | None = None
    readings: Numbers = ()
    panels: Annotated[tuple[Panel, ...], msgspec.Meta(max_length=3)] = ()


def packing(told):
    within(None, told, 0.1, 1.0)
    return float(told)


READ = {
    "sett": sett_per_cm,
    "packing": packing,
    "side": lambda told: chosen(("face", "back"), told),
}
EXAMPLES = {"ends": 'for example ends = "40 /cm"', "panels": "tables, each under [[panels]]"}
GOOD = {"ends": "40 /cm"}


def told(**fields):
    return fit({**GOOD, **fields}, Told, "cloth.toml", read=READ, examples=EXAMPLES)


def test_what_fits_is_a_frozen_value_that_knows_what_was_told():
    made = told(side="Back", packing=1, panels=[{"name": "front", "corners": [[0, 0], [1, 2]]}])
    assert (made.ends.value, made.ends.told) == (40.0, "40 /cm")
    assert made.side.value == "back" and isinstance(made.packing.value, float)
    assert made.panels[0].corners == ((0.0, 0.0), (1.0, 2.0))
    assert told().packing is None and told().side is None
    with pytest.raises(AttributeError):
        made.ends = None


@pytest.mark.parametrize(
    ("fields", "line"),
    [
        ({"ends": 40}, 'ends: must be text in quotes, got the number 40; write for example ends'),
        ({"ends": None}, "ends: must be text in quotes, got null; write for example"),
        ({"ends": "40"}, "ends: '40' has no unit; write for example"),
        ({"side": "inside"}, "side: 'inside' must be one of face, back"),
        ({"packing": "x"}, "packing: must be a number from 0.1 to 1, got 'x'"),
        ({"packing": 10**400}, "packing: must be from 0.1 to 1, got a number of about 401 digits"),
        ({"readings": 3}, "readings: must be a list, got the number 3"),
        ({"readings": [1, math.nan]}, "readings[1]: must be a finite number, got nan"),
        ({"readings": [-math.inf]}, "readings[0]: must be a finite number, got -inf"),
        ({"readings": [1, True]}, "readings[1]: must be a number, got true or false"),
        ({"readings": [10**400]}, "readings[0]: is too large: a number of about 401 digits"),
        ({"readings": [0] * 5001}, "readings: must hold at most 5000, got 5001"),
        ({"panels": {}}, "panels: must be a list, got a table; write tables, each under [["),
        ({"panels": [{}] * 4}, "panels: must hold at most 3, got 4; write tables"),
        ({"panels": [3]}, "panels[0]: must be a table of fields, got the number 3; write tables"),
        ({"panels": [{"name": "a"}, {}]}, "panels[1].name: is missing"),
        ({"panels": [{"name": datetime.date(2020, 1, 1)}]},
         "panels[0].name: must be text in quotes, got date"),
        ({"panels": [{"nam": "a"}]}, "panels[0].nam: is not a known field; did you mean name?"),
        ({"panels": [{"name": "a", "pair": "yes"}]},
         "panels[0].pair: must be true or false, got text 'yes'"),
        ({"panels": [{"name": "a", "quantity": 2.5}]},
         "panels[0].quantity: must be a whole number, got the number 2.5"),
        ({"panels": [{"name": "a", "quantity": 501}]}, "panels[0].quantity: must be from 1 to 500"),
        ({"panels": [{"name": "a", "corners": [[1]]}]},
         "panels[0].corners[0]: must hold 2 numbers, got 1"),
        ({1: 2}, "1: is not a known field; known are ends, side"),
        ({"\n" * 9000: 2}, "is not a known field"),
        ({"readings": ["\ud800"]}, "holds text that cannot be written as UTF-8"),
        ({"ends": "x - at `$.side`"}, "ends: 'x - at `$.side`' is not a sett"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_told_by_its_place_in_one_line(fields, line):
    with pytest.raises(InputError) as caught:
        fit({**GOOD, **fields}, Told, "cloth.toml", read=READ, examples=EXAMPLES)
    said = str(caught.value)
    assert said.startswith("cloth.toml: ") and line in said
    assert "\n" not in said and len(said) < 400


def test_a_slip_of_the_pen_is_told_before_what_lies_within():
    with pytest.raises(InputError, match="^f: pannels: is not a known field; did you mean panels?"):
        fit({"panels": 3, "pannels": []}, Told, "f", read=READ)
    with pytest.raises(InputError, match="^f: must be a table of fields, got a list$"):
        fit([GOOD], Told, "f", read=READ)
    with pytest.raises(InputError, match=r"^f: known.ends.ends: is missing$"):
        fit({}, Told, "f", "known.ends", read=READ)


def test_a_complaint_that_names_a_file_keeps_it():
    with pytest.raises(InputError, match="^dyes.csv: no such file$"), inside("warp", file="a.toml"):
        raise InputError("no such file", file="dyes.csv")
    with pytest.raises(InputError, match="^a.toml: warp.count: too thick$"), \
            inside(file="a.toml"), inside("warp", {"tex": "count"}):  # fmt: skip
        raise InputError("too thick", field="tex")


PIECE = 'unit = "cm"\n[[piece]]\nname = "a"\n'
SIDES = f"{PIECE}across = 9\ndown = 9\n"
YARN = 'fibre = "silk"\ncount = "20 denier"\nkind = "filament"\ncolour = "#102030"\n'
CLOTH = 'name = "x"\nweave = "plain"\nends = "40 /cm"\npicks = "38 /cm"\n'
CLOTH += f"[warp]\n{YARN}[weft]\n{YARN}"
PIECES, CLOTHS = cutting_from_toml, cloth_from_toml
NINES, LONG = "9" * 400, "k" * 500_000


@pytest.mark.parametrize(
    ("read", "text", "line"),
    [
        (PIECES, f"{PIECE}corners = {'[' * 1_000_000}", "nested too deeply"),
        (PIECES, f"{PIECE}corners = {'[' * 300}{']' * 300}", "piece[0].corners[0]: must h"),
        (PIECES, f"{PIECE}corners = [{'[0, 0],' * 501}]", "hold at most 500, got 501"),
        (PIECES, f"{PIECE}across = {NINES}\ndown = 9", "piece[0].across: is too large: a "),
        (PIECES, f"{PIECE}across = nan\ndown = 9", "across: must be from 0 to 2000, got n"),
        (PIECES, f"{SIDES}quantity = {NINES}", "quantity a number of about 401 digits"),
        (PIECES, f"{SIDES}fold_edge = {NINES}", "edge a number of about 401 digits is"),
        (PIECES, f'{SIDES}grain = "{LONG}"', "is not a grain; use straight, cross, bias"),
        (PIECES, f"{SIDES}pair = 0", "pair: must be true or false, got the number 0"),
        (PIECES, f'{SIDES}"{LONG}" = 1', "k: is not a known field; known are corners"),
        (PIECES, f"{SIDES}[[cloth]]\nwidth = 90\nlength = 90\n[[cloth.flaw]]\nacross = 3\n"
         "along = 3\ncorners = [[3, 3], [9, 3], [9, 9]]", "flaw[0].corners: give corners, or"),
        (CLOTHS, f"{CLOTH}[source]\n{LONG} = 3", "k: must be text in quotes, got 3"),
        (CLOTHS, f"{CLOTH}[known]\n{LONG} = 3", "k: is not a known field; known are ends"),
        (CLOTHS, f"{CLOTH}lustre_deg = {NINES}", "lustre_deg: must be from 0.5 to 60, got a n"),
        (CLOTHS, f'{CLOTH}gum = "{LONG}"', "gum: must be true, false, "),
        (CLOTHS, f'{CLOTH}like = "silk\\u0007"', "'silk\\x07' must be one of silk organza"),
    ],
)  # fmt: skip
def test_what_is_made_to_hurt_is_told_in_a_short_line(read, text, line):
    with pytest.raises(InputError) as caught:
        read(text)
    said = str(caught.value)
    assert line in said and "\n" not in said and len(said) < 500


def test_two_first_files_of_different_kinds_may_be_read_at_once():
    """The fitting library builds what it knows of the types without a lock of its own."""
    import subprocess
    import sys

    asked = """
import sys, threading
from weavecolor.cutting.piecesfile import cutting_from_toml
from weavecolor.files.clothfile import load_swatch
from weavecolor.making.file import to_json
from weavecolor.making.model import Making
sys.setswitchinterval(1e-6)
reads = (lambda: to_json(Making("Cape")), lambda: load_swatch("silk-chiffon-ivory"),
         lambda: cutting_from_toml('unit = "cm"\\n[[piece]]\\nname = "a"\\nacross = 9\\ndown = 9'))
begin, told = threading.Barrier(18), []
def one(read):
    begin.wait()
    told.append(read())
threads = [threading.Thread(target=one, args=(reads[i % 3],)) for i in range(18)]
for thread in threads: thread.start()
for thread in threads: thread.join()
print(len(told), len(set(map(repr, told))))
"""
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True)
    assert done.returncode == 0 and done.stdout.split() == ["18", "3"], done.stderr


@pytest.mark.parametrize("name", ["cloth", "pieces", "project"])
def test_null_is_no_crash(name):
    """TOML has none; JSON has, and a field of a cloth that is null is one that nobody told."""
    yarn = {"fibre": "silk", "count": "21 denier", "kind": "filament", "colour": "#b01020"}
    cloth = {"name": "x", "weave": "plain", "ends": "40 /cm", "picks": "38 /cm", "warp": yarn,
             "weft": {**yarn, "packing": None}, "weight": None}  # fmt: skip
    if name == "cloth":
        assert cloth_from_dict(cloth).declared_g_m2 is None
        with pytest.raises(InputError, match="ends: is missing; write how many"):
            cloth_from_dict({**cloth, "ends": None})
    elif name == "pieces":
        with pytest.raises(InputError, match="unit: must be text in quotes, got the number 3"):
            cutting_from_toml('unit = 3\n[[piece]]\nname = "a"\nacross = 9\ndown = 9')
    else:
        with pytest.raises(InputError, match="title: must be text in quotes, got null"):
            from_json('{"weavecolor_project": 4, "title": null}')
