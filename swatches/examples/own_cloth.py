"""A cloth of one's own: from a shop's label, with what was counted, to a first colour and a file.

Run it with: python swatches/examples/own_cloth.py
"""

import tempfile
from dataclasses import replace
from pathlib import Path

import weavecolor as wc

LABEL = """
name = "Shot organza from the market"
weave = "plain"
ends = "102 /inch"
picks = "96 /inch"

[warp]
fibre = "silk"
count = "20/22 denier"
kind = "filament"
like = "silk organza"
colour = { name = "red", srgb = "#b01020" }

[weft]
fibre = "silk"
count = "20/22 denier"
kind = "filament"
like = "silk organza"
colour = { name = "black", srgb = "#141416" }
"""


def main() -> None:
    """Read the label, say what was counted, look, and save."""
    with tempfile.TemporaryDirectory() as folder:
        label = Path(folder) / "market.toml"
        label.write_text(LABEL, encoding="utf-8")
        cloth = wc.load_cloth(label)
        cloth = replace(cloth, ends_per_cm=40.2)  # as counted under the glass
        seen = wc.appearance(cloth, behind="black").reading
        print(f"{cloth.name}: {seen.words}, {seen.hex}")
        again = wc.load_cloth(wc.save_cloth(Path(folder) / "own.toml", cloth))
        print("Saved and read again, it is the same cloth:", again == cloth)


if __name__ == "__main__":
    main()
