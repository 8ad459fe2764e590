"""Folds: how pleats and gathers lie, and how many layers a line of sight meets.

Knows how cloth folds across the figure (pressed pleats, hanging gathers). Knows nothing of
colour: pictures and show-through take the folds and layer counts from here. Lengths in cm; x
runs across the figure, depth outwards.

Fullness is cloth width over finished width. In a pressed pleat cloth lies flat, so the mean
number of layers equals the fullness. A hanging gather is a meander: at moderate fullness it
tilts rather than overlaps, so the number of layers met by the eye is smaller, but the length
of cloth per finished width (``cover``) still averages to the fullness.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.cutting.lengths import positive
from weavecolor.errors import InputError, shown

KINDS = ("flat", "gathered", "knife", "box")
#: Other words for them.
KINDS_ALSO = {
    **dict.fromkeys(("gather", "gathers", "gathering"), "gathered"),
    **{f"{kind} {pleat}": kind for kind in ("knife", "box") for pleat in ("pleat", "pleats")},
}
MOST_FULLNESS = 9.0  # neighbouring loops of the meander touch near 9
_J0_ZERO = 2.404825557695773


def kind_called(words: str) -> str:
    """The way to take in fullness that is called so. Raises InputError with all of them.

    Examples
    --------
    >>> kind_called("Knife pleats"), kind_called("gathers")
    ('knife', 'gathered')
    """
    tidy = " ".join(words.casefold().split())
    found = KINDS_ALSO.get(tidy, tidy)
    if found not in KINDS:
        told = f"{shown(words, 42)} is not one of {', '.join(KINDS)}"
        if re.search(r"\b(?:circ\w+|flared?|gored?|panelled)\b", tidy):
            told += "; a skirt that flares by its cut is told as pieces, each by its corners"
        raise InputError(told)
    return found


@dataclass(frozen=True)
class LayerShares:
    """How much of the view has how many layers: ``share[i]`` of it has ``layers[i]``; sums to 1."""

    layers: tuple[int, ...]
    share: tuple[float, ...]

    @property
    def mean(self) -> float:
        """Mean number of layers met straight on."""
        return float(np.dot(self.layers, self.share))

    @property
    def bare(self) -> float:
        """Share of the view where only one layer covers what is behind, 0-1."""
        return self.of(1)

    def of(self, layers: int) -> float:
        """Share of the view with exactly that many layers, 0-1."""
        return dict(zip(self.layers, self.share, strict=True)).get(layers, 0.0)

    def doubled(self) -> LayerShares:
        """The same folds in cloth laid double."""
        return LayerShares(tuple(2 * n for n in self.layers), self.share)


@dataclass(frozen=True, eq=False)
class FoldProfile:
    """One repeat of the folds as seen along one direction; arrays share the shape (samples,).

    Attributes
    ----------
    x : position across the view, cm, over one repeat (``pitch_cm`` times cos of the view angle).
    depth : how far out the outermost cloth stands, cm; 0 at mid-fold (gathers), on top (pleats).
    normal_deg : its outward normal, degrees from straight out, positive towards +x.
    layers : number of times the line of sight meets the cloth, odd.
    cover : cloth length per length of view around x: the sum of 1/cos over the layers met.
    curve_x, curve_depth : the folded cloth itself over one repeat, cm, for drawing.
    """

    pitch_cm: float
    depth_cm: float
    x: NDArray[np.float64]
    depth: NDArray[np.float64]
    normal_deg: NDArray[np.float64]
    layers: NDArray[np.int64]
    cover: NDArray[np.float64]
    curve_x: NDArray[np.float64]
    curve_depth: NDArray[np.float64]

    @property
    def slant_deg(self) -> NDArray[np.float64]:
        """How far the cloth met lies from square to the line of sight, degrees, 0 to 90: of its
        ``layers`` together, by the ``cover`` that they make."""
        return np.degrees(np.arccos(np.clip(self.layers / self.cover, 0.0, 1.0)))


def check_fullness(kind: str, fullness: float) -> None:
    """Raise InputError unless cloth can be taken in that way by that much.

    Examples
    --------
    >>> check_fullness("knife", 3.0)  # nothing is said where it can be done
    """
    if kind not in KINDS:
        raise InputError(
            f"{kind!r} is not a way to take in fullness; use {', '.join(KINDS)}", field="kind"
        )
    if not np.isfinite(fullness) or not 1.0 <= fullness <= MOST_FULLNESS:
        raise InputError(
            f"fullness {fullness:g} will not do; it is 1 (flat) to {MOST_FULLNESS:g}",
            field="fullness",
        )
    if kind == "flat" and fullness > 1.0 + 1e-9:
        raise InputError("flat cloth has fullness 1; choose gathered, knife or box", field="kind")


@lru_cache(maxsize=256)
def meander_angle(fullness: float) -> float:
    """Steepest angle (radians) of the meander that takes in ``fullness``.

    The fold is the sine-generated curve, tangent angle a sin(2 pi s / l), close to the bent
    elastic strip; its length over its span is 1 / J0(a) (Langbein & Leopold 1966, on river
    meanders). It overhangs, so that three layers are met, where a > 90 degrees.

    Examples
    --------
    >>> meander_angle(1.0), meander_angle(3.0) > meander_angle(2.0)
    (0.0, True)
    """
    if fullness <= 1.0:
        return 0.0
    from scipy.optimize import brentq  # slow to import
    from scipy.special import j0

    return float(brentq(lambda a: j0(a) - 1.0 / fullness, 0.0, _J0_ZERO))


def _gather_curve(fullness: float, samples: int) -> tuple[NDArray[Any], NDArray[Any]]:
    """One repeat of the meander at pitch 1: x (samples + 1,), depth about 0."""
    angle = meander_angle(fullness)
    s = (np.arange(samples) + 0.5) / samples
    tangent = angle * np.cos(2.0 * np.pi * s)
    step = fullness / samples
    x = np.concatenate([[0.0], np.cumsum(np.cos(tangent) * step)])
    z = np.concatenate([[0.0], np.cumsum(np.sin(tangent) * step)])
    return x / x[-1], z


def _pleat_curve(kind: str, fullness: float, thickness: float) -> tuple[NDArray[Any], NDArray[Any]]:
    """One repeat of a pressed pleat at pitch 1; folds lie ``thickness`` behind one another."""
    if kind == "flat" or fullness <= 1.0:
        return np.array([0.0, 1.0]), np.zeros(2)
    if kind == "knife":
        under = (fullness - 1.0) / 2.0
        x = [0.0, 1.0, 1.0 - under, 1.0]
        z = [-2.0, 0.0, -3.0, -2.0]  # the face lies over the cloth turned under it
    else:
        under = (fullness - 1.0) / 4.0
        x = [0.0, 1.0, 1.0 - under, 1.0 + under, 1.0]
        z = [0.0, 0.0, -1.0, -2.0, 0.0]
    return np.array(x), np.array(z) * thickness


def fold_profile(
    kind: str,
    fullness: float,
    *,
    pitch_cm: float | None = None,
    depth_cm: float | None = None,
    view_deg: float = 0.0,
    samples: int = 400,
) -> FoldProfile:
    """The folds of one repeat, as met by parallel lines of sight.

    Parameters
    ----------
    kind : {"flat", "gathered", "knife", "box"}
    fullness : float, 1 to 9
        Cloth width over finished width. Pleats other than 3:1 are partial (below) or overlap
        (above): a knife pleat of face s and underlay d has fullness 1 + 2 d / s, a box pleat
        of face s with underlay d on each side 1 + 4 d / s.
    pitch_cm : float, optional
        Finished width of one fold or pleat; default 4.
    depth_cm : float, optional
        For gathers, how deep the fold stands from crest to hollow: it then sets the pitch
        (cloth does not stretch, so only one of the two is free). For pleats, how far one
        pressed layer lies behind the next; default 0.05.
    view_deg : float, -80 to 80
        Direction of sight across the figure from straight on, positive from the +x side.
    samples : int, 8 to 20000

    Raises
    ------
    InputError
        On an unknown kind, a fullness out of range, or both pitch and depth for gathers.

    Examples
    --------
    >>> profile = fold_profile("box", 3.0)
    >>> int(profile.layers.max())
    3
    """
    check_fullness(kind, fullness)
    if not 8 <= samples <= 20000:
        raise InputError("use 8 to 20000 samples across a fold", field="samples")
    if not np.isfinite(view_deg) or abs(view_deg) > 80.0:
        raise InputError("a view across the folds is within 80 degrees", field="view_deg")
    if pitch_cm is not None:
        pitch_cm = positive(pitch_cm, "pitch_cm")
    if depth_cm is not None:
        depth_cm = positive(depth_cm, "depth_cm")
    if kind == "gathered":
        # Crest to hollow at pitch 1 is f/2 times the Struve function H0 of the steepest angle.
        from scipy.special import struve  # slow to import

        unit_depth = fullness / 2.0 * float(struve(0, meander_angle(fullness)))
        if pitch_cm is not None and depth_cm is not None:
            raise InputError("give the pitch or the depth of a gather, not both: cloth is fixed")
        if depth_cm is not None:
            if unit_depth <= 0.0:
                raise InputError("cloth without fullness has no fold depth", field="depth_cm")
            pitch_cm = depth_cm / unit_depth
        pitch = pitch_cm or 4.0
        curve_x, curve_z = _gather_curve(fullness, max(256, samples))
        depth = unit_depth * pitch
    else:
        pitch = pitch_cm or 4.0
        thickness = depth_cm or 0.05
        curve_x, curve_z = _pleat_curve(kind, fullness, thickness / pitch)
        depth = float(np.ptp(curve_z)) * pitch
    curve_x, curve_z = curve_x * pitch, curve_z * pitch

    x, met, outermost, along, cover = _sight(curve_x, curve_z, pitch, view_deg, samples)
    tilt = np.rad2deg(np.arctan2(-np.diff(curve_z), np.diff(curve_x)))
    stand = curve_z[:-1][outermost] + along * np.diff(curve_z)[outermost]
    return FoldProfile(pitch, depth, x, stand, tilt[outermost], met, cover, curve_x, curve_z)


def _sight(
    curve_x: NDArray[Any], curve_z: NDArray[Any], pitch: float, view_deg: float, samples: int
) -> tuple[NDArray[Any], NDArray[Any], NDArray[Any], NDArray[Any], NDArray[Any]]:
    """Lines of sight over one repeat of a periodic polyline.

    Returns x, number of segments met, index of the outermost one, how far along it (0-1), and
    the mean cloth length per width around each line, all of shape (samples,).
    """
    view = np.deg2rad(view_deg)
    repeat = pitch * np.cos(view)
    across = curve_x * np.cos(view) - curve_z * np.sin(view)
    towards = curve_x * np.sin(view) + curve_z * np.cos(view)
    reach = int(np.ceil(np.ptp(across) / repeat)) + 1
    copies = np.arange(-reach, reach + 1)[:, None]
    start = (across[:-1] + copies * repeat).ravel()
    out = (towards[:-1] + copies * pitch * np.sin(view)).ravel()
    run = np.tile(np.diff(across), len(copies))
    rise = np.tile(np.diff(towards), len(copies))
    lo, hi = np.minimum(start, start + run), np.maximum(start, start + run)

    # Each segment meets the few lines of sight between its ends; the odd fraction keeps the
    # lines clear of the joints of round-numbered pleats, where one would count twice or never.
    spacing = repeat / samples
    offset = 0.5137
    x = (np.arange(samples) + offset) * spacing
    first = np.clip(np.ceil(lo / spacing - offset), 0, samples).astype(np.int64)
    last = np.clip(np.ceil(hi / spacing - offset), 0, samples).astype(np.int64)
    number = last - first
    segment = np.repeat(np.arange(len(lo)), number)
    line = np.arange(number.sum()) - np.repeat(np.cumsum(number) - number, number)
    line += np.repeat(first, number)
    met = np.bincount(line, minlength=samples)
    along = (x[line] - start[segment]) / run[segment]
    order = np.lexsort((out[segment] + along * rise[segment], line))
    top = order[np.cumsum(met) - 1]  # the farthest out on each line

    # Cloth length up to x, a sum of ramps, read at the bin edges: exact also at steep folds.
    length = np.tile(np.hypot(np.diff(curve_x), np.diff(curve_z)), len(copies))
    hi = np.maximum(hi, lo + 1e-9 * repeat)
    density = length / (hi - lo)
    at = np.concatenate([lo, hi])
    sort = np.argsort(at, kind="stable")
    slope = np.cumsum(np.concatenate([density, -density])[sort])
    total = np.concatenate([[0.0], np.cumsum(slope[:-1] * np.diff(at[sort]))])
    edges = np.arange(samples + 1) * spacing
    cover = np.diff(np.interp(edges, at[sort], total)) / spacing
    return x, met, segment[top] % (len(curve_x) - 1), along[top], cover


@lru_cache(maxsize=256)
def layer_shares(kind: str, fullness: float, doubled: bool = False) -> LayerShares:
    """Layers met looking straight on, as shares of the view.

    Pressed pleats, knife or box: the underlays cover u = (fullness - 1) / 2 of the view, each
    adding two layers, evenly spread; so 1 + 2 floor(u) layers or two more, and the mean is the
    fullness. Gathers: counted on :func:`fold_profile`. ``doubled``: cloth laid double.

    Parameters
    ----------
    kind : {"gathered", "knife", "box", "flat"}
    fullness : float
        Cloth to finished width, 1 to 9.
    doubled : bool
        Whether the cloth is laid double.

    Examples
    --------
    >>> layer_shares("knife", 3.0).mean
    3.0
    """
    check_fullness(kind, fullness)
    if kind == "gathered":
        counts = fold_profile(kind, fullness, samples=4000).layers
        values, number = np.unique(counts, return_counts=True)
        shares = LayerShares(tuple(map(int, values)), tuple(map(float, number / counts.size)))
    else:
        under = (fullness - 1.0) / 2.0
        whole = int(np.floor(under + 1e-12))
        rest = max(0.0, under - whole)
        low = 1 + 2 * whole
        shares = (
            LayerShares((low, low + 2), (1.0 - rest, rest))
            if rest > 1e-12
            else LayerShares((low,), (1.0,))
        )
    return shares.doubled() if doubled else shares
