"""Measuring, at both sides of each limit it promises, and by sums written out beside it."""

from __future__ import annotations

import io
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from PIL import Image, ImageDraw
from test_measure_more import _open_cloth

from weavecolor.colour.colorimetry import ciede2000
from weavecolor.errors import InputError
from weavecolor.measure import fit, fit_report, photograph, sample
from weavecolor.measure import parameters as p
from weavecolor.measure.fibre import dyed_cloth, fibre_report, read_fibre
from weavecolor.measure.fit_surface import smooth
from weavecolor.measure.observations import (
    LAMP_DEG,
    Known,
    colour_of,
    moved_lamp,
    with_lamp,
)
from weavecolor.measure.opening import open_share
from weavecolor.measure.parameters import colour_curve, linear_of
from weavecolor.measure.photograph import read_photograph
from weavecolor.measure.regions import _paper, _Parts
from weavecolor.measure.sample import sample_seen
from weavecolor.measure.swatchpair import measure_one, measure_pair
from weavecolor.measure.tocloth import start_cloth
from weavecolor.optics.dye import rod_depth, wound_colour
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import Backing
from weavecolor.scene.places import scene

# --- pairs ------------------------------------------------------------------------------------

GREY = Backing("grey", np.full(41, 0.3))
PAPER = {"paper": (2, 5, 58, 155)}


def _table(ground: float, swatch, fall: float = 0.0) -> np.ndarray:
    """Paper at the left, ``ground`` with a swatch on it at the right; light that falls down."""
    made = np.full((160, 240, 3), ground)
    made[:, :60] = 0.87
    made[40:120, 110:210] = swatch
    return 0.8 * made * np.exp(-fall * np.linspace(0.0, 1.0, 160))[:, None, None]


def _pair(white, black, **other):
    return measure_pair(
        white, black, paper=(0.87, 0.0),
        marked_white=PAPER | {"swatch over white": (120, 50, 200, 110)},
        marked_black=PAPER | {"swatch over black": (120, 50, 200, 110), "card": (70, 5, 100, 155)},
        **other,
    )  # fmt: skip


def test_more_light_than_falls_is_told_beyond_what_error_makes_of_it():
    """Three in a hundred and two standard uncertainties: told from there on and not before."""
    said, excess = [], []
    for over_white in (0.93, 0.942, 0.945, 0.948, 0.951, 0.96):
        found = _pair(_table(0.87, over_white), _table(0.05, 0.6))
        said.append(any(c.startswith("reflected and passed light add") for c in found.cautions))
        excess.append(float((found.R + found.T - 1.0
                             - 2 * np.hypot(found.R_uncertainty, found.T_uncertainty)).max()))
    assert said == [e > 0.03 for e in excess] and 0 < sum(said) < 6
    assert 0 < excess[sum(e <= 0.03 for e in excess)] - 0.03 < 0.004


@pytest.mark.parametrize("which", ["white", "black"])
@pytest.mark.parametrize(("stripe", "said"), [(0.092, False), (0.104, True)])
@pytest.mark.parametrize("channels", [slice(None), 2])
def test_an_uneven_swatch_is_told(which, stripe, said, channels):
    """Light and dark halves, or blue and yellow ones: the mean of four parts errs by half of how
    far a half is off."""
    uneven = np.full((80, 100, 3), 0.4)
    uneven[:, :50, channels] += stripe
    uneven[:, 50:, channels] -= stripe
    even = {"white": 0.5, "black": 0.3}
    parts = even | {which: uneven}
    found = _pair(_table(0.87, parts["white"]), _table(0.05, parts["black"]))
    told = "the swatch is uneven in the picture: flatten it, or mark an even part"
    assert (told in found.cautions) is said


@pytest.mark.parametrize(("fall", "said"), [(0.25, False), (0.28, True)])
@pytest.mark.parametrize("which", ["white", "black"])
def test_light_that_falls_by_three_tenths_is_told(which, fall, said):
    # of what lies within the first and last hundredth, nine tenths of the paper's height
    falls = {"white": 0.0, "black": 0.0} | {which: fall / 0.9}
    found = _pair(_table(0.87, 0.5, falls["white"]), _table(0.05, 0.3, falls["black"]))
    assert found.light_unevenness == pytest.approx(np.expm1(fall), rel=0.03)
    assert any("it was evened out" in c for c in found.cautions) is said
    assert found.over_white.linear == pytest.approx(0.5, abs=0.01)
    assert found.over_black.linear == pytest.approx(0.3, abs=0.01)


