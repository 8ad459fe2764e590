"""How a number about a cloth is known: measured, stated, assumed or fitted, as a value.

Knows nothing of optics. A cloth carries one such value for each number whose knowledge was told;
every other number counts as stated, exactly. What is told of a colour's or a difference's range
rests on these values alone, never on the words beside them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from weavecolor.errors import InputError, shown

Way = Literal["measured", "stated", "assumed", "fitted"]
WAYS: tuple[Way, ...] = get_args(Way)

#: What can be told of a yarn, by the cloth file's fields; ``cover`` is the share of the cloth's
#: width that the system's yarns cover, ``colour`` is in CIEDE2000.
OF_YARN = ("count", "filaments", "gum", "packing", "flattening", "twist", "dull_per_mm",
           "section", "crimp", "colour", "cover")  # fmt: skip
#: ... and of the cloth. ``shown``: how far answers show the cloth from what it was fitted to,
#: CIEDE2000. ``foretold``: what a fit left open, by which answers are drawn; ``photographed``: how
#: it looked in its pictures, which draws leave by no more than the pictures were unsure.
OF_CLOTH = ("ends", "picks", "weight", "warp_share", "shown", "foretold", "photographed")
NUMBERS = (*OF_CLOTH, *(f"{system}.{key}" for system in ("warp", "weft") for key in OF_YARN))
_LONGEST = 400


@dataclass(frozen=True)
class HowKnown:
    """How one number is known. Raises InputError for a spread below 0 or a range upside down.

    Make one by :meth:`measured`, :meth:`stated`, :meth:`assumed` or :meth:`fitted`.

    Parameters
    ----------
    way : {"measured", "stated", "assumed", "fitted"}
    spread : float, optional
        Standard uncertainty in the number's own unit (of colours and ``shown``: CIEDE2000), from
        0; None where it was not told. Of what was measured or fitted only.
    low, high : float, optional
        Of what was assumed, the range it lies in nine times in ten; both or neither. Of a colour
        that of its L*.
    source : str
        Where it comes from, one line of at most 400 characters.
    together : tuple of (str, float)
        Of what was fitted: correlation (-1 to 1) with other fitted numbers, by name.
    root : tuple of float
        Of ``foretold``: lower triangle, row by row, of the root of the covariance of all that the
        fit left open, in the fit's own numbers; a further reading is added to it. Of
        ``photographed``: its looks and the root of their covariance (``optics.fitted.looks_of``).

    Examples
    --------
    >>> HowKnown.assumed(0.7, 0.95, "common practice").high
    0.95
    """

    way: Way
    spread: float | None = None
    low: float | None = None
    high: float | None = None
    source: str = ""
    together: tuple[tuple[str, float], ...] = ()
    root: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if self.way not in WAYS:
            told = shown(str(self.way), 42)
            raise InputError(f"{told} must be one of {', '.join(WAYS)}", field="how")
        if self.spread is not None:
            if self.way not in ("measured", "fitted"):
                raise InputError(f"a number that is {self.way} has no spread", field="spread")
            if not (math.isfinite(self.spread) and self.spread >= 0.0):
                raise InputError(f"must be 0 or more, got {self.spread:g}", field="spread")
        if (self.low is None) != (self.high is None):
            raise InputError("give both ends of the range, or neither", field="low")
        if self.low is not None and self.high is not None:
            if self.way != "assumed":
                raise InputError(f"a number that is {self.way} has no range", field="low")
            if not (math.isfinite(self.low) and math.isfinite(self.high) and self.low <= self.high):
                raise InputError(f"no range from {self.low:g} to {self.high:g}", field="low")
        if len(self.source) > _LONGEST or not (self.source + " ").isprintable():
            raise InputError(f"one plain line of at most {_LONGEST} characters", field="source")
        if self.together and self.way != "fitted":
            raise InputError(f"a number that is {self.way} goes with no other", field="together")
        for name, share in self.together:
            if name not in NUMBERS or not -1.0 <= share <= 1.0:
                raise InputError(
                    f"a number's name with a correlation from -1 to 1, got {name[:40]} {share:g}",
                    field="together",
                )
        if self.root and self.way != "fitted":
            raise InputError(f"a number that is {self.way} has no root", field="root")
        if not all(map(math.isfinite, self.root)):
            raise InputError("finite numbers only", field="root")
        object.__setattr__(self, "together", tuple(sorted(self.together)))

    @classmethod
    def measured(cls, spread: float | None = None, source: str = "") -> HowKnown:
        """Read off the cloth itself, to a standard uncertainty ``spread``.

        Examples
        --------
        >>> HowKnown.measured(0.5, "counted over 2 cm").spread
        0.5
        """
        return cls("measured", spread, source=source)

    @classmethod
    def stated(cls, source: str = "") -> HowKnown:
        """Told by somebody: a label, a mill, a shop.

        Examples
        --------
        >>> HowKnown.stated("the label").way
        'stated'
        """
        return cls("stated", source=source)

    @classmethod
    def assumed(
        cls, low: float | None = None, high: float | None = None, source: str = ""
    ) -> HowKnown:
        """Supposed by the tool or its user, within ``low`` to ``high``; ``source`` why.

        Examples
        --------
        >>> HowKnown.assumed().way
        'assumed'
        """
        return cls("assumed", None, low, high, source)

    @classmethod
    def fitted(
        cls,
        spread: float | None = None,
        source: str = "",
        together: Iterable[tuple[str, float]] = (),
        root: Iterable[float] = (),
    ) -> HowKnown:
        """Found by a fit, to a standard uncertainty ``spread``; ``source`` as before, ``together``
        its correlations with other fitted numbers, ``root`` all that the fit left open.

        Examples
        --------
        >>> HowKnown.fitted(1.1, together=[("weft.colour", 0.4)]).together
        (('weft.colour', 0.4),)
        """
        return cls("fitted", spread, source=source, together=tuple(together), root=tuple(root))


#: What a cloth holds: names from :data:`NUMBERS` with how each is known, in their order.
Knowledge = tuple[tuple[str, HowKnown], ...]


def knowledge(told: Mapping[str, HowKnown] | Iterable[tuple[str, HowKnown]]) -> Knowledge:
    """``told`` in one fixed order, so that the same content is the same value.

    Raises InputError for a name not in :data:`NUMBERS`, a name told twice, what is no
    :class:`HowKnown`, and correlations that no covariance has or whose two numbers have no spread.

    Examples
    --------
    >>> knowledge({"picks": HowKnown.stated(), "ends": HowKnown.measured(0.5)})[0][0]
    'ends'
    """
    rows = list(told.items() if isinstance(told, Mapping) else told)
    by_name = dict(rows)
    if len(by_name) < len(rows):
        raise InputError("tells of one number twice", field="known")
    for name, how in by_name.items():
        if name not in NUMBERS:
            raise InputError(
                f"{str(name)[:40]!r} is no number of a cloth; there are {', '.join(NUMBERS)}",
                field="known",
            )
        if not isinstance(how, HowKnown):
            raise InputError(
                f"{shown(how)} does not tell how {name} is known; give a HowKnown", field="known"
            )
    made = tuple((name, by_name[name]) for name in NUMBERS if name in by_name)
    if any(how.together for how in by_name.values()):
        names = [name for name, how in made if how.way == "fitted" and how.spread is not None]
        for name, how in made:
            for other, _ in how.together:
                if name not in names or other not in names or name == other:
                    raise InputError(
                        f"{name} and {other} go together only where both are fitted with a spread",
                        field="known",
                    )
        matrix = covariance(made, names)
        scale = float(np.max(np.diag(matrix), initial=0.0))
        if np.linalg.eigvalsh(matrix)[0] < -1e-6 * scale:
            raise InputError("these correlations cannot hold at once", field="known")
    return made


def covariance(known: Knowledge, names: Sequence[str]) -> NDArray[np.float64]:
    """Covariance, shape (n, n), of the ``names`` in their own units; variance 0 where no spread
    was told.

    Parameters
    ----------
    known : Knowledge
    names : sequence of str, n of :data:`NUMBERS`

    Returns
    -------
    ndarray, shape (n, n)
        Symmetric; a correlation told on either side stands for both.

    Examples
    --------
    >>> known = {name: HowKnown.fitted(2.0) for name in ("warp.colour", "weft.colour")}
    >>> known["warp.colour"] = HowKnown.fitted(1.0, together=[("weft.colour", 0.5)])
    >>> covariance(knowledge(known), ["warp.colour", "weft.colour"]).tolist()
    [[1.0, 1.0], [1.0, 4.0]]
    """
    told = dict(known)
    spread = np.array([(told[n].spread if n in told else None) or 0.0 for n in names])
    share = np.eye(len(names))
    for i, name in enumerate(names):
        for other, value in told[name].together if name in told else ():
            if other in names:
                share[i, names.index(other)] = share[names.index(other), i] = value
    return np.asarray(share * np.outer(spread, spread), dtype=np.float64)
