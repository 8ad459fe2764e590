"""What can lie behind the cloth: white, black, calico, card, human skin, or any screen colour.

Knows backings by name; knows nothing of cloth. Spectra and their sources are in
``data/backings.csv`` (invented curves of the usual shape) and ``data/skin.csv`` (measured, NIST).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from importlib.resources import files
from types import MappingProxyType

import numpy as np

from weavecolor.colour.screencolour import is_screen_colour, screen_rgb
from weavecolor.colour.spectra import BANDS, WAVELENGTHS, ByValue, Spectrum, frozen
from weavecolor.errors import InputError
from weavecolor.files.spectrafile import spectra_from_text
from weavecolor.textile.notmodelled import elsewhere


@dataclass(frozen=True, eq=False)
class Inside(ByValue):
    """The matter of a backing, in which light goes sideways before it comes out.

    Parameters
    ----------
    scattering : array, shape (41,)
        Reduced scattering coefficient, 1/mm, above 0: how often light forgets where it came from.
    doubt : float
        By what factor it may truly be more or less (nine times in ten), from 1.
    index : float
        Refractive index of a smooth surface, at which light is turned back inside; 1: none.
    reflectance : array, shape (41,), optional
        What the matter itself sends back, where a thin filter lies on it, as on skin; as the
        backing does, if left out.

    Examples
    --------
    >>> backing("white").inside.index
    1.0
    """

    scattering: Spectrum
    doubt: float = 1.0
    index: float = 1.0
    reflectance: Spectrum | None = None

    def times(self, factor: float) -> Inside:
        """The same with so many times the scattering.

        Examples
        --------
        >>> bool((CLOTH.times(2.0).scattering == 2.0 * CLOTH.scattering).all())
        True
        """
        return replace(self, scattering=frozen(self.scattering * factor))

    @property
    def optics(self) -> tuple[object, ...]:
        """All that light meets of it, hashable."""
        own = None if self.reflectance is None else self.reflectance.tobytes()
        return self.scattering.tobytes(), self.index, own


def _even(per_mm: float, doubt: float) -> Inside:
    return Inside(frozen(np.full(BANDS, per_mm)), doubt)


#: Paper and card: 4/3 of the Kubelka-Munk coefficient, 25 to 55 /mm in usual white papers (30 to 70
#: m2/kg at .8 g/cm3; from memory). The modulation transfer measured of papers, by 1 + (2 pi d f)^2
#: to the power -1.5 with d .02 to .08 mm (S. Inoue and others, J. Imaging Sci. Technol. 41 (1997)
#: 657, from memory), is as wide.
PAPER = _even(50.0, 2.0)
#: Lining, calico and other close cloth, by reckoning, no source: a white one of .25 mm that sends
#: back two thirds over black has S about 8 /mm by Kubelka and Munk, so 10; filaments of calico and
#: a white slip, traced one by one, send light .04 to .09 mm aside in the middle, as 25 to 60 would.
CLOTH = _even(20.0, 3.0)
#: What may be either.
EITHER = _even(25.0, 3.5)


@dataclass(frozen=True, eq=False)
class Backing(ByValue):
    """What lies behind the cloth: it sends light evenly to all sides.

    Parameters
    ----------
    name : str
    reflectance : array, shape (41,)
        0 to 1 in every band.
    inside : Inside, optional
        What light goes through in it; None: a matt surface, from which light comes back where it
        fell.

    Raises
    ------
    InputError
        For another number of bands, and values outside 0 to 1.

    Notes
    -----
    Lit by an irradiance E it sends the radiance rho E / pi to all sides, rho its reflectance; of
    what is lit in stripes, the less of their contrast the finer they are
    (``weavecolor/optics/sideways.py``).

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
    inside: Inside | None = None

    def __post_init__(self) -> None:
        if np.shape(self.reflectance) != (BANDS,):
            raise InputError(f"a backing has {BANDS} bands, got shape {np.shape(self.reflectance)}")
        held = np.asarray(self.reflectance, dtype=np.float64)
        if not (np.all(held >= 0.0) and np.all(held <= 1.0)):
            raise InputError("a backing's reflectance lies from 0 to 1 in every band")
        object.__setattr__(self, "reflectance", frozen(held) if held.flags.writeable else held)

    def __repr__(self) -> str:
        return f"Backing({self.name!r})"

    @cached_property
    def optics(self) -> tuple[object, ...]:
        """All that light meets of it, whatever it is called, hashable."""
        own = (self.reflectance.tobytes(),)
        return own if self.inside is None else (*own, *self.inside.optics)


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

        return Backing(name, spectrum_from_srgb(screen_rgb(name)), EITHER)
    if not known:
        raise InputError(
            f"{str(spec)[:40]!r} is not a known backing; use {', '.join(backing_names())}, or a "
            'screen colour such as "#d8c9a0" or "navy"' + elsewhere(name)
        )
    if name.startswith("skin "):
        return Backing(name, _table("skin")[SKINS[name.removeprefix("skin ")]], _skin())
    return Backing(name, _table("backings")[name], _MATTER.get(name, EITHER))


#: What backings of the table are made of, where that is known.
_MATTER: Mapping[str, Inside] = MappingProxyType({"calico": CLOTH, "card": PAPER})


@lru_cache(maxsize=1)
def _skin() -> Inside:
    """Skin: 4.6 /mm at 500 nm, 3 to 7 of several people, falling with wavelength as its -1.42th
    power, and index 1.4: S. L. Jacques, Phys. Med. Biol. 58 (2013) R37, from memory. Dark skin is
    taken as light one under a thin filter, its outermost tenth of a millimetre."""
    per_mm = frozen(4.6 * (WAVELENGTHS / 500.0) ** -1.42)
    return Inside(per_mm, 1.5, 1.4, _table("skin")[SKINS["light"]])


@lru_cache(maxsize=2)
def _table(name: str) -> dict[str, Spectrum]:
    file = f"{name}.csv"
    text = (files("weavecolor") / "data" / file).read_text(encoding="utf-8")
    return {key: found.values for key, found in spectra_from_text(text, file=file).items()}
