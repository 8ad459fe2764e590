"""Colour, depth, sheen and cover of two-tone ("shot") woven cloth.

Data flows one way: cloth -> layer -> stack -> light -> colour -> picture or decision.

A first colour::

    import weavecolor as wc
    cloth = wc.load_cloth("shot-organza-red-black")
    print(wc.appearance(cloth).reading.words)

Three grains over two backings::

    made = wc.compare(cloth, grains=("straight", "cross", "bias"), behind=("white", "black"))
    print(made.to_frame())
    for step in made.steps:
        print(step.sentence)

What stands at the front door is in ``__all__`` and is loaded when it is used.

Examples
--------
Every public function has an example, which the tests run. They take these as given:

>>> import numpy as np
>>> from weavecolor.scene.backings import backing
>>> from weavecolor.files.clothfile import load_swatch
>>> from weavecolor.scene.places import scene
>>> from weavecolor.optics.stack import Layer, Stack
>>> organza = load_swatch("shot-organza-red-black")
>>> single = Stack((Layer(organza),), backing("white"))
>>> double = Stack((Layer(organza), Layer(organza)), backing("white"))
>>> window = scene("window at the side")
>>> from weavecolor.files.clothfile import cloth_to_toml
>>> from weavecolor.making.model import Making, MakingCloth, MakingLayer, MakingOption
>>> own = MakingCloth.from_toml("own", cloth_to_toml(organza))
>>> choice = MakingOption("A", (MakingLayer("own"),), "white")
>>> project = Making("Cape", cloths=(own,), options=(choice,), chosen="A")
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from weavecolor.decide.compare import Comparison
    from weavecolor.decide.unexpected import unexpected
    from weavecolor.errors import InputError
    from weavecolor.front import (
        appearance,
        compare,
        difference,
        draw,
        laid,
        load_cloth,
        named_backing,
        named_scene,
        save_cloth,
        swatches,
    )
    from weavecolor.making.file import load_making
    from weavecolor.measure.fit import fit_cloth
    from weavecolor.measure.sample import learn, sample_seen
    from weavecolor.measure.threads import count_threads
    from weavecolor.optics.appearance import Appearance
    from weavecolor.optics.stack import Layer, Stack
    from weavecolor.scene.backings import Backing
    from weavecolor.scene.scene import Light, Scene
    from weavecolor.textile.cloth import Cloth
    from weavecolor.textile.fibres import fibre
    from weavecolor.textile.weaves import Weave, weave
    from weavecolor.textile.yarn import Fibre, Yarn

__version__ = "0.1.0"

_ROOMS = {
    "decide.compare": ("Comparison",),
    "decide.unexpected": ("unexpected",),
    "errors": ("InputError",),
    "front": (
        "appearance", "compare", "difference", "draw", "laid", "load_cloth", "named_backing",
        "named_scene", "save_cloth", "swatches",
    ),
    "making.file": ("load_making",),
    "measure.fit": ("fit_cloth",),
    "measure.sample": ("learn", "sample_seen"),
    "measure.threads": ("count_threads",),
    "optics.appearance": ("Appearance",),
    "optics.stack": ("Layer", "Stack"),
    "scene.backings": ("Backing",),
    "scene.scene": ("Light", "Scene"),
    "textile.cloth": ("Cloth",),
    "textile.fibres": ("fibre",),
    "textile.weaves": ("Weave", "weave"),
    "textile.yarn": ("Fibre", "Yarn"),
}  # fmt: skip
_WHERE = {name: room for room, names in _ROOMS.items() for name in names}

__all__ = [  # noqa: RUF100, F822
    "Appearance", "Backing", "Cloth", "Comparison", "Fibre", "InputError", "Layer",
    "Light", "Scene", "Stack", "Weave", "Yarn", "appearance", "compare",
    "count_threads", "difference", "draw", "fibre", "fit_cloth", "laid", "learn",
    "load_cloth", "load_making", "named_backing", "named_scene", "sample_seen", "save_cloth",
    "swatches", "unexpected", "weave",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    """A name of the front door, from its room; libraries are loaded by whoever needs them."""
    if name not in _WHERE:
        raise AttributeError(f"module 'weavecolor' has no attribute {name!r}")
    from importlib import import_module

    value = getattr(import_module(f"weavecolor.{_WHERE[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*(name for name in globals() if name.startswith("__")), *__all__})
