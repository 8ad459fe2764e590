"""Where the cloth of a drape is: normals, layers, what of the sky each point sees.

Knows the forms that cloth is hung in; knows nothing of colour or optics. Every form bends about
the upright axis only. The folds themselves come from ``make.fullness``; here they get their place
on the body, their natural unevenness and their shadows. Angles are radians to the viewer's right.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from weavecolor.errors import InputError
from weavecolor.make.folds import fold_profile

Map = NDArray[np.float32]

#: Points across one fold, and the most layers of a fold told apart.
SAMPLES = 256
MOST_FOLDED = 5
_EDGE = 0.045  # width of a pleat's rounded edge over its pitch
_SLOT = 0.5 * np.pi


@dataclass(frozen=True)
class Form:
    """A form for cloth to hang in.

    ``folds`` as in ``make.fullness``; ``fullness`` and ``widths_cm`` (seen across) at top and hem;
    ``bulge`` 0 flat to 1 round; ``pitch_cm`` mean width of a fold at the hem; ``uneven`` 0-1;
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
            "knife pleats", "knife", (3.0, 3.0), (40.0, 40.0), 48.0, 0.45, 3.2, swing=0.3, relief_cm=0.3
        ),
        Form("box pleats", "box", (3.0, 3.0), (40.0, 40.0), 48.0, 0.45, 6.4, swing=0.25, relief_cm=0.35),
        Form(
            "pleated skirt", "knife", (3.0, 1.4), (23.0, 44.0), 72.0, 0.97, 4.2, 0.0, 0.1, 3.0,
            relief_cm=0.3,
        ),
        _SKIRT,
        replace(_SKIRT, name="doubled skirt", doubled=True),
    )
}  # fmt: skip


def form_names() -> tuple[str, ...]:
    """Names of the forms, for a list to choose from."""
    return tuple(FORMS)


def named_form(name: str, fullness: float | None = None) -> Form:
    """The form of that name, with another fullness at the top (and in proportion at the hem).

    Raises InputError for an unknown name or a fullness outside 1 to 9.
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
    x: NDArray, z: NDArray, outline_x: NDArray, outline_z: NDArray
) -> tuple[NDArray, NDArray]:
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
    left, right = (
        np.repeat(a, 2) for a in _horizons(x[some], z[some], straight.x, straight.depth)
    )
    folded = np.minimum((seen.layers - 1) // 2, (MOST_FOLDED - 1) // 2)
    # softened, so that between two steps of fullness the edge lies between its two places
    soft = np.convolve(np.tile(folded, 3), np.full(17, 1 / 17), "same")[SAMPLES : 2 * SAMPLES]
    return np.stack([normal, left, right, z, soft]).astype(np.float32)


def _pressed(kind: str, x: NDArray, normal: NDArray) -> NDArray:
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
) -> tuple[NDArray, NDArray]:
    """Folds at steps of fullness (n,) and from several sides: (5, n, len(views), SAMPLES)."""
    count = 1 if high - low < 1e-9 else int(np.clip(np.ceil((high - low) / 0.12), 2, 16))
    values = np.linspace(low, high, count)
    rows = [
        np.stack([_fold(kind, round(float(f), 6), relief, v) for v in views], axis=1)
        for f in values
    ]
    return values, np.stack(rows, axis=1)


def _starts(form: Form, folds: int) -> NDArray:
    """Where folds begin, 0-1 across the form's turn; uneven as hand-set gathers are."""
    random = np.random.default_rng(20)
    size = np.exp(form.uneven * 0.75 * random.standard_normal(folds).clip(-1.6, 1.6))
    return np.concatenate([[0.0], np.cumsum(size) / size.sum()])


