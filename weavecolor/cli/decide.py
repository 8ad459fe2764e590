"""``weavecolor decide``: the best stacks for a wish, what shows through, and what lights do."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from weavecolor.cli._making import kept_in, own_project, project_called
from weavecolor.cli._shared import (
    backing_called,
    choices,
    cloth_called,
    give,
    minded,
    progress_to,
    scenes_called,
    span,
)
from weavecolor.errors import InputError, shown

if TYPE_CHECKING:
    from weavecolor.decide.found import SearchResult
    from weavecolor.decide.running import Executor
    from weavecolor.decide.showthrough import ShowThrough
    from weavecolor.decide.wishes import Wish
    from weavecolor.making.model import Making
    from weavecolor.optics.stack import Stack
    from weavecolor.scene.scene import Scene
    from weavecolor.textile.cloth import Cloth


_HUNG = click.option("--hung", is_flag=True,
                     help="The cloth as it hangs in folds, not held flat.")  # fmt: skip


@click.group()
def command() -> None:
    """Search all stacks for what is wanted; see what shows through and what lights do."""


@command.command(
    epilog="Example: weavecolor decide stacks shot-organza-teal-copper silk-chiffon-ivory "
    '--want "target #5a4a4a" --behind "white,black,skin medium" --layers 1-3'
)
@click.argument("cloths", nargs=-1)
@click.option("--project", "project_name", help="Making file, or example, with cloths, amounts, "
              "pieces, wishes and limits; what else is said here counts before it.")  # fmt: skip
@click.option("--keep", is_flag=True, help="Put the options found into the project file.")
@click.option(
    "--want", multiple=True,
    help='Such as deepest, "most opaque", "target #rrggbb" or "target L a b", as seen in the main '
    "scene by an eye settled to it (a wrong word is answered with all); may be given several "
    "times.",
)  # fmt: skip
@click.option("--behind", default="white", show_default=True,
              help="What may lie behind, with commas; open for nothing.")  # fmt: skip
@click.option("--scene", default="window at the side", show_default=True,
              help="Her lights, the main one first, with commas.")  # fmt: skip
@click.option("--hung/--flat", default=None,
              help="Judge the cloth as it hangs in folds, or held flat  [default: as the project "
              "does, or flat]")  # fmt: skip
@click.option("--layers", default="1-3", show_default=True, help="Fewest and most layers.")
@click.option("--grain", default="straight,cross", show_default=True,
              help="Grains that cloth may be laid at, with commas.")  # fmt: skip
@click.option("--no-bias", is_flag=True, help="Straight and cross grain alone.")
@click.option("--side", default="face,back", show_default=True, help="Sides that may be out.")
@click.option("--outside", default="", help="Cloths one of which must be outermost.")
@click.option("--weight", type=float, help="Most weight of all layers, g/m2.")
@click.option("--have", multiple=True,
              help='How many layers a cloth makes: "silk-chiffon-ivory 2".')  # fmt: skip
@click.option("--lay", default="loose", show_default=True, help="touching, loose or apart.")
@click.option("--options", default=5, show_default=True, help="Most options to list.")
@click.option("--workers", type=click.IntRange(1, 256), default=1, show_default=True,
              help="Processes of this machine that search side by side.")  # fmt: skip
@click.option("--cluster", default="", help="Search on a cluster: the address of its scheduler, "
              "tcp://host:8786. Needs the extra called cluster.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Write all numbers as JSON.")
@click.option("--out", type=click.Path(path_type=Path),
              help="Draw the options found side by side, as a PNG.")  # fmt: skip
@click.option("--save", type=click.Path(path_type=Path), help="Write to this file.")
@click.pass_context
def stacks(
    context: click.Context, cloths: tuple[str, ...], project_name: str | None, keep: bool,
    want: tuple[str, ...], behind: str, scene: str, hung: bool | None, layers: str, grain: str,
    no_bias: bool, side: str, outside: str, weight: float | None, have: tuple[str, ...], lay: str,
    options: int, workers: int, cluster: str, as_json: bool, out: Path | None, save: Path | None,
) -> None:  # fmt: skip
    """Rank every stack of the CLOTHS (swatches or cloth files) by what is wanted.

    Cloth is judged held flat, where it shines at one angle; with --hung as a garment hangs, in
    folds, which show all. With --project the cloths are the project's, or those of them named here
    by their keys; where it has pieces and amounts, stacks for which there is too little cloth are
    set aside.
    """
    from weavecolor.decide.candidates import Material, candidates
    from weavecolor.decide.search import search
    from weavecolor.decide.wishes import Limits
    from weavecolor.optics.stack import face_called
    from weavecolor.textile.grain import grain_deg
    from weavecolor.textile.names import told_apart

    def said(option: str) -> bool:
        source = context.get_parameter_source(option)
        return source is not None and source is not click.core.ParameterSource.DEFAULT

    if out is not None and out.suffix.lower() != ".png":
        raise InputError("the picture is a PNG; give a name ending in .png", file=str(out))
    held: Making | None = None
    if project_name is not None:
        held = own_project(project_name)[1] if keep else project_called(project_name)
    elif keep:
        raise InputError("needs --project, the file to keep them in", field="--keep")
    if held is None and not cloths:
        raise InputError("name the cloths to lay, or give --project", field="CLOTHS")
    found = told_apart({name: cloth_called(name) for name in cloths}) if held is None else (
        _cloths_of(held, cloths)
    )  # fmt: skip
    in_hand = dict(_have(text, found) for text in have)
    kept = Limits() if held is None else held.limits
    own = held is None
    limits = Limits(
        span(layers) if own or said("layers") else kept.layers,
        tuple(
            _called(n, found).name
            for n in (choices(outside, "--outside", str) if outside else kept.outside)
        ),
        choices(grain, "--grain", grain_deg) if own or said("grain") else kept.grains,
        kept.bias and not no_bias,
        choices(side, "--side", face_called) if own or said("side") else kept.faces,
        kept.weight_g_m2 if weight is None else weight,
        lay if own or said("lay") else kept.lay,
    )
    behinds = choices(behind, "--behind", backing_called)
    if hung is None:
        hung = held is not None and held.hung
    scenes = scenes_called(scene, hung)
    fits = None
    if held is not None:
        from weavecolor.making.answers import fits_of, searched_in
        from weavecolor.making.model import backing_of

        if held.backings and not said("behind"):
            behinds = tuple(backing_of(text) for text in held.backings)
        if not said("scene"):
            scenes = searched_in(replace(held, hung=hung))
        fits = fits_of(held)
    wanted = want or (() if held is None else held.wishes)
    if not wanted:
        raise InputError("say what is wanted, such as brightest", field="--want")
    if cluster and workers > 1:
        raise InputError("counts for this machine; a cluster has its own", field="--workers")
    allowed = candidates(
        [Material(cloth, in_hand.get(name)) for name, cloth in found.items()], behinds, limits
    )
    wishes = [_wish(text) for text in wanted]
    with _workers(workers, cluster) as executor:
        made = search(
            allowed,
            wishes,
            scenes,
            options=options,
            fits=fits,
            executor=executor,
            progress=progress_to("looking at stacks"),
        )
    names: tuple[str, ...] = ()
    if held is not None and keep and project_name is not None:
        names = kept_in(project_name, tuple(one.stack for one in made.options), hung)
    if out is not None:
        _draw(made, scenes[0], out)
    give(_json(made) if as_json else _text(made), save)
    if names:
        click.echo(f"kept in {project_name} as {', '.join(names)}, in this order; choose one: "
                   f"weavecolor project choose {project_name} {names[0]}", err=True)  # fmt: skip


@command.command("show-through")
@click.argument("cloths", nargs=-1, required=True)
@click.option("--grain", default="straight", show_default=True,
              help="Grain of the layers, one for all or one each.")  # fmt: skip
@click.option("--behind", default="white", show_default=True, help="What lies behind.")
@click.option("--scene", default="window at the side", show_default=True, help="Where it is seen.")
@_HUNG
@click.option("--hide", help="Find how many outer layers hide this: dark tape, white tape, "
              "dark underwear, slip edge, lining edge, seam, hem, pocket or skin.")  # fmt: skip
@click.option("--show", is_flag=True, help="With --hide: make it show plainly instead.")
@click.option("--json", "as_json", is_flag=True, help="Write all numbers as JSON.")
def show_through(
    cloths: tuple[str, ...], grain: str, behind: str, scene: str, hung: bool, hide: str | None,
    show: bool, as_json: bool,
) -> None:  # fmt: skip
    """What will be seen under the CLOTHS, laid outermost first."""
    from weavecolor.decide import showthrough as st

    stack, (place, *more) = _stack(cloths, grain, behind), scenes_called(scene, hung)
    if more:
        raise InputError("name one place", field="--scene")
    if hide is None:
        if show:
            raise InputError("say with --hide what is to show", field="--show")
        seen = [told for (told,) in st.shown_in(st.usual_items(stack), [place])]
        _tell([told.words for told in seen], {"items": [_shown(told) for told in seen]},
              [stack], [place], as_json)  # fmt: skip
        return
    make, *others = choices(hide, "--hide", st.item_called)
    if others:
        raise InputError("name one thing", field="--hide")
    want = "plain" if show else "hidden"
    tried = st.by_layers(stack, make, place, want)
    words = st.remedy_words(tried, want)
    rows = [{"layers": one.label, **_shown(one.result), "surely": one.surely} for one in tried]
    _tell([*(f"{one.label}. {one.result.words}" for one in tried), words],
          {"wanted": want, "tried": rows, "words": words}, [stack], [place], as_json)  # fmt: skip


@command.command("lights")
@click.argument("cloths", nargs=-1, required=True)
@click.option("--grain", default="straight", show_default=True,
              help="Grain of the layers, one for all or one each.")  # fmt: skip
@click.option("--behind", default="white", show_default=True, help="What lies behind.")
@click.option("--scene", default="",
              help="Scenes with commas; all by default, or all lit in front.")  # fmt: skip
@_HUNG
@click.option("--json", "as_json", is_flag=True, help="Write all numbers as JSON.")
def lights(
    cloths: tuple[str, ...], grain: str, behind: str, scene: str, hung: bool, as_json: bool
) -> None:
    """The same stack of CLOTHS, outermost first, in every light, the worst change named."""
    from weavecolor.decide.underlights import suited, under_lights

    stack = _stack(cloths, grain, behind)
    scenes = scenes_called(scene, hung) if scene else suited(stack, hung)
    told = progress_to("looking at places")
    found = under_lights(stack, scenes, progress=told)
    width = max(map(len, found.names)) + 2
    lines, rows = [], []
    for name, look, doubt in zip(found.names, found.looks, found.doubts, strict=True):
        seen = look.reading
        L, a, b = map(float, seen.Lab)
        lab = f"L* {L:5.1f}  a* {a:6.1f}  b* {b:6.1f}  give or take {doubt:4.1f}"
        lines.append(f"{name.ljust(width)}{lab}  {seen.hex}  {seen.words}")
        rows.append({"scene": name, "Lab": [L, a, b], "uncertainty": doubt, "screen": seen.hex,
                     "words": seen.words})  # fmt: skip
    lines.append(f"{found.words} (L*, a* and b* are relative to each light, give or take is "
                 "CIEDE2000.)")  # fmt: skip
    change = {"between": found.worst, "delta": found.change, "uncertainty": found.doubt,
              "words": found.words}  # fmt: skip
    _tell(lines, {"lights": rows, "most": change}, [stack], scenes, as_json)


@command.command("metamerism")
@click.argument("first")
@click.argument("second")
@click.option("--light", default="daylight", show_default=True, help="Where they should match.")
def metamerism(first: str, second: str, light: str) -> None:
    """Whether two yarn colours part when the light changes: FIRST and SECOND are a cloth and
    which yarn, such as "shot-organza-teal-copper:warp"."""
    from weavecolor.decide.underlights import metamerism as compared

    (one, guessed), (other, also) = map(_yarn_colour, (first, second))
    made = compared(one, other, light, recovered=guessed or also)
    width = max(map(len, made.lights)) + 2
    click.echo(f"match in {made.reference}: difference {made.match:.2f}")
    indices = () if made.recovered else zip(made.lights, made.indices, strict=True)
    for name, index in indices:
        click.echo(f"{name.ljust(width)}index {index:.2f}")
    click.echo(made.words)


@contextmanager
def _workers(count: int, cluster: str) -> Iterator[Executor | None]:
    """Where the search is worked out: here, in processes of this machine, or on a cluster."""
    if cluster:
        from weavecolor.decide.running import Cluster

        try:
            from distributed import Client
        except ImportError:
            raise InputError(
                "needs the extra called cluster: pip install 'weavecolor[cluster]'",
                field="--cluster",
            ) from None
        try:
            client = Client(cluster, timeout=20, set_as_default=False)  # type: ignore[no-untyped-call]
        except (OSError, ValueError) as error:
            raise InputError(
                f"no scheduler answers at {cluster[:80]!r}; give an address such as "
                "tcp://host:8786",
                field="--cluster",
            ) from error
        with client:
            yield Cluster(client)
    elif count > 1:
        from concurrent.futures import ProcessPoolExecutor
        from multiprocessing import get_context

        with ProcessPoolExecutor(count, get_context("spawn")) as pool:
            yield pool
    else:
        yield None


def _yarn_colour(text: str) -> tuple[Any, bool]:
    """A yarn's reflectance, and whether that was recovered from a colour or a fit."""
    name, _, which = text.rpartition(":")
    if which not in ("warp", "weft") or not name:
        raise InputError(f'{text[:60]!r} names no yarn; write the cloth, ":" and warp or weft')
    cloth = cloth_called(name)
    how = dict(cloth.known).get(f"{which}.colour")
    return getattr(cloth, which).colour, how is not None and how.way in ("assumed", "fitted")


