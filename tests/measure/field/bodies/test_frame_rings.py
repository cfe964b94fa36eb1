"""Rings that the frame opens, and what lies in them."""

import cv2
import numpy as np
import pytest

from measure.field.bodies.frame_rings import without_middles
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

SHAPE = (120, 160)


def _field(middle: float, gap_px: int, centre_y: int = 100) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Components, boxes and lightness of a dark ring and a place in it that differs by so much."""
    light = np.zeros(SHAPE, np.float32)
    cv2.circle(light, (80, centre_y), 30, -20.0, -1)
    cv2.circle(light, (80, centre_y), 16, 0.0, -1)
    cv2.circle(light, (80, centre_y), 12, middle, -1)
    if gap_px:
        light[112:, 80 - gap_px : 80 + gap_px] = 0.0
    labels = np.zeros(SHAPE, np.int32)
    labels[light == -20.0] = 1
    labels[
        (light == middle) & (np.hypot(*(np.indices(SHAPE) - np.array([centre_y, 80])[:, None, None])) < 13)
    ] = 2
    stats = []
    for k in range(3):
        x, y, w, h = cv2.boundingRect((labels == k).view(np.uint8))
        stats.append([x, y, w, h, np.count_nonzero(labels == k)])
    return labels, np.array(stats, np.int32), np.repeat(light[..., None], 3, 2)


def _turned(field: tuple[np.ndarray, np.ndarray, np.ndarray], turns: int) -> tuple[np.ndarray, ...]:
    labels, _, delta = field
    labels, delta = (
        np.ascontiguousarray(np.rot90(labels, turns)),
        np.ascontiguousarray(np.rot90(delta, turns)),
    )
    boxes = [cv2.boundingRect((labels == k).view(np.uint8)) for k in range(3)]
    stats = [[*box, np.count_nonzero(labels == k)] for k, box in enumerate(boxes)]
    return labels, np.array(stats, np.int32), delta


@pytest.mark.parametrize("turns", range(4))
def test_the_bright_middle_of_a_ring_open_at_the_frame_is_taken_out(turns):
    labels, stats, delta = _turned(_field(12.0, 6), turns)
    assert (labels == 2).any()
    without_middles(labels, stats, delta)
    assert not (labels == 2).any()
    assert (labels == 1).any()
    assert not stats[2].any()


@pytest.mark.parametrize(
    "field",
    [
        pytest.param(_field(-12.0, 6), id="dark as the ring"),
        pytest.param(_field(12.0, 6, centre_y=60), id="away from the frame"),
    ],
)
def test_other_places_stay(field):
    labels, stats, delta = field
    before = labels.copy()
    without_middles(labels, stats, delta)
    assert np.array_equal(labels, before)


def test_a_bright_piece_beside_a_dark_one_at_the_frame_is_counted():
    grey = np.full((300, 400), 200.0, np.float32)
    cv2.circle(grey, (200, 290), 30, 90.0, -1, cv2.LINE_AA)
    cv2.circle(grey, (200, 235), 14, 235.0, -1, cv2.LINE_AA)
    grey = cv2.GaussianBlur(grey, (0, 0), 1.0) + np.random.default_rng(5).normal(0, 1.5, grey.shape)
    pixels = np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, 2)
    particles = measure_field(Picture(pixels=pixels, name="drawn"), FieldSettings(), 1.0).particles
    inside = np.array([o[:, 1].max() < 298 for o in particles.outlines])
    assert ((particles["set_aside"] == "") & inside).sum() == 1
