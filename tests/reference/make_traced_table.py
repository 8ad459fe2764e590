"""Make tests/data/traced_covers.json: path-traced radiance factors of explicit woven yarns.

    python tests/reference/make_traced_table.py              # add the rows not yet there
    python tests/reference/make_traced_table.py --check ID   # trace one row anew, print JSON
    python tests/reference/make_traced_table.py --verify [N] # re-trace (N rows of) raytraced.json
    python tests/reference/make_traced_table.py --speed      # time the tracing, note it there

Needs mitsuba (the optional extra `trace`) and a recent LLVM (Debian: libllvm19; 15 is too old).
Takes 10 to 40 minutes on two cores; the file is written after every row, so it can be stopped and
taken up again.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
import zlib
from functools import lru_cache
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
import trace_speed
import yarn_mesh as ym
import yarn_tracer as yt

DATA = Path(__file__).parents[1] / "data"
TABLE = DATA / "traced_covers.json"
ALBEDOS = {"R": (0.8, 0.05), "G=B": (0.1, 0.05), "grey.5": (0.5, 0.5), "grey.8": (0.8, 0.8)}
CHANNELS = list(ALBEDOS.values())
SIDE = 384  # photons of one batch: SIDE squared (512 in the earlier rows: see their "photons")
MIN_BATCHES, MAX_BATCHES = 6, 40
GOAL = 0.003  # relative standard error of every brf and Rup

# Touching tubes, no overlap; then covers at which the ideal tubes overlap at the crossings.
CLEAN = [(0.3, 0.3), (0.3, 0.5), (0.45, 0.45)]
OVERLAPPING = [(0.5, 0.5), (0.4, 0.6), (0.6, 0.6), (0.7, 0.35), (0.8, 0.5), (0.9, 0.3)]
DROPPED = [(0.5, 0.9), (0.9, 0.9)]
STACKED = [(0.3, 0.5), (0.6, 0.6)]
INCIDENCES = [(45, 0), (45, 45), (45, 90), (0, 0), (65, 30)]
RETRACED = ("brf", "Rup", "Tdn", "S1", "first")

ABOUT = (
    "Path-traced explicit yarns, made by tests/reference/make_traced_table.py with the general "
    "renderer mitsuba; the geometry is told in yarn_mesh.py, the method in yarn_tracer.py. "
    "Same cloth model as raytraced.json, whose rows the script re-traces: circular Lambertian "
    "opaque yarns, crimp amplitude half the other yarn's diameter, spacing 1 in both systems, so "
    "diameter = cover. Azimuth in degrees from the warp (increasing picks) towards the weft "
    "(increasing ends). lift: rows picks, columns ends, 1 warp up. distance: mid-plane to "
    "mid-plane and last mid-plane to backing, in spacings; jitter: that distance is uniform "
    "within -+ jitter, drawn per path. Sheets are shifted sideways at random, once per path; "
    "uncorrelated: anew at every passage. turns: grain angle of each sheet, top first. "
    "brf = pi L / E (views x channels: black x4, then backing of reflectance 0.85 x4). Rup: "
    "upward flux (same 8); Tdn: share reaching the backing plane the first time (x4); first: share "
    "first met by warp, weft, neither; S1: single scattering over black per unit albedo of warp, "
    "weft; P: share of the backing plane seeing both light and view through the sheet "
    "(deterministic, about 0.5 % or 0.0005). se: standard errors from batch means."
)


def _sheet_name(row) -> tuple:
    return tuple(row["cover"]), row["weave"]


@lru_cache(maxsize=2)
def _sheet(cover, weave) -> ym.Sheet:
    return ym.Sheet(cover, ym.WEAVES[weave])


def _row(
    group, cover, inc, weave="plain", turns=(0,), distance=3.0, jitter=0.0, uncorrelated=False
):
    az = 0 if inc == "diffuse" else inc[1]
    angles = inc if inc == "diffuse" else f"{inc[0]},{inc[1]}"
    lay = "uncorrelated" if uncorrelated else f"distance {distance:g} jitter {jitter:g}"
    grain = "+".join(f"{t:g}" for t in turns)
    return {
        "id": f"{group} | {weave} {cover[0]:g}x{cover[1]:g} | {angles} | turns {grain} | {lay}",
        "group": group,
        "cover": list(cover),
        "weave": weave,
        "inc": inc if inc == "diffuse" else list(inc),
        "turns": list(turns),
        "distance": distance,
        "jitter": jitter,
        "uncorrelated": uncorrelated,
        "views": [[t, a % 360] for t, a in yt.five_views(az)],
    }


def planned_rows() -> list[dict]:
    rows = []
    for cover in CLEAN + OVERLAPPING:
        for inc in INCIDENCES:
            rows += [_row("one_layer", cover, inc, jitter=j) for j in (0.5, 0.0)]
        rows.append(_row("diffuse", cover, "diffuse"))
    for cover in [(0.3, 0.3), (0.5, 0.4), (0.6, 0.6)]:  # lowest yarn resting on the backing
        for inc in [(45, 0), (45, 45)]:
            rows.append(_row("one_layer_touching", cover, inc, distance=0.5 * sum(cover)))
    for cover in STACKED:
        for turn in (0, 90):
            for inc in [(45, 0), (45, 45), (45, 90), (0, 0)]:
                rows.append(_row("stacks_loose", cover, inc, turns=(0, turn), jitter=0.5))
            rows.append(_row("diffuse", cover, "diffuse", turns=(0, turn)))
            rows.append(
                _row("stacks_touching", cover, (45, 0), turns=(0, turn), distance=sum(cover))
            )
        for turns in [(0,), (0, 90)]:
            rows.append(_row("stacks_uncorrelated", cover, (45, 0), turns=turns, uncorrelated=True))
    for weave in ("twill 2/2", "satin 5/2"):
        for inc in [(45, 0), (45, 45), (45, 90), (45, 135), (0, 0)]:
            rows.append(_row("other_weaves", (0.5, 0.5), inc, weave=weave, jitter=0.5))
    return sorted(rows, key=lambda r: (CLEAN + OVERLAPPING).index(tuple(r["cover"])) if
                  tuple(r["cover"]) in CLEAN + OVERLAPPING else -1)  # fmt: skip


def _summary(batches, name) -> dict:
    b = np.array([x[name] for x in batches])
    se = b.std(0, ddof=1) / np.sqrt(len(b))
    return {"mean": np.round(b.mean(0), 6).tolist(), "se": np.round(se, 7).tolist()}


def _worst(batches) -> float:
    """Largest relative standard error of the radiance factors and the upward flux."""
    worst = 0.0
    for name in ("brf", "Rup"):
        b = np.array([x[name] for x in batches])
        se = b.std(0, ddof=1) / np.sqrt(len(b))
        worst = max(worst, float((se / b.mean(0)).max()))
    return worst


def trace_row(row: dict, seed: int, batches: int | None = None) -> dict:
    """Trace one row: its quantities with standard errors; a fixed number of batches if given."""
    sheet = _sheet(*_sheet_name(row))
    setup = yt.Setup(tuple(row["turns"]), row["distance"], row["jitter"], row["uncorrelated"])
    inc = row["inc"] if row["inc"] == "diffuse" else tuple(row["inc"])
    views = [tuple(v) for v in row["views"]]
    start, done = time.perf_counter(), []
    while len(done) < (batches or MIN_BATCHES) or (
        batches is None and _worst(done) > GOAL and len(done) < MAX_BATCHES
    ):
        done.append(yt.trace(sheet, setup, inc, views, CHANNELS, SIDE, seed + len(done)))
    out = {name: _summary(done, name) for name in (*RETRACED, "lost")}
    out["photons"] = len(done) * SIDE**2
    out["worst_rel_se"] = round(_worst(done), 5)
    out["seconds"] = round(time.perf_counter() - start, 1)
    return out


def _pairs(row: dict) -> list[float]:
    steps = (np.arange(40) + 0.5) / 20.0 - 1.0
    distances = row["distance"] + (row["jitter"] * steps if row["jitter"] else np.zeros(1))
    n = 200 if row["jitter"] else 800
    sheet = _sheet(*_sheet_name(row))
    return np.round(yt.pair_probability(sheet, row["inc"], row["views"], distances, n), 5).tolist()


def _write(table: dict) -> None:
    """One row to a line, by way of a temporary file."""
    lines = []
    for key, value in table.items():
        if isinstance(value, list) and value and isinstance(value[0], dict):
            body = ",\n".join(json.dumps(v) for v in value)
            lines.append(f"{json.dumps(key)}: [\n{body}\n]")
        else:
            lines.append(f"{json.dumps(key)}: {json.dumps(value)}")
    tmp = TABLE.with_suffix(".tmp")
    tmp.write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="utf-8")
    os.replace(tmp, TABLE)


def _visibility(cover, weave) -> list[dict]:
    sheet = _sheet(cover, weave)
    rows = []
    azimuths = (0, 45, 90) if weave == "plain" else (0, 45, 90, 135)
    for theta in (0, 15, 30, 45, 60, 75):
        for az in azimuths if theta else (0,):
            shares = np.round(yt.first_hit(sheet, theta, az), 5).tolist()
            names = ("warp", "weft", "through")
            rows.append({"cover": list(cover), "weave": weave, "theta": theta, "az": az}
                        | dict(zip(names, shares, strict=True)))  # fmt: skip
    return rows


def make() -> None:
    table = json.loads(TABLE.read_text("utf-8")) if TABLE.exists() else {}
    covers = CLEAN + OVERLAPPING + [(0.5, 0.4)]
    told = [
        {"cover": list(c), "overlap": round(ym.overlap(c), 4), "folds": ym.folds(c)}
        for c in covers + DROPPED
    ]
    for c in told:
        c["traced"] = tuple(c["cover"]) not in DROPPED
    table = {
        "about": ABOUT,
        "made_with": f"mitsuba {ym.mi.__version__}, drjit {yt.dr.__version__}",
        "albedo_channels_warp_weft": ALBEDOS,
        "backing_reflectance": yt.Setup().backing,
        "view_names": ["normal", "mirror45", "same45(hot spot)", "same30", "side45"],
        "covers_about": (
            "overlap: deepest overlap of warp and weft tubes over (d1 + d2)/2, plain weave; the "
            "solid is their union. folds: a tube is thicker than its tightest bend allows "
            "(d1 d2 > 4/pi^2). Covers that fold were not traced: no cloth looks like that."
        ),
        "covers": told,
        "lifts": ym.WEAVES,
        "visibility": table.get("visibility", []),
        "speed": table.get("speed", {}),
        "rows": table.get("rows", []),
    }
    have = {r["id"] for r in table["rows"]}
    seen = {(tuple(v["cover"]), v["weave"]) for v in table["visibility"]}
    for row in planned_rows():
        if row["id"] in have:
            continue
        result = row | trace_row(row, seed=zlib.crc32(row["id"].encode()) % 10**8)
        if row["inc"] != "diffuse" and len(row["turns"]) == 1 and not row["uncorrelated"]:
            result["P"] = _pairs(row)
        table["rows"].append(result)
        if _sheet_name(row) not in seen and tuple(row["cover"]) != (0.5, 0.4):
            seen.add(_sheet_name(row))
            table["visibility"] += _visibility(*_sheet_name(row))
        _write(table)
        print(row["id"], result["seconds"], "s", result["worst_rel_se"], flush=True)
    if not table["speed"]:
        table["speed"] = trace_speed.speed(CHANNELS)
        _write(table)


def verify(limit: int | None = None) -> float:
    """Re-trace raytraced.json (its first `limit` rows); print each row's worst deviation, percent.

    Returns the worst of brf and Rup. T0 and Tdn of thin stacks are noisier here than there.
    """
    ref = json.loads((DATA / "raytraced.json").read_text("utf-8"))
    groups = ("one_layer", "stacks_loose", "stacks_uncorrelated", "diffuse")
    worst = 0.0
    for group, e in [(g, e) for g in groups for e in ref[g]][:limit]:
        turns = (0, e.get("rot", 0))[: e.get("nlay", 2 if group == "stacks_loose" else 1)]
        inc = e["inc"] if e["inc"] == "diffuse" else tuple(e["inc"])
        loose = {"jitter": e.get("gapjit", 0.0), "uncorrelated": group == "stacks_uncorrelated"}
        row = _row(group, tuple(e["cover"]), inc, turns=turns, **loose)
        row["views"] = row["views"][: len(e["brf"]["mean"])]
        got = trace_row(row, seed=1)
        off = {
            k: 100 * float(np.abs(np.array(got[k]["mean"]) / np.array(e[k]["mean"]) - 1).max())
            for k in RETRACED
        }
        worst = max(worst, off["brf"], off["Rup"])
        print(row["id"], {k: round(v, 2) for k, v in off.items()}, flush=True)
    print("worst brf or Rup, percent:", round(worst, 3))
    return worst


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--check", metavar="ID", help="trace one row of the table anew")
    parser.add_argument(
        "--verify", metavar="N", nargs="?", type=int, const=1000, help="re-trace raytraced.json"
    )
    parser.add_argument("--speed", action="store_true", help="time the tracing, note it")
    args = parser.parse_args()
    if args.check:
        rows = {r["id"]: r for r in planned_rows()}
        if args.check not in rows:
            parser.error("no such row; the ids stand in traced_covers.json")
        print(json.dumps(trace_row(rows[args.check], seed=987654, batches=4)))
    elif args.verify is not None:
        sys.exit(verify(args.verify) > 0.6)
    elif args.speed:
        table = json.loads(TABLE.read_text("utf-8"))
        table["speed"] = trace_speed.speed(CHANNELS)
        _write(table)
        print(json.dumps(table["speed"], indent=1))
    else:
        make()


if __name__ == "__main__":
    main()
