"""An option of a making as a making sheet: pictures, colours, show-through, lays, cautions, basis.

Knows what goes on the sheet and where it is worked out; how it is set is ``sheetlayout``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from weavecolor.cache import Kept, Packed, let_go
from weavecolor.cutting.fullness import FullnessPlan
from weavecolor.cutting.needed import ClothNeeded, in_outer_layers
from weavecolor.cutting.pieces import named_apart, outer_words
from weavecolor.decide.compare import Option, Outcome, evaluate
from weavecolor.decide.showthrough import shown_in, usual_items
from weavecolor.decide.unexpected import kept_out
from weavecolor.decide.watered import watered
from weavecolor.errors import InputError, capital
from weavecolor.files.clothfile import cloth_to_toml
from weavecolor.making.answers import (
    as_cut,
    chosen_option,
    hung_beneath,
    lights_of,
    needs_of,
    plans_of,
    shape_of,
    stack_of,
)
from weavecolor.making.lightchoice import light_words, scene_of
from weavecolor.making.model import Making, MakingOption, Measured
from weavecolor.optics.cell import filaments
from weavecolor.optics.stack import Stack
from weavecolor.optics.uncertainty import known_of, reasons
from weavecolor.picture.forms import shape_called
from weavecolor.report.cautions import cautions
from weavecolor.report.sheetdata import (
    MakingSheet,
    SheetBasis,
    SheetColour,
    SheetLayer,
    SheetSwatch,
)
from weavecolor.scene.folds import IN_FOLDS, hung
from weavecolor.scene.scene import Scene
from weavecolor.textile.assumedwords import assumed_words
from weavecolor.textile.cloth import Cloth
from weavecolor.textile.construction import describe
from weavecolor.textile.notmodelled import besides_so

PICTURES = ("close-up", "drape")
#: Fields of a cloth file as a maker calls them.
_FIELD_WORDS = {
    "dull_per_mm": "how milky the fibre is",
    "lustre": "how bright the fibre is",
    "flattening": "how flat it lies",
    "packing": "how tightly it is packed",
    "section": "the shape of its filaments",
}
_STAGE = ("stage", "footlights", "candle")

Lit = tuple[str, Scene]


@dataclass(frozen=True)
class SheetChoices:
    """What a maker may still say: the date as printed, which pictures, what else will be done."""

    date: str
    pictures: tuple[str, ...] = ("drape",)
    dyeing: bool = False
    solvent: bool = False
    tries: int | None = None

    def __post_init__(self) -> None:
        for kind in self.pictures:
            if kind not in PICTURES:
                raise InputError(
                    f"{kind[:40]!r} is no picture of the sheet; use {', '.join(PICTURES)}",
                    field="pictures",
                )


def making_sheet(
    project: Making,
    choices: SheetChoices,
    option: MakingOption | None = None,
    progress: Callable[[int, int], None] | None = None,
    *,
    whole: bool = True,
    once: bool = False,
) -> MakingSheet:
    """The sheet of the chosen option (or of ``option``) in the project's lights.

    Raises InputError for what the project lacks or names wrongly, and as ``lay.lay``.

    Parameters
    ----------
    project : Making
    choices : SheetChoices
    option : MakingOption, optional
        The chosen one by default.
    progress : callable, optional
        Is told (done, all).
    whole : bool
        Otherwise without what takes long: colours, what will show through, pictures.
    once : bool
        What the picture of hung cloth was made of is then let go, for no other will be drawn.
    """
    tell = progress or (lambda done, total: None)
    option = option or chosen_option(project)
    stack = stack_of(project, option)
    lit = [(light_words(light), scene_of(light)) for light in lights_of(project)]
    total = 5
    needs = needs_of(project, option, choices.tries)
    plans = planned(project, needs)
    tell(1, total)
    folded = project.hung or any(plan.kind != "flat" for _, plan in plans)
    pictures = choices.pictures if whole else ()
    fewer = _in_fewer(project, stack)
    shape = shape_of(project, stack)
    beneath, dress_form, under = hung_beneath(project, option, shape)
    hangs, where = as_cut(project, stack, shape, beneath)
    drape = sheet_drape(hangs, lit[0], shape, beneath, dress_form) if "drape" in pictures else ()
    if under:
        drape = tuple(replace(x, caption=f"{under}. {x.caption}") for x in drape)
    if where:
        alone = capital(where.removeprefix("in "))  # first: long captions are cut off
        drape = tuple(replace(x, caption=f"{alone}. {x.caption}") for x in drape)
    if once:
        let_go("hung pictures")
    tell(2, total)
    close = sheet_closeup(stack, lit[0]) if "close-up" in pictures else ()
    tell(3, total)
    worn = [_in_folds(one) for one in lit] if folded else lit
    name, place = lit[0]
    # besides, as cloth in the hand is looked at
    flat = [(f"{name}, held flat", place)] if worn[0] != lit[0] else []
    colours = sheet_colours(stack, (*flat, *worn)) if whole else ()
    for _, where, part in fewer if whole else ():
        name, place = worn[0]
        colours += sheet_colours(part, [(f"{name}, {where.removeprefix('in the ')}", place)])
    tell(4, total)
    seen = sheet_show_through(stack, worn) if whole else ()
    tell(total, total)
    notes = [line for line in (*project.notes.splitlines(), *option.note.splitlines())]
    notes += [
        f"{capital(names)} is cut {where}: of that the colour is told by itself; what will show "
        f"through is told of {len(stack.layers)} layers, and more will show there."
        for names, where, _ in fewer
    ]
    cloths = cloths_in(stack)
    return MakingSheet(
        title=project.title.strip() or "My making",
        date=choices.date,
        layers=tuple(SheetLayer(x.cloth.name, x.grain_deg, x.face) for x in stack.layers),
        backing=option.backing,
        lay_of_stack=option.lay,
        swatches=(*drape, *close),
        colours=colours,
        show_through=seen,
        pieces=named_apart(project.pieces),
        needs=needs,
        fullness=plans,
        cautions=known_of(cloths).contradictions
        + cautions(
            {yarn.fibre.name for cloth in cloths for yarn in (cloth.warp, cloth.weft)},
            sheer=any(describe(cloth).sheer for cloth in cloths),
            dyeing=choices.dyeing,
            solvent=choices.solvent,
            pleating=any(plan.kind in ("knife", "box") for _, plan in plans),
            stage=any(word in name for name, _ in lit for word in _STAGE),
        ),
        basis=sheet_basis(cloths, project.measured),
        notes=tuple(line.strip() for line in notes if line.strip()),
    )


def _in_fewer(project: Making, stack: Stack) -> list[tuple[str, str, Stack]]:
    """What is cut in the outer layers of the stack alone: its names, in which, and these layers."""
    return [
        (" and ".join(names), outer_words(outer), replace(stack, layers=stack.layers[:outer]))
        for outer, names in in_outer_layers(project.pieces, plans_of(project)).items()
        if outer < len(stack.layers)
    ]


def planned(project: Making, needs: Sequence[ClothNeeded]) -> tuple[tuple[str, FullnessPlan], ...]:
    """Each fullness as it is cut from each cloth; as it was meant, where nothing was summed."""
    if not any(need.plans for need in needs):
        return tuple((wanted.what, wanted.plan()) for wanted in plans_of(project))
    several = len(needs) > 1
    found = {}
    for need in needs:
        for what, plan, _ in need.plans:
            found[f"{what}, {need.cloth}" if several else what, plan.grain_deg] = plan
    return tuple((name, plan) for (name, _), plan in found.items())


def _in_folds(light: Lit) -> Lit:
    """The light as cloth in folds meets it; as it is, where it shines through cloth held flat."""
    name, place = light
    return light if place.behind else (f"{name}{IN_FOLDS}", hung(place))


def cloths_in(stack: Stack) -> tuple[Cloth, ...]:
    """The different cloths of a stack, outermost first."""
    return tuple(dict.fromkeys(layer.cloth for layer in stack.layers))


def sheet_colours(stack: Stack, lit: Sequence[Lit]) -> tuple[SheetColour, ...]:
    """The predicted colour in each light."""
    return tuple(
        colour_row(name, outcome)
        for (name, _), outcome in zip(lit, evaluate(_options(stack, lit)), strict=True)
    )


def _options(stack: Stack, lit: Sequence[Lit]) -> list[Option]:
    return [Option(stack, scene) for _, scene in lit]


def colour_row(light: str, outcome: Outcome) -> SheetColour:
    """One outcome as a row of the sheet's colours."""
    reading = outcome.appearance.reading
    L, a, b = (float(value) for value in reading.Lab)
    red, green, blue = (float(value) for value in reading.srgb)
    return SheetColour(
        light,
        reading.words,
        (L, a, b),
        (red, green, blue),
        bool(reading.in_srgb),
        outcome.uncertainty.stated,
    )


