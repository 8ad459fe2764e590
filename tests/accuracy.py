"""How near the model comes to what it is held against: one function for each figure.

The tests assert that each figure keeps its limits; ``python -m tests.accuracy`` writes the same
figures into the README between ``<!-- accuracy -->`` and ``<!-- /accuracy -->``. Knows the outside
references and how to put the model beside them.
"""

from __future__ import annotations

import csv
import json
import math
import os
import sys
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parent))
import apertures
import filaments
import traced

from weavecolor.optics.cell.filaments import even, kept
from weavecolor.optics.cell.nodes import Vector, nodes, unit
from weavecolor.optics.cell.openness import openness
from weavecolor.optics.cell.pairs import Distance, joint_gaps
from weavecolor.optics.cell.rays import blocked, solid
from weavecolor.optics.cell.tubes import System, Tubes, orbits, tubes
from weavecolor.textile.cloth import Construction

ROOT = Path(__file__).resolve().parents[1]
Array = NDArray[np.float64]


@dataclass(frozen=True)
class Figure:
    """One line of the table. ``errors`` relative or absolute, with what they have to keep to;
    ``known``: how what they were held against is known (found in a text, computed, from memory).
    """

    what: str
    against: str
    errors: Array
    most: float  # worst error allowed
    most_rms: float | None = None
    absolute: bool = False
    known: str = "computed"
    unit: str = ""  # of absolute errors; of a share where empty

    @property
    def rms(self) -> float:
        return float(np.sqrt(np.mean(np.square(self.errors))))

    @property
    def worst(self) -> float:
        return float(np.abs(self.errors).max())

    @property
    def holds(self) -> bool:
        return self.worst <= self.most and (self.most_rms is None or self.rms <= self.most_rms)

    def __str__(self) -> str:
        return (
            f"{self.what}: rms {self.told(self.rms)}, worst {self.told(self.worst)} "
            f"of {self.errors.size} ({self.allowed} allowed)"
        )

    def told(self, value: float) -> str:
        """An error of it in its own unit."""
        return _told(value, self.absolute, self.unit)

    @property
    def allowed(self) -> str:
        """The limits it keeps."""
        parts = [] if self.most_rms is None else [f"rms {self.told(self.most_rms)}"]
        if math.isfinite(self.most):
            worst = self.told(self.most)
            parts.append(f"worst {worst}" if parts else worst)
        return ", ".join(parts)


def _told(value: float, absolute: bool, unit: str = "") -> str:
    if unit:
        return f"{value:.2f} {unit}"
    if absolute:
        return f"{value:.4f}" if value >= 1e-4 or value == 0 else f"{value:.0e}"
    return f"{100 * value:.2f} %" if value >= 5e-5 or value == 0 else f"{value:.0e}"


RAYS = "path-traced yarns, `tests/data/raytraced.json`"
COVERS = "path-traced yarns, `tests/data/traced_covers.json`"


def plain(cover: Iterable[float], lift=traced.PLAIN) -> Construction:
    """The geometry of a traced cloth."""
    return traced.construction(tuple(cover), lift)


# Openings and sight


def beam_transmittance() -> Figure:
    """Beam transmittance where the traced value exceeds 0.02."""
    rows = [r for r in traced.first_table()["beam_transmittance"] if r["T"] > 0.02]
    errors = []
    for r in rows:
        v = np.array(traced.vector(r["theta"], r["az"]))
        errors.append(openness(tubes(plain(r["cover"])), v) / r["T"] - 1)
    return Figure("Light straight through one layer", RAYS, np.array(errors), 0.01)


def _lifts() -> dict[str, tuple]:
    return {k: tuple(map(tuple, v)) for k, v in traced.covers_table()["lifts"].items()}


NOTE = ", covers 0.3 to 0.9"


def transmittance_of_covers() -> Figure:
    """Beam transmittance at other covers and weaves, where it exceeds 0.02."""
    lifts, errors = _lifts(), []
    for r in traced.covers_table()["visibility"]:
        if r["through"] > 0.02:
            v = np.array(traced.vector(r["theta"], r["az"]))
            cell = tubes(plain(r["cover"], lifts[r["weave"]]))
            errors.append(openness(cell, v) / r["through"] - 1)
    what = f"Light straight through one layer{NOTE}, three weaves"
    return Figure(what, COVERS, np.array(errors), 0.01)


