"""Cuts between colours: light and shade of one piece are none."""

import cv2
import numpy as np

from measure.field.cuts.cut_colour import cut_by_colour

OIL = np.array([48.0, 0.5, 3.0], np.float32)
DARK = np.array([16.0, 0.0, 0.0])
WIDTH_PX = 3.4


def _pear() -> np.ndarray:
    mask = np.zeros((120, 120), np.uint8)
    cv2.circle(mask, (50, 50), 34, 1, -1)
    cv2.circle(mask, (84, 72), 18, 1, -1)
    return mask


def _lit(mask: np.ndarray, light: np.ndarray, albedo: tuple[float, float, float]) -> np.ndarray:
    """Difference from the oil of a piece under so much light: CIELAB is a cube root, black is at L = -16."""
    root = np.cbrt(light)[..., None] * (np.array(albedo) + DARK) - DARK
    delta = np.where(mask[..., None] > 0, root - OIL, 0.0).astype(np.float32)
    noise = np.random.default_rng(3).normal(0.0, 0.4, delta.shape).astype(np.float32)
    return cv2.GaussianBlur(delta + noise, (0, 0), 1.3)


def _ramp(first: float, last: float, start: int, stop: int) -> np.ndarray:
    """Light that changes evenly between two columns."""
    along = np.clip((np.arange(120) - start) / (stop - start), 0.0, 1.0)
    return np.tile(first + (last - first) * along, (120, 1))


def test_the_shaded_side_of_a_piece_is_no_other_piece():
    mask = _pear()
    delta = _lit(mask, _ramp(0.55, 1.0, 24, 44), (68.0, 1.0, 24.0))
    assert cut_by_colour(mask, delta, 60.0).max() > 1  # by its tone alone
    assert cut_by_colour(mask, delta, 60.0, OIL, WIDTH_PX).max() == 1


def test_a_darker_piece_of_the_same_hue_has_an_edge_against_its_neighbour():
    mask = _pear()
    delta = _lit(mask, _ramp(0.55, 1.0, 43, 44), (68.0, 1.0, 24.0))
    labels = cut_by_colour(mask, delta, 60.0, OIL, WIDTH_PX)
    assert labels.max() == 2
    assert labels[50, 36] != labels[50, 52]


def test_a_piece_of_another_hue_is_not_taken_for_shade():
    mask = _pear()
    shade = (_ramp(1.0, 0.0, 24, 44) > 0.5)[..., None]
    lit = _lit(mask, np.ones(mask.shape), (68.0, 1.0, 24.0))
    red = _lit(mask, np.ones(mask.shape), (56.0, 14.0, 16.0))
    delta = cv2.GaussianBlur(np.where(shade, red, lit), (0, 0), 4.0) * mask[..., None]
    assert cut_by_colour(mask, delta, 60.0, OIL, WIDTH_PX).max() == 2
