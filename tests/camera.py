"""A telephone that photographs a known cloth, for tests: colours worked out, then spoilt.

Wrong white balance, exposure, uneven light, noise in proportion to the root of the light, 8-bit
sRGB and real JPEG, as the instruction card asks for: swatch on paper, on card with a strip of
paper, bare threads beside it. What the fit is told of the light and of the paper is not what was.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from PIL import Image

from weavecolor.colour.lights import light_spectrum
from weavecolor.colour.screen import camera_channels, channels_in_light, encoded
from weavecolor.colour.spectra import BANDS, WAVELENGTHS, frozen
from weavecolor.measure.observations import (
    Seen,
    Thread,
)
from weavecolor.measure.photograph import read_photograph
from weavecolor.measure.shots import look
from weavecolor.optics.appearance import appearance
from weavecolor.optics.dye import absorption
from weavecolor.optics.onelayer import Laid, between, grid_layer, over_backing
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import PAPER, Backing
from weavecolor.scene.places import custom_scene
from weavecolor.scene.scene import Scene
from weavecolor.textile.cloth import Cloth, Yarn

ROWS, COLUMNS = 240, 320
SWATCH = (40, 60, 180, 180)  # left, top, right, bottom
BARE = (190, 5, 280, 30)
STRIP = (290, 0, 320, 240)
WARP_THREADS = (200, 40, 270, 100)
WEFT_THREADS = (200, 130, 270, 190)


@dataclass(frozen=True)
class Room:
    """What is true where the photographs are taken, and nobody knows exactly."""

    share: float = 0.7
    zenith: float = 55.0
    paper: float = 0.87
    card: float = 0.045
    gains: tuple[float, float, float] = (1.18, 1.0, 0.78)
    exposure: float = 0.7
    fall: float = 0.06
    noise: float = 0.012
    shade: float = 0.95
    light: str = "daylight"
    half_deg: float = 15.0

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> Room:
        """Some room: light, paper, card and camera vary."""
        return cls(
            share=float(np.clip(rng.normal(0.7, 0.07), 0.5, 0.9)),
            zenith=float(rng.uniform(50.0, 60.0)),
            paper=float(np.clip(rng.normal(0.87, 0.02), 0.82, 0.92)),
            card=float(rng.uniform(0.03, 0.06)),
            gains=(float(rng.uniform(0.8, 1.25)), 1.0, float(rng.uniform(0.7, 1.3))),
            exposure=float(rng.uniform(0.55, 0.75)),
            fall=float(rng.uniform(-0.08, 0.08)),
            noise=float(rng.uniform(0.005, 0.02)),
            shade=float(rng.normal(0.95, 0.07)),
            # drawn apart, so that a seed draws all else as it ever did
            half_deg=float(np.exp(rng.spawn(1)[0].uniform(np.log(5.0), np.log(25.0)))),
        )

    def scene(self) -> Scene:
        return custom_scene(
            self.light, self.zenith, 90.0, 1.0 - self.share, half_deg=self.half_deg
        )


def colour_in(reflectance: np.ndarray, light: np.ndarray) -> np.ndarray:
    """Linear sRGB relative to a perfect white in the same light."""
    return channels_in_light(camera_channels(), light) @ np.asarray(reflectance)


def photograph(picture: np.ndarray, room: Room, rng: np.random.Generator) -> bytes:
    """JPEG bytes of linear reflectances (rows, columns, 3)."""
    x = np.linspace(-1.0, 1.0, picture.shape[1])[None, :, None]
    light = picture * np.array(room.gains) * room.exposure * (1.0 + room.fall * x)
    sensor = light + room.noise * np.sqrt(np.maximum(light, 1e-3)) * rng.standard_normal(
        light.shape
    )
    codes = np.rint(255.0 * np.clip(encoded(np.clip(sensor, 0.0, 1.0)), 0.0, 1.0))
    out = io.BytesIO()
    Image.fromarray(codes.astype(np.uint8)).save(out, "JPEG", quality=92)
    return out.getvalue()


def _paint(picture: np.ndarray, box: tuple[int, int, int, int], colour: np.ndarray) -> None:
    left, top, right, bottom = box
    picture[top:bottom, left:right] = colour


def _threads(picture: np.ndarray, box: tuple[int, int, int, int], colour: np.ndarray) -> None:
    left, top, right, bottom = box
    for column in range(left + 3, right - 4, 10):
        picture[top:bottom, column : column + 5] = colour


def thread_over(yarn: Yarn, ground: float, room: Room) -> np.ndarray:
    """Threads side by side in even light, seen straight on."""
    ready = grid_layer(yarn, yarn.width_mm, [Laid((0.0, 0.0, 1.0), (), False)])
    value, slope = between(ready, np.stack([absorption(yarn), np.zeros(BANDS)], axis=1))
    seen = over_backing(ready, 0, value, slope, np.full(BANDS, ground))[0][:, -1]
    return np.minimum(room.shade, 1.1) * colour_in(seen, light_spectrum(room.light))


def picture_of(
    cloth: Cloth, over: str, grain_deg: float, room: Room, threads: bool = True
) -> np.ndarray:
    """Linear reflectances of the whole table: ``over`` "white" or "black"."""
    ground = room.paper if over == "white" else room.card
    picture = picture_of_layers((Layer(cloth, grain_deg),), over, room)
    if not threads:
        return picture
    _threads(picture, WARP_THREADS, thread_over(cloth.warp, ground, room))
    _threads(picture, WEFT_THREADS, thread_over(cloth.weft, ground, room))
    return picture


def picture_of_layers(layers: tuple[Layer, ...], over: str, room: Room) -> np.ndarray:
    """The same of a piece laid up, without threads."""
    ground = room.paper if over == "white" else room.card
    behind = Backing(over, frozen(np.full(BANDS, ground)), PAPER)
    shown = appearance(Stack(layers, behind), room.scene()).radiance_factor
    picture = np.full((ROWS, COLUMNS, 3), ground)
    _paint(picture, SWATCH, colour_in(shown, light_spectrum(room.light)))
    _paint(picture, STRIP, np.full(3, room.paper))
    return picture


def photographed(
    cloth: Cloth, room: Room, rng: np.random.Generator, turned: bool = True, threads: bool = True
) -> tuple[list[Seen], list[Thread]]:
    """What the measuring chain makes of photographs of ``cloth``: over white, over black, over
    white turned a quarter, and bare threads."""
    pictures = {}
    laid = (("white", "white", 0), ("black", "black", 0), ("turned", "white", 90))
    for name, over, grain in laid[: 3 if turned else 2]:
        data = photograph(picture_of(cloth, over, grain, room, threads), room, rng)
        pictures[name] = read_photograph(data, name=name).linear
    return shots_of(pictures, turned, threads)


def shots_of(
    pictures: dict[str, np.ndarray], turned: bool = True, threads: bool = True
) -> tuple[list[Seen], list[Thread]]:
    """As the page and the command line put pictures together."""
    on_black = {"swatch over black": SWATCH, "card": BARE, "paper": STRIP}
    bare = {"warp thread": WARP_THREADS, "weft thread": WEFT_THREADS}
    shots = look(
        pictures["white"],
        pictures["black"],
        pictures["turned"] if turned else None,
        pictures["white"] if threads else None,
        pictures["black"] if threads else None,
        marks={
            "white": {"swatch over white": SWATCH},
            "turned": {"swatch over white": SWATCH},
            "black": on_black,
            "frayed": {**bare, "swatch over white": SWATCH},
            "frayed black": {**on_black, **bare},
        },
    )
    return list(shots.seen), list(shots.threads)


def dyed(rng: np.random.Generator) -> np.ndarray:
    """An invented dyeing: one to three lopsided absorption bands over a pale ground.

    Curves recovered from their daylight colours miss them under tungsten by 1.4 CIEDE2000 on
    average, against 1.0 for the patches of two published charts (colour-science): no easier than
    measured surfaces.
    """
    ks = 10.0 ** rng.uniform(-2.2, -1.2) * (1.0 + 2.0 * np.exp(-(WAVELENGTHS - 380.0) / 25.0))
    for _ in range(int(rng.integers(1, 4))):
        centre, width = rng.uniform(410.0, 640.0), rng.uniform(45.0, 75.0)
        height = 10.0 ** rng.uniform(-1.0, 0.9)
        side = width * np.where(WAVELENGTHS < centre, 1.15, 0.75)  # dyes fall off faster to the red
        ks = ks + height * np.exp(-0.5 * ((WAVELENGTHS - centre) / side) ** 2)
    return frozen(np.clip(1.0 + ks - np.sqrt(ks * ks + 2.0 * ks), 0.0, 0.95))
