"""A sewn sample, or a piece laid up, against what was foretold of it; the cloth corrected by it.

Knows a fitted cloth with what its fit left open, and stacks of it; knows nothing of pictures. What
the fit left open is the knowledge beforehand, the sample's colour with its own errors is the datum,
and the optics are made linear between them, anew at each step for the dyes (A. Tarantola, Inverse
Problem Theory, 2005, ch. 3). A reading that the cloth cannot have corrects nothing: it says that
something else is not as told.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtri

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.colour.screen import camera_channels, channels_in_light
from weavecolor.colour.spectra import BANDS, frozen
from weavecolor.errors import InputError
from weavecolor.measure import parameters as p
from weavecolor.measure.fit import Fit, root
from weavecolor.measure.fit_problem import directional, mixture
from weavecolor.measure.fit_report import Quantity, Residual, told
from weavecolor.measure.observations import (
    MODEL_SHARE,
    checked,
    moved_lamp,
    own_uncertainty,
)
from weavecolor.measure.swatchpair import OneColour, lab_of
from weavecolor.optics.appearance import appearance
from weavecolor.optics.dye import absorption
from weavecolor.optics.fitted import LEAST_WIDTHS, looks_of, places, still_numbers
from weavecolor.optics.stack import MOST_LAYERS, Stack
from weavecolor.optics.uncertainty import HELD
from weavecolor.scene.backings import EITHER, PAPER, Backing, backing
from weavecolor.scene.places import PHOTO_SCENE, scene
from weavecolor.scene.scene import Light, Scene
from weavecolor.textile.cloth import Cloth

Array = NDArray[np.float64]

#: Constructions worked out for the slopes, steps, and the step of a slope in ln of a dye.
_PLACES, _STEPS, _NUDGE = 12, 3, 0.05
#: Of true readings, the share that is taken for a contradiction; and the share within which
#: another explanation counts as one.
_REFUSED, _EXPLAINS = 0.001, 0.05
_DRAWN = 400
#: Relative standard uncertainty of a ground that was only named. Assumed.
NAMED_GROUND = 0.1


@dataclass(frozen=True, eq=False)
class Sample:
    """A stack of one cloth as it was photographed beside white paper.

    ``value`` (3,) is linear sRGB relative to a perfect white in the same light, ``covariance``
    (3, 3) without ``paper_error``, the relative standard uncertainty of the paper's own
    reflectance. ``ground_read``: the backing was read in the same picture, so that it shares that
    error. ``light_error`` as in ``observations.Seen``.
    """

    stack: Stack
    scene: Scene
    value: Array
    covariance: Array
    paper_error: float = 0.03
    ground_read: bool = True
    ground_error: float = 0.0
    light_error: float = 0.08

    @property
    def cloth(self) -> Cloth:
        return self.stack.layers[0].cloth


def sample_seen(
    stack: Stack,
    value: ArrayLike,
    uncertainty: ArrayLike,
    *,
    light: Scene | str = PHOTO_SCENE,
    paper_error: float = 0.03,
    ground_read: bool = True,
    ground_error: float = 0.0,
) -> Sample:
    """A sample's colour as linear sRGB (3,) with standard uncertainties (3,) or covariance.

    Parameters
    ----------
    stack : Stack
        How it lay: layers, all of the one cloth that is to be corrected, and what was behind.
    value, uncertainty : arrays, shape (3,); or of the second (3, 3)
    light : Scene or str
        That it was seen in.
    paper_error : float
        Relative standard uncertainty of the white paper's reflectance.
    ground_read : bool
        Whether the backing's reflectance was read in the same picture.
    ground_error : float
        Relative standard uncertainty of the backing's reflectance beside that.

    Returns
    -------
    Sample
        For :func:`learn`.

    Raises
    ------
    InputError
        For values that are no reflectance, and for layers of several cloths.

    Notes
    -----
    A channel is sum(c R S) / sum(c S) over wavelength: c as a camera of sRGB primaries weighs it, R
    the radiance factor, S the light.

    References
    ----------
    IEC 61966-2-1:1999, sRGB.

    Examples
    --------
    >>> sample_seen(double, [0.3, 0.05, 0.04], [0.01] * 3).paper_error
    0.03
    """
    if any(layer.cloth != stack.layers[0].cloth for layer in stack.layers):
        raise InputError("a sample corrects one cloth, so all its layers are of that cloth",
                         field="stack")  # fmt: skip
    mean, spread = checked("sample", value, uncertainty, 3)
    place = scene(light) if isinstance(light, str) else light
    return Sample(stack, place, mean, spread, float(paper_error), ground_read,
                  float(ground_error))  # fmt: skip


def sample_of(one: OneColour, stack: Stack, light: Scene | str = PHOTO_SCENE) -> Sample:
    """The sample of a photograph (``swatchpair.measure_one``), laid as ``stack`` tells; without
    a backing it lay on the ground that was read, or else on the paper.

    Parameters
    ----------
    one : OneColour
    stack : Stack
    light : Scene or str

    Raises
    ------
    InputError
        As :func:`sample_seen`.
    """
    wide, behind, unsure = one.paper_uncertainty / one.paper, stack.backing, NAMED_GROUND
    read = behind is None
    if behind is None and one.ground is not None:
        behind = Backing("the ground", one.ground.spectrum(), EITHER)
        unsure = float(own_uncertainty(one.ground, wide).mean() / one.ground.linear.mean())
    elif behind is None:
        behind, unsure = Backing("the paper", frozen(np.full(BANDS, one.paper)), PAPER), 0.0
    own = own_uncertainty(one.colour, wide)
    return sample_seen(replace(stack, backing=behind), one.colour.linear, own, light=light,
                       paper_error=wide, ground_read=read, ground_error=unsure)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Lesson:
    """What a sample taught.

    ``fit``: the corrected cloth, as a fit; ``before``: its quantities before; ``seen``,
    ``foretold`` and ``shown`` (after): Lab (3,) of the sample; ``within``: the CIEDE2000 within
    which the reading was foretold, 19 in 20.
    """

    fit: Fit
    before: tuple[Quantity, ...]
    seen: Array
    foretold: Array
    shown: Array
    within: float


def learn(sample: Sample, progress: Callable[[int, int], None] | None = None) -> Lesson:
    """Correct a fitted cloth by a sample of it.

    Parameters
    ----------
    sample : Sample
        See :func:`sample_seen`.
    progress : callable, optional
        Called with constructions worked out and how many there will be.

    Returns
    -------
    Lesson

    Raises
    ------
    InputError
        The cloth's file does not keep what a fit left open; the reading is further off than the
        cloth can be, with what else may not be as told.

    Notes
    -----
    Bayes' rule on the numbers of the fit, linearised: the light of constructions about the cloth
    gives slopes, and what a plane through them misses its doubt. A reading that less than one true
    cloth in a thousand would give corrects nothing.

    References
    ----------
    A. Tarantola, Inverse Problem Theory (2005), ch. 3, from memory.

    Examples
    --------
    >>> learn(sample_seen(double, [0.3, 0.05, 0.04], [0.01] * 3))  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    weavecolor.errors.InputError: ... its file does not keep what a fit left open; ...
    """
    unknowns = p.Unknowns.again(sample.cloth)
    mean, covariance = unknowns.prior_mean(), unknowns.covariance()
    middle, slow, rough = _by_build(sample, unknowns, progress)
    own = rough.covariance + sample.covariance + _by_ground(sample, unknowns)
    own += np.diag((len(sample.stack.layers) * MODEL_SHARE * np.maximum(sample.value, 0.02)) ** 2)
    x = mean.copy()
    for step in range(_STEPS):
        dyed, fast = _by_dye(sample, unknowns, x)
        if not step:
            began = dyed
        slope = np.concatenate([slow, fast], axis=1)
        spread = slope @ covariance @ slope.T + own
        there = middle + slow @ (x - mean)[: p.SLOW] + dyed - began
        if not step:
            _agreed(sample, middle, spread, rough)
            drawn = middle + np.random.default_rng(9).standard_normal((_DRAWN, 3)) @ root(spread).T
        gain = np.linalg.solve(spread, slope @ covariance).T
        x = mean + gain @ (sample.value - there - slope @ (mean - x))
    left = covariance - gain @ slope @ covariance
    left = 0.5 * (left + left.T)
    seen, foretold, shown = map(lab_of, (sample.value, middle, _read(sample, unknowns, x)))
    after = told(unknowns, x, left)
    fit = Fit(
        unknowns.cloth(x), unknowns, x, left,
        (Residual("sample", seen, shown, float(ciede2000(seen, shown))),),
        after.quantities, after.trades, misfit=0.0, determined=0, rounds=_STEPS, converged=True,
        alike=after.alike, looks=looks_of(sample.cloth),
    )  # fmt: skip
    away = ciede2000(np.broadcast_to(foretold, drawn.shape), lab_of(np.maximum(drawn, 1e-4)))
    return Lesson(
        fit, told(unknowns, mean, covariance).quantities, seen, foretold, shown,
        float(np.percentile(away, 95.0)),
    )  # fmt: skip


def _read(
    sample: Sample, unknowns: p.Unknowns, x: Array, stack: Stack | None = None
) -> Array:
    """What would be read (3,) of the sample, or of ``stack`` in its place, were its cloth ``x``."""
    factor, channels = _lit(sample, unknowns.cloth(x), x, stack or sample.stack)
    return np.asarray(channels @ factor)


def _moved(light: Light, lamp: float, off: float) -> Light:
    """``light`` at the place of LAMP ``off``, ``lamp`` times as strong on the cloth."""
    if light.zenith_deg >= 90.0:
        return replace(light, irradiance=lamp * light.irradiance)
    there = replace(light, zenith_deg=moved_lamp(light.zenith_deg, off))
    onto = float(light.on_cloth.sum() / there.on_cloth.sum())
    return replace(there, irradiance=lamp * onto * light.irradiance)


def _lit(sample: Sample, cloth: Cloth, x: Array, pile: Stack) -> tuple[Array, Array]:
    """Radiance factor (41,) of a pile of ``cloth``, and the channels (3, 41) it is read by."""
    lift = float(np.exp(sample.paper_error * x[p.PAPER]))
    lamp, sky, _, _ = mixture(directional(sample.scene), sample.light_error, x[p.LIGHT])
    place = replace(
        sample.scene,
        lights=tuple(_moved(v, lamp, float(x[p.LAMP])) for v in sample.scene.lights),
        diffuse=sky * sample.scene.diffuse,
    )
    behind = pile.backing
    if behind is not None and sample.ground_read:
        behind = replace(behind, reflectance=np.clip(lift * behind.reflectance, 0.0, 1.0))
    pile = replace(
        pile, layers=tuple(replace(layer, cloth=cloth) for layer in pile.layers), backing=behind
    )
    falls = [v.on_cloth for v in place.lights]
    channels = channels_in_light(camera_channels(), sum(falls, place.diffuse))
    return np.asarray(appearance(pile, place).radiance_factor), channels / lift


def _by_build(
    sample: Sample, unknowns: p.Unknowns, progress: Callable[[int, int], None] | None
) -> tuple[Array, Array, _Rough]:
    """The reading (3,), its slopes (3, SLOW) against the slow numbers from a plane through
    constructions worked out, and what no plane follows."""
    mean = unknowns.prior_mean()
    spread = np.sqrt(np.diag(unknowns.covariance())[: p.SLOW])
    width = np.maximum(spread, LEAST_WIDTHS)
    still = still_numbers(sample.cloth, bool(sample.light_error and sample.scene.lights))
    moving = np.setdiff1d(np.arange(p.SLOW), still)
    at = places(mean[: p.SLOW], width, _PLACES)
    at[:, still] = mean[still]
    found = []
    for one in at:
        found.append(_read(sample, unknowns, np.r_[one, mean[p.SLOW :]]))
        if progress is not None:
            progress(len(found), _PLACES)
    read = np.stack(found)
    terms = np.c_[np.ones(_PLACES), (at - mean[: p.SLOW])[:, moving]]
    plane = np.linalg.lstsq(terms, read, rcond=None)[0]
    slopes = np.zeros((3, p.SLOW))
    slopes[:, moving] = plane[1:].T
    free = _PLACES - terms.shape[1]
    # of any cloth that the fit left possible, for the plane is no surer than its own points
    sure = np.linalg.inv(terms.T @ terms)
    among = unknowns.covariance()[np.ix_(moving, moving)]
    once_more = 1.0 + sure[0, 0] + float((sure[1:, 1:] * among).sum())
    return plane[0], slopes, _Rough.of(read - terms @ plane, free, once_more)


@dataclass(frozen=True, eq=False)
class _Rough:
    """What smooth fibre sends to the eye changes abruptly with its build: ``covariance`` (3, 3) of
    readings about a plane, as Student's law with ``free`` degrees of freedom has it."""

    covariance: Array
    free: int

    @classmethod
    def of(cls, missed: Array, free: int, once_more: float) -> _Rough:
        """From misses (n, 3) of single constructions: light off the fibre's face, which no dye
        has coloured and so is alike in all channels, and the rest apart from it."""
        plain = np.full(3, 3.0**-0.5)
        glint = missed @ plain
        rest = missed - np.outer(glint, plain)
        tails = once_more / (free - 2.0)
        off_face = np.outer(plain, plain)
        shared = (glint @ glint) * off_face + 0.5 * (rest**2).sum() * (np.eye(3) - off_face)
        return cls(tails * shared, free)

    def least(self, share: float, off: Array, spread: Array) -> float:
        """How far ``off`` (3,) in units of ``spread`` (3, 3), squared, a ``share`` of true readings
        lie or farther: as many degrees of freedom as that direction owes to what was counted
        (B. L. Welch, Biometrika 34 (1947) 28)."""
        along = np.linalg.solve(spread, off)
        owed = float(along @ self.covariance @ along / max(along @ off, 1e-12))
        return float(3.0 * fdtri(3, self.free / max(owed, 1e-3) ** 2, 1.0 - share))