def shape(form: Form, width: int, height: int, sub: int = 1) -> Shape:
    """The form on ``height`` x ``width`` pixels; ``sub`` samples across each pixel."""
    columns = width * sub
    margin = 0.055
    scale = max(
        form.length_cm / ((1 - 2 * margin) * height), max(form.widths_cm) / ((1 - 2 * margin) * width)
    )  # cm a pixel
    x = (((np.arange(columns) + 0.5) / sub - 0.5 * width) * scale).astype(np.float32)
    y = ((np.arange(height) + 0.5 - 0.5 * height) * scale + 0.5 * form.length_cm).astype(
        np.float32
    )
    down = np.clip(y / form.length_cm, 0.0, 1.0)[:, None]
    half = _half_width(form, down)
    reach = x[None, :] / half
    turn = np.arcsin(np.clip(reach * form.bulge, -1.0, 1.0)) if form.bulge > 0 else 0.0 * reach
    whole = np.arcsin(form.bulge) if form.bulge > 0 else 1.0
    across = np.clip(0.5 + 0.5 * (turn / whole if form.bulge > 0 else reach), 0.0, 1.0)

    # round the body, folds are as many as the hem's width over their pitch
    body = whole / form.bulge if form.bulge > 0 else 1.0
    hem_half = float(_half_width(form, np.float32(1.0)))
    folds = max(1, round(2.0 * hem_half * body / form.pitch_cm)) if form.folds != "flat" else 1
    starts = _starts(form, folds)
    place = np.interp(across.ravel(), starts, np.arange(folds + 1.0)).reshape(across.shape)
    place = place.astype(np.float32)
    if form.uneven:
        place += np.float32(0.06 * form.uneven) * np.sin(5 * down + 7 * across)
    number = np.clip(np.floor(place), 0, folds - 1).astype(np.int32)
    phase = np.clip(place - number, 0.0, 1.0)
    fullness = _fullness_down(form, half[:, 0], down[:, 0])
    relief = round(form.relief_cm / form.pitch_cm, 6)
    middle = (0.5 * (starts[1:] + starts[:-1]) - 0.5) * 2.0 * whole * (form.bulge > 0)
    views = tuple(float(np.clip(np.round(-np.degrees(m) / 7.5) * 7.5, -75, 75)) for m in middle)
    sides = tuple(sorted(set(views)))
    top, hem = form.fullness
    values, table = fold_table(form.folds, min(top, hem), max(top, hem), relief, sides)
    fine, row = _steps(values, table, fullness)  # (5, steps, sides, SAMPLES), step of each row
    side = np.array([sides.index(v) for v in views], np.int32)[number]
    index = np.minimum((phase * SAMPLES).astype(np.int32), SAMPLES - 1)
    index += side * np.int32(SAMPLES)
    index += (row.astype(np.int32) * np.int32(len(sides) * SAMPLES))[:, None]
    normal, left, right, depth, folded = (np.take(r.ravel(), index) for r in fine)
    if form.uneven:
        normal = normal + _ripple(form, across, down, y)
    if form.band_cm:
        band = np.clip((form.band_cm - y) / scale + 0.5, 0.0, 1.0)[:, None] > 0.5
        rim = np.exp(-np.maximum(y - form.band_cm, 0.0) / 0.5)[:, None]  # its own shade below it
        normal, depth = np.where(band, 0.0, normal), np.where(band, 0.0, depth)
        left, right = (np.where(band, _SLOT, a * (1.0 - 0.35 * rim)) for a in (left, right))
        folded = np.where(band, 1.0, folded)
    angle = normal + turn.astype(np.float32)
    slot = np.float32(_SLOT)
    sky = 0.5 * (
        np.sin(np.clip(right - normal, 0.0, slot)) + np.sin(np.clip(left + normal, 0.0, slot))
    )
    # a hem's crests hang nearer the eye, so lower; so does the front of anything round
    round_ = half * (1.0 - np.sqrt(np.maximum(1.0 - reach**2, 0.0))) if form.bulge else 0.0 * half
    near = form.swing * (depth * half / hem_half * form.pitch_cm - 0.5 * round_)
    edge = form.length_cm - form.swing * form.pitch_cm * 0.6 + near
    start = -0.5 * form.swing * round_ + 0.5 * form.swing * half
    cover = np.clip((edge - y[:, None]) / scale + 0.5, 0.0, 1.0)
    cover *= np.clip((y[:, None] - start * (form.bulge > 0)) / scale + 0.5, 0.0, 1.0)
    cover *= np.clip((half - np.abs(x)[None, :]) / scale * sub + 0.5, 0.0, 1.0)
    return Shape(
        angle.astype(np.float32),
        (left - turn).astype(np.float32),
        (right + turn).astype(np.float32),
        sky.astype(np.float32),
        (folded + 0.5).astype(np.uint8),
        cover.astype(np.float32),
        across.astype(np.float32),
        np.broadcast_to(down, across.shape).astype(np.float32),
    )


def _fullness_down(form: Form, half: NDArray, down: NDArray) -> NDArray:
    """Fullness of each row: cloth of even width hangs on a wider and wider round."""
    top, hem = form.fullness
    near, far = 1.0 / half[0], 1.0 / half[-1]
    share = 1.0 - down if abs(near - far) < 1e-9 else (1.0 / half - far) / (near - far)
    return hem + (top - hem) * share


def _half_width(form: Form, down: NDArray) -> NDArray:
    """Half the width seen, cm, at a share of the way down; a skirt curves over the hip."""
    top, hem = form.widths_cm
    if form.band_cm:
        down = np.clip((down - form.band_cm / form.length_cm) / (1 - form.band_cm / form.length_cm), 0, 1)
        down = 1.0 - (1.0 - down) ** 1.35
    return 0.5 * (top + (hem - top) * down)


def _steps(values: NDArray, table: NDArray, fullness: NDArray) -> tuple[NDArray, NDArray]:
    """The table at steps too small to see, and each row's step."""
    if values.size == 1:
        return table, np.zeros(fullness.size, np.int32)
    count = 160
    at = np.linspace(0.0, values.size - 1.0, count)
    low = np.minimum(at.astype(int), values.size - 2)
    part = (at - low)[None, :, None, None].astype(np.float32)
    mixed = table[:, low] * (1 - part) + table[:, low + 1] * part
    share = (fullness - values[0]) / (values[-1] - values[0])
    return mixed, np.clip(np.rint(share * (count - 1)), 0, count - 1).astype(np.int32)


def _ripple(form: Form, across: NDArray, down: NDArray, y_cm: NDArray) -> NDArray[np.float32]:
    """Small unevenness of hanging cloth; fine puckers below a gathered waist."""
    a, d = across.astype(np.float32), down.astype(np.float32)
    slow = np.sin(23.0 * a + 3.0 * d + 1.0) + np.sin(41.0 * a - 4.0 * d + 2.5)
    out = np.radians(2.2) * form.uneven * slow
    if form.band_cm:
        fade = np.exp(-np.maximum(y_cm - form.band_cm, 0.0) / 6.0).astype(np.float32)[:, None]
        pucker = np.sin(150.0 * a + 4.0 * np.sin(17.0 * a)) + 0.6 * np.sin(233.0 * a + 1.0)
        out = out + np.radians(16.0) * fade * pucker
    return out.astype(np.float32)
