"""What cloth may be hung as, in a maker's words, and which hung shape shows it; what beneath.

A shape was hung as one kind of cloth hangs; the crisper or the softer one is taken by what the
cloth is. Knows words, shapes and cloths; draws nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from weavecolor.errors import InputError, shown
from weavecolor.optics.stack import Stack
from weavecolor.picture.shapes import inner_names, shape_heading, shape_names, shape_wears
from weavecolor.scene.backings import Backing
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


#: What the innermost layer may hang as: with the others, or beneath them by itself.
BENEATH = ("none", "lining", "slip", "stiffener")
#: How far a dress form reaches.
DRESS_FORMS = ("none", "to the hip", "full length")
#: What the form itself may be covered in; any other choice of what lies behind is a lining.
_COVERED = ("calico", "skin")


def covers_form(behind: Backing) -> bool:
    """Whether what lies behind is the dress form's own cover, not a lining.

    Examples
    --------
    >>> from weavecolor.scene.backings import backing
    >>> covers_form(backing("white"))
    False
    """
    return behind.name.split(" ")[0] in _COVERED


def beneath_words(beneath: str) -> str:
    """What hangs beneath, in words.

    Examples
    --------
    >>> beneath_words("slip")
    'the innermost layer hangs beneath as a slip, drawn smooth'
    """
    return f"the innermost layer hangs beneath as a {beneath}, drawn smooth"


def not_beneath(beneath: str, layers: int, shape: str, behind: Backing | None) -> str:
    """Why the innermost layer cannot hang as that, in one line; "" where it can.

    Parameters
    ----------
    beneath : str
        One of ``BENEATH``.
    layers : int
        How many there are.
    shape : str
        Of the others.
    behind : Backing or None
        What lies behind; None: open air.

    Examples
    --------
    >>> not_beneath("stiffener", 2, "gathered-3-organza", None)
    ''
    """
    if beneath not in BENEATH:
        return f"nothing called {shown(beneath)} hangs beneath; use {', '.join(BENEATH)}"
    if beneath == "none":
        return ""
    if layers < 2:
        return (
            f"a {beneath} beneath is the innermost of two layers or more; name its cloth last, as "
            'in "shot-organza-teal-copper + tarlatan-green"'
        )
    inner = shape_wears(shape)[1]
    if not any(name.startswith(f"inner-{beneath}") for name in inner):
        form, kind, _ = shape_heading(shape)
        skirts = [x for x in shape_names() if f"inner-{beneath}-{x}" in inner_names()]
        where = f"is made for {', '.join(skirts)}" if skirts else "is worn under skirts"
        return f"no {beneath} is made for a {form} as {kind} hangs; it {where}"
    if beneath != "stiffener" and behind is not None and not covers_form(behind):
        return (
            f"{behind.name} behind is worn as a lining, which hides a {beneath}: choose calico, "
            "skin or open behind"
        )
    return ""


def not_on_form(dress_form: str, shape: str, behind: Backing | None) -> str:
    """Why a shape cannot hang on that dress form, in one line; "" where it can.

    Parameters
    ----------
    dress_form : str
        One of ``DRESS_FORMS``; "": as goes with what lies behind.
    shape : str
    behind : Backing or None
        None: open air.

    Examples
    --------
    >>> from weavecolor.scene.backings import backing
    >>> not_on_form("to the hip", "panel-organza", backing("white"))
    'a hanging panel hangs on no dress form: leave it out'
    """
    if dress_form not in ("", *DRESS_FORMS):
        return f"no dress form {shown(dress_form)}; use {', '.join(DRESS_FORMS)}"
    stands = dress_form not in ("", "none")
    if stands and behind is None:
        return "open behind is without a dress form: choose calico, skin or a colour"
    if stands and shape_wears(shape)[0] != "figure":
        return f"a {shape_heading(shape)[0]} hangs on no dress form: leave it out"
    if dress_form == "none" and behind is not None and covers_form(behind):
        return (
            f"{behind.name} behind is a dress form's own: without one choose open or a lining's "
            "colour"
        )
    return ""
