"""Colour, depth, sheen and cover of two-tone ("shot") woven cloth.

Data flows one way: cloth -> layer -> stack -> light -> colour -> picture or decision.

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

__version__ = "0.1.0"