def _stack(cloths: tuple[str, ...], grain: str, behind: str) -> Stack:
    from weavecolor.optics.stack import Layer, Stack
    from weavecolor.textile.grain import grain_deg

    grains = choices(grain, "--grain", grain_deg)
    if len(grains) not in (1, len(cloths)):
        each = f", or {len(cloths)}" if len(cloths) > 1 else ""
        raise InputError(f"give one grain{each}", field="--grain")
    grains = grains * (len(cloths) if len(grains) == 1 else 1)
    layers = tuple(
        Layer(cloth_called(name), angle) for name, angle in zip(cloths, grains, strict=True)
    )
    return Stack(layers, backing_called(behind))


def _called(name: str, found: dict[str, Any]) -> Any:
    if name not in found:
        raise InputError(
            f"{shown(name, 62)} is not among the cloths given; there are {', '.join(found)}"
        )
    return found[name]


def _have(text: str, found: dict[str, Any]) -> tuple[str, int]:
    name, _, count = " ".join(text.split()).rpartition(" ")
    if not name or not (count.isdecimal() and len(count) < 9):
        raise InputError(
            f"{shown(text)} is no cloth and how many layers it makes; write for example "
            f'"{next(iter(found))} 2"', field="--have",
        )  # fmt: skip
    _called(name, found)
    return name, int(count)


