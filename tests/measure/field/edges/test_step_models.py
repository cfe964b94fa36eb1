"""Profiles of blurred discs and domes, drawn on a grid, and where the fit finds their edge."""

import cv2
import numpy as np
import pytest

from measure.field.edges.step_models import fitted, places


def _line(picture: np.ndarray, radius: float, sigma: float, off: float) -> np.ndarray:
    """Values of a round picture, ten pixels a px, across an outline that lies ``off`` px inside the edge."""
    blurred = cv2.GaussianBlur(picture, (0, 0), 10.0 * sigma)
    away = np.abs(radius - off - places() * sigma)  # off inwards
    return np.interp(
        away, np.arange(len(picture) // 2) / 10.0, blurred[len(picture) // 2, len(picture) // 2 :]
    )


def _away(reach: float) -> np.ndarray:
    n = int(10 * reach)
    y, x = np.mgrid[-n:n, -n:n] / 10.0
    return np.hypot(x, y)


@pytest.mark.parametrize("off", [-0.4, 0.0, 0.3])
@pytest.mark.parametrize("over_sigma", [2.2, 3.0, 5.0])
def test_the_edge_of_a_disc_and_its_blur_are_found(over_sigma, off):
    sigma, radius = 1.5, 1.5 * over_sigma
    line = _line((_away(radius + 10.0) < radius).astype(np.float32), radius, sigma, off)
    seen = np.array([(radius - off) / sigma / 1.1])  # the blur is a tenth less than it was taken for
    shift, ratio = fitted(line[None] / line.max(), seen * 1.1, np.array([False]))
    assert shift[0] * sigma == pytest.approx(-off, abs=0.12)
    assert ratio[0] == pytest.approx(1.0, rel=0.12)


def test_the_step_of_a_dome_is_not_its_half_height():
    """At its edge it has half of its height: half of that is seen farther inside."""
    sigma, radius, away = 1.5, 9.0, _away(19.0)
    top = np.sqrt(np.clip(1.0 - (away / radius) ** 2, 0.0, 1.0))
    line = _line(((away < radius) * (0.5 + 0.5 * top)).astype(np.float32), radius, sigma, 0.0)
    shift, _ = fitted(line[None] / line.max(), np.array([radius / sigma]), np.array([False]))
    half = np.interp(0.5, line / line.max(), places())
    assert half > 0.2
    assert abs(shift[0]) < 0.5 * half


def test_a_ring_is_found_from_its_outer_flank():
    sigma, radius, away = 2.0, 7.0, _away(17.0)
    line = _line(((away < radius) & (away > 0.7 * radius)).astype(np.float32), radius, sigma, 0.0)
    line = line / line.max()
    shift, _ = fitted(line[None], np.array([radius / sigma]), np.array([True]))
    assert np.interp(0.5, line[: line.argmax() + 1], places()[: line.argmax() + 1]) < -0.5
    assert shift[0] == pytest.approx(0.0, abs=0.1)