def joint(
    construction: Construction, distance: Distance, vectors: tuple[Vector, ...]
) -> tuple[Array, Array, Array]:
    """Joint openness between nodes, of named directions with nodes, and with each other."""
    grid, geometry = nodes(), tubes(construction)
    through = openness(geometry, grid.vector[: grid.half])
    own = openness(geometry, np.array(vectors).reshape(-1, 3))
    beams = tuple((*v, 0.0) for v in vectors)
    counted = joint_gaps(construction, solid(construction), distance, beams)
    return counted.joint(through, own, grid.share[: grid.half])


def pair_probability() -> Figure:
    """Chance that a beam gets in and out again through openings, a plane 3 spacings below the
    mid-plane. Absolute, as some are nought; 0.005 of light is 1 % of a mid grey over white."""
    errors = []
    for r in traced.first_table()["pair_probability"]:
        zenith, azimuth = r["inc"]
        view = (0.0, 0.0) if r["view"] == 0 else (zenith, azimuth + 180.0)
        vectors = (traced.vector(zenith, azimuth), traced.vector(*view))
        clear = 3.0 - 0.5 * sum(r["cover"])
        named = joint(
            plain(r["cover"]),
            Distance(((clear - r["gapjit"], clear + r["gapjit"]),), uneven=0.0),
            vectors,
        )
        errors.append(named[2][0, 1] - r["P"])
    return Figure("In and out through openings", RAYS, np.array(errors), 0.005, absolute=True)


def mesh_open_area() -> list[Figure]:
    """Open area of woven mesh along its normal, against printed shares, apart by how each is known.

    Rows without a printed share are left out: the formula that stands beside them is the model's
    own case of straight round wires, and no check of it.
    """
    errors: dict[str, list[float]] = {}
    for row in csv.DictReader((traced.DATA / "mesh_open_area.csv").open(encoding="utf-8")):
        if not row["open_area_pct_printed"]:
            continue
        wire, pitch = float(row["wire_um"]), float(row["wire_um"]) + float(row["aperture_um"])
        mesh = Construction(traced.PLAIN, *(pitch / 1e3,) * 2, *(wire / 1e3,) * 4, 0.5)
        mine = 100 * openness(tubes(mesh), np.array([0.0, 0.0, 1.0]))
        kind = "found" if row["how_known"].startswith("found") else "from memory"
        errors.setdefault(kind, []).append(mine - float(row["open_area_pct_printed"]))
    # printed shares are rounded to whole per cent, so half a point is what they can tell
    what = {"found": "Open area of screens, points of %", "from memory": "The same of test sieves"}
    source = {"found": "two makers' data pages", "from memory": "pharmacopoeia sieve tables"}
    return [
        Figure(what[k], source[k], np.array(errors[k]), 0.5, absolute=True, known=k)
        for k in ("found", "from memory")
    ]


def straight_yarns(diameter: float, spacing: float) -> Tubes:
    """Crossed straight cylinders: yarn axes level, warp above weft."""
    level, still = np.full((2, 2), diameter / 2, np.float32), np.zeros((2, 2), np.float32)
    half = diameter / 2
    systems = tuple(System(spacing, spacing, half, half, z, still) for z in (level, -level))
    orbit, distinct = orbits(traced.PLAIN)
    return Tubes(systems, (spacing, spacing), diameter, diameter, orbit, distinct)  # type: ignore


def straight_cylinders() -> Figure:
    """Beam transmittance of straight yarns in the plane of one system."""
    table = json.loads((traced.DATA / "pywincalc_woven_reference.json").read_text("utf-8"))
    errors = []
    for screen in table:
        yarns = straight_yarns(screen["thread_diameter_mm"], screen["thread_spacing_mm"])
        for r in screen["rows"]:
            for azimuth in (0.0, 90.0):  # either system may be the one in the plane
                v = unit(np.radians(r["theta"]), np.radians(azimuth))
                errors.append(openness(yarns, v) - r["T_dirdir"])
    what = "Straight yarns, light in the plane of one system"
    return Figure(what, "pywincalc 3.3.1", np.array(errors), 0.002, absolute=True)


# Radiance factors


@lru_cache(maxsize=1)
def first_answers() -> tuple[traced.Answer, ...]:
    return tuple(traced.answers(traced.first_rows()))


@lru_cache(maxsize=1)
def cover_answers() -> tuple[traced.Answer, ...]:
    return tuple(traced.answers(traced.cover_rows()))


def _factors(chosen: list[traced.Answer], part: slice = slice(None)) -> Array:
    return np.concatenate([a.error[:, part].ravel() for a in chosen])


BLACK, WHITE = slice(0, 4), slice(4, 8)
GROUPS = (
    ("stacks_loose", "Two layers, loose, over black and white"),
    ("stacks_touching", "Two layers, touching, over black and white"),
    ("stacks_uncorrelated", "Layers far apart, over black and white"),
    ("diffuse", "One and two layers in diffuse light"),
)


