"""What one person is working on, as plain frozen data, and the changes that can be made to it.

Knows cloths, layers, light, pins and the project file; knows nothing of Streamlit or of optics.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

from weavecolor.cutting.pieces import Piece
from weavecolor.cutting.remnant import ClothInHand
from weavecolor.errors import InputError
from weavecolor.files.clothfile import cloth_from_dict, cloth_to_toml, load_swatch, swatch_names
from weavecolor.making.lightchoice import LightChoice
from weavecolor.making.project import Measured, Project, ProjectLayer, ProjectOption
from weavecolor.optics.appearance import MOST_LAYERS
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import Backing
from weavecolor.scene.backings import backing as backing_called
from weavecolor.textile.cloth import Cloth
from weavecolor.textile.grain import GRAINS, grain_words

DEMO = "shot-organza-red-black"
NOW = "on the table"
MOST_PINS = 24
MOST_CLOTHS = 40


@dataclass(frozen=True, eq=False)
class KeptCloth:
    """A cloth of the maker's own, the table it was read from, and where that came from."""

    cloth: Cloth
    definition: Mapping[str, Any]
    origin: str = "described"


@dataclass(frozen=True)
class FullnessChoice:
    """What was asked about pleats and gathers; lengths in cm."""

    kind: str = "gathered"
    ratio: float = 2.5
    doubled: bool = False
    finished_cm: float = 70.0
    width_cm: float = 112.0
    drop_cm: float = 90.0
    on_sheet: bool = False


@dataclass(frozen=True, eq=False)
class Work:
    """Everything one person has made on the page.

    ``carried``: the project that was opened, for what it holds that the page does not show.
    """

    cloths: Mapping[str, KeptCloth] = field(default_factory=dict)
    now: ProjectOption = ProjectOption(NOW, (ProjectLayer(DEMO),), "white")
    light: LightChoice = LightChoice()
    pins: tuple[ProjectOption, ...] = ()
    chosen: str = ""
    units: str = "cm"
    title: str = "My making"
    notes: str = ""
    in_hand: Mapping[str, ClothInHand] = field(default_factory=dict)
    pieces: tuple[Piece, ...] = ()
    fold: str = "open"
    measured: tuple[Measured, ...] = ()
    scenes: tuple[str, ...] = ()
    together: bool = True
    drape: str = "hanging fold"
    fullness: FullnessChoice = FullnessChoice()
    carried: Project = Project()


# --- cloths ---------------------------------------------------------------------------------


def cloth_keys(work: Work) -> tuple[str, ...]:
    """The maker's own cloths first, then the demo swatches."""
    return (*work.cloths, *(name for name in swatch_names() if name not in work.cloths))


def cloth_called(work: Work, key: str) -> Cloth:
    """The cloth of that key. Raises InputError where there is none."""
    kept = work.cloths.get(key)
    return kept.cloth if kept is not None else load_swatch(key)


def cloth_label(work: Work, key: str) -> str:
    """What a list shows for a cloth."""
    name = cloth_called(work, key).name
    return f"{name} (yours)" if key in work.cloths else name


def keep_cloth(
    work: Work, definition: Mapping[str, Any], origin: str, file: str = "your cloth"
) -> tuple[Work, str]:
    """``work`` with one more cloth of the maker's own, and the key it got.

    ``definition`` is a cloth file's table, kept as it was given so that what had to be supposed is
    still known after the project is reopened. A cloth of the same name takes the place of the
    earlier one. Raises InputError for what is no cloth, and above 40 cloths.
    """
    cloth = cloth_from_dict(definition, file=file)
    key = own_key(cloth.name)
    if key not in work.cloths and len(work.cloths) >= MOST_CLOTHS:
        raise InputError(f"the page keeps {MOST_CLOTHS} cloths of your own; start a new project")
    kept = KeptCloth(cloth, definition, origin)
    return replace(work, cloths={**work.cloths, key: kept}), key


def own_key(name: str) -> str:
    """Key of an own cloth: its name in small letters and dashes, told apart from the demo's."""
    slug = re.sub(r"[^\w]+", "-", name.casefold()).strip("-")[:60] or "cloth"
    return f"own-{slug}"


@lru_cache(maxsize=256)
def digest(cloth: Cloth) -> str:
    """A short name for a cloth's content; two cloths with the same look have the same."""
    return hashlib.sha256(cloth_to_toml(cloth).encode()).hexdigest()[:20]


# --- the option on the table ------------------------------------------------------------------


def stack_of(work: Work, option: ProjectOption) -> Stack:
    """The stack that an option describes. Raises InputError for an unknown cloth or backing."""
    layers = tuple(
        Layer(cloth_called(work, layer.cloth), layer.grain_deg, layer.face)
        for layer in option.layers
    )
    return Stack(layers, backing_of(option.backing), option.lay)


def backing_of(name: str) -> Backing | None:
    """The backing of that name; "" is open air."""
    return backing_called(name) if name else None


def stack_key(stack: Stack) -> tuple[Any, ...]:
    """The content of a stack, for caches."""
    behind = None if stack.backing is None else stack.backing.reflectance.tobytes()
    layers = tuple(
        (digest(layer.cloth), round(layer.grain_deg % 360.0, 6), layer.face)
        for layer in stack.layers
    )
    return layers, behind, stack.lay


