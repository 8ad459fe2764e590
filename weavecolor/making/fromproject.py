"""From the project file to what can be computed: cloths, stacks, lights, candidates, lays.

Knows which part of a project is what; the computing is done elsewhere.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from weavecolor.colour.spectra import WAVELENGTHS
from weavecolor.cutting.lay import Lay
from weavecolor.cutting.remnant import ClothInHand
from weavecolor.decide.enoughcloth import fits_by_lay, grains_used, lay_layers
from weavecolor.decide.judged import Fits
from weavecolor.decide.wishes import Limits
from weavecolor.decide.wishwords import wish_from
from weavecolor.errors import InputError
from weavecolor.files.clothfile import cloth_from_dict, read_cloth
from weavecolor.files.textfile import read_text
from weavecolor.making.lightchoice import lights_of, scene_of
from weavecolor.making.projectdata import Project, ProjectCloth, ProjectLayer, ProjectOption
from weavecolor.optics.appearance import MOST_LAYERS
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import Backing, backing
from weavecolor.textile.cloth import Cloth

#: Options of these names are added; the page's pins are called so too.
LETTERS = (*"ABCDEFGHIJKLMNOPQRSTUVWXYZ", *(f"A{i}" for i in range(99)))
OPEN = ("", "open", "nothing")


def backing_of(text: str) -> Backing | None:
    """The backing of that name; "", "open" and "nothing" are open air. Raises InputError.

    Examples
    --------
    >>> backing_of("open") is None, backing_of("black").name
    (True, 'black')
    """
    return None if text.strip().casefold() in OPEN else backing(text)


def project_cloth(
    key: str, path: str | Path, in_hand: tuple[ClothInHand, ...] = ()
) -> ProjectCloth:
    """A cloth file as a project keeps it: the file's own table, its spectra written into it.

    Raises InputError as ``clothfile.read_cloth``.

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
                "reflectance": [round(float(value), 6) for value in spectrum],
                "unit": "fraction",
            }
    return ProjectCloth(key, table, in_hand)


@lru_cache(maxsize=32)
def _cloths(tables: _Tables) -> dict[str, Cloth]:
    return {
        key: cloth_from_dict(table, file=f"project: cloth {key!r}") for key, table in tables.items
    }


class _Tables:
    """Lets a cache look cloths up by their tables' content."""

    def __init__(self, project: Project) -> None:
        self.items = tuple((cloth.key, cloth.definition) for cloth in project.cloths)
        self.text = repr(self.items)

    def __hash__(self) -> int:
        return hash(self.text)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Tables) and self.text == other.text


def cloths_of(project: Project) -> Mapping[str, Cloth]:
    """The project's cloths by key; the same objects for the same project.

    Raises InputError naming the cloth that cannot be read.

    Examples
    --------
    >>> [cloth.name for cloth in cloths_of(project).values()] == [organza.name]
    True
    """
    return dict(_cloths(_Tables(project)))


def stack_of(project: Project, option: ProjectOption) -> Stack:
    """The stack that an option describes. Raises InputError for an unknown cloth or backing.

    Examples
    --------
    >>> stack_of(project, project.option("A")).backing.name
    'white'
    """
    if not 1 <= len(option.layers) <= MOST_LAYERS:
        raise InputError(f"a stack has 1 to {MOST_LAYERS} layers", field=f"option {option.name}")
    cloths = cloths_of(project)
    for layer in option.layers:
        project.cloth(layer.cloth)
    layers = tuple(Layer(cloths[x.cloth], x.grain_deg, x.face) for x in option.layers)
    try:
        return Stack(layers, backing_of(option.backing), option.lay)
    except InputError as error:
        raise error.at(field=f"option {option.name}") from None


def chosen_option(project: Project, name: str = "") -> ProjectOption:
    """The option of that name, or the one chosen, or the only one. Raises InputError.

    Examples
    --------
    >>> chosen_option(project).name
    'A'
    """
    if name or project.chosen:
        return project.option(name or project.chosen)
    if len(project.options) == 1:
        return project.options[0]
    if not project.options:
        raise InputError("holds no option yet; find some with weavecolor decide stacks --keep")
    names = ", ".join(option.name for option in project.options)
    raise InputError(f"no option is chosen; choose one of {names}")


def in_hand_of(project: Project) -> dict[str, tuple[ClothInHand, ...]]:
    """The lengths and remnants of each cloth by the name; cloths without are left out.

    Examples
    --------
    >>> in_hand_of(project)
    {}
    """
    cloths = cloths_of(project)
    return {cloths[c.key].name: c.in_hand for c in project.cloths if c.in_hand}


def limits_of(project: Project) -> Limits:
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


