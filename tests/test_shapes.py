"""The hung shapes that are shipped: read whole, sound, and hung as such cloth hangs."""

from __future__ import annotations

import numpy as np
import pytest

from weavecolor.errors import InputError
from weavecolor.picture.shapes import (
    form_names,
    inner_names,
    load_form,
    load_shape,
    read_shape,
    shape_bytes,
    shape_names,
)

EVERY = shape_names() + inner_names()


@pytest.mark.parametrize("name", EVERY)
def test_a_shape_is_small_whole_and_sound(name):
    assert len(shape_bytes(name)) < 300_000
    shape = load_shape(name)
    assert shape.name == name
    assert np.allclose(np.linalg.norm(shape.normals, axis=1), 1.0, atol=1e-3)
    assert (shape.open_front + shape.body_front <= 1.0 + 1 / 255).all()
    assert (shape.open_back + shape.body_back <= 1.0 + 1 / 255).all()
    # threads do not stretch: an edge along weft or warp is as long as on the cloth, but for the
    # gathers, where a chord cuts off what a thread goes round
    for grid in shape.grids:
        if grid.part != "cloth":
            continue
        n = grid.start + np.arange(grid.rows * grid.columns).reshape(grid.rows, grid.columns)
        n = n[grid.rows // 3 :]
        for a, b in ((n[1:], n[:-1]), (n[:, 1:], n[:, :-1])):
            cut = np.linalg.norm(shape.cloth_mm[a] - shape.cloth_mm[b], axis=-1)
            hung = np.linalg.norm(shape.vertices[a] - shape.vertices[b], axis=-1)
            assert abs(np.median(hung / cut) - 1.0) < 0.03


@pytest.mark.parametrize("name", form_names())
def test_a_body_is_closed_and_faces_outwards(name):
    form = load_form(name)
    t = form.triangles
    edges = np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]]])
    # every edge is run once each way
    assert set(map(tuple, edges.tolist())) == set(map(tuple, edges[:, ::-1].tolist()))
    a, b, c = (form.vertices[t[:, k]].astype(float) for k in range(3))
    assert np.einsum("ij,ij->i", a, np.cross(b, c)).sum() > 0


def test_unknown_and_damaged_shapes_are_told_in_one_line():
    with pytest.raises(InputError, match="no shape called 'cloak of mist'; use"):
        load_shape("cloak of mist")
    data = shape_bytes(EVERY[0])
    for bad in (b"", data[:200], data[:-50], b"X" + data[1:], data[:12] + b"\xff" * 90):
        with pytest.raises(InputError, match="whole file"):
            read_shape(bad)
