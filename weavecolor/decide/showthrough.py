"""What will be seen under the outer cloth, and what would hide it.

Knows what makers put under cloth (tape, seam allowances, linings, pockets) as layers and backings;
knows nothing of searching. A difference is CIEDE2000 between the stack with the thing and the same
stack beside it, in the same light.

Words: *hidden* where the difference, at its likely most, is under what is just noticeable side by
side; *plain* where, at its likely least, it is a clear difference (grade 3-4 of the ISO 105-A02
grey scale and beyond, 2.5); else *faint*, or, where the uncertainty spans more, a range of words.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from weavecolor.colour.colorimetry import Reading, ciede2000
from weavecolor.colour.perception import DIM_SHARE, JUST_NOTICEABLE
from weavecolor.colour.spectra import BANDS
from weavecolor.colour.words import difference_words
from weavecolor.decide.compare import behind, near_daylight
from weavecolor.errors import InputError, shown
from weavecolor.optics.appearance import in_scenes
from weavecolor.optics.mightbe import lots_in, open_difference
from weavecolor.optics.stack import MOST_LAYERS, Layer, Stack
from weavecolor.optics.uncertainty import known_of, of_difference
from weavecolor.scene.backings import CLOTH, SKINS, Backing, backing
from weavecolor.scene.scene import Scene
from weavecolor.textile.cloth import Cloth
from weavecolor.textile.notmodelled import elsewhere

#: A look, and draws of what its Lab might be.
_Seen = tuple[Reading, NDArray[np.float64]]
GRADES = ("hidden", "faint", "plain")
#: CIEDE2000 from which a difference is plain: grade 3-4 of the grey scale.
PLAIN = 2.5

#: Flat reflectances of dyed cotton tape: assumed, not measured.
DARK_TAPE = Backing("dark tape", np.full(BANDS, 0.04), CLOTH)
WHITE_TAPE = Backing("white tape", np.full(BANDS, 0.80), CLOTH)
#: Flat reflectance of black knitted underwear: assumed, not measured.
UNDERWEAR = Backing("dark underwear", np.full(BANDS, 0.05), CLOTH)


@dataclass(frozen=True, eq=False)
class Item:
    """Something under the outer cloth: the stack with it, and the stack beside it."""

    name: str
    there: Stack
    beside: Stack


def tape(stack: Stack, which: str = "dark") -> Item:
    """Bone channel tape between the layers and what is behind them: "dark", "white", or any
    backing's name or screen colour. Taken as opaque.

    Examples
    --------
    >>> tape(single).name
    'dark bone channel tape, 3/8 inch'
    """
    kinds = {"dark": DARK_TAPE, "white": WHITE_TAPE}
    found = kinds.get(which) or backing(which)
    return Item(f"{which} bone channel tape, 3/8 inch", replace(stack, backing=found), stack)


def underwear(stack: Stack) -> Item:
    """Dark underwear behind the layers, against what lies behind them beside it. Taken as opaque.

    Examples
    --------
    >>> underwear(single).name
    'dark underwear'
    """
    return Item("dark underwear", replace(stack, backing=UNDERWEAR), stack)


def _own_skin(stack: Stack) -> str:
    """The tone of the skin behind a stack, "" where something else is."""
    behind_it = "" if stack.backing is None else stack.backing.name
    return next((tone for tone in SKINS if behind_it == f"skin {tone}"), "")


def slip_edge(stack: Stack, tone: str = "") -> Item:
    """The edge of a white slip over skin: with the slip on one side, skin alone on the other;
    ``tone`` as for :func:`skin`, by default that of the skin behind, or medium.

    Examples
    --------
    >>> slip_edge(single).name
    'edge of a white slip over medium skin'
    """
    tone = tone or _own_skin(stack) or "medium"
    bare = skin(stack, tone).there
    return Item(
        f"edge of a white slip over {tone} skin", replace(stack, backing=backing("white")), bare
    )


def seam_allowance(stack: Stack, finish: str = "doubled", binding: Cloth | None = None) -> Item:
    """The outer layer's seam allowance, under the outer layer.

    ``finish``: "open" (pressed open: the cloth once more), "doubled" (pressed to one side or
    enclosed: twice more) or "bound" (twice more inside a binding, whose cloth lies above and
    below; the outer cloth itself unless ``binding`` is given).

    Parameters
    ----------
    stack : Stack
        One layer at least.
    finish : {"open", "doubled", "bound"}
    binding : Cloth, optional

    Examples
    --------
    >>> seam_allowance(single).name
    'seam allowance, doubled'
    """
    _some(stack)
    outer = stack.layers[0]
    other = "back" if outer.face == "face" else "face"
    # allowances are folded under, so the first shows its other side outwards, mirrored at the
    # seam, the next the same
    folded = [replace(outer, grain_deg=-outer.grain_deg, face=other), outer]
    if finish == "open":
        under = folded[:1]
    elif finish == "doubled":
        under = folded
    elif finish == "bound":
        wrap = outer if binding is None else Layer(binding, outer.grain_deg)
        under = [wrap, *folded, wrap]
    else:
        raise InputError(
            f"{finish!r} is no seam finish; use open, doubled or bound", field="finish"
        )
    layers = (outer, *under, *stack.layers[1:])
    return Item(f"seam allowance, {finish}", _checked(replace(stack, layers=layers)), stack)


def lining_edge(stack: Stack) -> Item:
    """The edge of the innermost layer: with it on one side, without on the other.

    Examples
    --------
    >>> lining_edge(double).name
    'lining edge'
    """
    if len(stack.layers) < 2:
        raise InputError("a lining edge needs an outer layer and a lining: two layers at least")
    without = replace(stack, layers=stack.layers[:-1])
    return Item("lining edge", stack, without)


def skin(stack: Stack, tone: str = "medium") -> Item:
    """Skin behind the layers where the backing ends: "light", "medium" or "dark".

    Examples
    --------
    >>> skin(single, "dark").name
    'dark skin'
    """
    if tone not in SKINS:
        raise InputError(f"{tone!r} is no skin tone here; use {', '.join(SKINS)}", field="skin")
    return Item(f"{tone} skin", replace(stack, backing=backing(f"skin {tone}")), stack)


def _skin_asked(stack: Stack) -> Item:
    if _own_skin(stack):
        raise InputError("skin lies behind already; put what the dress has behind there instead")
    return skin(stack)


def pocket(stack: Stack, cloth: Cloth | None = None) -> Item:
    """A pocket bag: two layers of ``cloth`` (the innermost layer's by default) inmost.

    Examples
    --------
    >>> pocket(single).name
    'pocket'
    """
    _some(stack)
    bag = stack.layers[-1] if cloth is None else Layer(cloth, stack.layers[-1].grain_deg)
    return Item("pocket", _checked(replace(stack, layers=(*stack.layers, bag, bag))), stack)


#: What can be asked about, by the word for it.
ITEMS: dict[str, Callable[[Stack], Item]] = {
    "dark tape": tape,
    "white tape": lambda stack: tape(stack, "white"),
    "dark underwear": underwear,
    "slip edge": slip_edge,
    "lining edge": lining_edge,
    "seam": seam_allowance,
    # folded up twice it lies as a seam pressed to one side does
    "hem": lambda stack: replace(seam_allowance(stack), name="hem, turned up twice"),
    "pocket": pocket,
    "skin": _skin_asked,
}


#: Other words for them.
_ALSO = {
    **dict.fromkeys(("person", "body", "legs", "medium skin"), "skin"),
    **dict.fromkeys(("underwear", "knickers", "pants", "bra", "corset"), "dark underwear"),
    **dict.fromkeys(("tape", "boning", *(f"{dark}bone channel{tape}" for dark in ("", "dark ")
                                         for tape in ("", "s", " tape"))), "dark tape"),
    "white bone channel tape": "white tape",
    **dict.fromkeys(("slip", "petticoat", "edge of a white slip"), "slip edge"),
    "lining": "lining edge", "pocket bag": "pocket", "pockets": "pocket",
    **dict.fromkeys(("seam allowance", "seam allowances", "seams", "french seam"), "seam"),
}  # fmt: skip


def item_called(words: str) -> Callable[[Stack], Item]:
    """What of :data:`ITEMS` is called so. Raises InputError with all of them.

    Examples
    --------
    >>> item_called("Person") is ITEMS["skin"]
    True
    """
    tidy = " ".join(words.casefold().split())
    tidy = re.sub(r", .*| over \w+ skin$", "", tidy)  # as answers name it, with its size
    found = ITEMS.get(_ALSO.get(tidy, tidy))
    if found is None:
        raise InputError(f"{shown(words, 42)} is not one of {', '.join(ITEMS)}{elsewhere(tidy)}")
    return found


def usual_items(stack: Stack) -> tuple[Item, ...]:
    """What is commonly under a dress of this stack: tapes, underwear, edges of slip and lining,
    seam allowance, pocket, skin; those that the number of layers allows. Skin under skin is not
    asked about, and the slip lies on the skin that is behind.

    Examples
    --------
    >>> len(usual_items(single)) > 3
    True
    """
    items = [tape(stack, "dark"), tape(stack, "white"), underwear(stack), slip_edge(stack)]
    if len(stack.layers) + 2 <= MOST_LAYERS:
        items += [seam_allowance(stack), pocket(stack)]
    if len(stack.layers) > 1:
        items.append(lining_edge(stack))
    if not _own_skin(stack):
        items.append(skin(stack))
    return tuple(items)


@dataclass(frozen=True)
class ShowThrough:
    """Whether an item shows: CIEDE2000 ``delta`` give or take ``uncertainty``, the likeliest of
    :data:`GRADES`, those that the uncertainty leaves open, and a sentence."""

    name: str
    delta: float
    uncertainty: float
    grade: str
    possible: tuple[str, ...]
    words: str


def grade(delta: float) -> str:
    """One of :data:`GRADES` for a CIEDE2000 difference.

    Examples
    --------
    >>> grade(0.4), grade(9.0)
    ('hidden', 'plain')
    """
    return GRADES[int(delta >= JUST_NOTICEABLE) + int(delta >= PLAIN)]


def show_through(item: Item, scene: Scene, observer: str = "2") -> ShowThrough:
    """Whether ``item`` will be seen in ``scene``.

    Parameters
    ----------
    item : Item
    scene : Scene
    observer : {"2", "10"}

    Returns
    -------
    ShowThrough
        CIEDE2000 with its uncertainty, and a sentence.

    Examples
    --------
    >>> show_through(tape(single), window).delta > show_through(tape(double), window).delta
    True
    """
    return shown_in([item], [scene], observer)[0][0]


def shown_in(
    items: Sequence[Item], scenes: Sequence[Scene], observer: str = "2"
) -> tuple[tuple[ShowThrough, ...], ...]:
    """As :func:`show_through`, of several items in several scenes: the same layers are worked out
    once for all that lies behind them.

    Parameters
    ----------
    items : sequence of Item
    scenes : sequence of Scene
    observer : {"2", "10"}

    Returns
    -------
    tuple of tuples of ShowThrough
        By item, then by scene.

    Examples
    --------
    >>> [[one.name for one in told] for told in shown_in([tape(single)], [window])]
    [['dark bone channel tape, 3/8 inch']]
    """
    grounds: dict[Stack, dict[Backing | None, int]] = {}
    for stack in (stack for item in items for stack in (item.there, item.beside)):
        behind_it = grounds.setdefault(replace(stack, backing=None), {})
        behind_it.setdefault(stack.backing, len(behind_it))
    seen = {
        bare: (in_scenes(bare, *asked), lots_in(bare, *asked))
        for bare, asked in ((b, (list(g), scenes, observer)) for b, g in grounds.items())
    }

    def look(stack: Stack, place: int) -> _Seen:
        bare = replace(stack, backing=None)
        (looks, drawn), ground = seen[bare], grounds[bare][stack.backing]
        return looks[place][ground].reading, drawn[place][ground]

    return tuple(
        tuple(
            _shown(item, scene, look(item.there, k), look(item.beside, k))
            for k, scene in enumerate(scenes)
        )
        for item in items
    )


def _shown(item: Item, scene: Scene, there: _Seen, beside: _Seen) -> ShowThrough:
    """The words for a pair of looks, each with its draws."""
    delta = float(ciede2000(there[0].Lab, beside[0].Lab))
    cloths = [layer.cloth for stack in (item.there, item.beside) for layer in stack.layers]
    left = open_difference((there[0].Lab, there[1]), (beside[0].Lab, beside[1]))
    doubt = of_difference(
        delta, known_of(cloths), float(left), near_daylight(scene), changed=("stack", "backing")
    ).stated
    least, most = max(delta - doubt, 0.0), delta + doubt
    if scene.dim:
        least *= DIM_SHARE
    possible = GRADES[GRADES.index(grade(least)) : GRADES.index(grade(most)) + 1]
    likely = grade(delta)
    change = difference_words(beside[0].settled, there[0].settled)
    looks = "" if likely == "hidden" else f", {change}"
    sure = "" if len(possible) == 1 else "likely "
    text = f"{item.name[0].upper()}{item.name[1:]}: {sure}{likely}{looks}"
    text += f" (difference {delta:.1f} give or take {doubt:.1f}; {scene.name}"
    if item.beside.backing is not item.there.backing:
        text += f", beside it {behind(item.beside.backing)}"
    else:
        text += f", {behind(item.beside.backing)}"
    if len(possible) > 1:
        rest = [g for g in possible if g != likely]
        text += f"; may be {' or '.join(rest)}: lay a piece and look"
    return ShowThrough(item.name, delta, doubt, likely, possible, text + ").")


@dataclass(frozen=True)
class Remedy:
    """What was tried and what it does: ``label``, the result, and whether it does what is wanted
    at the likeliest (``does``) and with the uncertainty taken in (``surely``)."""

    label: str
    result: ShowThrough
    does: bool
    surely: bool


def _remedy(label: str, result: ShowThrough, want: str) -> Remedy:
    if want not in GRADES:
        raise InputError(f"{want!r} is not one of {', '.join(GRADES)}", field="want")
    return Remedy(label, result, result.grade == want, result.possible == (want,))


def by_layers(
    stack: Stack,
    make: Callable[[Stack], Item],
    scene: Scene,
    want: str = "hidden",
    most: int = 6,
    observer: str = "2",
) -> tuple[Remedy, ...]:
    """More layers of the outer cloth, one at a time, until the item is surely as wanted.

    ``make``: from a stack to the item (``tape``, ``skin`` and so on). The last of the result is
    the least number of layers that does it, or ``most`` if none does: see its ``surely``.

    Parameters
    ----------
    stack : Stack
    make : callable
    scene : Scene
    want : {"hidden", "plain"}
    most : int
        Layers tried at most, 1 to 12.
    observer : {"2", "10"}

    Examples
    --------
    >>> len(by_layers(single, tape, window, most=2))
    2
    """
    _some(stack)
    tried: list[Remedy] = []
    most = min(most, MOST_LAYERS - len(stack.layers) + 1)
    for count in range(1, most + 1):
        layers = (stack.layers[0],) * count + stack.layers[1:]
        result = show_through(make(replace(stack, layers=layers)), scene, observer)
        label = f"{count} layer{'s' if count > 1 else ''} of {stack.layers[0].cloth.name}"
        tried.append(_remedy(label, result, want))
        if tried[-1].surely:
            break
    return tuple(tried)


def least_layers(tried: Sequence[Remedy], surely: bool = False) -> int | None:
    """Of :func:`by_layers`: the least number of layers from which on all do it, or None.

    Examples
    --------
    >>> least_layers(by_layers(single, tape, window, "plain", most=2))
    1
    """
    fine = [t.surely if surely else t.does for t in tried]
    count = len(fine)
    while count and fine[count - 1]:
        count -= 1
    return count + 1 if count < len(fine) else None


def remedy_words(tried: Sequence[Remedy], want: str = "hidden") -> str:
    """What :func:`by_layers` found, as a sentence.

    Examples
    --------
    >>> type(remedy_words(by_layers(single, tape, window, most=2))).__name__
    'str'
    """
    sure, likely = least_layers(tried, surely=True), least_layers(tried)
    name = tried[0].result.name
    if sure is not None:
        return f"{tried[sure - 1].label}: the {name} is {want}."
    if likely is not None:
        return (
            f"{tried[likely - 1].label}: the {name} is likely {want}, but not surely; lay a piece "
            "and look."
        )
    return f"Up to {len(tried)} layers the {name} is not {want}; try another backing."


def _some(stack: Stack) -> None:
    if not stack.layers:
        raise InputError("there is no cloth in this stack to hide anything")


def _checked(stack: Stack) -> Stack:
    if len(stack.layers) > MOST_LAYERS:
        raise InputError(f"with this there would be more than {MOST_LAYERS} layers")
    return stack
