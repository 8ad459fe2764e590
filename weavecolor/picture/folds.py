"""Where the cloth of a drape is: normals, layers, what of the sky each point sees.

Knows the forms that cloth is hung in; knows nothing of colour or optics. Every form bends about
the upright axis only. The folds themselves come from ``cutting.fullness``; here they get their
place on the body, their natural unevenness and their shadows. Angles are radians to the
viewer's right.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.cutting.folds import fold_profile
from weavecolor.errors import InputError

Map = NDArray[np.float32]

#: Points across one fold, and the most layers of a fold told apart.
SAMPLES = 256
MOST_FOLDED = 5
_EDGE = 0.045  # width of a pleat's rounded edge over its pitch
_SLOT = 0.5 * np.pi
_MARGIN = 0.055  # ground left on each side, over the picture


@dataclass(frozen=True)
class Form:
    """A form for cloth to hang in.

    ``folds`` as in ``cutting.fullness``; ``fullness`` and ``widths_cm`` (seen across) at top and
    hem; ``bulge`` 0 flat to 1 round; ``pitch_cm`` mean width of a fold at the hem; ``uneven`` 0-1;
    ``swing`` how much crests of the hem hang lower; ``band_cm`` waistband; ``doubled`` cloth
    folded up at the hem, so that it hangs double.
    """

    name: str
    folds: str = "flat"
    fullness: tuple[float, float] = (1.0, 1.0)
    widths_cm: tuple[float, float] = (30.0, 30.0)
    length_cm: float = 40.0
    bulge: float = 0.0
    pitch_cm: float = 6.0
    uneven: float = 0.0
    swing: float = 0.0
    band_cm: float = 0.0
    doubled: bool = False
    relief_cm: float = 0.12


_SKIRT = Form(
    "gathered skirt", "gathered", (3.0, 1.45), (23.0, 50.0), 72.0, 0.97, 6.2, 0.55, 0.16, 3.0
)
FORMS: dict[str, Form] = {
    form.name: form
    for form in (
        Form("cylinder", widths_cm=(16.0, 16.0), length_cm=21.0, bulge=1.0, swing=0.16),
        Form(
            "hanging fold", "gathered", (1.75, 1.5), (44.0, 46.0), 52.0, 0.0, 9.0, 0.6, 0.06
        ),
        Form(
            "knife pleats", "knife", (3.0, 3.0), (40.0, 40.0), 48.0, 0.45, 3.2, swing=0.3,
            relief_cm=0.3,
        ),
        Form(
            "box pleats", "box", (3.0, 3.0), (40.0, 40.0), 48.0, 0.45, 6.4, swing=0.25,
            relief_cm=0.35,
        ),
        Form(
            "pleated skirt", "knife", (3.0, 1.4), (23.0, 44.0), 72.0, 0.97, 4.2, 0.0, 0.1, 3.0,
            relief_cm=0.3,
        ),
        _SKIRT,
        replace(_SKIRT, name="doubled skirt", doubled=True),
    )
}  # fmt: skip


def form_names() -> tuple[str, ...]:
    """Names of the forms, for a list to choose from.

    Examples
    --------
    >>> "gathered skirt" in form_names()
    True
    """
    return tuple(FORMS)


def named_form(name: str, fullness: float | None = None) -> Form:
    """The form of that name, with another fullness at the top (and in proportion at the hem).

    Raises InputError for an unknown name or a fullness outside 1 to 9.

    Examples
    --------
    >>> named_form("gathered skirt", 2.0).fullness
    (2.0, 1.0)
    """
    key = " ".join(str(name).split()).lower()
    if key not in FORMS:
        raise InputError(f"no form called {name!r}; use {', '.join(FORMS)}")
    form = FORMS[key]
    if fullness is None:
        return form
    if not (np.isfinite(fullness) and 1.0 <= fullness <= 9.0):
        raise InputError(f"fullness {fullness!r} will not do; it is 1 (flat) to 9")
    if form.folds == "flat":
        raise InputError(f"a {form.name} has no folds to take in fullness")
    top, hem = form.fullness
    return replace(form, fullness=(fullness, max(1.0, fullness * hem / top)))


@dataclass(frozen=True, eq=False)
class Shape:
    """A form on a picture's pixels, (rows, columns) each.

    ``angle`` of the outermost cloth's normal; ``left``, ``right``: how far the sky is free to
    either side, from straight out; ``sky`` 0-1 share of even light that arrives; ``folded`` 0, 1
    or 2: a single layer, three, five; ``cover`` 0-1 of the pixel; ``across`` and ``down`` 0-1.
    """

    angle: Map
    left: Map
    right: Map
    sky: Map
    folded: NDArray[np.uint8]
    cover: Map
    across: Map
    down: Map


def _horizons(
    x: NDArray[Any], z: NDArray[Any], outline_x: NDArray[Any], outline_z: NDArray[Any]
) -> tuple[NDArray[Any], NDArray[Any]]:
    """Free angle to the left and right of points (x, z) before a periodic outline of pitch 1."""
    ahead = np.concatenate([outline_x + n for n in (-2.0, -1.0, 0.0, 1.0, 2.0)])
    dx = ahead[None, :] - x[:, None]
    dz = np.tile(outline_z, 5)[None, :] - z[:, None]
    angle = np.arctan2(np.abs(dx), dz)
    step = 1.3 / outline_x.size
    right = np.where(dx > step, angle, _SLOT).min(axis=1)
    left = np.where(dx < -step, angle, _SLOT).min(axis=1)
    return np.minimum(left, _SLOT), np.minimum(right, _SLOT)


@lru_cache(maxsize=2048)
def _fold(kind: str, fullness: float, relief: float, view_deg: float) -> NDArray[np.float32]:
    """One fold of pitch 1 as seen from ``view_deg``: normal, left, right, depth, layer code
    (softened: round it), shape (5, SAMPLES), even steps across the view."""
    if kind == "flat" or fullness < 1.0 + 1e-6:
        flat = np.zeros(SAMPLES)
        return np.stack([flat, flat + _SLOT, flat + _SLOT, flat, flat]).astype(np.float32)
    depth = None if kind == "gathered" else relief
    seen = fold_profile(
        kind, fullness, pitch_cm=1.0, depth_cm=depth, view_deg=view_deg, samples=SAMPLES
    )
    straight = fold_profile(kind, fullness, pitch_cm=1.0, depth_cm=depth, samples=96)
    v = np.radians(view_deg)
    normal, z = np.radians(seen.normal_deg), seen.depth.astype(float)
    x = ((seen.x + z * np.sin(v)) / np.cos(v)) % 1.0
    if kind != "gathered":
        normal = _pressed(kind, x, normal)
    some = slice(None, None, 2)
    left, right = (np.repeat(a, 2) for a in _horizons(x[some], z[some], straight.x, straight.depth))
    folded = np.minimum((seen.layers - 1) // 2, (MOST_FOLDED - 1) // 2)
    # softened, so that between two steps of fullness the edge lies between its two places
    soft = np.convolve(np.tile(folded, 3), np.full(17, 1 / 17), "same")[SAMPLES : 2 * SAMPLES]
    return np.stack([normal, left, right, z, soft]).astype(np.float32)


def _pressed(kind: str, x: NDArray[Any], normal: NDArray[Any]) -> NDArray[Any]:
    """A pressed pleat's edges are turned over a small radius, not cut."""
    normal = normal.copy()
    for place, side in [(1.0, 1.0)] if kind == "knife" else [(1.0, 1.0), (0.0, -1.0)]:
        inside = (place - x) * side  # distance in from the edge
        near = (inside >= 0) & (inside < _EDGE)
        normal[near] += side * np.radians(70.0) * (1.0 - inside[near] / _EDGE) ** 2
    return normal


