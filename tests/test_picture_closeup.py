"""Close-ups: the mean is the computed colour, moire has its true period, nothing is aliased."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from weavecolor.colour.colorimetry import ciede2000, lab_from_xyz
from weavecolor.colour.screen import decoded, space
from weavecolor.errors import InputError
from weavecolor.files.clothfile import load_swatch
from weavecolor.optics.appearance import appearance
from weavecolor.optics.cell import filaments, paths
from weavecolor.optics.cell.filaments import FilamentCell
from weavecolor.optics.cell.openness import openness
from weavecolor.optics.cell.tubes import tubes
from weavecolor.optics.layer import strand, woven
from weavecolor.optics.parted import parted
from weavecolor.optics.stack import Layer, Stack
from weavecolor.picture.celltexture import cell_texture
from weavecolor.picture.closeup import (
    Part,
    _parts,
    closeup_linear,
    draw_closeup,
    placement,
    scale_of,
)
from weavecolor.picture.closeup import _sampled as sampled
from weavecolor.picture.encode import AS_SEEN, Seeing, exposure_for, on_screen
from weavecolor.picture.waves import Ply, wave_picture
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene
from weavecolor.textile.cloth import Cloth
from weavecolor.textile.construction import geometry_of
from weavecolor.textile.weaves import weave

WINDOW = scene("window at the side")


def laid(*names: str, behind: str | None = "white", turn: float = 0.0, face: str = "face") -> Stack:
    layers = tuple(Layer(load_swatch(n), k * turn, face) for k, n in enumerate(names))
    return Stack(layers, None if behind is None else backing(behind))


def cell_of(cloth: Cloth) -> FilamentCell:
    return woven(geometry_of(cloth), strand(cloth.warp), strand(cloth.weft))


def lab(linear: np.ndarray) -> np.ndarray:
    screen = space("sRGB")
    return lab_from_xyz(100.0 * screen.to_xyz @ np.asarray(linear, float), screen.white)


STACKS = {
    "organza on white": (laid("shot-organza-red-black"), "window at the side", 0.01),
    "organza on skin": (laid("shot-organza-teal-copper", behind="skin medium"), "ballroom", 0.01),
    "two sheers at 5": (
        laid("shot-organza-red-black", "shot-organza-teal-copper", turn=5.0),
        "workroom",
        0.012,
    ),
    "two sheers from afar": (laid("silk-chiffon-ivory", "silk-chiffon-ivory", turn=3.0),
                             "overcast", 0.2),
    "back of a twill": (laid("shot-twill-lining", behind="black", face="back"), "footlights", 0.01),
    "hopsack": (laid("hopsack-linen", behind="calico"), "overcast", 0.02),
    "gauze before light": (laid("stage-gauze-black", behind=None), "lightbox behind", 0.05),
    "dupion by flash": (laid("shot-dupion-blue-gold", behind="black"), "flash on camera", 0.01),
}  # fmt: skip


@pytest.mark.parametrize("name", STACKS)
def test_ways_of_the_eye_together_are_what_it_sees(name: str) -> None:
    """And so is the mean over the repeats, that of layers laid at random on one another: the sum
    over layers of what each sends through the openings before it."""
    stack, place, _ = STACKS[name]
    lit = scene(place)
    whole = appearance(stack, lit).radiance
    layers, straight = parted(stack, lit)
    ways = [way for one in layers for way in (one.back, one.on, *one.lights)]
    assert np.min([straight, *ways]) >= 0.0
    np.testing.assert_allclose(np.sum([straight, *ways], axis=0), whole, rtol=1e-12)
    parts, behind = _parts(stack, lit, AS_SEEN, "2", 24.0)
    mean, clear = np.zeros(3), np.ones(3)
    for part in parts:
        mean += clear * part.rgb.mean(axis=(0, 1), dtype=float)
        clear *= (part.open[..., None] * part.cast).mean(axis=(0, 1), dtype=float)
    np.testing.assert_allclose(mean + clear * behind, on_screen(whole, lit, AS_SEEN), rtol=1e-5)


def test_a_mirrored_eye_looks_at_the_mirrored_place() -> None:
    """Rays are followed for one of all directions that the cell's mirrors make alike; each still
    looks at what it would meet: opaque warp and weft first where traced rays first meet them."""
    cloth = load_swatch("shot-twill-lining")
    cell = cell_of(replace(cloth, weave=weave("twill 2/2")))
    cell = replace(
        cell, warp=replace(cell.warp, opaque=True), weft=replace(cell.weft, opaque=True)
    )
    tried = set()
    for view in ((0.3, 0.1, 0.9), (-0.3, 0.1, 0.9), (0.1, 0.3, -0.9), (-0.3, -0.1, -0.9)):
        aim = np.array(view) / np.linalg.norm(view)
        vector = tuple(round(float(a), 9) for a in aim)
        place, _, signs = filaments.placed(cell, vector, 600, 0.0)
        rays = filaments.beam(cell, vector, 600)
        tried.add(signs)
        ready = filaments.prepared(cell)
        start = place + aim[:2] * (ready.top / abs(aim[2]))
        own = np.column_stack([start, np.tile(-aim, (600, 1))])
        free = filaments.straight(cell, own)
        met = np.zeros(600, bool)
        met[rays.start] = True
        assert (met == ~free).mean() > 0.995
        first = filaments.at_most_one(ready, own, paths.MET)
        system = dict(zip(first[:, 0].astype(int), first[:, 11], strict=True))
        once = rays.met == 1
        warp = rays.column[once] // filaments.LEVELS == 1
        assert np.mean([
            (system[k] == 0.0) == one for k, one in zip(rays.start[once], warp, strict=True)
        ]) > 0.995  # fmt: skip
    assert len(tried) > 1


def test_one_layer_laid_twice_is_two_layers_alike() -> None:
    """Whether they are the same object or not."""
    one, other = (Layer(load_swatch("shot-organza-red-black")) for _ in range(2))
    first, second = (
        closeup_linear(Stack((one, under), None), WINDOW, 48, 48, 0.02)[0] for under in (one, other)
    )
    np.testing.assert_array_equal(first, second)


@pytest.mark.parametrize("name", STACKS)
def test_mean_is_the_computed_colour(name: str) -> None:
    """Within CIEDE2000 0.5, in linear light and once more from the 8-bit picture."""
    stack, place, scale = STACKS[name]
    lit = scene(place)
    want = on_screen(appearance(stack, lit).radiance, lit, AS_SEEN)
    linear, _ = closeup_linear(stack, lit, 160, 140, scale)
    assert ciede2000(lab(linear.mean(axis=(0, 1), dtype=float)), lab(want)) < 0.05
    image = draw_closeup(stack, lit, 160, 140, scale)
    if image.info["out_of_range"] < 0.02:
        seen = decoded(np.asarray(image) / 255.0).mean(axis=(0, 1))
        assert ciede2000(lab(seen), lab(want * exposure_for(lit, AS_SEEN))) < 0.5


def test_enough_pictures_keep_the_mean_on_screen() -> None:
    """The check above on 8-bit pictures is not skipped for most stacks."""
    kept = [
        draw_closeup(stack, scene(place), 64, 64, scale).info["out_of_range"] < 0.02
        for stack, place, scale in STACKS.values()
    ]
    assert sum(kept) >= 4  # of clear rods the bright line often lies beyond the screen


def peak_period(picture: np.ndarray, scale: float, longest: float, shortest: float) -> float:
    """Period in mm of the strongest wave between two periods, by a windowed Fourier transform."""
    level = picture.mean(axis=-1) if picture.ndim == 3 else picture
    level = level - level.mean()
    window = np.outer(np.hanning(level.shape[0]), np.hanning(level.shape[1]))
    n = 4096  # padding refines where the peak is read
    power = np.abs(np.fft.rfft2(level * window, (n, n)))
    fy, fx = np.fft.fftfreq(n, scale)[:, None], np.fft.rfftfreq(n, scale)[None, :]
    frequency = np.hypot(fy, fx)
    inside = (frequency > 1.0 / longest) & (frequency < 1.0 / shortest)
    best = np.argmax(np.where(inside, power, 0.0))
    return float(1.0 / frequency.ravel()[best])


@pytest.mark.parametrize(
    ("spacing", "angle", "scale"),
    # 7.162 mm at 2 and 2.866 mm at 5 degrees of 0.25 mm; 7.640 mm at 3 degrees of 0.40 mm
    # (computed from p / (2 sin(a/2)); I. Amidror, The Theory of the Moire Phenomenon, from memory)
    [(0.25, 2.0, 0.06), (0.25, 5.0, 0.05), (0.40, 3.0, 0.08), (0.25, 5.0, 0.3), (0.25, 2.0, 0.6)],
)
def test_moire_period(spacing: float, angle: float, scale: float) -> None:
    """Close by (sampled) and from afar (summed from waves, single yarns smaller than a pixel)."""
    cloth = replace(
        load_swatch("shot-organza-red-black"), ends_per_cm=10 / spacing, picks_per_cm=10 / spacing
    )
    stack = Stack((Layer(cloth), Layer(cloth, angle)), backing("white"))
    want = spacing / (2.0 * np.sin(np.radians(angle) / 2.0))
    side = int(6 * want / scale) if scale < 0.1 else int(10 * want / scale)
    linear, _ = closeup_linear(stack, WINDOW, side, side, scale)
    found = peak_period(linear, scale, 2.2 * want, max(0.4 * want, 2.2 * scale))
    assert found == pytest.approx(want, rel=0.02)
    contrast = linear.mean(axis=-1).std() / linear.mean()
    assert contrast > 0.01  # it is really there


def test_no_false_pattern_from_one_layer() -> None:
    """0.25 mm yarns on 0.2 mm pixels: plain point sampling would show a 1 mm pattern. What is left
    is the weave's own: its repeat of two yarns each way lies aslant 0.35 mm apart."""
    cloth = replace(load_swatch("shot-organza-red-black"), ends_per_cm=40.0, picks_per_cm=40.0)
    stack = Stack((Layer(cloth, 7.0),), backing("white"))
    linear, _ = closeup_linear(stack, WINDOW, 200, 200, 0.2)
    waves = np.abs(np.fft.rfft2((linear / linear.mean(axis=(0, 1)) - 1.0).mean(axis=-1)))
    period = 1.0 / np.maximum(
        np.hypot(np.fft.fftfreq(200, 0.2)[:, None], np.fft.rfftfreq(200, 0.2)[None]), 1e-9
    )
    assert 2.0 * waves[period > 0.45].max() / 200**2 < 0.0005
    assert linear.std(axis=(0, 1)).max() < 0.01 * linear.mean()
    fine, _ = closeup_linear(stack, WINDOW, 200, 200, 0.02)
    assert fine.std(axis=(0, 1)).max() > 0.1 * fine.mean()  # there is a weave to alias


