"""What no stack of a whole group can beat: lower bounds of the loss, proved and not sampled.

Knows how far XYZ, Lab, the contrast ratio and CIEDE2000 can lie once every table of a group is
known to lie between a least and a greatest; knows nothing of how groups are searched.

* XYZ. ``lastlayer`` grows with each thing that goes in, so the least tables, openness and grounds
  of a group give less than any member, the greatest more (weights below nought the other way
  round).
* Lab. Each coordinate is a difference of one rising function of X, Y and Z.
* CIEDE2000 (ISO/CIE 11664-6), from a colour to a box of colours. With one G for both colours,
  dC'^2 + dH'^2 = da'^2 + db^2; SC and SH are at most 1 + 0.045 C'; the rotation term takes at most
  the share |RT| / 2 away, as 2 |xy| <= x^2 + y^2; SL grows with the distance from 50.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weavecolor.colour.colorimetry import lab_from_xyz
from weavecolor.decide.evaluate import Screen
from weavecolor.decide.lastlayer import Behind, Lowers, Uppers, xyz
from weavecolor.decide.wishes import Wish, target_in

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

#: Wishes whose loss can be bounded: those that hang on the main light and on cover alone.
BOUNDED = ("target", "brightest", "deepest", "most opaque", "most sheer")
#: Laid layers a group, at most.
GROUP = 6
#: Rounding of sums in double precision is far below this.
_ROUNDING = 1e-9


def groups(quick: Screen, most: int = GROUP) -> list[Indices]:
    """The laid layers in groups alike in what they send back and let through: halved again and
    again along what varies most, as a k-d tree.

    Always the same for the same tables.
    """
    tables = quick.tables
    features = np.concatenate(
        [
            np.cbrt(np.maximum(tables.above.mean(axis=(2, 3)), 0.0)),
            np.cbrt(np.maximum(tables.transmit.mean(axis=(2, 3)), 0.0)),
            tables.through.mean(axis=1)[:, None],
        ],
        axis=1,
    )
    done: list[Indices] = []
    waiting = [np.arange(features.shape[0], dtype=np.intp)]
    while waiting:
        members = waiting.pop()
        if members.size <= most:
            done.append(np.sort(members))
            continue
        mine = features[members]
        # along the direction of greatest variation; lexsort for a fixed order of equals
        centred = mine - mine.mean(axis=0)
        _, _, rows = np.linalg.svd(centred, full_matrices=False)
        order = np.lexsort((members, np.round(centred @ rows[0], 12)))
        half = members.size // 2
        waiting += [members[order[:half]], members[order[half:]]]
    return sorted(done, key=lambda members: int(members[0]))


@dataclass(frozen=True, eq=False)
class Ends:
    """The least and the greatest of each group's layers, as layers of their own."""

    least: Lowers
    most: Lowers


def ends(lowers: Lowers, gathered: Sequence[Indices]) -> Ends:
    """Of every group, in order."""

    def of(pick: np.ufunc) -> Lowers:
        order = np.concatenate(gathered)
        starts = np.cumsum([0, *(g.size for g in gathered[:-1])])
        return Lowers(
            *(
                np.ascontiguousarray(pick.reduceat(getattr(lowers, name)[order], starts, axis=0))
                for name in ("above", "pairs", "sent", "through", "under")
            )
        )

    return Ends(of(np.minimum), of(np.maximum))


def all_behind(each: Behind, starts: Indices) -> tuple[Behind, Behind]:
    """The least and greatest openness over runs of piles that begin at ``starts``."""

    def of(pick: np.ufunc) -> Behind:
        return Behind(
            *(
                np.ascontiguousarray(pick.reduceat(getattr(each, name), starts, axis=0))
                for name in ("joint", "pairs", "hit", "spread")
            )
        )

    return of(np.minimum), of(np.maximum)


def least_loss(
    quick: Screen,
    wishes: tuple[Wish, ...],
    uppers: Uppers,
    ends_of: Ends,
    upper: Indices,
    group: Indices,
    behind: tuple[Behind, Behind],
) -> Array:
    """A loss (n, S) that no stack of pile ``upper`` over any layer of ``group`` goes below, over
    each of the backings; -inf where nothing can be said.

    Parameters
    ----------
    quick : Screen
        With S backings.
    wishes : tuple of Wish
    uppers : Uppers
    ends_of : Ends
        Least and greatest of each group.
    upper, group : ndarray of int, shape (n,)
    behind : (Behind, Behind)
        The least and the greatest of what lies behind each.
    """
    low, high, cover = _ends_of_xyz(quick, uppers, ends_of, upper, group, behind)
    white = quick.viewpoints.scenes[0].white
    total = sum(wish.weight for wish in wishes)
    n, grounds = low.shape[:2]
    covers = np.repeat(cover[0], grounds), np.repeat(cover[1], grounds)
    flat = low.reshape(-1, 3), high.reshape(-1, 3)
    out = np.zeros((n, grounds))
    for wish in wishes:
        least = _least(wish, *flat, covers, white)
        out += wish.weight / total * least.reshape(n, grounds)
    return np.where(np.isfinite(out), out - _ROUNDING, -np.inf)


