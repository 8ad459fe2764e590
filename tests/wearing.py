"""Texts made to wear a reader out, each read once; prints what was said, how long it took, memory.

Run by ``test_fuzz_readers`` in a process of its own, so that the memory is these texts' alone.
"""

import json
import resource
import time
from pathlib import Path

from weavecolor.cutting.piecesfile import cutting_from_toml
from weavecolor.errors import InputError
from weavecolor.files.clothfile import cloth_from_toml
from weavecolor.files.spectrafile import spectra_from_text
from weavecolor.making.file import from_json
from weavecolor.making.model import MakingCloth

NM = " ".join(f"NM{nm}" for nm in range(400, 710, 10))
KEYS = 60_000


def spectra(text):
    return spectra_from_text(text, file="x")


def project_cloth(text):
    return MakingCloth.from_toml("cloth", text)


def cgats(fields, samples):
    return f"BEGIN_DATA_FORMAT\n{fields}\nEND_DATA_FORMAT\nBEGIN_DATA\n{samples}\nEND_DATA\n"


NM_STEPS = list(range(380, 781, 20))
COLOUR = {"wavelengths": NM_STEPS, "reflectance": [0.3] * 21, "unit": "fraction"}
YARN = {"fibre": "silk", "count": "21 denier", "kind": "filament", "colour": COLOUR}
CLOTH = {"name": "x", "weave": "plain", "ends": "40 /cm", "picks": "40 /cm",
         "warp": YARN, "weft": YARN}  # fmt: skip
MANY_LAYERS = {
    "weavecolor_project": 1,
    "cloths": [{"key": f"c{i}", "definition": CLOTH} for i in range(500)],
    "options": [{"name": f"o{i}", "layers": [{"cloth": "c499"}] * 10} for i in range(5000)],
    "pins": [f"o{i % 5000}" for i in range(20_000)],
}
TWICE = "{" + ",".join(f'"k{i}":1' for i in range(KEYS)) + f',"k{KEYS - 1}":1}}'

CASES = {
    "dotted key": (cloth_from_toml, ".".join(["a"] * 400_000) + " = 1"),
    "dotted key with blanks": (cloth_from_toml, " . ".join(["'a'"] * 140_000) + " = 1"),
    "dotted table": (cutting_from_toml, "[" + ".".join(["a"] * 400_000) + "]"),
    "dotted key inline": (project_cloth, "x = {" + ".".join("a" * 300_000) + "=1}"),
    "deep list": (cloth_from_toml, "weight = " + "[" * 900_000),
    "deep table": (cloth_from_toml, "weight = " + "{a=" * 300_000),
    "many keys": (cloth_from_toml, "\n".join(f"k{i}=1" for i in range(90_000))),
    "many lists of tables": (cloth_from_toml, "[[a.b.c]]\n" * 90_000),
    "huge number": (cloth_from_toml, 'name="x"\nwarp=0x' + "f" * 900_000),
    "huge list": (cloth_from_toml, "weave = [" + "0," * 490_000 + "]"),
    "quotes": (cloth_from_toml, "," + "'" * 900_000),
    "deep json": (from_json, "[" * 5_000_000),
    "deep json tables": (from_json, '{"a":' * 1_000_000),
    "keys twice": (from_json, TWICE),
    "many layers of many cloths": (from_json, json.dumps(MANY_LAYERS)),
    "huge json number": (from_json, '{"weavecolor_project": ' + "9" * 9_000_000 + "}"),
    "one wide row": (spectra, "1," * 2_500_000),
    "wide heading of wavelengths": (spectra, "400," * 900_000 + "\n1"),
    "many rows": (spectra, "400,1\n" * 1_500_000),
    "many fields": (spectra, cgats("NM400 " * 2_000_000, "1")),
    "many samples": (spectra, cgats(NM, ("1 " * 31 + "\n") * 200_000)),
    "quotes in a row": (spectra, "BEGIN_DATA_FORMAT\n" + '" ' * 1_000_000 + "\nBEGIN_DATA\n"),
    "a field of megabytes": (spectra, '"' + "x" * 10_000_000),
}


def main():
    told = {}
    for name, (read, text) in CASES.items():
        begun = time.process_time()
        try:
            read(text)
            said = "taken"
        except InputError as error:
            said = str(error)
        told[name] = [said[:300], time.process_time() - begun]
    print(json.dumps([told, peak_mb()]))


def peak_mb() -> float:
    """Most memory of this process's own: what ``getrusage`` tells, Linux hands on from the process
    that started it."""
    status = Path("/proc/self/status")
    if status.exists():
        (line,) = (x for x in status.read_text("ascii").splitlines() if x.startswith("VmHWM"))
        return float(line.split()[1]) / 1000
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000


if __name__ == "__main__":
    main()