def soft_layers() -> list[Part]:
    """Two made-up layers whose openness and colour are plain waves, turned and offset."""
    down, across = np.meshgrid(
        (np.arange(96) + 0.5) / 96, (np.arange(128) + 0.5) / 128, indexing="ij"
    )
    parts = []
    for turn, flip in ((0.0, False), (0.21, True)):
        open_ = (
            0.5 + 0.3 * np.cos(2 * np.pi * across) + 0.2 * np.sin(2 * np.pi * (across + 2 * down))
        )
        rgb = (1 - open_)[..., None] * np.array([0.9, 0.4, 0.1])
        parts.append(
            Part(rgb.astype(np.float32), open_.astype(np.float32), np.ones_like(rgb, np.float32),
                 (0.5, 0.4), placement(turn, flip), (0.2, 0.3))
        )  # fmt: skip
    return parts


def test_waves_and_samples_agree() -> None:
    """Two ways to one picture, where pixels are fine enough for both: the same to the texel."""
    parts, behind = soft_layers(), np.array([0.2, 0.5, 0.9])
    direct = sampled(parts, behind, 300, 200, 0.008, 2)
    plies = [Ply(p.rgb, p.open, p.size, p.place, p.offset) for p in parts]
    waves = wave_picture(plies, behind, 300, 200, 0.008)
    assert direct.std() > 0.08
    assert np.abs(direct - waves).max() < 0.03
    assert np.sqrt(((direct - waves) ** 2).mean()) < 0.008


