"""The changes that can be made on the page to what one person is making.

The page holds one ``making.Making``, the same value that the project file holds and the making
sheet reads. Knows cloths, layers, light and options; knows nothing of Streamlit or of optics.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any

from weavecolor.cutting.remnant import ClothInHand
from weavecolor.errors import InputError, capital
from weavecolor.files.clothfile import cloth_to_toml, load_swatch, swatch_names
from weavecolor.making import answers
from weavecolor.making.answers import cleared, cloths_of, is_swatch, lights_of, swatch_cloth
from weavecolor.making.lightchoice import LightChoice
from weavecolor.making.model import Making, MakingCloth, MakingLayer, MakingOption
from weavecolor.optics.stack import MOST_LAYERS, Stack, layers_words
from weavecolor.textile.cloth import Cloth
from weavecolor.textile.grain import GRAINS, grain_words

DEMO = "shot-organza-red-black"
NOW = "on the table"
MOST_PINS = 24
MOST_CLOTHS = 40


@lru_cache(maxsize=1)
def begun() -> Making:
    """What the page begins with: the demo cloth on the table, nothing kept, nothing chosen."""
    table = MakingOption(NOW, (MakingLayer(DEMO),), "white")
    return Making(title="My making", cloths=(swatch_cloth(DEMO),), table=table)


def opened(making: Making) -> Making:
    """A making that was handed in. Raises InputError where it is more than the page keeps."""
    own = [cloth.key for cloth in making.cloths if not is_swatch(making, cloth.key)]
    if len(own) > MOST_CLOTHS or len(making.options) > MOST_PINS:
        raise InputError(
            f"holds more than this page keeps ({MOST_CLOTHS} cloths, {MOST_PINS} options)",
            file="project",
        )
    return making


# --- cloths ---------------------------------------------------------------------------------


def own_cloths(making: Making) -> tuple[str, ...]:
    """Keys of the maker's own cloths: all but the demo swatches."""
    return tuple(cloth.key for cloth in making.cloths if not is_swatch(making, cloth.key))


def cloth_keys(making: Making) -> tuple[str, ...]:
    """The maker's own cloths first, then the demo swatches."""
    own = own_cloths(making)
    return (*own, *(name for name in swatch_names() if name not in own))


def cloth_called(making: Making, key: str) -> Cloth:
    """The cloth of that key, of the making or of the shelf. Raises InputError for neither."""
    return cloths_of(making).get(key) or load_swatch(key)


def cloth_labels(making: Making) -> dict[str, str]:
    """What a list shows for each cloth, in the order of :func:`cloth_keys`."""
    own, names = own_cloths(making), cloth_keys(making)
    called = {key: cloth_called(making, key).name for key in names}
    return {key: f"{name} (yours)" if key in own else name for key, name in called.items()}


def keep_cloth(
    making: Making, definition: Mapping[str, Any], origin: str, file: str = "your cloth"
) -> tuple[Making, str]:
    """``making`` with one more cloth of the maker's own, and the key it got.

    ``definition`` is a cloth file's table, kept as it was given so that what had to be assumed is
    still known after the project is reopened; ``origin`` as in ``MakingCloth``; ``file`` is what a
    complaint calls it. A different cloth of the same name is kept beside the earlier one. Raises
    InputError for what is no cloth, and above 40 cloths.
    """
    try:
        kept = MakingCloth("own", definition, origin=origin)
    except InputError as error:
        raise InputError(error.what, file=file, field=error.field) from None
    key = base = own_key(kept.cloth.name)
    there = {cloth.key: cloth for cloth in making.cloths}
    number = 1
    while key in there and there[key].definition != kept.definition:
        number += 1
        key = f"{base}-{number}"
    if key in there:
        return making, key
    if len(own_cloths(making)) >= MOST_CLOTHS:
        raise InputError(f"the page keeps {MOST_CLOTHS} cloths of your own; start a new project")
    return replace(making, cloths=(*making.cloths, replace(kept, key=key))), key


def own_key(name: str) -> str:
    """Key of an own cloth: its name in small letters and dashes, told apart from the demo's."""
    slug = re.sub(r"[^\w]+", "-", name.casefold()).strip("-")[:60] or "cloth"
    return f"own-{slug}"


#: What is supposed of a length before it is told.
USUAL = ClothInHand(112.0, 250.0, selvedge_cm=1.0)
MOST_LENGTHS = 8


def hands_of(making: Making, key: str) -> tuple[ClothInHand, ...]:
    """The lengths in hand of that cloth."""
    return next((cloth.in_hand for cloth in making.cloths if cloth.key == key), ())


