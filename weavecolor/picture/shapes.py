"""Cloth as it hangs: shapes and bodies made beforehand, read from the package's data.

Knows what a hung shape is (places, quads, where on the cloth each vertex lies, how open it is to
the room) and how its file is read; knows nothing of colour, light or drawing. The files are made
by ``swatches/shapes/make.py``. Frame: mm, z up, y towards the viewer, x to the viewer's left
a garment's wearer faces the viewer.

A file is eight bytes ``CLOTHHG1``, a header's length (4 bytes, little end first), the header
(JSON) and one deflated run of arrays, in the header's order. An array of a grid is held as the
difference along rows of the difference along columns, modulo 2^8 or 2^16, folded so that small
negatives are small (0, -1, 1, -2 -> 0, 1, 2, 3); one component after the other, low bytes before
high bytes. A value is ``origin + step * number``.

Beside a shape, ``NAME.open.npz`` tells how open what stands under it is: bytes (n, 3), shares of
255, of the vertices of the body, of the lining that it wears and of the floor.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import lru_cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weavecolor.errors import InputError, shown

MAGIC = b"CLOTHHG1"
_FOLDER = ("data", "shapes")


@dataclass(frozen=True)
class Grid:
    """A run of vertices that is one piece of cloth in rows and columns.

    Vertex (row, column) is ``start + row * columns + column``. ``part`` is "cloth" (the piece
    that hangs) or "band" (a waistband, neckband or the like: cloth laid double on a stiffener).
    """

    part: str
    start: int
    rows: int
    columns: int


@dataclass(frozen=True, eq=False)
class Shape:
    """Cloth hung by its weight and stiffness.

    Attributes
    ----------
    name, form, cloth_kind : str
        For instance "gathered-3-organza", "gathered skirt", "organza".
    role : str
        "outer" (a garment or a piece), or "inner" (a slip, lining or stiffener).
    fullness : float
        Cloth width over finished width at the top; 1 where nothing is gathered in.
    vertices : array (N, 3), mm
    quads : array (M, 4)
        Corners in order round the quad, counter-clockwise seen from the front (the face turned
        to the room). Its two triangles are corners 0 1 2 and 0 2 3.
    normals : array (N, 3)
        Unit normals out of the front; equal on both sides of a seam.
    cloth_mm : array (N, 2)
        Place on the cloth before the grain is turned: along the weft, along the warp (down).
        Runs on across seams only where the cloth does; vertices along a seam are there twice.
    open_front, open_back : array (N,), 0-1
        Share of even light from the whole hemisphere that arrives at that side, with all cloth
        and the body taken as black.
    body_front, body_back : array (N,), 0-1
        Share of the hemisphere in which the body, not cloth, is met first. What is left,
        ``1 - open - body``, is cloth.
    to_hem_mm, to_seam_mm, to_selvedge_mm : array (N,), mm
        Distance along the cloth to the nearest finished edge, seam line, selvedge; inf where
        there is none. Cloth is doubled within ``hem_mm`` of a hem and ``seam_mm`` of a seam line.
    hem_mm, seam_mm : float
        Depth of the hem; how far the allowance reaches to either side of a seam line.
    grids : tuple of Grid
    inner : tuple of str
        Shapes that fit inside this one.
    body : str
        The body it was hung on, or "" for none.
    about : mapping
        Provenance: parameters, seed, measures of the result.
    """

    name: str
    form: str
    cloth_kind: str
    role: str
    fullness: float
    vertices: NDArray[np.float32]
    quads: NDArray[np.int32]
    normals: NDArray[np.float32]
    cloth_mm: NDArray[np.float32]
    open_front: NDArray[np.float32]
    open_back: NDArray[np.float32]
    body_front: NDArray[np.float32]
    body_back: NDArray[np.float32]
    to_hem_mm: NDArray[np.float32]
    to_seam_mm: NDArray[np.float32]
    to_selvedge_mm: NDArray[np.float32]
    hem_mm: float
    seam_mm: float
    grids: tuple[Grid, ...]
    inner: tuple[str, ...]
    body: str
    about: Mapping[str, Any]

    def __post_init__(self) -> None:
        n = len(self.vertices)
        if self.vertices.shape != (n, 3) or not np.isfinite(self.vertices).all():
            raise InputError("a shape's vertices are finite numbers, three each", field="vertices")
        if self.quads.ndim != 2 or self.quads.shape[1] != 4:
            raise InputError("a shape's quads have four corners", field="quads")
        if self.quads.size and not 0 <= int(self.quads.min()) <= int(self.quads.max()) < n:
            raise InputError(f"a quad's corners are vertices 0 to {n - 1}", field="quads")
        for name, width in (
            ("normals", 3), ("cloth_mm", 2), ("open_front", 0), ("open_back", 0),
            ("body_front", 0), ("body_back", 0), ("to_hem_mm", 0), ("to_seam_mm", 0),
            ("to_selvedge_mm", 0),
        ):  # fmt: skip
            if getattr(self, name).shape != ((n, width) if width else (n,)):
                raise InputError(f"one value for each of the {n} vertices is wanted", field=name)
        for name in ("open_front", "open_back", "body_front", "body_back"):
            values = getattr(self, name)
            if n and not 0.0 <= float(values.min()) <= float(values.max()) <= 1.0:
                raise InputError("a share is 0 to 1", field=name)
        for value in fields(self):
            if isinstance(held := getattr(self, value.name), np.ndarray):
                held.setflags(write=False)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Shape) and _same(self, other)

    def __hash__(self) -> int:
        return hash((self.name, self.vertices.tobytes()))

    @property
    def band(self) -> NDArray[np.bool_]:
        """Vertices of a band, shape (N,)."""
        mask = np.zeros(len(self.vertices), bool)
        for grid in self.grids:
            if grid.part == "band":
                mask[grid.start : grid.start + grid.rows * grid.columns] = True
        return mask

    @property
    def triangles(self) -> NDArray[np.int32]:
        """The quads' triangles, shape (2 M, 3)."""
        return np.concatenate([self.quads[:, [0, 1, 2]], self.quads[:, [0, 2, 3]]])


