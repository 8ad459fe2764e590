"""Reflectance, transmittance and opacity of a swatch seen over white paper and over black card.

Knows Kubelka's black and white pair (through ``kubelka``) and photographs in linear light; knows
nothing of weaves. Each screen channel is taken as one wide band, which is what a telephone can
give: the spectrum recovered from a colour is one of many with that colour.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weavecolor.colour.colorimetry import (
    ciede2000,
    daylight_white,
    lab_from_xyz,
    spectrum_from_srgb,
)
from weavecolor.colour.screen import encoded, space
from weavecolor.colour.spectra import Spectrum
from weavecolor.errors import InputError
from weavecolor.measure.neutral import (
    Illumination,
    illumination,
    light_cautions,
    reflectance_picture,
)
from weavecolor.measure.regions import Box, Region, box_region, find_regions
from weavecolor.optics.kubelka import from_black_white, over

Array = NDArray[np.float64]

#: White backing of the contrast ratio (TAPPI T 425: 100 R0 / R0.89).
CONTRAST_WHITE = 0.89
#: Card that sends back more than this share of what the paper does is told as grey.
GREY = 0.13
_DRAWS = 400


@dataclass(frozen=True, eq=False)
class MeasuredColour:
    """A colour as reflectance in linear sRGB (3,), with standard uncertainties.

    ``Lab`` is relative to D65, 2 degree observer; ``uncertainty_de`` is the CIEDE2000 that one
    standard uncertainty of all channels together comes to (median of draws).
    """

    linear: Array
    uncertainty: Array
    Lab: Array
    uncertainty_de: float

    @property
    def srgb(self) -> Array:
        """Screen values 0-1, brought to the nearest in range."""
        return np.clip(encoded(np.clip(self.linear, 0, 1)), 0, 1)

    @property
    def in_srgb(self) -> bool:
        return bool((self.linear > -0.002).all() and (self.linear < 1.01).all())

    def spectrum(self) -> Spectrum:
        """A smooth reflectance (41,) with this colour: one of many that a camera cannot tell."""
        return spectrum_from_srgb(self.srgb)


@dataclass(frozen=True, eq=False)
class SwatchPair:
    """What the pair of pictures says. ``R`` and ``T`` are per linear channel, (3,), 0-1.

    ``opacity_percent`` is 100 Y over black / Y over white of 0.89, both worked out from R and T
    (TAPPI T 425). ``paper`` and ``card`` are the grounds' reflectances. ``regions`` lists, for the
    white and the black picture, what was found or marked, ready to draw.
    """

    over_white: MeasuredColour
    over_black: MeasuredColour
    R: Array
    R_uncertainty: Array
    T: Array
    T_uncertainty: Array
    opacity_percent: float
    opacity_uncertainty: float
    paper: float
    paper_uncertainty: float
    card: MeasuredColour
    light_unevenness: float
    regions: tuple[dict[str, Region], dict[str, Region]]
    cautions: tuple[str, ...]

    @property
    def card_light(self) -> float:
        """Share of the light, as an eye weighs it, that the card throws back."""
        return max(0.0, float(self.card.linear @ space("sRGB").to_xyz[1]))


def lab_of(linear: ArrayLike) -> Array:
    """Lab (..., 3) relative to D65 of reflectance in linear sRGB (..., 3).

    Examples
    --------
    >>> lab_of([1.0, 1.0, 1.0]).round(1).tolist()
    [100.0, 0.0, 0.0]
    """
    XYZ = 100.0 * np.asarray(linear, dtype=np.float64) @ space("sRGB").to_xyz.T
    return np.asarray(lab_from_xyz(np.maximum(XYZ, 0.0), daylight_white("2")))


def measured_colour(linear: ArrayLike, uncertainty: ArrayLike, seed: int = 1) -> MeasuredColour:
    """A :class:`MeasuredColour` of ``linear`` sRGB (3,), with its CIEDE2000 spread drawn, from
    ``seed``, by its standard ``uncertainty``, (3,) or one number.

    Examples
    --------
    >>> measured_colour([0.2, 0.2, 0.2], 0.01).Lab.round(1).tolist()
    [51.8, 0.0, 0.0]
    """
    middle = np.asarray(linear, dtype=np.float64)
    error = np.broadcast_to(np.asarray(uncertainty, dtype=np.float64), (3,)).copy()
    rng = np.random.default_rng(seed)
    draws = middle + error * rng.standard_normal((200, 3))
    Lab = lab_of(middle)
    spread = float(np.median(ciede2000(np.broadcast_to(Lab, (200, 3)), lab_of(draws))))
    return MeasuredColour(middle, error, Lab, spread)


@dataclass(frozen=True, eq=False)
class _Side:
    """One picture made ready: its regions, its reflectance image and the light on it."""

    regions: dict[str, Region]
    picture: NDArray[np.float32]
    light: Illumination
    clipped: NDArray[np.bool_] | None


def measure_pair(
    white: ArrayLike,
    black: ArrayLike | None = None,
    *,
    marked_white: Mapping[str, Box] | None = None,
    marked_black: Mapping[str, Box] | None = None,
    paper: str | float | tuple[float, float] = "white paper",
    same_exposure: bool = False,
) -> SwatchPair:
    """Solve the black and white pair.

    Parameters
    ----------
    white, black : arrays (rows, columns, 3)
        Linear light: the swatch over paper, and over card with a strip of paper in view. Leave
        ``black`` out where one picture shows the swatch across both.
    marked_white, marked_black : mapping of region label to box, optional
        The user's boxes (see ``regions.LABELS``); they replace those found.
    paper
        The paper's reflectance (see ``neutral``).
    same_exposure : bool
        True where both pictures were shot with locked exposure in the same light: the second then
        needs no paper.

    Raises
    ------
    InputError
        A region is not found, the pictures are swapped, the paper is burnt out, the numbers
        cannot be a pair; the line says what to shoot again.
    """
    first = _side(white, marked_white, paper, "over white")
    if black is None:
        second = first
    else:
        lent = first.light if same_exposure else None
        second = _side(black, marked_black, paper, "over black", lent)
    _check_not_swapped(first, second, black is not None)
    for side, label, picture in (
        (first, "swatch over white", "white"),
        (second, "swatch over black", "black"),
        (second, "card", "black"),
    ):
        if label not in side.regions:
            raise InputError(_missing(label, side, black is None),
                             field=f"picture over {picture}")  # fmt: skip
    cautions: list[str] = []
    rw, e_rw = _mean(first, "swatch over white")
    rk, e_rk = _mean(second, "swatch over black")
    card, e_card = _mean(second, "card")
    rg, e_rg = first.light.reflectance, first.light.reflectance_error
    if (rw < rk - 3 * (e_rw + e_rk) - 0.01).any():
        raise InputError(
            "the swatch is darker over white than over black: the pictures or the marked regions "
            "are swapped, or the light changed; shoot both again in the same light"
        )
    if (card > 0.5 * rg).any():
        raise InputError("the black card is too light; use dull black card and shoot it again")
    rng = np.random.default_rng(3)
    scale = 1 + e_rg / rg * rng.standard_normal((_DRAWS, 1))  # paper carries every reflectance
    draw = [
        scale * (m + e * rng.standard_normal((_DRAWS, 3)))
        for m, e in ((rw, e_rw), (rk, e_rk), (card, e_card))
    ]
    R, T = _solve(rw, rk, rg, card)
    Rs, Ts = _solve(draw[0], draw[1], rg * scale, draw[2])
    opacity = _opacity(R, T)
    opacities = _opacity(Rs, Ts)
    if (R + T > 1 + 2 * np.hypot(Rs.std(0), Ts.std(0)) + 0.03).any():
        cautions.append("reflected and passed light add to more than all: check paper and light")
    for side in {id(first): first, id(second): second}.values():
        if "paper" in side.regions:
            cautions += light_cautions(side.light, side.regions["paper"].mask)
        if side.light.unevenness > 0.3:
            cautions.append(
                f"the light on the paper varies by {100 * side.light.unevenness:.0f} %: it was "
                "evened out, but a more even light is surer"
            )
    if (card > GREY * rg).any():
        cautions.append(
            f"the card sends back {100 * float(card.mean()):.0f} % of the light: it is grey, not "
            "black. It was reckoned with as it is, but depth and cover are surer over dull black "
            "card"
        )
    if (e_rw > 0.05).any() or (e_rk > 0.05).any():
        cautions.append("the swatch is uneven in the picture: flatten it, or mark an even part")
    wide = e_rg / rg
    return SwatchPair(
        measured_colour(rw, np.hypot(e_rw, wide * rw)),
        measured_colour(rk, np.hypot(e_rk, wide * rk)),
        R,
        Rs.std(axis=0),
        T,
        Ts.std(axis=0),
        float(opacity),
        float(np.std(opacities)),
        rg,
        e_rg,
        measured_colour(card, np.hypot(e_card, wide * card)),
        max(first.light.unevenness, second.light.unevenness),
        (first.regions, second.regions),
        tuple(dict.fromkeys(cautions)),
    )


@dataclass(frozen=True)
class OneColour:
    """One thing beside white paper: its colour, that of the ground it lay on where that was read,
    the paper's reflectance and its uncertainty, cautions, and where each part was found."""

    colour: MeasuredColour
    ground: MeasuredColour | None
    paper: float
    paper_uncertainty: float
    cautions: tuple[str, ...]
    regions: Mapping[str, Region]


