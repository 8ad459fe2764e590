"""Names of cloths that stand side by side: two that are called alike are told apart.

Knows names; knows nothing of what the cloths are.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from weavecolor.textile.cloth import Cloth


def told_apart(cloths: Mapping[str, Cloth]) -> dict[str, Cloth]:
    """The cloths with names that differ: one called as another before it gets its key beside it.

    Parameters
    ----------
    cloths : by the key that the maker knows them by: a file, a swatch, a key of her project.

    Returns
    -------
    dict
        In the same order; a cloth whose name is its own is the same object.

    Examples
    --------
    >>> [cloth.name for cloth in told_apart({"mill": organza, "market": organza}).values()]
    ['Shot silk organza, crimson and black', 'Shot silk organza, crimson and black (market)']
    """
    made: dict[str, Cloth] = {}
    used: set[str] = set()
    for key, cloth in cloths.items():
        name, number = cloth.name, 1
        while name in used:
            name = f"{cloth.name} ({key})" if number == 1 else f"{cloth.name} ({key}, {number})"
            number += 1
        used.add(name)
        made[key] = cloth if name == cloth.name else replace(cloth, name=name)
    return made
