"""How numbers are known in a cloth file that has no table of it: by what its words began with.

The one place that reads such words. Files of before kept what was assumed in their remarks, and
how a fitted cloth is known in the sources "yarn optics", "warp cover" and the like; a maker's own
source that begins with "measured", "counted" or "weighed" says so too.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from weavecolor.textile.howknown import NUMBERS, OF_YARN, HowKnown, Way

_SYSTEMS = ("warp", "weft")
_BEGINS: Mapping[Way, tuple[str, ...]] = {
    "measured": ("measured", "counted", "weighed"),
    "assumed": ("assumed", "supposed"),
    "fitted": ("fitted",),
}
_SUPPOSED = re.compile(r"(warp and weft|warp|weft): (.+) supposed(?:, (.*))?")
_RECOVERED = re.compile(r"(warp|weft)(?: colour|:) (?:colour )?(recovered from .*)")
# a number, or a word, as it stood in such a remark
_PHRASES = (
    ("filaments", r"\d+ (?:filaments|staple fibres in the section)|one solid filament"),
    ("gum", r"in gum|boiled off"),
    ("packing", r"packing"),
    ("flattening", r"flattening"),
    ("twist", r"twist"),
    ("dull_per_mm", r"dull_per_mm|bright|semi-dull|dull"),
    ("section", r"(?:round|rounded triangle|trilobal|section [\d.]+) filaments"),
    ("count", r"count"),
)
_RANGE = re.compile(r"\(([-+.\de]+) to ([-+.\de]+)\)")
#: How far a fitted cloth is shown from what was seen, as its file told it ...
_SHOWN_OFF = re.compile(r"(\d{1,3}(?:\.\d)?) CIEDE2000 off what was seen")
#: ... and where a file of an earlier state did not; invented cloths, photographed and fitted, were
#: 3 to 6 off.
_UNTOLD_OFF = 6.0


def known_of_texts(
    remarks: Iterable[str], sources: Iterable[tuple[str, str]]
) -> tuple[list[str], dict[str, HowKnown]]:
    """What remains of the remarks, and how each number is known by its name.

    Parameters
    ----------
    remarks : iterable of str
    sources : iterable of (name, text)
        As in the file's table ``source``.

    Examples
    --------
    >>> rest, known = known_of_texts(["warp: packing 0.6 (0.5 to 0.7) supposed"], [])
    >>> rest, known["warp.packing"].high
    ([], 0.7)
    """
    left: list[str] = []
    known: dict[str, HowKnown] = {}
    for remark in remarks:
        if found := _SUPPOSED.fullmatch(remark):
            for key, how in _phrases(found[2], found[3] or ""):
                for system in found[1].split(" and "):
                    known[f"{system}.{key}"] = how
        elif found := _RECOVERED.fullmatch(remark):
            known[f"{found[1]}.colour"] = HowKnown.assumed(source=found[2][:400])
        else:
            left.append(remark)
    for name, text in sources:
        if name == "yarn optics":
            known = _yarn_optics(text) | known  # a remark told more of one number
            continue
        start = text.casefold()
        way = next((way for way, words in _BEGINS.items() if start.startswith(words)), None)
        if way is not None:
            for number in _numbers(name):
                known.setdefault(number, HowKnown(way, source=text))
    return left, known


def _numbers(name: str) -> tuple[str, ...]:
    """The numbers that a source was called by: "warp.count", "warp count", "colour" of both."""
    dotted = name.strip().replace(" ", ".")
    if dotted in NUMBERS:
        return (dotted,)
    return tuple(f"{system}.{dotted}" for system in _SYSTEMS) if dotted in OF_YARN else ()


def _phrases(text: str, source: str) -> list[tuple[str, HowKnown]]:
    found = []
    for phrase in text.split(", "):
        for key, words in _PHRASES:
            if re.match(rf"(?:{words})\b", phrase):
                ends = _RANGE.search(phrase)
                low, high = (float(ends[1]), float(ends[2])) if ends else (None, None)
                found.append((key, HowKnown.assumed(low, high, source)))
                break
    return found


def _yarn_optics(text: str) -> dict[str, HowKnown]:
    """A cloth whose yarns' build was assumed, or fitted as matt yarn, which is no knowledge of its
    filaments or its dye."""
    if not text.startswith(("assumed", "fitted")):
        return {}
    build = ("packing", "flattening", "twist")
    why = HowKnown.assumed(source=text.removeprefix("assumed").lstrip(":, "))
    known = {f"{system}.{key}": why for system in _SYSTEMS for key in build}
    shown = _SHOWN_OFF.search(text)
    if shown or text.startswith("fitted"):
        off = float(shown[1]) if shown else _UNTOLD_OFF
        known["shown"] = HowKnown.fitted(off, text)
        known |= {f"{system}.colour": why for system in _SYSTEMS}
    return known