def _by_ground(sample: Sample, unknowns: p.Unknowns) -> Array:
    """Covariance (3, 3) that the ground's own doubt gives the reading."""
    ground = sample.stack.backing
    if ground is None or not sample.ground_error:
        return np.zeros((3, 3))
    lighter = np.clip((1.0 + sample.ground_error) * ground.reflectance, 0.0, 1.0)
    moved = replace(sample.stack, backing=replace(ground, reflectance=lighter))
    mean = unknowns.prior_mean()
    off = _read(sample, unknowns, mean, moved) - _read(sample, unknowns, mean)
    return np.outer(off, off)


def _by_dye(sample: Sample, unknowns: p.Unknowns, x: Array) -> tuple[Array, Array]:
    """The reading (3,) on the cloth as it was built, dyes, paper and light as in ``x``; slopes
    (3, SIZE - SLOW) against these."""
    base = np.concatenate([unknowns.prior_mean()[: p.SLOW], x[p.SLOW :]])
    cloth = unknowns.cloth(base)
    factor, channels = _lit(sample, cloth, base, sample.stack)
    at, slopes = channels @ factor, []
    for system in ("warp", "weft"):
        yarn = getattr(cloth, system)
        # no band knows of another: all of a yarn's are moved at once
        deeper = replace(yarn, absorption=frozen(np.exp(_NUDGE) * absorption(yarn)))
        moved, _ = _lit(sample, replace(cloth, **{system: deeper}), base, sample.stack)
        slopes.append(channels @ ((moved - factor)[:, None] / _NUDGE * p.BASIS))
    for k in (p.PAPER, p.LIGHT):
        aside = base + np.eye(p.SIZE)[k]
        moved, others = _lit(sample, cloth, aside, sample.stack)
        slopes.append((others @ moved - at)[:, None])
    return at, np.concatenate(slopes, axis=1)