def with_hand(making: Making, key: str, index: int, **changes: object) -> Making:
    """``making`` with the length ``index`` in hand of the cloth ``key`` changed by ``changes``; a
    first one is told by its change."""
    hands = list(hands_of(making, key) or (USUAL,))
    if not 0 <= index < len(hands):
        return making
    hands[index] = replace(hands[index], **changes)  # type: ignore[arg-type]
    return _with_hands(making, key, tuple(hands))


def add_hand(making: Making, key: str) -> Making:
    """One more length in hand of that cloth, as wide as the last. Raises InputError above eight."""
    hands = hands_of(making, key) or (USUAL,)
    if len(hands) >= MOST_LENGTHS:
        raise InputError(f"the page keeps {MOST_LENGTHS} lengths of one cloth")
    last = hands[-1]
    width = USUAL.width_cm if last.outline is not None else last.width_cm
    more = replace(USUAL, width_cm=width, selvedge_cm=last.selvedge_cm, one_way=last.one_way)
    return _with_hands(making, key, (*hands, more))


def drop_hand(making: Making, key: str, index: int) -> Making:
    """``making`` without the length ``index`` in hand of the cloth ``key``."""
    hands = hands_of(making, key)
    return _with_hands(making, key, hands[:index] + hands[index + 1 :])


def _with_hands(making: Making, key: str, hands: tuple[ClothInHand, ...]) -> Making:
    making = with_cloths(making, (key,))
    cloths = tuple(
        replace(cloth, in_hand=hands) if cloth.key == key else cloth for cloth in making.cloths
    )
    return replace(making, cloths=cloths)


def with_cloths(making: Making, keys: tuple[str, ...]) -> Making:
    """Swatches that are used for the first time come into the making."""
    there = {cloth.key for cloth in making.cloths}
    new = [swatch_cloth(key) for key in dict.fromkeys(keys) if key not in there]
    return replace(making, cloths=(*making.cloths, *new)) if new else making


def _tidied(making: Making) -> Making:
    """Without swatches that were only tried: unused, and none of them in hand."""
    used = {layer.cloth for option in making.options for layer in option.layers}
    used |= {layer.cloth for layer in table_of(making).layers} | set(making.limits.outside)
    cloths = tuple(
        cloth
        for cloth in making.cloths
        if cloth.origin != "swatch" or cloth.in_hand or cloth.key in used
    )
    return making if len(cloths) == len(making.cloths) else replace(making, cloths=cloths)


@lru_cache(maxsize=256)
def digest(cloth: Cloth) -> str:
    """A short name for a cloth's content; two cloths with the same look have the same."""
    return hashlib.sha256(cloth_to_toml(cloth).encode()).hexdigest()[:20]


# --- the option on the table ------------------------------------------------------------------


def table_of(making: Making) -> MakingOption:
    """What is worked on: what lies on the table, else the choice, the first option, the demo."""
    if making.table is not None:
        return making.table
    first = next((x for x in making.options if x.name == making.chosen), None)
    first = first or next(iter(making.options), None)
    if first is None and making.cloths:
        return MakingOption(NOW, (MakingLayer(making.cloths[0].key),), "white")
    return begun_table() if first is None else replace(first, name=NOW)


def begun_table() -> MakingOption:
    """The demo cloth, single, over white."""
    table = begun().table
    assert table is not None
    return table


def light_of(making: Making) -> LightChoice:
    """The light that is worked in."""
    return lights_of(making)[0]


def stack_of(making: Making, option: MakingOption) -> Stack:
    """The stack that an option describes. Raises InputError for an unknown cloth or backing."""
    keys = tuple(layer.cloth for layer in option.layers)
    return answers.stack_of(with_cloths(making, keys), option)


def stack_key(stack: Stack) -> tuple[Any, ...]:
    """The content of a stack, for caches."""
    behind = None if stack.backing is None else stack.backing.optics
    layers = tuple(
        (digest(layer.cloth), round(layer.grain_deg % 360.0, 6), layer.face)
        for layer in stack.layers
    )
    return layers, behind, stack.lay


def with_layer(making: Making, index: int, **changes: object) -> Making:
    """``making`` with the layer ``index`` on the table changed by ``changes``; grain turns all
    layers by the same angle where they turn together."""
    layers = list(table_of(making).layers)
    if not 0 <= index < len(layers):
        return making
    before = layers[index]
    layers[index] = replace(before, **changes)  # type: ignore[arg-type]
    if "grain_deg" in changes and making.together:
        by = layers[index].grain_deg - before.grain_deg
        layers = [
            layer if i == index else replace(layer, grain_deg=(layer.grain_deg + by) % 180.0)
            for i, layer in enumerate(layers)
        ]
    return with_now(making, layers=tuple(layers))