def _wish(text: str) -> Wish:
    from weavecolor.decide.wishwords import wish_from

    try:
        return wish_from(text)
    except InputError as error:
        raise InputError(error.what, field="--want") from None


def _cloths_of(project: Making, keys: tuple[str, ...]) -> dict[str, Cloth]:
    """The project's cloths by key, or those of them that are named."""
    from weavecolor.making.answers import cloths_of

    all_ = cloths_of(project)
    for key in keys:
        if key not in all_:
            raise InputError(f"{key[:60]!r} is not a cloth of the project; it has "
                             f"{', '.join(all_)}", field="CLOTHS")  # fmt: skip
    return {key: cloth for key, cloth in all_.items() if not keys or key in keys}


def _text(found: SearchResult) -> str:
    from weavecolor.decide.shortlist import reasons
    from weavecolor.report.comparisontable import HELD_FLAT

    lines = [found.lack] if found.lack else []
    best = found.options[0] if found.options else None
    for number, one in enumerate(found.options, 1):
        lines.append(f"{number}. {one.words}")
        said = reasons(one, found.wishes, found.scenes, best, found.worked_out)
        lines += [f"   {reason.words}" for reason in said]
    for one in found.too_little_cloth:
        lines.append(f"Better, but too little cloth: {one.words}")
        lines.append(f"   {one.fit.words}" if one.fit else "")
    lines += [found.guarantee.words, found.lying or HELD_FLAT]
    return "\n".join(lines) + "\n" + _mind([one.stack for one in found.options], found.scenes)


