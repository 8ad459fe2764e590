"""The watered pattern (moire) that sheer layers show, in one sentence, and how to be rid of it.

Knows which options show bands that she would see; the light of the bands is worked out in
``optics.moire``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from weavecolor.colour.colorimetry import ciede2000, reading
from weavecolor.colour.perception import JUST_NOTICEABLE
from weavecolor.decide.compare import Option, behind
from weavecolor.optics.moire import Bands, bands, swing
from weavecolor.scene.places import illumination

#: Options that are looked at closely, those whose openings change most from band to band.
_CLOSELY = 4
_TURN_STEP, _MOST_TURN = 5, 45


def watered(options: Sequence[Option], observer: str = "2") -> str:
    """One sentence about the plainest bands that any of ``options`` shows; empty where she would
    see none.

    The difference told is of even threads, by so much as the optics come near exact tracing of two
    layers held in and out of step (within about a fifth); uneven threads show less.

    Examples
    --------
    >>> watered([Option(single, window)])
    ''
    """
    found = [(swing(option.stack, option.scene), k) for k, option in enumerate(options)]
    found = sorted((each for each in found if each[0] > 0.0), key=lambda each: -each[0])
    best: tuple[float, Option, Bands] | None = None
    for _, place in found[:_CLOSELY]:
        option = options[place]
        light = illumination(option.scene)
        for shown in bands(option.stack, option.scene):
            few, many = (
                reading(x, light, white=option.scene.white, observer=observer).Lab
                for x in (shown.few, shown.many)
            )
            delta = float(ciede2000(few, many))
            if delta >= JUST_NOTICEABLE and (best is None or delta > best[0]):
                best = delta, option, shown
    return _sentence(*best) if best else ""


def _sentence(delta: float, option: Option, shown: Bands) -> str:
    layers, (i, j) = option.stack.layers, shown.layers
    least, most = shown.between_mm
    wide = f"bands {_mm(least)} wide or wider" if most == float("inf") else (
        f"bands about {_mm(shown.period_mm)} wide ({_mm(least)} to {_mm(most)} within a degree of "
        "turn)"
    )  # fmt: skip
    if layers[i].cloth != layers[j].cloth:
        which = f"{layers[i].cloth.name} over {layers[j].cloth.name} shows"
    else:
        pair = f"Of {len(layers)} layers, numbers {i + 1} and {j + 1}"
        which = f"{'2 layers' if len(layers) == 2 else pair} show"
    told = (
        f"{which} a watered pattern (moiré) from near: {wide}, which move as one layer shifts. The "
        f"lightest and the darkest differ by up to about {delta:.0f} (CIEDE2000, threads evenly "
        f"spaced; {behind(option.stack.backing)}, {option.scene.name}); the colour told is their "
        "mean."
    )
    if turn := _turned_away(option, shown):
        told += f" Turned {turn} degrees further against one another, they are too fine to be seen."
    return told


def _turned_away(option: Option, shown: Bands) -> int:
    """By how much the inner of two layers must be turned further to show no bands; 0: no such."""
    upper, lower = (option.stack.layers[k] for k in shown.layers)
    for turn in range(_TURN_STEP, _MOST_TURN + 1, _TURN_STEP):
        further = replace(lower, grain_deg=lower.grain_deg + turn)
        if not swing(replace(option.stack, layers=(upper, further)), option.scene):
            return turn
    return 0


def _mm(value: float) -> str:
    return f"{value:.1f} mm" if value < 3.0 else f"{value:.0f} mm"
