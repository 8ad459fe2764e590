"""From what was measured to a cloth that every other command reads.

Knows the trade's usual yarns where nobody has said; computes no optics.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from weavecolor.colour.spectra import BANDS, frozen
from weavecolor.errors import InputError
from weavecolor.measure.fit import Fit
from weavecolor.textile import construction
from weavecolor.textile.cloth import Cloth, Yarn
from weavecolor.textile.fibres import fibre
from weavecolor.textile.howknown import HowKnown, Knowledge, knowledge
from weavecolor.textile.usual import KINDS, LUSTRES, usual_yarn
from weavecolor.textile.weaves import weave

#: Cover of either system supposed before anything is measured.
USUAL_COVER = 0.5


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
) -> Cloth:
    """Where a fit begins: weave and setts as counted, the usual yarn of its kind, grey.

    Setts in threads per cm, tex in g/km; yarns whose tex is not given are as wide as half their
    room. Raises InputError for setts outside 1-300 per cm, unknown fibres, weaves or kinds.

    Examples
    --------
    >>> start_cloth("Found", 40.0, 38.0).warp.fibre.name
    'silk'
    """
    made = []
    for system, sett, fibre_name, kind, tex in (
        ("warp", ends_per_cm, warp_fibre, warp_kind, warp_tex),
        ("weft", picks_per_cm, weft_fibre or warp_fibre, weft_kind or warp_kind, weft_tex),
    ):
        if not (np.isfinite(sett) and 1.0 <= sett <= 300.0):
            raise InputError(f"{sett:g} threads per cm; use 1 to 300", field=system)
        if kind not in KINDS:
            raise InputError(f"{kind!r} is no kind of yarn; use filament or spun", field=system)
        grey = frozen(np.full(BANDS, 0.3))
        made_of = fibre(fibre_name)
        usual = usual_yarn(made_of.name, kind)
        yarn = Yarn(
            made_of, 1.0, grey, usual.packing.usual, kind=kind,
            filaments=1, gum=usual.gum, dull_per_mm=LUSTRES[usual.lustre].usual,
        )  # fmt: skip
        if tex is None:
            # a yarn's width goes with the root of its linear density
            tex = (USUAL_COVER * 10.0 / sett / yarn.width_mm) ** 2
        elif not (np.isfinite(tex) and 0.05 <= tex <= 5000.0):
            raise InputError(f"{tex:g} tex is no yarn of cloth; use 0.05 to 5000", field=system)
        turns = usual.twist(tex).usual
        made.append(replace(yarn, tex=float(tex), filaments=0, twist_turns_m=turns))
    return Cloth(name, made[0], made[1], weave(plan), float(ends_per_cm), float(picks_per_cm))


def fitted_cloth(fit: Fit, name: str | None = None, notes: str = "") -> Cloth:
    """The fitted cloth with where its numbers come from, ready for ``clothfile.cloth_to_toml``."""
    unsettled = {q.name for q in fit.unsettled}
    by_name = {q.name: q for q in fit.quantities}

    def told(key: str, unit: str = "") -> str:
        q = by_name[key]
        text = f"{q.value:.3g} give or take {q.spread:.2g}{unit}"
        return f"assumed, the pictures do not settle it: {text}" if key in unsettled else (
            f"fitted: {text}"
        )

    sources = {
        "warp cover": told("warp cover"),
        "weft cover": told("weft cover"),
        "yarn optics": _optics(fit),
    }
    for system in ("warp", "weft"):
        q = by_name[f"{system} colour"]
        sources[f"{system} colour"] = f"fitted, give or take {q.spread:.1f} CIEDE2000"
        sources[f"{system} scattering"] = told(f"{system} scattering", " m2/g")
    sources["fit"] = (
        f"what was seen comes back within {fit.residual_de:.1f} CIEDE2000"
    )
    return replace(
        fit.cloth,
        name=name or fit.cloth.name,
        notes=notes,
        sources=tuple((key, " ".join(text.split())) for key, text in sources.items()),
        remarks=(),
        known=_known(fit),
    )


def _optics(fit: Fit) -> str:
    return (
        "assumed: fitted as matt yarn, but shown as clear filaments, which is "
        f"{fit.answered_de:.1f} CIEDE2000 off what was seen; lay up a piece"
    )


def _known(fit: Fit) -> Knowledge:
    """How the fitted cloth's numbers are known, by which ``uncertainty.known_of`` judges it."""
    matt = HowKnown.assumed(source="fitted as matt yarn, but shown as clear filaments")
    names = (f"{system}.{key}" for system in ("warp", "weft")
             for key in ("packing", "flattening", "twist", "colour"))  # fmt: skip
    return knowledge({**dict.fromkeys(names, matt), "shown": HowKnown.fitted(fit.answered_de)})


def report(fit: Fit) -> str:
    """The fit in plain lines: what was seen and shown, what is settled, what to look at next."""
    made = fit.cloth
    lines = [f"{made.name}: {made.weave.name}, "
             f"{made.ends_per_cm:.3g} ends/cm, {made.picks_per_cm:.3g} picks/cm"]  # fmt: skip
    lines.append("Seen, and shown by the fitted cloth (CIEDE2000):")
    lines += [f"  {r.name}: {r.delta:.1f}" for r in fit.residuals]
    lines.append("Found (standard uncertainty):")
    for q in fit.quantities:
        if q.name.endswith("colour"):
            text = f"L* {q.value:.0f}, known to {q.spread:.1f} CIEDE2000"
        else:
            text = f"{q.value:.3g} +- {q.spread:.2g} {q.unit}".rstrip()
        lines.append(f"  {q.name}: {text}" + ("" if q.settled else "  (not settled)"))
    if fit.trades:
        lines.append("What was seen cannot tell apart:")
        lines += [f"  {text}" for text in fit.trades]
    advice = dict.fromkeys(q.advice for q in fit.unsettled if q.advice)
    if advice:
        lines.append("To settle more:")
        lines += [f"  {text}" for text in advice]
    if fit.misfit > 3.0:
        lines.append(
            "Caution: the pictures do not agree with one another; check that they show one cloth, "
            "its face and its grain as told, in one light."
        )
    if not fit.converged:
        lines.append("Caution: the search stopped before it settled; take the cloth as a sketch.")
    lines += [
        "Caution: the fit still takes yarns as matt; answers take them as clear filaments and show",
        f"this cloth up to {fit.answered_de:.1f} CIEDE2000 off what was seen, elsewhere perhaps",
        "more. The spreads above leave that out: lay up a piece before trusting its colours.",
    ]
    areal = construction.cloth_mass_g_m2(fit.cloth)
    lines.append(f"Weight of the fitted cloth: {areal:.3g} g/m2 (weigh a piece to check)")
    return "\n".join(lines) + "\n"
