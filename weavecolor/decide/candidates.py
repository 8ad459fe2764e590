"""Every stack that she could lay: cloths x grain x face x order x layers x backing.

Knows how stacks are counted and which the limits allow; knows nothing of optics. Stacks of one
depth are numbered outermost layer slowest, backing fastest, so that a number always means the same
stack and neighbours share their outer layers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weavecolor.decide.wishes import Limits
from weavecolor.errors import InputError
from weavecolor.optics.stack import FACES, Layer, Stack
from weavecolor.scene.backings import Backing
from weavecolor.textile.cloth import Cloth, Weave
from weavecolor.textile.construction import check_weavable, cloth_mass_g_m2

Indices = NDArray[np.intp]
MOST_LAID = 3000


@dataclass(frozen=True, eq=False)
class Material:
    """A cloth she has. ``most_layers``: how many layers the amount in hand makes (None: any)."""

    cloth: Cloth
    most_layers: int | None = None

    def __post_init__(self) -> None:
        most = self.most_layers
        if most is not None and (isinstance(most, bool) or not isinstance(most, int) or most < 0):
            raise InputError(
                f"{self.cloth.name}: the layers in hand are a whole number from 0",
                field="most layers",
            )


@dataclass(frozen=True, eq=False)
class Space:
    """The countable part of the candidates: plain arrays, to be sent to a worker.

    Over L laid layers: ``cloth`` (L,) which cloth, ``mass`` (L,) g/m2, ``outside`` the laid
    layers that may be outermost; ``most`` per cloth; ``grounds`` how many backings. ``refused``:
    what there is too little cloth for, each as the laid layers that count alike and how many of
    them are too many, all at once.
    """

    cloth: Indices
    mass: NDArray[np.float64]
    outside: Indices
    most: Indices
    weight_limit: float
    grounds: int
    refused: tuple[tuple[tuple[tuple[int, ...], int], ...], ...] = ()

    def count(self, depth: int) -> int:
        """Stacks of this many layers, before limits on amount and weight."""
        return int(self.outside.size * self.cloth.size ** (depth - 1) * self.grounds)

    def decode(self, depth: int, numbers: Indices) -> tuple[Indices, Indices]:
        """Layers (n, depth) and backings (n,) of stacks by number."""
        pile, ground = np.divmod(np.asarray(numbers, dtype=np.intp), self.grounds)
        layers = np.empty((pile.size, depth), dtype=np.intp)
        for place in range(depth - 1, 0, -1):
            pile, layers[:, place] = np.divmod(pile, self.cloth.size)
        layers[:, 0] = self.outside[pile]
        return layers, ground

    def stacks(self, depth: int, start: int, stop: int) -> tuple[Indices, Indices, Indices]:
        """Layers (n, depth), backings (n,) and numbers (n,) of the allowed stacks in a range.

        Parameters
        ----------
        depth : int
            Layers, at least 1.
        start, stop : int
            First number, and the first beyond.
        """
        numbers = np.arange(start, min(stop, self.count(depth)), dtype=np.intp)
        layers, ground = self.decode(depth, numbers)
        allowed = self.allowed(layers)
        return layers[allowed], ground[allowed], numbers[allowed]

    def numbers(self, layers: Indices, grounds: Indices) -> Indices:
        """The inverse: numbers (n,) of stacks ``layers`` (n, d) over ``grounds`` (n,)."""
        pile = np.searchsorted(self.outside, layers[:, 0])
        for place in range(1, layers.shape[1]):
            pile = pile * self.cloth.size + layers[:, place]
        return pile * self.grounds + grounds

    def allowed(self, layers: Indices) -> NDArray[np.bool_]:
        """Whether weight and amounts in hand allow each pile (n, d)."""
        fine: NDArray[np.bool_] = self.mass[layers].sum(axis=1) <= self.weight_limit + 1e-9
        for cloth in np.flatnonzero(self.most < layers.shape[1]):
            fine &= (self.cloth[layers] == cloth).sum(axis=1) <= self.most[cloth]
        for use in self.refused:
            over = np.ones(layers.shape[0], dtype=bool)
            for alike, many in use:
                over &= np.isin(layers, alike).sum(axis=1) >= many
            fine &= ~over
        return fine


@dataclass(frozen=True, eq=False)
class Candidates:
    """Laid layers and backings by number, and the :class:`Space` of stacks made of them."""

    layers: tuple[Layer, ...]
    backings: tuple[Backing | None, ...]
    limits: Limits
    space: Space

    @property
    def depths(self) -> range:
        """Numbers of layers to be tried."""
        return range(self.limits.layers[0], self.limits.layers[1] + 1)

    @property
    def count(self) -> int:
        """All stacks, before limits on amount and weight."""
        return sum(self.space.count(d) for d in self.depths)

    def stack(self, layers: Sequence[int], ground: int) -> Stack:
        """One stack by its numbers."""
        return Stack(
            tuple(self.layers[k] for k in layers), self.backings[ground], self.limits.lay
        )


def candidates(
    materials: Sequence[Material],
    backings: Sequence[Backing | None],
    limits: Limits | None = None,
) -> Candidates:
    """What may be laid. A cloth whose back is the same weave as its face is laid face out only.

    Raises InputError for nothing to lay, two cloths of one name, an outside cloth that is not
    there, a cloth that cannot be woven, or more than 3000 ways of laying one layer.

    Parameters
    ----------
    materials : sequence of Material
        Cloths of different names.
    backings : sequence of Backing or None
        None: nothing behind; at least one.
    limits : Limits, optional
        Layers, grains, faces, weight; the usual ones by default.

    Examples
    --------
    >>> limits = Limits(layers=(1, 2), grains=(0.0, 90.0))
    >>> candidates([Material(organza)], [backing("white")], limits).count
    6
    """
    limits = limits or Limits()
    names = [m.cloth.name for m in materials]
    if not names:
        raise InputError("there is no cloth to choose from", field="cloths")
    for name in names:
        if names.count(name) > 1:
            raise InputError(f"two cloths are called {name!r}; name them apart", field="cloths")
    for name in limits.outside:
        if name not in names:
            raise InputError(f"{name!r} is not among the cloths; there are {', '.join(names)}")
    if not backings:
        raise InputError("give at least one backing, or none for open air", field="backings")
    # numbered alike however they were named, so that one question has one answer
    materials = sorted(materials, key=lambda material: material.cloth.name)
    backings = sorted(backings, key=_backing_order)
    grains = sorted(limits.allowed_grains)
    layers, cloth = [], []
    for number, material in enumerate(materials):
        check_weavable(material.cloth)
        if material.most_layers == 0:
            continue
        faces = tuple(sorted(limits.faces, key=FACES.index))
        if len(faces) > 1 and same_both_sides(material.cloth.weave):
            faces = ("face",)
        for grain in grains:
            for face in faces:
                layers.append(Layer(material.cloth, grain, face))
                cloth.append(number)
    if len(layers) > MOST_LAID:
        raise InputError(f"{len(layers)} ways to lay a layer are too many; at most {MOST_LAID}")
    if len(layers) ** limits.layers[1] * len(backings) >= 2**62:
        raise InputError("too many stacks even to number; take fewer layers, grains or cloths")
    outside = [
        k
        for k, layer in enumerate(layers)
        if not limits.outside or layer.cloth.name in limits.outside
    ]
    if not outside:
        raise InputError("no cloth in hand may lie outside", field="outside")
    space = Space(
        np.array(cloth, dtype=np.intp),
        np.array([cloth_mass_g_m2(layer.cloth) for layer in layers]),
        np.array(outside, dtype=np.intp),
        np.array(
            [limits.layers[1] if m.most_layers is None else m.most_layers for m in materials],
            dtype=np.intp,
        ),
        np.inf if limits.weight_g_m2 is None else limits.weight_g_m2,
        len(backings),
    )
    return Candidates(tuple(layers), tuple(backings), limits, space)


def _backing_order(behind: Backing | None) -> tuple[bool, str, bytes]:
    """By name, then by colour; open air last."""
    if behind is None:
        return True, "", b""
    return False, behind.name, np.asarray(behind.reflectance).tobytes()


def same_both_sides(weave: Weave) -> bool:
    """Whether the cloth turned over about its warp shows the same weave, as plain weave does.

    Examples
    --------
    >>> from weavecolor.textile.weaves import weave
    >>> same_both_sides(weave("plain")), same_both_sides(weave("satin 5/2"))
    (True, False)
    """
    lift = np.array(weave.lift)
    over = 1 - lift[:, ::-1]
    rows, columns = lift.shape
    return any(
        np.array_equal(np.roll(over, (r, c), (0, 1)), lift)
        for r in range(rows)
        for c in range(columns)
    )