def sheet_show_through(stack: Stack, lit: Sequence[Lit]) -> tuple[str, ...]:
    """For each thing usually under such a stack, a sentence for the light where it shows most; and
    the bands that its layers show; and what keeps light from behind out."""
    said = []
    for told in shown_in(usual_items(stack), [scene for _, scene in lit]):
        worst = max(told, key=lambda one: one.delta)
        said.append(worst.words)
    seen = _options(stack, lit)
    return (*said, *filter(None, (watered(seen), kept_out(seen))))


def sheet_closeup(stack: Stack, light: Lit) -> tuple[SheetSwatch, ...]:
    """The weave in the main light."""
    from weavecolor.picture.closeup import closeup_scale, draw_closeup  # slow to load

    name, scene = light
    scale = closeup_scale(stack, 480)
    image = draw_closeup(stack, scene, 480, 360, mm_per_px=scale)
    return (SheetSwatch(image, f"{capital(name)}: close-up, {scale * 480:.1f} mm wide"),)


def sheet_drape(
    stack: Stack, light: Lit, form: str, beneath: str = "none", dress_form: str = ""
) -> tuple[SheetSwatch, ...]:
    """The cloth hung in a form, in the main light.

    Parameters
    ----------
    stack : Stack
    light : (str, Scene)
        What it is called, and the scene.
    form : str
        What it hangs in, or a hung shape's name.
    beneath, dress_form : str
        As for ``picture.hung.draw_hung``.
    """
    name, scene = light
    shape = shape_called(form, stack)
    asked = (
        tuple((cloth_to_toml(x.cloth), x.grain_deg, x.face) for x in stack.layers),
        stack.lay,
        stack.backing and (stack.backing.name, stack.backing.optics),
        scene.told(),
        shape,
        beneath,
        dress_form,
        filaments.EFFORT,
    )
    image, said = _hung.one(asked, lambda: _hung_picture(stack, scene, shape, beneath, dress_form))
    return (SheetSwatch(image, f"{capital(name)}: {capital(said)}."),)


