"""What two have made of one making at the same time, joined, so that neither loses the other's.

Knows makings as values; who the two are, and where it is kept, is another's business.
"""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

from weavecolor.making.answers import with_option
from weavecolor.making.model import Making

#: By what one of many is known to be the same one; words by themselves.
_KNOWN_BY = {"cloths": "key", "options": "name", "pieces": "name", "measured": "name",
             "fullness": "what"}  # fmt: skip


def joined(before: Making, ours: Making, theirs: Making) -> Making:
    """What both made of ``before``: the changes of ``ours`` made to ``theirs``.

    Different stacks that both kept under one name are both kept, ours under the next letter. Of any
    other one thing that both changed ours holds; what one changed and the other took away stays,
    and so does cloth that something is laid of.

    Parameters
    ----------
    before : Making
        What both began with.
    ours, theirs : Making

    Examples
    --------
    >>> joined(Making(), Making("Cape"), Making(notes="lined")).title
    'Cape'
    """
    new = {x.name: x for x in theirs.options if x not in before.options}
    twice = [
        x for x in ours.options
        if x.name in new and x not in before.options and not x.same_stack(new[x.name])
    ]  # fmt: skip
    rest = tuple(x for x in ours.options if x not in twice)
    chosen = next((x for x in twice if x.name == ours.chosen), None)
    own = replace(ours, options=rest, chosen="" if chosen else ours.chosen)

    told: dict[str, Any] = {
        x.name: _one(x.name, *(getattr(of, x.name) for of in (before, own, theirs)))
        for x in fields(Making)
    }
    laid = (*told["options"], *twice, *filter(None, [told["table"]]))
    used = {layer.cloth for one in laid for layer in one.layers} | set(told["limits"].outside)
    there = {x.key: x for x in (*theirs.cloths, *ours.cloths)}
    held = {x.key for x in told["cloths"]}
    told["cloths"] += tuple(x for key, x in there.items() if key in used - held)
    if told["chosen"] not in {x.name for x in told["options"]}:
        told["chosen"] = ""
    made = Making(**told)
    for option in twice:
        made, name = with_option(made, option)
        made = replace(made, chosen=name) if option is chosen else made
    return made


def _one(name: str, before: Any, ours: Any, theirs: Any) -> Any:
    """One field of both."""
    if ours == before:
        return theirs
    if theirs == before or not isinstance(ours, tuple):
        return ours
    was, own, other = (
        {getattr(x, _KNOWN_BY.get(name, ""), x): x for x in of} for of in (before, ours, theirs)
    )
    if any(len(x) < len(of) for x, of in ((was, before), (own, ours), (other, theirs))):
        return ours  # two of one name: which is which is not known
    kept = []
    for key in dict.fromkeys((*other, *own)):
        changed = [x[key] for x in (own, other) if key in x and x[key] != was.get(key)]
        if changed or (key in own and key in other):
            kept.append(changed[0] if changed else own[key])
    return tuple(kept)
