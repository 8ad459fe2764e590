"""White balance and exposure from something neutral in the picture, and the light's unevenness.

Knows pictures in linear light and the reflectance of paper and grey card; knows nothing of cloth.
The light on the table is a smooth function of place, so its logarithm is fitted with a plane or
a quadratic on the bare neutral that is visible; that takes white balance, exposure and the fall of
light out in one step. One light falls off alike in all channels, so what they differ by is held
near nothing where little shows it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weavecolor.errors import InputError

Array = NDArray[np.float64]

#: Reflectance and its standard uncertainty. Plain copying paper lies between 0.82 and 0.92 and is
#: taken as flat over the visible (its brightener lifts the blue in daylight: the uncertainty
#: covers that). Both common practice, no source.
REFERENCES: dict[str, tuple[float, float]] = {
    "white paper": (0.87, 0.025),
    "grey card": (0.18, 0.008),
}


def reference_reflectance(reference: str | float | tuple[float, float]) -> tuple[float, float]:
    """(reflectance, standard uncertainty) of a named neutral, a number, or a pair as it is.

    Examples
    --------
    >>> reference_reflectance(0.9)[0]
    0.9
    """
    if isinstance(reference, str):
        if reference not in REFERENCES:
            raise InputError(
                f"no neutral called {reference!r}; use {' or '.join(REFERENCES)} or a reflectance",
                field="reference",
            )
        return REFERENCES[reference]
    value, error = (reference, 0.01) if isinstance(reference, (int, float)) else reference
    if not (0.02 <= value <= 1.0 and 0.0 <= error < value):
        raise InputError("a neutral's reflectance lies between 0.02 and 1", field="reference")
    return float(value), float(error)


@dataclass(frozen=True, eq=False)
class Illumination:
    """The light on the table as the camera saw it: what a neutral of reflectance 1 would give.

    ``coefficients`` (terms, 3) of the log field in place scaled to -1..1; ``reflectance`` and
    ``reflectance_error`` of the neutral it was fitted on; ``residual`` (3,) the relative standard
    deviation of what the fit leaves on the scale of a tenth of the picture; ``unevenness`` greatest
    over least light within the neutral and the other even grounds, less 1; ``covariance`` (3,
    terms, terms) of the coefficients, by channel.
    """

    coefficients: Array
    order: int
    shape: tuple[int, int]
    reflectance: float
    reflectance_error: float
    residual: Array
    unevenness: float
    covariance: Array

    def error_over(self, rows: ArrayLike, columns: ArrayLike) -> Array:
        """Relative standard uncertainty (3,) of the mean light over pixels, by how far they lie
        from what the light was fitted on."""
        at = _basis(rows, columns, self.shape, self.order).mean(axis=0)
        return np.asarray(np.sqrt(np.einsum("i,kij,j->k", at, self.covariance, at)))

    def field(self) -> NDArray[np.float32]:
        """Camera values of a perfect white over the whole picture, (rows, columns, 3)."""
        y = (2 * (np.arange(self.shape[0], dtype=np.float32) + 0.5) / self.shape[0] - 1)[:, None]
        x = (2 * (np.arange(self.shape[1], dtype=np.float32) + 0.5) / self.shape[1] - 1)[None]
        c = np.zeros((6, 3), dtype=np.float32)
        c[: len(self.coefficients)] = self.coefficients
        out = np.empty((*self.shape, 3), dtype=np.float32)
        for k in range(3):
            # Horner's order keeps it to two passes over the picture
            along_x = c[0, k] + x * (c[1, k] + x * c[3, k])
            along_y = y * (c[2, k] + y * c[5, k])
            np.exp(along_x + along_y + (c[4, k] * y) * x, out=out[..., k])
        return out


def light_cautions(light: Illumination, neutral: NDArray[np.bool_]) -> list[str]:
    """What is wrong with the colour of the light on the neutral, and what it does to colours.

    Paper that the camera saw strongly yellow lay under a lamp, or was taken with the camera set
    for one; paper whose hue changes across the picture lay in light of two colours.

    Examples
    --------
    >>> paper = np.ones((80, 80), bool)
    >>> lamp = np.full((80, 80, 3), [0.6, 0.4, 0.2])
    >>> light_cautions(illumination(lamp, paper), paper)[0][:20]
    'the paper looks yell'
    """
    step = max(1, min(neutral.shape) // 24)
    rows, columns = np.nonzero(neutral[::step, ::step])
    if not rows.size:
        return []
    log = _basis(rows * step, columns * step, light.shape, light.order) @ light.coefficients
    told = []
    warm = float(np.exp(np.median(log[:, 0] - log[:, 2])))
    if warm > LAMP:
        told.append(
            f"the paper looks yellow, with {warm:.1f} times as much red as blue: a lamp was on, or "
            "the camera was set for one. The colours found are those under that lamp, where blues "
            "look greyer and reds brighter than by day; shoot again at a window"
        )
    apart = log - log.mean(axis=1, keepdims=True)
    low, high = np.percentile(apart, [2, 98], axis=0)
    mixed = float(np.expm1((high - low).max()))
    if mixed > MIXED:
        off = np.exp(0.5 * (high - low))
        told.append(
            f"light of two colours falls on the paper, {100 * mixed:.0f} % apart from side to side "
            "(a window and a lamp): a colour between may be wrong by "
            f"{100 * float((off - 1).max()):.0f} % in red or blue; use one light only"
        )
    return told


#: Red over blue of paper beyond which a lamp is told, and a change of hue across it beyond which
#: two lights are. Cameras balance daylight within about a quarter; common practice, no source.
LAMP, MIXED = 1.7, 0.08
#: By how much the fall of one light over half a picture differs between channels: vignetting and
#: light off coloured walls. Standard uncertainty, by judgement, no source.
_APART = 0.02
#: How light falls over half a picture, its logarithm in place, squares and products; and how much
#: more of it a card sends back from one place than another, for it shines towards the window:
#: reflectance. Standard uncertainties, by judgement, no source.
_FALL = np.array([0.15, 0.15, 0.08, 0.08, 0.08])
_SHINE = np.array([0.015, 0.015, 0.007, 0.007, 0.007])


def _basis(rows: ArrayLike, columns: ArrayLike, shape: tuple[int, int], order: int) -> Array:
    y = 2 * (np.asarray(rows) + 0.5) / shape[0] - 1
    x = 2 * (np.asarray(columns) + 0.5) / shape[1] - 1
    y, x = np.broadcast_arrays(y, x)
    terms = [np.ones_like(x)]
    if order >= 1:
        terms += [x, y]
    if order >= 2:
        terms += [x * x, x * y, y * y]
    return np.stack(terms, -1)


def illumination(
    linear: ArrayLike,
    neutral: NDArray[np.bool_],
    reference: str | float | tuple[float, float] = "white paper",
    *,
    even: Sequence[NDArray[np.bool_]] = (),
) -> Illumination:
    """Fit the light from bare neutral.

    Parameters
    ----------
    linear : array (rows, columns, 3)
        Linear light.
    neutral : bool array (rows, columns)
        Pixels that show the bare, unshaded neutral (burnt-out pixels left out).
    reference
        "white paper", "grey card", a reflectance, or (reflectance, uncertainty).
    even : masks, optional
        Other grounds of one unknown colour (bare card, say): they show how the light falls where
        there is no paper, as far as they do not shine; the darker, the less.

    A quadratic is fitted where the neutral surrounds enough of the picture to pin it, else a
    plane, else a constant; the worst extrapolation is thus never a curve. Raises InputError
    where too little neutral is marked, or it is burnt out, black, or no neutral.

    Examples
    --------
    >>> paper = np.ones((80, 80), bool)
    >>> light = illumination(np.full((80, 80, 3), 0.4), paper, 0.8)
    >>> round(light.unevenness, 6)
    0.0
    """
    image = np.asarray(linear)
    value, error = reference_reflectance(reference)
    shape = image.shape[0], image.shape[1]
    seen, rows, columns = _blocks(image, neutral)
    if len(seen) < 12:
        raise InputError("too little bare paper or grey card is in view; show a broad band of it")
    middle = np.median(seen, axis=0)
    if middle.max() >= 0.985:
        raise InputError("the neutral is burnt out; shoot again a little darker, without flash")
    if middle.min() < 0.004:
        raise InputError("the neutral is far too dark; shoot again in more light")
    if middle.max() / middle.min() > 6:
        raise InputError(
            "what is marked as neutral is strongly coloured; mark bare white paper or grey card"
        )
    grounds = [(seen, rows, columns)]
    grounds += [g for g in (_blocks(image, mask) for mask in even) if len(g[0]) >= 12]
    seen, rows, columns = (np.concatenate(part) for part in zip(*grounds, strict=True))
    ground = np.repeat(np.arange(len(grounds)), [len(g[0]) for g in grounds])
    span = (np.ptp(np.percentile([rows, columns], [2, 98], axis=1), axis=0) / shape).min()
    order = 2 if span > 0.6 else 1 if span > 0.2 else 0
    log = np.log(np.maximum(seen, 1e-4) / value)
    basis = _basis(rows, columns, shape, order)
    terms = basis.shape[1]
    # each other ground's own colour is one more unknown per channel, and how it shines some more
    other = ground[:, None] == np.arange(1, len(grounds))
    basis = np.concatenate(
        [basis, other, *(basis[:, 1:] * one[:, None] for one in other.T)], axis=1
    )
    level = [float(np.median(g[0])) for g in grounds]
    shines = [_SHINE[: terms - 1] * level[0] / (value * own) for own in level[1:]]
    no_idea = np.full(len(grounds), np.inf)  # of the level, nor of each other ground's
    sure = np.concatenate([no_idea[:1], _FALL[: terms - 1], no_idea[1:], *shines])
    keep = np.ones(rows.size, dtype=bool)
    noise = np.full((rows.size, 3), 0.02)  # to begin with; of a dark ground more than of paper
    cell = _cells(rows, columns, shape)
    for _ in range(4):
        fit, covariance = _fitted(basis, log, noise, keep, terms, cell, sure)
        rest = log - basis @ fit
        for k in range(len(grounds)):
            own = rest[keep & (ground == k)]
            if not len(own):
                continue  # all of it was shaded: it tells nothing
            noise[ground == k] = 1.4826 * np.median(np.abs(own - np.median(own, axis=0)), axis=0)
        keep = np.asarray((np.abs(rest) < 3.0 * noise + 2e-3).all(axis=1))
        if keep[ground == 0].sum() < 10:
            raise InputError("the neutral is too patchy to fit the light; mark an even part of it")
    smooth = _smooth_residual(rest[keep], rows[keep], columns[keep], shape)
    level = (basis[:, :terms] @ fit[:terms])[keep].mean(axis=1)
    uneven = float(np.exp(np.ptp(np.percentile(level, [1, 99]))) - 1)
    if uneven > 1.5:
        raise InputError(
            "the light falls off too much across the paper; turn the table so that the window "
            "lights it evenly, and shoot again"
        )
    coefficients = np.asarray(fit[:terms], dtype=np.float64)
    return Illumination(
        coefficients, order, shape, value, error, smooth, uneven, covariance[:, :terms, :terms]
    )


def _fitted(
    basis: Array,
    log: Array,
    noise: Array,
    keep: NDArray[np.bool_],
    terms: int,
    cell: NDArray[np.intp],
    sure: Array,
) -> tuple[Array, Array]:
    """Coefficients (n, 3) of the log of light, (b, 3), by the blocks that are to ``keep``, and
    their covariance (3, n, n). What is known of each beforehand is ``sure``, (n,), a standard
    uncertainty about nought.

    All channels together tell the fall of light, the first ``terms`` after the constant; by how
    much one channel's differs is known beforehand to :data:`_APART`. Neighbouring blocks err alike:
    the covariance is by ``cell`` (b,), as K.-Y. Liang and S. L. Zeger, Biometrika 73 (1986) 13 have
    it.
    """
    weight = keep / ((noise**2).mean(axis=1) + 1e-6)
    grey = log.mean(axis=1, keepdims=True)
    # so many blocks err as one
    per_cell = keep.sum() / max(len(np.unique(cell[keep])), 1)
    before = per_cell / sure**2
    whole = (basis.T * weight) @ basis + np.diag(before + 1e-9 * weight.sum())
    hold = np.zeros(basis.shape[1])
    hold[1:terms] = per_cell / _APART**2
    held = whole + np.diag(hold)
    pull = (basis.T * weight) @ (log - grey)
    common = np.linalg.solve(whole, (basis.T * weight) @ grey)
    fit = common + np.linalg.solve(held, pull)
    rest = (log - basis @ fit) * weight[:, None]
    score = np.zeros((cell.max() + 1, 3, basis.shape[1]))
    np.add.at(score, cell, rest[:, :, None] * basis[:, None, :])
    shared, own = score.mean(axis=1, keepdims=True), score - score.mean(axis=1, keepdims=True)
    met = np.einsum("cki,ckj->kij", shared, shared) + np.diag(per_cell * before)
    apart = np.einsum("cki,ckj->kij", own, own) + np.diag(per_cell * hold)
    one, other = np.linalg.inv(whole), np.linalg.inv(held)
    # few cells tell little of how they differ: blocks that err each by itself are counted besides
    each = one / 3.0 + 2.0 / 3.0 * other
    return fit, np.asarray(each + one @ met @ one + other @ apart @ other)


def _blocks(image: Array, mask: NDArray[np.bool_]) -> tuple[Array, Array, Array]:
    """Mean colours (n, 3) and middles of the blocks that lie wholly in a mask: a hundred along
    the longer side, so that the logarithm is taken of means and not of noise."""
    step = max(1, max(mask.shape) // 100)
    h, w = mask.shape[0] // step, mask.shape[1] // step
    if not (h and w):
        return np.empty((0, 3)), np.empty(0), np.empty(0)
    whole = mask[: h * step, : w * step].reshape(h, step, w, step).mean((1, 3)) > 0.98
    means = image[: h * step, : w * step].reshape(h, step, w, step, 3).mean((1, 3), dtype=float)
    row, column = np.nonzero(whole)
    return means[whole], (row + 0.5) * step - 0.5, (column + 0.5) * step - 0.5


def _cells(rows: Array, columns: Array, shape: tuple[int, int]) -> NDArray[np.intp]:
    """The tenth by tenth of the picture that each place lies in."""
    return ((rows * 10 // shape[0]) * 10 + columns * 10 // shape[1]).astype(np.intp)


def _smooth_residual(rest: Array, rows: Array, columns: Array, shape: tuple[int, int]) -> Array:
    """What the fit leaves at the scale of a tenth of the picture: shadows, not pixel noise."""
    cell = _cells(rows, columns, shape)
    count = np.bincount(cell, minlength=100)
    means = np.stack(
        [np.bincount(cell, weights=rest[:, k], minlength=100) / np.maximum(count, 1)
         for k in range(3)], -1
    )[count > 3]
    return means.std(axis=0) if len(means) > 1 else np.full(3, 0.01)


def reflectance_picture(linear: ArrayLike, light: Illumination) -> NDArray[np.float32]:
    """The picture as reflectance (rows, columns, 3): white balance, exposure and light removed."""
    image = np.asarray(linear)
    if image.shape[:2] != light.shape:
        raise InputError("the light was fitted on a picture of another size")
    return (image / light.field()).astype(np.float32)
