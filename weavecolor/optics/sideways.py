"""How much of the register is left where light goes sideways in what lies behind a cloth.

Light that falls through an opening onto skin, paper or a lining comes out beside it, in part under
threads: what is behind looks less and less as a surface lit where the openings are, and in the end
as if it were lit evenly. Knows a matter's scattering and how wide the openings of a cloth are;
knows nothing of directions or colour.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.scene.backings import Backing
from weavecolor.textile.cloth import Construction

Array = NDArray[np.float64]

#: Waves of openings along warp and weft that are counted: finer ones leave no register.
_WAVES = 24
#: An opening's least share of the spacing: threads that meet leave openings between their fibres.
_LEAST_OPEN = 0.02


@dataclass(frozen=True, eq=False)
class Sideways:
    """A matter that light goes into, at B wavelengths.

    ``surface`` (B,): share of what it sends back that its surface does, which stays where it is;
    ``path`` (B,): way in mm after which light has forgotten where it came from; ``faded`` (B,): by
    what share of such a way light spreads before it is absorbed, upside down: nought where none
    is; ``turned``: as in :func:`_inner`.
    """

    surface: Array
    path: Array
    faded: Array
    turned: float

    def at(self, bands: Any) -> Sideways:
        """The same at some of its wavelengths."""
        return Sideways(self.surface[bands], self.path[bands], self.faded[bands], self.turned)


@lru_cache(maxsize=64)
def sideways(behind: Backing) -> Sideways | None:
    """What light goes through inside a backing, (41,) each; None where that is a matt surface.

    Its absorption is what leaves it the reflectance that it has.

    Examples
    --------
    >>> sideways(backing("skin medium")).path.shape
    (41,)
    """
    inside = behind.inside
    if inside is None:
        return None
    turned = _inner(inside.index)
    mirrored = ((inside.index - 1.0) / (inside.index + 1.0)) ** 2
    whole = np.maximum(behind.reflectance, 1e-4)
    own = behind.reflectance if inside.reflectance is None else inside.reflectance
    sent = np.clip((own - mirrored) / (1.0 - mirrored), 1e-3, 0.999)
    steps = np.linspace(0.0, np.sqrt(3.0), 400)[::-1]
    faded = np.interp(sent, (1.0 - steps**2 / 3.0) * _out(steps, turned), steps)
    path = (1.0 - faded**2 / 3.0) / inside.scattering
    return Sideways(np.minimum(mirrored / whole, 1.0), path, faded, turned)


def _inner(index: float) -> float:
    """By how much longer light stays inside for being turned back at the surface: (1 + r) / (1 -
    r), r the share of even light that is, after R. A. J. Groenhuis and others, Applied Optics 22
    (1983) 2456, from memory; 1 where there is no smooth surface."""
    if index <= 1.0:
        return 1.0
    r = -1.440 / index**2 + 0.710 / index + 0.668 + 0.0636 * index
    return float((1.0 + r) / (1.0 - r))


def _out(wave: Array, turned: float) -> Array:
    """Of light that comes in as waves, ``wave`` radians in a free path, how much comes out in step,
    of none that were absorbed."""
    return np.asarray(1.0 / ((1.0 + wave) * (1.0 + 2.0 / 3.0 * turned * wave)))


def in_step(waves: Array, matter: Sideways) -> Array:
    """Of light that falls on a matter in stripes, how much of their contrast it comes out with,
    (B, K), for K ``waves`` of radians a mm: its modulation transfer.

    Notes
    -----
    Diffusion from a source that falls off with depth as light does that has not yet been scattered,
    with the partial current boundary: R. C. Haskell and others, J. Opt. Soc. Am. A 11 (1994) 2727;
    D. J. Cuccia and others, J. Biomed. Opt. 14 (2009) 024012, both from memory. Light followed
    through such a matter (``tests/test_sideways.py``) lies within .07 of it, .09 where it is
    scattered evenly to all sides; .1 where absorption was found from what a dark one sends back.

    Examples
    --------
    >>> in_step(np.array([0.0]), sideways(backing("white"))).round(9).min().item()
    1.0
    """
    path, faded = matter.path[:, None], matter.faded[:, None]
    return _out(np.hypot(waves * path, faded), matter.turned) / _out(faded, matter.turned)


def register(construction: Construction, matter: Sideways) -> Array:
    """How much of the register between light that goes in and that comes out of the openings of a
    cloth its ground leaves, (B,): 1 a matt surface, 0 one that is lit evenly.

    Yarns leave a grid of oblong openings, whatever the weave; the waves of which it is made keep
    step each by itself (:func:`in_step`).

    Examples
    --------
    >>> from weavecolor.textile.construction import geometry_of
    >>> left = register(geometry_of(organza), sideways(backing("skin medium")))
    >>> left.shape, bool(left.max() < 0.3)
    ((41,), True)
    """
    c = construction
    number = np.arange(-_WAVES, _WAVES + 1)
    powers, waves = [], []
    for spacing, width in ((c.warp_spacing, c.warp_width), (c.weft_spacing, c.weft_width)):
        left = max(1.0 - width / spacing, _LEAST_OPEN)
        powers.append((left * np.sinc(number * left)) ** 2)
        waves.append(2.0 * np.pi * number / spacing)
    power = np.outer(*powers)
    mean = power[_WAVES, _WAVES]
    power[_WAVES, _WAVES] = 0.0
    whole = np.sqrt(mean) - mean  # of all waves: the variance of what is open or not
    kept = in_step(np.hypot(waves[0][:, None], waves[1]).ravel(), matter) @ power.ravel() / whole
    return np.asarray(matter.surface + (1.0 - matter.surface) * kept)
