"""Two see-through pieces with wide rims side by side against one with an edge across it."""

import cv2
import numpy as np
import pytest
from shapely import Polygon, affinity, box

from measure.field.basics.masks import fill_holes
from measure.field.pipeline import measure_field
from measure.field.rims.rim_walls import parted_at_walls
from measure.model import FieldSettings, Picture

SHAPE = (130, 170)
WIDTH_PX = 3.0
Blocks = list[tuple[Polygon, float, float]]  # outline, width of the rim, its height


def _cover(shape: Polygon) -> np.ndarray:
    mask = np.zeros(SHAPE, np.uint8)
    if shape.is_empty:
        return mask.astype(np.float32)
    points = np.rint((np.asarray(shape.exterior.coords) - 0.5) * 16).astype(np.int32)
    cv2.fillPoly(mask, [points.reshape(-1, 1, 2)], 1, shift=4)
    return mask.astype(np.float32)


def _rims(blocks: Blocks, sigma_px: float = 1.0) -> np.ndarray:
    """Height of rims that add up where pieces lie over one another."""
    heights = [height * (_cover(s) - _cover(s.buffer(-w, join_style="mitre"))) for s, w, height in blocks]
    return cv2.GaussianBlur(np.sum(heights, axis=0), (0, 0), sigma_px)


def _count(field: np.ndarray) -> int:
    piece = fill_holes((field > 2.0).view(np.uint8))
    return int(parted_at_walls(piece, field, WIDTH_PX).max())


TOUCHING: dict[str, Blocks] = {
    "alike": [(box(20, 30, 80, 90), 12, 20.0), (box(80, 40, 130, 85), 12, 20.0)],
    "one far darker": [(box(20, 30, 80, 90), 12, 15.0), (box(80, 40, 130, 85), 12, 50.0)],
    "one rim wider": [(box(20, 30, 80, 90), 7, 20.0), (box(80, 35, 136, 91), 16, 30.0)],
    "a film of oil between": [(box(20, 30, 80, 90), 8, 20.0), (box(82, 40, 130, 85), 9, 20.0)],
    "with faces of one length": [(box(20 + 55 * k, 30, 75 + 55 * k, 85), 10, 20.0) for k in range(2)],
    "a small one": [(box(20, 20, 100, 100), 16, 20.0), (box(100, 50, 124, 74), 6, 20.0)],
    "three in a row": [(box(10 + 48 * k, 40, 58 + 48 * k, 88), 10, 20.0 + 5 * k) for k in range(3)],
}


@pytest.mark.parametrize("name", TOUCHING)
@pytest.mark.parametrize("sigma_px", [0.8, 2.5])
def test_a_wall_as_wide_as_two_rims_parts_pieces(name, sigma_px):
    assert _count(_rims(TOUCHING[name], sigma_px)) == len(TOUCHING[name])


def test_the_parts_meet_where_each_rim_is_as_wide_as_towards_the_oil():
    field = _rims([(box(20, 30, 80, 90), 7, 20.0), (box(80, 35, 136, 91), 16, 20.0)])
    labels = parted_at_walls(fill_holes((field > 2.0).view(np.uint8)), field, WIDTH_PX)
    middle_row = labels[62]
    meets = np.flatnonzero(np.diff(middle_row) & (middle_row[:-1] > 0) & (middle_row[1:] > 0))
    assert meets + 1 == pytest.approx([80], abs=1.5)


ONE: dict[str, Blocks] = {
    "whole": [(box(20, 30, 130, 90), 14, 20.0)],
    "a side between two facets": [(box(20, 30, 130, 90), 8, 20.0), (box(70, 38, 78, 82), 4, 20.0)],
    "a faint side": [(box(20, 30, 130, 90), 10, 20.0), (box(68, 40, 86, 80), 9, 6.0)],
    "lying over one another": [(box(20, 30, 90, 90), 8, 20.0), (box(62, 45, 130, 85), 8, 20.0)],
}


@pytest.mark.parametrize("name", ONE)
@pytest.mark.parametrize("sigma_px", [0.8, 2.0])
def test_a_single_line_across_a_piece_does_not_part_it(name, sigma_px):
    assert _count(_rims(ONE[name], sigma_px)) == 1


def _with_facets(outline: Polygon, lines: list[Polygon], grey: list[tuple[Polygon, float]]) -> np.ndarray:
    """Height of a rim, of lines across it and of grey facets."""
    field = _cover(outline) - _cover(outline.buffer(-4, join_style="mitre"))
    for line in lines:
        field = np.maximum(field, _cover(line.intersection(outline)))
    inside = sum((height * _cover(facet.intersection(outline)) for facet, height in grey), np.zeros(SHAPE))
    return cv2.GaussianBlur((20.0 * field + inside * (field == 0)).astype(np.float32), (0, 0), 1.0)


HEXAGON = Polygon([(20, 60), (45, 20), (110, 20), (135, 60), (110, 100), (45, 100)])
WALL = box(70, 0, 78, 130)


@pytest.mark.parametrize(
    ("outline", "lines", "grey", "parts"),
    [
        (box(20, 30, 128, 85), [WALL], [], 2),
        (box(20, 30, 128, 85), [WALL], [(box(78, 0, 170, 130), 6.0)], 1),
        (box(20, 30, 128, 85), [box(60, 0, 64, 130), box(80, 0, 84, 130)], [(box(64, 0, 80, 130), 3.0)], 1),
        (HEXAGON, [WALL], [], 1),
    ],
)
def test_parts_whose_outline_turns_in_nowhere_are_two_only_if_they_are_alike_and_make_a_box(
    outline, lines, grey, parts
):
    assert _count(_with_facets(outline, lines, grey)) == parts


@pytest.mark.parametrize("turn", [0.0, 25.0])
@pytest.mark.parametrize("sigma_px", [1.0, 3.0])
def test_crystals_with_wide_or_blurred_rims_that_touch_are_measured_apart(turn, sigma_px):
    pair = [box(35, 40, 90, 90), box(90, 42, 140, 86)]
    pair = [affinity.rotate(shape, turn, origin=(85, 65)) for shape in pair]
    density = _rims([(shape, 9.0, 0.5) for shape in pair], sigma_px)
    light = 0.75 * np.exp(-density)[..., None] * np.array([1.0, 0.94, 0.8])
    noise = np.random.default_rng(3).normal(0, 1.0, light.shape)
    pixels = np.clip(np.rint(255 * light ** (1 / 2.2) + noise), 0, 255).astype(np.uint8)
    particles = measure_field(Picture(pixels, name="pair"), FieldSettings(), 1.0).particles
    assert np.sort(particles["area_px2"]) == pytest.approx(sorted(s.area for s in pair), rel=0.1)