def measure_one(
    picture: ArrayLike,
    marked: Mapping[str, Box] | None = None,
    *,
    paper: str | float | tuple[float, float] = "white paper",
) -> OneColour:
    """The colour of one piece photographed beside white paper.

    Parameters
    ----------
    picture : array (rows, columns, 3)
        Linear light.
    marked : mapping of label to box, optional
        Boxes of "paper", "sample" and "ground", the bare stuff that the sample lies on. A sample
        and black card are found by themselves.
    paper
        The paper's reflectance (see ``neutral``).

    Raises
    ------
    InputError
        No paper or no sample is found, burnt out, or too small.
    """
    boxes = dict(marked or {})
    alien = [label for label in boxes if label not in ("paper", "sample", "ground", "card")]
    if alien:
        raise InputError(f"no region called {alien[0]!r}; use paper, sample, ground", field="mark")
    ground, sample = boxes.pop("ground", None), boxes.pop("sample", None)
    side = _side(picture, boxes, paper, "of the sample")
    shape = side.picture.shape[0], side.picture.shape[1]
    for label, box in (("sample", sample), ("ground", ground)):
        if box is not None:
            side.regions[label] = box_region(label, box, shape)
    names = [n for n in ("sample", "swatch over black", "swatch over white") if n in side.regions]
    if not names:
        raise InputError("no sample is found beside the paper; mark it in the picture",
                         field="sample")  # fmt: skip
    cautions: list[str] = []
    wide = side.light.reflectance_error / side.light.reflectance

    def read(label: str) -> MeasuredColour:
        mean, error = _mean(side, label)
        return measured_colour(mean, np.hypot(error, wide * mean))

    under = "ground" if ground is not None else "card" if names[0] == "swatch over black" else ""
    if "paper" in side.regions:
        cautions += light_cautions(side.light, side.regions["paper"].mask)
    return OneColour(
        read(names[0]),
        read(under) if under in side.regions else None,
        side.light.reflectance,
        side.light.reflectance_error,
        tuple(dict.fromkeys(cautions)),
        side.regions,
    )


