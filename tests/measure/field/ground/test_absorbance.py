"""Optical densities, which add up where light passes through two pieces (Beer-Lambert law, from memory)."""

import cv2
import numpy as np
import pytest

from measure.field.ground.absorbance import density

OIL = np.array([0.75, 0.68, 0.50])  # linear light in the camera's channels
SKIN, KERNEL = np.array([0.42, 1.2, 1.65]) * 0.9, np.array([0.28, 0.44, 0.66])


def _lab(absorbed: np.ndarray) -> np.ndarray:
    """CIELAB of what is left of the oil's light, with the curve of sRGB (IEC 61966-2-1)."""
    light = OIL * np.exp(-absorbed)
    curve = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return cv2.cvtColor(curve.reshape(1, 1, 3).astype(np.float32), cv2.COLOR_RGB2Lab)[0, 0]


def test_densities_are_the_absorbances_of_the_channels():
    """So a faint piece adds as much over a coloured one as over oil."""
    oil = _lab(np.zeros(3))
    absorbed = np.array([[KERNEL, SKIN], [SKIN + KERNEL, np.zeros(3)]])
    delta = np.array([[_lab(a) - oil for a in row] for row in absorbed], np.float32)
    assert density(delta, oil) == pytest.approx(absorbed, abs=0.015)