def _agreed(sample: Sample, foretold: Array, spread: Array, rough: _Rough) -> None:
    """Refuse a reading that the cloth cannot have, naming what it might be instead."""

    def within(read: Array, share: float) -> bool:
        off = sample.value - read
        return bool(off @ np.linalg.solve(spread, off) <= rough.least(share, off, spread))

    if within(foretold, _REFUSED):
        return
    unknowns = p.Unknowns.again(sample.cloth)
    mean = unknowns.prior_mean()
    fits = [
        words
        for words, stack in _otherwise(sample.stack)
        if within(_read(sample, unknowns, mean, stack), _EXPLAINS)
    ]
    lighter = float(sample.value @ foretold / (foretold @ foretold))
    if within(lighter * foretold, _EXPLAINS):
        more = "stronger" if lighter > 1.0 else "weaker"
        fits.append(f"the light fell {100 * abs(lighter - 1):.0f} % {more} on it than on the paper")
    delta = float(ciede2000(lab_of(sample.value), lab_of(foretold)))
    why = (
        f"it would look so if {', or if '.join(fits)}: check that"
        if fits
        else "no other grain, side, number of layers or ground explains it: it may be of another "
        "cloth, or another lamp was on; measure the cloth anew"
    )
    raise InputError(
        f"it lies {delta:.0f} CIEDE2000 from what was foretold, further than the cloth's range "
        f"allows, and corrects nothing; {why}", field="sample",
    )  # fmt: skip


