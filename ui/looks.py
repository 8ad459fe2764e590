"""How options look, worked out once and kept: the page's only door to the optics.

Knows the optics and bounded caches keyed by content (cloth, grain, backing, light), shared by all
sessions because the same content looks the same to everyone; knows nothing of widgets.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import streamlit as st

from orders import Order, name_of
from state import light_of, stack_key, stack_of
from weavecolor.cache import Kept
from weavecolor.colour.colorimetry import ciede2000, xyz
from weavecolor.colour.lights import light_spectrum
from weavecolor.decide.compare import Option, Outcome, Step, evaluate, steps
from weavecolor.decide.unexpected import unexpected
from weavecolor.making.lightchoice import LightChoice, scene_of
from weavecolor.making.model import Making, MakingOption
from weavecolor.optics.appearance import appearance, contrast_ratio, transmittance
from weavecolor.optics.stack import Stack
from weavecolor.scene.folds import hung
from weavecolor.textile.construction import Description, describe

TURN_STEP = 15
_outcomes: Kept[tuple[Any, ...], Outcome] = Kept(400)
#: By the outcomes themselves, which are the same ones while they are kept.
_steps: Kept[tuple[Any, ...], tuple[Step, ...]] = Kept(400)
_wonders: Kept[tuple[Outcome, ...], tuple[str, ...]] = Kept(400)


@dataclass(frozen=True)
class Hiding:
    """Opacity 0-1, share straight through at normal incidence, share of diffuse light through."""

    opacity: float
    straight: float
    sheer: float


@dataclass(frozen=True, eq=False)
class Turn:
    """Readings while the whole stack turns: angle (n,), Lab (n, 3), words; ``travel`` CIEDE2000,
    give or take ``doubt``; ``ends``: names of the lightest and the darkest, one and the same where
    nobody would see them differ."""

    angle: np.ndarray
    Lab: np.ndarray
    hex: tuple[str, ...]
    words: tuple[str, ...]
    travel: float
    doubt: float
    ends: tuple[str, str]


def outcome(
    work: Making, option: MakingOption, light: LightChoice | None = None, folded: bool = False
) -> Outcome:
    """How an ``option`` of this ``work`` looks in a ``light`` (the work's own where none is
    given), held flat or, ``folded``, as it hangs."""
    light = light or light_of(work)
    stack = stack_of(work, option)

    def look() -> Outcome:
        place = scene_of(light)
        return evaluate((Option(stack, hung(place) if folded else place),))[0]

    return _outcomes.one((stack_key(stack), light, folded, _known(stack)), look)


def _known(stack: Stack) -> tuple[Any, ...]:
    """What the uncertainty rests on; kept in the key because it is not part of the look."""
    cloths = [layer.cloth for layer in stack.layers]
    return tuple(
        (x.known, x.declared_g_m2, x.name, x.warp.colour_name, x.weft.colour_name) for x in cloths
    )


def differences(outcomes: Sequence[Outcome], first: int = 0) -> tuple[Step, ...]:
    """Steps from the ``first`` outcome to every other, in their order."""
    pairs = [(first, i) for i in range(len(outcomes)) if i != first]
    return _steps.one((first, *outcomes), lambda: steps(outcomes, pairs))


def hangs(work: Making, light: LightChoice | None) -> bool:
    """Whether cloth hangs in folds in a light, or is held flat before one that shines through."""
    return not scene_of(light or light_of(work)).behind


def in_folds(
    work: Making,
    asked: Sequence[tuple[MakingOption, LightChoice | None]],
    told: Callable[[Sequence[Step]], bytes],
) -> Order:
    """What is ``told`` of the differences between the first of the options ``asked`` of this
    ``work``, each in its light, and every other, of cloth as it hangs in folds: worked out aside.
    Raises InputError for a light in which it does not hang."""
    laid = [(stack_of(work, option), light or light_of(work)) for option, light in asked]
    chosen = [Option(stack, hung(scene_of(light))) for stack, light in laid]
    content = [(stack_key(stack), light, _known(stack)) for stack, light in laid]
    pairs = [(0, k) for k in range(1, len(chosen))]  # once: what is told is kept, not the steps
    return Order(name_of("folds", content), lambda: told(steps(evaluate(chosen), pairs)))


def hung_readings(work: Making, options: Sequence[MakingOption]) -> Order:
    """L*, C* and the colour in words, as JSON, of each of the ``options`` of this ``work`` as it
    hangs in folds: worked out aside. Raises InputError for a light in which it does not hang."""
    light, stacks = light_of(work), [stack_of(work, option) for option in options]
    place = hung(scene_of(light))

    def told() -> bytes:
        seen = [appearance(stack, place).reading for stack in stacks]
        return json.dumps([[*map(float, one.LCh[:2]), one.words] for one in seen]).encode()

    return Order(name_of("hung", [(stack_key(stack), light) for stack in stacks]), told)


def wonders(outcomes: Sequence[Outcome]) -> tuple[str, ...]:
    """What a maker would not expect of these, each in one sentence."""
    return _wonders.one(tuple(outcomes), lambda: unexpected(outcomes))


def hiding(work: Making, option: MakingOption) -> Hiding:
    """How much the layers hide; neither backing nor light nor a turn of the whole counts."""
    first = option.layers[0].grain_deg
    level = tuple(replace(x, grain_deg=(x.grain_deg - first) % 360.0) for x in option.layers)
    stack = stack_of(work, replace(option, layers=level, backing=""))
    return _hiding(stack_key(stack), stack)


@st.cache_resource(max_entries=200, show_spinner=False)
def _hiding(key: tuple[Any, ...], _stack: Stack) -> Hiding:
    passed = transmittance(_stack)
    light = light_spectrum("D65")
    return Hiding(
        contrast_ratio(_stack),
        passed.straight,
        float(xyz(passed.diffuse * light, light)[1] / 100.0),
    )


def turn(work: Making, option: MakingOption) -> Turn:
    """The colour as the whole stack turns through half a circle in steps of 15 degrees.

    Angle 0 has the outermost layer on the straight grain, however it lies now.
    """
    first = option.layers[0].grain_deg
    level = replace(
        option,
        layers=tuple(replace(x, grain_deg=(x.grain_deg - first) % 360.0) for x in option.layers),
    )
    stack = stack_of(work, level)
    return _turn((stack_key(stack), light_of(work), _known(stack)), work, level)


@st.cache_resource(max_entries=40, show_spinner=False)
def _turn(key: tuple[Any, ...], _work: Making, _option: MakingOption) -> Turn:
    angle = np.arange(0, 181, TURN_STEP)
    seen = []
    for a in angle:
        layers = tuple(
            replace(x, grain_deg=(x.grain_deg + float(a)) % 360.0) for x in _option.layers
        )
        seen.append(outcome(_work, replace(_option, layers=layers)))
    readings = [one.appearance.reading for one in seen]
    Lab = np.array([reading.Lab for reading in readings])
    apart = ciede2000(Lab[:, None, :], Lab[None, :, :])
    far = np.unravel_index(int(apart.argmax()), apart.shape)
    light_dark = int(Lab[:, 0].argmax()), int(Lab[:, 0].argmin())
    travel, ends = steps(seen, [(int(far[0]), int(far[1])), light_dark])
    hex_, words = (tuple(getattr(r, what) for r in readings) for what in ("hex", "words"))
    return Turn(
        angle, Lab, hex_, words, travel.delta, travel.uncertainty.stated, ends.names
    )


@st.cache_resource(max_entries=80, show_spinner=False)
def _facts(key: str, _cloth: object) -> Description:
    return describe(_cloth)  # type: ignore[arg-type]


def facts(key: str, cloth: object) -> Description:
    """A cloth in numbers; ``key`` is its content's digest."""
    return _facts(key, cloth)
