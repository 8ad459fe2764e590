"""Cautions for handling cloth: iron, flame, dye, solvent and blade.

Knows plain workshop caution, common practice without a source; it defers to labels, local codes
and qualified people, and gives no safe limits of its own.
"""

from __future__ import annotations

from collections.abc import Iterable

#: Fibres that soften or melt under an iron.
HEAT_SENSITIVE = frozenset({"nylon", "polyester", "acrylic", "acetate", "triacetate"})
#: Fibres that acetone (in some stain removers, glues and nail varnish) dissolves or harms.
ACETONE_SENSITIVE = frozenset({"acetate", "triacetate"})
#: Protein fibres, hurt by strong alkali and chlorine bleach.
PROTEIN = frozenset({"silk", "wool"})

FLAME = (
    "Keep cloth away from open flame and hot lamps, sheer and loosely hung cloth above all: it "
    "can catch and spread fire fast. For stage or public use follow the local fire code and ask "
    "a qualified person about flame-retardant treatment."
)
SCRAP = "Test iron, steam, water and marking on a scrap first; some finishes and dyes change."


def cautions(
    fibres: Iterable[str] = (),
    *,
    sheer: bool = False,
    dyeing: bool = False,
    solvent: bool = False,
    pleating: bool = False,
    stage: bool = False,
) -> tuple[str, ...]:
    """What to mind with cloth of these fibres, most urgent first.

    Parameters
    ----------
    fibres : names as in ``weavecolor.textile.fibres`` (any case); unknown names add no caution.
    sheer : the cloth is open or light.
    dyeing, solvent, pleating : the maker means to dye, to use glue, stain remover or other
        solvent, or to press pleats in.
    stage : it will be worn near stage lights, candles or pyrotechnics.

    Examples
    --------
    >>> [line[:4] for line in cautions(["silk"])] != []
    True
    """
    known = {name.strip().casefold() for name in fibres}
    said = [FLAME]
    if stage:
        said.append(
            "On stage, tell whoever is responsible for fire safety what the costume is made of "
            "before it meets candles, effects or lamps."
        )
    melting = sorted(known & HEAT_SENSITIVE)
    if melting:
        kind = "sheer " if sheer else ""
        said.append(
            f"Press {kind}{' and '.join(melting)} cool, through a cloth: it shines, shrinks or "
            "melts under a hot iron, and melted cloth burns skin."
        )
    elif sheer:
        said.append("Press sheer cloth cool and dry, through a cloth.")
    said.append(SCRAP)
    if pleating and melting:
        said.append("Pleats set by heat in synthetic cloth do not come out again; try a scrap.")
    if known & ACETONE_SENSITIVE:
        said.append(
            "Acetone dissolves acetate and harms triacetate: no nail varnish or its remover."
        )
    if known & PROTEIN and dyeing:
        said.append("Silk and wool are hurt by chlorine bleach and strong alkali.")
    if dyeing:
        said.append(
            "Dye by the maker's label: gloves, fresh air, no kitchen pots, waste as the label and "
            "local rules say. A yarn-dyed shot effect is lost when the cloth is dyed over."
        )
    if solvent:
        said.append(
            "Use glue, stain remover and other solvents by their label, in fresh air and away "
            "from flame and sparks."
        )
    return tuple(said)