def _otherwise(stack: Stack) -> list[tuple[str, Stack]]:
    """How else it may have lain, in words."""
    layers = stack.layers
    out = [
        ("it lay turned a quarter", stack.turned(90.0)),
        ("its other side was out",
         replace(stack, layers=tuple(replace(one, face="back" if one.face == "face" else "face")
                                     for one in layers))),
    ]  # fmt: skip
    if len(layers) < MOST_LAYERS:
        out.append(("it had one layer more", replace(stack, layers=(*layers, layers[-1]))))
    if len(layers) > 1:
        out.append(("it had one layer less", replace(stack, layers=layers[:-1])))
    if stack.backing is not None:
        light = float(stack.backing.reflectance.mean()) > 0.3
        ground = "black" if light else "white"
        out.append((f"it lay on something {ground}", replace(stack, backing=backing(ground))))
    return out


def lesson_words(lesson: Lesson) -> str:
    """The lesson in plain lines."""
    delta = float(ciede2000(lesson.seen, lesson.foretold))
    after = lesson.fit.residuals[0].delta
    lines = [
        f"{lesson.fit.cloth.name}, corrected by a sample",
        f"Seen {delta:.1f} CIEDE2000 from what was foretold; foretold to "
        f"{lesson.within:.1f} {HELD}. Shown now {after:.1f} off.",
        "Learnt (before in brackets):",
    ]
    for now, was in zip(lesson.fit.quantities, lesson.before, strict=True):
        if now.name.endswith("colour"):
            lines.append(
                f"  {now.name}: L* {now.value:.0f} ({was.value:.0f}), within {now.around[1]:.1f} "
                f"({was.around[1]:.1f}) CIEDE2000 {HELD}"
            )
        else:
            low, high = now.around
            lines.append(
                f"  {now.name}: {now.value:.3g} ({was.value:.3g}) {now.unit}".rstrip()
                + f", {low:.2g} to {high:.2g} ({was.around[0]:.2g} to {was.around[1]:.2g})"
                f" {HELD}"
            )
    lines.append("The sample itself decides; what else is made of the cloth is foretold.")
    return "\n".join(lines) + "\n"
