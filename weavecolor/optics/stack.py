"""Layers over a backing: what the maker lays up, outermost first.

Knows how sheets of cloth are ordered and turned; the optics of a stack is in ``adding``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from weavecolor.errors import InputError, shown
from weavecolor.scene.backings import Backing
from weavecolor.textile.cloth import Cloth
from weavecolor.textile.grain import grain_words

FACES = ("face", "back")
#: Ten times round: twelve layers, each turned on by most of a turn, stay within.
MOST_TURNED_DEG = 3600.0
#: Other words for a side of the cloth.
FACE_ALSO: Mapping[str, str] = MappingProxyType(
    {
        "right side": "face",
        "right side out": "face",
        "front": "face",
        "wrong side": "back",
        "wrong side out": "back",
        "reverse": "back",
        "inside out": "back",
        "face out": "face",
        "back out": "back",
    }
)
LAYS = ("touching", "loose", "apart")
MOST_LAYERS = 12


def layer_count(count: int, field: str = "layers") -> int:
    """``count`` if that many sheets, 1 to 12, can be laid; raises InputError at ``field`` if not.

    Examples
    --------
    >>> layer_count(3)
    3
    """
    if isinstance(count, bool) or not isinstance(count, int) or not 1 <= count <= MOST_LAYERS:
        raise InputError(f"{count!r} layers will not do; use 1 to {MOST_LAYERS}", field=field)
    return count


def known_lay(lay: str) -> str:
    """``lay`` if sheets can be laid so: "touching", "loose" or "apart"; raises InputError if not.

    Examples
    --------
    >>> known_lay("loose")
    'loose'
    """
    if lay not in LAYS:
        raise InputError(f"{shown(lay)} is not a way to lay cloth; use {', '.join(LAYS)}",
                         field="lay")  # fmt: skip
    return lay


@dataclass(frozen=True)
class Layer:
    """One laid sheet of cloth; layers compare, and hash, by value.

    Parameters
    ----------
    cloth : Cloth
    grain_deg : float
        Azimuth of its warp in the garment: 0 straight grain (warp runs down the garment), 90 cross
        grain, 45 bias; -3600 to 3600.
    face : {"face", "back"}
        Which side is outermost.

    Raises
    ------
    InputError
        For another side, and an angle that is no number or out of range.

    Notes
    -----
    A direction of azimuth a in the garment is a - ``grain_deg`` in the cloth; with its back out a
    layer is turned over about its warp.

    References
    ----------
    ASTM D123, Terminology relating to textiles (face, back, warp, weft), from memory.

    Examples
    --------
    >>> Layer(organza, 45.0, "back").face
    'back'
    """

    cloth: Cloth
    grain_deg: float = 0.0
    face: str = "face"

    def __post_init__(self) -> None:
        if self.face not in FACES:
            raise InputError(
                f"{shown(self.face)} is not a side of cloth; use face or back", field="face"
            )
        if not abs(self.grain_deg) <= MOST_TURNED_DEG:  # nor is it, where it is no number
            raise InputError(
                f"a grain angle is from -{MOST_TURNED_DEG:g} to {MOST_TURNED_DEG:g} degrees, "
                f"got {self.grain_deg:g}"
            )

    def __repr__(self) -> str:
        return f"Layer({self.cloth.name!r}, {self.grain_deg:g}, {self.face!r})"


def face_called(text: str) -> str:
    """"face" or "back", also by the other words a maker uses. Raises InputError otherwise.

    Examples
    --------
    >>> face_called("wrong side"), face_called("Face")
    ('back', 'face')
    """
    key = " ".join(text.split()).casefold()
    key = FACE_ALSO.get(key, key)
    if key not in FACES:
        raise InputError(f"{shown(text)} is not a side of cloth; use face or back")
    return key


@dataclass(frozen=True)
class Stack:
    """Layers over a backing; stacks compare, and hash, by value.

    Parameters
    ----------
    layers : tuple of Layer
        Outermost first.
    backing : Backing, optional
        None: nothing behind, open air.
    lay : {"touching", "loose", "apart"}
        How the sheets lie: pressed together, weaves in register; as worn, irregular; hung well
        clear of one another.

    Raises
    ------
    InputError
        For another way to lay.

    Notes
    -----
    Layers add, over all directions between, as R = R1 + T1 R2 (1 - R1' R2)^-1 T1', with R' and T'
    for light from below; light straight through the openings of several keeps its direction
    (``weavecolor/optics/adding.py``).

    References
    ----------
    G. G. Stokes, Proc. R. Soc. 11 (1862) 545; P. Kubelka, JOSA 44 (1954) 330; H. C. van de Hulst,
    Multiple Light Scattering (1980), ch. 4.

    Examples
    --------
    >>> len(Stack((Layer(organza), Layer(organza, 90.0)), backing("black")).layers)
    2
    """

    layers: tuple[Layer, ...]
    backing: Backing | None = None
    lay: str = "loose"

    def __post_init__(self) -> None:
        known_lay(self.lay)

    def turned(self, by_deg: float) -> Stack:
        """The whole stack turned on by so much, over the same backing.

        Examples
        --------
        >>> double.turned(30.0).layers[0].grain_deg
        30.0
        """
        layers = (replace(layer, grain_deg=layer.grain_deg + by_deg) for layer in self.layers)
        return replace(self, layers=tuple(layers))


def layers_words(stack: Stack) -> str:
    """The layers in words, outermost first: cloth, grain, and the back where that is out.

    Examples
    --------
    >>> layers_words(double)
    '2 x Shot silk organza, crimson and black, straight grain'
    """
    told: list[tuple[str, int]] = []
    for layer in stack.layers:
        side = ", back out" if layer.face == "back" else ""
        words = f"{layer.cloth.name}, {grain_words(layer.grain_deg)}{side}"
        if told and told[-1][0] == words:
            told[-1] = (words, told[-1][1] + 1)
        else:
            told.append((words, 1))
    lay = "" if stack.lay == "loose" or len(stack.layers) < 2 else f" ({stack.lay})"
    return " over ".join(f"{n} x {words}" if n > 1 else words for words, n in told) + lay
