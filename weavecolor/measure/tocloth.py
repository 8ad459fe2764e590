"""From what was measured to a cloth that every other command reads.

Knows the trade's usual yarns where nobody has said; computes no optics.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import numpy as np

from weavecolor.colour.spectra import BANDS, frozen
from weavecolor.errors import InputError
from weavecolor.measure.fit import Fit
from weavecolor.measure.fit_report import TELLS
from weavecolor.measure.observations import Known
from weavecolor.measure.threads import ThreadCount
from weavecolor.optics.fitted import root_told
from weavecolor.optics.uncertainty import HELD
from weavecolor.textile import construction
from weavecolor.textile.cloth import Cloth, Yarn
from weavecolor.textile.fibres import fibre
from weavecolor.textile.howknown import HowKnown, Knowledge, knowledge
from weavecolor.textile.shopnames import sort_called
from weavecolor.textile.units import areal_mass_g_m2, check_hank, linear_density_tex, sett_per_cm
from weavecolor.textile.usual import KINDS, LUSTRES, usual_section, usual_yarn
from weavecolor.textile.weaves import weave

#: Cover of either system supposed before anything is measured.
USUAL_COVER = 0.5
#: What can be written of a cloth before a fit, and how it is read.
TOLD: Mapping[str, Callable[[str], float]] = MappingProxyType(
    {
        "ends": sett_per_cm,
        "picks": sett_per_cm,
        "warp count": linear_density_tex,
        "weft count": linear_density_tex,
        "weight": areal_mass_g_m2,
    }
)
#: A number somebody states without saying how well is taken as good to this share.
STATED = 0.05
#: An open share counted in a close-up is known no better than this.
LEAST_OPEN = 0.02


def start_cloth(
    name: str,
    ends_per_cm: float,
    picks_per_cm: float,
    *,
    plan: str = "plain",
    warp_fibre: str = "silk",
    weft_fibre: str | None = None,
    warp_kind: str = "filament",
    weft_kind: str | None = None,
    warp_tex: float | None = None,
    weft_tex: float | None = None,
    warp_like: str | None = None,
    weft_like: str | None = None,
) -> Cloth:
    """Where a fit begins: weave and setts as counted, the usual yarn of its kind, grey.

    Parameters
    ----------
    name : str
    ends_per_cm, picks_per_cm : float
        Threads per cm, 1 to 300.
    plan : str
        Name of the weave, as ``textile.weaves.weave`` takes it.
    warp_fibre, weft_fibre : str
        Of ``textile.fibres.FIBRES``; None: as the warp.
    warp_kind, weft_kind : {"filament", "spun"}
        None: as the warp.
    warp_tex, weft_tex : float, optional
        Linear density, g/km, 0.05 to 5000; None: yarn as wide as half its room.
    warp_like, weft_like : str, optional
        A sort of yarn of ``textile.usual.USUAL``, such as "silk organza", in place of fibre and
        kind; nothing said of the weft's: as the warp.

    Returns
    -------
    Cloth
        Its yarns of reflectance 0.3, closely wound.

    Raises
    ------
    InputError
        Naming the system, for setts, sizes, kinds or sorts outside these, and for setts so open
        that no yarn fills half its room; for unknown fibres and weaves.

    Examples
    --------
    >>> start_cloth("Found", 40.0, 38.0).warp.fibre.name
    'silk'
    """
    made = []
    for system, sett, fibre_name, kind, tex, like in (
        ("warp", ends_per_cm, warp_fibre, warp_kind, warp_tex, warp_like),
        ("weft", picks_per_cm, weft_fibre or warp_fibre, weft_kind or warp_kind, weft_tex,
         weft_like or (warp_like if weft_fibre is weft_kind is None else None)),
    ):  # fmt: skip
        if not (np.isfinite(sett) and 1.0 <= sett <= 300.0):
            raise InputError(f"{sett:g} threads per cm; use 1 to 300", field=system)
        if kind not in KINDS:
            raise InputError(f"{kind!r} is no kind of yarn; use filament or spun", field=system)
        try:
            sort = None if like is None else sort_called(like)
        except InputError as error:
            raise error.at(field=system) from None
        grey = frozen(np.full(BANDS, 0.3))
        made_of = fibre(fibre_name if sort is None else sort.fibre)
        usual = sort or usual_yarn(made_of.name, kind)
        kind = usual.kind
        yarn = Yarn(
            made_of, 1.0, grey, usual.packing.usual, kind=kind,
            flattening=usual.flattening.usual, filaments=1, gum=usual.gum,
            dull_per_mm=LUSTRES[usual.lustre].usual,
        )  # fmt: skip
        if tex is not None and not 0.05 <= tex <= 5000.0:
            raise InputError(f"{tex:g} tex is no yarn of cloth; use 0.05 to 5000", field=system)
        # a yarn's width goes with the root of its linear density
        size = tex or (USUAL_COVER * 10.0 / sett / yarn.width_mm) ** 2
        many = usual.filaments(size)
        lies = kind, yarn.dull_per_mm, 1 if usual.gum else many
        try:
            made.append(replace(yarn, tex=float(size), filaments=many,
                                twist_turns_m=usual.twist(size).usual,
                                section=usual_section(made_of.name, *lies).usual))  # fmt: skip
        except InputError:
            if tex is not None:
                raise
            raise InputError(f"{sett:g} threads per cm, each as wide as half its room, would be of "
                             f"{size:.3g} tex; check the count, or tell the yarn's size",
                             field=system) from None  # fmt: skip
    return Cloth(name, made[0], made[1], weave(plan), float(ends_per_cm), float(picks_per_cm))


def start_told(
    name: str,
    told: Mapping[str, str | None],
    count: ThreadCount | None,
    called: Callable[[str], str],
    **yarns: Any,
) -> tuple[Cloth, list[Known]]:
    """Where a fit begins, and what it is held to, by what was written and what was counted.

    Parameters
    ----------
    name : str
        Of the cloth.
    told : mapping
        What was written, with its unit, by the names in :data:`TOLD`; None or empty: nothing.
    count : ThreadCount or None
        From a close-up; a sett that was written goes before it.
    called : callable
        What a complaint calls the field of a name in :data:`TOLD`.
    **yarns
        Weave, fibres, kinds and likes, as :func:`start_cloth` takes them.

    Raises InputError for what cannot be read, and where a sett is neither written nor counted.

    Examples
    --------
    >>> made, known = start_told("Found", {"ends": "40 /cm", "picks": "38 /cm",
    ...                          "weight": "4.3 momme"}, None, str)
    >>> made.picks_per_cm, known[0].what
    (38.0, 'weight')
    """
    given: dict[str, float] = {}
    for key, convert in TOLD.items():
        try:
            if (told.get(key) or "").strip():
                given[key] = convert(told[key] or "")
        except InputError as error:
            raise error.at(field=called(key)) from None
    if count is not None:
        given = {"ends": count.ends_per_cm, "picks": count.picks_per_cm, **given}
    if "ends" not in given or "picks" not in given:
        raise InputError("are needed, with their unit or counted in a close-up with a ruler in it",
                         field=f"{called('ends')} and {called('picks')}")  # fmt: skip
    sizes = {"warp tex": given.get("warp count"), "weft tex": given.get("weft count")}
    stated = {**sizes, "weight": given.get("weight")}
    known = [Known(key, v, STATED * v) for key, v in stated.items() if v is not None]
    if count is not None and count.open_share is not None:
        sure = max(count.open_share_uncertainty or 0.0, LEAST_OPEN)
        known.append(Known("open share", count.open_share, sure))
    made = start_cloth(name, given["ends"], given["picks"], warp_tex=sizes["warp tex"],
                       weft_tex=sizes["weft tex"], **yarns)  # fmt: skip
    for key, yarn in (("warp count", made.warp), ("weft count", made.weft)):
        if key in given:
            try:
                check_hank(told[key] or "", yarn.fibre.name)
            except InputError as error:
                raise error.at(field=called(key)) from None
    return made, known


#: Mean squared miss, in standard uncertainties, beyond which pictures do not show one cloth.
DISAGREE = 3.0


def fitted_cloth(fit: Fit, name: str | None = None, notes: str = "") -> Cloth:
    """The cloth of ``fit`` with where its numbers come from, ready for ``clothfile.cloth_to_toml``,
    called ``name`` (None: as it was) and with the owner's ``notes``."""
    unsettled = {q.name for q in fit.unsettled}
    by_name = {q.name: q for q in fit.quantities}

    def told(key: str, unit: str = "") -> str:
        q = by_name[key]
        text = f"{q.value:.3g} give or take {q.spread:.2g}{unit}"
        return (
            f"assumed, the pictures do not settle it: {text}"
            if key in unsettled
            else (f"fitted: {text}")
        )

    sources = {
        "warp cover": told("warp cover"),
        "weft cover": told("weft cover"),
        "yarn optics": _optics(fit),
    }
    for system in ("warp", "weft"):
        q = by_name[f"{system} colour"]
        sources[f"{system} colour"] = f"fitted, give or take {q.spread:.1f} CIEDE2000"
    sources["fit"] = f"what was seen comes back within {fit.residual_de:.1f} CIEDE2000"
    return replace(
        fit.cloth,
        name=name or fit.cloth.name,
        notes=notes,
        sources=tuple((key, " ".join(text.split())) for key, text in sources.items()),
        remarks=(),
        known=_known(fit),
    )