def _tell(
    lines: Sequence[str], told: dict[str, Any], stacks: Sequence[Stack], scenes: Sequence[Scene],
    as_json: bool,
) -> None:  # fmt: skip
    """Lines, or the same as JSON; then how the cloth was held, and what to mind."""
    from weavecolor.report.comparisontable import held_words

    flat = held_words(scenes)
    mind = _mind(stacks, scenes)
    if as_json:
        held = flat or "as the scenes say"
        data = {"difference": "CIEDE2000", **told, "held": held, "mind": mind.splitlines()}
        click.echo(json.dumps(data, indent=1, ensure_ascii=False))
        return
    click.echo("\n".join(filter(None, (*lines, flat))))
    click.echo(mind, nl=False)


def _shown(told: ShowThrough) -> dict[str, Any]:
    return {
        "name": told.name,
        "delta": told.delta,
        "uncertainty": told.uncertainty,
        "grade": told.grade,
        "possible": list(told.possible),
        "words": told.words,
    }


def _mind(stacks: Sequence[Stack], scenes: Sequence[Scene]) -> str:
    """What to mind of the cloths, and of what lies behind them before light from there."""
    from weavecolor.decide.compare import Option
    from weavecolor.decide.unexpected import kept_out

    dark = kept_out([Option(stack, scene) for stack in stacks for scene in scenes])
    mind = minded(layer.cloth for stack in stacks for layer in stack.layers)
    return f"{dark}\n{mind}" if dark else mind


