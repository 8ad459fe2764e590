"""Bands that two sheer layers show where their threads lie nearly alike: moire, a watered pattern.

Where the threads of one layer lie behind those of another, the eye sees more of what is under both;
where they lie in the gaps, more of the second layer's threads. Two sets of threads nearly as close
and nearly along one another pass from the one to the other over a beat of their two waves (I.
Amidror, The Theory of the Moire Phenomenon, 2009, ch. 2; from memory), and a patch is the mean of
it. Knows the openings of layers and the light that is seen through them; tells no words.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weavecolor.colour.spectra import Spectrum
from weavecolor.optics.appearance import laid_in, lit_by
from weavecolor.optics.layer import solved
from weavecolor.optics.parted import parted
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.scene import Scene

Array = NDArray[np.float64]

#: Two layers lie as meant to within so much of a turn, radians, and their threads are as close as
#: told to within as large a share of it (common practice, no source).
SLIP = np.radians(1.0)
#: Finer bands, mm, are no pattern any more at arm's length; and those of fewer threads than this
#: are the threads themselves (common practice, no source).
LEAST_MM, LEAST_THREADS = 1.0, 3.0
#: Waves of threads, of each layer, whose beats are looked for: every first to every third thread.
_WAVES = 3
_HARMONICS = 24
_PHASES = 96


@dataclass(frozen=True, eq=False)
class Bands:
    """Bands between two layers of a stack, numbered from 0, the outermost.

    ``period_mm``: from one to the next, as laid exactly; infinite where the threads are as close
    and as turned. ``between_mm``: least and most of it within :data:`SLIP`. ``few`` and ``many``
    (41,): radiance times pi where least and most is seen of what is under both, for even threads:
    uneven ones show less. ``mean`` (41,): of the whole.
    """

    layers: tuple[int, int]
    period_mm: float
    between_mm: tuple[float, float]
    few: Spectrum
    many: Spectrum
    mean: Spectrum


@dataclass(frozen=True)
class _Beat:
    period_mm: float
    between_mm: tuple[float, float]
    factors: tuple[float, float]  # of what is seen open through both, over its mean


def swing(stack: Stack, scene: Scene) -> float:
    """By how much what is seen open through two layers of ``stack`` differs between the bands of
    :func:`bands`, over its mean, where that is most; 0 where there are none. Takes no light.

    Examples
    --------
    >>> swing(single, window)
    0.0
    """
    return max((high - low for *_, (low, high) in _pairs(stack, scene)), default=0.0)


def bands(stack: Stack, scene: Scene) -> tuple[Bands, ...]:
    """The bands of at least :data:`LEAST_MM` that each two layers of ``stack`` show in ``scene``.

    Raises InputError as :func:`weavecolor.optics.appearance.appearance` does.

    Notes
    -----
    The kernel's light is taken apart by how far the line of sight gets straight through. What that
    meets beyond layer j is seen F times as much, F from 0 up being the joint openness of both sets
    of threads over its mean, and layer j's own threads as much less. Shadows of one layer's threads
    on the other's are taken as even.

    Examples
    --------
    >>> bands(single, window)
    ()
    >>> found = bands(double, window)
    >>> found[0].layers, found[0].period_mm
    ((0, 1), inf)
    """
    pairs = list(_pairs(stack, scene))
    if not pairs:
        return ()
    layers, straight = parted(stack, scene)
    ways, (lit,) = lit_by([scene])
    seen = [layer.all for layer in layers] + [straight]
    mean = np.sum(seen, axis=0)
    out = []
    for i, j, widest, (low, high) in pairs:
        pile = laid_in(stack, ways)[j]
        left_open = float(pile.through[np.count_nonzero(pile.share) + lit.eye])
        change = in_step(seen[j], np.sum(seen[j + 1 :], axis=0), left_open)
        out.append(
            Bands(
                (i, j), widest.period_mm, widest.between_mm,
                mean + (low - 1.0) * change, mean + (high - 1.0) * change, mean,
            )  # fmt: skip
        )
    return tuple(out)


def in_step(own: Array, past: Array, left_open: float) -> Array:
    """What is seen more, per share that more is seen straight through a layer: what comes to the
    eye from its ``own`` threads, and from ``past`` them (both of one shape); it leaves
    ``left_open`` of the sight open, 0 to 1.

    Examples
    --------
    >>> float(in_step(np.array([0.0]), np.array([0.5]), 0.5)[0])  # black threads
    0.5
    """
    return past - own * left_open / max(1.0 - left_open, 1e-9)


def _pairs(
    stack: Stack, scene: Scene
) -> Iterator[tuple[int, int, _Beat, tuple[float, float]]]:
    """Two layers that show bands, their most telling beat, and both factors of all their beats."""
    for j in range(1, len(stack.layers)):
        for i in range(j):
            beats = list(_beats(stack.layers[i], stack.layers[j], scene))
            if beats:
                both = np.prod([beat.factors for beat in beats], axis=0)
                widest = max(beats, key=lambda beat: np.ptp(beat.factors))
                yield i, j, widest, (float(both[0]), float(both[1]))


def _beats(one: Layer, other: Layer, scene: Scene) -> Iterator[_Beat]:
    """Of each two sets of threads, one of each layer, the beat that is told most by, if any."""
    for first, first_open in _threads(one, scene):
        for second, second_open in _threads(other, scene):
            best: _Beat | None = None
            closest = float(min(np.linalg.norm(first), np.linalg.norm(second)))
            most = min(1.0 / LEAST_MM, closest / LEAST_THREADS)
            for k in range(1, _WAVES + 1):
                for m in range(1, _WAVES + 1):
                    if np.gcd(k, m) > 1:
                        continue
                    apart = min(
                        float(np.linalg.norm(k * first - m * second)),
                        float(np.linalg.norm(k * first + m * second)),
                    )
                    if apart > most:
                        continue
                    slip = float(SLIP * k * np.linalg.norm(first))
                    beat = _Beat(
                        1.0 / apart if apart > 1e-9 else np.inf,
                        (1.0 / (apart + slip), 1.0 / (apart - slip) if apart > slip else np.inf),
                        joint_factors(first_open, second_open, k, m),
                    )
                    if best is None or np.ptp(beat.factors) > np.ptp(best.factors):
                        best = beat
            if best is not None:
                yield best


def _threads(layer: Layer, scene: Scene) -> Iterator[tuple[Array, float]]:
    """Each set of threads of a layer: threads a mm along the line square to them (2,), in the
    frame of the stack; and the share of the sight that they leave open."""
    cell = solved(layer.cloth).white.cell
    turn = np.radians(layer.grain_deg)
    slant = np.tan(np.radians(scene.view_zenith_deg))
    eye = slant * np.array([
        np.cos(np.radians(scene.view_azimuth_deg)), np.sin(np.radians(scene.view_azimuth_deg))
    ])  # fmt: skip
    for strand, spacing, along in (
        (cell.warp, cell.warp_spacing, turn), (cell.weft, cell.weft_spacing, turn + np.pi / 2)
    ):  # fmt: skip
        across = np.array([-np.sin(along), np.cos(along)])
        covers = np.hypot(strand.width, strand.height * float(across @ eye)) / spacing
        if covers < 1.0:
            yield across / spacing, 1.0 - covers


def joint_factors(one: float, other: float, k: int, m: int) -> tuple[float, float]:
    """Least and most of what is open through two sets of threads that leave ``one`` and ``other``
    open, over the mean, where every ``k``th of the one meets every ``m``th of the other.

    Examples
    --------
    >>> [round(x, 1) for x in joint_factors(0.5, 0.5, 1, 1)]
    [0.0, 2.0]
    """
    n = np.arange(1, _HARMONICS + 1)
    waves = np.sin(np.pi * n * k * one) * np.sin(np.pi * n * m * other) / (n * n * k * m)
    phase = np.arange(_PHASES) / _PHASES
    swing = np.cos(2.0 * np.pi * np.outer(phase, n)) @ waves * (2.0 / np.pi**2)
    factor = 1.0 + swing / (one * other)
    return float(max(factor.min(), 0.0)), float(factor.max())