def test_texture_has_the_openness_of_the_cell() -> None:
    """That of parallel light; an eye as wide as its aperture sees as much of it, nearly."""
    cloth = load_swatch("shot-organza-red-black")
    cell, n = cell_of(cloth), 100
    made = cell_texture(cell, (0.0, 0.0, 1.0), (), (), n, 0.0)
    want = openness(tubes(geometry_of(cloth)), np.array([0.0, 0.0, 1.0]))
    assert float(made.open.mean()) == pytest.approx(want, rel=0.01)
    assert ((made.open < 0.05) | (made.open > 0.95)).mean() > 0.8  # rods hide or do not
    picks, ends = np.shape(cloth.weave.lift)
    assert made.size == pytest.approx(
        (ends * 10 / cloth.ends_per_cm, picks * 10 / cloth.picks_per_cm)
    )


@pytest.mark.parametrize("name", ["shot-organza-red-black", "silk-chiffon-ivory"])
def test_no_light_of_a_clear_cell_is_lost(name: str) -> None:
    """Paths followed back from the eye end before the cloth or behind it, all of them; and what a
    lamp sends through and back is what it sends."""
    cell = cell_of(load_swatch(name))
    lamp = (0.5, 0.0, float(np.sqrt(0.75)))
    made = cell_texture(cell, (0.0, 0.0, 1.0), (lamp,), (lamp,), 24, 0.05)
    size = made.open.size
    ended = sum(float(x.weight.sum()) for x in (made.back, made.on)) / size
    assert ended + float(made.open.mean()) == pytest.approx(1.0, abs=2e-3)
    assert 0.5 < float(made.cast[0].weight.sum()) / size < 1.0


