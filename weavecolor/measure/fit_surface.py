"""Traced light of one cloth as a smooth function of the numbers that change its construction.

Knows that traced light is noisy and slow, and that between near constructions it changes little: a
quadratic in the slow numbers through all that was traced nearby (a response surface, G. E. P. Box,
K. B. Wilson, J. R. Stat. Soc. B 13 (1951) 1; fitted locally as W. S. Cleveland, J. Am. Stat. Assoc.
74 (1979) 829 does). Knows nothing of what was seen, of dyes or of priors.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from weavecolor.optics.cell.filaments import FilamentCell
from weavecolor.optics.onelayer import OneLayer, Openness

Array = NDArray[np.float64]

#: Surfaces are trusted within so many widths of the middle, a little beyond what is traced.
TRUSTED = 1.75
#: Light of constructions so many widths away counts for less, as a bell curve.
_BELL = 1.6
_RIDGE = 1e-3


@dataclass(frozen=True, eq=False)
class Traced:
    """A construction that was traced: its slow numbers (k,) and its light, of the cloth and then of
    bare threads where some were seen."""

    at: Array
    layers: tuple[OneLayer, ...]


def _terms(z: Array, bent: bool) -> Array:
    """Terms (..., n) of a plane, or ``bent``: of a quadratic in the two covers and flatness."""
    one = np.ones(z.shape[:-1] + (1,))
    if not bent:
        return np.concatenate([one, z], axis=-1)
    u, v = z[..., :1], z[..., 1:2]
    return np.concatenate([one, z, u * u, v * v, u * v, z[..., 2:3] ** 2], axis=-1)


@dataclass(frozen=True, eq=False)
class Smooth:
    """Light about ``middle`` (k,) within ``width`` (k,): ``terms`` (n, values), and ``shares``
    (n, traced), by which each construction traced takes part."""

    middle: Array
    width: Array
    terms: Array
    shares: Array
    bent: bool
    like: tuple[OneLayer, ...]

    def at(
        self, slow: Array, cells: Sequence[Sequence[FilamentCell]]
    ) -> list[tuple[OneLayer, ...]]:
        """The light of constructions (n, k), of which each layer has one of its ``cells``."""
        values = self._at(slow) @ self.terms
        return [_unpacked(self.like, own, one) for own, one in zip(cells, values, strict=True)]

    def noise(self, slow: Array) -> float:
        """How much of the variance of one construction's tracing is left at ``slow`` (k,)."""
        took = self._at(slow) @ self.shares
        return float(took @ took)

    def own(self, which: int, slow: Array) -> float:
        """Share that a construction traced has in the surface at its own place ``slow`` (k,)."""
        return float(self._at(slow) @ self.shares[:, which])

    def _at(self, slow: Array) -> Array:
        return _terms((slow - self.middle) / self.width, self.bent)


def smooth(
    traced: Sequence[Traced], middle: Array, width: Array, bent: bool = True
) -> Smooth:
    """The surface through ``traced`` about ``middle`` (k,) within ``width`` (k,): ``bent``, or a
    plane for few of them."""
    z = np.stack([(t.at - middle) / width for t in traced])
    terms = _terms(z, bent)
    weight = np.exp(-0.5 * ((z / _BELL) ** 2).sum(axis=1))
    # what nothing tells stays even
    hold = np.diag(np.r_[0.0, np.full(terms.shape[1] - 1, _RIDGE * weight.sum())])
    shares = np.linalg.solve((terms.T * weight) @ terms + hold, terms.T * weight)
    values = np.stack([_packed(t.layers) for t in traced])
    return Smooth(middle, width, shares @ values, shares, bent, traced[0].layers)


def _packed(layers: Sequence[OneLayer]) -> Array:
    parts = []
    for layer in layers:
        parts += [layer.weights.ravel(), layer.plain.ravel()]
        for one in layer.openings:
            parts += [one.joint.ravel(), one.joint_diffuse, one.straight]
            parts.append(np.array([one.straight_diffuse, one.spread]))
    return np.concatenate(parts)


def _unpacked(
    like: Sequence[OneLayer], cells: Sequence[FilamentCell], values: Array
) -> tuple[OneLayer, ...]:
    at = 0

    def take(shape: tuple[int, ...]) -> Array:
        nonlocal at
        size = int(np.prod(shape))
        at += size
        return np.asarray(values[at - size : at].reshape(shape))

    out = []
    for layer, cell in zip(like, cells, strict=True):
        weights, plain = take(layer.weights.shape), take(layer.plain.shape)
        made = []
        for one in layer.openings:
            joint, even, straight = (
                take(a.shape) for a in (one.joint, one.joint_diffuse, one.straight)
            )
            diffuse, spread = take((2,))
            made.append(Openness(joint, even, straight, float(diffuse), float(spread)))
        out.append(replace(layer, weights=weights, plain=plain, openings=tuple(made), cell=cell))
    return tuple(out)