def with_layer(work: Work, index: int, **changes: object) -> Work:
    """One layer changed; grain turns all layers by the same angle where they turn together."""
    layers = list(work.now.layers)
    if not 0 <= index < len(layers):
        return work
    before = layers[index]
    layers[index] = replace(before, **changes)  # type: ignore[arg-type]
    if "grain_deg" in changes and work.together:
        by = layers[index].grain_deg - before.grain_deg
        layers = [
            layer if i == index else replace(layer, grain_deg=(layer.grain_deg + by) % 180.0)
            for i, layer in enumerate(layers)
        ]
    return with_now(work, layers=tuple(layers))


def with_now(work: Work, **changes: object) -> Work:
    """The option on the table changed."""
    return replace(work, now=replace(work.now, **changes))  # type: ignore[arg-type]


def with_cloth(work: Work, key: str) -> Work:
    """The outermost layer's cloth changed, and that of every layer of the same cloth."""
    old = work.now.layers[0].cloth
    layers = tuple(
        replace(layer, cloth=key) if layer.cloth == old else layer for layer in work.now.layers
    )
    return with_now(work, layers=layers)


def add_layer(work: Work) -> Work:
    """One more layer inside, like the innermost. Raises InputError above twelve."""
    layers = work.now.layers
    if len(layers) >= MOST_LAYERS:
        raise InputError(f"a stack has at most {MOST_LAYERS} layers")
    return with_now(work, layers=(*layers, layers[-1]))


def drop_layer(work: Work, index: int) -> Work:
    """Without that layer; the last one stays."""
    layers = work.now.layers
    if len(layers) == 1:
        return work
    return with_now(work, layers=layers[:index] + layers[index + 1 :])


def lift_layer(work: Work, index: int) -> Work:
    """That layer moved one place outwards."""
    layers = list(work.now.layers)
    if 0 < index < len(layers):
        layers[index - 1], layers[index] = layers[index], layers[index - 1]
    return with_now(work, layers=tuple(layers))


def preset_of(grain_deg: float) -> str | None:
    """ "straight", "cross" or "bias" where the angle is just that."""
    for name, angle in GRAINS.items():
        if abs(grain_deg - angle) < 0.5:
            return name
    return None


def option_words(work: Work, option: ProjectOption) -> str:
    """An option in one line, outermost first."""
    parts: list[tuple[str, int]] = []
    for layer in option.layers:
        side = ", back out" if layer.face == "back" else ""
        text = f"{cloth_called(work, layer.cloth).name}, {grain_words(layer.grain_deg)}{side}"
        if parts and parts[-1][0] == text:
            parts[-1] = (text, parts[-1][1] + 1)
        else:
            parts.append((text, 1))
    told = " over ".join(f"{n} × {text}" if n > 1 else text for text, n in parts)
    lay = "" if option.lay == "loose" or len(option.layers) == 1 else f" ({option.lay})"
    return f"{told}{lay}, {backing_words(option.backing)}"


def short_words(work: Work, option: ProjectOption, known: bool = False) -> str:
    """A name for a pin: layers, grains and backing; the cloth too where it is not ``known``."""
    grains = [grain_words(layer.grain_deg) for layer in option.layers]
    told = grains[0] if len(set(grains)) == 1 else " / ".join(grains)
    count = {1: "single", 2: "double", 3: "triple"}.get(len(grains), f"{len(grains)} layers")
    backs = sum(layer.face == "back" for layer in option.layers)
    side = "" if not backs else ", back out" if backs == len(grains) else ", part back out"
    lay = "" if option.lay == "loose" or len(grains) == 1 else f", {option.lay}"
    text = f"{count}, {told}{side}{lay}, {backing_words(option.backing)}"
    if known:
        return text[:1].upper() + text[1:]
    names = [cloth_called(work, key).name for key in dict.fromkeys(x.cloth for x in option.layers)]
    return f"{' and '.join(names)}: {text}"


def backing_words(name: str) -> str:
    return f"over {name}" if name else "nothing behind"


# --- pins -------------------------------------------------------------------------------------


def same_option(one: ProjectOption, other: ProjectOption) -> bool:
    return (one.layers, one.backing, one.lay) == (other.layers, other.backing, other.lay)


def pin(work: Work, option: ProjectOption) -> Work:
    """One more pin, named in words; one that is pinned already is not pinned twice."""
    if any(same_option(option, there) for there in work.pins):
        return work
    if len(work.pins) >= MOST_PINS:
        raise InputError(f"{MOST_PINS} pins fill the board; take some off first")
    used = {there.name for there in (*work.pins, *work.carried.options)}
    name = letter = next(
        x for x in (*"ABCDEFGHIJKLMNOPQRSTUVWXYZ", *(f"A{i}" for i in range(99))) if x not in used
    )
    return replace(
        work, pins=(*work.pins, replace(option, name=name)), chosen=work.chosen or letter
    )


def unpin(work: Work, name: str) -> Work:
    pins = tuple(there for there in work.pins if there.name != name)
    chosen = work.chosen if any(p.name == work.chosen for p in pins) else ""
    carried = replace(
        work.carried,
        options=tuple(there for there in work.carried.options if there.name != name),
        pins=tuple(pinned for pinned in work.carried.pins if pinned != name),
        chosen="" if work.carried.chosen == name else work.carried.chosen,
    )
    chosen = chosen or (pins[0].name if pins else "")
    return replace(work, pins=pins, chosen=chosen, carried=carried)


def chosen_option(work: Work) -> ProjectOption:
    """The pin that was chosen, or what lies on the table."""
    return next((there for there in work.pins if there.name == work.chosen), work.now)