@dataclass(frozen=True, eq=False)
class Form:
    """A body that cloth hangs on: opaque, closed.

    ``vertices`` (N, 3) mm; ``triangles`` (M, 3), counter-clockwise seen from outside; ``normals``
    (N, 3); ``open`` (N,) 0-1, the share of even light that arrives with the body alone.
    """

    name: str
    vertices: NDArray[np.float32]
    triangles: NDArray[np.int32]
    normals: NDArray[np.float32]
    open: NDArray[np.float32]
    about: Mapping[str, Any]

    def __post_init__(self) -> None:
        n = len(self.vertices)
        if self.vertices.shape != (n, 3) or not np.isfinite(self.vertices).all():
            raise InputError("a body's vertices are finite numbers, three each", field="vertices")
        if self.triangles.ndim != 2 or self.triangles.shape[1] != 3:
            raise InputError("a body's triangles have three corners", field="triangles")
        if self.normals.shape != (n, 3) or self.open.shape != (n,):
            raise InputError(f"one normal and openness for each of the {n} vertices is wanted")
        for value in fields(self):
            if isinstance(held := getattr(self, value.name), np.ndarray):
                held.setflags(write=False)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Form) and _same(self, other)

    def __hash__(self) -> int:
        return hash((self.name, self.vertices.tobytes()))


def _same(one: Shape | Form, other: Shape | Form) -> bool:
    for value in fields(one):
        a, b = getattr(one, value.name), getattr(other, value.name)
        if not (np.array_equal(a, b) if isinstance(a, np.ndarray) else a == b):
            return False
    return True


@lru_cache(maxsize=8)
def _names(ending: str) -> tuple[str, ...]:
    folder = files("weavecolor").joinpath(*_FOLDER)
    if not folder.is_dir():
        return ()
    return tuple(
        sorted(p.name.removesuffix(ending) for p in folder.iterdir() if p.name.endswith(ending))
    )


def shape_names() -> tuple[str, ...]:
    """Names of the outer shapes that can be loaded, sorted.

    Examples
    --------
    >>> "gathered-3-organza" in shape_names()
    True
    """
    return tuple(n for n in _names(".shape") if not n.startswith("inner-"))


def inner_names() -> tuple[str, ...]:
    """Names of the inner shapes (slip, lining, stiffener) that can be loaded, sorted.

    Examples
    --------
    >>> "inner-slip" in inner_names()
    True
    """
    return tuple(n for n in _names(".shape") if n.startswith("inner-"))


def form_names() -> tuple[str, ...]:
    """Names of the bodies that can be loaded, sorted.

    Examples
    --------
    >>> form_names()
    ('figure', 'hand', 'stand')
    """
    return _names(".body")


@lru_cache(maxsize=8)
def load_shape(name: str) -> Shape:
    """The shape of that name.

    Raises InputError for an unknown name or a damaged file.

    Examples
    --------
    >>> skirt = load_shape("gathered-3-organza")
    >>> skirt.form, skirt.fullness, skirt.quads.shape[1]
    ('gathered skirt', 3.0, 4)
    """
    return read_shape(_content(name, ".shape", shape_names() + inner_names()), file=name)


