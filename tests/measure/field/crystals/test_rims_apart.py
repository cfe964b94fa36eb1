"""See-through crystals whose rims cross, and rims that close within a body; densities add (Beer-Lambert)."""

import cv2
import numpy as np
import pytest
from shapely import Polygon, affinity, box
from shapely.ops import unary_union

from measure.field.pipeline import measure_field
from measure.flags import bits
from measure.model import KINDS, FieldSettings, Kind, Picture
from measure.particles import Particles

OIL = np.array([226.0, 214.0, 184.0])
BODY = (0.30, 0.42, 0.70)
SHAPE = (240, 320)
FINE = 4
RIM = 2.5


def _cover(shape: Polygon) -> np.ndarray:
    fine = np.zeros((SHAPE[0] * FINE, SHAPE[1] * FINE), np.uint8)
    points = np.asarray(shape.exterior.coords)[:-1] * FINE - 0.5
    cv2.fillPoly(fine, [np.round(points * 16).astype(np.int32)], 1, shift=4)
    return cv2.resize(fine.astype(np.float32), SHAPE[::-1], interpolation=cv2.INTER_AREA)


def _rim(shape: Polygon) -> np.ndarray:
    return _cover(shape) - _cover(shape.buffer(-RIM, join_style="mitre"))


def _picture(rims: list[Polygon], bodies: list[Polygon]) -> Picture:
    """Grey rims of density 0.5 and coloured bodies in oil, with a soft edge and a little noise."""
    density = 0.5 * sum(_rim(shape) for shape in rims)[..., None] * np.ones(3)
    for body in bodies:
        density = density + _cover(body)[..., None] * np.array(BODY)
    light = cv2.GaussianBlur((OIL / 255.0) ** 2.2 * np.exp(-density), (0, 0), 0.8)
    noise = np.random.default_rng(5).normal(0, 1.0, light.shape)
    return Picture(np.clip(np.rint(255.0 * light ** (1 / 2.2) + noise), 0, 255).astype(np.uint8), name="rims")


def _found(rims: list[Polygon], bodies: list[Polygon]) -> Particles:
    return measure_field(_picture(rims, bodies), FieldSettings(), 1.0).particles


def _square(x: float, y: float, side: float, turned: float) -> Polygon:
    return affinity.rotate(box(x - side / 2, y - side / 2, x + side / 2, y + side / 2), turned)


def _disc(x: float, y: float, radius: float) -> Polygon:
    t = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    return Polygon(np.stack([x + radius * np.cos(t), y + radius * np.sin(t)], axis=1))


CROSSING = {
    "corner in side": (_square(120, 120, 60, 10), _square(168, 132, 50, 55)),
    "corner in corner": (_square(120, 110, 60, 0), _square(164, 152, 52, 5)),
    "side by side": (_square(130, 120, 50, 0), _square(172, 122, 60, 12)),
}


@pytest.mark.parametrize("name", CROSSING)
def test_crystals_that_cross_have_their_whole_outlines(name):
    pair = CROSSING[name]
    particles = _found(list(pair), [])
    assert len(particles) == 2
    assert np.sort(particles["area_px2"]) == pytest.approx(sorted(s.area for s in pair), rel=0.04)
    assert (particles["flags"] & bits("rim_only", "overlap") == bits("rim_only", "overlap")).all()
    assert (particles["kind"] == KINDS.index(Kind.SALT)).all()


GROWN_TOGETHER = {
    "at a corner": [(90, 90, 130, 150), (90, 100, 150, 150)],
    "nearly whole": [(100, 100, 150, 150), (110, 95, 158, 142)],
}


@pytest.mark.parametrize("name", GROWN_TOGETHER)
def test_facets_that_lie_mostly_within_one_another_are_one_crystal(name):
    facets = [affinity.rotate(box(*corners), 12, origin=(120, 120)) for corners in GROWN_TOGETHER[name]]
    particles = _found(facets, [])
    assert particles["area_px2"] == pytest.approx([unary_union(facets).convex_hull.area], rel=0.12)
    assert particles["flags"][0] & bits("overlap") == 0


def test_a_crystal_on_a_body_is_a_piece_of_its_own_and_the_body_stays_whole():
    crystal, body = _square(150, 118, 36, 20), _disc(160, 120, 60)
    particles = _found([crystal], [body])
    assert particles["area_px2"] == pytest.approx([body.area, crystal.area], rel=0.04)
    assert particles["kind"][1] == KINDS.index(Kind.SALT)


