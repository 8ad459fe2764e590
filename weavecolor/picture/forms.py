"""What cloth may be hung as, in a maker's words, and which hung shape shows it.

A shape was hung as one kind of cloth hangs; the crisper or the softer one is taken by what the
cloth is. Knows words, shapes and cloths; draws nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from weavecolor.errors import InputError, shown
from weavecolor.optics.stack import Stack
from weavecolor.picture.shapes import shape_names
from weavecolor.textile.cloth import Cloth

#: By form, the shape of crisp cloth and that of soft cloth.
FORMS: Mapping[str, tuple[str, str]] = MappingProxyType({
    "gathered skirt": ("gathered-3-organza", "gathered-3-chiffon"),
    "full gathered skirt": ("gathered-5-organza", "gathered-5-organza"),
    "slightly gathered skirt": ("gathered-2-organza", "gathered-2-chiffon"),
    "knife pleats": ("pleated-knife-taffeta", "pleated-knife-taffeta"),
    "box pleats": ("pleated-box-taffeta", "pleated-box-taffeta"),
    "circle skirt": ("circle-straight-organza", "circle-straight-organza"),
    "bias circle skirt": ("circle-bias-organza", "circle-bias-organza"),
    "hanging panel": ("panel-organza", "panel-chiffon"),
    "cape": ("cape-chiffon", "cape-chiffon"),
    "swatch over a hand": ("swatch-hand-organza", "swatch-hand-chiffon"),
})  # fmt: skip
#: Other words for them, some of which makings were saved with before.
_ALSO: Mapping[str, str] = MappingProxyType({
    "cylinder": "hanging panel", "hanging fold": "hanging panel", "pleated skirt": "knife pleats",
    "doubled skirt": "full gathered skirt",
    **dict.fromkeys(("curtain", "drape", "panel"), "hanging panel"), "cloak": "cape",
    "skirt": "gathered skirt",
})  # fmt: skip
#: Filament yarn twisted less than this lies flat and stands crisp, where the cloth is no lighter
#: than this. Common practice, no source.
_LITTLE_TWIST_TURNS_M, _FIRM_G_M2 = 500.0, 45.0


def form_names() -> tuple[str, ...]:
    """What cloth may be hung as, in words.

    Examples
    --------
    >>> "gathered skirt" in form_names()
    True
    """
    return tuple(FORMS)


def known_forms() -> tuple[str, ...]:
    """As :func:`form_names`, with other words for them.

    Examples
    --------
    >>> "cylinder" in known_forms()
    True
    """
    return (*FORMS, *_ALSO)


def crisp(cloth: Cloth) -> bool:
    """Whether cloth stands off like a bell, as far as its yarns tell: in gum or single rods, or
    firm cloth of little twisted filament.

    Examples
    --------
    >>> crisp(organza)
    True
    """
    yarns = (cloth.warp, cloth.weft)
    if any(y.rods == 1 for y in yarns):
        return True
    weight = 0.1 * (cloth.ends_per_cm * cloth.warp.tex + cloth.picks_per_cm * cloth.weft.tex)
    flat = all(
        y.kind == "filament" and abs(y.twist_turns_m) < _LITTLE_TWIST_TURNS_M for y in yarns
    )
    return flat and weight >= _FIRM_G_M2


def shape_called(form: str, stack: Stack) -> str:
    """The shape that shows a stack in a form: a form's words, or a shape's own name.

    Raises InputError for neither.

    Examples
    --------
    >>> shape_called("gathered skirt", single)
    'gathered-3-organza'
    """
    if form in shape_names():
        return form
    words = " ".join(form.split()).casefold()
    words = _ALSO.get(words, words)
    if words not in FORMS:
        raise InputError(
            f"no form called {shown(form)}; use {', '.join(FORMS)}, or a shape's own name: "
            f"{', '.join(shape_names())}"
        )
    of_crisp, of_soft = FORMS[words]
    return of_crisp if stack.layers and crisp(stack.layers[0].cloth) else of_soft