@lru_cache(maxsize=64)
def shape_heading(name: str) -> tuple[str, str, float]:
    """A shape's form, kind of cloth and fullness, without reading its places.

    Raises InputError as :func:`load_shape`.

    Examples
    --------
    >>> shape_heading("gathered-3-organza")
    ('gathered skirt', 'organza', 3.0)
    """
    data = _content(name, ".shape", shape_names() + inner_names())
    header = _header(data, InputError("not a whole file of a hung shape", file=name))[0]
    return header["form"], header["cloth_kind"], float(header["fullness"])


@lru_cache(maxsize=64)
def shape_wears(name: str) -> tuple[str, tuple[str, ...]]:
    """The body that a shape was hung on, "" for none, and the inner shapes that fit within it,
    without reading its places.

    Raises InputError as :func:`load_shape`.

    Examples
    --------
    >>> shape_wears("gathered-3-chiffon")
    ('figure', ('inner-slip', 'inner-lining'))
    """
    data = _content(name, ".shape", shape_names() + inner_names())
    header = _header(data, InputError("not a whole file of a hung shape", file=name))[0]
    return header["body"], tuple(header["inner"])


@lru_cache(maxsize=4)
def load_form(name: str) -> Form:
    """The body of that name. Raises InputError for an unknown name or a damaged file.

    Examples
    --------
    >>> load_form("hand").vertices.shape[1]
    3
    """
    return read_form(_content(name, ".body", form_names()), file=name)


def load_openness(name: str, body: str, worn: str) -> NDArray[np.float32] | None:
    """How open to the room the vertices of a body, of what it wears and of the floor are under a
    shape, (n, 4): shares of the hemisphere that is free, beyond one layer of cloth, beyond more,
    and that a body takes; None where it was not measured beforehand.

    Parameters
    ----------
    name : str
        Of the shape.
    body, worn : str
        Of the body and of the inner shape that it wears; "" for none.

    Examples
    --------
    >>> load_openness("panel-organza", "", "").shape
    (2025, 4)
    """
    file = files("weavecolor").joinpath(*_FOLDER, f"{name}.open.npz")
    if not file.is_file():
        return None
    with file.open("rb") as held, np.load(held, allow_pickle=False) as every:
        if (key := f"{body}+{worn}") not in every:
            return None
        shares = every[key].astype(np.float32) / np.float32(255.0)
    rest = np.maximum(1.0 - shares.sum(axis=1, keepdims=True), 0.0)
    return np.concatenate([shares, rest], axis=1)


def _content(name: str, ending: str, known: tuple[str, ...]) -> bytes:
    key = str(name)
    if key not in known:
        raise InputError(f"no shape called {shown(name)}; use {', '.join(known)}", field="shape")
    return files("weavecolor").joinpath(*_FOLDER, key + ending).read_bytes()


def _header(data: bytes, damaged: InputError) -> tuple[dict[str, Any], int]:
    """The header of a file, and where its arrays begin."""
    if data[:8] != MAGIC or len(data) < 12:
        raise damaged
    end = 12 + int.from_bytes(data[8:12], "little")
    try:
        return json.loads(data[12:end]), end
    except ValueError as error:
        raise damaged from error


def _unpack(data: bytes, file: str) -> tuple[dict[str, Any], dict[str, NDArray[Any]]]:
    """Header and raw arrays of a file."""
    damaged = InputError("not a whole file of a hung shape", file=file)
    header, end = _header(data, damaged)
    try:
        wanted = header["arrays"]
        sizes = [int(np.prod(a["shape"])) * a["bytes"] for a in wanted]
        run = zlib.decompressobj().decompress(data[end:], sum(sizes) + 1)
    except (ValueError, KeyError, TypeError, zlib.error) as error:
        raise damaged from error
    if len(run) != sum(sizes):
        raise damaged
    arrays, at = {}, 0
    for array, size in zip(wanted, sizes, strict=True):
        arrays[array["name"]] = _values(array, run[at : at + size])
        at += size
    return header, arrays


def _values(array: Mapping[str, Any], run: bytes) -> NDArray[Any]:
    count, parts = array["shape"][0], int(np.prod(array["shape"][1:]))
    planes = np.frombuffer(run, np.uint8).reshape(parts, array["bytes"], count).astype(np.uint32)
    shifts = (8 * np.arange(array["bytes"], dtype=np.uint32))[None, :, None]
    folded = (planes << shifts).sum(axis=1, dtype=np.uint32)
    step = np.where(folded & 1, ~(folded >> 1), folded >> 1)
    out = np.empty((parts, count), np.uint32)
    for start, rows, columns in array["grids"]:
        part = step[:, start : start + rows * columns].reshape(parts, rows, columns)
        whole = np.cumsum(np.cumsum(part, axis=1, dtype=np.uint32), axis=2, dtype=np.uint32)
        out[:, start : start + rows * columns] = whole.reshape(parts, -1)
    if array["bytes"] < 4:
        out &= np.uint32((1 << (8 * array["bytes"])) - 1)
    return out.T.reshape(array["shape"])


