"""A heap of lit grains is cut along all the lines seen in it; a cracked or mottled piece stays one."""

import cv2
import numpy as np

from measure.field.cuts.walled_heaps import cut_by_walls

_SIZE = (230, 260)


def _heap(noise: float = 0.02) -> tuple[np.ndarray, np.ndarray, int]:
    """Mask and lightness of round grains over one another, each darker where the next one shades it."""
    y, x = np.mgrid[: _SIZE[0], : _SIZE[1]].astype(np.float32)
    light, mask, count = np.zeros(_SIZE, np.float32), np.zeros(_SIZE, np.uint8), 0
    for j in range(4):
        for i in range(4):
            away = np.hypot(x - (50 + 46 * i + 12 * (j % 2)), y - (45 + 44 * j)) / (29 - (i + j) % 3)
            light[(away >= 1) & (away < 1.18)] *= 0.6
            light[away < 1] = (0.8 + 0.3 * away**4)[away < 1]
            mask[away < 1], count = 1, count + 1
    light = cv2.GaussianBlur(light, (0, 0), 1.1)
    return mask, light + np.random.default_rng(1).normal(0, noise, _SIZE).astype(np.float32), count


def _cut(mask: np.ndarray, light: np.ndarray) -> np.ndarray:
    return cut_by_walls(mask, light[..., None] * np.array([40.0, 2.0, 4.0], np.float32), 80.0)


def test_each_grain_of_a_heap_is_a_piece():
    mask, light, count = _heap()
    labels = _cut(mask, light)
    assert ((labels > 0) == (mask > 0)).all()
    assert int(labels.max()) == count
    assert np.bincount(labels.ravel())[1:].min() > 700


def test_a_mottled_or_cracked_piece_of_the_same_form_stays_one():
    mask, _, _ = _heap()
    rng = np.random.default_rng(2)
    mottle = cv2.GaussianBlur(rng.normal(size=_SIZE).astype(np.float32), (0, 0), 3.0)
    even = np.where(mask > 0, 0.9 + 0.1 * mottle / mottle.std(), 0.0).astype(np.float32)
    assert _cut(mask, even).max() == 1
    cracked = even.copy()
    for start, end in (((20, 40), (230, 190)), ((60, 200), (120, 30)), ((140, 200), (240, 60))):
        cv2.line(cracked, start, end, 0.75, 2)
    assert _cut(mask, cv2.GaussianBlur(cracked, (0, 0), 1.0)).max() == 1


def test_a_few_pieces_are_left_to_other_cuts():
    mask, light, _ = _heap()
    mask[:, 125:], mask[68:] = 0, 0
    assert _cut(mask, light).max() == 1


def _paving(height: float) -> tuple[np.ndarray, np.ndarray, int]:
    """Mask, lightness and number of mottled pieces that lines of some height of the oil part in a corner."""
    y, x = np.mgrid[:300, :300].astype(np.float32)
    rng = np.random.default_rng(3)
    centres = [(24 + 32 * i + 14 * (j % 2), 24 + 30 * j) for j in range(8) for i in range(8) if i + j < 8]
    away = np.sort([np.hypot(x - (u + rng.normal(0, 3)), y - (v + rng.normal(0, 3))) for u, v in centres], 0)
    mask = (away[0] < 24).astype(np.uint8)
    mottle = cv2.GaussianBlur(rng.normal(size=mask.shape).astype(np.float32), (0, 0), 2.5)
    light = 1.0 + 0.06 * mottle / mottle.std() - height * np.exp(-(((away[1] - away[0]) / 2.5) ** 2))
    light = cv2.GaussianBlur((light * mask).astype(np.float32), (0, 0), 0.8)
    return mask, light, len(centres)


def test_a_net_of_faint_lines_closes_in_pieces_though_the_lines_are_most_of_the_unrest():
    mask, light, count = _paving(0.34)
    labels = _cut(mask, light)
    assert abs(int(labels.max()) - count) <= 2
    assert np.median(np.bincount(labels.ravel())[1:]) > 600
    assert _cut(*_paving(0.1)[:2]).max() == 1


def test_the_feet_of_darker_places_are_no_net():
    y, x = np.mgrid[:300, :300].astype(np.float32)
    mask = (((x < 130) | (y < 130)) & (x > 8) & (y > 8)).astype(np.uint8)
    light = np.where((x // 30 + y // 30) % 2 == 1, 1.0, 1.6).astype(np.float32) * mask
    assert _cut(mask, cv2.GaussianBlur(light, (0, 0), 0.8)).max() == 1
