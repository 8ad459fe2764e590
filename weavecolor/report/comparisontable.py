"""A comparison as a table to read, as JSON and as CSV.

Knows how a comparison is written down; computes nothing and writes no files. The same comparison
always gives the same text: numbers are rounded, keys are in a fixed order, and what is not a
number is refused.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from weavecolor.colour.perception import JUST_NOTICEABLE
from weavecolor.decide.compare import AXES, Comparison, Option, Outcome, Step
from weavecolor.decide.unexpected import unexpected
from weavecolor.errors import InputError
from weavecolor.optics.uncertainty import HELD, known_of, reasons
from weavecolor.scene.places import sides
from weavecolor.scene.scene import Scene

#: Steps of one kind up to this many are told one by one, more are summed up.
TELL_EACH = 3
_HELD = "Colours of cloth held flat"
HELD_FLAT = f"{_HELD}; --hung tells them of folds, as a garment hangs."
HOW_TO_READ = (
    f"Differences are CIEDE2000; about {JUST_NOTICEABLE:g} is just noticeable side by side. "
    f"Give or take: {HELD} the truth should lie that near."
)


def rounded(value: ArrayLike, places: int = 3) -> Any:
    """A float, or nested lists of floats, to ``places`` decimals, never -0.0; NaN is refused.

    Examples
    --------
    >>> rounded([0.12345, 2.0])
    [0.123, 2.0]
    """
    array = np.asarray(value, dtype=np.float64)
    if not np.isfinite(array).all():
        raise InputError("a result is not a number; please report the cloth that led to it")
    return (np.round(array, places) + 0.0).tolist()


def as_data(comparison: Comparison) -> dict[str, Any]:
    """The comparison as plain data, ready for JSON; places count from 0.

    Examples
    --------
    >>> from weavecolor.decide.compare import compare
    >>> sorted(as_data(compare(organza, scenes=(window,))))[:3]
    ['assumed', 'difference', 'explained']
    """
    first = {step.end: step for step in comparison.from_first}
    return {
        "difference": "CIEDE2000",
        "observer_deg": int(comparison.observer),
        "options": [
            {
                "place": place,
                **{axis: outcome.option.aspect(axis) for axis in AXES},
                "layer_count": len(outcome.option.stack.layers),
                "stack": [
                    {"cloth": x.cloth.name, "grain_deg": rounded(x.grain_deg), "face": x.face}
                    for x in outcome.option.stack.layers
                ],
                **_colour(outcome),
                "from_first": _difference(first[place]) if place in first else None,
            }
            for place, outcome in enumerate(comparison.outcomes)
        ],
        "steps": [
            {"from": s.start, "to": s.end, "axis": s.axis, **_difference(s)}
            for s in comparison.steps
        ],
        "explained": list(unexpected(comparison.outcomes, comparison.observer)),
        "assumed": list(assumptions(comparison)),
    }


def as_json(comparison: Comparison) -> str:
    """:func:`as_data` as JSON text.

    Examples
    --------
    >>> from weavecolor.decide.compare import compare
    >>> as_json(compare(organza, scenes=(window,))).startswith("{")
    True
    """
    return json.dumps(as_data(comparison), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def safe_cell(value: Any) -> Any:
    """A cell that no spreadsheet takes for a sum: text that begins so, also after spaces, is
    marked as text.

    Examples
    --------
    >>> safe_cell(" =1+1"), safe_cell("silk"), safe_cell(-1.5)
    ("' =1+1", 'silk', -1.5)
    """
    risky = isinstance(value, str) and value.lstrip()[:1] in ("=", "+", "-", "@", "\uff1d")
    return f"'{value}" if risky else value


def as_csv(comparison: Comparison) -> str:
    """One line an option, for a spreadsheet.

    Examples
    --------
    >>> from weavecolor.decide.compare import compare
    >>> len(as_csv(compare(organza, counts=(1, 2), scenes=(window,))).splitlines())
    3
    """
    first = {step.end: step for step in comparison.from_first}
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(
        [*AXES, "layer_count", "X", "Y", "Z", "L*", "a*", "b*", "C*", "h", "uncertainty", "screen",
         "on_screen", "words", "from_first", "from_first_uncertainty", "seen"]
    )  # fmt: skip
    for place, outcome in enumerate(comparison.outcomes):
        colour = _colour(outcome)
        step = first.get(place)
        verdict = step.verdict if step else None
        writer.writerow(
            [
                *(safe_cell(outcome.option.aspect(axis)) for axis in AXES),
                len(outcome.option.stack.layers),
                *colour["XYZ"], *colour["Lab"], *colour["LCh"][1:],
                colour["uncertainty"], colour["screen"],
                "yes" if colour["on_screen"] else "no",
                colour["words"],
                rounded(step.delta) if step else "",
                rounded(step.uncertainty.stated) if step else "",
                verdict.seen if verdict else "",
            ]
        )  # fmt: skip
    return out.getvalue()


def as_text(comparison: Comparison, every_step: bool = False) -> str:
    """A table to read, then the steps between neighbours in sentences.

    ``every_step`` tells every step; otherwise many steps of one kind are summed up in two lines.

    Examples
    --------
    >>> from weavecolor.decide.compare import compare
    >>> print(as_text(compare(organza, scenes=(window,))).splitlines()[0])
    Shot silk organza, crimson and black
    """
    varied = comparison.varied()
    title, same = heading(comparison)
    heads = [*("behind" if axis == "backing" else axis for axis in varied)]
    heads += ["L*", "a*", "b*", "give or take", "screen", "from first", "colour"]
    first = {step.end: step for step in comparison.from_first}
    rows, off_screen = [], False
    for place, outcome in enumerate(comparison.outcomes):
        reading = outcome.appearance.reading
        cells = [short(outcome.option, axis) for axis in varied]
        cells += [f"{v:.1f}" for v in rounded(reading.Lab, 1)]
        cells.append(f"{outcome.uncertainty.stated:.1f}")
        cells.append(reading.hex + ("" if reading.in_srgb else " *"))
        cells.append(f"{first[place].delta:.1f}" if place in first else "")
        rows.append([*cells, reading.words])
        off_screen |= not reading.in_srgb
    numeric = {"L*", "a*", "b*", "give or take", "from first"}
    lines = [
        title,
        "; ".join([*same, f"{comparison.observer} degree observer"]),
        *_lit(comparison),
        "",
        *columns(heads, rows, numeric),
    ]
    if off_screen:
        lines.append("* beyond what an sRGB screen can show: the screen colour is the nearest.")
    told = steps_text(comparison, every_step)
    lines += ["", HOW_TO_READ, *([""] if told else []), *told]
    explained = unexpected(comparison.outcomes, comparison.observer)
    if explained:
        lines += ["", *explained]
    assumed = assumptions(comparison)
    if assumed:
        lines += ["", "Mind: " + "; ".join(text.rstrip(".") for text in assumed) + "."]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def heading(comparison: Comparison) -> tuple[str, tuple[str, ...]]:
    """What is compared, and what all options have in common, in words.

    Examples
    --------
    >>> from weavecolor.decide.compare import compare_stacks
    >>> heading(compare_stacks((single, double), (backing("white"),), (window,)))
    ('2 stacks', ('window at the side', 'white behind'))
    """
    varied, first = comparison.varied(), comparison.outcomes[0].option
    title = first.label or first.stack.layers[0].cloth.name
    if "stack" in varied:
        title = f"{len(comparison.labels('stack'))} stacks"
    # a whole stack is told in its words; only place and backing stand beside it
    beside = ("scene", "backing") if first.label else [axis for axis in AXES if axis != "stack"]
    return title, tuple(first.aspect(axis) for axis in beside if axis not in varied)


def _lit(comparison: Comparison) -> list[str]:
    """From where each place is lit and looked at, for one who faces the cloth."""
    scenes = {o.option.scene.name: o.option.scene for o in comparison.outcomes}
    if len(scenes) == 1:
        lines = [f"Facing the cloth: {sides(*scenes.values())}."]
    else:
        lines = [f"Facing the cloth, {name}: {sides(scene)}." for name, scene in scenes.items()]
    return [*lines, *filter(None, [held_words(list(scenes.values()))])]


def held_words(scenes: Sequence[Scene]) -> str:
    """That colours in ``scenes`` are of cloth held flat, and what tells them of folds where light
    from behind does not forbid it; "" where any is of folds, which its name says.

    Examples
    --------
    >>> from weavecolor.scene.places import scene
    >>> held_words([scene("lightbox behind")])
    'Colours of cloth held flat.'
    """
    if any(scene.views for scene in scenes):
        return ""
    return f"{_HELD}." if all(scene.behind for scene in scenes) else HELD_FLAT


def steps_text(comparison: Comparison, every_step: bool = False) -> list[str]:
    """The steps in sentences, kind by kind.

    Examples
    --------
    >>> from weavecolor.decide.compare import compare
    >>> steps_text(compare(organza, scenes=(window,)))
    []
    """
    kinds: dict[str, list[Step]] = {}
    for step in comparison.steps:
        kinds.setdefault(step.change, []).append(step)
    lines = []
    for change, steps in kinds.items():
        if every_step or len(steps) <= TELL_EACH:
            lines += [_with_place(comparison, step) for step in steps]
            continue
        deltas = [step.delta for step in steps]
        line = f"{change}: difference {min(deltas):.1f} to {max(deltas):.1f} in {len(steps)} pairs"
        if all(step.verdict is not None for step in steps):
            seen = [step.verdict.sees for step in steps if step.verdict is not None]
            line += (
                f"; she would see {seen.count(True)}, would not see {seen.count(False)}, "
                f"cannot tell {seen.count(None)}"
            )
        lines += [line + ".", "  " + _with_place(comparison, steps[0])]
    return lines


def place_words(comparison: Comparison, step: Step) -> str:
    """Where a step is taken: what stays as it is among the things that vary elsewhere.

    Examples
    --------
    >>> from weavecolor.decide.compare import compare
    >>> made = compare(organza, counts=(1, 2), scenes=(window,))
    >>> place_words(made, made.steps[0])
    ''
    """
    a = comparison.outcomes[step.start].option
    kept = [axis for axis in comparison.varied() if axis != step.axis]
    return ", ".join(a.aspect(axis) for axis in kept)


def _with_place(comparison: Comparison, step: Step) -> str:
    where = place_words(comparison, step)
    return f"{where}: {step.sentence}" if where else step.sentence


def short(option: Option, axis: str) -> str:
    """An aspect as it stands under its own heading: "black" under "behind".

    Examples
    --------
    >>> from weavecolor.decide.compare import options
    >>> short(options(organza, scenes=(window,))[0], "grain")
    'straight grain'
    """
    words = option.aspect(axis)
    return words.removesuffix(" behind") if axis == "backing" else words


def assumptions(comparison: Comparison) -> tuple[str, ...]:
    """What the colours rest on that nobody measured, each said once.

    Examples
    --------
    >>> from weavecolor.decide.compare import compare
    >>> len(assumptions(compare(organza, scenes=(window,)))) > 0
    True
    """
    asked = [outcome.option for outcome in comparison.outcomes]
    cloths = [layer.cloth for one in asked for layer in one.stack.layers]
    return reasons(known_of(cloths, any(one.scene.views for one in asked)))


def columns(heads: Sequence[str], rows: Sequence[Sequence[str]], right: set[str]) -> list[str]:
    """Lines of a table with its columns in line; those named in ``right`` are set flush right.

    Parameters
    ----------
    heads : sequence of str
        One a column.
    rows : sequence of sequences of str
        As many cells each.
    right : set of str
        Heads of the columns set flush right.

    Examples
    --------
    >>> columns(["a", "b"], [["1", "two"]], {"a"})
    ['a  b', '1  two']
    """
    widths = [max(map(len, column)) for column in zip(heads, *rows, strict=True)]
    return [
        "  ".join(
            cell.rjust(width) if head in right else cell.ljust(width)
            for cell, width, head in zip(row, widths, heads, strict=True)
        ).rstrip()
        for row in (heads, *rows)
    ]


def _colour(outcome: Outcome) -> dict[str, Any]:
    reading = outcome.appearance.reading
    return {
        "XYZ": rounded(reading.XYZ),
        "Lab": rounded(reading.Lab),
        "LCh": rounded(reading.LCh),
        "uncertainty": rounded(outcome.uncertainty.stated),
        "screen": reading.hex,
        "on_screen": bool(reading.in_srgb),
        "on_wide_screen": bool(reading.in_p3),
        "words": reading.words,
    }


def _difference(step: Step) -> dict[str, Any]:
    return {
        "delta": rounded(step.delta),
        "uncertainty": rounded(step.uncertainty.stated),
        "seen": step.verdict.seen if step.verdict else "not side by side",
        "effect": step.effect,
        "sentence": step.sentence,
    }
