"""The same choice under every light: how it changes, which light is worst, and metamerism.

Knows stacks in scenes; knows nothing of searching. Colours under different lights are held
together as they look once the eye has settled to each (corresponding colours by CAT16, as ISO
105-J05 does for the constancy of colour by CMCCAT2000), so a difference between lights is one
remembered, not one seen side by side.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from weavecolor.colour.colorimetry import ciede2000, metamerism_index, readings_lab
from weavecolor.colour.lights import DIM_LIGHTS, light_spectrum
from weavecolor.colour.perception import would_see
from weavecolor.decide.compare import Option, Outcome, evaluate, step_between
from weavecolor.decide.wishes import widest
from weavecolor.errors import InputError
from weavecolor.optics.appearance import Appearance
from weavecolor.optics.stack import Stack
from weavecolor.optics.uncertainty import COVERAGE, MEASURED, RECOVERED
from weavecolor.scene.folds import hung as in_folds
from weavecolor.scene.places import scene as scene_called
from weavecolor.scene.places import scene_names
from weavecolor.scene.scene import Scene

#: Lights against which the special index is told, besides daylight as the reference (CIE 15 asks
#: for the illuminant to be named; A and F11 are the ones most used in textiles, from memory).
TEST_LIGHTS = ("tungsten", "fluorescent", "triphosphor", "warm LED", "stage LED")

#: CIEDE2000 from which two colours are no pair that a change of light could part.
NO_PAIR = 5.0

#: Give or take, CIEDE2000, of a difference between two measured reflectances: each is known no
#: better than any reading of cloth. A spectrum recovered from a colour is known far worse.
PAIR_DOUBT = COVERAGE * 2.0**0.5 * MEASURED


def suited(stack: Stack, hung: bool = False) -> tuple[Scene, ...]:
    """The places in which ``stack`` can be looked at: over open air all; over what lies behind it,
    those with no light from there, which would show nothing but darkness. As it hangs in folds
    where ``hung``, which is not told of light from behind.

    Examples
    --------
    >>> over_white = Stack(single.layers, backing("white"))
    >>> len(suited(over_white)) < len(suited(Stack(single.layers)))
    True
    """
    places = map(scene_called, scene_names())
    through = stack.backing is None and not hung
    return tuple(in_folds(x) if hung else x for x in places if through or not x.behind)


@dataclass(frozen=True, eq=False)
class UnderLights:
    """One stack under several lights: ``looks`` in the order of ``names``, and how far off each may
    be, CIEDE2000; the greatest change and its give or take ``doubt``, between which two lights."""

    names: tuple[str, ...]
    looks: tuple[Appearance, ...]
    doubts: tuple[float, ...]
    change: float
    doubt: float
    worst: tuple[str, str]

    @property
    def words(self) -> str:
        """The worst case as a sentence."""
        a, b = self.worst
        size = f"{self.change:.1f} CIEDE2000, give or take {self.doubt:.1f},"
        return f"Changes most between {a} and {b}, by {size} to a settled eye."


def under_lights(
    stack: Stack,
    scenes: Sequence[Scene],
    observer: str = "2",
    progress: Callable[[int, int], None] | None = None,
) -> UnderLights:
    """How ``stack`` looks in every scene, the worst change named. Two scenes at least.

    Parameters
    ----------
    stack : Stack
    scenes : sequence of Scene
        Two at least, none twice.
    observer : {"2", "10"}
    progress : callable, optional
        Told (done, total) along the way.

    Examples
    --------
    >>> under_lights(single, [window, scene("candlelit")]).names
    ('window at the side', 'candlelit')
    """
    _several(scenes, 2)
    found: tuple[Outcome, ...] = ()
    for scene in scenes:  # one by one: who waits is told how far it is
        found += evaluate([Option(stack, scene)], observer)
        if progress is not None:
            progress(len(found), len(scenes))
    looks = tuple(one.appearance for one in found)
    doubts = tuple(one.uncertainty.stated for one in found)
    delta, first, second = widest(np.array([[x.reading.settled for x in looks]]))
    names = tuple(scene.name for scene in scenes)
    ends = int(first[0]), int(second[0])
    one, other = (Option(stack, scenes[k]) for k in ends)
    step = step_between(one, other, observer)
    return UnderLights(
        names, looks, doubts, float(delta[0]), step.uncertainty.stated,
        (names[ends[0]], names[ends[1]]),
    )  # fmt: skip


@dataclass(frozen=True)
class Metamerism:
    """Two colours that may part when the light changes.

    ``match``: CIEDE2000 between them in the reference light. ``indices``: the special index under
    each of ``lights``: what is left once the match in the reference light is made perfect.
    ``doubt``: give or take of ``match``, CIEDE2000. ``recovered``: one of them was found from a
    colour, so that its spectrum is one guess of many, and the indices are of that guess alone.
    """

    reference: str
    match: float
    lights: tuple[str, ...]
    indices: tuple[float, ...]
    doubt: float = PAIR_DOUBT
    recovered: bool = False

    @property
    def worst(self) -> int:
        """Which of ``lights`` parts them most."""
        return int(np.argmax(self.indices))

    @property
    def words(self) -> str:
        """What to expect, as sentences."""
        index, light = self.indices[self.worst], self.lights[self.worst]
        match = would_see(self.match, self.doubt, dim=self.reference in DIM_LIGHTS).words
        if self.match >= NO_PAIR:
            return (
                f"In {self.reference}: {match} The index is meant for colours that nearly match; "
                "of these it says little."
            )
        if self.recovered:
            return (
                f"In {self.reference}: {match} Whether they part when the light changes cannot be "
                "told: a colour by eye, on a screen or of a fit stands for many dyes, which lie "
                f"{RECOVERED:g} CIEDE2000 from one another's guess on average by tungsten, and "
                "more by tubes and LEDs. Read both as spectra, or hold threads of both side by "
                "side in each light."
            )
        if index < 0.5:
            return f"In {self.reference}: {match} A change of light hardly parts them further."
        return (
            f"In {self.reference}: {match} Worst under {light}: even matched in {self.reference} "
            f"they would part by {index:.1f} there. "
            f"{would_see(index, PAIR_DOUBT, dim=light in DIM_LIGHTS).words}"
        )


def metamerism(
    first: ArrayLike,
    second: ArrayLike,
    reference: str = "daylight",
    lights: Sequence[str] = TEST_LIGHTS,
    observer: str = "2",
    recovered: bool = False,
) -> Metamerism:
    """Special metamerism index, change of illuminant (CIE 15:2018), under several lights.

    ``first``, ``second``: reflectances (41,), such as the colours of two yarns, or the radiance
    factors of two stacks in scenes of like directions. Lights are named as in ``lights``.

    Parameters
    ----------
    first, second : array_like, shape (41,)
        0 to 1.
    reference : str
        The light in which they are brought to match.
    lights : sequence of str
        At least one.
    observer : {"2", "10"}
    recovered : bool
        Whether one of them was recovered from a colour, by daylight: one guess of many.

    Examples
    --------
    >>> one = organza.warp.colour
    >>> metamerism(one, one).match
    0.0
    """
    if not lights:
        raise InputError("name at least one light to test under", field="lights")
    base = light_spectrum(reference)
    one, other = (np.asarray(x, dtype=np.float64) for x in (first, second))
    match = float(
        ciede2000(
            readings_lab(one * base, base, observer=observer),
            readings_lab(other * base, base, observer=observer),
        )
    )
    indices = tuple(
        float(metamerism_index(one, other, base, light_spectrum(light), observer))
        for light in lights
    )
    guess = COVERAGE * RECOVERED if recovered and reference != "daylight" else 0.0
    doubt = math.hypot(PAIR_DOUBT, 2.0**0.5 * guess)
    return Metamerism(reference, match, tuple(lights), indices, doubt, recovered)


def _several(scenes: Sequence[Scene], least: int) -> None:
    if len(scenes) < least:
        raise InputError(f"compare at least {least} scenes", field="scenes")
    names = [scene.name for scene in scenes]
    if len(set(names)) < len(names):
        raise InputError("the same scene is named twice; name each once", field="scenes")
