"""What was assumed of a cloth, in words: made from how its numbers are known, never kept.

Knows the words for a yarn's numbers; decides nothing.
"""

from __future__ import annotations

from collections.abc import Mapping

from weavecolor.textile.cloth import Cloth
from weavecolor.textile.howknown import OF_CLOTH, OF_YARN, HowKnown
from weavecolor.textile.usual import LUSTRES, SECTIONS, Span
from weavecolor.textile.yarn import STEEP, Yarn

_FILAMENTS = {"filament": "filaments", "spun": "staple fibres in the section"}
# told in words of the workshop by files of before
_TOLD_NOW = (
    ("recovered from sRGB", "taken from a screen colour"),
    ("recovered from Lab", "taken from a colour in Lab"),
    ("supposed in D65", "supposed to be by daylight (D65)"),
    ("many spectra look so in daylight", "many dyes look so in daylight"),
)
_UNITS = {"ends": " /cm", "picks": " /cm", "weight": " g/m2"}


def assumed_words(cloth: Cloth) -> tuple[str, ...]:
    """One line for each group of numbers that were assumed, with their ranges and the reason.

    Parameters
    ----------
    cloth : Cloth

    Returns
    -------
    tuple of str
        Warp and weft in one line where the same was assumed of both.

    Examples
    --------
    >>> print(assumed_words(organza)[0])
    warp and weft: packed to 0.8 (0.7 to 0.95) of full, 1.35 (1 to 1.6) times as wide as high, \
bright fibre supposed, none was measured
    """
    known = dict(cloth.known)
    lines: dict[str, list[str]] = {}
    for system, yarn in (("warp", cloth.warp), ("weft", cloth.weft)):
        groups: dict[str, list[str]] = {}
        for key in OF_YARN:
            how = known.get(f"{system}.{key}")
            if how is not None and how.way == "assumed" and key != "colour":
                groups.setdefault(how.source, []).append(_phrase(key, yarn, cloth, system, how))
        # of filaments that lie less aslant, light tells no hand
        steep = 0.5 * yarn.width_mm * yarn.twist_rad_mm
        if yarn.rods > 1 and not yarn.hand and steep >= STEEP:
            hand = cloth.hands[("warp", "weft").index(system)]
            lines.setdefault(f": twisted {hand} supposed, S or Z was not told", []).append(system)
        for source, phrases in groups.items():
            text = _because(f": {', '.join(phrases)} supposed", source)
            lines.setdefault(text, []).append(system)
        dye = known.get(f"{system}.colour")
        if dye is not None and dye.way == "assumed":
            lines.setdefault(f" colour {_plain(dye.source) or 'supposed'}", []).append(system)
    values = {"ends": cloth.ends_per_cm, "picks": cloth.picks_per_cm,
              "weight": cloth.declared_g_m2, "warp_share": cloth.warp_share}  # fmt: skip
    for key in OF_CLOTH:
        how, value = known.get(key), values.get(key)
        if how is not None and how.way == "assumed":
            told = "" if value is None else f" {value:.4g}{_UNITS.get(key, '')}"
            lines.setdefault(_because(f"{told}{_range(how)} supposed", how.source), []).append(key)
    return tuple(f"{' and '.join(whose)}{text}" for text, whose in lines.items())


def _plain(source: str) -> str:
    for before, now in _TOLD_NOW:
        source = source.replace(before, now)
    return source


def _because(text: str, source: str) -> str:
    return f"{text}, {source}" if source else text


def _phrase(key: str, yarn: Yarn, cloth: Cloth, system: str, how: HowKnown) -> str:
    span = _range(how)
    match key:
        case "filaments":
            if yarn.filaments == 1:
                return "one solid filament"
            return f"{yarn.filaments} {_FILAMENTS[yarn.kind]}{span}"
        case "gum":
            return "in gum" if yarn.gum else "boiled off (organza is woven in the gum)"
        case "dull_per_mm":
            word = _named(LUSTRES, yarn.dull_per_mm)
            if word == "bright":
                return "bright fibre"
            return f"{word or 'dulled'} fibre, scattering {yarn.dull_per_mm:g} /mm{span} inside"
        case "section":
            return _section(yarn, how, span)
        case "count":
            return f"count {yarn.tex:.3g} tex{span}"
        case "twist":
            return f"twist {yarn.twist_turns_m:g} /m{span}"
        case "crimp":
            return f"crimp {getattr(cloth, f'{system}_crimp'):.3g}{span}"
        case "packing":
            return f"packed to {yarn.packing:.3g}{span} of full"
        case "flattening":
            return f"{yarn.flattening:.3g}{span} times as wide as high"
    return f"{key}{span}"


def _section(yarn: Yarn, how: HowKnown, span: str) -> str:
    """What filaments are like in section; one of many notches stands as a triangle."""
    what = "filaments" if yarn.kind == "filament" else "fibres"
    name, out = _named(SECTIONS, yarn.section), "times as far from the middle as the sides"
    if name == "round":
        most = f", or with corners up to {how.high:.3g} {out}" if (how.high or 1.0) > 1.0 else ""
        return f"round {what}{most}"
    if name == "trilobal":
        return f"trilobal {what}, their lobes {yarn.section:g}{span} {out}"
    like = "three-sided" if name else "as if three-sided"
    return f"{what} {like} with rounded corners, these {yarn.section:.3g}{span} {out}"


def _named(words: Mapping[str, Span], value: float) -> str:
    return next((word for word, span in words.items() if span.usual == value), "")


def _range(how: HowKnown) -> str:
    if how.low is None or how.high is None:
        return ""
    low, high = (float(f"{end:.3g}") for end in (how.low, how.high))
    return f" ({low:g} to {high:g})"
