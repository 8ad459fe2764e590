"""The page's pictures of cloth: the live one's bytes, stills for choosing, and pictures to keep.

Knows the picture module and how each picture is named by what it shows; nothing of widgets. Slow
ones are ``orders``.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from PIL import Image, WebPImagePlugin  # noqa: F401  (named, the others need not be loaded)

import orders
from orders import Order, name_of
from state import light_of, stack_key, stack_of
from weavecolor.making.answers import as_cut, hung_beneath, shape_of
from weavecolor.making.lightchoice import LightChoice, scene_of
from weavecolor.making.model import Making, MakingOption, backing_of
from weavecolor.optics.stack import Stack
from weavecolor.picture.framing import header_of

if TYPE_CHECKING:  # slow to load
    from weavecolor.picture.hanging import Lit, Stage

#: Stills of the strips, pixels: sharp on a card of half as many on a fine screen.
STILL = (240, 300)
#: Pictures to keep.
LARGE_CLOSEUP, LARGE_HUNG = (1600, 1200), (1200, 1500)
CLOSE = 240
#: What the garment may stand before, and what each is called.
GROUNDS = {"grey": "grey, for judging colour", "light": "light", "dark": "dark"}


@dataclass(frozen=True)
class Parcels:
    """What the browser draws the live picture from: its places and the tables of its cloth, by
    name, and the light."""

    parts: Mapping[str, bytes]
    light: bytes

    @classmethod
    def read(cls, data: bytes) -> Parcels | None:
        """From the bytes that :func:`live` makes; None where a part of it is no longer kept."""
        names = parts_of(data)
        found = {name: orders.kept(f"part-{name}") for name in names}
        parts = {name: part for name, part in found.items() if part is not None}
        return cls(parts, data) if len(parts) == len(found) else None


def parts_of(data: bytes) -> tuple[str, ...]:
    """Names of the parts that the bytes of :func:`live` are drawn with, each once."""
    told = header_of(data)
    return tuple(dict.fromkeys((told["stage"], *told["cloths"])))


@dataclass(frozen=True)
class Worn:
    """Everything a picture of hung cloth depends on; ``backing``: what lies behind; ``alone``: in
    which layers of the option a skirt is cut, where not in all; ``said``: of what hangs beneath."""

    stack: Stack
    backing: str
    light: LightChoice
    shape: str
    ground: str = "grey"
    alone: str = ""
    beneath: str = "none"
    dress_form: str = ""
    said: str = ""

    def key(self) -> tuple[object, ...]:
        """Its content, for names."""
        return (stack_key(replace(self.stack, backing=None)), self.backing, self.light, self.shape,
                self.ground, self.beneath, self.dress_form)  # fmt: skip


def worn(
    now: Making, option: MakingOption, light: LightChoice | None = None, ground: str = "grey",
    shape: str = "",
) -> Worn:  # fmt: skip
    """An ``option`` of the making ``now`` as it hangs before ``ground`` in ``shape``, in that
    ``light``; in the shape and the light worked in where none is given."""
    stack = stack_of(now, option)
    shape = shape or shape_of(now, stack)
    under = hung_beneath(now, option, shape)
    hangs, alone = as_cut(now, stack, shape, under[0])
    return Worn(hangs, option.backing, light or light_of(now), shape, ground, alone, *under)


def _lit(asked: Worn, first: bool = False) -> Lit:
    from weavecolor.picture.hanging import lit_stage, undoubled
    from weavecolor.picture.hung import hung_on

    behind = backing_of(asked.backing)
    staged, form, worn = hung_on(asked.stack, asked.shape, behind, asked.beneath, asked.dress_form)
    scene = scene_of(asked.light)

    def lit(what: Stage) -> Lit:
        return lit_stage(what, scene, form, beneath=worn, ground=asked.ground)

    made = lit(undoubled(staged))
    if first:
        return made
    orders.give_way()
    return lit(staged)


def live(asked: Worn, first: bool = False) -> Order:
    """The parcels of the live picture; of a ``first`` look hems, seams and bands are left out."""

    def make() -> bytes:
        from weavecolor.picture.parcels import cloth_parcels, light_parcel, stage_parcel

        made = _lit(asked, first)
        stage, cloths = stage_parcel(made.stage), cloth_parcels(made)
        for name, part in (stage, *cloths):
            orders.keep(f"part-{name}", part)
        return light_parcel(made, stage[0], [name for name, _ in cloths])

    def whole(data: bytes) -> bool:
        return all(orders.kept(f"part-{name}") is not None for name in parts_of(data))

    return Order(name_of("live", asked.key(), first), make, whole)


def still(asked: Worn, size: tuple[int, int] = STILL) -> Order:
    """A still of it, as WebP."""
    return Order(name_of("still", asked.key(), size), lambda: webp(still_image(asked, size)))


def still_image(asked: Worn, size: tuple[int, int]) -> Image.Image:
    """A still of it, drawn now."""
    from weavecolor.picture.hanging import FRONT, picture
    from weavecolor.picture.hung import image_of, notes

    made = _lit(asked)
    orders.give_way()
    linear = picture(made, *size, FRONT)
    return image_of(linear, notes(asked.shape, scene_of(asked.light), asked.beneath))


def closeup(stack: Stack, light: LightChoice, units: str) -> Order:
    """The weave of ``stack`` close to in ``light``, as WebP; ``units`` that its scale is told in.
    """
    return Order(
        name_of("closeup", stack_key(stack), light, CLOSE, units),
        lambda: webp(closeup_image(stack, light, CLOSE, CLOSE)),
    )


def closeup_image(stack: Stack, light: LightChoice, width: int, height: int) -> Image.Image:
    """The weave of ``stack`` close to in ``light``, drawn now, ``width`` by ``height`` pixels."""
    from weavecolor.picture.closeup import closeup_scale, draw_closeup

    scale = closeup_scale(stack, width)
    return draw_closeup(stack, scene_of(light), width, height, mm_per_px=scale)


def closeup_width(stack: Stack, units: str) -> str:
    """How wide the close-up is, in words."""
    from weavecolor.picture.closeup import closeup_scale

    wide = closeup_scale(stack, CLOSE) * CLOSE
    return f"{wide / 25.4:.2f} in wide" if units == "inch" else f"{wide:.1f} mm wide"


def webp(image: Image.Image) -> bytes:
    """A tenth of PNG for woven texture, and every browser has it."""
    out = io.BytesIO()
    image.convert("RGB").save(out, "WEBP", quality=88, method=1)
    return out.getvalue()


def uri(data: bytes) -> str:
    """A picture's bytes as an inline image."""
    return f"data:image/webp;base64,{base64.b64encode(data).decode()}"


def uri_of(image: Image.Image) -> str:
    """An inline image."""
    return uri(webp(image))