def _side(
    picture: ArrayLike,
    marked: Mapping[str, Box] | None,
    paper: str | float | tuple[float, float],
    which: str,
    lent: Illumination | None = None,
) -> _Side:
    image = np.asarray(picture, dtype=np.float32)
    if image.ndim != 3 or image.shape[2] != 3:
        raise InputError("a picture is (rows, columns, 3)", field=f"picture {which}")
    clipped = np.asarray((image > 0.985).any(axis=2))
    try:
        regions = find_regions(image, marked)
        if lent is not None and lent.shape == image.shape[:2]:
            light = lent
        elif "paper" in regions:
            even = [regions["card"].mask] if "card" in regions else []
            light = illumination(image, regions["paper"].mask & ~clipped, paper, even=even)
        else:
            raise InputError(
                "no bare white paper is found; show a strip of it beside the card, or mark it"
            )
    except InputError as error:
        raise error.at(field=f"picture {which}") from None
    return _Side(regions, reflectance_picture(image, light), light, clipped)


def _missing(label: str, side: _Side, alone: bool) -> str:
    """What is wrong where ``label`` is not found, and what would be right."""
    if label == "swatch over black" and "card" not in side.regions:
        where = " in the one picture given" if alone else ""
        return (
            f"no dark card is seen{where}; photograph the swatch on dull black card (grey card of "
            "18 % will do, less surely), with bare card all round it and a strip of white paper "
            "beside it, or mark card and swatch"
        )
    return (
        f"no {label} is found; lay the swatch flat with a broad band of bare paper and bare card "
        "round it, or mark it in the picture"
    )