def _tables(answers: tuple[traced.Answer, ...], source: str, note: str) -> list[Figure]:
    def of(*groups: str) -> list[traced.Answer]:
        return [a for a in answers if a.row.group in groups]

    out = []
    single = of("one_layer", "one_layer_touching")
    if single:
        dark, light = _factors(single, BLACK), _factors(single, WHITE)
        out.append(Figure(f"One layer over black{note}", source, dark, 0.06, 0.02))
        out.append(Figure(f"One layer over white{note}", source, light, 0.08, 0.03))
    for group, what in GROUPS:
        if of(group):
            out.append(Figure(what + note, source, _factors(of(group)), 0.08, 0.03))
    for weave in dict.fromkeys(a.row.weave for a in of("other_weaves")):
        chosen = [a for a in of("other_weaves") if a.row.weave == weave]
        what = f"One layer of {weave}"
        out.append(Figure(f"{what} over black", source, _factors(chosen, BLACK), 0.06, 0.02))
        out.append(Figure(f"{what} over white", source, _factors(chosen, WHITE), 0.08, 0.03))
    up = np.concatenate([a.up / a.row.up - 1 for a in answers])
    out.append(Figure(f"All light sent back{note}", source, up, 0.08, 0.03))
    # as shares of the light: through dense cloth a relative error would be of next to nothing;
    # the limit is ours, half a step of L* on a white seen through the cloth
    down = np.concatenate([a.down - a.row.down for a in answers])
    out.append(Figure(f"All light let through{note}", source, down, 0.015, absolute=True))
    return out


def first_radiance_factors() -> list[Figure]:
    """Every radiance factor and flux of the first table."""
    return _tables(first_answers(), RAYS, "")


def cover_radiance_factors() -> list[Figure]:
    """The same at covers 0.3 to 0.9, equal and unequal, and in other weaves."""
    return _tables(cover_answers(), COVERS, NOTE)


def openings_in_diffuse_light() -> Figure:
    """Light through openings to a surface behind and out again, diffuse: the quadrature against
    every direction of a fine grid, cast ray by ray through the same yarns. Absolute: what matters
    is the light, and 0.001 of it is 0.1 % of a white."""
    construction = plain((0.5, 0.4))
    errors = []
    for near, far in ((0.0, 0.1), (0.0, 2.0), (2.55, 2.55)):
        coarse = nodes()
        share = coarse.share[: coarse.half]
        distance = Distance(((near, far),), uneven=0.0)
        mine = float(share @ joint(construction, distance, ())[0] @ share)
        errors.append(mine - _dense_return(construction, near, far))
    what, source = "Diffuse light in and out through openings", "288 000 rays, same yarns"
    return Figure(what, source, np.array(errors), 0.001, absolute=True)


def _dense_return(construction: Construction, near: float, far: float) -> float:
    """Mean over points behind the layer of (share of the sky open)^2, from two independent sets of
    random directions at each point, as the square of one set's share would come out too great."""
    geometry = tubes(construction)
    rng = np.random.default_rng(7)
    points, rays = 3000, 48
    k = (np.arange(points) + 0.5) / points
    spot = np.stack([
        rng.permutation(k) * 2 * geometry.spacing[0], rng.permutation(k) * geometry.spacing[1],
        -geometry.bottom - near - (far - near) * rng.permutation(k),
    ])  # fmt: skip
    # each set is stratified in the cosine-weighted sky
    cell = np.arange(rays) + rng.random((points, 2, rays))
    turn = rng.random((points, 2, rays)) / 8 + (np.arange(rays) % 8) / 8
    zenith = np.arcsin(np.sqrt(cell / rays))
    toward = unit(zenith, 2 * np.pi * turn).reshape(-1, 3).T
    free = ~blocked(solid(construction), np.repeat(spot, 2 * rays, axis=1), toward)
    sky = free.reshape(points, 2, rays).mean(axis=2)
    return float(np.mean(sky[:, 0] * sky[:, 1]))


def clear_filaments() -> list[Figure]:
    """Cloth of clear, dyed filaments in plain weave, twill and satin, one and two layers, over
    black and white and let through, for six dyes; and its light by angle, where that is known."""
    found = filaments.answers(filaments.load(filaments.DATA))
    shares = np.concatenate([a.errors() for a in found])
    bins = np.concatenate([a.bin_errors() for a in found])
    source = "exact tracing of explicit filaments, `tests/data/filaments.json.gz`"
    how = {"absolute": True, "unit": "L*"}
    return [
        Figure("Clear filaments, shares of light", source, shares, 2.0, 0.5, **how),
        Figure("Clear filaments, light by angle", source, bins, math.inf, 1.2, **how),
        lobed(),
        *sheen(),
    ]


