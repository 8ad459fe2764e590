"""What was seen of a cloth, as numbers with their uncertainty, ready to be fitted.

Knows that a camera, an eye or an instrument is a set of channels over wavelength; knows nothing of
how a cloth makes colour. Covariances are of standard uncertainties.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weavecolor.colour.lights import light_spectrum
from weavecolor.colour.screen import camera_channels
from weavecolor.colour.spectra import BANDS, Spectrum, frozen
from weavecolor.errors import InputError
from weavecolor.measure.swatchpair import MeasuredColour, SwatchPair, lab_of
from weavecolor.optics.stack import FACES
from weavecolor.scene.backings import PAPER, Backing
from weavecolor.scene.places import PHOTO_SCENE, scene
from weavecolor.scene.scene import Scene

Array = NDArray[np.float64]

#: The optics' own error, a share of each value: radiance factors come within 1 to 2 % of path
#: tracing; taken as 1 % for each value seen, for it is partly common to all.
MODEL_SHARE = 0.01
#: A frayed thread is lit and shaded like no flat thing: its lightness as a whole is uncertain by
#: this share, its hue is not. Assumed, not sourced.
THREAD_SHADE = 0.12
#: How far a lamp or window stands from where it is told to be, degrees from the cloth's normal: one
#: standard deviation. Assumed: it is told by eye.
LAMP_DEG = 3.0
#: Wavelengths along which errors of a spectrum's neighbouring bands go together, nm. Assumed.
SPECTRUM_TOGETHER = 40.0
#: The mean of 41 bands of one value misses it by less than this.
ROUNDING = 1e-9


@dataclass(frozen=True, eq=False)
class Seen:
    """One layer of the cloth seen over a backing.

    ``channels`` (n, 41) weigh reflected light by wavelength, before the light's own spectrum;
    ``value`` (n,) is relative to a perfect white in the same light, ``covariance`` (n, n).
    ``grain_deg`` and ``face`` as in :class:`weavecolor.optics.stack.Layer`. ``paper_error`` is the
    relative standard uncertainty of the white that photographs were scaled by: it is common to
    all of them, to the backings as well, and not part of ``covariance``. ``light_error`` is the
    standard uncertainty of the share of directional light in ``scene``.
    """

    name: str
    backing: Backing
    scene: Scene
    channels: Array
    value: Array
    covariance: Array
    grain_deg: float = 0.0
    face: str = "face"
    paper_error: float = 0.0
    light_error: float = 0.0


@dataclass(frozen=True, eq=False)
class Thread:
    """Bare thread of one system: the mean over the ``grounds`` it was seen on.

    ``channels`` and the rest as in :class:`Seen`, in the diffuse light of spectrum ``light``.
    ``opaque``: a hank or a twist thick enough that nothing shows through.
    """

    name: str
    system: str
    channels: Array
    light: Spectrum
    value: Array
    covariance: Array
    grounds: tuple[float, ...]
    opaque: bool


@dataclass(frozen=True)
class Known:
    """A number about the construction. ``what``: "open share" (0-1), "weight" (g/m2), "warp tex",
    "weft tex"; ``uncertainty`` is standard and in the same unit, > 0."""

    what: str
    value: float
    uncertainty: float

    def __post_init__(self) -> None:
        if self.what not in KNOWN:
            raise InputError(f"{self.what!r} is not what a fit can use; use {', '.join(KNOWN)}")
        if not (np.isfinite([self.value, self.uncertainty]).all() and self.uncertainty > 0):
            raise InputError("needs a number and an uncertainty above 0", field=self.what)
        if self.value < 0 or (self.what == "open share" and self.value > 1):
            raise InputError("a share is 0 to 1, a weight or a yarn count above 0", field=self.what)


KNOWN = ("open share", "weight", "warp tex", "weft tex")


def moved_lamp(zenith_deg: float, off: float) -> float:
    """Where a lamp in front of the cloth stands, ``off`` :data:`LAMP_DEG` farther from its normal
    than it is told to."""
    return float(np.clip(zenith_deg + LAMP_DEG * off, 0.0, 85.0)) if off else zenith_deg


def with_lamp(place: Scene, off: float) -> Scene:
    """``place`` with its lamps where :func:`moved_lamp` puts them."""
    if not off:
        return place
    lights = [replace(x, zenith_deg=moved_lamp(x.zenith_deg, off)) for x in place.lights]
    return replace(place, lights=tuple(lights))


def seen_colour(
    name: str,
    value: ArrayLike,
    covariance: ArrayLike,
    backing: Backing,
    *,
    grain_deg: float = 0.0,
    face: str = "face",
    light: Scene | str = PHOTO_SCENE,
    paper_error: float = 0.0,
    light_error: float = 0.08,
) -> Seen:
    """The cloth's colour as read off a photograph.

    Parameters
    ----------
    name : str
        What it is called in reports and complaints.
    value : array, shape (3,)
        Linear sRGB.
    covariance : array, shape (3,) or (3, 3)
        Standard uncertainties, above 0, or covariance.
    backing : Backing
    grain_deg, face
        As in :class:`weavecolor.optics.stack.Layer`.
    light : Scene or str
        The scene it was seen in, by the viewer of that scene.
    paper_error, light_error : float
        As in :class:`Seen`.

    Raises InputError for values that are no reflectance, or light from behind the cloth, which is
    not fitted.
    """
    return _seen(name, camera_channels(), value, covariance, backing, grain_deg, face, light,
                 paper_error, light_error)  # fmt: skip


def seen_spectrum(
    name: str,
    values: ArrayLike,
    uncertainty: float,
    backing: Backing,
    *,
    grain_deg: float = 0.0,
    face: str = "face",
    light: Scene | str = "overcast",
    light_error: float = 0.0,
) -> Seen:
    """A reflectance ``values`` (41,) measured by an instrument to +- ``uncertainty`` (reflectance,
    0-1).

    ``name``, ``backing``, ``grain_deg``, ``face`` and ``light_error``, and what is refused, as for
    :func:`seen_colour`. ``light``: a scene with the instrument's geometry; "overcast" is diffuse
    light seen straight on (d:0), "d:8" and "45:0" are what instruments have. Neighbouring bands are
    taken to err together over 40 nm, so that 41 readings do not count as 41 witnesses.
    """
    return _seen(name, np.eye(BANDS), values, _together(uncertainty), backing, grain_deg, face,
                 light, 0.0, light_error)  # fmt: skip


def check_grounds(seen: Sequence[Seen], uncertainty: float) -> None:
    """Refuse spectra whose two grounds, or readings over them, are exchanged or one.

    ``seen``: over the white first; ``uncertainty``: of one reading. Raises InputError where the
    white ground is no white, the black one is not much darker, or cloth reads darker over white or
    alike to the last digit.
    """
    whites = [float(s.backing.reflectance.mean()) for s in seen if s.backing.name == "white"]
    blacks = [float(s.backing.reflectance.mean()) for s in seen if s.backing.name == "black"]
    if whites and whites[0] < 0.4 - ROUNDING:
        raise InputError(
            f"a white ground reflects 0.4 to 1, got {whites[0]:.2g}; give the tile's or the "
            "paper's own reflectance", field="--white-ground",
        )  # fmt: skip
    if blacks and blacks[0] > 0.2 + ROUNDING:
        raise InputError(
            f"a black ground reflects 0 to 0.2, got {blacks[0]:.2g}; give the trap's or the card's "
            "own reflectance, and the white one with --white-ground", field="--black-ground",
        )  # fmt: skip
    if whites and blacks:
        over = {s.backing.name: s.value for s in seen}
        if np.array_equal(over["white"], over["black"]):  # no instrument reads so exactly
            raise InputError(
                "the same spectrum is given for over white and over black",
                field="--over-white and --over-black",
            )
        if float((over["white"] - over["black"]).mean()) < -2.0 * uncertainty:
            raise InputError(
                "the cloth reads darker over white than over black: the two names are exchanged",
                field="--over-white and --over-black",
            )


def _together(uncertainty: float) -> Array:
    nm = np.arange(BANDS) * 10.0
    near = np.exp(-0.5 * ((nm[:, None] - nm[None, :]) / SPECTRUM_TOGETHER) ** 2)
    return float(uncertainty) ** 2 * (0.9 * near + 0.1 * np.eye(BANDS))


def _seen(
    name: str,
    channels: Array,
    value: ArrayLike,
    covariance: ArrayLike,
    backing: Backing,
    grain_deg: float,
    face: str,
    light: Scene | str,
    paper_error: float,
    light_error: float,
) -> Seen:
    place = scene(light) if isinstance(light, str) else light
    if any(x.zenith_deg > 90 for x in place.lights):
        raise InputError("a fit uses light in front of the cloth only", field=name)
    if face not in FACES:
        raise InputError(f"{face!r} is not a side of cloth; use face or back", field=name)
    mean, spread = checked(name, value, covariance, len(channels))
    spread = spread + np.diag((MODEL_SHARE * np.maximum(mean, 0.02)) ** 2)
    return Seen(name, backing, place, channels, mean, spread, float(grain_deg) % 360.0, face,
                float(paper_error), float(light_error))  # fmt: skip


def checked(
    name: str, value: ArrayLike, covariance: ArrayLike, count: int
) -> tuple[Array, Array]:
    """A reading ``value`` (``count``,) and its ``covariance`` (count, count), given as that or as
    standard uncertainties (count,).

    Raises InputError at ``name`` for other shapes, numbers that are not finite, values outside -0.2
    to 2 and uncertainties not above 0.
    """
    mean = np.asarray(value, dtype=np.float64)
    spread = np.asarray(covariance, dtype=np.float64)
    if spread.shape == (count,):
        spread = np.diag(spread**2)
    if mean.shape != (count,) or spread.shape != (count, count):
        raise InputError(f"needs {count} values with their uncertainties", field=name)
    if not (np.isfinite(mean).all() and np.isfinite(spread).all()):
        raise InputError("holds values that are not numbers", field=name)
    if (mean < -0.2).any() or (mean > 2.0).any():
        raise InputError("a reflectance lies within 0 and 1", field=name)
    if (np.diag(spread) <= 0).any():
        raise InputError("needs uncertainties above 0", field=name)
    return mean, spread


def thread_colour(
    system: str,
    value: ArrayLike,
    covariance: ArrayLike,
    *,
    opaque: bool = False,
    shade: float = THREAD_SHADE,
    grounds: Sequence[float] = (0.87, 0.04),
    light: str = "daylight",
) -> Thread:
    """Colour of bare ``system`` ("warp" or "weft") thread, ``value`` as linear sRGB (3,).

    ``covariance``: as for :func:`seen_colour`; ``opaque``: seen as a twist or hank. Else as loose
    threads, the mean over the ``grounds`` (reflectances). ``shade``: relative standard uncertainty
    of its lightness as a whole; ``light``: any name of ``lights``. Raises InputError for values
    that are no reflectance, no such system, and loose threads without a ground.
    """
    if system not in ("warp", "weft"):
        raise InputError(f"{str(system)[:20]!r} is no yarn system; use warp or weft")
    if not grounds and not opaque:
        raise InputError("loose threads were seen on some ground", field=system)
    mean, spread = checked(f"{system} thread", value, covariance, 3)
    spread = spread + float(shade) ** 2 * np.outer(mean, mean) + 1e-6 * np.eye(3)
    return Thread(f"{system} thread", system, camera_channels(), frozen(light_spectrum(light)),
                  mean, spread, tuple(float(g) for g in grounds), opaque)  # fmt: skip


def thread_spectrum(system: str, values: ArrayLike, uncertainty: float = 0.01) -> Thread:
    """Reflectance ``values`` (41,) of an opaque hank or winding of ``system`` yarn by an
    instrument, to +- ``uncertainty`` (reflectance, 0-1).

    Raises InputError for values that are no reflectance, and no such system.
    """
    if system not in ("warp", "weft"):
        raise InputError(f"{str(system)[:20]!r} is no yarn system; use warp or weft")
    name = f"{system} thread"
    mean, spread = checked(name, values, _together(uncertainty), BANDS)
    return Thread(name, system, np.eye(BANDS), frozen(light_spectrum("daylight")), mean, spread,
                  (), True)  # fmt: skip


def thread_seen(
    system: str, colour: MeasuredColour, *, grounds: Sequence[float] = (0.87, 0.04)
) -> Thread:
    """As :func:`thread_colour` of ``system`` over ``grounds``, with the ``colour`` from
    ``swatchpair.fringe_colour``."""
    return thread_colour(system, colour.linear, colour.uncertainty, grounds=grounds)


def pair_seen(
    pair: SwatchPair,
    *,
    grain_deg: float = 0.0,
    light: Scene | str = PHOTO_SCENE,
    light_error: float = 0.08,
) -> list[Seen]:
    """The ``pair`` of photographs, over white paper and over black card, as two observations;
    ``grain_deg``, ``light`` and ``light_error`` as for :func:`seen_colour`."""
    wide = pair.paper_uncertainty / pair.paper
    grounds = (("over white", pair.over_white, pair.paper),
               ("over black", pair.over_black, pair.card_light))  # fmt: skip
    return [
        seen_colour(
            name,
            colour.linear,
            own_uncertainty(colour, wide),
            Backing(name.split()[-1], frozen(np.full(BANDS, ground)), PAPER),
            grain_deg=grain_deg,
            light=light,
            paper_error=wide,
            light_error=light_error,
        )
        for name, colour, ground in grounds
    ]


def own_uncertainty(colour: MeasuredColour, common: float) -> Array:
    """Standard uncertainty (3,) of a photographed colour without the relative part ``common`` to
    all colours scaled by the same paper."""
    own = colour.uncertainty**2 - (common * colour.linear) ** 2
    return np.sqrt(np.maximum(own, (0.002 + 0.003 * np.abs(colour.linear)) ** 2))


def colour_of(value: ArrayLike) -> Array:
    """Lab relative to D65 of linear sRGB, for telling a residual in CIEDE2000."""
    return lab_of(np.asarray(value))
