"""What the fuzz tests share: how long they run, hostile text and bytes, and a watch on each try.

``WEAVECOLOR_FUZZ=20 python -m pytest tests/test_fuzz_*.py`` tries 20 times as many inputs.
"""

from __future__ import annotations

import os
import time
import warnings
from collections import Counter
from collections.abc import Callable
from contextlib import contextmanager
from typing import Any

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

from weavecolor.errors import InputError

LONGER = float(os.environ.get("WEAVECOLOR_FUZZ", "1"))
#: No single input may keep a reader busy for longer, seconds of processor time.
MOST_SECONDS = 10.0

TRIED: Counter[str] = Counter()
REFUSED: Counter[str] = Counter()


def bounded(examples: int) -> settings:
    """``examples`` inputs, or more where longer was asked for; the same ones each time if not."""
    return settings(
        max_examples=max(1, int(examples * LONGER)),
        deadline=None,
        derandomize=LONGER == 1,
        suppress_health_check=list(HealthCheck),
    )


def tried(what: str, call: Callable[[], Any]) -> Any:
    """What ``call`` returns, None where it refuses. Fails for a slow one, and for a bad refusal."""
    TRIED[what] += 1
    with quick(what):
        try:
            return call()
        except InputError as error:
            REFUSED[what] += 1
            line = str(error)
            assert line.strip() and "\n" not in line and len(line) < 2000, line[:300]
            return None


@contextmanager
def quick(what: str):
    begun = time.process_time()
    with warnings.catch_warnings():
        warnings.simplefilter("error", RuntimeWarning)  # no number runs over unseen
        yield
    spent = time.process_time() - begun
    assert spent < MOST_SECONDS, f"{what}: {spent:.1f} s"


#: Pieces of text that have a meaning somewhere.
WORDS = (
    "warp", "weft", "[warp]", "[[x]]", "plain", "twill 2/1", "satin 8/3", "40 /cm", "21 denier",
    "20/22 denier", "#b01020", "lab", "nan", "inf", "-inf", "1e999", "-1", "0", "1e-320",
    "0x" + "f" * 4000, "9" * 5000, "true", "null", "{}", "[]", "[[", "{a=", '"', "'", '"""', "#",
    "\\u0000", "\\ud800", ",", ";", "\t", "%", "=", ":", ".", "BEGIN_DATA", "END_DATA",
    "BEGIN_DATA_FORMAT", "END_DATA_FORMAT",
    "SPECTRAL_NM", "SPECTRAL_DEC", "NM400", "SPECTRAL_NORM inf", "wavelength", "400", "780",
    "../../etc/passwd", "a.b.c.d", "\u202e", "\ufeff", "\u0000", "é", "🧵", "<script>", "{{7*7}}",
    "%s%n", "$(id)", "weavecolor_project", "1979-05-27T07:32:00Z", "999999999999999999999",
)  # fmt: skip

texts = st.lists(
    st.one_of(st.sampled_from(WORDS), st.text(max_size=12), st.floats().map(str)), max_size=8
).map(" ".join)

#: Any value that JSON or TOML could hold, and some that neither can.
values = st.recursive(
    st.one_of(
        st.none(),
        st.booleans(),
        st.integers(-3, 3),
        st.sampled_from([10**400, 2**63, 1e308, -1e-320]),
        st.integers(5000, 5002).map(lambda digits: -(10**digits)),  # too long to print
        st.floats(),
        st.sampled_from(WORDS),
        st.text(max_size=30),
        st.dates(),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=6),
        st.dictionaries(st.one_of(st.sampled_from(WORDS), st.text(max_size=8)), inner, max_size=4),
    ),
    max_leaves=8,
)

#: Values that some field takes, right or at the edge of right.
plausible = st.one_of(
    st.floats(0.0, 1.0),
    st.floats(0.0, 60.0),
    st.integers(0, 3),
    st.sampled_from(["plain", "twill 3/1 left", "satin 8/3", ["X.", ".X"], "12 /cm", "99 /inch",
                     "80 denier", "Ne 20", "3 oz/yd2", "silk", "cotton", "spun", "filament",
                     "#123456", "5 %", "white", "A", "cloth", "back", "touching", {}, [], "", True,
                     {"lab": [40.0, 20.0, -9.5], "illuminant": "D50"}, [[0, 0], [9, 0], [4, 7]]]),
)  # fmt: skip


@st.composite
def spoilt(draw: Any, seeds: tuple[bytes, ...]) -> bytes:
    """One of ``seeds`` with up to six parts cut, doubled, moved or overwritten."""
    data = bytearray(draw(st.sampled_from(seeds)))
    for _ in range(draw(st.integers(1, 6))):
        size = len(data)
        at = draw(st.integers(0, size))
        to = min(size, at + draw(st.sampled_from([0, 1, 2, 5, 20, 200, size])))
        how = draw(st.integers(0, 4))
        if how == 0:
            del data[at:to]
        elif how == 1:
            data[at:at] = data[at:to]
        elif how == 2:
            data[at:to] = draw(st.sampled_from(WORDS)).encode("utf-8", "surrogatepass")
        elif how == 3:
            data[at:to] = draw(st.binary(max_size=12))
        elif at < size:
            data[at] = (data[at] + draw(st.integers(1, 255))) % 256
    return bytes(data)


def replaced(table: Any, draw: Any, value: Any) -> Any:
    """A copy of a nested table in which one randomly chosen place holds ``value``."""
    if isinstance(table, dict) and table and draw(st.integers(0, 5)):
        key = draw(st.sampled_from(sorted(table)))
        return {**table, key: replaced(table[key], draw, value)}
    if isinstance(table, list) and table and draw(st.integers(0, 3)):
        index = draw(st.integers(0, len(table) - 1))
        return [*table[:index], replaced(table[index], draw, value), *table[index + 1 :]]
    return value
