"""The trade's units, read from text such as "21 denier" or "100 /inch" and converted.

Knows units of yarn, sett, cloth weight and length; knows nothing of cloth or files. A number
without a unit is refused: 40 could be ends to the inch or to the centimetre.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable, Mapping
from fractions import Fraction
from types import MappingProxyType

from weavecolor.errors import InputError, shown, within

#: Threads per cm that the trade could ever meet: from hand-knotted net to the finest sieve.
SETTS_PER_CM = (0.2, 500.0, "threads/cm")
#: g/m2, from the lightest bobbinet to felted belting.
WEIGHTS_G_M2 = (1.0, 10_000.0, "g/m2")
GRAMS_PER_POUND = 453.59237
CM_PER_INCH = 2.54
#: Ne x tex: 840 yards to the pound of cotton count 1, in g/km; of linen's lea 300, of worsted 560.
NE_TEX, LEA_TEX, WORSTED_TEX = (
    1000.0 * GRAMS_PER_POUND / (yards * 0.9144) for yards in (840.0, 300.0, 560.0)
)
#: g/m2 in one momme: one pound in a piece of 45 inches by 100 yards.
MOMME_G_M2 = GRAMS_PER_POUND / (45.0 * 0.0254 * 100.0 * 0.9144)
#: g/m2 in one ounce (a sixteenth of a pound) per square yard.
OZ_YD2_G_M2 = GRAMS_PER_POUND / 16.0 / 0.9144**2

_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_VALUE = re.compile(rf"(?P<a>{_NUMBER})(?![\d.])")
_YARN_VALUE = re.compile(
    rf"(?:(?P<many>{_NUMBER})\s*[x×]\s*)?(?P<a>{_NUMBER})(?:\s*/\s*(?P<b>{_NUMBER}))?(?![\d.])"
)

_TEX_SCALE: Mapping[str, float] = MappingProxyType(
    {"tex": 1.0, "dtex": 0.1, "decitex": 0.1, **dict.fromkeys(("den", "denier", "td", "d"), 1 / 9)}
)
_DENIER = ("den", "denier", "td", "d")
_COUNTS: Mapping[str, float] = MappingProxyType(
    {
        "ne": NE_TEX,
        "nec": NE_TEX,
        "s": NE_TEX,
        "cotton count": NE_TEX,
        "lea": LEA_TEX,
        "nel": LEA_TEX,
        "worsted": WORSTED_TEX,
        "nek": WORSTED_TEX,
        "nm": 1000.0,
        "metric count": 1000.0,
    }
)
#: Fibres whose bare "s" is another count than cotton's, and how to write either; trade practice,
#: from memory.
_OTHER_S: Mapping[str, str] = MappingProxyType(
    {
        "flax": 'lea of 300 yards, of cotton hanks of 840: write "40 lea" or "Ne 40"',
        "wool": 'hanks of 560 yards, or woollen ones, of cotton 840: write "48 worsted", "Nm 54" '
        'or "Ne 32"',
    }
)
_FOLDED_SILK_S = (
    "the count of the folded thread, or of the singles: write "
    '"Ne 30" for two threads of 60s, or "Ne 60" where both together make it'
)
#: Threads that yarn is plied of at most, where count and ply must be told apart.
_MOST_PLY = 12
_PER_CM: Mapping[str, float] = MappingProxyType(
    {
        "cm": 1.0,
        "centimetre": 1.0,
        "centimeter": 1.0,
        "10cm": 0.1,
        "10 cm": 0.1,
        "dm": 0.1,
        "in": 1 / CM_PER_INCH,
        "inch": 1 / CM_PER_INCH,
        '"': 1 / CM_PER_INCH,
        "mm": 10.0,
    }
)
_G_M2: Mapping[str, float] = MappingProxyType(
    {
        "g/m2": 1.0,
        "gsm": 1.0,
        # "mm" as silk is labelled; no cloth is weighed in millimetres
        **dict.fromkeys(("momme", "mommes", "mme", "mm", "m/m"), MOMME_G_M2),
        "oz/yd2": OZ_YD2_G_M2,
    }
)
#: Ways to write the parts of a weight's unit.
_WEIGHT_PARTS: Mapping[str, str] = MappingProxyType(
    {
        r"\s*(?:/|\bper\b)\s*": "/",
        r"\b(?:grams?|grammes?|grs?|gms?)\b": "g",
        r"\bounces?\b|\boz\.": "oz",
        r"\b(?:m\^2|m\u00b2|(?:sq\.?|square) ?(?:m|metres?|meters?))(?!\w)": "m2",
        r"\b(?:yd\^2|yd\u00b2|(?:sq\.?|square) ?(?:yd|yards?))(?!\w)": "yd2",
    }
)
_MM: Mapping[str, float] = MappingProxyType(
    {
        "um": 1e-3,
        "µm": 1e-3,
        "mm": 1.0,
        "millimetres": 1.0,
        "millimeters": 1.0,
        "cm": 10.0,
        "cms": 10.0,
        "centimetres": 10.0,
        "centimeters": 10.0,
        "dm": 100.0,
        "m": 1000.0,
        "metre": 1000.0,
        "meter": 1000.0,
        "metres": 1000.0,
        "meters": 1000.0,
        "in": 25.4,
        "in.": 25.4,
        "inch": 25.4,
        "inches": 25.4,
        "ins": 25.4,
        '"': 25.4,
        "ft": 304.8,
        "foot": 304.8,
        "feet": 304.8,
        "'": 304.8,
        "yd": 914.4,
        "yds": 914.4,
        "yard": 914.4,
        "yards": 914.4,
    }
)

_YARN_HINT = 'write for example "21 denier", "20 tex", "84 dtex", "Ne 40" or "Nm 60"'
_SETT_HINT = 'write for example "40 /cm" or "100 /inch"'
_MASS_HINT = 'write for example "20 g/m2", "4.5 momme" or "3 oz/yd2"'
_TWIST_HINT = 'write for example "600 /m", "15 /inch" or "S 600"'
_LENGTH_HINT = 'write for example "12 mm", "1.5 m", "45 inch" or "2 yd"'


def typed(text: str, hint: str = "") -> str:
    """``text`` with its marks as a keyboard has them: "½" as "1/2", the inch mark as a quote.

    Raises InputError, with ``hint``, for a decimal comma, which could also part thousands.

    Examples
    --------
    >>> typed("36½″")
    '36 1/2"'
    """
    comma = re.search(r"\d+,\d+", text)
    if comma:
        point = comma[0].replace(",", ".")
        whole = f"{comma[0].replace(',', '')}, or " if re.search(r",\d{3}$", comma[0]) else ""
        raise InputError(f"write {whole}{point} with a point, not {comma[0]}{hint and '; '}{hint}")
    text = re.sub(
        "[\u00bc-\u00be\u2150-\u215e]",
        lambda mark: " " + unicodedata.normalize("NFKC", mark[0]).replace("\u2044", "/"),
        text,
    )
    text = re.sub("[\u2033\u201c\u201d]|\u2032\u2032|''|\u2019\u2019", '"', text)
    return re.sub("[\u2032\u2019]", "'", text)


def linear_density_tex(text: str) -> float:
    """Linear density in tex (g/km) of a yarn size such as ``"21 denier"``.

    Takes tex, dtex, denier, cotton count ("Ne 40", "40s", plied "Ne 60/2" or "2/60s"), metric
    count ("Nm 60"), linen's ("40 lea") and worsted's ("2/48 worsted"). A raw-silk size
    given as a range, "20/22 denier", is taken at its middle; "3 x 20/22 denier",
    "20/22 denier x 3", "3/20/22 denier" and "20/22 denier 3 ply" are three threads of it,
    "R 40 tex/2" is what both make (ISO 1139). Raises InputError for anything else.

    Examples
    --------
    >>> linear_density_tex("20 tex"), linear_density_tex("Nm 50")
    (20.0, 20.0)
    >>> round(linear_density_tex("90 denier"), 6)
    10.0
    """
    what = "yarn size"
    match, tidy, unit = _split(_threads_first(text), _YARN_VALUE, what, _YARN_HINT)
    many, first = float(match["many"] or 1.0), float(match["a"])
    second = float(match["b"]) if match["b"] else None
    if unit in _TEX_SCALE:
        if second is not None:
            if unit not in _DENIER or not first < second <= 1.3 * first:
                raise _unclear(tidy, f"{first:g} {unit}", f"{second:g}")
            first = (first + second) / 2.0
        tex = first * _TEX_SCALE[unit] if unit in _DENIER else _times(first, _TEX_SCALE[unit])
    elif unit in _COUNTS:
        if second is not None:
            if first < second and first == int(first):  # "2/60s": two threads of 60s
                if second <= _MOST_PLY:
                    raise InputError(
                        f"{tidy!r} could be {second:g} threads or {first:g}; write which, "
                        f'"{second:g} x {first:g} {unit}" or "{first:g} x {second:g} {unit}"'
                    )
                first, second = second, first
            if second < 1 or second != int(second):
                raise InputError(f"{tidy!r}: a ply is a whole number of threads; {_YARN_HINT}")
            if second > _MOST_PLY:
                raise InputError(
                    f"{tidy!r} would be {second:g} threads in one; give one count, or the ply "
                    'last, such as "Ne 40/2"'
                )
            first = _positive(first, what, _YARN_HINT) / second
        if many > _MOST_PLY or (many > 1.0 and tidy[0].isalpha()):
            raise InputError(
                f"{tidy!r} could be {many:g} threads or {first:g}: write the threads first and "
                f'the unit last, "2 x 60 {unit}"'
            )
        tex = _COUNTS[unit] / _positive(first, what, _YARN_HINT)
    else:
        parts = re.fullmatch(r"([a-z]+) ?/ ?(\d+)", unit)  # "110 dtex/24"
        if parts is not None and parts[1] in _TEX_SCALE:
            raise _unclear(tidy, f"{first:g} {parts[1]}", parts[2])
        known = re.match(r"(d?tex|den|denier|td) (?=.)", unit)
        if known is not None and second is None:  # "330 dtex Z 120", "84 dtex SD"
            raise InputError(
                f"{tidy!r} tells more than a size: write \"{first:g} {known[1]}\", and by itself "
                'what else is known, such as twist = "120 /m" or lustre = "semi-dull"'
            )
        raise InputError(f"{tidy!r} has no known yarn unit; {_YARN_HINT}")
    return _positive(many * tex, what, _YARN_HINT)


def _threads_first(text: str) -> str:
    """``text`` with its number of threads first, as "2 x 20/22 den", wherever it stood.

    Examples
    --------
    >>> _threads_first("20/22 den x 2"), _threads_first("60s 2-ply"), _threads_first("R 40 tex/2")
    ('2 x 20/22 den', '2 x 60s', '40 tex')
    >>> _threads_first("dtex 167 f 48 x 2")
    '2 x 167 dtex f 48'
    """
    if not isinstance(text, str):
        return text
    tidy = " ".join(text.split())
    if resultant := re.fullmatch(r"R ?(\d[\d.]* ?d?tex)(?: ?/ ?\d{1,2})?", tidy, re.I):
        return resultant[1]
    tidy = re.sub(r"^(d?tex|den|td) ?(\d[\d.]*) ?(?=f ?\d)", r"\2 \1 ", tidy, flags=re.I)
    one = r"\d.*[a-z](?: ?f ?\d{1,5})?"
    last = re.fullmatch(rf"({one}),? ?(?:[x\u00d7] ?(\d{{1,2}})|(\d{{1,2}})[ -]?ply)", tidy, re.I)
    if last:
        return f"{last[2] or last[3]} x {last[1]}"
    return re.sub(r"^(\d) ?/ ?(?=\d+ ?[/-] ?\d+ ?(?:den|td|d))", r"\1 x ", tidy, flags=re.I)


def _unclear(said: str, size: str, number: str) -> InputError:
    threads = f' or "{number} x {size}"' if float(number) <= _MOST_PLY else ""
    return InputError(
        f"{said!r} could be a range, a ply or a number of filaments: write for example "
        f'"{size} f {number}"{threads}'
    )


def check_hank(text: str, fibre: str) -> None:
    """Raise InputError for a size of yarn of ``fibre`` that is another one of that fibre, or may
    be: of linen 40s is 41 tex, of cotton 15; "20/24 denier" is a range of raw silk alone.

    Examples
    --------
    >>> check_hank("40s", "cotton"), check_hank("40 lea", "flax")
    (None, None)
    """
    match, tidy, unit = _split(_threads_first(text), _YARN_VALUE, "yarn size", _YARN_HINT)
    silk = _FOLDED_SILK_S if fibre == "silk" and match["b"] else None
    told = _OTHER_S.get(fibre, silk)
    if unit == "s" and told:
        raise InputError(f"{tidy!r} of {fibre} counts {told}")
    if unit in _DENIER and match["b"] and fibre != "silk":
        raise InputError(
            f"{tidy!r} of {fibre} could be a range or a number of filaments: write "
            f'"{match["a"]} denier f {match["b"]}", or one size'
        )


def yarn_size(text: str) -> tuple[float, int | None]:
    """Linear density in tex and, where it is told, the number of filaments: ``"84 dtex f 24"``.

    The number follows an f, as in ISO 2947, or stands before it on a label, "75D/36F"; of each
    thread, where there are several; "mono" is one; the rest as in :func:`linear_density_tex`.

    Examples
    --------
    >>> yarn_size("84 dtex f 24"), yarn_size("2 x 84 dtex f 24"), yarn_size("20 tex")
    ((8.4, 24), (16.8, 48), (20.0, None))
    """
    text = re.sub(r"(?<=\d)s\s*/\s*(\d+)$", r"/\1 s", text.strip(), flags=re.I)  # "60s/2"
    text = re.sub(r"\s*\bmono(?:filament)?s?$", " f 1", _threads_first(text), flags=re.I)
    told = r"(.*[^\W\d_])\s*(?:f\s*(\d{1,5})|/\s*(\d{1,5})\s*f)"
    found = re.fullmatch(told, text.strip(), re.IGNORECASE)
    if found is None:
        return linear_density_tex(text), None
    match = _split(found[1], _YARN_VALUE, "yarn size", _YARN_HINT)[0]
    threads = float(match["many"] or 1.0)
    return linear_density_tex(found[1]), round(threads * int(found[2] or found[3]))


def turns_per_m(text: str) -> float:
    """Twist in turns per metre of text such as ``"600 /m"``, ``"15 /inch"``, ``"15 tpi"``.

    Examples
    --------
    >>> turns_per_m("600 /m"), round(turns_per_m("10 /inch"), 1)
    (600.0, 393.7)
    """
    what = "twist"
    match, tidy, unit = _split(text, _VALUE, what, _TWIST_HINT)
    length = re.fullmatch(r"(?:turns)?\s*(?:/|per\s)\s*(.+)", unit)
    if unit in ("tpi", "tpm"):
        scale = 1000.0 / _MM["inch"] if unit == "tpi" else 1.0
    elif length is not None and length.group(1).strip() in _MM:
        scale = 1000.0 / _MM[length.group(1).strip()]
    else:
        raise InputError(f"{tidy!r} has no known unit of {what}; {_TWIST_HINT}")
    turns = _times(float(match["a"]), scale)
    if not (math.isfinite(turns) and turns >= 0.0):
        raise InputError(f"a {what} is zero or more, got {turns:g}; {_TWIST_HINT}")
    return turns


def twist(text: str) -> tuple[float, str]:
    """Turns per metre and the hand, "S", "Z" or "" where it is not told, of a twist such as
    ``"600 /m"``, ``"S 600"`` (turns a metre, as beside a count: ISO 1139, from memory), ``"15 tpi
    Z"``.

    Examples
    --------
    >>> twist("S 600"), twist("20 tpm Z"), twist("600 /m")
    ((600.0, 'S'), (20.0, 'Z'), (600.0, ''))
    """
    told = text.strip() if isinstance(text, str) else ""
    match = re.fullmatch(r"([sz])[ -]?(?=[\d.])(.+)|(.*\S) ?\b([sz])", told, re.IGNORECASE)
    if match is None:
        return turns_per_m(text), ""
    turns = (match[2] or match[3]).strip()
    if re.fullmatch(_NUMBER, turns):
        turns += " /m"
    return turns_per_m(turns), (match[1] or match[4]).upper()


def sett_per_cm(text: str) -> float:
    """Threads per centimetre of a sett such as ``"40 /cm"``, ``"100 ends/inch"``, ``"90 epi"``.

    Examples
    --------
    >>> sett_per_cm("40 /cm"), round(sett_per_cm("100 /inch"), 2)
    (40.0, 39.37)
    """
    what = "sett"

    def known(unit: str) -> float | None:
        if unit in ("epi", "ppi", "tpi"):  # a sett has no turns
            return 1 / CM_PER_INCH
        length = re.fullmatch(r"(?:ends|picks|threads)?\s*(?:/|per\s)\s*(.+)", unit)
        return _PER_CM.get(length.group(1).strip()) if length else None

    told = text if isinstance(text, str) else ""
    if both := re.fullmatch(r"(\d+) ?[x\u00d7] ?(\d+)(?: ?(?:/|per) ?(\w+))?", told.strip()):
        each, other = both[3] or "inch", "" if both[3] else ", or /cm where it is so counted"
        raise InputError(
            f"{both[0]!r} is ends and picks in one: write ends = \"{both[1]} /{each}\" and "
            f'picks = "{both[2]} /{each}"{other}'
        )
    if re.search(r"thread ?count|(?<![a-z])tc\b", told.casefold()):
        raise InputError(
            f"{shown(told)}: a thread count is ends and picks of a square inch together: count "
            'each over one inch, and write for example "100 /inch"'
        )
    sett = _plain(text, known, what, _SETT_HINT)
    within(None, sett, *SETTS_PER_CM)
    return sett


def areal_mass_g_m2(text: str) -> float:
    """Cloth weight in g/m2 of text such as ``"4.5 momme"``, ``"20 g/m2"``, ``"3 oz/yd2"``.

    Examples
    --------
    >>> round(areal_mass_g_m2("4.5 mommes"), 1)
    19.5
    """

    def known(unit: str) -> float | None:
        for written, part in _WEIGHT_PARTS.items():
            unit = re.sub(written, part, unit)
        if re.fullmatch(r"(?:k?g|oz)/(?:l|lin|linear|running)?\.? ?(?:m|met[er]{2}|yd|yard)", unit):
            raise InputError(
                f"{shown(text)} is of a running length: divide it by the width, as 185 g/m of "
                "cloth 1.48 m wide are 125 g/m2"
            )
        return _G_M2.get(unit)

    weight = _plain(text, known, "cloth weight", _MASS_HINT)
    within(None, weight, *WEIGHTS_G_M2)
    return weight


def length_mm(text: str) -> float:
    """Length in mm of text such as ``"45 inch"``, ``"1.5 m"``, ``"2 yd"``.

    Examples
    --------
    >>> length_mm("1.5 m"), round(length_mm("2 yd"), 1)
    (1500.0, 1828.8)
    """
    return _positive(_plain(text, _MM.get, "length", _LENGTH_HINT), "length", _LENGTH_HINT)


def _plain(text: str, known: Callable[[str], float | None], what: str, hint: str) -> float:
    match, tidy, unit = _split(text, _VALUE, what, hint)
    scale = known(unit)
    if scale is None:
        raise InputError(f"{tidy!r} has no known unit of {what}; {hint}")
    return _times(float(match["a"]), scale)


def _times(number: float, scale: float) -> float:
    """``number`` in another unit, rounded once: one sett is one number in all units.

    What might be is drawn anew for a cloth that differs in the last digit.
    """
    if not math.isfinite(number):
        return number
    exact = Fraction(repr(number)) * Fraction(scale).limit_denominator(10**9)
    return exact.numerator / exact.denominator if exact < 10**300 else math.inf


def _split(
    text: str, pattern: re.Pattern[str], what: str, hint: str
) -> tuple[re.Match[str], str, str]:
    """The number as ``pattern`` finds it, the tidied text, the unit in small letters."""
    if not isinstance(text, str):
        raise InputError(f"a {what} needs its unit: {hint} (got {shown(text)})")
    tidy = " ".join(typed(text, hint).split())
    if len(tidy) > 60:
        raise InputError(f"{shown(tidy)} is too long for a {what}; {hint}")
    match = pattern.search(tidy)
    if match is None:
        raise InputError(f"{tidy!r} is not a {what}; {hint}")
    tidy = re.sub(r"(?<=[^\W\d_]) ?/ (?=[^\W\d_])", "/", tidy)  # "oz / yd2"
    # raw silk's "20-22 denier"
    tidy = re.sub(r"(?<=\d) ?[-\u2013] ?(?=\d+ ?(?:den|td)[a-z]*$)", "/", tidy, flags=re.I)
    match = pattern.search(tidy)
    assert match is not None
    before, after = tidy[: match.start()].strip(), tidy[match.end() :].strip()
    if before and after:
        raise InputError(f"{tidy!r} is not a {what}; {hint}")
    if not (before or after):
        raise InputError(f"{tidy!r} has no unit; {hint}")
    return match, tidy, (before or after).casefold()


def _positive(value: float, what: str, hint: str) -> float:
    if not (math.isfinite(value) and value > 0.0):
        raise InputError(f"a {what} is more than zero, got {value:g}; {hint}")
    return value
