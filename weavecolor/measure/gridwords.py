"""What a wound card told, in plain lines and as a table. Knows words and numbers only."""

from __future__ import annotations

from weavecolor.colour.colorimetry import colour_words
from weavecolor.colour.spectra import WAVELENGTHS
from weavecolor.measure.grid import Array, Grid
from weavecolor.measure.observations import colour_of
from weavecolor.measure.parameters import linear_of
from weavecolor.optics.uncertainty import HELD


def grid_report(found: Grid) -> str:
    """The yarn's own reflectance, transmittance and dye, and how sure they are."""
    Lab = colour_of(linear_of(found.wound))
    lines = [
        f"The threads hide {100 * found.cover:.0f} % of the card, by their count and width.",
        "The yarn by itself, in red, green and blue light (standard uncertainty):",
        "  sends back  " + _three(found.R, found.R_uncertainty),
        "  lets through " + _three(found.T, found.T_uncertainty),
        f"Closely wound it looks {colour_words(Lab)} (L* {Lab[0]:.0f}, a* {Lab[1]:.0f}, "
        f"b* {Lab[2]:.0f}), within {found.within:.1f} CIEDE2000 {HELD}.",
        f"Its dye shows the photographs within {found.missed:.1f} CIEDE2000.",
    ]
    lines += [f"Note: {note}" for note in found.dye.notes]
    if found.missed > 5.0:
        lines.append(
            "Caution: no dye of this yarn looks like that; check the yarn's count, how closely it "
            "is wound, and that one layer lies on each card."
        )
    lines.append(
        "Colours seen by a camera leave the spectrum partly open: in other light the doubt is "
        "larger. A wound sample in the real light decides."
    )
    return "\n".join(lines) + "\n"


def _three(values: Array, errors: Array) -> str:
    return ", ".join(map("{:.2f} +- {:.2f}".format, values, errors))


def grid_table(found: Grid) -> str:
    """The closely wound thread's spectrum as CSV, which ``measure spectra`` takes."""
    rows = (f"{nm:g},{r:.5f}" for nm, r in zip(WAVELENGTHS, found.wound, strict=True))
    return "\n".join(["wavelength nm,wound thread", *rows]) + "\n"
