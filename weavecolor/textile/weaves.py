"""Lift plans by their trade names: plain, twill, satin, rib, hopsack, or drawn row by row.

Knows how ends and picks interlace; knows nothing of yarn or light. A plan's rows are picks in
weaving order, its columns are ends from left to right, 1 where the warp is up on the face.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import cast

import numpy as np

from weavecolor.errors import InputError, shown
from weavecolor.textile.notmodelled import elsewhere

Lift = tuple[tuple[int, ...], ...]

#: Longest repeat taken, in ends or picks.
MAX_REPEAT = 128

_HINT = (
    'write "plain", "twill 2/2", "twill 3/1 left", "satin 8/3", "sateen 5/2", "warp rib 2/2", '
    '"weft rib 2/2", "hopsack 2/2", or rows such as ["X.", ".X"]'
)
_SATINS = (
    'a satin is ends/counter: where threads lie over four others write "satin 5/2", over seven '
    '"satin 8/3"'
)
_NAME = re.compile(
    r"(?P<kind>plain|tabby|twill|satin|sateen|warp satin|weft satin|warp rib|weft rib|hopsack"
    r"|basket)"
    r"(?:\s+(?P<numbers>\d{1,3}(?:\s*[/x]\s*\d{1,3})*))?(?:\s+(?P<side>left|right|s|z))?"
)


@dataclass(frozen=True)
class Weave:
    """A weave, by its lift plan.

    Parameters
    ----------
    name : str
    lift : tuple of tuples of int
        Rows are picks, columns are ends, 1 where the warp is up on the face; at most 128 of
        either. As :func:`from_rows` takes them; held as tuples of 0 and 1.

    Raises
    ------
    InputError
        For uneven rows, other marks, an end or a pick that never interlaces, and threads that lie
        on the rest without being tied in.

    Notes
    -----
    A plan holds together when no set of threads lies wholly above all others: where the crossings,
    as arrows from the upper thread to the lower, lead from every thread to every other.

    References
    ----------
    C. R. J. Clapham, When a fabric hangs together, Bull. London Math. Soc. 12 (1980) 161, from
    memory; ISO 3572.

    Examples
    --------
    >>> Weave("plain", ((1, 0), (0, 1))) == organza.weave
    True
    """

    name: str
    lift: Lift

    def __post_init__(self) -> None:
        rows: object = self.lift
        if isinstance(rows, str) or not isinstance(rows, Sequence) or not rows:
            raise InputError(f"a lift plan is a list of rows; {_HINT}")
        if len(rows) > MAX_REPEAT:
            raise InputError(f"a lift plan has at most {MAX_REPEAT} picks, got {len(rows)}")
        lift = tuple(_row(row, number) for number, row in enumerate(rows, 1))
        if len({len(row) for row in lift}) != 1:
            lengths = ", ".join(str(len(row)) for row in lift[:8])
            raise InputError(f"every row of a lift plan has the same number of ends, got {lengths}")
        _must_hold(lift)
        object.__setattr__(self, "lift", lift)


def _row(row: object, number: int) -> tuple[int, ...]:
    marks: list[int] = []
    if isinstance(row, str):
        if len(row) > MAX_REPEAT:
            raise InputError(f"row {number}: a lift plan has at most {MAX_REPEAT} ends")
        for mark in row:
            if mark in "X#1x":
                marks.append(1)
            elif mark in ".-0 _":
                marks.append(0)
            else:
                raise InputError(f"row {number}: {mark!r} is not a mark; use X for up, . for down")
    elif isinstance(row, Sequence):
        if len(row) > MAX_REPEAT:
            raise InputError(f"row {number}: a lift plan has at most {MAX_REPEAT} ends")
        for mark in row:
            if isinstance(mark, bool | str) or mark not in (0, 1):
                raise InputError(f"row {number}: a lift plan holds 0 and 1, got {shown(mark, 33)}")
            marks.append(int(mark))
    else:
        raise InputError(f"row {number}: a row is text such as 'X.' or a list of 0 and 1")
    if not marks:
        raise InputError(f"row {number} is empty; {_HINT}")
    return tuple(marks)


def _must_hold(lift: Lift) -> None:
    plan = np.asarray(lift)
    for threads, axis in (("end", 0), ("pick", 1)):
        loose = np.flatnonzero(plan.min(axis=axis) == plan.max(axis=axis))
        if loose.size:
            raise InputError(
                f"{threads} {loose[0] + 1} never interlaces, so the cloth would fall apart; "
                "every end and pick must change sides at least once"
            )
    # A cloth holds together when no set of threads lies wholly above all the others. Of so many
    # ends and so many picks those lie above most that cross above the most threads: they are such
    # a set where, together, they lie above all the threads that are not among them and above or
    # below one another (Clapham, Bull. London Math. Soc. 12, 1980; from memory). Each set further
    # down ends one part.
    picks, ends = plan.shape
    pick, end = np.arange(picks + 1)[:, None], np.arange(ends + 1)
    of_picks = np.append(0, np.sort(plan.sum(axis=1)).cumsum())  # below so many ends each
    of_ends = np.append(0, np.sort(plan.sum(axis=0))[::-1].cumsum())  # above so many picks each
    above = pick * ends - of_picks[:, None] + of_ends
    parts = np.count_nonzero(above == pick * ends + end * picks - pick * end) - 1
    if parts > 1:
        raise InputError(
            f"the plan weaves {parts} sets of threads that are not tied to one another, so the "
            "cloth would fall apart; bind them with more interlacings"
        )


def weave(spec: str | Sequence[object]) -> Weave:
    """The weave called ``spec``, or drawn by it (a list of rows, see :func:`from_rows`).

    ``"twill 2/1"`` is over two, under one, the line rising to the right (Z) unless "left" (S) is
    said; longer twills such as "twill 3/1/1/1" alternate over and under. ``"satin 8/3"`` is
    warp-faced on 8 ends with counter 3; "sateen" or "weft satin" is weft-faced. ``"warp rib
    2/2"`` has two and two picks in one shed (cross ribs), "weft rib 2/2" two and two ends lifted
    as one. ``"hopsack 2/2"`` weaves 2 ends as one and 2 picks as one.
    "2/2 twill", "plain weave" and "5-end satin" are understood as well.

    Parameters
    ----------
    spec : str or sequence

    Returns
    -------
    Weave
        One repeat.

    Raises
    ------
    InputError
        For a weave that is unknown, impossible or would fall apart.

    Notes
    -----
    Each pick of a twill is the one before, one end further; of a satin on n ends k further, with
    1 < k < n - 1 and no common factor of k and n.

    References
    ----------
    ISO 3572, Weaves: definitions of general terms and basic weaves.

    Examples
    --------
    >>> weave("twill 2/1").lift
    ((1, 1, 0), (0, 1, 1), (1, 0, 1))
    """
    if not isinstance(spec, str):
        return from_rows(spec)
    text = _tidy(spec)
    match = _NAME.fullmatch(text)
    if match is None:
        told = f"{_SATINS}; {_HINT}" if re.search("satin|charmeuse", text) else _HINT
        raise InputError(f"{spec[:60]!r} is not a known weave; {told}{elsewhere(text)}")
    kind, side = match["kind"], match["side"]
    numbers = [int(n) for n in re.findall(r"\d+", match["numbers"] or "")]
    if side and kind != "twill":
        raise InputError(f"{text!r}: only a twill leans left or right; {_HINT}")
    if numbers and min(numbers) < 1:
        raise InputError(f"{text!r}: the numbers of a weave are 1 or more; {_HINT}")
    if sum(numbers) > MAX_REPEAT:
        raise InputError(f"{text!r}: a repeat has at most {MAX_REPEAT} ends and picks")
    if kind in ("plain", "tabby"):
        if numbers:
            raise InputError(f"{text!r}: plain weave takes no numbers; {_HINT}")
        rows = [[1, 0], [0, 1]]
    elif kind == "twill":
        rows = _twill(text, numbers, -1 if side in ("left", "s") else 1)
    elif kind in ("satin", "warp satin"):
        rows = _satin(text, numbers, warp_faced=True)
    elif kind in ("sateen", "weft satin"):
        rows = _satin(text, numbers, warp_faced=False)
    else:
        rows = _blocks(text, kind, numbers)
    return from_rows(rows, name=text)


#: Weaves by the name of the cloth that is always woven so (common practice, no source).
_ALSO = {
    **dict.fromkeys(
        ("taffeta", "organza", "chiffon", "voile", "gazar", "habotai", "habutai", "pongee",
         "dupion", "shantung", "lawn", "batiste", "muslin", "calico", "poplin", "faille", "poult",
         "grosgrain", "tarlatan", "cheesecloth", "mull", "challis", "cambric", "percale",
         "organdie", "organdy", "sheeting", "dupioni", "broadcloth", "chambray", "canvas",
         "butter muslin", "ottoman", "bengaline"), "plain"
    ),
    **dict.fromkeys(("serge", "surah", "foulard", "gabardine"), "twill 2/2"),
    "panama": "hopsack 2/2",
}  # fmt: skip


def _tidy(spec: str) -> str:
    """The name in one order: "Plain weave", "2/2 twill", "twill 2/2 weave", "5-end satin"."""
    text = re.sub(
        r"\b(weave|woven|ends?|shafts?|hand)\b", " ", spec.replace("-", " ").casefold()
    )
    text = " ".join(text.split())
    moved = re.fullmatch(
        r"(?P<n>\d[\d/x]*) (?P<kind>[a-z]+(?: [a-z]+)??)(?P<side> (?:left|right|s|z))?", text
    )
    if moved:
        return f"{moved['kind']} {moved['n']}{moved['side'] or ''}"
    return re.sub(r"^(left|right|s|z) (twill.*)$", r"\2 \1", _ALSO.get(text, text))


def from_rows(rows: Sequence[object], name: str = "drawn by rows") -> Weave:
    """A weave from its lift plan, one row a pick, first pick first.

    A row is a list of 0 and 1, or text in which ``X``, ``#`` or ``1`` is warp up and ``.``,
    ``-``, ``0`` or a blank is warp down. Raises InputError as :class:`Weave`.

    Examples
    --------
    >>> from_rows(["X.", ".X"]).lift
    ((1, 0), (0, 1))
    """
    return Weave(name, cast(Lift, rows))


def translations(lift: Lift) -> tuple[tuple[int, int], ...]:
    """Every (picks, ends) shift within one repeat that leaves the plan as it was; (0, 0) first.

    Their number divides the repeat's area: the true unit cell is that much smaller.

    Examples
    --------
    >>> translations(((1, 0), (0, 1)))
    ((0, 0), (1, 1))
    """
    signs = 2.0 * np.asarray(lift, dtype=float) - 1.0
    spectrum = np.abs(np.fft.fft2(signs)) ** 2
    overlap = np.rint(np.fft.ifft2(spectrum).real)
    picks, ends = np.nonzero(overlap == signs.size)
    return tuple(zip(picks.tolist(), ends.tolist(), strict=True))


def half_turn(lift: Lift) -> tuple[int, int] | None:
    """The (pick, end) sum about which a half turn in its plane leaves the plan as it was, or None.

    Crossing (p, e) then goes to (pick - p, end - e), counted within the repeat. Plain, twill,
    satin and most other weaves have one.

    Examples
    --------
    >>> half_turn(((1, 0), (0, 1)))
    (0, 0)
    >>> half_turn(((1, 1, 0), (0, 1, 1), (1, 0, 1)))
    (0, 1)
    """
    plan = np.asarray(lift)
    for pick in range(plan.shape[0]):
        for end in range(plan.shape[1]):
            turned = np.roll(plan[::-1, ::-1], (pick + 1, end + 1), axis=(0, 1))
            if np.array_equal(turned, plan):
                return pick, end
    return None


@lru_cache(maxsize=256)
def interlacings(lift: Lift) -> tuple[int, int]:
    """Most interlacings (changes of side) in one repeat of any end, and of any pick.

    2 and 2 for plain weave over its 2 x 2 repeat; a thread with floats changes side less often
    than it meets crossing threads.

    Examples
    --------
    >>> interlacings(((1, 0), (0, 1)))
    (2, 2)
    """
    plan = np.asarray(lift)
    along_ends = (plan != np.roll(plan, 1, axis=0)).sum(axis=0)
    along_picks = (plan != np.roll(plan, 1, axis=1)).sum(axis=1)
    return int(along_ends.max()), int(along_picks.max())


def _twill(text: str, numbers: list[int], step: int) -> list[list[int]]:
    if len(numbers) < 2 or len(numbers) % 2:
        raise InputError(
            f"{text!r}: a twill is over/under: where threads go over two and under one write "
            f'"twill 2/1", over two and under two "twill 2/2"; {_HINT}'
        )
    line = [1 - i % 2 for i, n in enumerate(numbers) for _ in range(n)]
    if len(line) < 3:
        raise InputError(f'{text!r}: the smallest twill has 3 ends ("twill 2/1"); {_HINT}')
    size = len(line)
    return [[line[(end - step * pick) % size] for end in range(size)] for pick in range(size)]


def _satin(text: str, numbers: list[int], *, warp_faced: bool) -> list[list[int]]:
    if not 1 <= len(numbers) <= 2:
        raise InputError(f"{text!r}: {_SATINS}; {_HINT}")
    ends = numbers[0]
    counters = [k for k in range(2, ends - 1) if math.gcd(k, ends) == 1]
    if not counters:
        raise InputError(f"{text!r}: there is no regular satin on {ends} ends; use 5, 7, 8 or more")
    counter = numbers[1] if len(numbers) == 2 else counters[0]
    if counter not in counters:
        raise InputError(
            f"{text!r}: {counter} is no counter for {ends} ends; use "
            + ", ".join(map(str, counters[:12]))
        )
    tie, ground = (0, 1) if warp_faced else (1, 0)
    return [
        [tie if end == counter * pick % ends else ground for end in range(ends)]
        for pick in range(ends)
    ]


def _blocks(text: str, kind: str, numbers: list[int]) -> list[list[int]]:
    if len(numbers) == 1:
        numbers = numbers * 2
    if len(numbers) != 2:
        raise InputError(f"{text!r}: two numbers are needed; {_HINT}")
    first, second = numbers
    if kind == "warp rib":
        picks, ends = [1] * first + [0] * second, [1, 0]
    elif kind == "weft rib":
        picks, ends = [1, 0], [1] * first + [0] * second
    else:
        picks, ends = [1] * second + [0] * second, [1] * first + [0] * first
    return [[1 if pick == end else 0 for end in ends] for pick in picks]
