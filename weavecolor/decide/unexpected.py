"""Answers that a maker would not expect, each told in one sentence: what the light does there.

Knows which answers of a comparison those are, and how to take the light apart: what the threads
send to the eye themselves, and what comes through them from behind. Both are computed by the same
optics as the answer, and add up to it, so that a sentence holds whatever the optics are.

Not expected (common practice, no source): cloth off the straight grain that is darker, or lighter,
than on the straight and cross grain alike; a further layer that makes it lighter; a ground that
keeps out the light behind it; and bands where threads of two layers lie nearly alike (``watered``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.colour.perception import JUST_NOTICEABLE
from weavecolor.colour.spectra import BANDS
from weavecolor.decide.compare import Option, Outcome, steps
from weavecolor.decide.watered import watered
from weavecolor.optics.appearance import appearances
from weavecolor.optics.layer import content
from weavecolor.scene.backings import Backing
from weavecolor.textile.grain import grain_words

#: L* by which one option must lie beyond the others: less is no answer to wonder at.
LEAST_L = 0.5
#: A thread sends its gleam to an eye where light and eye make angles with it whose cosines sum to
#: nought (reflection at a cylinder); within this of it, lustrous yarn still gleams.
_ON_FAN = 0.17
_NOTHING = Backing("nothing", np.zeros(BANDS))


@dataclass(frozen=True)
class Parts:
    """Y of an option, 100 for a white surface in the same light: what its ``cloth`` sends to the
    eye, and what comes from ``behind`` through it. The answer is their sum."""

    cloth: float
    behind: float

    @property
    def all(self) -> float:
        return self.cloth + self.behind


def parts(outcome: Outcome, observer: str = "2") -> Parts:
    """The light of an outcome taken apart, by laying the same stack over nothing that reflects.

    Examples
    --------
    >>> from weavecolor.decide.compare import evaluate, options
    >>> made = evaluate(options(organza, backings=(backing("white"),), scenes=(window,)))[0]
    >>> found = parts(made)
    >>> bool(abs(found.all - made.appearance.reading.XYZ[1]) < 1e-9), found.behind > 0.0
    (True, True)
    """
    option = outcome.option
    alone = appearances(option.stack, (_NOTHING,), option.scene, observer)[0].reading.XYZ[1]
    return Parts(float(alone), float(outcome.appearance.reading.XYZ[1] - alone))


def unexpected(outcomes: Sequence[Outcome], observer: str = "2") -> tuple[str, ...]:
    """One sentence for each kind of answer that a maker would not expect, for its plainest case.

    Parameters
    ----------
    outcomes : sequence of Outcome
        Such as ``compare(...).outcomes``.
    observer : {"2", "10"}
        CIE standard observer, degrees.

    Returns
    -------
    tuple of str

    Raises
    ------
    InputError
        As :func:`weavecolor.optics.appearance.appearance`.

    Notes
    -----
    Light that threads send to the eye, and light from behind, told apart by laying the same stack
    over nothing that reflects; bands between layers by the beat of their threads.

    References
    ----------
    I. Amidror, The Theory of the Moire Phenomenon, 2009, ch. 2 (from memory).

    Examples
    --------
    >>> from weavecolor.decide.compare import compare
    >>> unexpected(compare(organza, scenes=(window,)).outcomes)
    ()
    """
    found: dict[tuple[str, ...], Case] = {}
    for case in (*_off_grain(outcomes), *_layers(outcomes)):
        if case.kind not in found or case.size > found[case.kind].size:
            found[case.kind] = case
    chosen = [outcome.option for outcome in outcomes]
    told = [case.told(observer) for case in found.values()]
    return (*told, *filter(None, (kept_out(chosen), watered(chosen, observer))))


def kept_out(options: Sequence[Option]) -> str:
    """That what lies behind is taken to let nothing through, where light comes from there.

    Examples
    --------
    >>> from weavecolor.scene.places import scene
    >>> kept_out([Option(single, scene("lightbox"))])[:29]
    'What lies behind (white) is t'
    >>> kept_out([Option(single, window)])
    ''
    """
    kept = [x for x in options if x.scene.behind and x.stack.backing is not None]
    if not kept:
        return ""
    names = ", ".join(dict.fromkeys(x.stack.backing.name for x in kept if x.stack.backing))
    return (
        f"What lies behind ({names}) is taken to let no light through, so what comes from behind "
        f"in {kept[0].scene.name} is not in this: lay a lining or slip as the innermost "
        "layer, over nothing."
    )


@dataclass(frozen=True)
class Case:
    """Something to wonder at: how large, of which kind, and the sentence."""

    size: float
    kind: tuple[str, ...]
    told: Callable[[str], str]


def _off_grain(outcomes: Sequence[Outcome]) -> Iterator[Case]:
    rows: dict[object, list[Outcome]] = {}
    for outcome in outcomes:
        if layers := outcome.option.stack.layers:
            first = layers[0].grain_deg
            turned = tuple(
                (content(x.cloth), x.face, round((x.grain_deg - first) % 360.0, 6)) for x in layers
            )
            rows.setdefault((turned, *_around(outcome)), []).append(outcome)
    for row in rows.values():
        grains = [outcome.option.stack.layers[0].grain_deg % 180.0 for outcome in row]
        if 0.0 not in grains or 90.0 not in grains:
            continue
        square = row[grains.index(0.0)], row[grains.index(90.0)]
        for outcome, grain in zip(row, grains, strict=True):
            if grain in (0.0, 90.0):
                continue
            Labs = np.array([o.appearance.reading.Lab for o in (outcome, *square)])
            beyond = _beyond(Labs[:, 0])
            apart = float(ciede2000(Labs[0], Labs[1:]).min())
            if abs(beyond) >= LEAST_L and apart >= JUST_NOTICEABLE:
                word = "lighter" if beyond > 0 else "darker"
                yield Case(
                    abs(beyond),
                    ("grain", outcome.option.scene.name, word),
                    partial(_grain_sentence, outcome, square, word),
                )


def _around(outcome: Outcome) -> tuple[str, ...]:
    """What the cloth is seen with."""
    option = outcome.option
    return option.aspect("backing"), option.stack.lay, option.scene.name


def _beyond(values: NDArray[np.float64]) -> float:
    """How far the first lies above all others (positive), below all (negative), or between (0)."""
    first, others = float(values[0]), values[1:]
    return max(first - float(others.max()), 0.0) + min(first - float(others.min()), 0.0)


def _grain_sentence(
    outcome: Outcome, square: Sequence[Outcome], word: str, observer: str
) -> str:
    own, straight, cross = (parts(o, observer) for o in (outcome, *square))
    option, up = outcome.option, word == "lighter"
    turned = grain_words(option.stack.layers[0].grain_deg)
    turned = f"{'On' if 'bias' in turned else 'With'} the {turned}"
    start = f"{turned} it is {word} than on straight and cross grain alike"
    start += _where(option, option.aspect("layers")) + _doubt(outcome, *square)
    cloth = own.cloth - 0.5 * (straight.cloth + cross.cloth)
    behind = own.behind - 0.5 * (straight.behind + cross.behind)
    more = "more" if up else "less"
    if (cloth < behind) != up and abs(cloth) > abs(behind):
        told = (
            f"the threads themselves send {more} of this light to the eye "
            f"({own.cloth:.1f} of 100 against {straight.cloth:.1f} and {cross.cloth:.1f})"
        )
        off = _off_fan(option)
        on = min(map(_off_fan, (o.option for o in square)))
        if not up and on < _ON_FAN < off:
            told += ", for a thread's gleam spreads like a fan square to it, and there both fans "
            told += "miss the eye, unless the light is broad"
        elif up and off < _ON_FAN < on:
            told += ", for a thread's gleam spreads like a fan square to it, and only there one "
            told += "meets the eye"
    else:
        through = "from the light behind" if option.stack.backing is None else (
            f"from the {option.stack.backing.name} behind"
        )  # fmt: skip
        told = (
            f"{more} light comes through the cloth {through} to the eye ({own.behind:.1f} of 100 "
            f"against {straight.behind:.1f} and {cross.behind:.1f}), for the light and the line of "
            "sight then meet both systems of threads at another slant"
        )
    return f"{start}: {told}."


def _off_fan(option: Option) -> float:
    """How far the nearest gleam of a thread of the outermost layer misses the eye: the least
    |cosine of light + cosine of eye| with a thread, over both systems and the lights that are at
    least half as strong as the strongest."""
    scene = option.scene
    front = scene.in_front
    if not front or scene.views:
        return 0.0
    strength = np.array([light.irradiance.sum() for light in front])
    sums = np.array([
        _flat(light.zenith_deg, light.azimuth_deg)
        for light, own in zip(front, strength, strict=True) if own >= 0.5 * strength.max()
    ]) + _flat(scene.view_zenith_deg, scene.view_azimuth_deg)  # fmt: skip
    grain = np.radians(option.stack.layers[0].grain_deg)
    warp = np.array([np.cos(grain), np.sin(grain)])
    weft = np.array([-np.sin(grain), np.cos(grain)])
    return float(min(np.abs(sums @ warp).min(), np.abs(sums @ weft).min()))


def _flat(zenith_deg: float, azimuth_deg: float) -> NDArray[np.float64]:
    """A direction's part along the cloth."""
    zenith, azimuth = np.radians(zenith_deg), np.radians(azimuth_deg)
    return np.asarray(np.sin(zenith) * np.array([np.cos(azimuth), np.sin(azimuth)]))