def _ends_of_xyz(
    quick: Screen,
    uppers: Uppers,
    ends_of: Ends,
    upper: Indices,
    group: Indices,
    behind: tuple[Behind, Behind],
) -> tuple[Array, Array, tuple[Array, Array]]:
    """Least and greatest XYZ (n, S, 3) in the main light, and of the contrast ratio (n,)."""
    weighed = quick.weighed.only([0, -1])
    columns = np.tile(weighed.columns, 2)
    whose = np.concatenate([weighed.whose, weighed.whose + 2])
    found = [
        xyz(
            quick.tables, uppers, lowers, upper, group, held, weighed.grounds, weighed.bare,
            columns, whose, _signed(weighed.of_diffuse), _signed(weighed.of_around),
            _signed(weighed.of_pairs),
        )  # fmt: skip
        for lowers, held in ((ends_of.least, behind[0]), (ends_of.most, behind[1]))
    ]
    least, most = found
    # weights below nought take away most where there is most light
    low = least[:, :, :2] - most[:, :, 2:]
    high = most[:, :, :2] - least[:, :, 2:]
    Y_low, Y_high = np.maximum(low[:, -2:, 1, 1], 0.0), high[:, -2:, 1, 1]
    with np.errstate(divide="ignore", invalid="ignore"):
        cover = Y_low[:, 0] / Y_high[:, 1], np.where(Y_low[:, 1] > 0, Y_high[:, 0] / Y_low[:, 1], 1)
    return low[:, :-2, 0], high[:, :-2, 0], cover


def _signed(weights: Array) -> Array:
    """Of weights the part above nought, then the size of the part below."""
    return np.concatenate([np.maximum(weights, 0.0), np.maximum(-weights, 0.0)])


def _least(
    wish: Wish, low: Array, high: Array, cover: tuple[Array, Array], white: Array
) -> Array:
    """A wish's least loss, (n,)."""
    if wish.kind == "most opaque":
        return np.asarray(100.0 * (1.0 - np.minimum(cover[1], 1.0)))
    if wish.kind == "most sheer":
        return np.asarray(100.0 * cover[0])
    dark, light = lab_box(low, high, white)
    if wish.kind == "brightest":
        return np.asarray(100.0 - light[:, 0])
    if wish.kind == "deepest":
        return np.asarray(dark[:, 0])
    return least_ciede2000(target_in(wish, [white]), dark, light)


def lab_box(low: Array, high: Array, white: Array) -> tuple[Array, Array]:
    """Least and greatest Lab (n, 3) of XYZ between ``low`` and ``high`` (n, 3); ``white`` (3,).

    Examples
    --------
    >>> low, high = np.array([[20.0, 20.0, 20.0]]), np.array([[21.0, 20.0, 20.0]])
    >>> box = lab_box(low, high, np.array([95.05, 100.0, 108.9]))
    >>> [round(float(side[0, 0]), 2) for side in box]
    [51.84, 51.84]
    """
    # L* alone tells f: all three as if each were Y
    def f(XYZ: Array) -> Array:
        ratio = np.maximum(XYZ, 0.0) / white
        return np.asarray(
            np.stack([(lab_from_xyz(ratio[:, k : k + 1] * np.ones(3), np.ones(3))[:, 0] + 16) / 116
                      for k in range(3)], axis=1)  # fmt: skip
        )

    one, two = f(low), f(high)
    return (
        np.stack([116 * one[:, 1] - 16, 500 * (one[:, 0] - two[:, 1]),
                  200 * (one[:, 1] - two[:, 2])], axis=1),
        np.stack([116 * two[:, 1] - 16, 500 * (two[:, 0] - one[:, 1]),
                  200 * (two[:, 1] - one[:, 2])], axis=1),
    )  # fmt: skip