def test_a_swatch_darker_over_white_and_a_light_card_are_refused():
    assert _pair(_table(0.87, 0.298), _table(0.05, 0.3)).T == pytest.approx(0.0, abs=1e-3)
    with pytest.raises(InputError, match="the swatch is darker over white than over black"):
        _pair(_table(0.87, 0.26), _table(0.05, 0.3))
    assert _pair(_table(0.87, 0.6), _table(0.43, 0.5)).card.linear == pytest.approx(0.43, abs=5e-3)
    with pytest.raises(InputError, match="the black card is too light"):
        _pair(_table(0.87, 0.6), _table(0.44, 0.5))


def test_one_sample_is_told_with_the_ground_that_was_marked():
    picture = _table(0.3, 0.6)
    marked = PAPER | {"sample": (120, 50, 200, 110)}
    ground = {"ground": (70, 5, 100, 155)}
    with_ground = measure_one(picture, marked | ground, paper=(0.87, 0.02))
    assert with_ground.colour.linear == pytest.approx(0.6, abs=0.01)
    assert with_ground.ground.linear == pytest.approx(0.3, abs=0.01)
    assert with_ground.paper == 0.87 and with_ground.paper_uncertainty == 0.02
    alone = measure_one(picture, marked, paper=(0.87, 0.02))
    assert alone.ground is None and alone.colour.linear == pytest.approx(0.6, abs=0.01)
    # the paper's own doubt is every colour's
    sure = measure_one(picture, marked, paper=(0.87, 0.0))
    both = np.hypot(sure.colour.uncertainty, 0.02 / 0.87 * 0.6)
    assert alone.colour.uncertainty == pytest.approx(both, rel=1e-3)
    with pytest.raises(InputError, match="^mark: no region called 'swatch'"):
        measure_one(picture, marked | {"swatch": (1, 1, 9, 9)})


# --- bare ground ------------------------------------------------------------------------------


@pytest.mark.parametrize("fall", [0.0, 0.4, -0.4])
def test_bare_ground_is_counted_in_falling_light(fall):
    """A quarter is bare; light that falls from side to side leaves it a quarter."""
    picture = np.full((240, 240, 3), [0.10, 0.14, 0.20])
    picture[:, ::4] = [0.9, 0.85, 0.8]
    light = np.exp(fall * np.linspace(-1.0, 1.0, 240))[None, :, None]
    share, error = open_share((picture * light)[:, 30:210], [0.9, 0.85, 0.8])
    assert share == pytest.approx(0.25, abs=0.005)
    assert error == pytest.approx(0.02, abs=0.005)
    dark = open_share(0.9 - 0.8 * (picture > 0.5), 0.1)[0]
    assert dark == pytest.approx(0.25, abs=1e-9)
    with pytest.raises(InputError, match="the backing looks like the yarn"):
        open_share(np.full((80, 80), 0.3), 0.32)


@pytest.mark.parametrize("ground", [0.2, 0.5, 0.9])
def test_how_far_yarn_must_be_from_its_ground(ground):
    """Off by 0.04 and a tenth of the ground, as lengths of three channels."""
    least = 0.04 + 0.1 * ground * np.sqrt(3.0)
    for share, told in ((0.98, False), (1.02, True)):
        picture = np.full((90, 90, 3), ground)
        picture[:, 1::2] -= share * least / np.sqrt(3.0)  # every other column is yarn
        if told:
            assert open_share(picture, np.full(3, ground))[0] == pytest.approx(0.5, abs=0.02)
        else:
            with pytest.raises(InputError, match="the backing looks like the yarn"):
                open_share(picture, np.full(3, ground))


# --- pictures ---------------------------------------------------------------------------------


def _saved(image: Image.Image, kind: str = "PNG") -> bytes:
    out = io.BytesIO()
    image.save(out, kind)
    return out.getvalue()