def _real(header: Mapping[str, Any], arrays: Mapping[str, NDArray[Any]], name: str) -> NDArray[Any]:
    array = next(a for a in header["arrays"] if a["name"] == name)
    raw = arrays[name]
    value = np.asarray(array["origin"]) + np.asarray(array["step"]) * raw
    if array.get("none_is_last"):
        value[raw == (1 << (8 * array["bytes"])) - 1] = np.inf
    return np.asarray(value, np.float32)


def _grid_quads(grid: Grid) -> NDArray[np.int32]:
    row, column = np.mgrid[0 : grid.rows - 1, 0 : grid.columns - 1]
    first = (grid.start + row * grid.columns + column).astype(np.int32).ravel()
    below = first + np.int32(grid.columns)
    return np.stack([first, below, below + 1, first + 1], axis=1)


def _unit(vectors: NDArray[Any]) -> NDArray[np.float32]:
    length = np.sqrt((vectors**2).sum(axis=1, keepdims=True))
    return np.asarray(vectors / np.maximum(length, 1e-12), np.float32)


def _normals(
    vertices: NDArray[Any], faces: NDArray[Any], same: NDArray[Any]
) -> NDArray[np.float32]:
    """Unit normals by the areas of the faces about each vertex; ``same`` numbers its place."""
    a, b, c = (vertices[faces[:, k]].astype(float) for k in range(3))
    across = np.cross(b - a, c - a)
    total = np.zeros((int(same.max()) + 1, 3))
    for corner in range(3):
        for axis in range(3):
            total[:, axis] += np.bincount(
                same[faces[:, corner]], across[:, axis], minlength=len(total)
            )
    return _unit(total[same])


def read_shape(data: bytes, *, file: str = "shape") -> Shape:
    """A shape from a file's bytes. Raises InputError if the file is damaged.

    Examples
    --------
    >>> data = _content("panel-organza", ".shape", shape_names())
    >>> read_shape(data) == load_shape("panel-organza")
    True
    """
    header, arrays = _unpack(data, file)
    try:
        vertices = _real(header, arrays, "position")
        grids = tuple(Grid(**grid) for grid in header["grids"])
        quads = np.concatenate([_grid_quads(grid) for grid in grids])
        faces = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
        raw = arrays["position"].astype(np.uint64)
        place = (raw[:, 0] << np.uint64(32)) | (raw[:, 1] << np.uint64(16)) | raw[:, 2]
        same = np.unique(place, return_inverse=True)[1].ravel()
        kept = {
            name: _real(header, arrays, name)
            for name in (
                "cloth_mm", "open_front", "open_back", "body_front", "body_back",
                "to_hem_mm", "to_seam_mm", "to_selvedge_mm",
            )
        }  # fmt: skip
        return Shape(
            name=header["name"], form=header["form"], cloth_kind=header["cloth_kind"],
            role=header["role"], fullness=float(header["fullness"]), vertices=vertices,
            quads=quads, normals=_normals(vertices, faces, same), hem_mm=float(header["hem_mm"]),
            seam_mm=float(header["seam_mm"]), grids=grids, inner=tuple(header["inner"]),
            body=header["body"], about=MappingProxyType(header["about"]), **kept,
        )  # fmt: skip
    except (KeyError, TypeError, IndexError, StopIteration) as error:
        raise InputError("the header lacks something of a hung shape", file=file) from error


def read_form(data: bytes, *, file: str = "body") -> Form:
    """A body from a file's bytes. Raises InputError if the file is damaged.

    Examples
    --------
    >>> read_form(_content("hand", ".body", form_names())) == load_form("hand")
    True
    """
    header, arrays = _unpack(data, file)
    try:
        vertices = _real(header, arrays, "position")
        triangles = arrays["triangles"].astype(np.int32)
        normals = _normals(vertices, triangles, np.arange(len(vertices)))
        return Form(
            header["name"], vertices, triangles, normals, _real(header, arrays, "open"),
            MappingProxyType(header["about"]),
        )  # fmt: skip
    except (KeyError, TypeError, IndexError, StopIteration) as error:
        raise InputError("the header lacks something of a body", file=file) from error