def _check_not_swapped(first: _Side, second: _Side, two: bool) -> None:
    if not two:
        return
    wrong = "swatch over black" in first.regions and "swatch over white" not in first.regions
    wrong_too = "card" not in second.regions and "swatch over white" in second.regions
    if (wrong and "card" not in second.regions) or ("card" in first.regions and wrong_too):
        raise InputError(
            "the two pictures are swapped: the first shows the black card, the second only paper; "
            "give the one over white paper first"
        )


def _mean(side: _Side, label: str) -> tuple[Array, Array]:
    """Mean reflectance of a region and its standard uncertainty.

    The mean, not the median: an open cloth's mean is what the eye blends. Uncertainty: how block
    means differ within the region, and what the light's fit leaves.
    """
    region = side.regions[label]
    if side.clipped is not None:
        left, top, right, bottom = region.box
        share = float(
            side.clipped[top:bottom, left:right][region.mask[top:bottom, left:right]].mean()
        )
        if share > 0.05:
            raise InputError(
                f"{100 * share:.0f} % of it is burnt out; shoot again a little darker", field=label
            )
    left, top, right, bottom = region.box
    part = side.picture[top:bottom, left:right].astype(np.float64)
    mask = region.mask[top:bottom, left:right]
    if mask.sum() < 50:
        raise InputError("too small to measure; mark a larger box", field=label)
    mean = part[mask].mean(axis=0)
    rows = np.arange(part.shape[0]) * 4 // part.shape[0]
    columns = np.arange(part.shape[1]) * 4 // part.shape[1]
    cell = (rows[:, None] * 4 + columns)[mask]
    count = np.bincount(cell, minlength=16)
    blocks = np.stack(
        [np.bincount(cell, weights=part[mask][:, k], minlength=16) for k in range(3)], -1
    )[count > 12] / count[count > 12][:, None]
    scatter = blocks.std(axis=0) / np.sqrt(max(1, len(blocks) / 4)) if len(blocks) else 0.0
    far = 1.0 if side.light.order else 2.0
    row, column = np.nonzero(mask)  # a seventh of them has the same middle
    placed = side.light.error_over(row[::7] + top, column[::7] + left)
    light = np.hypot(side.light.residual * far + 0.003, placed) * mean
    return mean, np.hypot(np.hypot(scatter, light), 5e-4)


def _solve(rw: Array, rk: Array, rg: Array | float, card: Array) -> tuple[Array, Array]:
    """R and T; measuring error below zero light through is zero light through."""
    lo = np.clip(rk, 1e-4, 0.999)
    hi = np.clip(np.maximum(rw, lo), 1e-4, 0.9995)
    ground = np.clip(np.broadcast_to(rg, lo.shape), 0.05, 0.999)
    dark = np.minimum(np.clip(np.broadcast_to(card, lo.shape), 0.0, 0.9), 0.9 * ground)
    # a swatch darker than the card it lies on lets error make R negative: hold it at zero
    floor = _least_over_black(hi, ground, dark)
    R, T = from_black_white(np.maximum(lo, floor), np.maximum(hi, floor), ground, dark)
    return np.asarray(R), np.asarray(T)