def test_a_round_line_within_a_body_is_a_mark_of_the_body():
    particles = _found([_disc(150, 118, 20)], [_disc(160, 120, 60)])
    assert len(particles) == 1


def test_a_square_of_another_tone_within_a_body_is_not_seen_through():
    spot = _square(150, 118, 36, 20)
    particles = _found([spot], [_disc(160, 120, 60), spot.buffer(-RIM)])
    assert len(particles) == 1


def test_crystals_that_only_touch_keep_the_place_between_them():
    pair = (_square(110, 120, 50, 0), _square(156, 146, 40, 0))
    particles = _found(list(pair), [])
    assert len(particles) == 2
    assert np.sort(particles["area_px2"]) == pytest.approx(sorted(s.area for s in pair), rel=0.06)


def test_the_facets_of_a_cube_seen_askew_are_one_crystal():
    hexagon = Polygon([(100, 120), (125, 85), (180, 80), (210, 110), (185, 150), (130, 155)])
    inner = [((150, 118), corner) for corner in ((100, 120), (180, 80), (185, 150))]
    lines = [
        Polygon([(a[0], a[1] - 1.2), (b[0], b[1] - 1.2), (b[0], b[1] + 1.2), (a[0], a[1] + 1.2)])
        for a, b in inner
    ]
    density = 0.5 * _rim(hexagon) + 0.25 * np.max([_cover(line) for line in lines], axis=0)
    light = cv2.GaussianBlur((OIL / 255.0) ** 2.2 * np.exp(-density[..., None]), (0, 0), 0.8)
    noise = np.random.default_rng(5).normal(0, 1.0, light.shape)
    pixels = np.clip(np.rint(255.0 * light ** (1 / 2.2) + noise), 0, 255).astype(np.uint8)
    particles = measure_field(Picture(pixels, name="cube"), FieldSettings(), 1.0).particles
    assert particles["area_px2"] == pytest.approx([hexagon.area], rel=0.04)


TOUCHING = {
    "alike": (box(90, 90, 130, 130), box(130, 90, 170, 130)),
    "three in a row": (box(60, 90, 98, 128), box(98, 90, 136, 128), box(136, 90, 174, 128)),
    "a smaller one": (box(90, 80, 150, 140), box(150, 95, 186, 131)),
}


@pytest.mark.parametrize("name", TOUCHING)
def test_crystals_that_touch_by_a_face_are_parted_along_it(name):
    pieces = TOUCHING[name]
    particles = _found(list(pieces), [])
    assert len(particles) == len(pieces)
    assert np.sort(particles["area_px2"]) == pytest.approx(sorted(s.area for s in pieces), rel=0.1)


@pytest.mark.parametrize("edge", [box(100, 90, 102.5, 150), box(118.75, 90, 121.25, 150)])
def test_an_edge_between_two_facets_parts_no_crystal(edge):
    # a bevel as dark as the rim, and a fainter edge in the middle
    crystal = box(90, 90, 150, 150)
    height = 0.5 if edge.bounds[0] == 100 else 0.25
    density = 0.5 * _rim(crystal) + height * _cover(edge)
    light = cv2.GaussianBlur((OIL / 255.0) ** 2.2 * np.exp(-density[..., None]), (0, 0), 0.8)
    noise = np.random.default_rng(5).normal(0, 1.0, light.shape)
    pixels = np.clip(np.rint(255.0 * light ** (1 / 2.2) + noise), 0, 255).astype(np.uint8)
    particles = measure_field(Picture(pixels, name="facets"), FieldSettings(), 1.0).particles
    assert particles["area_px2"] == pytest.approx([crystal.area], rel=0.04)


@pytest.mark.parametrize(("grey", "count"), [(0.0, 2), (0.12, 1)])
def test_two_halves_of_a_box_are_two_crystals_if_they_are_alike_in_tone(grey, count):
    one, other = box(100, 90, 140, 140), box(140, 90, 180, 140)
    picture = _picture([one, other], [])
    dark = np.exp(-grey * _cover(other))[..., None] ** (1 / 2.2)
    pixels = np.clip(np.rint(picture.pixels * dark), 0, 255).astype(np.uint8)
    assert len(measure_field(Picture(pixels, name="halves"), FieldSettings(), 1.0).particles) == count
