"""What the verbs of making share: lengths in options, projects by name, and what is in hand.

Knows the terminal; what is made is in ``weavecolor.make``.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from weavecolor.errors import InputError

if TYPE_CHECKING:
    from weavecolor.cutting.remnant import ClothInHand
    from weavecolor.making.model import Making


def length_cm(text: str, field: str, *, zero: bool = False) -> float:
    """Centimetres of "70", "70 cm", "27.5 inch" or "1.1 m"; a bare number is cm."""
    from weavecolor.textile.units import length_mm

    plain = text.strip()
    try:
        number = float(plain)
    except ValueError:
        try:
            return length_mm(plain) / 10.0
        except InputError as error:
            raise error.at(field=field) from None
    if not (0.0 <= number <= 1e5) or (number == 0.0 and not zero):
        raise InputError(f"{plain[:40]!r} is no length; write 70, 70 cm or 27.5 inch", field=field)
    return number


def in_hand(text: str, field: str, selvedge_cm: float = 0.0, one_way: bool = False) -> ClothInHand:
    """The length of cloth of "112 x 250", "112x250 cm", "44 x 98 inch": width by length."""
    from weavecolor.cutting.remnant import ClothInHand

    wide, _, long = text.casefold().replace("\u00d7", "x").partition("x")
    long = long.strip()
    unit = long.lstrip("0123456789.+- ")
    if not wide.strip() or not long:
        raise InputError(
            f"{text[:40]!r} is no cloth in hand; write width x length, such as 112x250 or "
            "44x98 inch",
            field=field,
        )
    try:
        float(wide)
        wide = f"{wide.strip()} {unit}"
    except ValueError:
        pass
    try:
        return ClothInHand(
            length_cm(wide, field), length_cm(long, field), selvedge_cm=selvedge_cm, one_way=one_way
        )
    except InputError as error:
        raise InputError(error.what, field=field) from None


def example_projects() -> dict[str, Path]:
    """The example projects that come with the tool, by name."""
    from weavecolor.files.clothfile import swatch_folder

    return {p.stem: p for p in sorted((swatch_folder() / "projects").glob("*.json"))}


def project_called(name: str) -> Making:
    """The project in the file of that name, or the example called so. Raises InputError."""
    from weavecolor.making.file import load_making

    path = Path(name)
    if not path.exists() and name in example_projects():
        path = example_projects()[name]
    if not path.exists() and path.suffix != ".json" and path.name == name:
        known = ", ".join(example_projects())
        raise InputError(
            f"{name[:60]!r} is neither a project file nor an example; examples are {known}",
            field="PROJECT",
        )
    return load_making(path)


def own_project(name: str) -> tuple[Path, Making]:
    """A project file that may be written to, and what it holds; an example is refused."""
    path = Path(name)
    if not path.exists() and name in example_projects():
        raise InputError(
            f"the example is not written to; make your own of it: weavecolor project new mine.json "
            f"--like {name}",
            field="PROJECT",
        )
    return path, project_called(name)


def in_project(name: str, error: InputError) -> InputError:
    """The same complaint, placed in the project file where it has no file of its own."""
    return error.at(file=name)
