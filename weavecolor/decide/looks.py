"""One look at a stack: where the light comes from, where the eye is, and how that becomes Lab.

Knows scenes as lists of directions and tristimulus weights, so that many stacks can be judged at
once; knows nothing of cloth.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from weavecolor.colour.colorimetry import adopted_white, lab_from_xyz
from weavecolor.colour.lights import light_spectrum
from weavecolor.colour.spectra import BANDS, Spectrum
from weavecolor.colour.tristimulus import weights
from weavecolor.optics.appearance import CONTRAST_WHITE, Way, in_line
from weavecolor.scene.places import illumination, turned, with_viewer
from weavecolor.scene.scene import Light, Scene

Array = NDArray[np.float64]

#: Turns of the cloth over which the shot effect is judged, degrees: the warp and weft directions
#: and the two bias directions. A plain-woven cloth looks the same again after half a turn.
SHOT_TURNS = (0.0, 45.0, 90.0, 135.0)
#: A cloth held square to the eye hides its shot effect; it is judged at a slant, as cloth in folds
#: is seen. A viewer who already looks slantwise keeps his place.
SHOT_VIEW_DEG = 45.0
NORMAL: Way = (0.0, 0.0)


@dataclass(frozen=True, eq=False)
class ViewingCondition:
    """A scene ready for judging stacks.

    ``view``: (zenith, azimuth) in degrees; ``front``: the same with half the angle; ``behind``: for
    lights behind the cloth, the direction straight opposite; ``in_line``: whether that is where the
    viewer stands.
    ``of_diffuse`` (41, 3), ``of_front`` (F, 41, 3), ``of_behind`` (H, 41, 3): what the radiance
    factors of each band give to XYZ. ``white`` (3,): XYZ that Lab is relative to. ``views``: of
    cloth whose parts lie otherwise, as in folds, looks at these that give its XYZ together; each is
    worth the ``share`` of the usual rays. ``of_around`` (41, 3): as ``of_diffuse``, of what falls
    on folds about it and is sent on by them.
    """

    view: Way
    front: tuple[Way, ...]
    behind: tuple[Way, ...]
    in_line: tuple[bool, ...]
    of_diffuse: Array
    of_front: Array
    of_behind: Array
    white: Array
    views: tuple[ViewingCondition, ...] = ()
    share: float = 1.0
    of_around: Array | None = None

    @property
    def parts(self) -> tuple[ViewingCondition, ...]:
        """What is looked at: its views, or itself."""
        return self.views or (self,)

    def lab(self, XYZ: Array) -> Array:
        """Lab (..., 3) relative to the adopted white."""
        return lab_from_xyz(np.maximum(XYZ, 0.0), self.white)


def look(scene: Scene, observer: str = "2") -> ViewingCondition:
    """The look at a stack that ``appearance.appearance`` takes in ``scene``; ``observer`` "2" or
    "10" degrees."""
    falls = illumination(scene)
    table = weights(observer)
    per_band = table * (100.0 / (falls @ table[:, 1]))
    white = adopted_white(falls, scene.white, observer, True)
    whole = _lit(scene, per_band, white)
    views = (_lit(view, per_band * view.share, white) for view in scene.views)
    return replace(whole, views=tuple(views))


def _lit(scene: Scene, per_band: Array, white: Array) -> ViewingCondition:
    """One look, of which every band of a perfect diffuser gives ``per_band`` (41, 3) to XYZ for
    each unit of light."""
    front, behind = scene.in_front, scene.behind
    view = (scene.view_zenith_deg, scene.view_azimuth_deg)
    opposite = tuple(x.way for x in behind)

    def of(lights: tuple[Light, ...]) -> Array:
        rows = [per_band * x.on_cloth[:, None] for x in lights]
        return np.stack(rows) if rows else np.zeros((0, BANDS, 3))

    return ViewingCondition(
        view,
        tuple(x.way for x in front),
        opposite,
        tuple(in_line(way, view) for way in opposite),
        per_band * scene.diffuse[:, None],
        of(front),
        of(behind),
        white,
        share=scene.share,
        of_around=None if scene.around is None else per_band * scene.around[:, None],
    )


def at_a_slant(scene: Scene) -> Scene:
    """The scene as the shot effect is judged in it: of cloth held flat."""
    scene = replace(scene, views=())
    return scene if scene.view_zenith_deg >= 30.0 else with_viewer(scene, SHOT_VIEW_DEG, 0.0)


def shot_scenes(scene: Scene) -> tuple[Scene, ...]:
    """A cloth that is turned by :data:`SHOT_TURNS` in the same light, looked at at a slant."""
    scene = at_a_slant(scene)
    # Turning the cloth by an angle is turning light and eye the other way.
    return tuple(turned(scene, -angle) for angle in SHOT_TURNS)


def cover_look() -> ViewingCondition:
    """Diffuse daylight seen along the normal: the geometry of the contrast ratio."""
    light = light_spectrum("D65")
    scene = Scene("contrast ratio", (), light, light)
    return look(scene)


#: Grounds of the contrast ratio, as reflectances.
GROUNDS: tuple[Spectrum, Spectrum] = (np.zeros(BANDS), np.full(BANDS, CONTRAST_WHITE))
