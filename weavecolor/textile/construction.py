"""The construction of a cloth in numbers: cover, openness, weight, cover factor, crimp, jamming.

Knows Peirce's geometry of cloth; knows nothing of light, colour or files.
Sources: Peirce, The geometry of cloth structure, J. Text. Inst. 28 (1937) T45; flattened yarn by
Kemp's racetrack section, J. Text. Inst. 49 (1958) T44; longer floats after Love, Text. Res. J. 24
(1954) 1073 (the last two from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from weavecolor.errors import InputError
from weavecolor.textile import units
from weavecolor.textile.cloth import Cloth, Construction, Yarn
from weavecolor.textile.howknown import HowKnown
from weavecolor.textile.weaves import interlacings


def fractional_cover(width_mm: float, threads_per_cm: float) -> float:
    """Yarn width over thread spacing, c = d / p; not limited to 1.

    Examples
    --------
    >>> fractional_cover(0.1, 40.0)
    0.4
    """
    return width_mm * threads_per_cm / 10.0


def cloth_cover(warp_cover: float, weft_cover: float) -> float:
    """c1 + c2 - c1 c2: the share of the cloth's area that any yarn covers (Peirce 1937).

    Examples
    --------
    >>> cloth_cover(0.5, 0.5)
    0.75
    """
    c1, c2 = min(warp_cover, 1.0), min(weft_cover, 1.0)
    return c1 + c2 - c1 * c2


def covers(cloth: Cloth) -> tuple[float, float]:
    """Fractional covers of warp and weft.

    Examples
    --------
    >>> [round(c, 2) for c in covers(organza)]
    [0.24, 0.23]
    """
    return (
        fractional_cover(cloth.warp.width_mm, cloth.ends_per_cm),
        fractional_cover(cloth.weft.width_mm, cloth.picks_per_cm),
    )


#: Hairiness of spun yarn, cm of fibre that stand off from a cm of it: singed or combed, and carded
#: (from memory of what usual testers tell of ring-spun yarn).
HAIRINESS = (2.0, 6.0)


def hairs_take(cloth: Cloth, hairiness: float) -> float:
    """Share of light straight through a cloth that hairs of its spun yarns would scatter.

    Parameters
    ----------
    cloth : Cloth
    hairiness : float
        From 0: length of fibre that stands off from a length of yarn, over that length.

    Returns
    -------
    float
        0 to 1; 0 where neither yarn is spun.

    Notes
    -----
    Hairs lie anyhow, so light meets none with the probability of no hit, exp(-n), n the shadow of
    all of them over the area (Poisson; Beer's law of a sparse layer).

    Examples
    --------
    >>> hairs_take(organza, 3.0)
    0.0
    """
    met = sum(
        hairiness * 0.1 * per_cm * yarn.diameter_mm * math.sqrt(yarn.packing / yarn.filaments)
        for per_cm, yarn in ((cloth.ends_per_cm, cloth.warp), (cloth.picks_per_cm, cloth.weft))
        if yarn.kind == "spun"
    )
    return 1.0 - math.exp(-met)


def openness(cloth: Cloth) -> float:
    """Share of the area that is open seen straight on, (1 - c1)(1 - c2).

    Exact along the normal for parallel yarns, crimped or not: the formula for woven wire cloth
    (ISO 9044).

    Examples
    --------
    >>> round(openness(organza), 2)
    0.58
    """
    return 1.0 - cloth_cover(*covers(cloth))


def cover_factor_si(threads_per_cm: float, tex: float) -> float:
    """K = n sqrt(tex) / 10, threads per cm.

    Examples
    --------
    >>> cover_factor_si(25.0, 16.0)
    10.0
    """
    return threads_per_cm * math.sqrt(tex) / 10.0


def areal_mass(
    ends_per_cm: float,
    warp_tex: float,
    warp_crimp: float,
    picks_per_cm: float,
    weft_tex: float,
    weft_crimp: float,
) -> float:
    """g/m2 of loom-state cloth, (n1 T1 (1 + crimp1) + n2 T2 (1 + crimp2)) / 10.

    Parameters
    ----------
    ends_per_cm, picks_per_cm : float
        Threads per cm.
    warp_tex, weft_tex : float
        Linear density of the yarn, g/km.
    warp_crimp, weft_crimp : float
        Extra length of the yarn as a fraction of the cloth's, 0 to 0.8.

    Examples
    --------
    >>> areal_mass(25.0, 20.0, 0.0, 25.0, 20.0, 0.0)
    100.0
    """
    warp = ends_per_cm * warp_tex * (1.0 + warp_crimp)
    return (warp + picks_per_cm * weft_tex * (1.0 + weft_crimp)) / 10.0


def cloth_mass_g_m2(cloth: Cloth) -> float:
    """g/m2 of ``cloth`` from its setts, yarns and crimps; finishes are not counted.

    Examples
    --------
    >>> round(cloth_mass_g_m2(organza))
    19
    """
    return areal_mass(
        cloth.ends_per_cm,
        cloth.warp.tex,
        cloth.warp_crimp,
        cloth.picks_per_cm,
        cloth.weft.tex,
        cloth.weft_crimp,
    )


def peirce_crimp(spacing: float, displacement: float, thickness: float) -> float:
    """Crimp of a yarn that rises ``displacement`` over crossing threads ``spacing`` apart.

    ``thickness`` D is the sum of both yarn diameters; all in one unit. Peirce's seven equations
    leave (D - h) cos t + p sin t = D for the weave angle t, and l = (p - D sin t)/cos t + D t.
    Raises InputError when the threads are closer than jamming allows.

    Examples
    --------
    >>> round(peirce_crimp(0.4, 0.1, 0.2), 3)
    0.032
    """
    p, h, d = spacing, displacement, thickness
    reach = math.hypot(d - h, p)
    if reach < d * (1.0 - 1e-9):
        raise InputError("threads closer than jamming allows")
    angle = math.atan2(p, d - h) - math.acos(min(1.0, d / reach))
    straight = (p - d * math.sin(angle)) / math.cos(angle) if angle < math.pi / 2 - 1e-9 else 0.0
    return (straight + d * angle) / p - 1.0


def share_range(cloth: Cloth) -> tuple[float, float]:
    """Least and greatest ``warp_share`` the cloth can have; above jamming the least is greater.

    Neighbouring ends lie on opposite sides of a pick, so that their distance, p1 across and h1
    through the cloth, is at least D = height of warp + height of weft; likewise for picks. With
    h1 + h2 = D this is Peirce's jamming relation
    sqrt(1 - (p1/D)^2) + sqrt(1 - (p2/D)^2) <= 1.

    Examples
    --------
    >>> low, high = share_range(organza)
    >>> 0.0 <= low < high <= 1.0
    True
    """
    thick = cloth.warp.height_mm + cloth.weft.height_mm
    ends, picks = _crossing_spacings(cloth)

    def least(spacing: float) -> float:
        return math.sqrt(max(0.0, 1.0 - (max(spacing, 0.0) / thick) ** 2))

    return least(ends), 1.0 - least(picks)


def natural_share(cloth: Cloth) -> float:
    """The warp's share of the crimp displacement when nobody has said: balanced, if it can be.

    Balanced means each yarn rises by the other's height; a close-set system takes more.

    Examples
    --------
    >>> round(natural_share(organza), 2)
    0.5
    """
    low, high = share_range(cloth)
    balanced = cloth.weft.height_mm / (cloth.warp.height_mm + cloth.weft.height_mm)
    return min(max(balanced, low), high)


def geometry_of(cloth: Cloth) -> Construction:
    """The geometry of ``cloth`` alone, for the unit cell: woven as it was told, or as it will be.

    Examples
    --------
    >>> geometry_of(organza).warp_spacing
    0.25
    """
    return Construction(
        cloth.weave.lift,
        10.0 / cloth.ends_per_cm,
        10.0 / cloth.picks_per_cm,
        cloth.warp.width_mm,
        cloth.warp.height_mm,
        cloth.weft.width_mm,
        cloth.weft.height_mm,
        natural_share(cloth) if cloth.warp_share is None else cloth.warp_share,
    )


def share_from_crimps(cloth: Cloth, warp_crimp: float, weft_crimp: float) -> float | None:
    """The warp's share that two known crimps imply, from Peirce's h = (4/3) p sqrt(crimp).

    Parameters
    ----------
    cloth : Cloth
        For its yarns and setts.
    warp_crimp, weft_crimp : float
        Extra length of the yarn as a fraction of the cloth's, 0 to 0.8.

    Returns
    -------
    float or None
        0 to 1; None where neither thread is crimped.

    Examples
    --------
    >>> share_from_crimps(organza, 0.05, 0.05) > 0.5  # fewer picks than ends
    True
    """
    warp = math.sqrt(warp_crimp) / cloth.picks_per_cm
    weft = math.sqrt(weft_crimp) / cloth.ends_per_cm
    return warp / (warp + weft) if warp + weft > 0.0 else None


def share_from_crimp(cloth: Cloth, system: str, crimp: float) -> float:
    """The warp's share at which Peirce's geometry gives the one crimp that is known, or as near to
    it as the setts allow.

    Parameters
    ----------
    cloth : Cloth
        For its yarns and setts.
    system : {"warp", "weft"}
        Whose crimp it is.
    crimp : float
        Extra length of its yarn as a fraction of the cloth's, 0 to 0.8.

    Examples
    --------
    >>> share_from_crimp(organza, "warp", 0.03) > share_from_crimp(organza, "warp", 0.01)
    True
    """
    low, high = share_range(cloth)

    def more(share: float) -> float:
        both = predicted_crimps(replace(cloth, warp_share=share))
        return both[0] - crimp if system == "warp" else crimp - both[1]

    if low >= high or more(low) >= 0.0:
        return low
    if more(high) <= 0.0:
        return high
    from scipy.optimize import brentq  # slow to load

    return float(brentq(more, low, high, xtol=1e-9))


def predicted_crimps(cloth: Cloth) -> tuple[float, float]:
    """Crimps of warp and weft from Peirce's geometry at the cloth's ``warp_share``.

    Floats lie straight, so a thread's crimp is scaled by its interlacings per thread crossed.
    Raises InputError above jamming.

    Examples
    --------
    >>> [0.0 < crimp < 0.1 for crimp in predicted_crimps(organza)]
    [True, True]
    """
    check_weavable(cloth)
    share = natural_share(cloth) if cloth.warp_share is None else cloth.warp_share
    thick = cloth.warp.height_mm + cloth.weft.height_mm
    ends_flat = cloth.warp.width_mm - cloth.warp.height_mm
    picks_flat = cloth.weft.width_mm - cloth.weft.height_mm
    per_end, per_pick = _interlacings_per_thread(cloth)
    ends, picks = _crossing_spacings(cloth)

    def crimp(crossing: float, flat: float, mean: float, rise: float, per_thread: float) -> float:
        extra = crossing * peirce_crimp(crossing, rise, thick)
        return extra * per_thread / mean

    return (
        crimp(picks, picks_flat, 10.0 / cloth.picks_per_cm, share * thick, per_end),
        crimp(ends, ends_flat, 10.0 / cloth.ends_per_cm, (1.0 - share) * thick, per_pick),
    )


def check_weavable(cloth: Cloth) -> None:
    """Raise InputError, naming sett and yarn, when the cloth is set closer than it can be woven.

    Two limits: no system's yarns can be wider than their room (cover 1), and warp and weft
    together cannot pass Peirce's jamming relation (see :func:`share_range`), nor a told
    ``warp_share`` what that leaves.

    Examples
    --------
    >>> check_weavable(organza)  # nothing is said of cloth that can be woven
    """
    for field, threads, sett, yarn in (
        ("ends", "warp", cloth.ends_per_cm, cloth.warp),
        ("picks", "weft", cloth.picks_per_cm, cloth.weft),
    ):
        cover = fractional_cover(yarn.width_mm, sett)
        if cover > 1.0 + 1e-9:
            raise InputError(
                f"{sett:.4g} {field}/cm of {yarn.tex:.4g} tex {threads} is above jamming: cover "
                f"{cover:.2f}, at most 1; use at most {10.0 / yarn.width_mm:.4g} {field}/cm, or a "
                "finer, denser-packed or rounder yarn",
                field=field,
            )
    low, high = share_range(cloth)
    if low > high + 1e-9:
        c1, c2 = covers(cloth)
        raise InputError(
            f"{cloth.ends_per_cm:.4g} ends/cm of {cloth.warp.tex:.4g} tex with "
            f"{cloth.picks_per_cm:.4g} picks/cm of {cloth.weft.tex:.4g} tex is above jamming for "
            f"{cloth.weave.name}: covers {c1:.2f} and {c2:.2f}; both would fit at "
            f"{100.0 * _jamming_scale(cloth):.0f} % of these setts; lower one or both, or use "
            "finer yarn",
            field="ends, picks",
        )
    share = cloth.warp_share
    if share is not None and not low - 1e-6 <= share <= high + 1e-6:
        raise InputError(
            f"the warp making {share:.3g} of the crimp cannot be woven at {cloth.ends_per_cm:.4g} "
            f"ends and {cloth.picks_per_cm:.4g} picks/cm, {low:.3f} to {high:.3f} can; leave "
            "warp_share out (None in Python) and it is what the setts allow",
            field="warp_share",
        )


#: Of their room, what yarns that press upon each other take.
_PRESSED = 0.99


def pressed(cloth: Cloth) -> Cloth:
    """``cloth`` with yarns as round and as dense as their neighbours press them.

    In close cloth, such as satin, yarns have no room to lie as flat as elsewhere. Where their
    flattening and packing are only assumed, they move together, towards round and towards the
    densest assumed, until the yarns lie side by side. What was told stays, and so does cloth that
    needs none of it, or that no such yarn would fit.

    Examples
    --------
    >>> pressed(organza) == organza
    True
    """
    known, made = dict(cloth.known), {"warp": cloth.warp, "weft": cloth.weft}
    for (system, yarn), cover in zip(made.copy().items(), covers(cloth), strict=True):
        if cover <= 1.0:
            continue
        flat, dense = (
            known.get(f"{system}.{name}", HowKnown.stated()) for name in ("flattening", "packing")
        )
        roundest = 1.0 if flat.way == "assumed" else yarn.flattening
        densest = dense.high if dense.way == "assumed" and dense.high else yarn.packing
        there = _narrowed(yarn, _PRESSED * yarn.width_mm / cover, roundest, densest)
        if there is None:
            continue
        made[system] = there
        if flat.way == "assumed":
            known[f"{system}.flattening"] = _because(flat, 1.0, there.flattening)
        if dense.way == "assumed":
            known[f"{system}.packing"] = _because(dense, there.packing, densest)
    return replace(cloth, warp=made["warp"], weft=made["weft"], known=tuple(known.items()))


def _narrowed(yarn: Yarn, width_mm: float, roundest: float, densest: float) -> Yarn | None:
    """``yarn`` on its way to ``roundest`` and ``densest`` where it is ``width_mm`` wide; None where
    it never is so narrow."""

    def moved(share: float) -> Yarn:
        return replace(
            yarn,
            flattening=yarn.flattening + share * (roundest - yarn.flattening),
            packing=yarn.packing + share * (densest - yarn.packing),
        )

    if moved(1.0).width_mm > width_mm:
        return None
    from scipy.optimize import brentq  # slow to load

    return moved(float(brentq(lambda x: moved(x).width_mm - width_mm, 0.0, 1.0, xtol=1e-4)))


def _because(how: HowKnown, low: float, high: float) -> HowKnown:
    return replace(how, low=low, high=high, source=f"{how.source}, pressed by its neighbours")


#: A stated weight further than this from what yarns and setts give contradicts them.
WEIGHT_TOLERANCE = 0.25
# By how much the stated weight is more than the computed one, and the likely cause.
_SLIPS = (
    (9.0, "a count in tex that was taken for denier"),
    (10.0, "a count in tex that was taken for dtex"),
    (1.0 / 9.0, "a count in denier that was taken for tex"),
    (0.1, "a count in dtex that was taken for tex"),
    (2.54, "setts to the centimetre that were taken for setts to the inch"),
    (1.0 / 2.54, "setts to the inch that were taken for setts to the centimetre"),
    (2.0, "a ply that was left out of the count, or setts that are both half what they should be"),
    (0.5, "a ply that was counted twice, or setts that are both double what they should be"),
)


#: More open than gauze, scrim and tarlatan usually are (common practice, no source); organza,
#: chiffon and voile whose threads over a centimetre are told as over an inch are.
OPENEST = 0.75


def sett_doubt(cloth: Cloth) -> str:
    """What to say of a cloth whose weight nobody stated, and whose setts leave it more open than
    gauze: a count over a centimetre may have been told as one over an inch; "" of others.

    Examples
    --------
    >>> sett_doubt(organza)
    ''
    """
    if cloth.declared_g_m2 is not None:
        return ""
    covers = (
        0.1 * sett * yarn.width_mm
        for sett, yarn in ((cloth.ends_per_cm, cloth.warp), (cloth.picks_per_cm, cloth.weft))
    )
    open_ = math.prod(1.0 - min(cover, 1.0) for cover in covers)
    if open_ <= OPENEST:
        return ""
    return (
        f"{cloth.name}: {100.0 * open_:.0f} % of it is open, more than of gauze, and nobody told "
        f"its weight. Were {cloth.ends_per_cm * 2.54:.3g} ends an inch counted over a centimetre? "
        "Weigh a piece, or count once more"
    )


#: Told crimps that ask for threads so many times as thick as they are, or as thin, contradict them.
#: Judgement: counts taken from a kind of yarn are off by a third, flattened threads by as much.
_CRIMPED = 1.7


def crimp_doubt(cloth: Cloth) -> str:
    """What to say of a cloth whose two told crimps ask for much thicker or thinner threads than it
    has, by Peirce's geometry, in which a crimp goes with the square of a rise; "" of others.

    Examples
    --------
    >>> crimp_doubt(organza)
    ''
    """
    try:
        bent = predicted_crimps(cloth)
    except InputError:
        return ""  # refused with its own reason
    told = cloth.warp_crimp, cloth.weft_crimp
    times = math.sqrt(sum(told) / max(sum(bent), 1e-9))
    if 1.0 / _CRIMPED <= times <= _CRIMPED:
        return ""
    return (
        f"{cloth.name}: crimps of {100.0 * told[0]:.2g} and {100.0 * told[1]:.2g} % (warp, weft) "
        f"would be of threads about {times:.2g} times as thick; these, so set, are bent by about "
        f"{100.0 * bent[0]:.2g} and {100.0 * bent[1]:.2g} %. Measure a thread once more, in the "
        "cloth and pulled straight, or its count"
    )


def doubts_of(cloth: Cloth) -> tuple[str, ...]:
    """What to say where the numbers of ``cloth`` contradict one another.

    Examples
    --------
    >>> doubts_of(organza)
    ()
    """
    return tuple(filter(None, (weight_contradiction(cloth), sett_doubt(cloth), crimp_doubt(cloth))))


def weight_contradiction(cloth: Cloth) -> str:
    """What to say where the stated weight and the construction contradict one another by more
    than a quarter, with the likely cause; "" where they agree or nobody stated a weight.

    Examples
    --------
    >>> from dataclasses import replace
    >>> weight_contradiction(organza)
    ''
    >>> print(weight_contradiction(replace(organza, declared_g_m2=400.0)))  # doctest: +ELLIPSIS
    Shot ...: the stated weight of 400 g/m2 is ... times the ... g/m2 that yarns and setts give; ...
    """
    if cloth.declared_g_m2 is None:
        return ""
    mass = cloth_mass_g_m2(cloth)
    ratio = cloth.declared_g_m2 / mass
    if abs(ratio - 1.0) <= WEIGHT_TOLERANCE:
        return ""
    found = [(abs(math.log(k * mass / cloth.declared_g_m2)), why) for k, why in _SLIPS]
    off, why = min(found)
    if off > 0.15:
        why = "a wrong weight" if ratio > 12.0 or ratio < 1.0 / 12.0 else (
            "the count: weigh a piece, or unravel a thread and measure it"
        )  # fmt: skip
    return (
        f"{cloth.name}: the stated weight of {cloth.declared_g_m2:.3g} g/m2 is {ratio:.2g} times "
        f"the {mass:.3g} g/m2 that yarns and setts give; what is told here rests on the yarns and "
        f"setts. Likely cause: {why}."
    )


#: A cloth more open or lighter than this is handled as sheer (by judgement).
SHEER_OPEN, SHEER_G_M2 = 0.15, 45.0


@dataclass(frozen=True)
class Description:
    """A cloth in numbers; lengths mm, mass g/m2, setts per cm and inch, the rest shares."""

    warp_tex: float
    weft_tex: float
    warp_diameter_mm: float
    weft_diameter_mm: float
    warp_width_mm: float
    weft_width_mm: float
    ends_per_cm: float
    picks_per_cm: float
    ends_per_inch: float
    picks_per_inch: float
    warp_cover: float
    weft_cover: float
    cloth_cover: float
    openness: float
    warp_cover_factor: float
    weft_cover_factor: float
    warp_crimp: float
    weft_crimp: float
    mass_g_m2: float
    mass_momme: float
    thickness_mm: float
    warp_on_face: float
    jamming: float

    @property
    def sheer(self) -> bool:
        """Whether the cloth is to be handled as sheer."""
        return self.openness > SHEER_OPEN or self.mass_g_m2 < SHEER_G_M2


def describe(cloth: Cloth) -> Description:
    """The numbers of ``cloth``.

    ``cover_factor`` is K in SI units. ``thickness_mm`` is Peirce's greater of h + d, pressed by
    nothing. ``warp_on_face`` is the share of crossings with warp up. ``jamming`` is the sett as a
    share of the closest possible at the same ratio of ends to picks (1 is jammed).

    Examples
    --------
    >>> round(describe(organza).ends_per_inch)
    102
    """
    c1, c2 = covers(cloth)
    share = natural_share(cloth) if cloth.warp_share is None else cloth.warp_share
    thick = cloth.warp.height_mm + cloth.weft.height_mm
    crossings = [up for row in cloth.weave.lift for up in row]
    mass = cloth_mass_g_m2(cloth)
    return Description(
        warp_tex=cloth.warp.tex,
        weft_tex=cloth.weft.tex,
        warp_diameter_mm=cloth.warp.diameter_mm,
        weft_diameter_mm=cloth.weft.diameter_mm,
        warp_width_mm=cloth.warp.width_mm,
        weft_width_mm=cloth.weft.width_mm,
        ends_per_cm=cloth.ends_per_cm,
        picks_per_cm=cloth.picks_per_cm,
        ends_per_inch=cloth.ends_per_cm * units.CM_PER_INCH,
        picks_per_inch=cloth.picks_per_cm * units.CM_PER_INCH,
        warp_cover=c1,
        weft_cover=c2,
        cloth_cover=cloth_cover(c1, c2),
        openness=openness(cloth),
        warp_cover_factor=cover_factor_si(cloth.ends_per_cm, cloth.warp.tex),
        weft_cover_factor=cover_factor_si(cloth.picks_per_cm, cloth.weft.tex),
        warp_crimp=cloth.warp_crimp,
        weft_crimp=cloth.weft_crimp,
        mass_g_m2=mass,
        mass_momme=mass / units.MOMME_G_M2,
        thickness_mm=max(
            share * thick + cloth.warp.height_mm, (1.0 - share) * thick + cloth.weft.height_mm
        ),
        warp_on_face=sum(crossings) / len(crossings),
        jamming=1.0 / _jamming_scale(cloth),
    )


def _interlacings_per_thread(cloth: Cloth) -> tuple[float, float]:
    """Interlacings per thread crossed, of the tightest end and of the tightest pick; 1 if plain."""
    lift = cloth.weave.lift
    of_end, of_pick = interlacings(lift)
    return of_end / len(lift), of_pick / len(lift[0])


def _crossing_spacings(cloth: Cloth, scale: float = 1.0) -> tuple[float, float]:
    """Spacing of ends and of picks where a thread passes between them, mm.

    Threads under one float may lie side by side, which leaves more room at the interlacings; a
    flat yarn takes its flat part off the spacing (racetrack section).
    """
    per_end, per_pick = _interlacings_per_thread(cloth)

    def crossing(spacing: float, width: float, height: float, per_thread: float) -> float:
        return spacing + (1.0 / per_thread - 1.0) * (spacing - width) - (width - height)

    warp, weft = cloth.warp, cloth.weft
    return (
        crossing(10.0 / (cloth.ends_per_cm * scale), warp.width_mm, warp.height_mm, per_pick),
        crossing(10.0 / (cloth.picks_per_cm * scale), weft.width_mm, weft.height_mm, per_end),
    )


def _jamming_scale(cloth: Cloth) -> float:
    """By what both setts could be multiplied to be just jammed."""
    thick = cloth.warp.height_mm + cloth.weft.height_mm

    def fits(scale: float) -> bool:
        needed = 0.0
        for spacing in _crossing_spacings(cloth, scale):
            needed += math.sqrt(max(0.0, 1.0 - (max(spacing, 0.0) / thick) ** 2))
        return needed <= 1.0

    low, high = 0.0, 1.0 / max(covers(cloth))
    for _ in range(50):
        middle = (low + high) / 2.0
        low, high = (middle, high) if fits(middle) else (low, middle)
    return low