def _layers(outcomes: Sequence[Outcome]) -> Iterator[Case]:
    rows: dict[object, list[Outcome]] = {}
    for outcome in outcomes:
        layers = outcome.option.stack.layers
        if layers and len({content(x.cloth) for x in layers}) == 1:
            first = layers[0]
            key = (content(first.cloth), first.grain_deg, first.face, *_around(outcome))
            rows.setdefault(key, []).append(outcome)
    for row in rows.values():
        row = sorted(row, key=lambda o: len(o.option.stack.layers))
        for fewer, more in zip(row, row[1:], strict=False):
            one, two = fewer.appearance.reading.Lab, more.appearance.reading.Lab
            count = len(fewer.option.stack.layers)
            if more.option.stack.layers[:count] != fewer.option.stack.layers:
                continue
            lighter = float(two[0] - one[0])
            if lighter >= LEAST_L and float(ciede2000(one, two)) >= JUST_NOTICEABLE:
                yield Case(lighter, ("layers",), partial(_layers_sentence, fewer, more))


def _layers_sentence(fewer: Outcome, more: Outcome, observer: str) -> str:
    a, b = parts(fewer, observer), parts(more, observer)
    count = len(more.option.stack.layers)
    told = (
        "the threads of every layer send light to the eye "
        f"({b.cloth:.1f} of 100, was {a.cloth:.1f})"
    )
    if max(a.behind, b.behind) >= 0.1:
        told += (
            f", which outweighs what is lost from behind ({b.behind:.1f}, was {a.behind:.1f})"
        )
    before = len(fewer.option.stack.layers)
    where = _where(more.option) + _doubt(fewer, more)
    return f"{count} layers are lighter than {before}{where}: {told}."


def _doubt(outcome: Outcome, *others: Outcome) -> str:
    """What to add where a difference from the others is not sure to be seen."""
    made = steps((outcome, *others), [(0, k + 1) for k in range(len(others))])
    sure = all(step.verdict is not None and step.verdict.sees for step in made)
    return "" if sure else ", as it was worked out but not for sure"


def _where(option: Option, *first: str) -> str:
    ground = option.stack.backing
    over = "with nothing behind" if ground is None else f"over {ground.name}"
    return f" ({', '.join((*first, over, option.scene.name))})"
