"""Pieces out of focus with structure of their own: what is finer than the blur is no edge."""

import cv2
import numpy as np
import pytest

from measure.field.basics.outline import area
from measure.field.edges.edge import place_edge
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture
from tests.measure.field.drawn_shapes import cover_of

_DIAMETER, _BLUR_PX = 84.0, 4.0


def _disc() -> np.ndarray:
    """A defocused disc in the middle of 160 px, height 1."""
    cover = cover_of(lambda x, y: (x - 80) ** 2 + (y - 80) ** 2 < _DIAMETER**2 / 4, (160, 160))
    return cv2.GaussianBlur(cover, (0, 0), _BLUR_PX)


def _spots(height: float) -> np.ndarray:
    """Bright grains inside it, some px from its edge."""
    y, x = np.mgrid[:160, :160] + 0.5
    around = np.linspace(0.0, 2 * np.pi, 7)[:-1]
    return height * sum(
        np.exp(-((x - 80 - 29 * np.cos(a)) ** 2 + (y - 80 - 29 * np.sin(a)) ** 2) / 18.0) for a in around
    )


def _solidity(outline: np.ndarray) -> float:
    return area(outline) / cv2.contourArea(cv2.convexHull(outline.astype(np.float32)))


@pytest.mark.parametrize("height", [0.0, 0.6, 1.0])
def test_bright_grains_in_a_soft_piece_leave_its_outline_whole(height):
    grey = 20.0 + 14.0 * (_disc() + _spots(height))
    grey += np.random.default_rng(1).normal(0, 1.0, grey.shape)
    picture = Picture(np.repeat(np.clip(np.round(grey), 0, 255).astype(np.uint8)[..., None], 3, axis=2))
    found = measure_field(picture, FieldSettings(), 1.0).particles
    assert len(found) == 1
    assert found.diameter_px[0] == pytest.approx(_DIAMETER, rel=0.03)
    assert _solidity(found.outlines[0]) > 0.975


def test_scratches_finer_than_the_blur_are_no_bays():
    height = 20.0 * _disc()
    height[60:62, 30:70] = height[98:100, 90:130] = 0.0  # on the camera, so sharp
    delta = np.zeros((160, 160, 3), np.float32)
    delta[..., 0] = cv2.GaussianBlur(height, (0, 0), 0.8)
    outline = place_edge(delta, (_disc() > 0.1).astype(np.uint8), np.zeros((160, 160), bool), 30.0)
    assert _solidity(outline) > 0.985
    assert 2 * np.sqrt(area(outline) / np.pi) == pytest.approx(_DIAMETER, rel=0.02)