def test_deep_pictures_are_burnt_out_at_a_thousandth_from_the_top():
    codes = np.full((100, 100), 30_000, np.uint16)
    codes[:, :10], codes[:, 10:20] = 65_471, 65_468  # 0.999 of 65 535 is 65 469.5
    photo = read_photograph(_saved(Image.fromarray(codes)))
    assert photo.clipped[:, :10].all() and not photo.clipped[:, 10:].any()
    # IEC 61966-2-1
    assert photo.linear[50, 50] == pytest.approx(((30_000 / 65_535 + 0.055) / 1.055) ** 2.4)


@pytest.mark.parametrize(("rows", "share"), [(98, None), (104, "1.0"), (2400, "24.0"), (2504, "")])
def test_how_much_may_be_burnt_out(rows, share):
    image = Image.new("L", (100, 10_000), 60)
    ImageDraw.Draw(image).rectangle((0, 0, 99, 5000), fill=120)
    ImageDraw.Draw(image).rectangle((0, 0, 99, rows - 1), fill=255)
    if share == "":
        with pytest.raises(InputError, match="25 % of the picture is burnt out; shoot it again"):
            read_photograph(_saved(image))
        return
    told = f"{share} % of the picture is burnt out; colours there are not measured"
    assert list(read_photograph(_saved(image)).cautions) == ([told] if share else [])


def test_a_picture_of_one_tone_is_blank():
    for off, blank in ((0, True), (1, True), (4, False)):
        image = Image.new("RGB", (100, 100), (120, 120, 120))
        ImageDraw.Draw(image).rectangle((0, 0, 49, 99), fill=(120 + off, 120 + off, 120 + off))
        if blank:
            with pytest.raises(InputError, match="the picture is blank"):
                read_photograph(_saved(image))
        else:
            assert read_photograph(_saved(image)).cautions == ()
    # equally light, of another colour: no blank
    image = Image.new("RGB", (100, 100), (120, 120, 120))
    ImageDraw.Draw(image).rectangle((0, 0, 49, 99), fill=(120, 120, 160))
    assert read_photograph(_saved(image)).linear.shape == (100, 100, 3)


