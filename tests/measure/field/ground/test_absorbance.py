"""Optical densities, which add up where light passes through two pieces (Beer-Lambert law, from memory)."""

import cv2
import numpy as np
import pytest

from measure.field.ground.absorbance import density, sent_back

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


def _lab_of(light: np.ndarray) -> np.ndarray:
    curve = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return cv2.cvtColor(curve.reshape(1, 1, 3).astype(np.float32), cv2.COLOR_RGB2Lab)[0, 0]


def test_on_dark_ground_shares_sent_back_add_up_as_logarithms_of_what_is_let_through():
    """The lower of two layers gets, and sends out, what the upper lets through (Stokes 1862, from memory)."""
    oil = _lab_of(np.full(3, 0.02))
    one, other = np.array([0.5, 0.4, 0.25]), np.array([0.3, 0.12, 0.05])
    both = 1.0 - (1.0 - one) * (1.0 - other)
    delta = np.array([[_lab_of(0.02 + share) - oil for share in (one, other, both, np.zeros(3))]], np.float32)
    found = sent_back(delta, oil)[0]
    assert found[0] == pytest.approx(-np.log(1.0 - one), abs=0.01)
    assert found[2] == pytest.approx(found[0] + found[1], abs=0.015)
    assert found[3] == pytest.approx(0.0, abs=0.005)
