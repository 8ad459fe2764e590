"""What can lie behind the cloth: white, black, calico, card, human skin, or any screen colour.

Knows backings by name; knows nothing of cloth. Spectra and their sources are in
``data/backings.csv`` (invented curves of the usual shape) and ``data/skin.csv`` (measured, NIST).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from types import MappingProxyType

import numpy as np

from weavecolor.colour.screencolour import is_screen_colour, screen_rgb
from weavecolor.colour.spectra import BANDS, ByValue, Spectrum, frozen
from weavecolor.errors import InputError
from weavecolor.files.spectrafile import spectra_from_text
from weavecolor.textile.notmodelled import elsewhere


@dataclass(frozen=True, eq=False)
class Backing(ByValue):
    """What lies behind the cloth: a Lambertian surface.

    Parameters
    ----------
    name : str
    reflectance : array, shape (41,)
        0 to 1 in every band.

    Raises
    ------
    InputError
        For another number of bands, and values outside 0 to 1.

    Notes
    -----
    Lit by an irradiance E it sends the radiance rho E / pi to all sides, rho its reflectance.

    References
    ----------
    ISO 80000-7:2019, Light and radiation, Lambertian surface, from memory.

    Examples
    --------
    >>> Backing("grey card", np.full(41, 0.18))
    Backing('grey card')
    """

    name: str
    reflectance: Spectrum

    def __post_init__(self) -> None:
        if np.shape(self.reflectance) != (BANDS,):
            raise InputError(f"a backing has {BANDS} bands, got shape {np.shape(self.reflectance)}")
        held = np.asarray(self.reflectance, dtype=np.float64)
        if not (np.all(held >= 0.0) and np.all(held <= 1.0)):
            raise InputError("a backing's reflectance lies from 0 to 1 in every band")
        object.__setattr__(self, "reflectance", frozen(held) if held.flags.writeable else held)

    def __repr__(self) -> str:
        return f"Backing({self.name!r})"


#: Tones of skin, and their columns in ``data/skin.csv``: deep is the darkest of the people
#: measured, of L* 43; deeper skin exists, and is told by its screen colour.
SKINS: Mapping[str, str] = MappingProxyType(
    {"light": "light", "medium": "medium", "dark": "dark", "deep": "minimum"}
)

#: Other words for a skin of the table; the tone nearest in lightness.
SKIN_ALSO: Mapping[str, str] = MappingProxyType(
    {
        "skin": "skin medium",
        "skin bare": "skin medium",
        "skin fair": "skin light",
        "skin pale": "skin light",
        "skin tan": "skin medium",
        "skin olive": "skin medium",
        "skin brown": "skin dark",
        "skin black": "skin deep",
        "skin very dark": "skin deep",
    }
)

#: Words for nothing behind.
OPEN = ("open", "open air", "air", "nothing", "none", "no lining", "unlined")
#: What is worn beneath, which a colour is of: taken as a matt surface of that colour.
_WORN = ("slip", "lining", "petticoat", "underskirt", "leotard", "cotton")


def backing_names() -> tuple[str, ...]:
    """Every named backing; a screen colour such as "#d8c9a0" may stand in place of a name.

    Examples
    --------
    >>> "calico" in backing_names()
    True
    """
    return (*_table("backings"), *(f"skin {tone}" for tone in SKINS))


def behind_called(spec: str) -> Backing | None:
    """As :func:`backing`, and None for nothing behind: "open", "nothing".

    Examples
    --------
    >>> behind_called("Open") is None, behind_called("black").name
    (True, 'black')
    """
    return None if str(spec).strip().casefold() in OPEN else backing(spec)


@lru_cache(maxsize=64)
def backing(spec: str) -> Backing:
    """The backing called ``spec``: one of :func:`backing_names`, or ``"#rrggbb"``.

    A screen colour is turned into one of the many spectra that look so in daylight. Raises
    InputError for anything else.

    Examples
    --------
    >>> backing("skin deep").name, backing("navy").name
    ('skin deep', 'navy')
    >>> backing("skin dark").name, backing("#d8c9a0").reflectance.shape
    ('skin dark', (41,))
    """
    name = " ".join(spec.split()).casefold() if isinstance(spec, str) else ""
    name = re.sub(rf"(?<=\w) (?:{'|'.join(_WORN)})$", "", name)
    name = re.sub(r"^((?:very )?\w+) skin$", r"skin \1", name).removeprefix("unbleached ")
    name = SKIN_ALSO.get(name, name)
    known = name in backing_names()
    if not known and is_screen_colour(name):
        # Recovery loads the colour library: only for a screen colour.
        from weavecolor.colour.colorimetry import spectrum_from_srgb

        return Backing(name, spectrum_from_srgb(screen_rgb(name)))
    if not known:
        raise InputError(
            f"{str(spec)[:40]!r} is not a known backing; use {', '.join(backing_names())}, or a "
            'screen colour such as "#d8c9a0" or "navy"' + elsewhere(name)
        )
    if name.startswith("skin "):
        return Backing(name, _table("skin")[SKINS[name.removeprefix("skin ")]])
    return Backing(name, _table("backings")[name])


@lru_cache(maxsize=2)
def _table(name: str) -> dict[str, Spectrum]:
    file = f"{name}.csv"
    text = (files("weavecolor") / "data" / file).read_text(encoding="utf-8")
    return {key: found.values for key, found in spectra_from_text(text, file=file).items()}
