"""``weavecolor fullness``: widths to join, pleats, cloth, bulk, and the layers they show."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

from weavecolor.cli._shared import choices, cloth_called, give, minded, not_with
from weavecolor.errors import InputError

if TYPE_CHECKING:
    from weavecolor.cutting.remnant import ClothInHand

#: Where a complaint about a number of the plan was asked for.
_OPTIONS = {
    "finished_cm": "--finished", "length_cm": "--length", "cloth_width_cm": "--cloth",
    "seam_cm": "--seam", "top_cm": "--top", "hem_cm": "--hem", "hem_round_cm": "--hem-round",
    "pleat_cm": "--pleat", "fullness": "--fullness", "widths": "--widths",
}  # fmt: skip
_WHICH = {"no": (False,), "yes": (True,), "both": (False, True)}


@click.command(
    epilog="Example: weavecolor fullness --finished 70cm --length 90cm --cloth 112x420cm "
    "--fullness 2.5 --hem-round 260cm --doubled both --layers 2 --of shot-organza-teal-copper"
)
@click.option("--finished", required=True, help='Finished width: 70cm or "27 1/2 inch".')
@click.option("--length", required=True, help="Finished length, waist to hem.")
@click.option("--cloth", required=True,
              help='Cloth width, selvedges not counted; or what is in hand: 112x420cm, "60 inch x '
              '3.5 yd, selvedge 1 cm", as for weavecolor lay.')  # fmt: skip
@click.option("--kind", default="gathered,knife,box", show_default=True,
              help="Ways to take it in, with commas: gathered, knife, box, flat.")  # fmt: skip
@click.option("--fullness", type=float,
              help="Least fullness, cloth to finished width, 1 to 9  [default: 2.5]")  # fmt: skip
@click.option("--widths", type=click.IntRange(1, 1000), help="Widths of cloth, instead.")
@click.option("--hem-round", help="How far round the hem hangs: as many widths as that takes, and "
              "the layers by height.")  # fmt: skip
@click.option("--heights", type=click.IntRange(2, 50), default=5, show_default=True,
              help="How many heights to tell of.")  # fmt: skip
@click.option("--doubled", type=click.Choice(["no", "yes", "both"]), default="no",
              show_default=True, help="Cloth folded up at the hem, hanging double.")  # fmt: skip
@click.option("--sideways", type=click.Choice(["no", "yes", "both"]), default="no",
              show_default=True, help="Wide cloth: its length goes round, its width is the drop; "
              "doubled, its fold is the hem.")  # fmt: skip
@click.option("--pleat", help="Face of one pressed pleat  [default: 4cm]")
@click.option("--layers", type=click.IntRange(1, 12), default=1, show_default=True,
              help="Layers of this cloth, each taken in so.")  # fmt: skip
@click.option("--of", "of_cloth", help="Swatch or cloth file: for the bulk at the waist, and what "
              "the folds hide.")  # fmt: skip
@click.option("--seam", default="1.5cm", show_default=True, help="Seam allowance at both edges.")
@click.option("--top", default="1.5cm", show_default=True, help="Allowance at the top.")
@click.option("--hem", default="5cm", show_default=True, help="Hem allowance.")
@click.option("--json", "as_json", is_flag=True, help="Write all numbers as JSON.")
@click.option("--save", type=click.Path(path_type=Path), help="Write to this file.")
def command(
    finished: str, length: str, cloth: str, kind: str, fullness: float | None, widths: int | None,
    hem_round: str | None, heights: int, doubled: str, sideways: str, pleat: str | None,
    layers: int, of_cloth: str | None, seam: str, top: str, hem: str, as_json: bool,
    save: Path | None,
) -> None:  # fmt: skip
    """Pleats against gathers at a finished width: widths, cloth, pleats, bulk, layers by height."""
    from weavecolor.cutting.asked import in_hand_from, length_from
    from weavecolor.cutting.folds import kind_called
    from weavecolor.report import fullnesstable as written

    if fullness is not None and widths is not None:
        raise InputError("give one of them", field="--fullness and --widths")
    if fullness is None and widths is None:
        fullness = 2.5
    kinds = choices(kind, "--kind", kind_called)
    if "flat" in kinds and len(kinds) > 1:
        raise InputError("flat cloth takes nothing in; ask for it alone", field="--kind")
    if kinds == ("flat",) and widths is None:
        not_with("--kind flat, which takes nothing in", "fullness")
        fullness = 1.0
    if not {"knife", "box"} & set(kinds):
        not_with("no pleats among --kind", "pleat")
    if doubled == "yes":
        not_with("--doubled yes, whose fold is the hem", "hem")
    if hem_round is None:
        not_with("no --hem-round, at which the skirt hangs", "heights")
    hands: tuple[ClothInHand, ...] = ()
    if re.search(r"\d\D*?(?:x|\u00d7|\bby\b)\s*[\d.]", cloth):
        hands = (in_hand_from(cloth, "--cloth"),)
    told_of = None if of_cloth is None else cloth_called(of_cloth)
    try:
        made = written.fullness_table(
            kinds,
            length_from(finished, "--finished"),
            hands[0].usable_width_cm if hands else length_from(cloth, "--cloth"),
            length_from(length, "--length"),
            fullness=fullness,
            widths=widths,
            hem_round_cm=None if hem_round is None else length_from(hem_round, "--hem-round"),
            doubled=_WHICH[doubled],
            sideways=_WHICH[sideways],
            heights=heights,
            seam_cm=length_from(seam, "--seam", zero=True),
            top_cm=length_from(top, "--top", zero=True),
            hem_cm=length_from(hem, "--hem", zero=True),
            pleat_cm=None if pleat is None else length_from(pleat, "--pleat"),
            layers=layers,
            in_hand=hands,
            cloth=told_of,
        )
    except InputError as error:
        raise InputError(error.what, field=_OPTIONS.get(error.field or "", error.field)) from None
    mind = minded([] if told_of is None else [told_of], all_=False)
    give(written.as_json(made) if as_json else written.as_text(made) + mind, save)