#: The picture on the sheet and what is told of it; the same sheet is made again and again.
_hung: Kept[tuple[Any, ...], tuple[Image.Image, str]] = Kept(
    4,
    packed=Packed(
        "hung",
        lambda asked: asked,
        lambda made: {
            "rgb": np.asarray(made[0]),
            "icc": np.frombuffer(made[0].info["icc_profile"], np.uint8),
            "said": np.array(made[1]),
        },
        lambda _, arrays: (_with_profile(arrays["rgb"], arrays["icc"]), str(arrays["said"])),
    ),
)


def _with_profile(rgb: NDArray[Any], icc: NDArray[Any]) -> Image.Image:
    image = Image.fromarray(rgb)
    image.info["icc_profile"] = icc.tobytes()
    return image


def _hung_picture(
    stack: Stack, scene: Scene, shape: str, beneath: str, dress_form: str
) -> tuple[Image.Image, str]:
    from weavecolor.picture.hung import ASIDE, draw_hung, notes  # slow to load

    image = draw_hung(
        stack, scene, shape, 760, 800, sight=ASIDE, behind=stack.backing,
        beneath=beneath, dress_form=dress_form,
    )  # fmt: skip
    return image, notes(shape, scene)[0]


def sheet_basis(
    cloths: Sequence[Cloth], measured: Sequence[Measured] = ()
) -> tuple[SheetBasis, ...]:
    """What the prediction rests on: readings, what was given with its source, what was supposed."""
    said = [
        SheetBasis(m.name, "; ".join(filter(None, (m.kind, m.note))), "measured") for m in measured
    ]
    whose: dict[SheetBasis, list[str]] = {}
    for cloth in cloths:
        for row in _basis_of(cloth):
            whose.setdefault(row, []).append(cloth.name)
    for row, names in whose.items():
        everyone = "Both cloths" if len(cloths) == 2 else "All cloths"
        owner = everyone if len(names) == len(cloths) else " and ".join(names)
        what = f"{owner}: {row.what}" if len(cloths) > 1 else capital(row.what)
        said.append(replace(row, what=what))
    if not any(entry.how_known == "assumed" for entry in said):
        said += [SheetBasis(capital(told), "", "assumed") for told in reasons(known_of(cloths))]
    return tuple(said)


def _basis_of(cloth: Cloth) -> tuple[SheetBasis, ...]:
    """What was told of where a cloth's numbers come from, then what was assumed, in trade words."""
    known = dict(cloth.known)
    told: dict[tuple[str, str], list[str]] = {}
    for what, text in cloth.sources:
        how = known.get(what.replace(" ", "."))
        told.setdefault((text, how.way if how else "stated"), []).append(what.replace(".", " "))
    for name, how in known.items():
        if how.way != "assumed" and how.source and (how.source, how.way) not in told:
            told.setdefault((how.source, how.way), []).append(name.replace(".", " "))
    rows = [
        SheetBasis(in_trade_words(" and ".join(names)), in_trade_words(text), way)
        for (text, way), names in told.items()
    ]
    rows += [SheetBasis(in_trade_words(text), "", "assumed") for text in assumed_words(cloth)]
    others = besides_so(cloth.remarks)
    rows += [SheetBasis(in_trade_words(text), "", "stated") for text in others]
    return tuple(rows)


def in_trade_words(text: str) -> str:
    """A note about a cloth with the file's field names told as a maker would.

    Examples
    --------
    >>> in_trade_words("assumed: packing and lustre")
    'assumed: how tightly it is packed and how bright the fibre is'
    """
    return re.sub(r"\b(" + "|".join(_FIELD_WORDS) + r")\b", lambda m: _FIELD_WORDS[m[1]], text)
