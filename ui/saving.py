"""The work as a project file, and back. Knows both; knows nothing of Streamlit."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, TypeVar

from state import (
    MOST_CLOTHS,
    MOST_PINS,
    NOW,
    FullnessChoice,
    KeptCloth,
    Work,
    digest,
    stack_of,
)
from weavecolor.cutting.fullness import KINDS
from weavecolor.cutting.remnant import ClothInHand
from weavecolor.errors import InputError
from weavecolor.files.clothfile import cloth_from_dict, cloth_to_toml, load_swatch, swatch_names
from weavecolor.making.lightchoice import light_table, lights_of
from weavecolor.making.project import Project, ProjectCloth
from weavecolor.optics.appearance import MOST_LAYERS
from weavecolor.picture.folds import form_names
from weavecolor.scene.places import scene_names

T = TypeVar("T")


def to_project(work: Work) -> Project:
    """All of it as a project, cloths included."""
    shown = (work.now, *work.pins)
    names = {option.name for option in shown}
    options = (*shown, *(x for x in work.carried.options if x.name not in names))
    used = {layer.cloth for option in options for layer in option.layers}
    carried = {cloth.key: cloth for cloth in work.carried.cloths}
    keys = list(dict.fromkeys([*work.cloths, *carried, *sorted(used | set(work.in_hand))]))
    cloths = tuple(
        ProjectCloth(
            key, _definition(work, key, carried.get(key)), _lengths(work, key, carried.get(key))
        )
        for key in keys
    )
    origins = {key: kept.origin for key, kept in work.cloths.items()}
    return Project(
        title=work.title,
        notes=work.notes,
        units=work.units,
        cloths=cloths,
        backings=tuple(
            sorted({o.backing for o in options if o.backing} | set(work.carried.backings))
        ),
        options=options,
        pins=tuple(p.name for p in work.pins),
        chosen=work.chosen or work.carried.chosen,
        scenes=work.scenes,
        wishes=work.carried.wishes,
        limits=work.carried.limits,
        fullness=work.carried.fullness,
        pieces=work.pieces,
        fold=work.fold,
        measured=work.measured,
        settings={
            **work.carried.settings,
            "light": light_table(work.light),
            "together": work.together,
            "drape": work.drape,
            "fullness": {n: getattr(work.fullness, n) for n in FullnessChoice.__dataclass_fields__},
            "origins": origins,
        },
    )


def _definition(work: Work, key: str, carried: ProjectCloth | None) -> Mapping[str, Any]:
    if key in work.cloths:
        return work.cloths[key].definition
    if carried is not None:
        return carried.definition
    return tomllib.loads(cloth_to_toml(load_swatch(key)))


def _lengths(work: Work, key: str, carried: ProjectCloth | None) -> tuple[ClothInHand, ...]:
    """The length worked with, then those that only the file tells of."""
    first = (work.in_hand[key],) if key in work.in_hand else ()
    return first + (carried.in_hand[1:] if carried is not None else ())


def from_project(project: Project) -> Work:
    """The work that a project file holds. Raises InputError naming what cannot be used."""
    cloths: dict[str, KeptCloth] = {}
    in_hand: dict[str, ClothInHand] = {}
    origins = project.settings.get("origins", {})
    for kept in project.cloths:
        cloth = cloth_from_dict(kept.definition, file=f"project: cloth {kept.key!r}")
        if kept.in_hand:
            in_hand[kept.key] = kept.in_hand[0]
        if kept.key in swatch_names() and digest(cloth) == digest(load_swatch(kept.key)):
            continue  # a demo swatch, unchanged
        origin = origins.get(kept.key, "project") if isinstance(origins, dict) else "project"
        cloths[kept.key] = KeptCloth(cloth, kept.definition, str(origin)[:40])
    if len(cloths) > MOST_CLOTHS or len(project.pins) > MOST_PINS:
        raise InputError(
            f"holds more than this page keeps ({MOST_CLOTHS} cloths, {MOST_PINS} pins)",
            file="project",
        )
    pins = tuple(project.option(name) for name in project.pins)
    others = [o for o in project.options if o.name not in project.pins]
    others.sort(key=lambda o: (o.name != NOW, o.name != project.chosen))
    start = others[0] if others else pins[0] if pins else Work().now
    now = replace(start, name=NOW)
    for option in (now, *pins):
        if not 1 <= len(option.layers) <= MOST_LAYERS:
            raise InputError(f"a stack has 1 to {MOST_LAYERS} layers", field=option.name)
    work = Work(
        cloths=cloths,
        now=now,
        light=lights_of(project)[0],
        pins=pins,
        chosen=project.chosen if project.chosen in project.pins else "",
        carried=project,
        units=project.units,
        title=project.title,
        notes=project.notes,
        in_hand=in_hand,
        pieces=project.pieces,
        fold=project.fold,
        measured=project.measured,
        scenes=tuple(name for name in project.scenes if name in scene_names()),
        together=bool(project.settings.get("together", True)),
        drape=_form_from(project.settings.get("drape")),
        fullness=_fullness_from(project.settings.get("fullness")),
    )
    for option in (now, *pins):
        stack_of(work, option)  # an unknown backing is told now, not later
    return work


def _form_from(name: object) -> str:
    return name if isinstance(name, str) and name in form_names() else Work().drape


def _read(table: object, usual: T, ranges: dict[str, tuple[float, float]]) -> T:
    """``usual`` with what ``table`` says of its fields; what is strange there is left out."""
    kept: dict[str, object] = {}
    for name in usual.__dataclass_fields__:  # type: ignore[attr-defined]
        value = table.get(name) if isinstance(table, dict) else None
        model = getattr(usual, name)
        if isinstance(model, bool) or isinstance(value, bool):
            if isinstance(model, bool) and isinstance(value, bool):
                kept[name] = value
        elif isinstance(model, str) and isinstance(value, str):
            kept[name] = value
        elif isinstance(model, int | float) and isinstance(value, int | float):
            low, high = ranges.get(name, (-180.0, 180.0))
            kept[name] = type(model)(min(max(value, low), high))
    return replace(usual, **kept)  # type: ignore[type-var]


def _fullness_from(table: object) -> FullnessChoice:
    lengths = dict.fromkeys(("finished_cm", "width_cm", "drop_cm"), (1.0, 5000.0))
    asked = _read(table, FullnessChoice(), {"ratio": (1.0, 6.0), **lengths})
    return asked if asked.kind in KINDS else FullnessChoice()
