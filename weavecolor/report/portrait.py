"""One cloth described: its construction in numbers, how it looks, and what was assumed.

Knows what is worth saying about a cloth; computes nothing itself and writes no files.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from weavecolor.colour.lights import light_spectrum
from weavecolor.colour.tristimulus import xyz
from weavecolor.decide.compare import Outcome, compare
from weavecolor.decide.unexpected import kept_out
from weavecolor.optics.appearance import CONTRAST_WORDS, contrast_ratio, transmittance
from weavecolor.optics.stack import Layer, Stack
from weavecolor.optics.uncertainty import known_of
from weavecolor.report.comparisontable import columns, rounded, short
from weavecolor.scene.backings import backing
from weavecolor.scene.scene import Scene
from weavecolor.textile.assumedwords import assumed_words
from weavecolor.textile.cloth import Cloth
from weavecolor.textile.construction import HAIRINESS, Description, describe, hairs_take
from weavecolor.textile.howknown import HowKnown
from weavecolor.textile.notmodelled import besides_so
from weavecolor.textile.weaves import weave

GROUNDS = ("white", "black")


@dataclass(frozen=True, eq=False)
class Portrait:
    """A cloth, its numbers, and one layer of it in a scene.

    ``looks``: face over white, face over black, back over white, back over black. ``opacity``:
    contrast ratio of one layer, 0-1. ``straight``: share of light straight through at right
    angles; ``scattered``: share of daylight (Y) scattered through; ``hairs``: least and greatest
    share of the straight light that hairs of spun yarn, which nothing here counts, would scatter.
    """

    cloth: Cloth
    numbers: Description
    looks: tuple[Outcome, ...]
    opacity: float
    straight: float
    scattered: float
    hairs: tuple[float, float]


def portrait(cloth: Cloth, scene: Scene, observer: str = "2") -> Portrait:
    """Everything worth saying about ``cloth``, seen in ``scene``.

    Parameters
    ----------
    cloth : Cloth
    scene : Scene
    observer : {"2", "10"}
        CIE standard observer, degrees.

    Examples
    --------
    >>> portrait(organza, scene("overcast")).cloth.name == organza.name
    True
    """
    grounds = [backing(name) for name in GROUNDS]
    made = compare(
        cloth, backings=grounds, scenes=[scene], faces=("face", "back"), observer=observer
    )
    one = Stack((Layer(cloth),))
    light = light_spectrum("daylight")
    through = transmittance(one)
    return Portrait(
        cloth,
        describe(cloth),
        made.outcomes,
        contrast_ratio(one),
        through.straight,
        float(xyz(np.asarray(through.scattered) * light, light)[1]) / 100.0,
        (hairs_take(cloth, HAIRINESS[0]), hairs_take(cloth, HAIRINESS[1])),
    )


def as_data(made: Portrait) -> dict[str, Any]:
    """Plain data, ready for JSON, in a fixed order.

    Examples
    --------
    >>> sorted(as_data(portrait(organza, scene("overcast"))))[:2]
    ['assumed', 'construction']
    """
    cloth = made.cloth
    return {
        "name": cloth.name,
        "weave": weave_words(cloth),
        "construction": {key: rounded(value, 4) for key, value in asdict(made.numbers).items()},
        "declared_g_m2": None if cloth.declared_g_m2 is None else rounded(cloth.declared_g_m2),
        "one_layer": {
            "opacity": rounded(made.opacity, 4),
            "light_straight_through": rounded(made.straight, 4),
            "daylight_scattered_through": rounded(made.scattered, 4),
            "straight_light_hairs_would_scatter": [rounded(share, 4) for share in made.hairs],
            "scene": made.looks[0].option.scene.name,
            "looks": [
                {
                    "side": look.option.stack.layers[0].face,
                    "behind": short(look.option, "backing"),
                    "Lab": rounded(look.appearance.reading.Lab),
                    "uncertainty": rounded(look.uncertainty.stated),
                    "screen": look.appearance.reading.hex,
                    "on_screen": bool(look.appearance.reading.in_srgb),
                    "words": look.appearance.reading.words,
                }
                for look in made.looks
            ],
        },
        "doubts": list(known_of([cloth]).contradictions),
        "assumed": list(assumed(made)),
        "sources": dict(cloth.sources),
        "known": {name: _how(how) for name, how in cloth.known},
        "notes": cloth.notes,
    }


def as_json(made: Portrait) -> str:
    """:func:`as_data` as JSON text; the same cloth gives the same bytes.

    Examples
    --------
    >>> as_json(portrait(organza, scene("overcast"))).startswith("{")
    True
    """
    return json.dumps(as_data(made), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def as_text(made: Portrait) -> str:
    """A page to read.

    Examples
    --------
    >>> print(as_text(portrait(organza, scene("overcast"))).splitlines()[0])
    Shot silk organza, crimson and black
    """
    cloth, n = made.cloth, made.numbers
    pairs = [
        ("weave", weave_words(cloth)),
        ("warp", _yarn_words(cloth, "warp")),
        ("weft", _yarn_words(cloth, "weft")),
        ("ends", f"{n.ends_per_cm:.4g} per cm, {n.ends_per_inch:.4g} per inch"),
        ("picks", f"{n.picks_per_cm:.4g} per cm, {n.picks_per_inch:.4g} per inch"),
        ("yarn across", f"warp {n.warp_width_mm:.3f} mm, weft {n.weft_width_mm:.3f} mm "
         f"(round: {n.warp_diameter_mm:.3f} and {n.weft_diameter_mm:.3f})"),
        ("crimp", f"warp {n.warp_crimp:.1%}, weft {n.weft_crimp:.1%}"),
        ("weight", f"{n.mass_g_m2:.1f} g/m2, {n.mass_momme:.1f} momme" + _declared(cloth)),
        ("cover", f"warp {n.warp_cover:.2f}, weft {n.weft_cover:.2f}, cloth {n.cloth_cover:.2f}"),
        ("openness", f"{n.openness:.1%} of the area, between yarns"),
        ("jamming", f"set at {n.jamming:.0%} of the closest that could be woven"),
        ("thickness", f"{n.thickness_mm:.3f} mm, not pressed"),
        ("opacity", f"{made.opacity:.1%} of one layer, 100 % hides all ({CONTRAST_WORDS})"),
        ("light through", f"{made.straight:.1%} straight, between yarns and their filaments; "
         f"{made.scattered:.1%} scattered" + _hairs_words(made.hairs)),
    ]  # fmt: skip
    width = max(len(name) for name, _ in pairs) + 2
    rows = []
    for look in made.looks:
        reading = look.appearance.reading
        rows.append((
            look.option.stack.layers[0].face,
            short(look.option, "backing"),
            *(f"{v:.1f}" for v in rounded(reading.Lab, 1)),
            f"{look.uncertainty.stated:.1f}",
            reading.hex + ("" if reading.in_srgb else " *"),
            reading.words,
        ))  # fmt: skip
    heads = ("side", "behind", "L*", "a*", "b*", "give or take", "screen", "colour")
    lines = [
        cloth.name,
        "",
        *(f"{name.ljust(width)}{text}" for name, text in pairs),
        "",
        f"One layer, {made.looks[0].option.scene.name}:",
        *columns(heads, rows, {"L*", "a*", "b*", "give or take"}),
    ]
    if any(not look.appearance.reading.in_srgb for look in made.looks):
        lines.append("* beyond what an sRGB screen can show: the screen colour is the nearest.")
    if dark := kept_out([look.option for look in made.looks]):
        lines.append(dark)
    for doubtful in known_of([cloth]).contradictions:
        lines += ["", f"Mind: {doubtful}"]
    known = assumed(made)
    if known:
        lines += ["", "Assumed, not measured:", *(f"  {text}" for text in known)]
    if cloth.notes:
        lines += ["", " ".join(cloth.notes.split())]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _hairs_words(hairs: tuple[float, float]) -> str:
    few, many = hairs
    if not many:
        return ""
    return (
        f"; loose hairs of the yarn, which are left out, scatter {few:.0%} to {many:.0%} of what "
        "goes straight through"
    )


def assumed(made: Portrait) -> tuple[str, ...]:
    """What was supposed about the cloth: on reading it, by its owner, and in its colours.

    Examples
    --------
    >>> type(assumed(portrait(organza, scene("overcast")))).__name__
    'tuple'
    """
    cloth = made.cloth
    known = dict(cloth.known)
    owner = [
        f"{key}: {text}"
        for key, text in cloth.sources
        if key in known and known[key].way == "assumed" and known[key].source != text
    ]
    return (*assumed_words(cloth), *besides_so(cloth.remarks), *owner)


def _how(how: HowKnown) -> dict[str, Any]:
    told = {key: value for key, value in asdict(how).items() if value not in (None, "", ())}
    return {**told, "together": dict(how.together)} if how.together else told


def weave_words(cloth: Cloth) -> str:
    """The weave's name and, where it has floats, how much warp shows on the face.

    Examples
    --------
    >>> weave_words(organza)
    'plain'
    """
    crossings = [up for row in cloth.weave.lift for up in row]
    share = sum(crossings) / len(crossings)
    plain = cloth.weave.lift == weave("plain").lift
    return cloth.weave.name if plain else f"{cloth.weave.name}, warp up at {share:.0%} of crossings"


def _yarn_words(cloth: Cloth, system: str) -> str:
    yarn = cloth.warp if system == "warp" else cloth.weft
    colour = f", {yarn.colour_name}" if yarn.colour_name else ""
    return (
        f"{yarn.fibre.name} {yarn.kind}, {yarn.tex:.3g} tex ({9.0 * yarn.tex:.3g} denier){colour}"
    )


def _declared(cloth: Cloth) -> str:
    stated = cloth.declared_g_m2
    return "" if stated is None else f" (stated: {stated:.1f} g/m2)"
