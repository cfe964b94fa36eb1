"""Small pieces that touch are told apart as large ones are: heaps of cells with pale middles, drawn here."""

import cv2
import numpy as np
import pytest

from measure.field.basics.component import Component, zoom_of_component, zoomed_component
from measure.field.basics.found import Found
from measure.field.basics.zoom import zoom_of, zoomed, zoomed_mask
from measure.field.ground.light import prepare
from measure.field.overlaps.cluster import Cluster
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

FINE = 8  # drawn so many times larger
SHAPE = (210, 110)


def _centres(apart_px: float) -> np.ndarray:
    """Five chains of four cells that bend, each cell touching the one before, (20, 2), x and y."""
    rng = np.random.default_rng(5)
    places = []
    for row in range(5):
        x, y, way = 20.0, 24.0 + 36.0 * row, 1
        for _ in range(4):
            places.append((x, y))
            turn = way * rng.uniform(0.3, 0.9)
            x, y, way = x + apart_px * np.cos(turn), y + apart_px * np.sin(turn), -way
    return np.array(places)


def _cells(diameter_px: float) -> tuple[Picture, np.ndarray]:
    """Round cells that let more light through in their middle, blurred as a lens does, and their centres."""
    centres = _centres(0.97 * diameter_px)
    absorbed = np.zeros((FINE * SHAPE[0], FINE * SHAPE[1]), np.float32)
    y, x = (np.mgrid[: absorbed.shape[0], : absorbed.shape[1]] + 0.5) / FINE
    for cx, cy in centres:
        away = np.hypot(x - cx, y - cy) / (0.5 * diameter_px)
        absorbed = np.maximum(
            absorbed, np.where(away < 1, 0.35 * (0.55 + 0.45 * np.minimum(away, 1) ** 2), 0)
        )
    absorbed = cv2.resize(absorbed.astype(np.float32), SHAPE[::-1], interpolation=cv2.INTER_AREA)
    absorbed = cv2.GaussianBlur(absorbed, (0, 0), 0.8)
    light = np.array([228, 214, 206]) * np.exp(-absorbed[..., None] * np.array([0.4, 1.0, 0.9]))
    noise = np.random.default_rng(1).normal(0, 1.5, light.shape)
    return Picture(np.clip(np.rint(light + noise), 0, 255).astype(np.uint8), name="cells"), centres


@pytest.mark.parametrize(("diameter_px", "least"), [(12.0, 11), (14.0, 19)])
def test_small_cells_that_touch_have_an_outline_each(diameter_px, least):
    picture, centres = _cells(diameter_px)
    particles = measure_field(picture, FieldSettings(), 1.0).particles
    holds = np.array(
        [
            [cv2.pointPolygonTest(o.reshape(-1, 1, 2), (float(x), float(y)), False) > 0 for x, y in centres]
            for o in particles.outlines
        ]
    )
    assert (holds.sum(axis=0) == 1).all()
    alone = holds.sum(axis=1) == 1
    assert holds[alone].sum() >= least  # of 20
    assert np.median(particles.diameter_px) == pytest.approx(diameter_px, rel=0.05)


def test_what_is_small_is_looked_at_twice_as_large():
    small, large = (side * np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32) for side in (10, 60))
    assert zoom_of([small, small, large]) == 2
    assert zoom_of([small, large, large]) == 1
    assert zoom_of([small, large, large], 0.0) == 2


def test_a_larger_picture_keeps_places_and_values():
    ramp = np.tile(np.arange(20, dtype=np.float32), (12, 1))
    larger = zoomed(ramp, 2)
    assert larger.shape == (24, 40)
    # the middle of px k of the small picture lies at 2 k + 1 of the large one, between two of its px
    assert np.allclose(0.5 * (larger[:, 9] + larger[:, 10]), 4.5, atol=1e-5)
    mask = np.zeros((12, 20), np.uint8)
    mask[4:8, 6:12] = 1
    assert np.count_nonzero(zoomed_mask(mask, 2)) == pytest.approx(4 * 24, rel=0.1)
    assert zoomed(ramp, 1) is ramp


def _component(low: np.ndarray) -> Component:
    delta = np.zeros((*low.shape, 3), np.float32)
    return Component(
        delta, delta[..., 0], low, 38.0, 7.0, 0.5, (False,) * 4, 10.0, np.array([90.0, 0.0, 0.0])
    )


def _discs(radius: int, count: int, hollow: int = 0) -> np.ndarray:
    low = np.zeros((4 * radius, 4 * radius + 2 * radius * count), np.uint8)
    for k in range(count):
        cv2.circle(low, (2 * radius + 2 * radius * k, 2 * radius), radius, 1, cv2.FILLED)
        if hollow:
            cv2.circle(low, (2 * radius + 2 * radius * k, 2 * radius), hollow, 0, cv2.FILLED)
    return low > 0


@pytest.mark.parametrize(
    ("low", "zoom"),
    [
        (_discs(7, 3), 2),
        (_discs(7, 1), 1),  # one round piece: nothing to part
        (_discs(20, 3), 1),  # large enough as they are
        (_discs(24, 1, hollow=20), 1),  # a thin rim round much is no small piece
    ],
)
def test_components_of_several_small_pieces_are_looked_at_larger(low, zoom):
    component = _component(low)
    assert zoom_of_component(component) == zoom
    larger = zoomed_component(component, zoom)
    assert larger.low.shape == tuple(zoom * side for side in low.shape)
    assert larger.least_px2 == zoom**2 * 38.0


def _box(wide: float, high: float) -> np.ndarray:
    return np.array([[0, 0], [wide, 0], [wide, high], [0, high]], np.float32)


@pytest.mark.parametrize(
    ("outlines", "zoom"),
    [
        ([_box(12, 12)] * 4, 2),
        ([_box(12, 12)] * 3 + [_box(40, 12)], 2),  # one chain that was not parted yet
        ([_box(12, 12), _box(30, 7), _box(7, 30)], 1),  # bits of the rim of a crystal beside a piece
        ([_box(12, 12)], 1),
    ],
)
def test_clusters_of_small_pieces_are_looked_at_larger_but_no_bits_of_rims(outlines, zoom):
    count = len(outlines)
    found = Found(outlines, *(np.zeros(count, kind) for kind in (np.int32, np.int32, np.int8)))
    light = prepare(Picture(np.full((60, 60, 3), 220, np.uint8), name="oil"))
    crop = Cluster(found, light, np.s_[0:50, 5:55])
    assert crop.zoom == zoom
    assert crop.union.shape == (50 * zoom, 50 * zoom)
    back = crop.outward(crop.inward(outlines[0]))
    assert np.allclose(back, outlines[0], atol=1e-4)