def fits_of(project: Project, tries: int | None = None) -> Fits | None:
    """The question whether there is cloth enough; None where pieces or lengths are not given.

    Examples
    --------
    >>> fits_of(project) is None  # no pieces, no cloth in hand
    True
    """
    in_hand = in_hand_of(project)
    if not project.pieces or not in_hand:
        return None
    return fits_by_lay(project.pieces, in_hand, fold=project.fold, tries=tries)


@dataclass(frozen=True, eq=False)
class ClothLay:
    """The lay of one cloth of an option: ``lay`` None where ``words`` tell why there is none."""

    cloth: str
    lay: Lay | None
    words: str = ""


def lays_of(
    project: Project,
    option: ProjectOption,
    tries: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[ClothLay, ...]:
    """Each cloth of the option laid, every layer of it with every piece; none without pieces.

    Of several lengths the first that holds it all is taken, else the first. Raises InputError as
    ``lay.lay``.

    Examples
    --------
    >>> lays_of(project, project.option("A"))
    ()
    """
    if not project.pieces:
        return ()
    in_hand = in_hand_of(project)
    uses = grains_used(stack_of(project, option))
    made = []
    for done, (name, use) in enumerate(uses.items(), 1):
        found: ClothLay | None = None
        for length in in_hand.get(name, ()):
            laid = lay_layers(project.pieces, length, use, project.fold, tries)
            if laid is None:
                found = ClothLay(
                    name, None, "its layers lie at odd angles to one another: lay each by hand"
                )
                break
            if found is None or laid.fits:
                if length.name:
                    laid = replace(laid, notes=(f"Laid on: {length.name}.", *laid.notes))
                found = ClothLay(name, laid)
            if laid.fits:
                break
        made.append(found or ClothLay(name, None, "the amount in hand is not given"))
        if progress is not None:
            progress(done, len(uses))
    return tuple(made)


def with_options(
    project: Project, stacks: tuple[Stack, ...], note: str = ""
) -> tuple[Project, tuple[str, ...]]:
    """The project with these stacks among its options and pins, and the name of each.

    A stack that is there already keeps its name. The stacks' cloths must be the project's own.

    Examples
    --------
    >>> made, names = with_options(project, (double,))
    >>> len(made.options), names
    (2, ('B',))
    """
    keys = {cloth.name: key for key, cloth in cloths_of(project).items()}
    names: list[str] = []
    options, pins = list(project.options), list(project.pins)
    for stack in stacks:
        layers = tuple(ProjectLayer(keys[x.cloth.name], x.grain_deg, x.face) for x in stack.layers)
        behind = "" if stack.backing is None else stack.backing.name
        same = [o for o in options if (o.layers, o.backing, o.lay) == (layers, behind, stack.lay)]
        if same:
            name = same[0].name
        else:
            used = {option.name for option in options}
            name = next(letter for letter in LETTERS if letter not in used)
            options.append(ProjectOption(name, layers, behind, stack.lay, note))
        if name not in pins:
            pins.append(name)
        names.append(name)
    return replace(project, options=tuple(options), pins=tuple(pins)), tuple(names)


def check_project(project: Project) -> tuple[str, ...]:
    """What is still missing for the making sheet, as sentences; everything named is looked up.

    Raises InputError for a cloth, backing, wish or scene that is not known.

    Examples
    --------
    >>> type(check_project(project)).__name__
    'tuple'
    """
    said: list[str] = []
    cloths = cloths_of(project)
    names = [cloth.name for cloth in cloths.values()]
    if not cloths:
        said.append("No cloth yet.")
    for name in names:
        if names.count(name) > 1:
            raise InputError(f"two cloths are called {name!r}; name them apart", field="cloths")
    for text in project.backings:
        _placed("backings", backing_of, text)
    for light in lights_of(project):
        _placed("scenes", scene_of, light)
    for text in project.wishes:
        _placed("wishes", wish_from, text)
    for option in project.options:
        stack_of(project, option)
    if not project.options:
        said.append("No option yet: weavecolor decide stacks --project FILE --keep finds some.")
    elif not project.chosen:
        said.append("No option is chosen yet: weavecolor project choose FILE NAME.")
    if not project.wishes:
        said.append("No wish is kept; give --want when ranking.")
    if not project.pieces:
        said.append("No pattern pieces: there will be no cutting list and no lay.")
    for cloth in project.cloths:
        if not cloth.in_hand:
            said.append(f"{cloths[cloth.key].name}: the amount in hand is not given.")
    return tuple(said)


def _placed(field: str, look_up: Callable[[Any], Any], name: Any) -> None:
    try:
        look_up(name)
    except InputError as error:
        raise InputError(error.what, file=error.file, field=field) from None