def lobed() -> Figure:
    """Even light that cloth of rounded triangles sends back and lets through, more than of round
    filaments of the same dye: mean of two cloths, of radius 1 + .1 cos 3a in the reference, whose
    filaments lie otherwise there."""
    known = filaments.load(filaments.DATA)["cloths"]
    data = json.loads((traced.DATA / "lobed.json").read_text("utf-8"))
    round_, section = data["kinds"][0]["sections"][0], data["kinds"][0]["sections"][2]
    errors = []
    for name, was in round_["cloths"].items():
        cloth, sent = known[name], []
        for ratio in (1.0, (1.0 + section["lobe"]) / (1.0 - section["lobe"])):
            cell = filaments.cell_of(cloth)
            build = {"index": data["kinds"][0]["index"], "packing": data["kinds"][0]["packing"]}
            build |= {"section": ratio, "centres": None}
            cell = replace(
                cell, warp=replace(cell.warp, **build), weft=replace(cell.weft, **build)
            )
            across = np.array([cloth[f"{way}_diameter_mm"] for way in ("warp", "weft")])
            table, through = even(cell, 100_000, True)
            sent.append(table @ kept(cell, np.outer(data["dyes"], 1.0 / across))
                        + [[0.0], [through]])  # fmt: skip
        now = section["cloths"][name]
        wanted = [np.subtract(now[key], was[key]) for key in ("reflected", "transmitted")]
        errors.append(sent[1] - sent[0] - wanted)
    what = "Filaments that are not round, more or less light than of round ones"
    source = "exact tracing of explicit filaments, `tests/data/lobed.json`"
    return Figure(what, source, np.mean(errors, axis=0).ravel(), 0.012, absolute=True)


def sheen() -> list[Figure]:
    """Light from one aperture into another through clear rods and many filaments, by six dyes."""
    source = "exact tracing of explicit filaments, `tests/data/apertures.json.gz`"
    rods = apertures.errors(["gum_silk"])
    many = apertures.errors(["sixteen", "flat_lustrous", "satin_flat"])
    window = apertures.errors(half_deg=15.0)
    how = {"absolute": True, "unit": "L*"}
    return [
        Figure("Sheen of clear rods, 5 degrees into 5", source, rods, math.inf, 1.0, **how),
        Figure("Sheen of many filaments, 5 degrees into 5", source, many, math.inf, 2.0, **how),
        Figure("The same by a window, 15 degrees into 5", source, window, math.inf, 1.0, **how),
    ]


def figures() -> list[Figure]:
    """All of them, in the order of the table."""
    out = [
        beam_transmittance(),
        pair_probability(),
        *mesh_open_area(),
        straight_cylinders(),
        openings_in_diffuse_light(),
        *clear_filaments(),
        *first_radiance_factors(),
    ]
    if (traced.DATA / "traced_covers.json").exists():
        out += [transmittance_of_covers(), *cover_radiance_factors()]
    return out


OPENING, CLOSING = "<!-- accuracy -->", "<!-- /accuracy -->"


def table(lines: list[Figure]) -> str:
    """Markdown table of the figures."""
    rows = [
        "| What | Held against | How that is known | Values | rms | worst | allowed |",
        "| --- | --- | --- | ---: | ---: | ---: | --- |",
    ]
    for f in lines:
        kept = "" if f.holds else " **not kept**"
        rows.append(
            f"| {f.what} | {f.against} | {f.known} | {f.errors.size} | "
            f"{f.told(f.rms)} | {f.told(f.worst)} | {f.allowed}{kept} |"
        )
    return "\n".join(rows)


def put_in(readme: str, made: str) -> str:
    """``readme`` with the text between the two marks replaced. Raises ValueError without them."""
    head, mark, rest = readme.partition(OPENING)
    _, closing, tail = rest.partition(CLOSING)
    if not mark or not closing:
        raise ValueError(f"the marks {OPENING} and {CLOSING} are missing")
    return f"{head}{OPENING}\n{made}\n{CLOSING}{tail}"


def main() -> int:
    path = ROOT / "README.md"
    made = table(figures())
    print(made)
    try:
        text = put_in(path.read_text("utf-8"), made)
    except (OSError, ValueError) as problem:
        print(f"{path.name} is left as it is: {problem}", file=sys.stderr)
        return 1
    fresh = path.with_suffix(".tmp")
    fresh.write_text(text, encoding="utf-8")
    os.replace(fresh, path)
    return 0


if __name__ == "__main__":
    sys.exit(main())