def _optics(fit: Fit) -> str:
    if not fit.converged:
        return "fitted in part: the search stopped before it settled; filaments as usual"
    return "fitted to what was seen; filaments as usual for the fibre"


def _known(fit: Fit) -> Knowledge:
    """How the fitted cloth's numbers are known, by which ``uncertainty.known_of`` judges it, and
    what it left open of build and dye together, by which ``mightbe`` draws it."""
    by_name = {q.name: q for q in fit.quantities}
    told = {"weight": HowKnown.fitted(by_name["weight"].spread)}
    for system in ("warp", "weft"):
        for key in ("filaments", "twist", "count", "packing", "flattening", "dull_per_mm"):
            told[f"{system}.{key}"] = HowKnown.fitted(source="with the rest; see foretold")
        told[f"{system}.cover"] = HowKnown.fitted(by_name[f"{system} cover"].spread)
    colour = HowKnown.fitted(by_name["warp colour"].spread, together=[("weft.colour", fit.alike)])
    told["warp.colour"] = colour
    told["weft.colour"] = HowKnown.fitted(by_name["weft colour"].spread)
    words = "all that the fit left open, by which answers are drawn"
    # paper and light of these photographs are of no use later
    told["foretold"] = HowKnown.fitted(source=words, root=root_told(fit.covariance[:-2, :-2]))
    if fit.looks is not None:
        words = "how it looked in its pictures, which answers keep to"
        told["photographed"] = HowKnown.fitted(source=words, root=fit.looks.told())
    before = dict(fit.cloth.known).get("shown")  # what a sample does not mend
    if fit.misfit > DISAGREE:
        words = "its pictures do not agree with one another"
        told["shown"] = HowKnown.fitted(fit.residual_de, words)
    elif before is not None:
        told["shown"] = before
    return knowledge(told)