def _least_over_black(hi: Array, ground: Array, dark: Array) -> Array:
    """The reading over black for which R would be exactly nothing."""
    return hi * dark / ground * (1 + 1e-9)


def _opacity(R: Array, T: Array) -> Array:
    # of cloth nearly as clear as air, measuring error makes more than all light go through
    R, T = np.clip(R, 0.0, 1.0), np.clip(T, 0.0, 1.0)
    to_Y = space("sRGB").to_xyz[1]
    return np.asarray(100.0 * (R @ to_Y) / (np.asarray(over(R, T, CONTRAST_WHITE)) @ to_Y))


def fringe_colour(
    white: ArrayLike,
    box_white: Box,
    black: ArrayLike | None = None,
    box_black: Box | None = None,
    *,
    ground_white: float = 0.87,
    ground_black: ArrayLike = 0.04,
) -> MeasuredColour:
    """The pure yarn's colour from a frayed edge, over paper and, better, over card too.

    Parameters
    ----------
    white, black : arrays (rows, columns, 3)
        Reflectance pictures (see ``neutral.reflectance_picture``).
    box_white, box_black : (left, top, right, bottom)
        Round bare threads of one system only; in both pictures the same if one is given.
    ground_white, ground_black : float, or of the black one an array, shape (3,)
        Linear reflectance of what they lie on.

    Pixels lie between ground, shadow and yarn. Those farthest from the ground in a logarithmic
    colour plane where a shadow only moves lightness are taken as yarn; the ground showing through
    pulls the two estimates apart, so they are averaged and half their difference is the
    uncertainty, beside how the yarn's pixels scatter. With one ground only it is a twentieth of the
    yarn's colour and of what it differs from the ground: assumed, for nothing tells how much of the
    ground shows through. Raises InputError where too few threads are told from the ground.
    """
    estimates = [_yarn_in(white, box_white, np.full(3, ground_white))]
    if black is not None:
        ground = np.broadcast_to(np.asarray(ground_black, dtype=np.float64), (3,))
        estimates.append(_yarn_in(black, box_black or box_white, ground))
        middle = 0.5 * (estimates[0][0] + estimates[1][0])
        own = np.maximum(estimates[0][1], estimates[1][1])
        error = np.hypot(0.5 * np.abs(estimates[0][0] - estimates[1][0]), own)
    else:
        middle, error = estimates[0]
        error = np.hypot(error, 0.05 * (np.abs(middle - ground_white) + middle))
    return measured_colour(middle, np.maximum(error, 0.003))


def _yarn_in(picture: ArrayLike, box: Box, ground: Array) -> tuple[Array, Array]:
    image = np.asarray(picture)
    region = box_region("frayed edge", box, (image.shape[0], image.shape[1]))
    values = np.clip(region.values(image), 1e-4, None)
    log, base = np.log(values), np.log(np.maximum(ground, 1e-3))
    shift = log - base
    # a soft shadow greys the paper without turning its hue: count lightness for half
    grey = shift.mean(axis=1, keepdims=True)
    away = np.sqrt(((shift - grey) ** 2).sum(1) + (0.5 * grey[:, 0]) ** 2)
    top = np.percentile(away, 97)
    if top < 0.12:
        raise InputError(
            "no threads are told from the ground in the box; mark bare threads, or lay them on a "
            "ground of another colour",
            field="frayed edge",
        )
    yarn = values[away > 0.75 * top]
    if len(yarn) < 12:
        raise InputError("too few thread pixels; shoot the edge from nearer", field="frayed edge")
    middle = np.median(yarn, axis=0)
    quarter = np.percentile(yarn, [25, 75], axis=0)
    return middle, 0.25 * (quarter[1] - quarter[0])