@lru_cache(maxsize=16)
def fold_table(
    kind: str, low: float, high: float, relief: float, views: tuple[float, ...]
) -> tuple[NDArray[Any], NDArray[Any]]:
    """Folds at steps of fullness (n,) and from several sides: (5, n, len(views), SAMPLES)."""
    count = 1 if high - low < 1e-9 else int(np.clip(np.ceil((high - low) / 0.12), 2, 16))
    values = np.linspace(low, high, count)
    rows = [
        np.stack([_fold(kind, round(float(f), 6), relief, v) for v in views], axis=1)
        for f in values
    ]
    return values, np.stack(rows, axis=1)


def _starts(form: Form, folds: int) -> NDArray[Any]:
    """Where folds begin, 0-1 across the form's turn; uneven as hand-set gathers are."""
    random = np.random.default_rng(20)
    size = np.exp(form.uneven * 0.75 * random.standard_normal(folds).clip(-1.6, 1.6))
    return np.concatenate([[0.0], np.cumsum(size) / size.sum()])


@dataclass(frozen=True, eq=False)
class Frame:
    """What all rows of a picture of a form share: cm a pixel, samples across (cm), folds."""

    form: Form
    scale: float
    sub: int
    height: int
    x: NDArray[np.float32]
    starts: NDArray[Any]
    side: NDArray[np.int32]  # of each fold: which view of the table
    table: NDArray[np.float32]  # (5, steps, sides, SAMPLES)

    @property
    def folded(self) -> tuple[int, ...]:
        """Layer codes that may occur."""
        codes = set(np.unique((self.table[4] + 0.5).astype(int)).tolist())
        return tuple(sorted(codes | ({1} if self.form.band_cm else set())))


