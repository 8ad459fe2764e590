"""From a making to what can be computed: cloths, stacks, lights, candidates, lays, plans.

Knows which part of a making is what; the computing is done elsewhere.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import lru_cache
from itertools import chain, count
from pathlib import Path
from string import ascii_uppercase
from typing import TYPE_CHECKING

from weavecolor.colour.spectra import WAVELENGTHS
from weavecolor.cutting.fullness import FullnessWanted
from weavecolor.cutting.pieces import outer_words
from weavecolor.cutting.remnant import ClothInHand
from weavecolor.decide.wishes import Limits, cancel_out
from weavecolor.decide.wishwords import wish_from
from weavecolor.errors import InputError, capital
from weavecolor.files.clothfile import load_swatch, read_cloth, swatch_folder, swatch_names
from weavecolor.files.textfile import read_text
from weavecolor.making.lightchoice import LightChoice, place_name, scene_of
from weavecolor.making.model import (
    FullnessAsked,
    Making,
    MakingCloth,
    MakingLayer,
    MakingOption,
    backing_of,
)
from weavecolor.optics.stack import Layer, Stack
from weavecolor.picture.forms import beneath_words, not_beneath, not_on_form, shape_called
from weavecolor.picture.shapes import shape_heading
from weavecolor.scene.folds import hung
from weavecolor.scene.scene import Scene
from weavecolor.textile.cloth import Cloth
from weavecolor.textile.names import told_apart

if TYPE_CHECKING:  # lays are loaded for whoever asks for one
    from weavecolor.cutting.needed import ClothNeeded
    from weavecolor.decide.judged import Fits

#: Gathered skirts by their fullness; of two as near the fuller.
_GATHERED = {"full gathered skirt": 5.0, "gathered skirt": 3.0, "slightly gathered skirt": 2.0}
_PLEATED = {"knife": "knife pleats", "box": "box pleats", "flat": "hanging panel"}


def project_cloth(key: str, path: str | Path, in_hand: tuple[ClothInHand, ...] = ()) -> MakingCloth:
    """A cloth file as a project keeps it: the file's own table, its spectra written into it.

    Raises InputError as ``clothfile.read_cloth``.

    Parameters
    ----------
    key : str
        What options call the cloth by, unique in the making.
    path : str or Path
        Its cloth file (.toml).
    in_hand : tuple of ClothInHand
        Lengths in hand, cm.

    Examples
    --------
    >>> from weavecolor.files.clothfile import swatch_folder
    >>> project_cloth("own", swatch_folder() / "slip-white.toml").key
    'own'
    """
    cloth = read_cloth(path)  # refuses what is no cloth
    table = tomllib.loads(read_text(path, 1_000_000, "cloth file"))
    for system in ("warp", "weft"):
        colour = table[system]["colour"]
        if isinstance(colour, dict) and "spectrum_file" in colour:
            spectrum = getattr(cloth, system).colour
            table[system]["colour"] = {
                **({"name": colour["name"]} if "name" in colour else {}),
                "wavelengths": [int(nm) for nm in WAVELENGTHS],
                "reflectance": [float(value) for value in spectrum],
                "unit": "fraction",
            }
    return MakingCloth(key, table, in_hand)


def swatch_cloth(name: str, in_hand: tuple[ClothInHand, ...] = ()) -> MakingCloth:
    """A swatch that comes with the tool, as a making keeps it. Raises InputError as ``swatch``.

    Examples
    --------
    >>> swatch_cloth("slip-white").origin
    'swatch'
    """
    kept = _shipped(name)
    return replace(kept, in_hand=in_hand) if in_hand else kept


@lru_cache(maxsize=64)
def _shipped(name: str) -> MakingCloth:
    load_swatch(name)
    return replace(project_cloth(name, swatch_folder() / f"{name}.toml"), origin="swatch")


@lru_cache(maxsize=64)
def _cloths(cloths: tuple[MakingCloth, ...]) -> dict[str, Cloth]:
    return told_apart({kept.key: kept.cloth for kept in cloths})


def cloths_of(making: Making) -> Mapping[str, Cloth]:
    """The making's cloths by key, two of one name told apart; the same objects for the same cloths.

    Examples
    --------
    >>> [cloth.name for cloth in cloths_of(project).values()] == [organza.name]
    True
    """
    return dict(_cloths(making.cloths))


def is_swatch(making: Making, key: str) -> bool:
    """Whether that cloth is one of the tool's own swatches, unchanged.

    Examples
    --------
    >>> is_swatch(project, "own")
    False
    """
    return key in swatch_names() and swatch_cloth(key).definition == making.cloth(key).definition


def stack_of(making: Making, option: MakingOption) -> Stack:
    """The stack that an option describes. Raises InputError for an unknown cloth.

    Examples
    --------
    >>> stack_of(project, project.option("A")).backing.name
    'white'
    """
    cloths = cloths_of(making)
    for layer in option.layers:
        making.cloth(layer.cloth)
    layers = tuple(Layer(cloths[x.cloth], x.grain_deg, x.face) for x in option.layers)
    try:
        return Stack(layers, backing_of(option.backing), option.lay)
    except InputError as error:
        raise error.at(field=f"option {option.name}") from None


def lights_of(making: Making) -> tuple[LightChoice, ...]:
    """The lights it will be seen in, the main one first, each place once.

    Examples
    --------
    >>> len(lights_of(Making("Cape")))
    1
    """
    chosen = [] if making.light is None else [making.light]
    by_place = {place_name(light.place): light for light in chosen}
    for name in map(place_name, making.scenes):
        by_place.setdefault(name, LightChoice(place=name))
    return tuple(by_place.values()) or (LightChoice(),)


def searched_in(making: Making) -> tuple[Scene, ...]:
    """The places that its wishes are judged in, the main one first: as it hangs or held flat.

    Raises InputError where it hangs and light comes from behind.

    Examples
    --------
    >>> [len(place.views) for place in searched_in(Making("Cape", hung=True))]
    [16]
    """
    places = map(scene_of, lights_of(making))
    return tuple(hung(place) if making.hung else place for place in places)


def plans_of(making: Making) -> tuple[FullnessWanted, ...]:
    """What is planned of fullness: what was written down, then the skirt asked about where it is
    to stand on the sheet.

    Examples
    --------
    >>> plans_of(Making("Cape"))
    ()
    """
    asked = making.fullness_asked
    return (*making.fullness, *([asked.wanted()] if asked.on_sheet else []))


def asked_of(making: Making) -> FullnessAsked:
    """The skirt asked about; where nothing was asked, the first skirt that is planned.

    Examples
    --------
    >>> asked_of(Making("Cape")).finished_cm
    70.0
    """
    asked = making.fullness_asked
    skirt = next((plan for plan in making.fullness if "skirt" in plan.what.casefold()), None)
    if skirt is None or asked != FullnessAsked():
        return asked
    full = skirt.fullness or (skirt.widths or 0) * skirt.cloth_width_cm / skirt.finished_cm
    return FullnessAsked(
        skirt.kind, min(max(full, 1.0), 6.0), skirt.doubled, skirt.finished_cm,
        skirt.cloth_width_cm, skirt.length_cm, layers=skirt.layers,
    )  # fmt: skip


def shape_of(making: Making, stack: Stack) -> str:
    """The hung shape to look at a stack in, as crisp or soft as that is: the one kept, or the
    nearest to the skirt asked about.

    Examples
    --------
    >>> shape_of(Making("Cape"), single)
    'gathered-3-organza'
    """
    asked = asked_of(making)
    skirt = _PLEATED.get(asked.kind) or min(
        _GATHERED, key=lambda name: abs(_GATHERED[name] - asked.ratio)
    )
    return shape_called(making.shape or making.form or skirt, stack)


def as_cut(
    making: Making, stack: Stack, shape: str, beneath: str = "none"
) -> tuple[Stack, str]:
    """The layers of a stack that hang in a shape, and in words in which layers alone a skirt is
    cut, "" where it is cut in all.

    Parameters
    ----------
    making : Making
    stack : Stack
    shape : str
        A hung shape's name.
    beneath : str
        What the innermost layer hangs as; by itself it is no layer of the skirt.

    Examples
    --------
    >>> outer = FullnessAsked(layers=1)
    >>> double = Stack(single.layers * 2)
    >>> as_cut(Making("Cape", fullness_asked=outer), double, "gathered-3-organza")[1]
    'in the outermost layer alone'
    """
    told = [(piece.layers, piece.name) for piece in making.pieces]
    told += [(plan.layers, plan.what) for plan in plans_of(making)]
    if making.fullness_asked.layers is not None:
        told.append((making.fullness_asked.layers, "skirt"))
    under = stack.layers[-1:] if beneath != "none" else ()
    every = len(stack.layers) - len(under)
    skirts = [every if most is None else most for most, what in told if "skirt" in what.casefold()]
    outer = max(skirts, default=every)
    if outer >= every or "skirt" not in shape_heading(shape)[0]:
        return stack, ""
    return replace(stack, layers=stack.layers[:outer] + under), outer_words(outer)


def hung_beneath(making: Making, option: MakingOption, shape: str) -> tuple[str, str, str]:
    """What the innermost layer of an option hangs as in a shape, how far the dress form reaches,
    and what is to be said of it: what cannot be combined is left out.

    Parameters
    ----------
    making : Making
    option : MakingOption
    shape : str
        A hung shape's name.

    Examples
    --------
    >>> hung_beneath(project, project.option("A"), "gathered-3-organza")
    ('none', '', '')
    """
    behind = backing_of(option.backing)
    beneath, dress_form, said = option.beneath, making.dress_form, []
    if why := not_beneath(beneath, len(option.layers), shape, behind):
        beneath = "none"
        said.append(f"drawn with nothing beneath: {why}")
    elif beneath != "none":
        said.append(beneath_words(beneath))
    if why := not_on_form(dress_form, shape, behind):
        dress_form = ""
        said.append(f"drawn on the usual form: {why}")
    return beneath, dress_form, ". ".join(map(capital, said))


def chosen_option(making: Making, name: str = "") -> MakingOption:
    """The option of that name, or the one that was chosen; none is chosen unasked. Raises
    InputError where none is.

    Examples
    --------
    >>> chosen_option(project).name
    'A'
    """
    if name or making.chosen:
        return making.option(name or making.chosen)
    if not making.options:
        raise InputError("holds no option yet; find some with weavecolor decide stacks --keep")
    names = ", ".join(option.name for option in making.options)
    raise InputError(f"no option is chosen; choose one of {names}")


def in_hand_of(project: Making) -> dict[str, tuple[ClothInHand, ...]]:
    """The lengths and remnants of each cloth by the name; cloths without are left out.

    Examples
    --------
    >>> in_hand_of(project)
    {}
    """
    cloths = cloths_of(project)
    return {cloths[c.key].name: c.in_hand for c in project.cloths if c.in_hand}


def limits_of(project: Making) -> Limits:
    """The project's limits, the outside cloths by their own names.

    Examples
    --------
    >>> limits_of(project).layers
    (1, 3)
    """
    cloths = cloths_of(project)
    return replace(
        project.limits, outside=tuple(cloths[key].name for key in project.limits.outside)
    )


def fits_of(project: Making, tries: int | None = None) -> Fits | None:
    """The question whether there is cloth enough; None where pieces or lengths are not given.

    Examples
    --------
    >>> fits_of(project) is None  # no pieces, no cloth in hand
    True
    """
    from weavecolor.decide.enoughcloth import fits_by_lay

    in_hand = in_hand_of(project)
    plans = plans_of(project)
    if not (project.pieces or plans) or not in_hand:
        return None
    return fits_by_lay(project.pieces, in_hand, plans, fold=project.fold, tries=tries)


def needs_of(
    project: Making,
    option: MakingOption,
    tries: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[ClothNeeded, ...]:
    """What each cloth of the option must give, every layer of it with every piece and fullness but
    those of the outer layers alone.

    None without pieces and fullness. Raises InputError as ``needed.cloth_needed``.

    Parameters
    ----------
    project : Making
    option : MakingOption
        Of the project's own cloths.
    tries : int, optional
        Orders of the pieces that a lay is tried in; the lay's own number by default.
    progress : callable, optional
        Is told (done, all) as lays are tried.

    Examples
    --------
    >>> needs_of(project, project.option("A"))
    ()
    """
    from weavecolor.decide.enoughcloth import stack_needs

    return stack_needs(
        stack_of(project, option),
        project.pieces,
        plans_of(project),
        in_hand_of(project),
        fold=project.fold,
        tries=tries,
        progress=progress,
    )


def with_option(making: Making, option: MakingOption) -> tuple[Making, str]:
    """The making with this option kept, and the name it has there.

    A stack that is kept already keeps its name; a new one gets the next letter. Nothing is chosen.

    Examples
    --------
    >>> with_option(project, project.option("A"))[1]
    'A'
    """
    for kept in making.options:
        if kept.same_stack(option):
            return making, kept.name
    used = {kept.name for kept in making.options}
    names = chain(ascii_uppercase, map("A{}".format, count()))
    name = next(name for name in names if name not in used)
    return replace(making, options=(*making.options, replace(option, name=name))), name


def with_stacks(
    making: Making, stacks: tuple[Stack, ...], note: str = "", beneath: str = "none"
) -> tuple[Making, tuple[str, ...]]:
    """The making with these stacks among its options, and the name of each.

    The stacks' cloths must be the making's own, by name.

    Parameters
    ----------
    making : Making
    stacks : tuple of Stack
        Of the making's own cloths, told by name.
    note : str
        Kept with each of them, one line.
    beneath : str
        What the innermost layer of each hangs as.

    Examples
    --------
    >>> made, names = with_stacks(project, (double,))
    >>> len(made.options), names
    (2, ('B',))
    """
    names: list[str] = []
    for stack in stacks:
        option = replace(option_of(making, stack), note=note, beneath=beneath)
        making, name = with_option(making, option)
        names.append(name)
    return making, tuple(names)


def option_of(making: Making, stack: Stack, name: str = "stack") -> MakingOption:
    """A stack of the making's own cloths as an option. Raises InputError for another's cloth.

    Parameters
    ----------
    making : Making
    stack : Stack
    name : str
        Of the option, one line.

    Examples
    --------
    >>> option_of(project, double).layers[0].cloth
    'own'
    """
    keys = {cloth.name: key for key, cloth in cloths_of(making).items()}
    for layer in stack.layers:
        if layer.cloth.name not in keys:
            raise InputError(f"the cloth {layer.cloth.name!r} is no longer among the cloths")
    layers = tuple(MakingLayer(keys[x.cloth.name], x.grain_deg, x.face) for x in stack.layers)
    return MakingOption(
        name, layers, "" if stack.backing is None else stack.backing.name, stack.lay
    )


def cleared(making: Making, **changes: object) -> Making:
    """The making with something taken away, and itself kept to go back to.

    Examples
    --------
    >>> undone(cleared(project, options=(), chosen="")) == project
    True
    """
    return replace(making, **changes, before=replace(making, before=None))  # type: ignore[arg-type]


def undone(making: Making) -> Making:
    """The making as it was before the last clearing. Raises InputError where there was none.

    Examples
    --------
    >>> undone(cleared(project, title="")).title
    'Cape'
    """
    if making.before is None:
        raise InputError("nothing was cleared that could be brought back")
    return making.before


def check_project(project: Making) -> tuple[str, ...]:
    """What is still missing for the making sheet, as sentences.

    Examples
    --------
    >>> type(check_project(project)).__name__
    'tuple'
    """
    said: list[str] = []
    cloths = cloths_of(project)
    if not cloths:
        said.append("No cloth yet.")
    if not project.options:
        said.append("No option yet: weavecolor decide stacks --project FILE --keep finds some.")
    elif not project.chosen:
        said.append("No option is chosen yet: weavecolor project choose FILE NAME.")
    if not project.wishes:
        said.append("No wish is kept; give --want when ranking.")
    if told := cancel_out({wish_from(text).kind for text in project.wishes}):
        said.append(f"{capital(told)}.")
    if not project.pieces:
        said.append("No pattern pieces: there will be no cutting list and no lay.")
    for kept in project.cloths:
        if not kept.in_hand:
            said.append(f"{cloths[kept.key].name}: the amount in hand is not given.")
    return tuple(said)