def _draw(found: SearchResult, scene: Scene, out: Path) -> None:
    """The options found with their numbers in the main light, each as a close-up with its patch; of
    cloth in folds as its colour alone, for a close-up lies flat."""
    from weavecolor.files.atomic import write_bytes
    from weavecolor.picture.composite import CLOSEUP, FLAT, Choice, draw_sheet
    from weavecolor.picture.encode import png_bytes

    shown = found.options[:12]  # as many as a sheet shows
    if not shown:
        raise InputError("no option was found that could be drawn", field="--out")
    options = [Choice(f"{n}. {one.words}", one.stack) for n, one in enumerate(shown, 1)]
    kind = FLAT if found.lying else CLOSEUP
    write_bytes(out, png_bytes(draw_sheet(options, scene, kind, "A4")))
    click.echo(f"wrote {out}", err=True)


def _json(found: SearchResult) -> str:
    from weavecolor.decide.shortlist import reasons
    from weavecolor.report.comparisontable import HELD_FLAT

    best = found.options[0] if found.options else None
    rows = [
        {
            "layers": [
                {"cloth": x.cloth.name, "grain_deg": x.grain_deg, "face": x.face}
                for x in one.stack.layers
            ],
            "backing": None if one.stack.backing is None else one.stack.backing.name,
            "loss": one.loss,
            "Lab": [float(v) for v in one.Lab],
            "contrast_ratio": one.opacity,
            "g_m2": one.mass_g_m2,
            "reasons": [
                {"words": r.words, "numbers": dict(r.numbers)}
                for r in reasons(one, found.wishes, found.scenes, best, found.worked_out)
            ],
        }
        for one in found.options
    ]
    promise = found.guarantee
    whole_ = {
        "options": rows,
        "scenes": [scene.name for scene in found.scenes],
        "held": found.lying or HELD_FLAT,
        "mind": _mind([one.stack for one in found.options], found.scenes).splitlines(),
        "lack": found.lack,
        "guarantee": {
            "words": promise.words,
            "complete": promise.complete,
            "proven": promise.proven,
            "sure_places": promise.sure if promise.proven else 0,
            "bound": promise.bound,
            "worst_error": promise.worst_error,
            "screened": promise.screened,
            "bounded": promise.bounded,
            "ruled_out": promise.ruled_out,
        },
    }
    return json.dumps(whole_, indent=2) + "\n"
