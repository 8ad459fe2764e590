"""``weavecolor measure``: a cloth from photographs, from an instrument, from a close-up."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from weavecolor.cli._shared import give, progress_to

if TYPE_CHECKING:
    from weavecolor.measure.observations import Known, Seen, Thread
    from weavecolor.measure.threads import ThreadCount
    from weavecolor.textile.cloth import Cloth

PATH = click.Path(path_type=Path)


@click.group()
def command() -> None:
    """Measure the cloth in hand: photographs, thread count, spectra; makes a cloth file."""


@command.command()
@click.option("--save", type=PATH, help="Write to this file.")
def card(save: Path | None) -> None:
    """Print how to photograph a swatch."""
    from weavecolor.measure.card import instructions

    give(instructions(), save)


def _closeup_options(function: Callable[..., Any]) -> Callable[..., Any]:
    for option in (
        click.option("--scale", help='Pixels per mm of the close-up: "42.5" or "42.5 +- 0.2".'),
        click.option("--ruler", help="Box round the ruler's ticks, left,top,right,bottom; without "
                     "it, and without a scale, the ruler is looked for."),
        click.option("--region", help="Box of the close-up to count in."),
        click.option("--warp", "warp_runs", default="up", show_default=True,
                     help="Which way the warp runs: up, across, or degrees off upright."),
        click.option("--behind", help="Box of bare ground in the close-up, for the open share."),
    ):  # fmt: skip
        function = option(function)
    return function


def _start_options(function: Callable[..., Any]) -> Callable[..., Any]:
    for option in (
        click.option("--name", default="Measured cloth", show_default=True,
                     help="What the cloth is called."),
        click.option("--weave", "plan", default="plain", show_default=True,
                     help='Its weave, such as "twill 2/1" or "satin 5/2".'),
        click.option("--ends", help='Ends, such as "42 /cm"; or give a close-up.'),
        click.option("--picks", help='Picks, such as "40 /cm".'),
        click.option("--fibre", default="silk", show_default=True, help="Warp's, or both."),
        click.option("--weft-fibre", help="Weft's, if another."),
        click.option("--yarn", type=click.Choice(["filament", "spun"]), default="filament",
                     show_default=True, help="Warp's kind, or both."),
        click.option("--weft-yarn", type=click.Choice(["filament", "spun"]),
                     help="Weft's, if another."),
        click.option("--like", help='Sort of yarn in place of fibre and kind, such as '
                     '"silk organza" or "polyester chiffon"; a semicolon parts warp; weft.'),
        click.option("--warp-count", help='Yarn count if known, such as "20/22 denier".'),
        click.option("--weft-count", help="Weft's."),
        click.option("--weight", help='Cloth weight if known, such as "4.3 momme".'),
        click.option("--out", type=PATH, help="Write the cloth file here (.toml)."),
        click.option("--save", type=PATH, help="Write the report to this file."),
    ):  # fmt: skip
        function = option(function)
    return function


@command.command()
@click.argument("picture", type=PATH)
@_closeup_options
def threads(
    picture: Path, scale: str | None, ruler: str | None, region: str | None, warp_runs: str,
    behind: str | None,
) -> None:  # fmt: skip
    """Count ends and picks in a close-up PICTURE with a ruler."""
    from weavecolor.measure.threads import stated

    count = _count(picture, scale, ruler, region, warp_runs, behind)
    lines = [
        "ends  {} /cm, {}".format(*stated(count.ends_per_cm, count.ends_range)),
        "picks {} /cm, {}".format(*stated(count.picks_per_cm, count.picks_range)),
        f"warp leans {count.grain_angle_deg:.1f} degrees off the picture's upright, "
        f"weft {count.skew_deg:+.1f} degrees off square",
    ]
    if count.open_share is not None:
        lines.append(
            f"open share {count.open_share:.2f}, give or take {count.open_share_uncertainty:.2f}"
        )
    lines += [
        f"could also be {a.ends_per_cm:.1f} x {a.picks_per_cm:.1f} /cm "
        f"({100 * a.share:.0f} in 100)"
        for a in count.alternatives
    ]
    lines += [f"caution: {text}" for text in count.cautions]
    click.echo("\n".join(lines))


@command.command(
    epilog="Example: weavecolor measure photos white.jpg black.jpg --turned turned.jpg "
    '--ends "42 /cm" --picks "40 /cm" --out mine.toml'
)
@click.argument("white", type=PATH)
@click.argument("black", type=PATH, required=False)
@click.option("--turned", type=PATH, help="Picture over white, swatch turned a quarter.")
@click.option("--frayed", type=PATH, help="Bare threads on paper; box them with --mark.")
@click.option("--frayed-black", type=PATH, help="Bare threads on card.")
@click.option("--closeup", type=PATH, help="Close-up with a ruler, to count threads.")
@click.option("--mark", "marks", multiple=True,
              help='A box you mark: "picture:label=left,top,right,bottom", such as '
              '"black:card=10,10,90,90" or "frayed:warp thread=40,200,90,260".')  # fmt: skip
@click.option("--paper", type=float, help="Reflectance of the paper, 0-1, if known.")
@click.option("--scene", default="window at the side", show_default=True,
              help="Light of the photographs; warp towards azimuth 0.")  # fmt: skip
@_closeup_options
@_start_options
def photos(
    white: Path, black: Path | None, turned: Path | None, frayed: Path | None,
    frayed_black: Path | None, closeup: Path | None, marks: tuple[str, ...], paper: float | None,
    scene: str, scale: str | None, ruler: str | None, region: str | None, warp_runs: str,
    behind: str | None, **start: Any,
) -> None:  # fmt: skip
    """Fit a cloth to photographs: WHITE shows the swatch on white paper, BLACK on black card.

    One picture with the swatch across both will do. See weavecolor measure card.
    """
    from weavecolor.measure.photograph import read_photograph
    from weavecolor.measure.shots import look
    from weavecolor.scene.places import scene as scene_called

    _toml(start["out"])
    cautions: list[str] = []

    boxes = _marks(marks)

    def read(path: Path | None, which: str) -> Any:
        if path is None:
            return None
        shot = read_photograph(path)
        cautions.extend(f"{path.name}: {text}" for text in shot.cautions)
        own = boxes.get(which, {})
        boxes[which] = {label: _smaller(box, shot.reduced) for label, box in own.items()}
        return shot.linear

    count = None
    if closeup is not None:
        count = _count(closeup, scale, ruler, region, warp_runs, behind)
        cautions += [f"{closeup.name}: {text}" for text in count.cautions]
    shots = look(
        read(white, "white"), read(black, "black"), read(turned, "turned"),
        read(frayed, "frayed"), read(frayed_black, "frayed black"),
        marks=boxes,
        paper="white paper" if paper is None else paper,
        light=scene_called(scene),
    )  # fmt: skip
    _fit_and_give(shots.seen, shots.threads, count, (*cautions, *shots.cautions), start)


@command.command(
    epilog='Example: weavecolor measure grid white.jpg black.jpg --threads "90 /cm" '
    '--like "silk organza" --count "20/22 denier" --out warp.csv'
)
@click.argument("white", type=PATH)
@click.argument("black", type=PATH, required=False)
@click.option("--threads", required=True, help='How closely it is wound, such as "90 /cm".')
@click.option("--count", help='Yarn count, such as "20/22 denier"; needed to know its width.',
              required=True)  # fmt: skip
@click.option("--fibre", default="silk", show_default=True, help="What it is made of.")
@click.option("--yarn", type=click.Choice(["filament", "spun"]), default="filament",
              show_default=True, help="Its kind.")  # fmt: skip
@click.option("--like", help='Sort of yarn in place of both, such as "silk organza".')
@click.option("--mark", "marks", multiple=True, help='As in photos; the threads are "swatch".')
@click.option("--paper", type=float, help="Reflectance of the paper, 0-1, if known.")
@click.option("--out", type=PATH, help="Write the thread's spectrum here (.csv).")
@click.option("--save", type=PATH, help="Write the report to this file.")
def grid(
    white: Path, black: Path | None, threads: str, count: str, fibre: str, yarn: str,
    like: str | None, marks: tuple[str, ...], paper: float | None, out: Path | None,
    save: Path | None,
) -> None:  # fmt: skip
    """Tell a yarn's own colour from one thread wound evenly, one layer, round white and black card.

    WHITE shows the wound white card on paper, BLACK the wound black card with a strip of paper.
    """
    from weavecolor.errors import InputError
    from weavecolor.files.atomic import write_text
    from weavecolor.measure.gridwords import grid_report, grid_table
    from weavecolor.measure.photograph import read_photograph
    from weavecolor.measure.shots import look_wound
    from weavecolor.measure.tocloth import start_cloth
    from weavecolor.textile.units import check_hank, linear_density_tex, sett_per_cm

    if out is not None and out.suffix.lower() != ".csv":
        raise InputError("a spectrum's file ends in .csv", file=str(out))
    boxes = _marks(marks)

    def given(text: str, convert: Callable[[Any], Any], field: str) -> Any:
        try:
            return convert(text)
        except InputError as error:
            raise error.at(field=field) from None

    per_cm = given(threads, sett_per_cm, "--threads")
    tex = given(count, linear_density_tex, "--count")
    own = start_cloth("grid", per_cm, per_cm, warp_fibre=fibre, warp_kind=yarn, warp_tex=tex,
                      weft_tex=tex, warp_like=like).warp  # fmt: skip
    given(count, lambda text: check_hank(text, own.fibre.name), "--count")
    shots = [read_photograph(path) for path in (white, black) if path is not None]
    names = ("white", "black")[: len(shots)]
    held = [
        {label: _smaller(box, shot.reduced) for label, box in boxes.get(name, {}).items()}
        for name, shot in zip(names, shots, strict=True)
    ]
    found, pair = look_wound(
        own, per_cm, *(shot.linear for shot in shots), marks=dict(zip(names, held, strict=True)),
        paper="white paper" if paper is None else paper,
    )  # fmt: skip
    if out is not None:
        write_text(out, grid_table(found))
        click.echo(f"wrote {out}", err=True)
    cautions = [text for shot in shots for text in shot.cautions] + list(pair.cautions)
    give(grid_report(found) + "".join(f"Caution: {c}\n" for c in cautions), save)


@command.command(
    epilog='Example: weavecolor measure fibre mine.toml fibre.csv --system warp --across "12 um" '
    "--out dyed.toml"
)
@click.argument("cloth")
@click.argument("table", type=PATH)
@click.option("--system", type=click.Choice(["warp", "weft"]), required=True,
              help="Whose fibre it is.")  # fmt: skip
@click.option("--across", required=True, help='How thick the fibre is: "12 um".')
@click.option("--spectrum", help="Its name in TABLE, where there are several.")
@click.option("--out", type=PATH, help="Write the cloth so dyed here (.toml).")
@click.option("--save", type=PATH, help="Write the report to this file.")
def fibre(
    cloth: str, table: Path, system: Literal["warp", "weft"], across: str, spectrum: str | None,
    out: Path | None, save: Path | None,
) -> None:  # fmt: skip
    """Dye a yarn of CLOTH as one of its fibres is: TABLE (CSV, TSV or CGATS) tells the share of
    light that it lets through in a liquid of its own index, read over its whole width.
    """
    from weavecolor.cli._shared import cloth_called
    from weavecolor.errors import InputError
    from weavecolor.files.atomic import write_text
    from weavecolor.files.clothfile import cloth_to_toml
    from weavecolor.files.spectrafile import read_spectra
    from weavecolor.measure.fibre import dyed_cloth, fibre_report, read_fibre
    from weavecolor.textile.units import length_mm

    _toml(out)
    made, there = cloth_called(cloth), read_spectra(table)
    name = spectrum or next(iter(there))
    if name not in there or (spectrum is None and len(there) > 1):
        raise InputError(f"name one of its spectra with --spectrum: {', '.join(there)}",
                         file=str(table))  # fmt: skip
    try:
        thick = length_mm(across)
    except InputError as error:
        raise error.at(field="--across") from None
    try:
        found = read_fibre(getattr(made, system), there[name].values, thick)
    except InputError as error:
        raise error.at(file=str(table), field=name) from None
    dyed = dyed_cloth(made, system, found)
    if out is not None:
        write_text(out, cloth_to_toml(dyed))
        click.echo(f"wrote {out}", err=True)
    give(fibre_report(found) + "".join(f"Note: {n}\n" for n in there[name].notes), save)


@command.command(
    epilog='Example: weavecolor measure sample mine.toml sample.jpg --laid "straight + cross back" '
    "--out corrected.toml"
)
@click.argument("cloth")
@click.argument("picture", type=PATH)
@click.option("--laid", default="straight", show_default=True,
              help='Its layers, outermost first: "straight + cross back".')  # fmt: skip
@click.option("--behind", help='What it lies on, if not the paper: as in compare; or box its bare '
              'ground with --mark.')  # fmt: skip
@click.option("--lay", default="loose", show_default=True,
              help="How layers lie: touching, loose, apart.")  # fmt: skip
@click.option("--mark", "marks", multiple=True,
              help='"picture:sample=left,top,right,bottom"; also paper, ground.')  # fmt: skip
@click.option("--paper", type=float, help="Reflectance of the paper, 0-1, if known.")
@click.option("--scene", default="window at the side", show_default=True,
              help="Light of the photograph; straight grain towards azimuth 0.")  # fmt: skip
@click.option("--name", help="Name of the corrected cloth.")
@click.option("--out", type=PATH, help="Write the corrected cloth file here (.toml).")
@click.option("--save", type=PATH, help="Write the report to this file.")
def sample(
    cloth: str, picture: Path, laid: str, behind: str | None, lay: str, marks: tuple[str, ...],
    paper: float | None, scene: str, name: str | None, out: Path | None, save: Path | None,
) -> None:  # fmt: skip
    """Correct a measured CLOTH by a sewn sample, or a piece laid up, in PICTURE beside white paper.

    CLOTH is a cloth file that weavecolor measure wrote. Tells how far the sample is from what was
    foretold, what was learnt and how the ranges shrank; a sample that the cloth cannot look like
    corrects nothing.
    """
    from weavecolor.cli._shared import backing_called, cloth_called, one_of
    from weavecolor.files.atomic import write_text
    from weavecolor.files.clothfile import cloth_to_toml
    from weavecolor.measure.photograph import read_photograph
    from weavecolor.measure.sample import learn, lesson_words, sample_of
    from weavecolor.measure.swatchpair import measure_one
    from weavecolor.measure.tocloth import fitted_cloth
    from weavecolor.optics.layerwords import layers_said
    from weavecolor.optics.stack import LAYS, Stack
    from weavecolor.scene.places import scene as scene_called

    _toml(out)
    made = cloth_called(cloth)
    stack = Stack(
        layers_said(laid, made), None if behind is None else backing_called(behind),
        one_of(LAYS)(lay),
    )  # fmt: skip
    boxes = _marks(marks, ("picture",)).get("picture", {})
    place = scene_called(scene)
    shot = read_photograph(picture)
    one = measure_one(
        shot.linear, {label: _smaller(box, shot.reduced) for label, box in boxes.items()},
        paper="white paper" if paper is None else paper,
    )  # fmt: skip
    lesson = learn(sample_of(one, stack, place), progress_to("correcting"))
    if out is not None:
        write_text(out, cloth_to_toml(fitted_cloth(lesson.fit, name)))
        click.echo(f"wrote {out}", err=True)
    cautions = dict.fromkeys((*shot.cautions, *one.cautions))
    give(lesson_words(lesson) + "".join(f"Caution: {c}\n" for c in cautions), save)


@command.command()
@click.argument("table", type=PATH)
@click.option("--over-white", "on_white", help="Name of the cloth's spectrum over white.")
@click.option("--over-black", "on_black", help="Name of the cloth's spectrum over black.")
@click.option("--white-ground", default="0.89", show_default=True,
              help="The white: a reflectance, or a spectrum's name.")  # fmt: skip
@click.option("--black-ground", default="0.0", show_default=True, help="The black, likewise.")
@click.option("--warp-yarn", help="Name of the spectrum of a hank of warp.")
@click.option("--weft-yarn-spectrum", help="Name of the spectrum of a hank of weft.")
@click.option("--uncertainty", default=0.01, show_default=True,
              help="Standard uncertainty of a reflectance.")  # fmt: skip
@click.option("--scene", default="overcast", show_default=True,
              help="How the instrument looks: d:8 (a sphere), 45:0 (a ring of light), or a place; "
              "overcast is even light, seen straight on.")  # fmt: skip
@_start_options
def spectra(
    table: Path, on_white: str | None, on_black: str | None, white_ground: str, black_ground: str,
    warp_yarn: str | None, weft_yarn_spectrum: str | None, uncertainty: float, scene: str,
    **start: Any,
) -> None:  # fmt: skip
    """Fit a cloth to measured spectra in TABLE (CSV, TSV or CGATS)."""
    from weavecolor.errors import InputError
    from weavecolor.files.spectrafile import read_spectra
    from weavecolor.measure.observations import check_grounds, seen_spectrum, thread_spectrum
    from weavecolor.scene.backings import Backing

    _toml(start["out"])
    if not 0.0005 <= uncertainty <= 0.5:
        raise InputError("is a reflectance from 0.0005 to 0.5", field="--uncertainty")
    there = read_spectra(table)

    def called(name: str) -> Any:
        if name not in there:
            raise InputError(f"has no spectrum {name[:40]!r}; there are {', '.join(there)}",
                             file=str(table))  # fmt: skip
        return there[name].values

    def ground(text: str, field: str) -> Any:
        import numpy as np

        if text in there:
            return called(text)
        try:
            value = float(text)
        except ValueError:
            return called(text)
        if not 0.0 <= value <= 1.0:
            raise InputError("a ground's reflectance is 0 to 1", field=field)
        return np.full(41, value)

    seen: list[Seen] = []
    if on_white:
        behind = Backing("white", ground(white_ground, "--white-ground"))
        seen.append(seen_spectrum("over white", called(on_white), uncertainty, behind, light=scene))
    if on_black:
        behind = Backing("black", ground(black_ground, "--black-ground"))
        seen.append(seen_spectrum("over black", called(on_black), uncertainty, behind, light=scene))
    if not seen:
        raise InputError(
            f"holds {', '.join(map(repr, there))}: say which is of the cloth, by --over-white, "
            "--over-black or both",
            file=str(table),
        )
    check_grounds(seen, uncertainty)
    hanks: list[Thread] = [
        thread_spectrum(system, called(name), uncertainty)
        for system, name in (("warp", warp_yarn), ("weft", weft_yarn_spectrum))
        if name
    ]
    notes = [f"{n}: {note}" for n, s in there.items() for note in s.notes]
    _fit_and_give(seen, hanks, None, notes, start)


def _fit_and_give(
    seen: Sequence[Seen],
    threads: Sequence[Thread],
    count: ThreadCount | None,
    cautions: Sequence[str],
    start: dict[str, Any],
) -> None:
    from weavecolor.files.atomic import write_text
    from weavecolor.files.clothfile import cloth_to_toml
    from weavecolor.measure.fit import fit_cloth
    from weavecolor.measure.tocloth import fitted_cloth, report

    cloth, known = _start(start, count)
    fit = fit_cloth(cloth, seen, threads, known, progress_to("fitting"))
    text = report(fit) + "".join(f"Caution: {c}\n" for c in dict.fromkeys(cautions))
    if start["out"] is not None:
        write_text(start["out"], cloth_to_toml(fitted_cloth(fit)))
        click.echo(f"wrote {start['out']}", err=True)
    give(text, start["save"])


def _start(start: dict[str, Any], count: ThreadCount | None) -> tuple[Cloth, list[Known]]:
    from weavecolor.measure.tocloth import TOLD, start_told

    likes = [part.strip() or None for part in (start["like"] or "").split(";")]
    return start_told(
        start["name"], {key: start[key.replace(" ", "_")] for key in TOLD}, count,
        lambda key: f"--{key.replace(' ', '-')}", plan=start["plan"], warp_fibre=start["fibre"],
        weft_fibre=start["weft_fibre"], warp_kind=start["yarn"], weft_kind=start["weft_yarn"],
        warp_like=likes[0], weft_like=likes[1] if len(likes) > 1 else None,
    )  # fmt: skip


def _count(
    picture: Path, scale: str | None, ruler: str | None, region: str | None, warp_runs: str,
    behind: str | None,
) -> ThreadCount:  # fmt: skip
    from weavecolor.errors import InputError
    from weavecolor.measure.photograph import read_photograph
    from weavecolor.measure.regions import box_region
    from weavecolor.measure.ruler import find_ruler, scale_from_ruler
    from weavecolor.measure.threads import count_threads

    shot = read_photograph(picture)
    if scale is not None and ruler is not None:
        raise InputError("give one of them, or neither where a ruler lies in the picture",
                         field="--scale or --ruler")  # fmt: skip
    where = None if region is None else _smaller(_box(region, "--region"), shot.reduced)
    if scale is not None:
        per_mm, unsure = _stated_scale(scale)
        per_mm /= shot.reduced
    else:
        if ruler is not None:
            measured = scale_from_ruler(shot.linear, _smaller(_box(ruler, "--ruler"), shot.reduced))
        else:
            seen = find_ruler(shot.linear, where)
            measured, where = seen.scale, seen.before
        per_mm, unsure = measured.pixels_per_mm, measured.relative_uncertainty
    ground = None
    if behind is not None:
        shape = shot.linear.shape[0], shot.linear.shape[1]
        box = box_region("--behind", _smaller(_box(behind, "--behind"), shot.reduced), shape)
        ground = box.values(shot.linear).mean(axis=0)
    runs: str | float = warp_runs if warp_runs in ("up", "across") else _number(warp_runs, "--warp")
    return count_threads(
        shot.linear, per_mm, scale_uncertainty=min(unsure, 0.2), region=where,
        warp_direction=runs, backing=ground,
    )


#: A scale given by hand is taken as good to this share, or to half its last digit if that is more.
HAND_SCALE = 0.003


def _stated_scale(text: str) -> tuple[float, float]:
    """Pixels per mm and relative standard uncertainty of "42.5" or "42.5 +- 0.2" (19 in 20)."""
    from weavecolor.errors import InputError
    from weavecolor.measure.threads import FEWEST_PER_MM, MOST_PER_MM, NINETEEN_OF_TWENTY

    first, sign, second = text.replace("±", "+-").partition("+-")
    value = _number(first.strip(), "--scale")
    if not FEWEST_PER_MM <= value <= MOST_PER_MM:
        raise InputError(
            f"{first.strip()[:40]} is no scale of a photographed cloth; give pixels per mm, "
            f"{FEWEST_PER_MM:g} to {MOST_PER_MM:.0f}",
            field="--scale",
        )
    if sign:
        half = _number(second.strip(), "--scale")
        if not 0 <= half <= 0.3 * value:
            raise InputError("the scale's give or take is 0 to a third of it", field="--scale")
        return value, half / NINETEEN_OF_TWENTY / value
    digits = len(first.strip().partition(".")[2]) if "e" not in first.lower() else 3
    return value, max(HAND_SCALE, 0.5 * 10.0**-digits / 3**0.5 / value)


def _marks(
    texts: Sequence[str],
    pictures: Sequence[str] = ("white", "black", "turned", "frayed", "frayed black"),
) -> dict[str, dict[str, tuple[int, int, int, int]]]:
    from weavecolor.errors import InputError

    out: dict[str, dict[str, tuple[int, int, int, int]]] = {}
    for text in texts:
        where, _, box = text.rpartition("=")
        picture, _, label = where.partition(":")
        if picture not in pictures or not label:
            raise InputError(
                f'{text[:60]!r} is not "picture:label=left,top,right,bottom" with a picture of '
                f"{', '.join(pictures)}",
                field="--mark",
            )
        if label == "swatch":  # in these pictures there is but one
            label = f"swatch over {'black' if picture == 'black' else 'white'}"
        out.setdefault(picture, {})[label] = _box(box, "--mark")
    return out


def _box(text: str, field: str) -> tuple[int, int, int, int]:
    from weavecolor.errors import InputError

    try:
        left, top, right, bottom = (int(part) for part in text.split(","))
    except ValueError:
        raise InputError(f"{text[:40]!r} is no box; give left,top,right,bottom in pixels",
                         field=field) from None  # fmt: skip
    return left, top, right, bottom


def _smaller(box: tuple[int, int, int, int], times: int) -> tuple[int, int, int, int]:
    """A box of the file's pixels in a picture that was read ``times`` smaller."""
    left, top, right, bottom = (round(side / times) for side in box)
    return left, top, right, bottom


def _number(text: str, field: str) -> float:
    from weavecolor.errors import InputError

    try:
        return float(text)
    except ValueError:
        raise InputError(f"{text[:40]!r} is not a number", field=field) from None


def _toml(path: Path | None) -> None:
    from weavecolor.errors import InputError

    if path is not None and path.suffix.lower() != ".toml":
        raise InputError("a cloth file ends in .toml", file=str(path))