@lru_cache(maxsize=8)
def frame(form: Form, width: int, height: int) -> Frame:
    """Set a form into a picture of ``height`` x ``width`` pixels."""
    # small pictures of many folds need more samples across a pixel
    sub = 1 if form.folds == "flat" else int(np.clip(np.ceil(1200 / width), 2, 8))
    inner = 1.0 - 2.0 * _MARGIN
    scale = max(form.length_cm / (inner * height), max(form.widths_cm) / (inner * width))
    x = (((np.arange(width * sub) + 0.5) / sub - 0.5 * width) * scale).astype(np.float32)
    # round the body, folds are as many as the hem's width over their pitch
    whole = _whole(form)
    body = whole / form.bulge if form.bulge > 0 else 1.0
    count = 1
    if form.folds != "flat":
        count = max(1, round(form.widths_cm[1] * body / form.pitch_cm))
    starts = _starts(form, count)
    middle = (0.5 * (starts[1:] + starts[:-1]) - 0.5) * 2.0 * whole * (form.bulge > 0)
    views = tuple(float(np.clip(np.round(-np.degrees(m) / 7.5) * 7.5, -75, 75)) for m in middle)
    sides = tuple(sorted(set(views)))
    top, hem = form.fullness
    relief = round(form.relief_cm / form.pitch_cm, 6)
    values, table = fold_table(form.folds, min(top, hem), max(top, hem), relief, sides)
    side = np.array([sides.index(v) for v in views], np.int32)
    return Frame(form, scale, sub, height, x, starts, side, _fine_steps(values, table))


def _whole(form: Form) -> float:
    """Half the angle that the form turns through, radians; 1 where it is flat."""
    return float(np.arcsin(form.bulge)) if form.bulge > 0 else 1.0


def shape(frame: Frame, first: int, last: int) -> Shape:
    """Rows ``first`` to before ``last`` of the picture, ``frame.sub`` samples across a pixel."""
    form, scale, x = frame.form, np.float32(frame.scale), frame.x
    rows = np.arange(first, min(last, frame.height))
    y = ((rows + 0.5 - 0.5 * frame.height) * scale + 0.5 * form.length_cm).astype(np.float32)
    down = np.clip(y / form.length_cm, 0.0, 1.0)[:, None]
    half = _half_width(form, down).astype(np.float32)
    reach = x[None, :] / half
    if form.bulge > 0:
        turn = np.arcsin(np.clip(reach * np.float32(form.bulge), -1.0, 1.0))
        across = np.clip(0.5 + turn * np.float32(0.5 / _whole(form)), 0.0, 1.0)
    else:
        turn, across = np.zeros_like(reach), np.clip(0.5 + 0.5 * reach, 0.0, 1.0)
    if form.folds == "flat":
        folds = _even(across.shape)
    else:
        folds = _folds_at(frame, across, down, y)
    normal, left, right, depth, folded = folds
    angle = normal + turn
    slot = np.float32(_SLOT)
    sky = np.sin(np.clip(right - normal, 0.0, slot))
    sky += np.sin(np.clip(left + normal, 0.0, slot))
    sky *= np.float32(0.5)
    # a hem's crests hang nearer the eye, so lower; so does the front of anything round
    hem_half = np.float32(0.5 * form.widths_cm[1])
    near = depth * (np.float32(form.swing * form.pitch_cm) * half / hem_half)
    start = np.float32(0.0)
    if form.bulge > 0:
        bend, end = np.float32(form.bulge), np.sqrt(1.0 - form.bulge**2)
        front = np.sqrt(np.maximum(1.0 - (bend * reach) ** 2, 0.0)) - np.float32(end)
        front *= np.float32(0.5 * form.swing / form.bulge) * half
        near += front - np.float32(0.5 * form.swing / form.bulge * (1.0 - end)) * half
        start = front
    edge = np.float32(form.length_cm - form.swing * form.pitch_cm * 0.6) + near
    cover = np.clip((edge - y[:, None]) / scale + 0.5, 0.0, 1.0)
    cover *= np.clip((y[:, None] - start) / scale + 0.5, 0.0, 1.0)
    cover *= np.clip((half - np.abs(x)[None, :]) * (frame.sub / scale) + 0.5, 0.0, 1.0)
    return Shape(
        angle,
        left - turn,
        right + turn,
        sky,
        (folded + np.float32(0.5)).astype(np.uint8),
        cover,
        across,
        np.broadcast_to(down, across.shape),
    )