def with_now(making: Making, **changes: object) -> Making:
    """The option on the table changed."""
    return to_table(making, replace(table_of(making), **changes))  # type: ignore[arg-type]


def to_table(making: Making, option: MakingOption) -> Making:
    """Another option on the table."""
    making = with_cloths(making, tuple(layer.cloth for layer in option.layers))
    return _tidied(replace(making, table=replace(option, name=NOW)))


def with_cloth(making: Making, key: str) -> Making:
    """The outermost layer's cloth changed, and that of every layer of the same cloth."""
    layers = table_of(making).layers
    old = layers[0].cloth
    return with_now(
        making,
        layers=tuple(
            replace(layer, cloth=key) if layer.cloth == old else layer for layer in layers
        ),
    )


def add_layer(making: Making) -> Making:
    """One more layer inside, like the innermost. Raises InputError above twelve."""
    layers = table_of(making).layers
    if len(layers) >= MOST_LAYERS:
        raise InputError(f"a stack has at most {MOST_LAYERS} layers")
    return with_now(making, layers=(*layers, layers[-1]))


def drop_layer(making: Making, index: int) -> Making:
    """Without that layer; the last one stays."""
    layers = table_of(making).layers
    if len(layers) == 1:
        return making
    return with_now(making, layers=layers[:index] + layers[index + 1 :])


def lift_layer(making: Making, index: int) -> Making:
    """That layer moved one place outwards."""
    layers = list(table_of(making).layers)
    if 0 < index < len(layers):
        layers[index - 1], layers[index] = layers[index], layers[index - 1]
    return with_now(making, layers=tuple(layers))


def preset_of(grain_deg: float) -> str | None:
    """ "straight", "cross" or "bias" where the angle is just that."""
    for name, angle in GRAINS.items():
        if abs(grain_deg - angle) < 0.5:
            return name
    return None


def option_words(making: Making, option: MakingOption) -> str:
    """An option in one line, outermost first."""
    return f"{layers_words(stack_of(making, option))}, {backing_words(option.backing)}"


def short_words(making: Making, option: MakingOption, known: bool = False) -> str:
    """A name for an ``option`` of ``making``: layers, grains, backing; the cloth too where it is
    not ``known``."""
    grains = [grain_words(layer.grain_deg) for layer in option.layers]
    told = grains[0] if len(set(grains)) == 1 else " / ".join(grains)
    count = {1: "single", 2: "double", 3: "triple"}.get(len(grains), f"{len(grains)} layers")
    backs = sum(layer.face == "back" for layer in option.layers)
    side = "" if not backs else ", back out" if backs == len(grains) else ", part back out"
    lay = "" if option.lay == "loose" or len(grains) == 1 else f", {option.lay}"
    text = f"{count}, {told}{side}{lay}, {backing_words(option.backing)}"
    if known:
        return capital(text)
    keys = dict.fromkeys(layer.cloth for layer in option.layers)
    names = [cloth_called(making, key).name for key in keys]
    return f"{' and '.join(names)}: {text}"


def backing_words(name: str) -> str:
    return f"over {name}" if name else "nothing behind"


# --- options that are kept, and the choice ----------------------------------------------------


def pin(making: Making, option: MakingOption) -> Making:
    """One more option kept; one that is kept already is not kept twice. Nothing is chosen."""
    making = with_cloths(making, tuple(layer.cloth for layer in option.layers))
    made, _ = answers.with_option(making, option)
    if len(made.options) > MOST_PINS:
        raise InputError(f"{MOST_PINS} pins fill the board; take some off first")
    return made


def unpin(making: Making, name: str) -> Making:
    """Without that option; it can be brought back."""
    options = tuple(there for there in making.options if there.name != name)
    chosen = "" if making.chosen == name else making.chosen
    return cleared(making, options=options, chosen=chosen)


def unpin_all(making: Making) -> Making:
    """A clear board, nothing chosen; it can be brought back."""
    return cleared(making, options=(), chosen="")


def begin_anew(making: Making) -> Making:
    """A clean table in the maker's own units; what was made can be brought back."""
    return replace(begun(), units=making.units, before=replace(making, before=None))


def choose(making: Making, name: str) -> Making:
    """That option chosen, "" for none. Raises InputError where there is none of that name."""
    return replace(making, chosen=making.option(name).name if name else "")


def decided_option(making: Making) -> MakingOption:
    """The option being decided about: the chosen one, or what lies on the table."""
    return next((x for x in making.options if x.name == making.chosen), table_of(making))