def least_ciede2000(Lab: Array, low: Array, high: Array) -> Array:
    """No more than CIEDE2000 from ``Lab`` (3,) to any colour of the boxes ``low`` to ``high``
    (n, 3); see the head of this module for why.

    Examples
    --------
    >>> box = np.array([[40.0, 10.0, 10.0]]), np.array([[45.0, 12.0, 12.0]])
    >>> bool(least_ciede2000(np.array([42.0, 11.0, 11.0]), *box)[0] == 0.0)
    True
    >>> bool(5.0 < least_ciede2000(np.array([52.0, 11.0, 11.0]), *box)[0] < 7.0)
    True
    """
    gap = np.maximum(np.maximum(low - Lab, Lab - high), 0.0)
    C1 = float(np.hypot(Lab[1], Lab[2]))
    furthest = np.maximum(np.abs(low[:, 1:]), np.abs(high[:, 1:]))
    nearest = np.where((low[:, 1:] <= 0) & (high[:, 1:] >= 0), 0.0,
                       np.minimum(np.abs(low[:, 1:]), np.abs(high[:, 1:])))  # fmt: skip
    C_most = 0.5 * (C1 + np.hypot(*furthest.T))
    C_least = 0.5 * (C1 + np.hypot(*nearest.T))
    G_least, G_most = (0.5 * (1.0 - _seventh(C)) for C in (C_most, C_least))
    stretched = 0.5 * (
        np.hypot((1.0 + G_most) * Lab[1], Lab[2])
        + np.hypot((1.0 + G_most) * furthest[:, 0], furthest[:, 1])
    )
    SC = 1.0 + 0.045 * stretched
    off = np.maximum(np.abs(0.5 * (Lab[0] + low[:, 0]) - 50.0),
                     np.abs(0.5 * (Lab[0] + high[:, 0]) - 50.0))  # fmt: skip
    SL = 1.0 + 0.015 * off**2 / np.sqrt(20.0 + off**2)
    turned = 1.0 - 0.5 * _rotation(Lab, low, high, G_least, G_most, stretched)
    flat = ((1.0 + G_least) * gap[:, 1]) ** 2 + gap[:, 2] ** 2
    return np.asarray(np.sqrt((gap[:, 0] / SL) ** 2 + turned * flat / SC**2))


def _seventh(C: Array) -> Array:
    return np.asarray(np.sqrt(C**7 / (C**7 + 25.0**7)))


def _rotation(
    Lab: Array, low: Array, high: Array, G_least: Array, G_most: Array, C: Array
) -> Array:
    """At least |RT|, for any colour of the box: 0 to 2 sin 60 degrees."""
    # a' of the box and of the colour under any G: hues from the four corners of what remains
    corners = []
    for a in (np.minimum((1 + G_least) * low[:, 1], (1 + G_most) * low[:, 1]),
              np.maximum((1 + G_least) * high[:, 1], (1 + G_most) * high[:, 1])):  # fmt: skip
        corners += [np.arctan2(b, a) for b in (low[:, 2], high[:, 2])]
    round_zero = (low[:, 1] <= 0) & (high[:, 1] >= 0) & (low[:, 2] <= 0) & (high[:, 2] >= 0)
    own = [np.arctan2(Lab[2], (1 + G) * Lab[1]) for G in (G_least, G_most)]
    # the mean hue lies within a quarter turn of either, and between them: the corners, told from
    # the colour's own hue, give its range
    middle = own[0]
    turns = np.stack([(c - middle + np.pi) % (2 * np.pi) - np.pi for c in corners])
    wobble = np.abs((own[1] - middle + np.pi) % (2 * np.pi) - np.pi)
    least, most = 0.5 * turns.min(axis=0) - wobble, 0.5 * turns.max(axis=0) + wobble
    # across the far side of the axis, or round it, any mean hue may come out
    anything = round_zero | (turns.max(axis=0) - turns.min(axis=0) >= np.pi) | (
        np.abs(turns).max(axis=0) + wobble >= np.pi
    )  # fmt: skip
    blue = np.radians(275.0)
    # how far from 275 degrees, at least
    towards = (blue - middle + np.pi) % (2 * np.pi) - np.pi
    off = np.maximum(np.maximum(least - towards, towards - most), 0.0)
    # the range may reach 275 degrees the other way round
    other = towards - np.sign(towards) * 2 * np.pi
    off = np.minimum(off, np.maximum(np.maximum(least - other, other - most), 0.0))
    off = np.where(anything | (np.hypot(Lab[1], Lab[2]) < 1e-9), 0.0, np.degrees(off))
    theta = np.radians(30.0) * np.exp(-((off / 25.0) ** 2))
    return np.asarray(2.0 * _seventh(C) * np.sin(2.0 * theta))
