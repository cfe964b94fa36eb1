"""See-through crystals of grey facets that lie across one another; densities add (Beer-Lambert law)."""

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
SKIN = (0.10, 0.30, 0.42)
SHAPE = (240, 320)
FINE = 4
RIM = 2.5


def _cover(shape: Polygon) -> np.ndarray:
    fine = np.zeros((SHAPE[0] * FINE, SHAPE[1] * FINE), np.uint8)
    for part in getattr(shape, "geoms", [shape]):
        points = np.asarray(part.exterior.coords)[:-1] * FINE - 0.5
        cv2.fillPoly(fine, [np.round(points * 16).astype(np.int32)], 1, shift=4)
    return cv2.resize(fine.astype(np.float32), SHAPE[::-1], interpolation=cv2.INTER_AREA)


def _rim(shape: Polygon) -> np.ndarray:
    return _cover(shape) - _cover(shape.buffer(-RIM, join_style="mitre"))


def _slab(x: float, y: float, width: float, height: float, turned: float) -> tuple[Polygon, list[Polygon]]:
    """A crystal and the two facets along its ends that send light aside."""
    whole = box(x - width / 2, y - height / 2, x + width / 2, y + height / 2)
    band = 0.27 * height
    facets = [
        box(x - width / 2, y - height / 2, x + width / 2, y - height / 2 + band),
        box(x - width / 2, y + height / 2 - band, x + width / 2, y + height / 2),
    ]
    turn = {"angle": turned, "origin": (x, y)}
    return affinity.rotate(whole, **turn), [affinity.rotate(facet, **turn) for facet in facets]


def _found(density: np.ndarray) -> Particles:
    """What is measured of a field of optical density, with a soft edge and a little noise."""
    light = cv2.GaussianBlur((OIL / 255.0) ** 2.2 * np.exp(-density), (0, 0), 0.8)
    noise = np.random.default_rng(5).normal(0, 1.0, light.shape)
    stored = np.clip(np.rint(255.0 * light ** (1 / 2.2) + noise), 0, 255).astype(np.uint8)
    return measure_field(Picture(stored, name="crystals"), FieldSettings(), 1.0).particles


def _grey(rims: list[Polygon], facets: list[Polygon]) -> np.ndarray:
    density = 0.45 * sum(_rim(shape) for shape in rims) + 0.22 * sum(_cover(shape) for shape in facets)
    return density[..., None] * np.ones(3)


CROSSING = {
    "a corner over a facet": [_slab(120, 120, 50, 70, 10), _slab(162, 118, 44, 40, 50)],
    "a side over a facet": [_slab(120, 120, 60, 70, 0), _slab(162, 122, 60, 44, 24)],
    "a small one": [_slab(120, 120, 70, 80, 15), _slab(154, 92, 34, 30, 60)],
    "three in a row": [_slab(80, 120, 50, 60, 8), _slab(125, 124, 56, 50, 33), _slab(172, 118, 54, 62, 70)],
}


@pytest.mark.parametrize("name", CROSSING)
def test_crystals_of_facets_that_cross_have_their_whole_outlines(name):
    shapes = [shape for shape, _ in CROSSING[name]]
    particles = _found(_grey(shapes, [facet for _, facets in CROSSING[name] for facet in facets]))
    assert len(particles) == len(shapes)
    assert np.sort(particles["area_px2"]) == pytest.approx(sorted(s.area for s in shapes), rel=0.08)
    assert (particles["flags"] & bits("rim_only", "overlap") == bits("rim_only", "overlap")).all()
    assert (particles["kind"] == KINDS.index(Kind.SALT)).all()


def test_crystals_grown_together_stay_one_piece():
    """Where crystals are one body, light crosses it once: its edges do not go on inside."""
    parts = [_slab(120, 120, 50, 70, 10), _slab(150, 118, 44, 56, 50)]
    whole = unary_union([shape for shape, _ in parts])
    facets = unary_union([facet for _, facets in parts for facet in facets])
    particles = _found(_grey([whole], [facets]))
    assert len(particles) == 1
    assert particles["area_px2"] == pytest.approx([whole.area], rel=0.12)


def test_parts_that_lie_mostly_within_one_another_are_one_crystal():
    parts = [_slab(120, 120, 60, 70, 10), _slab(132, 118, 60, 66, 40)]
    particles = _found(
        _grey([shape for shape, _ in parts], [facet for _, facets in parts for facet in facets])
    )
    assert len(particles) == 1


def test_a_skin_at_a_crystal_is_not_divided():
    crystal, facets = _slab(130, 120, 80, 90, 10)
    t = np.linspace(0, 2 * np.pi, 9)[:-1]
    radius = np.array([13, 16, 12, 17, 13, 15, 12, 16])
    skin = Polygon(np.stack([186 + radius * np.cos(t), 118 + radius * np.sin(t)], axis=1))
    particles = _found(_grey([crystal], facets) + _cover(skin)[..., None] * np.array(SKIN))
    assert len(particles) == 2
    assert np.sort(particles["kind"]).tolist() == sorted([KINDS.index(Kind.SALT), KINDS.index(Kind.SKIN)])


def test_what_fills_most_of_a_crystal_is_a_facet_of_it():
    """A second frame within a crystal that another crosses once took its place."""
    shapes = [_slab(120, 120, 64, 84, 10), _slab(166, 92, 50, 44, 50)]
    outer = [shape for shape, _ in shapes]
    inner = outer[0].buffer(-11, join_style="mitre")
    density = (
        _grey([*outer, inner], []) + 0.15 * _cover(outer[0])[..., None] - 0.15 * _cover(inner)[..., None]
    )
    particles = _found(density)
    assert particles["area_px2"].max() == pytest.approx(outer[0].area, rel=0.08)
