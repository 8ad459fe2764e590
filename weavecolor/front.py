"""The front door: as the functions of the rooms, but taking names where a maker has names.

Knows how names of swatches, places and backings are looked up; computes nothing itself. Everything
here is reached as ``weavecolor.NAME``.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from weavecolor.colour.perception import Verdict
from weavecolor.decide.compare import Comparison, Option, evaluate, steps
from weavecolor.decide.compare import compare as _compare
from weavecolor.errors import InputError, meant, shown
from weavecolor.files.atomic import write_text
from weavecolor.files.clothfile import (
    cloth_from_toml,
    cloth_to_toml,
    load_swatch,
    read_cloth,
    swatch_called,
    swatch_names,
    tidy_name,
)
from weavecolor.optics.appearance import Appearance
from weavecolor.optics.appearance import appearance as _appearance
from weavecolor.optics.stack import Layer, Stack, face_called, layer_count
from weavecolor.scene.backings import Backing, backing, behind_called
from weavecolor.scene.folds import hung as in_folds
from weavecolor.scene.places import scene
from weavecolor.scene.scene import Scene
from weavecolor.textile.cloth import Cloth
from weavecolor.textile.construction import pressed
from weavecolor.textile.grain import grain_deg

if TYPE_CHECKING:
    from PIL import Image

#: Where a colour is seen when nobody says.
USUAL_PLACE = "window at the side"


def load_cloth(name: str | os.PathLike[str]) -> Cloth:
    """The cloth in a file, or a swatch that comes with the tool.

    Parameters
    ----------
    name : str or path
        A swatch's name (see :func:`swatches`), or the path of a cloth file ending in ``.toml``.

    Returns
    -------
    Cloth

    Raises
    ------
    InputError
        In one line with file and field: no such swatch or file, a field that is missing, unknown,
        out of range or contradicts another.

    Notes
    -----
    ``weavecolor/files/clothfile.py`` tells the format in words; what it leaves out is assumed, and
    ``Cloth.known`` says how each number is known.

    References
    ----------
    TOML v1.0.0 (2021), toml.io.

    Examples
    --------
    >>> load_cloth("shot-organza-red-black").ends_per_cm
    40.0
    """
    text = os.fspath(name)
    if swatch := swatch_called(text):
        return load_swatch(swatch)
    if not text.endswith(".toml"):
        raise InputError(
            f"{text[:60]!r} is not a swatch, nor a cloth file ending in .toml; swatches are "
            f"{', '.join(swatch_names())}{meant(tidy_name(text), swatch_names())}"
        )
    return read_cloth(text)


def save_cloth(path: str | os.PathLike[str], cloth: Cloth) -> Path:
    """Write ``cloth`` to a file, whole or not at all; read again it compares equal.

    Of a weave of one's own, which a file holds by its rows, the name is lost; a ``warp_share`` of
    None is written as it will be woven.

    Parameters
    ----------
    path : str or path
        Ends in ``.toml``.
    cloth : Cloth

    Returns
    -------
    Path
        Where it was written.

    Raises
    ------
    InputError
        For another ending, where the file cannot be written, and for a cloth that no file can hold:
        a fibre that is not in the table, a name of several lines.

    Notes
    -----
    Numbers are written by the fewest digits that give the same number again.

    References
    ----------
    TOML v1.0.0 (2021), toml.io.

    Examples
    --------
    >>> import tempfile, pathlib
    >>> path = pathlib.Path(tempfile.mkdtemp()) / "own.toml"
    >>> load_cloth(save_cloth(path, organza)) == organza
    True
    """
    if not os.fspath(path).endswith(".toml"):
        raise InputError("a cloth file's name ends in .toml", file=os.fspath(path))
    text = cloth_to_toml(cloth)
    cloth_from_toml(text, file=os.fspath(path))  # what could not be read again is not written
    return write_text(path, text)


def swatches() -> tuple[str, ...]:
    """Names of the cloths that come with the tool.

    Returns
    -------
    tuple of str
        For :func:`load_cloth`.

    Notes
    -----
    Invented cloths of real construction, one file each; copy one to begin your own.

    Examples
    --------
    >>> "shot-organza-red-black" in swatches()
    True
    """
    return swatch_names()


def named_scene(name: str) -> Scene:
    """A place with its lights and viewer.

    Parameters
    ----------
    name : str
        Such as "window at the side" or "ballroom".

    Returns
    -------
    Scene

    Raises
    ------
    InputError
        Listing the places there are.

    Notes
    -----
    Directions, shares and widths of lights are typical, by judgement (``scene/places.py``); spectra
    are of published illuminants, from ``data/illuminants.csv`` or Planck's law.

    References
    ----------
    CIE 15:2018, Colorimetry.

    Examples
    --------
    >>> named_scene("ballroom")
    Scene('ballroom', 3 lights)
    """
    return scene(name)


def named_backing(name: str) -> Backing:
    """What lies behind the cloth.

    Parameters
    ----------
    name : str
        Such as "white", "black", "calico", "skin medium" or "#d8c9a0".

    Returns
    -------
    Backing

    Raises
    ------
    InputError
        Listing the backings there are.

    Notes
    -----
    Reflectances stand in ``data/backings.csv`` (usual ones, not measured), of skin in
    ``data/skin.csv``; a screen colour is given a smooth spectrum of that colour.

    References
    ----------
    C. C. Cooksey, D. W. Allen, B. K. Tsai, J. Res. NIST 122 (2017) 26, of skin.

    Examples
    --------
    >>> named_backing("calico")
    Backing('calico')
    """
    return backing(name)


def laid(
    cloth: Cloth | Stack,
    layers: int = 1,
    grain: str | float = "straight",
    behind: str | Backing | None = "white",
    side: str = "face",
) -> Stack:
    """Layers of one cloth over a backing; a stack is given back as it is.

    Parameters
    ----------
    cloth : Cloth or Stack
    layers : int
        1 to 12.
    grain : str or float
        "straight", "cross", "bias", or degrees of the warp off the straight, -180 to 180.
    behind : str, Backing or None
        What lies behind; None or "open": nothing.
    side : str
        Which is out: "face", "back", or "wrong side".

    Returns
    -------
    Stack

    Raises
    ------
    InputError
        For a number of layers, a grain, a backing or a side that there is none of, and for any told
        beside a stack.

    Notes
    -----
    Layers lie "loose", as worn; "straight", "cross" and "bias" are 0, 90 and 45 degrees.

    Examples
    --------
    >>> laid(organza, 2, "bias", "black").layers[1].grain_deg
    45.0
    """
    if isinstance(cloth, Stack):
        if (layers, grain, behind, side) != (1, "straight", "white", "face"):
            raise InputError("a stack has its own layers, grain and backing; change them in it")
        return cloth
    layer_count(layers)
    under = behind_called(behind) if isinstance(behind, str) else behind
    return Stack((Layer(_woven(cloth), grain_deg(grain), face_called(side)),) * layers, under)


def _woven(cloth: Cloth) -> Cloth:
    """The cloth with its yarns pressed by their neighbours; a name is no cloth yet."""
    if not isinstance(cloth, Cloth):
        told = f"{shown(cloth)} is no cloth; load_cloth reads one by its name or from its file"
        raise InputError(told, field="cloth")
    return pressed(cloth)


def appearance(
    what: Cloth | Stack,
    place: str | Scene = USUAL_PLACE,
    behind: str | Backing | None = "white",
    observer: Literal["2", "10"] = "2",
    hung: bool = False,
) -> Appearance:
    """How one layer of a cloth, or a stack, looks in a place.

    Parameters
    ----------
    what : Cloth or Stack
        A cloth is laid once, on the straight grain, over ``behind``.
    place : str or Scene
    behind : str, Backing or None
        For a cloth; a stack has its own.
    observer : {"2", "10"}
        CIE standard observer, degrees.
    hung : bool
        As it hangs in folds, not held flat.

    Returns
    -------
    Appearance
        ``radiance`` and ``radiance_factor``, shape (41,) on 380 to 780 nm, and ``reading``: XYZ,
        Lab, LCh, sRGB and words.

    Raises
    ------
    InputError
        For a place or backing that is unknown, or cloth that cannot be woven.

    Notes
    -----
    L = sum over lights of f(view, light) E cos(zenith), with f the bidirectional reflectance of
    the stack by adding of its layers; the radiance factor is pi L over the irradiance.

    References
    ----------
    CIE 15:2018, Colorimetry; F. E. Nicodemus and others, NBS Monograph 160 (1977).

    Examples
    --------
    >>> appearance(organza, behind="black").reading.Lab.shape
    (3,)
    """
    return _appearance(laid(what, behind=behind), _seen_in(place, hung), observer)


def _seen_in(place: str | Scene, hung: bool) -> Scene:
    """The place, where ``hung`` as cloth in folds meets it."""
    lit = scene(place) if isinstance(place, str) else place
    return in_folds(lit) if hung else lit


def compare(
    cloth: Cloth,
    grains: str | float | Sequence[str | float] = ("straight", "cross"),
    layers: int | Sequence[int] = (1,),
    behind: str | Backing | Sequence[str | Backing | None] | None = ("white", "black"),
    places: str | Scene | Sequence[str | Scene] = (USUAL_PLACE,),
    progress: Callable[[int, int], None] | None = None,
    hung: bool = False,
    sides: str | Sequence[str] = "face",
) -> Comparison:
    """Every combination of the choices side by side, and whether a person would see the steps.

    Parameters
    ----------
    cloth : Cloth
    grains, layers, behind, places : sequences
        As in :func:`laid` and :func:`appearance`, or one of them by itself; at most 2000
        combinations.
    progress : callable, optional
        Told (done, total) along the way.
    hung : bool
        As cloth hangs in folds, which show all its colours; held flat it shines at one angle.
    sides : str or sequence of str
        Which side is out, as in :func:`laid`.

    Returns
    -------
    Comparison
        ``outcomes``, ``steps`` between neighbours, ``from_first``, and ``to_frame()``.

    Raises
    ------
    InputError
        For an empty list, a choice named twice, or one that there is none of.

    Notes
    -----
    Differences are CIEDE2000; of how sure they are, what two options share cancels
    (:mod:`weavecolor.optics.uncertainty`).

    References
    ----------
    ISO/CIE 11664-6:2014; JCGM 100:2008.

    Examples
    --------
    >>> made = compare(organza, grains=("straight",))
    >>> made.steps[0].axis, list(made.to_frame().columns)[:3]
    ('backing', ['scene', 'lay', 'face'])
    """
    return _compare(
        _woven(cloth),
        [grain_deg(grain) for grain in _several(grains)],
        _several(layers),
        [behind_called(one) if isinstance(one, str) else one for one in _several(behind)],
        [_seen_in(one, hung) for one in _several(places)],
        [face_called(side) for side in _several(sides)],
        progress=progress,
    )


def _several(choices: Any) -> list[Any]:
    """The choices; one that is given by itself is the only one."""
    if choices is None or isinstance(choices, (str, int, float, Backing, Scene)):
        return [choices]
    return list(choices)


def draw(
    what: Cloth | Stack,
    form: str = "close-up",
    place: str | Scene = USUAL_PLACE,
    behind: str | Backing | None = "white",
    width_px: int = 480,
    *,
    beneath: str = "none",
    dress_form: str = "",
) -> Image.Image:
    """A picture of a cloth or stack, in sRGB.

    Parameters
    ----------
    what : Cloth or Stack
    form : str
        "close-up" for the weave at true scale, or what it is hung as: "gathered skirt", "knife
        pleats", "circle skirt", "hanging panel" ... (a wrong word is answered with all).
    place, behind
        As for :func:`appearance`.
    width_px : int
        64 to 8000.
    beneath : {"none", "lining", "slip", "stiffener"}
        What the innermost layer hangs as under a skirt; "none": with the others.
    dress_form : {"", "none", "to the hip", "full length"}
        How far the dress form reaches on which it hangs; "": full length, none before open air.

    Returns
    -------
    PIL.Image.Image
        ``info["notes"]`` says what the picture does not show.

    Raises
    ------
    InputError
        For a form, place or backing that there is none of, a size out of range, or what cannot be
        combined.

    Notes
    -----
    A close-up's mean is the stack's colour, by the kernel's own rays (``picture/closeup.py``); what
    hangs is coloured by tables over slopes (``picture/tables.py``).

    References
    ----------
    IEC 61966-2-1:1999, sRGB.

    Examples
    --------
    >>> draw(organza, width_px=64).width
    64
    """
    lit = scene(place) if isinstance(place, str) else place
    stack = laid(what, behind=behind)
    if form == "close-up":
        if beneath != "none" or dress_form:
            raise InputError("what hangs beneath counts where it hangs: choose another form")
        from weavecolor.picture.closeup import draw_closeup

        return draw_closeup(stack, lit, width_px, width_px * 3 // 4)
    from weavecolor.picture.forms import shape_called
    from weavecolor.picture.hung import ASIDE, draw_hung

    return draw_hung(
        stack, lit, shape_called(form, stack), width_px, width_px * 5 // 4, sight=ASIDE,
        behind=stack.backing, beneath=beneath, dress_form=dress_form,
    )  # fmt: skip


def difference(
    one: Cloth | Stack, other: Cloth | Stack, place: str | Scene = USUAL_PLACE, hung: bool = False
) -> Verdict:
    """Whether a person would see the difference between two stacks, side by side in one place.

    Parameters
    ----------
    one, other : Cloth or Stack
        A cloth is laid once over white.
    place : str or Scene
    hung : bool
        As they hang in folds, not held flat.

    Returns
    -------
    Verdict
        ``delta`` and ``uncertainty`` (CIEDE2000), ``sees`` (True, False, or None where it cannot
        be told), ``words``.

    Raises
    ------
    InputError
        As :func:`appearance`.

    Notes
    -----
    See :mod:`weavecolor.optics.uncertainty` for what cancels between the two.

    References
    ----------
    ISO/CIE 11664-6:2014; JCGM 100:2008, 5.1.

    Examples
    --------
    >>> difference(laid(organza, 1), laid(organza, 2)).sees
    True
    """
    lit = _seen_in(place, hung)
    outcomes = evaluate([Option(laid(what), lit) for what in (one, other)])
    (step,) = steps(outcomes, ((0, 1),))
    if step.verdict is None:
        raise InputError("two stacks are told apart in one place")
    return step.verdict
