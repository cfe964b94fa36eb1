"""Pieces on a plate evened as if light came from all sides: their edges stay where lightness has them."""

import cv2
import numpy as np
import pytest

from measure.field.ground.lit_sides import shading
from measure.field.ground.plate_tones import Tones

_SIZE, _RADIUS_PX, _RUN_OVER_PX = 90, 12.0, 4.0  # how far colour runs over the edge
_DEEP = 1.6  # loss of a piece


def _away(*centres: tuple[float, float]) -> np.ndarray:
    """Distance of each pixel from the nearest of some places."""
    y, x = np.mgrid[:_SIZE, :_SIZE]
    return np.min([np.hypot(x - cx, y - cy) for cx, cy in centres], axis=0)


def _evened(loss: np.ndarray, pieces: np.ndarray) -> np.ndarray:
    colour = np.where(pieces, 0.05, 0.0)[..., None] * np.ones(2)
    seen = Tones(loss.astype(np.float32), colour.astype(np.float32), np.full(3, 0.01))
    return seen.loss - shading(seen, pieces)


def _soft_disc(away: np.ndarray) -> np.ndarray:
    return cv2.GaussianBlur((away <= _RADIUS_PX).astype(np.float32), (0, 0), 1.0)


def test_ground_that_colour_ran_over_stays_ground():
    away = _away((45, 45))
    mottle = 1.0 + 0.2 * np.sin(np.mgrid[:_SIZE, :_SIZE][1] / 2.0)
    level = _evened(_DEEP * _soft_disc(away) * mottle, away <= _RADIUS_PX + _RUN_OVER_PX)
    assert level[away < _RADIUS_PX - 3].std() < 0.1 * _DEEP  # even
    assert level[away > _RADIUS_PX + 2.5].max() < 0.1 * _DEEP
    edge = np.abs(away - _RADIUS_PX) < 0.4
    assert np.median(level[edge]) == pytest.approx(0.5 * _DEEP, abs=0.12 * _DEEP)


def test_a_gap_that_colour_bridges_stays_a_gap():
    apart = 2 * _RADIUS_PX + 5.0
    away = _away((45 - apart / 2, 45), (45 + apart / 2, 45))
    level = _evened(_DEEP * _soft_disc(away), away <= _RADIUS_PX + _RUN_OVER_PX)
    assert level[45, 45] < 0.1 * _DEEP
    assert level[45, int(45 - apart / 2)] == pytest.approx(_DEEP, rel=0.05)


def test_a_piece_the_tone_of_the_ground_runs_through_is_evened_to_its_edge():
    """Its side towards the lamp is lighter than the ground, the other one darker."""
    away, x = _away((45, 45)), np.mgrid[:_SIZE, :_SIZE][1]
    pieces = away <= _RADIUS_PX
    loss = np.where(pieces, 0.6 * (x - 45) / _RADIUS_PX + 0.1, 0.0)
    level = _evened(loss, pieces)
    assert (level[pieces] > 0.05).all()
    assert np.ptp(level[pieces]) < 0.3 * np.ptp(loss[pieces])


def test_the_shaded_side_of_a_light_piece_is_no_ground():
    """It comes near to the tone of a dark plate, up to the piece's edge."""
    away, x = _away((45, 45)), np.mgrid[:_SIZE, :_SIZE][1]
    pieces = away <= _RADIUS_PX
    loss = np.where(pieces, 0.75 * (x - 45) / _RADIUS_PX - 0.95, 0.0)
    level = _evened(loss, pieces)
    assert (level[pieces] < -0.7).all()
    assert np.ptp(level[pieces]) < 0.3 * np.ptp(loss[pieces])