#: What a maker would call the build of a yarn.
_PLAIN = {
    "flattening": "how flat the yarns lie, width to thickness",
    "packing": "how tightly the yarns are packed",
    "dullness": "how milky the fibre is",
}


def _plainly(value: float, digits: int) -> str:
    """A number to so many digits, without powers of ten; what is next to nothing is nothing."""
    return f"{float(f'{round(value, 9):.{digits}g}'):g}"


def report(fit: Fit) -> str:
    """The fit in plain lines: what was seen and shown, what is settled, what to look at next."""
    made = fit.cloth
    lines = [f"{made.name}: {made.weave.name}, "
             f"{made.ends_per_cm:.3g} ends/cm, {made.picks_per_cm:.3g} picks/cm"]  # fmt: skip
    told = [text for name, text in TELLS.items() if name in fit.given]
    lines.append("What was given can tell:")
    lines += [f"  {text}" for text in told]
    lines.append("Seen, and shown by the fitted cloth (CIEDE2000):")
    lines += [f"  {r.name}: {r.delta:.1f}" for r in fit.residuals]
    lines.append("Found:")
    for q in fit.quantities:
        if q.name.endswith("colour"):
            text = f"L* {q.value:.0f}, within {q.around[1]:.1f} CIEDE2000 {HELD}"
        else:
            low, high = q.around
            value = f"{_plainly(q.value, 3)} {q.unit}".rstrip()
            text = f"{value}, {_plainly(low, 2)} to {_plainly(high, 2)} {HELD}"
        open_ = "" if q.settled else "  (not settled)"
        lines.append(f"  {_PLAIN.get(q.name, q.name)}: {text}{open_}")
    if fit.trades:
        lines.append("What was seen cannot tell apart:")
        lines += [f"  {text}" for text in fit.trades]
    advice = dict.fromkeys(q.advice for q in fit.unsettled if q.advice)
    if advice:
        lines.append("To settle more:")
        lines += [f"  {text}" for text in advice]
    elif fit.unsettled:
        lines.append("More photographs will not settle the rest; a sewn sample decides.")
    if fit.misfit > DISAGREE:
        lines.append(
            "Caution: the pictures do not agree with one another; check that they show one cloth, "
            "its face and its grain as told, in one light."
        )
    if not fit.converged:
        lines.append("Caution: the search stopped before it settled; take the cloth as a sketch.")
    areal = construction.cloth_mass_g_m2(fit.cloth)
    lines.append(f"Weight of the fitted cloth: {areal:.3g} g/m2 (weigh a piece to check)")
    return "\n".join(lines) + "\n"
