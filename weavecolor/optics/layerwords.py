"""Layers as a maker writes them: cloth, grain and side of each, outermost first.

Knows layers; knows nothing of where cloths are kept.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from weavecolor.errors import InputError
from weavecolor.optics.stack import FACE_ALSO, FACES, Layer, face_called, layer_count
from weavecolor.textile.cloth import Cloth
from weavecolor.textile.grain import ON_THE_CROSS, grain_deg

#: Several alike, as answers write them: "2 x silk-chiffon-ivory cross".
_MANY = re.compile(r"\s*(\d{1,3})\s*[x\u00d7]\s+(?=\S)")
#: What stands between a layer and the next further in.
_UNDER = re.compile(r"(\+|\s(?:over|(?:under|inter|flat[ -]?)?lined with)\s)", re.IGNORECASE)
#: A cloth's own name may hold so many of these.
_MOST_IN_NAME = 3
#: Words of the longest grain: "straight of grain upside down".
_MOST_OF_GRAIN = 5


def layers_said(text: str, cloth: Cloth | Callable[[str], Cloth]) -> tuple[Layer, ...]:
    """The layers of "cloth cross back + other-cloth bias", outermost first.

    Each layer is the name of a cloth, which ``cloth`` finds, then its grain (straight where nothing
    is said) and the side that is out (the face where nothing is said), in either order; "2 x"
    before it makes two of it. A name that holds "over" or "+" itself is that cloth's where
    ``cloth`` finds it so. Where ``cloth`` is one itself all layers are of it, and grain and side
    are all that is read: "straight + cross back". Raises InputError for layers that are not so
    written, and for too many.

    Examples
    --------
    >>> [(layer.grain_deg, layer.face) for layer in layers_said("straight + cross back", organza)]
    [(0.0, 'face'), (90.0, 'back')]
    >>> len(layers_said("2 x bias + cross", organza))
    3
    """
    one = cloth if isinstance(cloth, Cloth) else None
    field = "--stack" if one is None else "--laid"
    made = []
    for said in _one_by_one(text, None if isinstance(cloth, Cloth) else cloth):
        many = _MANY.match(said)
        part = said[many.end() :] if many else said
        words, grain, face = _lying(part.replace(",", " ").split(), one is None)
        if one is None and not words:
            raise InputError("names no cloth; write outermost first, such as "
                             '"shot-organza-teal-copper cross + silk-chiffon-ivory"',
                             field=field)  # fmt: skip
        if words[-2:] == ["on", "the"]:
            raise InputError(ON_THE_CROSS, field=field)
        if one is not None and (words or not part.split()):
            raise InputError(f"{part.strip()[:40]!r} tells of no layer; write grain and side of "
                             'each, outermost first, such as "straight + cross back"',
                             field=field)  # fmt: skip
        found = cloth if isinstance(cloth, Cloth) else cloth(" ".join(words))
        made += [Layer(found, grain, face)] * (layer_count(int(many[1]), field) if many else 1)
    layer_count(len(made), field)
    return tuple(made)


def _one_by_one(text: str, cloth: Callable[[str], Cloth] | None) -> list[str]:
    """The text of each layer, those parts joined again that make a cloth's name together."""
    parts = _UNDER.split(text)
    if cloth is None or len(parts) == 1:
        return parts[::2]
    layers, begin = [], 0
    while begin < len(parts):
        ends = range(min(begin + 2 * _MOST_IN_NAME, len(parts) - 1), begin, -2)
        end = next((e for e in ends if _names("".join(parts[begin : e + 1]), cloth)), begin)
        layers.append("".join(parts[begin : end + 1]))
        begin = end + 2
    return layers


def _names(said: str, cloth: Callable[[str], Cloth]) -> bool:
    """Whether one layer of a cloth that ``cloth`` finds is written so."""
    many = _MANY.match(said)
    try:
        cloth(" ".join(_lying(said[many.end() if many else 0 :].replace(",", " ").split(), 1)[0]))
    except InputError:
        return False
    return True


def _lying(words: list[str], kept: int) -> tuple[list[str], float, str]:
    """What stands before grain and side in a layer, at least ``kept`` words of it, and these."""
    words, face = _side(words, kept)
    grain = None
    for many in range(min(_MOST_OF_GRAIN, len(words) - kept), 0, -1):
        try:
            grain = grain_deg(" ".join(words[-many:]))
        except InputError:
            continue  # the cloth's own name goes on
        words = words[:-many]
        break
    if grain is None and len(words) > max(kept, 1) and words[-1] == "grain":
        words = words[:-1]
    if face is None and grain is not None:  # "back cross" is as plain as "cross back"
        words, face = _side(words, kept)
    return words, grain or 0.0, face or "face"


def _side(words: list[str], kept: int) -> tuple[list[str], str | None]:
    """What stands before the side that ``words`` end in, and that side, if they tell one."""
    for many in (3, 2, 1):  # "wrong side out" before "out"
        said = " ".join(words[-many:]).casefold()
        if len(words) >= kept + many and FACE_ALSO.get(said, said) in FACES:
            return words[:-many], face_called(said)
    return words, None