@pytest.mark.parametrize(
    ("size", "most", "kind", "reduced"),
    [
        ((400, 200), 80_000, "PNG", 1), ((400, 200), 79_999, "PNG", 2),
        ((400, 200), 20_000, "PNG", 2), ((400, 200), 19_999, "PNG", 3),
        # a JPEG unpacks at a half, a quarter or an eighth; the rest is averaged
        ((800, 640), 512_000, "JPEG", 1), ((800, 640), 128_000, "JPEG", 2),
        ((800, 640), 127_999, "JPEG", 4), ((800, 640), 32_000, "JPEG", 4),
        ((800, 640), 31_999, "JPEG", 8), ((800, 640), 8_000, "JPEG", 8),
        ((800, 640), 7_999, "JPEG", 16),
    ],
)  # fmt: skip
def test_a_picture_is_reduced_as_little_as_will_do(size, most, kind, reduced):
    image = Image.new("RGB", size, (90, 120, 60))
    ImageDraw.Draw(image).rectangle((0, 0, size[0] // 2 - 1, size[1]), fill=(200, 180, 160))
    photo = read_photograph(_saved(image, kind), most)
    assert photo.reduced == reduced
    rows, columns = size[1] // reduced, size[0] // reduced
    assert photo.linear.shape == (rows, columns, 3) and photo.clipped.shape == (rows, columns)
    assert any("was read reduced" in c for c in photo.cautions) is (reduced > 1)
    # halves stay halves, and light is light: IEC 61966-2-1 of 200 and 90
    left, right = photo.linear[rows // 2, columns // 8, 0], photo.linear[rows // 2, -2, 0]
    assert left == pytest.approx(0.5776, abs=0.012) and right == pytest.approx(0.1022, abs=0.006)


def test_what_is_burnt_out_in_part_is_so_of_a_reduced_picture():
    image = Image.new("RGB", (300, 300), (90, 120, 60))
    draw = ImageDraw.Draw(image)
    draw.rectangle((0, 150, 299, 299), fill=(40, 40, 40))
    draw.point((100, 100), fill=(254, 0, 0))
    draw.point((200, 100), fill=(253, 253, 253))
    grey = read_photograph(_saved(image.convert("L")))
    assert not grey.clipped.any()
    near = Image.fromarray(np.where(np.eye(300), 254, 253).astype(np.uint8))
    near.paste(90, (0, 0, 300, 150))
    assert read_photograph(_saved(near)).clipped.sum() == 150
    photo = read_photograph(_saved(image), 300 * 300 / 9.0)
    assert photo.reduced == 3 and photo.clipped.sum() == 1 and photo.clipped[33, 33]
    assert read_photograph(_saved(image)).clipped.sum() == 1


@pytest.mark.parametrize(("size", "enough"), [((64, 64), True), ((63, 900), False),
                                              ((900, 63), False)])  # fmt: skip
def test_a_thumbnail_is_refused(size, enough):
    image = Image.new("RGB", size, (90, 120, 60))
    ImageDraw.Draw(image).rectangle((0, 0, size[0] // 2, size[1]), fill=(200, 180, 160))
    if enough:
        assert read_photograph(_saved(image)).linear.shape == (64, 64, 3)
    else:
        with pytest.raises(InputError, match=f"only {size[0]} x {size[1]} pixels; send the orig"):
            read_photograph(_saved(image))


def test_a_file_of_many_bytes_is_refused_before_it_is_read(tmp_path, monkeypatch):
    image = Image.new("RGB", (100, 100), (90, 120, 60))
    ImageDraw.Draw(image).rectangle((0, 0, 50, 99), fill=(200, 180, 160))
    data = _saved(image)
    file = tmp_path / "it.png"
    file.write_bytes(data)
    for most, fits in ((len(data), True), (len(data) - 1, False)):
        monkeypatch.setattr(photograph, "LARGEST_FILE", most)
        for source, name in ((data, "picture"), (file, "it.png")):
            if fits:
                assert read_photograph(source).linear.shape == (100, 100, 3)
            else:
                with pytest.raises(InputError, match=f"^{name}: the file is over 150 MB"):
                    read_photograph(source)
        assert photograph.LARGEST_FILE == most
    with pytest.raises(InputError, match="^mine: "):
        read_photograph(b"none", name="mine")
    for start, says in ((b"II*\0", "kind of TIFF"), (b"MM\0+", "kind of TIFF"),
                        (b"GIF8", "no picture that can be read")):  # fmt: skip
        with pytest.raises(InputError, match=says):
            read_photograph(start + b"\0" * 100)


# --- lamps, known numbers, fibres -------------------------------------------------------------


def test_a_lamp_moves_away_from_the_normal_and_stays_above_the_cloth():
    assert moved_lamp(40.0, 0.0) == 40.0
    assert moved_lamp(40.0, 1.0) == pytest.approx(40.0 + LAMP_DEG)
    assert moved_lamp(40.0, -2.0) == pytest.approx(40.0 - 2 * LAMP_DEG)
    assert moved_lamp(1.0, -2.0) == 0.0 and moved_lamp(84.0, 3.0) == 85.0
    place = scene("window")
    assert with_lamp(place, 0.0) is place
    moved = with_lamp(place, 1.0)
    for one, other in zip(place.lights, moved.lights, strict=True):
        assert other == replace(one, zenith_deg=moved_lamp(one.zenith_deg, 1.0))


@pytest.mark.parametrize(
    ("what", "value", "error", "says"),
    [
        ("open share", 0.0, 0.1, None), ("open share", 1.0, 0.1, None),
        ("open share", 1.01, 0.1, "0 to 1"), ("weight", -0.1, 1.0, "above 0"),
        ("weight", 40.0, 2.0, None), ("warp tex", 1.5, 0.1, None), ("weft tex", 1e3, 0.1, None),
        ("weight", 40.0, 0.0, "uncertainty above 0"), ("weight", np.nan, 1.0, "needs a number"),
        ("weight", 40.0, np.inf, "needs a number"), ("thickness", 0.1, 0.1, "not what a fit"),
    ],
)  # fmt: skip
def test_what_a_fit_may_be_told(what, value, error, says):
    if says is None:
        assert Known(what, value, error).value == value
    else:
        with pytest.raises(InputError, match=says):
            Known(what, value, error)


@pytest.mark.parametrize("through", [0.999, 0.9, 0.8])
def test_a_fibre_s_colour_is_as_sure_as_the_farther_of_both_ends(through):
    """Dye within 1.96 spreads either way; of a pale one more dye is the farther, of a dark less."""
    yarn = start_cloth("mine", 40.0, 36.0, warp_like="silk organza").warp
    found = read_fibre(yarn, np.full(41, through), 0.012)
    assert found.dye.absorption == pytest.approx(rod_depth(through) / 0.012)

    def lab(times):
        sigma = found.dye.absorption * np.exp(times * found.dye.spread)
        return colour_of(linear_of(np.clip(wound_colour(sigma, yarn), 0.0, 1.0)))

    ends = [float(ciede2000(lab(0.0), lab(k))) for k in (-1.96, 1.96)]
    assert found.within == pytest.approx(max(ends), rel=1e-6)
    assert f"within {max(ends):.1f} CIEDE2000 at least nine times in ten" in fibre_report(found)
    assert (ends[1] > ends[0]) is (through > 0.95)


def test_a_fibre_dyes_the_system_it_was_taken_from():
    cloth = start_cloth("mine", 40.0, 36.0, warp_like="silk organza")
    found = read_fibre(cloth.warp, np.linspace(0.2, 0.9, 41), 0.012)
    for system, other in (("warp", "weft"), ("weft", "warp")):
        made = dyed_cloth(cloth, system, found)
        assert getattr(made, other) == getattr(cloth, other)
        assert getattr(made, system).absorption == pytest.approx(found.dye.absorption)
        assert dict(made.known)[f"{system}.colour"].spread == pytest.approx(
            found.within / 1.96, abs=0.005
        )
    with pytest.raises(InputError, match="next to no light came through at 390 nm"):
        read_fibre(cloth.warp, np.where(np.arange(41) == 1, 9e-5, 0.5), 0.012)
    dark = read_fibre(cloth.warp, np.where(np.arange(41) == 1, 1e-4, 0.5), 0.012)
    # far into the dark a rod lets through one part in the square of its depth (Watson's lemma)
    assert dark.dye.absorption[1] == pytest.approx(100.0 / 0.012, rel=1e-3)


def test_colours_a_search_begins_from_are_what_a_screen_shows():
    for told, shown in ((0.9, 0.9), (0.94, 0.94), (0.96, 0.95), (1.3, 0.95), (0.003, 0.003),
                        (0.001, 0.002), (-1.0, 0.002)):  # fmt: skip
        grey = linear_of(colour_curve(np.full(3, told)))
        assert grey == pytest.approx(shown, rel=2e-3, abs=1e-4)
    assert linear_of(colour_curve([0.5, 0.2, 0.1])) == pytest.approx([0.5, 0.2, 0.1], abs=2e-3)


# --- paper ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("size", "paper"), [(1.85, [0]), (1.70, [1])])
def test_of_bright_sheets_paper_is_the_one_of_most_light_squared(size, paper):
    """The duller by a quarter, so that both cannot be paper: 0.75 squared is 0.5625, one over
    1.78."""
    colour = np.array([[0.6, 0.6, 0.6], [0.8, 0.8, 0.8]])
    parts = _Parts(np.zeros((1, 1), np.intp), colour, np.array([size, 1.0]), np.array([0.1, 0.1]),
                   np.zeros((2, 2)), np.zeros((2, 2)))  # fmt: skip
    hue = np.zeros((2, 3))
    assert _paper(parts, colour[:, 0], hue, np.array([True, True])) == paper


# --- what a surface misses, and what a plane tells --------------------------------------------


def test_what_a_surface_misses_is_weighed_by_nearness_and_by_how_free_it_was(monkeypatch):
    """Each construction left out of the surface in turn: by the lever rule of least squares its
    miss is what is left over the share it does not have in itself."""
    rng = np.random.default_rng(7)
    middle, width = np.zeros(p.SLOW), np.full(p.SLOW, 0.5)
    at = 0.35 * rng.standard_normal((14, p.SLOW))
    at[-1] = 3.0  # too far to count
    truth = rng.standard_normal((p.SLOW, 2))
    noise = 0.1 * rng.standard_normal((14, 2))
    monkeypatch.setattr("weavecolor.measure.fit_surface._packed", lambda layers: layers[0])
    traced = [SimpleNamespace(at=a, layers=(a @ truth + e,))
              for a, e in zip(at, noise, strict=True)]  # fmt: skip
    surface = smooth(traced, middle, width, bent=False)
    seen = SimpleNamespace(value=np.zeros(2))
    problem = SimpleNamespace(
        surface=surface,
        arrangements=np.zeros(2, int),
        sights=[SimpleNamespace(seen=seen)],
        shown=lambda _, at, layers, exact: ([layers[0]], None),
        lit=lambda _, at: [(surface._at(at[0, : p.SLOW]) @ surface.terms,)],
    )
    x = np.zeros(p.SIZE)
    share, off = fit._missed(problem, None, x, traced)
    assert len(share) == 13 and share.sum() == pytest.approx(1.0)
    free = np.array([max(1.0 - surface.own(k, at[k]), 0.1) for k in range(13)])
    near = np.exp(-0.5 * ((at[:13] / width) ** 2).sum(1))
    assert share == pytest.approx(near * free / (near * free).sum())
    left = np.array([t.layers[0] for t in traced[:13]]) - np.array(
        [surface._at(a) @ surface.terms for a in at[:13]]
    )
    assert off == pytest.approx(left / np.sqrt(free)[:, None])
    # one ground: all is common to it, and half of a misfit is the surface's own
    noise_left = surface.noise(x[: p.SLOW])
    found = fit._noise(problem, None, x, traced)
    together = np.einsum("i,ia,ib->ab", share, off, off)
    assert found == pytest.approx((1.0 + noise_left) * together)
    # seen over two grounds: what differs between them is each reading's own
    problem.arrangements = np.zeros(4, int)
    problem.shown = lambda _, at, layers, exact: ([layers[0], 0.5 * layers[0]], None)
    share, off = fit._missed(problem, None, x, traced)
    mean = 0.5 * (off[:, :2] + off[:, 2:])
    common = np.concatenate([mean, mean], axis=1)
    wanted = (1.0 + noise_left) * np.einsum("i,ia,ib->ab", share, common, common)
    wanted += np.diag((fit._MISFIT + noise_left) * (share @ (off - common) ** 2))
    assert fit._noise(problem, None, x, traced) == pytest.approx(wanted)
    # two ways of lying share nothing
    problem.arrangements = np.array([0, 0, 1, 1])
    apart = fit._noise(problem, None, x, traced)
    assert apart[:2, 2:] == pytest.approx(0.0)
    for part in (slice(0, 2), slice(2, 4)):
        together = np.einsum("i,ia,ib->ab", share, off[:, part], off[:, part])
        assert apart[part, part] == pytest.approx((1.0 + noise_left) * together)


def test_of_a_reading_that_goes_in_a_plane_the_plane_is_told(monkeypatch):
    start, _ = _open_cloth()
    unknowns = p.Unknowns.again(start)
    moved = replace(unknowns, learnt=unknowns.covariance())
    mean = unknowns.prior_mean()
    shift = np.zeros(p.SIZE)
    shift[: p.SLOW] = np.linspace(0.3, -0.4, p.SLOW)
    monkeypatch.setattr(type(moved), "prior_mean", lambda self: mean + shift)
    rng = np.random.default_rng(3)
    slope, level = 0.02 * rng.standard_normal((3, p.SIZE)), np.array([0.4, 0.2, 0.1])
    monkeypatch.setattr(
        sample, "_read", lambda _, unknowns, x, *more: level + slope @ (x - mean - shift)
    )
    taken = sample_seen(Stack((Layer(start, 0.0),), GREY), level, [0.01] * 3)
    told = []
    reading, slopes, rough = sample._by_build(taken, moved, lambda *n: told.append(n))
    assert reading == pytest.approx(level) and told[-1] == (len(told), len(told))
    still = sample.still_numbers(start, True)
    moving = np.setdiff1d(np.arange(p.SLOW), still)
    assert slopes[:, moving] == pytest.approx(slope[:, moving])
    assert slopes[:, list(still)] == pytest.approx(0.0)
    assert rough.covariance == pytest.approx(0.0, abs=1e-12)
    assert rough.free == len(told) - 1 - len(moving)


def test_how_alike_both_yarns_err_is_their_lightness_s_correlation(monkeypatch):
    start, _ = _open_cloth()
    unknowns = p.Unknowns.again(start)
    rng = np.random.default_rng(9)
    mixed = rng.multivariate_normal([50.0, 40.0], [[4.0, 3.6], [3.6, 9.0]], 5000)

    def spread(unknowns, drawn):
        Lab = np.zeros((len(drawn), 2, 3))
        Lab[:, :, 0] = mixed[: len(drawn)]
        return rng.standard_normal((len(drawn), len(fit_report._PROPERTIES))), Lab

    monkeypatch.setattr(fit_report, "_spread", spread)
    found = fit_report.told(unknowns, unknowns.prior_mean(), unknowns.covariance())
    count = fit_report._DRAWS
    assert found.alike == pytest.approx(np.corrcoef(mixed[:count].T)[0, 1])
    assert found.alike == pytest.approx(3.6 / 6.0, abs=0.15)
    mixed[:] = [50.0, 40.0]  # nothing moves: nothing is alike
    assert fit_report.told(unknowns, unknowns.prior_mean(), unknowns.covariance()).alike == 0.0


def test_a_fibre_s_report_gives_the_colour_by_its_three_numbers():
    yarn = start_cloth("mine", 40.0, 36.0, warp_like="silk organza").warp
    found = read_fibre(yarn, np.linspace(0.998, 0.9, 41), 0.012)  # blue: b* is far from a*
    L, a, b = colour_of(linear_of(found.wound))
    assert abs(a - b) > 10.0
    assert f"(L* {L:.0f}, a* {a:.0f}, b* {b:.0f})" in fibre_report(found)


def test_paper_known_to_a_tenth_makes_every_colour_as_unsure_besides():
    """By squares: the doubt of the same pictures on paper known for sure, and a tenth of each."""

    def told(error):
        return measure_pair(
            _table(0.87, 0.4), _table(0.04, 0.1), paper=(0.5, error),
            marked_white=PAPER | {"swatch over white": (120, 50, 200, 110)},
            marked_black=PAPER | {"swatch over black": (120, 50, 200, 110),
                                  "card": (70, 5, 100, 155)},
        )  # fmt: skip

    sure, unsure = told(0.0), told(0.05)
    for one in ("over_white", "over_black", "card"):
        plain, wide = getattr(sure, one), getattr(unsure, one)
        assert wide.linear == pytest.approx(plain.linear)
        more = np.sqrt(wide.uncertainty**2 - plain.uncertainty**2)
        assert more == pytest.approx(0.1 * plain.linear, rel=1e-6)


@pytest.mark.parametrize("read", [True, False])
def test_a_ground_that_was_read_beside_the_paper_errs_with_it(monkeypatch, read):
    """What the paper was taken for too little the ground was, too; one known otherwise stays, and
    where there is none there is nothing to err."""
    start, _ = _open_cloth()
    laid = []
    monkeypatch.setattr(sample, "appearance", lambda pile, place: (
        laid.append(pile), SimpleNamespace(radiance_factor=np.ones(41)))[1])  # fmt: skip
    taken = sample_seen(Stack((Layer(start, 0.0),), GREY), [0.3] * 3, [0.01] * 3)
    taken = replace(taken, paper_error=0.1, ground_read=read)
    x = np.zeros(p.SIZE)
    x[p.PAPER] = 1.0
    for pile in (taken.stack, replace(taken.stack, backing=None)):
        sample._lit(taken, start, x, pile)
    assert laid[0].backing.reflectance == pytest.approx(0.3 * (np.exp(0.1) if read else 1.0))
    assert laid[1].backing is None
