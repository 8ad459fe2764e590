"""What she wants of the stack, and what she will not have.

Knows wishes and limits as plain data and how a wish turns measures into a number to make small;
computes no optics.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weavecolor.colour.colorimetry import as_seen_in, ciede2000, daylight_white, settled
from weavecolor.colour.spectra import Spectrum, frozen
from weavecolor.errors import InputError
from weavecolor.optics.stack import MOST_LAYERS, known_lay
from weavecolor.textile.grain import angle_deg
from weavecolor.textile.units import WEIGHTS_G_M2

Array = NDArray[np.float64]

#: Wish, what it asks for, and the unit of its loss; what it loses by stands in ``_LOSSES``.
WISHES: dict[str, str] = {
    "target": "nearest to a target colour: CIEDE2000 to it in the scene's light",
    "brightest": "lightest to the eye: 100 less L*",
    "deepest": "darkest to the eye: L*",
    "most shot": "greatest change while the cloth turns: 100 less the CIEDE2000 travel",
    "least shot": "least change while the cloth turns: the CIEDE2000 travel",
    "most opaque": "hides best: 100 (1 - contrast ratio)",
    "most sheer": "hides least: 100 x contrast ratio",
    "most even": "most alike under all her lights: greatest CIEDE2000 between any two of them",
}

#: Wishes of which the one asks for what the other will not have, and both by the same scale.
OPPOSITES = (("brightest", "deepest"), ("most shot", "least shot"), ("most opaque", "most sheer"))



def cancel_out(kinds: Collection[str]) -> str:
    """Which two of the wishes of these ``kinds`` cancel out, as a complaint; or "".

    Examples
    --------
    >>> cancel_out(["deepest", "brightest"])[:33], cancel_out(["deepest", "most sheer"])
    ('brightest and deepest cancel out,', '')
    """
    for one, other in OPPOSITES:
        if one in kinds and other in kinds:
            return (
                f"{one} and {other} cancel out, so that all stacks serve alike: wish for one of "
                "them, or for a target colour"
            )
    return ""


#: The same as a maker would say it.
ASKED: dict[str, str] = {
    "deepest": "as deep as can be",
    "brightest": "as light as can be",
    "most shot": "most shot effect",
    "least shot": "least shot effect",
    "most opaque": "hides most",
    "most sheer": "most sheer",
    "most even": "alike in all my lights",
    "target": "nearest to a colour",
}

#: Other words for a wish: those above, and what a maker says besides.
ALSO_ASKED: dict[str, str] = {
    **{words: kind for kind, words in ASKED.items() if kind != "target"},
    **dict.fromkeys(("darkest", "dark", "as dark as possible"), "deepest"),
    **dict.fromkeys(("lightest", "palest"), "brightest"),
    **dict.fromkeys(("covers most", "hides best", "opaque", "least sheer", "not see-through",
                     "least see-through", "not seen through", "least seen through",
                     *(f"{least} {show}" for least in ("least", "no")
                       for show in ("show-through", "show through"))), "most opaque"),
    **dict.fromkeys(("sheerest", "sheer", "see-through", "most see-through", "most transparent"),
                    "most sheer"),
    **{f"{most}{word}": "most shot" for most in ("", "most ")
       for word in ("iridescent", "changeant", "changeable", "two-tone")},
    **dict.fromkeys(("same in every light", "alike in every light"), "most even"),
}  # fmt: skip


@dataclass(frozen=True, eq=False)
class Wish:
    """One thing she wants.

    ``kind``: one of :data:`WISHES`. ``target`` (3,): Lab relative to daylight, as it is to look to
    an eye that has settled to the main scene, for "target" alone. ``weight``: points of this
    wish's loss against those of others, above 0; all losses are on scales of about 100 points from
    best to worst.
    """

    kind: str
    target: Spectrum | None = None
    weight: float = 1.0

    def __post_init__(self) -> None:
        if self.kind not in WISHES:
            raise InputError(f"{self.kind!r} is no wish; use {', '.join(WISHES)}", field="wish")
        if (self.kind == "target") != (self.target is not None):
            raise InputError("a target colour goes with the wish target, and only with it")
        if self.target is not None:
            target = np.asarray(self.target, dtype=np.float64)
            if target.shape != (3,) or not np.isfinite(target).all():
                raise InputError("a target colour is three numbers, L*, a* and b*", field="target")
            if not 0.0 <= target[0] <= 110.0 or np.abs(target[1:]).max() > 200.0:
                raise InputError(
                    "that Lab is no surface colour: L* runs 0 to 100, a* and b* no further than "
                    "about 130 from 0",
                    field="target",
                )
            object.__setattr__(self, "target", frozen(target))
        if not (np.isfinite(self.weight) and self.weight > 0.0):
            raise InputError("a wish's weight is a number above 0", field="weight")


@dataclass(frozen=True)
class Limits:
    """What she will not have.

    ``layers``: least and most layers of cloth. ``outside``: names of the cloths one of which must
    be outermost (empty: any). ``grains``: degrees that cloth may be laid at; ``bias`` False takes
    out all but straight and cross. ``faces``: sides that may lie outwards. ``weight_g_m2``: most
    areal mass of all layers together. ``lay``: how the sheets lie, as ``stack.Stack``.
    """

    layers: tuple[int, int] = (1, 3)
    outside: tuple[str, ...] = ()
    grains: tuple[float, ...] = (0.0, 90.0)
    bias: bool = True
    faces: tuple[str, ...] = ("face", "back")
    weight_g_m2: float | None = None
    lay: str = "loose"

    def __post_init__(self) -> None:
        least, most = self.layers
        if not (isinstance(least, int) and isinstance(most, int) and 1 <= least <= most):
            raise InputError("layers run from at least 1 to as many or more", field="layers")
        if most > MOST_LAYERS:
            raise InputError(f"at most {MOST_LAYERS} layers", field="layers")
        if not self.allowed_grains:
            raise InputError("no grain is left to lay the cloth at", field="grains")
        for grain in self.grains:
            angle_deg(grain, "grains")
        if not self.faces or not set(self.faces) <= {"face", "back"}:
            raise InputError("sides are face and back, one at least", field="faces")
        known_lay(self.lay)
        most_g_m2 = MOST_LAYERS * WEIGHTS_G_M2[1]
        if self.weight_g_m2 is not None and not 0.0 < self.weight_g_m2 <= most_g_m2:
            raise InputError(
                f"a weight limit is above 0 and at most {most_g_m2:g} g/m2", field="weight_g_m2"
            )

    @property
    def allowed_grains(self) -> tuple[float, ...]:
        """The grain angles, 0 to below 360, each once, straight and cross alone without bias."""
        angles = dict.fromkeys(float(g) % 360.0 for g in self.grains)
        return tuple(g for g in angles if self.bias or g % 90.0 == 0.0)


@dataclass(frozen=True, eq=False)
class Measures:
    """Of n stacks: ``Lab`` (n, 3) in the main scene; ``scenes`` (n, S, 3) under each of her
    lights, the main scene first; ``turns`` (n, A, 3) while the cloth turns (A 0 where not asked);
    ``opacity`` (n,) contrast ratio 0-1; ``whites``: XYZ (3,) that Lab is relative to in each of her
    lights, daylight in those for which none is given."""

    scenes: Array
    turns: Array
    opacity: Array
    whites: tuple[Array, ...] = ()

    @property
    def Lab(self) -> Array:
        return self.scenes[:, 0]

    @property
    def settled(self) -> Array:
        """``scenes`` as they look once the eye has settled to each, to be held together."""
        out = self.scenes.copy()
        for k, white in enumerate(self.whites):
            out[:, k] = settled(out[:, k], white)
        return out


def widest(Lab: Array) -> tuple[Array, Array, Array]:
    """Over m colours (n, m, 3): the greatest CIEDE2000 (n,) between two, and which two (n,).

    Examples
    --------
    >>> Lab = np.array([[[50.0, 0.0, 0.0], [40.0, 0.0, 0.0], [45.0, 0.0, 0.0]]])
    >>> [int(x[0]) for x in widest(Lab)[1:]]
    [0, 1]
    """
    n, m = Lab.shape[:2]
    if m < 2:
        return np.zeros(n), np.zeros(n, dtype=int), np.zeros(n, dtype=int)
    first, second = np.triu_indices(m, 1)
    delta = ciede2000(Lab[:, first], Lab[:, second])
    worst = delta.argmax(axis=1)
    return delta[np.arange(n), worst], first[worst], second[worst]


def target_in(wish: Wish, white: Sequence[Array]) -> Array:
    """A target's Lab relative to the ``white`` of the main scene; of daylight where there is none.

    Examples
    --------
    >>> target_in(Wish("target", np.array([50.0, 20.0, -30.0])), ()).round(6).tolist()
    [50.0, 20.0, -30.0]
    """
    return as_seen_in(np.asarray(wish.target), [*white, daylight_white()][0])


def loss(wish: Wish, measures: Measures) -> Array:
    """What is wrong with each stack, (n,), by one wish; smaller is better.

    Examples
    --------
    >>> Lab = np.array([[[30.0, 0.0, 0.0]], [[60.0, 0.0, 0.0]]])  # a dark and a pale one
    >>> two = Measures(Lab, np.zeros((2, 0, 3)), np.ones(2))
    >>> dark, pale = loss(Wish("deepest"), two)
    >>> bool(dark < pale)
    True
    """
    return np.asarray(_LOSSES[wish.kind](wish, measures))


_LOSSES: dict[str, Callable[[Wish, Measures], Array]] = {
    "target": lambda wish, of: ciede2000(target_in(wish, of.whites[:1]), of.Lab),
    "brightest": lambda _, of: 100.0 - of.Lab[:, 0],
    "deepest": lambda _, of: of.Lab[:, 0].copy(),
    "most shot": lambda _, of: 100.0 - widest(of.turns)[0],
    "least shot": lambda _, of: widest(of.turns)[0],
    "most opaque": lambda _, of: 100.0 * (1.0 - of.opacity),
    "most sheer": lambda _, of: 100.0 * of.opacity,
    "most even": lambda _, of: widest(of.settled)[0],
}


def total_loss(wishes: tuple[Wish, ...], measures: Measures) -> Array:
    """The weighted mean of all losses, (n,).

    Examples
    --------
    >>> Lab = np.array([[[30.0, 0.0, 0.0]], [[60.0, 0.0, 0.0]]])  # a dark and a pale one
    >>> two = Measures(Lab, np.zeros((2, 0, 3)), np.ones(2))
    >>> total_loss((Wish("deepest"), Wish("brightest")), two).shape
    (2,)
    """
    total = sum(w.weight for w in wishes)
    return np.asarray(sum(w.weight / total * loss(w, measures) for w in wishes))
