"""Close-ups made of all the rays that the optics is: what their textures and edges leave over."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from bidirectional import pile_optics
from test_picture_closeup import WINDOW, cell_of, laid

from weavecolor.files.clothfile import load_swatch
from weavecolor.optics.appearance import appearance
from weavecolor.optics.stack import Layer, Stack
from weavecolor.picture.celltexture import cell_texture
from weavecolor.picture.closeup import _fallen, _left, _parts, _sampled, _texture, scale_of
from weavecolor.picture.encode import AS_SEEN, on_screen
from weavecolor.scene.places import scene

pytestmark = pytest.mark.usefixtures("all_rays")


@pytest.mark.parametrize(
    "name", ["shot-organza-red-black", "silk-chiffon-ivory", "shot-taffeta-green-red"]
)
@pytest.mark.parametrize("face", ["face", "back"])
def test_a_texture_is_what_its_cell_does(name: str, face: str) -> None:
    """What of the eye's light meets nothing, is sent back and let on, by wavelength, over a repeat
    is what the one kernel tells, to 1 in 100: nothing is left to be brought to it."""
    layer = Layer(load_swatch(name), 20.0, face)
    lit = replace(scene("overcast"), view_zenith_deg=30.0, view_azimuth_deg=50.0)
    made = _texture(Stack((layer,), None), 0, lit, 32.0)
    pile = pile_optics(Stack((layer,), None), [(30.0, 50.0)], links=[(0, 0)])
    left = _left(layer)
    assert float(made.open.mean(dtype=float)) == pytest.approx(pile.through[-1], rel=0.01)
    for leaves, table in ((made.back, pile.reflect), (made.on, pile.transmit)):
        np.testing.assert_allclose(
            leaves.lengths(made.open.size) @ left, table[:, -1] @ pile.share, rtol=0.01
        )


@pytest.mark.parametrize(
    ("stack", "most"),
    [
        (laid("shot-organza-red-black"), 0.03),
        (laid("shot-organza-red-black", behind="black"), 0.03),
        (laid("silk-chiffon-ivory"), 0.03),
        (laid("hopsack-linen", behind="calico"), 0.03),
        (laid("shot-organza-red-black", "shot-organza-teal-copper", turn=6.0), 0.03),
        # threads that lie along one another do so here or there
        (laid("shot-organza-red-black", "shot-organza-red-black"), 0.08),
        (laid("shot-organza-red-black", "shot-taffeta-green-red"), 0.08),
    ],
)
def test_what_the_edges_cut_off_is_little(stack: Stack, most: float) -> None:
    """A picture's own mean, before it is brought to the stack's colour, at the usual scale."""
    scale = scale_of(stack, 620, None, None)
    parts, behind = _parts(stack, WINDOW, AS_SEEN, "2", 32.0)
    picture = _sampled(_fallen(parts, 620 * scale, 465 * scale), behind, 620, 465, scale, 2)
    want = on_screen(appearance(stack, WINDOW).radiance, WINDOW, AS_SEEN)
    np.testing.assert_allclose(picture.mean(axis=(0, 1), dtype=float), want, rtol=most)


def test_a_rod_mirrors_the_lamp_in_a_line_and_turns_light_back_at_its_edges() -> None:
    """One straight, clear rod: the bright line lies where the normal halves the angle to the lamp
    (the law of reflection), and reflection grows towards grazing (Fresnel), so the edges show less
    of what is behind."""
    cloth = load_swatch("polyester-organza-blue")
    cell = replace(cell_of(cloth), weft_swing=0.0, warp_swing=0.0)
    lamp = (float(np.sin(0.7)), 0.0, float(np.cos(0.7)))
    made = cell_texture(cell, (0.0, 0.0, 1.0), (lamp,), (), 96, 0.0)
    clear, outside = np.ones((44 * 44, 3)), np.zeros((44 * 44, 3))
    outside[0] = 1.0  # off the surface, no way inside
    n = made.open.shape[1] // made.crossings[0]
    half = 0.5 * cell.warp.width / cell.warp_spacing * n  # texels
    behind, lit = (
        leaves.painted(table, made.open.shape)[: n // 9, :n, 0].mean(axis=0)  # away from the picks
        for leaves, table in ((made.on, clear), (made.lights[0], outside))
    )
    across = (np.arange(n) + 0.5 - 0.5 * n) / half
    inside, edge = np.abs(across) < 0.6, (np.abs(across) > 0.85) & (np.abs(across) < 1.0)
    assert behind[edge].min() < 0.97 * behind[inside].mean()
    centre = float(across @ lit) / lit.sum()
    assert centre == pytest.approx(np.sin(0.35), abs=0.5 / half)
    assert (lit[np.abs(across - centre) > 0.3] < 0.1 * lit.max()).all()