def test_lift_plan_shows() -> None:
    """At the crossing of end i and pick j the warp is met first just where the plan says so; in
    opaque yarn, whose lengths count meetings."""
    cloth = load_swatch("shot-twill-lining")
    cell = cell_of(cloth)
    hard = replace(
        cell, warp=replace(cell.warp, opaque=True), weft=replace(cell.weft, opaque=True)
    )
    n = 16
    made = cell_texture(hard, (0.0, 0.0, 1.0), (), (), n, 0.0)
    n = made.open.shape[0] // made.crossings[1]
    warp_met = np.where(np.arange(44 * 44) // 44 > 0, 1.0, 0.0)[:, None] * np.ones(3)
    weft_met = np.where(np.arange(44 * 44) % 44 > 0, 1.0, 0.0)[:, None] * np.ones(3)
    warp, weft = (made.back.painted(t, made.open.shape)[..., 0] for t in (warp_met, weft_met))
    plan = np.array(cloth.weave.lift)
    for pick, end in np.ndindex(plan.shape):
        own = tuple(slice(k * n + n // 3, k * n + n - n // 3) for k in (pick, end))
        assert (warp[own].mean() > weft[own].mean()) == bool(plan[pick, end])


def test_grain_runs_down_the_picture() -> None:
    """Straight grain: the red warp runs down, so columns differ in red more than rows do, though
    the black weft takes red from its rows as well."""
    spread = {}
    for grain in (0.0, 90.0):
        stack = Stack((Layer(load_swatch("shot-organza-red-black"), grain),), backing("white"))
        linear, _ = closeup_linear(stack, WINDOW, 128, 128, 0.005)
        red = linear[..., 0] - linear[..., 1]
        spread[grain] = red.mean(axis=0).std() / red.mean(axis=1).std()
    assert spread[0.0] > 1.3
    assert spread[90.0] < 1 / 1.3


def test_scale_is_true() -> None:
    """0.25 mm between ends at 0.01 mm a pixel: 25 pixels."""
    cloth = replace(load_swatch("shot-organza-red-black"), ends_per_cm=40.0, picks_per_cm=25.0)
    stack = Stack((Layer(cloth),), backing("white"))
    linear, scale = closeup_linear(stack, WINDOW, 400, 300, pixels_per_mm=100.0)
    assert scale == pytest.approx(0.01)
    line = linear[..., 1].mean(axis=0)  # the red warp is dark in green light
    power = np.abs(np.fft.rfft(line - line.mean()))
    assert 400 / (np.argmax(power[1:]) + 1) == pytest.approx(25.0, rel=0.01)
    # unasked, 26 of the finest layer's yarns, be it innermost: on the page as from the command line
    coarse = Layer(replace(cloth, ends_per_cm=10.0, picks_per_cm=10.0))
    usual = scale_of(Stack((coarse, *stack.layers)), 400, None, None)
    assert 400 * usual == pytest.approx(26 * 10.0 / np.sqrt(40.0 * 25.0))


def test_unadapted_and_wide_screens() -> None:
    stack = laid("shot-organza-red-black")
    ball = scene("ballroom")
    plain, _ = closeup_linear(stack, ball, 64, 64, 0.02)
    warm, _ = closeup_linear(stack, ball, 64, 64, 0.02, seeing=Seeing(adapt=False))
    # Of the means: a deep red point may lie outside the screen, its blue at or below nothing.
    (red, blue), (red_0, blue_0) = ((x[..., 0].mean(), x[..., 2].mean()) for x in (warm, plain))
    ratio = (red / blue) / (red_0 / blue_0)
    assert ratio > 1.5  # tungsten light is orange to a daylight eye
    wide = draw_closeup(stack, ball, 64, 64, 0.02, seeing=Seeing("Display P3"))
    assert wide.info["icc_profile"] != draw_closeup(stack, ball, 64, 64, 0.02).info["icc_profile"]


@pytest.mark.parametrize(
    "wrong",
    [
        {"mm_per_px": 0.0}, {"mm_per_px": 9.0}, {"pixels_per_mm": -1.0}, {"width_px": 4},
        {"mm_per_px": 0.1, "pixels_per_mm": 10.0}, {"width_px": 10**5, "height_px": 10**5},
    ],
)  # fmt: skip
def test_refusals(wrong: dict) -> None:
    with pytest.raises(InputError):
        draw_closeup(laid("muslin-white"), WINDOW, **{"width_px": 64, "height_px": 64, **wrong})
    with pytest.raises(InputError):
        draw_closeup(Stack((), None), WINDOW, 64, 64)
