"""Panels under words and bars are left out whole; what the picture shows beside them is not."""

import cv2
import numpy as np
import pytest

from measure.model import Picture
from measure.scale.drawn_marks import find_drawn

_BOX = (300, 200, 420, 256)  # left, top, right, bottom


def grey_field(panel: int | None, ink: int, noise: float = 8.0) -> np.ndarray:
    """Noisy ground, black discs of which one meets the panel, a bar with its words, (M, N, 3)."""
    pixels = np.full((280, 440), 170, np.float32)
    for x, y, r in ((90, 70, 22), (200, 150, 30), (285, 215, 20)):
        cv2.circle(pixels, (x, y), r, -60, -1, cv2.LINE_AA)
    pixels = cv2.GaussianBlur(pixels, (0, 0), 0.9)
    pixels += cv2.GaussianBlur(np.random.default_rng(3).normal(0, 1, pixels.shape), (0, 0), 0.7) * 2.5 * noise
    pixels = np.clip(pixels, 0, 255).astype(np.uint8)
    left, top, right, bottom = _BOX
    if panel is not None:
        pixels[top:bottom, left:right] = panel
    cv2.putText(pixels, "50 um", (left + 10, top + 28), cv2.FONT_HERSHEY_SIMPLEX, 0.7, ink, 2, cv2.LINE_AA)
    pixels[bottom - 14 : bottom - 8, left + 10 : left + 100] = ink
    return np.repeat(pixels[..., None], 3, axis=2)


@pytest.mark.parametrize(("panel", "ink"), [(0, 255), (255, 0)])
def test_the_panel_of_a_bar_is_left_out_whole(panel: int, ink: int):
    found = find_drawn(Picture(grey_field(panel, ink), grey=True))
    (area,) = found.areas
    box = [*area.min(axis=0), *area.max(axis=0)]
    assert np.abs(np.array(box) - _BOX).max() <= 3
    assert found.bars == ((310, 242, 399, 247),)


def test_ground_without_a_panel_gives_none():
    pixels = grey_field(None, 0, noise=3.0)
    found = find_drawn(Picture(pixels, grey=True))
    covered = sum(np.prod(np.ptp(area, axis=0)) for area in found.areas)
    assert found.bars == ((310, 242, 399, 247),)
    assert covered < 0.7 * 120 * 56
