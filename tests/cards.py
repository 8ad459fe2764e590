"""Photographs of a swatch on paper and on black card, drawn with where everything truly lies.

A test helper kept apart from the finder: it imports nothing of the package. Sheets lie on a table
at any angle, the camera leans, the light falls off by up to a fifth, card shines a little and is
dusty, the swatch's edges are cut by hand and it does not lie quite flat. All ranges are invented;
common practice, no source.

    python -m tests.find_swatches [--seed N] [--pictures N]

prints how often the finder is right about such pictures.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter, zoom

#: What a pixel shows.
TABLE, PAPER, CARD, ON_PAPER, ON_CARD = range(5)
LAYOUTS = ("white", "black", "both")


@dataclass(frozen=True)
class CardPhoto:
    """One photograph before it is taken. Lengths in mm on the table, angles in degrees,
    reflectances per linear channel."""

    layout: str
    R: tuple[float, float, float]
    T: tuple[float, float, float]
    paper: float = 0.87
    card: tuple[float, float, float] = (0.045, 0.045, 0.047)
    table: tuple[float, float, float] = (0.3, 0.2, 0.12)
    grain: float = 0.15  # of the table's wood
    swatch_mm: tuple[float, float] = (90.0, 80.0)
    swatch_turn: float = 5.0
    sheet_turn: float = 3.0
    shift: tuple[float, float] = (0.0, 0.0)
    view_mm: float = 190.0
    lean: tuple[float, float] = (0.0, 0.0)  # camera, degrees off plumb
    size: tuple[int, int] = (480, 640)
    uneven: float = 0.2  # greatest over least light, less 1
    from_deg: float = 30.0  # where the light comes from
    bow: float = 0.3  # share of the unevenness that is curved
    sheen: float = 0.005  # of the card, towards the light
    dust: float = 0.1
    folds: float = 0.04
    weave: float = 0.05  # seen through the lens: cloth is not smooth
    shadow: float = 0.1
    strip: str = "side"  # of paper in the picture over card: side, corner, under
    bare_table: bool = True
    gains: tuple[float, float, float] = (1.1, 1.0, 0.8)
    exposure: float = 0.75
    blur_px: float = 1.0
    noise: float = 0.012
    quality: int = 88
    seed: int = 0


def any_photo(rng: np.random.Generator, layout: str | None = None) -> CardPhoto:
    """A photograph such as a maker may take who follows the card of instructions."""
    kind = rng.random()
    if kind < 0.3:  # shot or strong, sheer
        R = rng.uniform(0.03, 0.35, 3)
        T = R * rng.uniform(0.5, 1.5) + rng.uniform(0.1, 0.4)
    elif kind < 0.5:  # dark
        R = rng.uniform(0.012, 0.06, 3)
        T = rng.uniform(0.0, 0.35) * np.ones(3)
    elif kind < 0.75:  # pale, sheer
        R = rng.uniform(0.15, 0.4) * (1 - rng.uniform(0, 0.25, 3))
        T = rng.uniform(0.4, 0.55) * np.ones(3)
    else:  # any, opaque
        R = rng.uniform(0.05, 0.7, 3)
        T = rng.uniform(0.0, 0.15) * np.ones(3)
    T = np.minimum(T, 0.97 - R)
    dark = rng.uniform(0.028, 0.065)
    wood = rng.uniform(0.08, 0.5)
    return CardPhoto(
        layout=str(rng.choice(LAYOUTS)) if layout is None else layout,
        R=tuple(R), T=tuple(T),
        paper=float(rng.uniform(0.82, 0.91)),
        card=tuple(dark * (1 + rng.normal(0, 0.04, 3))),
        table=tuple(wood * np.array([1.0, rng.uniform(0.6, 1.0), rng.uniform(0.35, 0.95)])),
        grain=float(rng.uniform(0.0, 0.25)),
        swatch_mm=tuple(rng.uniform(55, 110, 2)),
        swatch_turn=float(rng.uniform(-30, 30)),
        sheet_turn=float(rng.normal(0, 6)),
        shift=tuple(rng.uniform(-12, 12, 2)),
        view_mm=float(rng.uniform(175, 260)),
        lean=tuple(rng.normal(0, 5, 2)),
        size=(480, 640) if rng.random() < 0.7 else (640, 480),
        uneven=float(rng.uniform(0.05, 0.25)),
        from_deg=float(rng.uniform(0, 360)),
        bow=float(rng.uniform(0, 0.6)),
        sheen=float(rng.uniform(0, 0.015)),
        dust=float(rng.uniform(0, 0.25)),
        folds=float(rng.uniform(0, 0.06)),
        weave=float(rng.uniform(0.0, 0.1)),
        shadow=float(rng.uniform(0.0, 0.25)),
        strip=str(rng.choice(("side", "corner", "under"))),
        bare_table=bool(rng.random() < 0.5),
        gains=(float(rng.uniform(0.8, 1.2)), 1.0, float(rng.uniform(0.65, 1.2))),
        exposure=float(rng.uniform(0.6, 0.85)),
        blur_px=float(rng.uniform(0.5, 1.8)),
        noise=float(rng.uniform(0.004, 0.02)),
        quality=int(rng.integers(75, 94)),
        seed=int(rng.integers(2**31)),
    )  # fmt: skip


def _on_table(c: CardPhoto) -> tuple[np.ndarray, np.ndarray]:
    """Place on the table, mm, of each pixel, twice as fine: a pinhole camera that leans."""
    rows, columns = (2 * n for n in c.size)
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float64)
    wide = max(rows, columns)
    x, y = (x + 0.5 - columns / 2) / wide, (y + 0.5 - rows / 2) / wide
    a, b = np.radians(c.lean)
    ray = np.stack([x, y, np.full_like(x, 1.1)])  # about the angle of a telephone's lens
    turn = np.array([[np.cos(a), 0, np.sin(a)], [0, 1, 0], [-np.sin(a), 0, np.cos(a)]])
    turn = turn @ np.array([[1, 0, 0], [0, np.cos(b), -np.sin(b)], [0, np.sin(b), np.cos(b)]])
    ray = np.tensordot(turn, ray, 1)
    middle = turn @ np.array([0, 0, 1.1])
    height = c.view_mm * 1.1
    # aim the picture's middle at the middle of the layout
    return (ray[0] / ray[2] - middle[0] / middle[2]) * height, (
        ray[1] / ray[2] - middle[1] / middle[2]
    ) * height


def _turned(x: np.ndarray, y: np.ndarray, degrees: float) -> tuple[np.ndarray, np.ndarray]:
    a = np.radians(degrees)
    return x * np.cos(a) + y * np.sin(a), -x * np.sin(a) + y * np.cos(a)


def draw(c: CardPhoto) -> tuple[np.ndarray, np.ndarray]:
    """Linear light at the lens (rows, columns, 3), and what each pixel shows (rows, columns), -1
    where two things share it."""
    rng = np.random.default_rng(c.seed)
    x, y = _on_table(c)
    u, v = _turned(x, y, c.sheet_turn)
    half = 0.5 * c.view_mm
    label = np.full(x.shape, TABLE)
    edge = 0.86 * half if c.bare_table else 4 * half
    if c.layout == "white":
        label[(u < edge) & (v > -0.62 * edge)] = PAPER
    elif c.layout == "both":
        label[(v > -0.62 * edge) | (not c.bare_table)] = PAPER
        label[(u > 0.0) & (v > -0.6 * edge)] = CARD
        label[(u > 0.0) & (v < -0.6 * edge) & (edge < half)] = TABLE
    elif c.strip == "under":
        label[:] = PAPER
        label[(np.abs(u) < 0.78 * half) & (np.abs(v) < 0.6 * half)] = CARD
    elif c.strip == "corner":
        label[(u < edge) & (v > -0.66 * edge)] = CARD
        label[(u < -0.52 * half) & (v > 0.18 * half)] = PAPER
    else:
        label[(u < edge)] = CARD
        label[u < -0.62 * half] = PAPER
    aside = 0.0
    if c.layout == "black" and c.strip != "under":
        aside = 0.12 * half
    p, q = _turned(x - 0.6 * c.shift[0] - aside, y - 0.6 * c.shift[1], c.swatch_turn)
    if c.layout == "both":
        p, q = _turned(x, y - 0.6 * c.shift[1], c.swatch_turn)
    reach = np.array(c.swatch_mm) / 2
    # the card of instructions asks for a broad band of bare ground all round
    a = np.radians(c.swatch_turn - c.sheet_turn)
    ways = np.abs([[np.cos(a), np.sin(a)], [np.sin(a), np.cos(a)]])
    room = np.array([0.46, 0.42 if c.strip == "under" or c.layout != "white" else 0.46]) * half
    reach = reach * min(1.0, float((room / (ways @ reach)).min()))
    ripple = [
        0.8 * np.interp(w, np.linspace(-60, 60, 40), gaussian_filter(rng.standard_normal(40), 1))
        for w in (q, p, q, p)
    ]
    on = (p < reach[0] + ripple[0]) & (p > -reach[0] + ripple[2])
    on &= (q < reach[1] + ripple[1]) & (q > -reach[1] + ripple[3])
    on &= label != TABLE
    ground = np.empty((*x.shape, 3), np.float32)
    ground[label == PAPER] = c.paper
    dusty = gaussian_filter(rng.standard_normal(x.shape), 1.0)
    lit = np.cos(np.radians(c.from_deg)), np.sin(np.radians(c.from_deg))
    toward = (x * lit[0] + y * lit[1]) / half
    shine = c.sheen * (1 + toward) ** 2 + 0.05 * c.dust * np.clip(dusty, 0, None)
    card = label == CARD
    ground[card] = (np.array(c.card) + shine[..., None])[card]
    wood = gaussian_filter(rng.standard_normal(x.shape[0]), 1.5) * 2.3
    tone = np.clip(1 + c.grain * wood, 0.2, 2)[:, None] * np.ones_like(x)
    ground[label == TABLE] = (np.array(c.table) * tone[..., None])[label == TABLE]
    R, T = np.array(c.R), np.array(c.T)
    cloth = R + T * T * ground / (1 - R * ground)
    coarse = rng.standard_normal((x.shape[0] // 16 + 1, x.shape[1] // 16 + 1))
    coarse = gaussian_filter(coarse, (2, 4))
    tone = 1 + c.folds * zoom(coarse / coarse.std(), 16, order=1)[: x.shape[0], : x.shape[1]]
    fine = gaussian_filter(rng.standard_normal(x.shape), 0.7)
    tone = tone * (1 + c.weave * fine / fine.std() * 0.5)
    moved = np.roll(on, (int(-6 * lit[1]), int(-6 * lit[0])), (0, 1))
    dark = gaussian_filter(moved.astype(np.float32), 5)
    shade = 1 - c.shadow * np.where(on, 0.0, dark)
    picture = np.where(on[..., None], cloth * tone[..., None], ground * shade[..., None])
    label = np.where(on, np.where(label == PAPER, ON_PAPER, ON_CARD), label)
    along = toward * (1 - c.bow) + c.bow * (1 - (x**2 + y**2) / (half * half))
    span = np.ptp(np.percentile(along, [0.5, 99.5]))
    picture = picture * np.exp(np.log1p(c.uneven) * along / span)[..., None]
    rows, columns = c.size
    four = label.reshape(rows, 2, columns, 2)
    one = four[:, 0, :, 0]
    label = np.where((four == one[:, None, :, None]).all((1, 3)), one, -1)
    return picture.reshape(rows, 2, columns, 2, 3).mean((1, 3)).astype(np.float32), label


def photograph(c: CardPhoto) -> tuple[bytes, np.ndarray]:
    """The JPEG file, and what each pixel shows."""
    picture, label = draw(c)
    rng = np.random.default_rng(c.seed + 1)
    light = gaussian_filter(picture, (c.blur_px, c.blur_px, 0)) * np.array(c.gains)
    light = light * c.exposure / max(float(np.percentile(light, 99)), 1e-6)
    light = light + c.noise * np.sqrt(np.clip(light, 0, None) + 0.01) * rng.standard_normal(
        light.shape
    )
    light = np.clip(light, 0, 1)
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    out = io.BytesIO()
    image = Image.fromarray((np.clip(code, 0, 1) * 255 + 0.5).astype(np.uint8))
    image.save(out, "JPEG", quality=c.quality)
    return out.getvalue(), label
