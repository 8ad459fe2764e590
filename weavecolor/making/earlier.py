"""Project files of earlier versions, told anew in the fields of today.

Knows what version 1 kept where: pins beside options, what lay on the page's table as an option of
that name, and the page's light, form and fullness under "settings". Versions 2 and 3 have fields of
today; 1 and 2 were saved when yarns were taken as matt.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, fields
from typing import Any

from weavecolor.colour.screencolour import moved_name
from weavecolor.errors import InputError
from weavecolor.files.schema import fit
from weavecolor.making.lightchoice import LightChoice
from weavecolor.making.model import FullnessAsked, Making
from weavecolor.picture.forms import known_forms
from weavecolor.scene.backings import backing_names

#: What the page called the option on its table.
_TABLE = "on the table"
#: The origin of a cloth that was fitted to photographs or spectra.
FITTED = "measured"
_FIELDS = (
    "title", "notes", "units", "cloths", "backings", "options", "pins", "chosen", "scenes",
    "wishes", "limits", "pieces", "fold", "fullness", "measured", "settings",
)  # fmt: skip


def from_version_1(told: Mapping[str, Any]) -> dict[str, Any]:
    """The fields of a file of version 1 as later versions have them.

    Pins come first among the options, in their order. What the page remembered under "settings"
    is taken over where it is sound and left at its usual where it is not, as version 1 did. Raises
    InputError for a field that version 1 did not have.

    Examples
    --------
    >>> from_version_1({"title": "Cape", "pins": []})["title"]
    'Cape'
    """
    for key in told:
        if key not in _FIELDS:
            raise InputError(f"is not a known field; known are {', '.join(_FIELDS)}",
                             field=str(key)[:60])  # fmt: skip
    made = {key: value for key, value in told.items() if key not in ("pins", "settings")}
    settings, pins, options = (told.get(key, usual) for key, usual in (
        ("settings", {}), ("pins", []), ("options", []),
    ))  # fmt: skip
    if not isinstance(settings, Mapping):
        raise InputError("must be a table of fields", field="settings")
    if not isinstance(pins, list) or not all(isinstance(name, str) for name in pins):
        raise InputError("must be a list of names", field="pins")
    if isinstance(options, list) and all(isinstance(option, Mapping) for option in options):
        names = [option.get("name") for option in options]
        for name in pins:
            if name not in names:
                raise InputError(f"{name!r} is not one of the options", field="pins or chosen")
        order = {name: place for place, name in enumerate(pins)}
        ranked = sorted(options, key=lambda option: order.get(str(option.get("name")), len(pins)))
        made["options"] = [option for option in ranked if option.get("name") != _TABLE]
        made["table"] = next((x for x in options if x.get("name") == _TABLE), None)
        if made.get("chosen") == _TABLE:
            made["chosen"] = ""
    if isinstance(settings.get("light"), Mapping):
        made["light"] = _sound(settings["light"], LightChoice)
    if isinstance(settings.get("fullness"), Mapping):
        made["fullness_asked"] = _sound(settings["fullness"], FullnessAsked)
    if isinstance(settings.get("together"), bool):
        made["together"] = settings["together"]
    if settings.get("drape") in known_forms():
        made["form"] = settings["drape"]
    origins = settings.get("origins")
    if isinstance(origins, Mapping) and isinstance(made.get("cloths"), list):
        made["cloths"] = [
            {**cloth, "origin": origins[cloth["key"]][:40]}
            if isinstance(cloth, Mapping) and isinstance(origins.get(cloth.get("key")), str)
            else cloth
            for cloth in made["cloths"]
        ]
    return made


def older_words(making: Making) -> str:
    """What is to be said of a making that version 1 or 2 kept, in one sentence.

    Examples
    --------
    >>> print(older_words(Making("Cape")))
    This project was saved when yarns were taken as matt: its colours are worked out anew, with \
yarns as clear filaments, so look again at what was decided on sheer cloth.
    """
    kept = ", ".join(option.name for option in making.options)
    fitted = ", ".join(cloth.key for cloth in making.cloths if cloth.origin == FITTED)
    return (
        "This project was saved when yarns were taken as matt: its colours are worked out anew, "
        "with yarns as clear filaments, so look again at what was decided on sheer cloth"
        + (f" (kept: {kept})" if kept else "")
        + (f", and fit again what was fitted to measurements ({fitted})" if fitted else "")
        + "."
    )


def renamed_words(making: Making) -> str:
    """What is to be said of colours told by a name in a making saved before version 4, when names
    were those of CSS, in one sentence; "" where none has moved.

    Examples
    --------
    >>> print(renamed_words(Making("Cape", backings=("navy",))))
    Colours told by a name are taken as people call so, no longer as on web pages (navy: #01153e, \
was #000080): look again at what was decided by them.
    """
    yarns = (cloth.definition[system] for cloth in making.cloths for system in ("warp", "weft"))
    colours = (yarn.get("colour") for yarn in yarns)
    kept = (*making.options, *([making.table] if making.table else []))
    behind = {*(option.backing for option in kept), *making.backings} - {*backing_names()}
    told = (
        *(one.get("srgb") if isinstance(one, Mapping) else one for one in colours),
        *sorted(behind),
        *(wish.casefold().removeprefix("target ") for wish in making.wishes),
    )
    moved = {name: codes for name in told if name and (codes := moved_name(name))}
    said = "; ".join(f"{name}: {now}, was {once}" for name, (now, once) in moved.items())
    return said and (
        f"Colours told by a name are taken as people call so, no longer as on web pages ({said}): "
        "look again at what was decided by them."
    )


def _sound(table: Mapping[str, Any], kind: type) -> Any:
    """The table's fields that ``kind`` takes; all at their usual where one is strange."""
    names = {field.name for field in fields(kind)}
    kept = {key: value for key, value in table.items() if key in names}
    try:
        return asdict(fit(kept, kind, ""))
    except InputError:
        return {}
