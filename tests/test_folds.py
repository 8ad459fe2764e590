"""Cloth as it hangs in folds: how its parts lie, and that what is seen is their mean."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import weavecolor as wc
from weavecolor.cli import run
from weavecolor.decide.compare import evaluate, options
from weavecolor.errors import InputError
from weavecolor.files.clothfile import load_swatch
from weavecolor.optics import mightbe
from weavecolor.optics.appearance import appearances, in_scenes, radiances
from weavecolor.optics.stack import Layer, Stack
from weavecolor.optics.uncertainty import GARMENT
from weavecolor.picture.hanging import warp_directions
from weavecolor.picture.shapes import load_shape, shape_names
from weavecolor.report.comparisontable import assumptions
from weavecolor.report.sheetpicture import _Sheet
from weavecolor.scene.backings import backing
from weavecolor.scene.folds import OF_FOLDS, PARTS, garments, hung
from weavecolor.scene.places import scene, with_viewer
from weavecolor.scene.scene import Light, toward

WINDOW = scene("window at the side")
GROUNDS = [backing("white"), backing("black")]


def _vector(zenith_deg, azimuth_deg):
    """Right, up and ahead of one who faces the cloth, as ``scene/places`` says."""
    z, a = np.radians([zenith_deg, azimuth_deg])
    return np.array([np.sin(z) * np.sin(a), -np.sin(z) * np.cos(a), np.cos(z)])


def _faces(views):
    """How far each part faces to the side and up, degrees, from where it sees an eye that lies
    straight ahead of the whole: across it by the sine of the turn, and above its own level."""
    eyes = np.array([_vector(v.view_zenith_deg, v.view_azimuth_deg) for v in views])
    return np.degrees([(np.arcsin(-x), np.arctan2(-y, z)) for x, y, z in eyes])


def _quantiles(values, weights, at):
    order = np.argsort(values)
    return np.interp(at, np.cumsum(weights[order]) / weights.sum(), values[order])


def test_parts_lie_as_those_of_an_upright_cylinder_do():
    """Strips of an upright cylinder by their projected area, summed over a fine cylinder."""
    fine = np.linspace(-90.0, 90.0, 20001)
    turns, tilts = _faces(hung(WINDOW).views).T
    at = np.array([0.05, 0.25, 0.5, 0.75, 0.95])
    wanted = _quantiles(fine, np.cos(np.radians(fine)), at)
    assert np.quantile(turns, at) == pytest.approx(wanted, abs=6.0)
    assert np.mean(turns) == pytest.approx(0.0, abs=1.0)
    assert np.mean(tilts) == pytest.approx(3.0, abs=0.5) and np.ptp(tilts) < 40.0


def test_shapes_that_hang_by_physics_show_such_parts():
    """Upright shapes as they are shipped, the outer quads that face an eye straight ahead, by their
    projected area: quartiles and ends of the turn about the plumb line, the middle tilt."""
    at = np.array([0.05, 0.25, 0.75, 0.95])
    found = []
    for name in shape_names():
        if not name.startswith(("gathered", "pleated", "panel")):
            continue
        shape = load_shape(name)
        corners = shape.vertices.astype(float)[shape.quads]
        across = np.cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1])
        area = 0.5 * np.linalg.norm(across, axis=1)
        x, y, z = (shape.normals.astype(float)[shape.quads].mean(axis=1)).T
        seen = (y > 0.0) & ~shape.band[shape.quads[:, 0]]
        weight = (area * y)[seen]
        turn = np.degrees(np.arctan2(x, y))[seen]
        tilt = np.degrees(np.arcsin(np.clip(z, -1.0, 1.0)))[seen]
        found.append([*_quantiles(turn, weight, at), _quantiles(tilt, weight, np.array([0.5]))[0]])
        warp = warp_directions(shape)[shape.quads].mean(axis=1)[seen]
        assert np.average(warp[:, 2] < -0.8, weights=weight) > 0.8  # the warp hangs down
    assert len(found) >= 8
    wanted = np.quantile(_faces(hung(WINDOW).views)[:, 0], at)
    assert np.median(found, axis=0)[:4] == pytest.approx(wanted, abs=8.0)
    assert 0.0 <= np.median(found, axis=0)[4] <= 6.0


def test_single_garments_differ_as_shapes_do_and_as_so_many_folds_would():
    """Mean tilts of shapes, by their area as seen from all round, against those of garments that
    are drawn; and the variance of a mean under weights of D. B. Rubin, Ann. Statist. 9 (1981) 130:
    that of the parts, through one more than how many they are worth."""
    leans = []
    for name in shape_names():
        if not name.startswith(("gathered", "pleated", "panel", "circle")):
            continue
        shape = load_shape(name)
        quads = shape.quads[~shape.band[shape.quads[:, 0]]]
        corners = shape.vertices.astype(float)[quads]
        across = np.cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1])
        up = np.arcsin(np.clip(shape.normals.astype(float)[quads].mean(axis=1)[:, 2], -1.0, 1.0))
        weight = np.linalg.norm(across, axis=1) * np.cos(up)
        leans.append(np.degrees(np.average(up, weights=weight)))
    assert len(leans) == 11
    tilts = _faces(hung(WINDOW).views)[:, 1]
    shares = garments(4000)
    assert shares.sum(axis=1) == pytest.approx(1.0) and shares.min() >= 0.0
    chance = np.var(tilts) / (OF_FOLDS + 1.0)
    found = np.sqrt(np.var(shares @ tilts) - chance)
    assert found == pytest.approx(np.std(leans, ddof=1), rel=0.3)
    aside = np.tile([1.0, -1.0], PARTS // 2)  # of what does not go with the tilt
    aside -= tilts * (aside @ (tilts - tilts.mean())) / np.sum((tilts - tilts.mean()) ** 2)
    wanted = np.var(aside) / (OF_FOLDS + 1.0)
    assert np.var(shares @ aside) == pytest.approx(wanted, rel=0.25)
    assert shares.mean(axis=0) == pytest.approx(1.0 / PARTS, rel=0.15)


def test_how_it_hangs_leaves_colours_open_alike_for_all_that_hangs_so():
    """What garments show more or less of, against each part looked at by itself; two cloths by the
    window, where the side that is lit counts, and two grounds err together; flat cloth does not."""
    off = {}
    for name in ("calico-unbleached", "cotton-voile-white"):
        stack, place = Stack((Layer(load_swatch(name)),)), hung(WINDOW)
        each = np.array([[one.radiance for one in appearances(stack, GROUNDS, view)]
                         for view in place.views])  # fmt: skip
        off[name] = mightbe._hangs(stack, GROUNDS, place)
        level = each.mean(axis=0)
        assert off[name] + level == pytest.approx(
            np.einsum("gp,pkb->gkb", garments(mightbe.DRAWS), each), rel=1e-9
        )
        off[name] = (off[name] / level)[:, :, 20]
    both = np.corrcoef(np.hstack([*off.values()]).T)
    assert both.min() > 0.8 and np.std(off["calico-unbleached"]) > 0.05
    assert not mightbe._hangs(stack, GROUNDS, WINDOW).any()


def test_light_and_eye_keep_their_places_to_one_another():
    """A turn of the cloth moves neither: the angle between them is the same in every view, and each
    is where a rotation matrix (SciPy) puts it."""
    place = with_viewer(scene("ballroom"), 20.0, 200.0)
    made = hung(place)
    assert len(made.views) == PARTS and sum(v.share for v in made.views) == pytest.approx(1.0)
    eye = _vector(place.view_zenith_deg, place.view_azimuth_deg)
    for view in made.views:
        seen = _vector(view.view_zenith_deg, view.view_azimuth_deg)
        for was, now in zip(place.lights, view.lights, strict=True):
            before = eye @ _vector(was.zenith_deg, was.azimuth_deg)
            assert seen @ _vector(now.zenith_deg, now.azimuth_deg) == pytest.approx(before)
            assert np.array_equal(was.irradiance, now.irradiance)
    ways = [
        [_vector(x.zenith_deg, x.azimuth_deg) for x in one.lights] for one in (place, *made.views)
    ]
    for turned in ways[1:]:
        fitted, off = Rotation.align_vectors(turned, ways[0])
        assert off == pytest.approx(0.0, abs=1e-5)
        down = fitted.apply([0.0, -1.0, 0.0])
        assert abs(down[0]) < np.sin(np.radians(35.0))  # it hangs: what was down stays so nearly


@pytest.mark.parametrize("aside", [0.0, 40.0, 80.0, 120.0])
def test_a_level_light_falls_on_folds_as_on_an_upright_cylinder(aside):
    """Mean over its projected area of what falls on a cylinder, seen ``aside`` of the light: the
    integral of cos(t - a) cos(t) / 2 over what is lit and seen, (sin a + (pi - a) cos a) / 4; the
    shade of folds apart."""
    place = replace(WINDOW, lights=(Light(min(aside, 89.0), 90.0, np.ones(41)),))
    if aside >= 90.0:
        turned_eye = with_viewer(
            replace(WINDOW, lights=(Light(60.0, 90.0, np.ones(41)),)), aside - 60.0, 270.0
        )
        place = turned_eye
    a = np.radians(place.lights[0].zenith_deg + place.view_zenith_deg)
    wanted = (np.sin(a) + (np.pi - a) * np.cos(a)) / 4.0
    falls = [
        sum(replace(x, reach=1.0).on_cloth[0] for x in light.parts() if x.before)
        for view in hung(place).views for light in view.lights
    ]  # fmt: skip
    assert np.mean(falls) == pytest.approx(wanted, abs=0.025)


def _blocked(corner, start, ways):
    """Whether triangles (M, 3, 3) lie before places (n, 3) in ``ways`` (n, 3) or (3,)."""
    a, one, two = corner[:, 0], corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    normal, first, second = np.cross(one, two), np.cross(a, one), np.cross(two, a)
    out = []
    for places, way in zip(
        np.array_split(start, 20), np.array_split(np.broadcast_to(ways, start.shape), 20),
        strict=True,
    ):  # fmt: skip
        turned = np.cross(way, places).T
        with np.errstate(divide="ignore", invalid="ignore"):
            inverse = -1.0 / (normal @ way.T)
            u = -(two @ turned + second @ way.T) * inverse
            v = (one @ turned - first @ way.T) * inverse
            t = (normal @ places.T - (a * normal).sum(axis=1)[:, None]) * inverse
            out.append(((u >= 0.0) & (v >= 0.0) & (u + v <= 1.0) & (t > 0.0)).any(axis=0))
    return np.concatenate(out)


def test_folds_shade_one_another_as_the_shapes_that_hang_do():
    """Of what is told, against shapes as they are shipped: the share of cloth before what is seen,
    and what of a light arrives, by rays from places drawn on what is seen (T. Moeller, B. Trumbore,
    J. Graphics Tools 2 (1997) 21, from memory)."""
    rng = np.random.default_rng(5)
    lit = (scene("window at the side"), scene("footlights"), scene("flash on camera"))
    told = [(np.mean([v.lights[0].reach for v in hung(x).views])) for x in lit]
    met = 1.0 - np.mean([v.diffuse[20] for v in hung(WINDOW).views]) / WINDOW.diffuse[20]
    found, share = [], []
    for name in ("gathered-3-organza", "gathered-3-chiffon", "pleated-box-taffeta",
                 "panel-organza", "panel-chiffon", "circle-straight-organza"):  # fmt: skip
        shape = load_shape(name)
        quads = shape.quads[~shape.band[shape.quads[:, 0]]]
        p = shape.vertices.astype(float) * [-1.0, 1.0, 1.0]  # right, ahead, up
        corner = p[np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])]
        middle = p[quads].mean(axis=1)
        across = np.cross(p[quads[:, 2]] - p[quads[:, 0]], p[quads[:, 3]] - p[quads[:, 1]])
        n = across / np.linalg.norm(across, axis=1, keepdims=True)
        front = shape.normals[quads].mean(axis=1) * [-1.0, 1.0, 1.0]
        n *= np.sign((n * front).sum(axis=1))[:, None]
        chance = np.linalg.norm(across, axis=1) * np.maximum(n[:, 1], 0.0)
        some = rng.choice(len(quads), 200, p=chance / chance.sum())
        start, out = middle[some] + 2.0 * n[some], n[some]

        seen = ~_blocked(corner, start, np.array([0.0, 1.0, 0.0]))
        start, out = start[seen], out[seen]
        way = rng.normal(size=out.shape)
        way = out + way / np.linalg.norm(way, axis=1, keepdims=True)
        share.append(_blocked(corner, start, way).mean())
        row = []
        for x in lit:
            right, up, ahead = toward(x.lights[0].zenith_deg, x.lights[0].azimuth_deg)
            to = np.array([right, ahead, up])
            row.append(np.mean(~_blocked(corner, start, to)))
        found.append(row)
    assert np.mean(share) == pytest.approx(met, abs=0.06)
    assert np.mean(found, axis=0) == pytest.approx(told, abs=0.08)


def test_what_is_seen_is_the_mean_of_the_parts_whatever_else_is_asked():
    cloth = wc.load_cloth("shot-organza-red-black")
    stack, folded = Stack((Layer(cloth),)), hung(WINDOW)
    each = np.array(radiances(stack, GROUNDS, folded.views))
    (alone,) = radiances(stack, GROUNDS, [folded])
    assert np.array(alone) == pytest.approx(each.mean(axis=0), rel=1e-12)
    flat, both = radiances(stack, GROUNDS, [WINDOW, folded])
    assert np.array_equal(both, alone)
    assert np.array_equal(flat, radiances(stack, GROUNDS, [WINDOW])[0])
    # by few rays each, and by all of them: more is noise, over black most
    few, all_ = each[::4], [replace(view, share=1.0) for view in folded.views[::4]]
    off = few.mean(axis=(0, 2)) / np.mean(radiances(stack, GROUNDS, all_), axis=(0, 2)) - 1.0
    assert np.abs(off) == pytest.approx([0.0, 0.0], abs=0.06) and abs(off[0]) < 0.01


def test_folds_show_denser_cloth_than_a_flat_piece_does():
    """Along a slant less is open (any geometry): over white, in even light, dyed cloth is darker in
    folds; and what shines at one angle is evened out: grains differ less in lightness."""
    cloth = wc.load_cloth("shot-taffeta-green-red")
    even = scene("overcast")
    sheer = Stack((Layer(wc.load_cloth("shot-organza-teal-copper")),))
    flat, folded = in_scenes(sheer, GROUNDS[:1], [even, hung(even)])
    assert folded[0].reading.Lab[0] < flat[0].reading.Lab[0] - 0.5
    apart = []
    for place in (WINDOW, hung(WINDOW)):
        one, other = (
            in_scenes(Stack((Layer(cloth, g),)), GROUNDS[1:], [place])[0][0] for g in (0.0, 90.0)
        )
        apart.append(abs(one.reading.Lab[0] - other.reading.Lab[0]))
    assert apart[1] < 0.5 * apart[0]


def test_draws_of_parts_that_are_alike_are_those_of_one():
    stack = Stack((Layer(wc.load_cloth("silk-chiffon-ivory")),))
    views = [replace(WINDOW, share=0.5)] * 2
    (one,) = mightbe._alone(stack, views[:1])
    for both, own in zip(mightbe._together(stack, views), one, strict=True):
        assert both == pytest.approx(own, rel=1e-9, abs=1e-9)


def test_light_from_behind_is_refused_and_shares_make_a_whole():
    with pytest.raises(InputError, match="lights cloth from behind"):
        hung(scene("lightbox behind"))
    with pytest.raises(InputError, match="make a whole"):
        replace(WINDOW, views=(WINDOW, WINDOW))
    with pytest.raises(InputError, match="make a whole"):
        replace(WINDOW, share=0.0)
    assert hung(WINDOW) == hung(WINDOW) and hung(WINDOW) != WINDOW
    assert hung(WINDOW).told() != WINDOW.told()


def test_command_line_and_front_door_tell_the_same_of_folds(capsys):
    def told_by(words):
        assert run(words) == 0
        return capsys.readouterr().out

    asked = "compare shot-chiffon-rose-yellow --hung --layers 1 --behind black"
    told = json.loads(told_by([*asked.split(), "--table", "json"]))
    made = wc.compare(
        wc.load_cloth("shot-chiffon-rose-yellow"), ("straight", "cross"), 1, "black", hung=True
    )
    assert [step["sentence"] for step in told["steps"]] == [s.sentence for s in made.steps]
    assert told["options"][0]["scene"] == "window at the side, in folds"
    assert GARMENT in told["assumed"] and GARMENT in told_by(asked.split())
    notes = " ".join(_Sheet(made, "", 1)._notes())
    assert "mean colour of cloth in folds from afar" in notes and "held flat" not in notes
    flat_one = wc.compare(wc.load_cloth("shot-chiffon-rose-yellow"), "straight", 1, "black")
    assert GARMENT not in assumptions(flat_one)
    assert all(GARMENT in one.uncertainty.reasons for one in (*made.outcomes, *made.steps))
    assert "mean colour of cloth held flat from afar" in " ".join(_Sheet(flat_one, "", 1)._notes())
    again = evaluate(
        options(wc.load_cloth("shot-chiffon-rose-yellow"), backings=GROUNDS[1:],
                scenes=(hung(WINDOW),))
    )  # fmt: skip
    assert np.array_equal(again[0].appearance.reading.Lab, made.outcomes[0].appearance.reading.Lab)
    assert "--hung" not in told_by(asked.split()).splitlines()[2]
    flat = told_by(asked.replace(" --hung", "").split())
    assert "--hung tells them of folds" in flat
