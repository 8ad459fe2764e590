"""Lengths as the cutting table reads them: centimetres and inches in eighths, side by side.

Knows only how to write and convert lengths; units of yarn and cloth are in
``textile.units``.
"""

from __future__ import annotations

import math

from weavecolor.errors import InputError, shown

CM_PER_INCH = 2.54  # exact, the international inch
UNITS = {"cm": 1.0, "inch": CM_PER_INCH}
#: Cloth is not woven wider, nor a piece of it longer, than this, cm: beyond it the unit is wrong.
#: Common practice, no source: sheeting and tulle reach some 540 cm, a bolt some 100 m.
WIDEST_CM, LONGEST_CM = 600.0, 20000.0


def unit_cm(unit: str) -> float:
    """Centimetres in one ``unit`` ("cm" or "inch"). Raises InputError on another unit.

    Examples
    --------
    >>> unit_cm("inch")
    2.54
    """
    if unit not in UNITS:
        raise InputError(f"{unit!r} is not a unit of length here; use cm or inch", field="unit")
    return UNITS[unit]


def positive(value: float, field: str, *, zero: bool = False, most: float = 1e5) -> float:
    """``value`` as a float if it is a finite length above 0 (or 0 too) and not absurd.

    Parameters
    ----------
    value : float
    field : str
        Named in the complaint.
    zero : bool
        Whether 0 will do.
    most : float
        Largest that is not absurd, cm.

    Raises
    ------
    InputError
        For anything else.

    Examples
    --------
    >>> positive(3, "width_cm")
    3.0
    """
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(f"{shown(value)} is not a number of centimetres", field=field)
    try:
        value = float(value)
    except OverflowError:
        value = math.inf
    if not math.isfinite(value):
        raise InputError(f"{value} is not a number of centimetres", field=field)
    if value > most:
        raise InputError(
            f"{value:g} cm will not do; use at most {most:g} cm (check the unit)", field=field
        )
    if value < 0 or (value == 0 and not zero):
        least = "0 or more" if zero else "more than 0"
        raise InputError(f"{value:g} will not do; use {least} and at most {most:g}", field=field)
    return value


def cm(value_cm: float) -> str:
    """A length in cm to the millimetre, without a trailing zero: "76.5 cm".

    Examples
    --------
    >>> cm(76.5), cm(76.0)
    ('76.5 cm', '76 cm')
    """
    return f"{value_cm:.1f}".removesuffix(".0") + " cm"


def inches(value_cm: float) -> str:
    """A length in inches to the nearest eighth, as a tape is read: "30 1/8 in".

    Examples
    --------
    >>> inches(76.5)
    '30 1/8 in'
    """
    eighths = math.floor(abs(value_cm) / CM_PER_INCH * 8 + 0.5)
    whole, part = divmod(eighths, 8)
    sign = "-" if value_cm < 0 and eighths else ""
    if not part:
        return f"{sign}{whole} in"
    divisor = math.gcd(part, 8)
    fraction = f"{part // divisor}/{8 // divisor}"
    return f"{sign}{whole} {fraction} in" if whole else f"{sign}{fraction} in"


def cm_and_inches(value_cm: float) -> str:
    """Both: "76.5 cm (30 1/8 in)".

    Examples
    --------
    >>> cm_and_inches(76.5)
    '76.5 cm (30 1/8 in)'
    """
    return f"{cm(value_cm)} ({inches(value_cm)})"


def enough_words(value_cm: float) -> str:
    """A length of cloth that is needed, both ways and never less than it is: the next millimetre
    and the next eighth of an inch.

    Examples
    --------
    >>> cm_and_inches(57.03), enough_words(57.03)
    ('57 cm (22 1/2 in)', '57.1 cm (22 1/2 in)')
    """
    tenths = math.ceil(value_cm * 10.0 - 1e-6) / 10.0
    eighth = CM_PER_INCH / 8.0
    return f"{cm(tenths)} ({inches(math.ceil(value_cm / eighth - 1e-6) * eighth)})"
