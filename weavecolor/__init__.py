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
>>> from weavecolor.making.project import Project, ProjectCloth, ProjectLayer, ProjectOption
>>> own = ProjectCloth.from_toml("own", cloth_to_toml(organza))
>>> choice = ProjectOption("A", (ProjectLayer("own"),), "white")
>>> project = Project("Cape", cloths=(own,), options=(choice,), pins=("A",), chosen="A")
"""

__version__ = "0.1.0"
