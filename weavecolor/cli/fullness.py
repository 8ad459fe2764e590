"""``weavecolor fullness``: what pleats and gathers take, and the layers they show."""

from __future__ import annotations

from pathlib import Path

import click

from weavecolor.cli._making import length_cm
from weavecolor.cli._shared import choices, give, one_of
from weavecolor.errors import InputError


@click.command(
    epilog="Example: weavecolor fullness --finished 70 --length 90 --cloth 112 --fullness 2.5 "
    "--hem-round 260 --doubled both"
)
@click.option("--finished", required=True, help="Finished width: 70, 70 cm or 27.5 inch.")
@click.option("--length", required=True, help="Finished length, waist to hem.")
@click.option("--cloth", required=True, help="Cloth width between the selvedges.")
@click.option("--kind", default="gathered,knife,box", show_default=True,
              help="Ways to take it in, with commas: gathered, knife, box, flat.")  # fmt: skip
@click.option("--fullness", type=float,
              help="Least fullness, cloth to finished width, 1 to 9  [default: 2.5]")  # fmt: skip
@click.option("--widths", type=click.IntRange(1, 1000), help="Widths of cloth, instead.")
@click.option("--hem-round", help="How far round the hem hangs; gives the layers by height.")
@click.option("--heights", type=click.IntRange(2, 50), default=5, show_default=True,
              help="How many heights to tell of.")  # fmt: skip
@click.option("--doubled", type=click.Choice(["no", "yes", "both"]), default="no",
              show_default=True, help="Cloth folded up at the hem, hanging double.")  # fmt: skip
@click.option("--seam", default="1.5", show_default=True, help="Seam allowance at both edges.")
@click.option("--top", default="1.5", show_default=True, help="Allowance at the top.")
@click.option("--hem", default="5", show_default=True, help="Hem allowance.")
@click.option("--json", "as_json", is_flag=True, help="Write all numbers as JSON.")
@click.option("--save", type=click.Path(path_type=Path), help="Write to this file.")
def command(
    finished: str, length: str, cloth: str, kind: str, fullness: float | None, widths: int | None,
    hem_round: str | None, heights: int, doubled: str, seam: str, top: str, hem: str,
    as_json: bool, save: Path | None,
) -> None:  # fmt: skip
    """Pleats against gathers at a finished width: cloth used, layers straight on, by height."""
    from weavecolor.cutting.fullness import KINDS
    from weavecolor.report import fullnesstable as written

    if fullness is not None and widths is not None:
        raise InputError("give one of them", field="--fullness and --widths")
    if fullness is None and widths is None:
        fullness = 2.5
    kinds = choices(kind, "--kind", one_of(KINDS))
    if "flat" in kinds and len(kinds) > 1:
        raise InputError("flat cloth takes nothing in; ask for it alone", field="--kind")
    if kinds == ("flat",) and widths is None:
        fullness = 1.0
    made = written.fullness_table(
        kinds,
        length_cm(finished, "--finished"),
        length_cm(cloth, "--cloth"),
        length_cm(length, "--length"),
        fullness=fullness,
        widths=widths,
        hem_round_cm=None if hem_round is None else length_cm(hem_round, "--hem-round"),
        doubled={"no": (False,), "yes": (True,), "both": (False, True)}[doubled],
        heights=heights,
        seam_cm=length_cm(seam, "--seam", zero=True),
        top_cm=length_cm(top, "--top", zero=True),
        hem_cm=length_cm(hem, "--hem", zero=True),
    )
    give(written.as_json(made) if as_json else written.as_text(made), save)
