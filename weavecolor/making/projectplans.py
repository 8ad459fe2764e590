"""Limits and fullness in a project file: as tables, and read back.

Knows the file's fields; what they mean is in ``decide.wishes`` and ``fullness``.
"""

from __future__ import annotations

from typing import Any

from weavecolor.cutting.fullness import KINDS
from weavecolor.decide.wishes import Limits
from weavecolor.errors import InputError
from weavecolor.files.fields import Fields
from weavecolor.making.projectdata import ProjectFullness
from weavecolor.optics.appearance import MOST_LAYERS
from weavecolor.optics.stack import FACES, LAYS

_MOST_NAMES = 60


def limits_table(limits: Limits) -> dict[str, Any]:
    """Limits as plain JSON values."""
    return {
        "layers": list(limits.layers),
        "outside": list(limits.outside),
        "grains": [float(angle) for angle in limits.grains],
        "bias": limits.bias,
        "faces": list(limits.faces),
        "weight_g_m2": limits.weight_g_m2,
        "lay": limits.lay,
    }


def limits_from(top: Fields) -> Limits:
    """The limits under "limits"; the usual ones where there are none. Raises InputError."""
    usual = Limits()
    if "limits" not in top:
        return usual
    row = top.table("limits")
    row.only(tuple(Limits.__dataclass_fields__))
    layers = usual.layers
    if "layers" in row:
        low, high = row.numbers("layers", 2)
        if not (low.is_integer() and high.is_integer() and 1 <= low <= high <= MOST_LAYERS):
            raise row.refuse(f"must be two whole numbers, fewest and most, 1 to {MOST_LAYERS}",
                             "layers")  # fmt: skip
        layers = int(low), int(high)
    grains = tuple(row.numbers("grains")) if "grains" in row else usual.grains
    if len(grains) > _MOST_NAMES:
        raise row.refuse(f"holds more than {_MOST_NAMES} angles", "grains")
    weight = None
    if row.get("weight_g_m2") is not None:
        weight = row.number("weight_g_m2", 0.0, 1e5)
    try:
        return Limits(
            layers,
            _texts(row, "outside", usual.outside),
            grains,
            _flag(row, "bias", usual.bias),
            _texts(row, "faces", usual.faces, FACES),
            weight,
            row.choice("lay", LAYS, usual.lay),
        )
    except InputError as error:
        raise error.at(file=row.file, field=row.prefix) from None


def fullness_table(wanted: ProjectFullness) -> dict[str, Any]:
    """A fullness as plain JSON values."""
    table = {key: getattr(wanted, key) for key in ProjectFullness.__dataclass_fields__}
    return {k: float(v) if k.endswith("_cm") else v for k, v in table.items()}


def fullness_from(row: Fields) -> ProjectFullness:
    """One fullness of a project file. Raises InputError."""
    row.only(tuple(ProjectFullness.__dataclass_fields__))
    widths = row.get("widths")
    if widths is not None and (isinstance(widths, bool) or not isinstance(widths, int)):
        raise row.refuse("must be a whole number of widths", "widths")
    full = None if row.get("fullness") is None else row.number("fullness", 1.0, 9.0)
    return ProjectFullness(
        row.text("what", 60),
        row.choice("kind", KINDS),
        row.number("finished_cm", 0.0, 1e5),
        row.number("cloth_width_cm", 0.0, 1e5),
        row.number("length_cm", 0.0, 1e5),
        full,
        widths,
        row.number("seam_cm", 0.0, 1e5, 1.5),
        row.number("top_cm", 0.0, 1e5, 1.5),
        row.number("hem_cm", 0.0, 1e5, 5.0),
        _flag(row, "doubled", False),
    )


def _flag(row: Fields, key: str, usual: bool) -> bool:
    value = row.get(key) if key in row else usual
    if not isinstance(value, bool):
        raise row.refuse("must be true or false", key)
    return value


def _texts(
    row: Fields, key: str, usual: tuple[str, ...], allowed: tuple[str, ...] = ()
) -> tuple[str, ...]:
    if key not in row:
        return usual
    value = row.get(key)
    if not isinstance(value, list) or len(value) > _MOST_NAMES:
        raise row.refuse(f"must be a list of at most {_MOST_NAMES} names", key)
    each = Fields({f"{i}": name for i, name in enumerate(value)}, row.file, row.place(key))
    names = tuple(each.text(f"{i}", 200) for i in range(len(value)))
    for name in names:
        if allowed and name not in allowed:
            raise row.refuse(f"{name!r} must be one of {', '.join(allowed)}", key)
    return names
