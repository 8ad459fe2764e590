"""The making sheet: what is sewn, as one or two A4 pages, in PDF with real text or as PNG.

Knows how a sheet becomes a file; what stands on it is ``sheetdata``, how it is set
``sheetlayout``.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from PIL import Image

from weavecolor.errors import InputError
from weavecolor.files.atomic import write_bytes
from weavecolor.picture.canvas import Page
from weavecolor.picture.canvaspdf import pdf_bytes
from weavecolor.picture.canvaspng import page_image, png_bytes
from weavecolor.report.sheetdata import (
    MakingSheet,
    SheetBasis,
    SheetColour,
    SheetLayer,
    SheetSwatch,
)
from weavecolor.report.sheetlayout import sheet_pages

__all__ = [
    "MakingSheet",
    "SheetBasis",
    "SheetColour",
    "SheetLayer",
    "SheetSwatch",
    "making_sheet_images",
    "making_sheet_pdf",
    "save_making_sheet",
]


def making_sheet_pdf(sheet: MakingSheet, pages: Sequence[Page] = ()) -> bytes:
    """The sheet as a PDF of one or two A4 pages (``pages``: where it is set already); the same
    sheet gives the same bytes.

    Examples
    --------
    >>> making_sheet_pdf(MakingSheet("Cape", "4 March", (SheetLayer("organza", 0.0),)))[:5]
    b'%PDF-'
    """
    return pdf_bytes(pages or sheet_pages(sheet), f"{sheet.title}, {sheet.date}")


def making_sheet_images(sheet: MakingSheet, dpi: int = 200) -> tuple[Image.Image, ...]:
    """The ``sheet``'s pages as RGB pictures at ``dpi``, 72 to 400.

    Examples
    --------
    >>> sheet = MakingSheet("Cape", "4 March", (SheetLayer("organza", 0.0),))
    >>> making_sheet_images(sheet, 72)[0].mode
    'RGB'
    """
    return tuple(page_image(page, dpi) for page in sheet_pages(sheet))


def save_making_sheet(
    path: str | os.PathLike[str], sheet: MakingSheet, dpi: int = 200, *, also_png: bool = False
) -> tuple[Path, ...]:
    """Write the sheet by the name's ending: .pdf, or .png (two pages become name-1, name-2).

    ``also_png``: beside a PDF its pages as pictures. Everything is drawn before anything is
    written. Raises InputError on another ending, or where the folder cannot be written.

    Parameters
    ----------
    path : str or path
        Ending in .pdf or .png.
    sheet : MakingSheet
    dpi : int
        Pixels an inch of the pictures, 72 to 400.
    also_png : bool
        Write the pages of a PDF as pictures as well.

    Examples
    --------
    >>> import tempfile
    >>> sheet = MakingSheet("Cape", "4 March", (SheetLayer("organza", 0.0),))
    >>> [path.name for path in save_making_sheet(Path(tempfile.mkdtemp()) / "cape.pdf", sheet)]
    ['cape.pdf']
    """
    target = Path(path)
    ending = target.suffix.lower()
    if ending not in (".pdf", ".png"):
        raise InputError("a making sheet is written as .pdf or .png", file=str(target))
    pages = sheet_pages(sheet)
    files: list[tuple[Path, bytes]] = []
    if ending == ".pdf":
        files.append((target, making_sheet_pdf(sheet, pages)))
    if ending == ".png" or also_png:
        picture = target if ending == ".png" else target.with_suffix(".png")
        for number, page in enumerate(pages, 1):
            tail = "" if len(pages) == 1 else f"-{number}"
            name = picture.with_name(f"{picture.stem}{tail}{picture.suffix}")
            files.append((name, png_bytes(page, dpi)))
    return tuple(write_bytes(name, data) for name, data in files)