def _even(size: tuple[int, ...]) -> tuple[Map, ...]:
    none = np.zeros(size, np.float32)
    slot = np.full(size, _SLOT, np.float32)
    return none, slot, slot, none.copy(), none


def _folds_at(frame: Frame, across: Map, down: Map, y: Map) -> tuple[Map, ...]:
    """Normal, left, right, depth and layer code of the folds at places on the form."""
    form, starts = frame.form, frame.starts
    count = starts.size - 1
    # the first guess by a fine table is right but within a hair of a fold's border
    fine = np.interp(np.linspace(0.0, 1.0, 8193), starts, np.arange(count + 1.0))
    place = np.take(fine.astype(np.float32), (across * np.float32(8192.0)).astype(np.int32))
    place += (across * np.float32(8192.0) % 1.0) * np.float32(1.0 / 8192.0) * np.float32(count)
    if form.uneven:
        place += np.float32(0.06 * form.uneven) * np.sin(5 * down + 7 * across)
    number = np.clip(place, 0.0, count - 1).astype(np.int32)
    phase = np.clip(place - number, 0.0, 1.0)
    index = np.minimum((phase * np.float32(SAMPLES)).astype(np.int32), SAMPLES - 1)
    index += (frame.side * np.int32(SAMPLES))[number]
    steps, sides = frame.table.shape[1:3]
    top, hem = form.fullness
    if steps > 1:
        share = (_fullness_down(form, down[:, 0]) - min(top, hem)) / (max(top, hem) - min(top, hem))
        row = np.clip(np.rint(share * (steps - 1)), 0, steps - 1).astype(np.int32)
        index += (row * np.int32(sides * SAMPLES))[:, None]
    normal, left, right, depth, folded = (np.take(r.ravel(), index) for r in frame.table)
    if form.uneven:
        normal += _ripple(form, across, down, y)
    if form.band_cm:
        rim = np.exp(-np.maximum(y - form.band_cm, 0.0) / 0.5)[:, None]  # the band's own shade
        left *= 1.0 - 0.35 * rim
        right *= 1.0 - 0.35 * rim
        band = y < form.band_cm
        normal[band], depth[band], folded[band] = 0.0, 0.0, 1.0
        left[band], right[band] = _SLOT, _SLOT
    return normal, left, right, depth, folded


def _fullness_down(form: Form, down: NDArray[Any]) -> NDArray[Any]:
    """Fullness at shares of the way down: cloth of even width on a wider and wider round."""
    top, hem = form.fullness
    near, far = 2.0 / form.widths_cm[0], 2.0 / form.widths_cm[1]
    if abs(near - far) < 1e-9:
        return hem + (top - hem) * (1.0 - down)
    return hem + (top - hem) * (1.0 / _half_width(form, down) - far) / (near - far)


def _half_width(form: Form, down: NDArray[Any]) -> NDArray[Any]:
    """Half the width seen, cm, at a share of the way down; a skirt curves over the hip."""
    top, hem = form.widths_cm
    if form.band_cm:
        band = form.band_cm / form.length_cm
        down = np.clip((down - band) / (1.0 - band), 0.0, 1.0)
        down = 1.0 - (1.0 - down) ** 1.35
    return 0.5 * (top + (hem - top) * down)


def _fine_steps(values: NDArray[Any], table: NDArray[Any]) -> NDArray[np.float32]:
    """The table at steps of fullness too small to see, evenly from least to most."""
    if values.size == 1:
        return table
    at = np.linspace(0.0, values.size - 1.0, 160)
    low = np.minimum(at.astype(int), values.size - 2)
    part = (at - low)[None, :, None, None].astype(np.float32)
    return np.asarray(table[:, low] * (1 - part) + table[:, low + 1] * part)


def _ripple(form: Form, across: Map, down: Map, y_cm: Map) -> Map:
    """Small unevenness of hanging cloth; fine puckers below a gathered waist."""
    slow = np.sin(23.0 * across + (3.0 * down + 1.0)) + np.sin(41.0 * across - (4.0 * down - 2.5))
    slow *= np.float32(np.radians(2.2) * form.uneven)
    near = np.flatnonzero(y_cm < form.band_cm + 24.0) if form.band_cm else np.zeros(0, int)
    if near.size:
        a = across[near]
        fade = np.exp(-np.maximum(y_cm[near] - form.band_cm, 0.0) / 6.0)[:, None]
        pucker = np.sin(150.0 * a + 4.0 * np.sin(17.0 * a)) + 0.6 * np.sin(233.0 * a + 1.0)
        slow[near] += np.float32(np.radians(16.0)) * fade * pucker
    return slow
