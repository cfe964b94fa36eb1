"""Crystals without colour are parted from the shadows they throw on a plate."""

import cv2
import numpy as np
import pytest

from measure.field.ground.grey_casters import without_cast
from measure.field.ground.plate_tones import Tones

_SIDE = 160
_CRYSTAL = (60, 60, 36)  # left, top, side


def _square(left: float, top: float, side: float) -> np.ndarray:
    out = np.zeros((_SIDE, _SIDE), np.float32)
    out[int(top) : int(top + side), int(left) : int(left + side)] = 1.0
    return out


def _scene(crystal: float, shade: float, reach=(30, 0), soft_px: float = 0.8, rim: float = 0.0) -> Tones:
    """Losses of light of a crystal and of the shadow it throws."""
    x, y, side = _CRYSTAL
    swept = np.max([_square(x + t * reach[0], y + t * reach[1], side) for t in np.linspace(0, 1, 41)], axis=0)
    loss = shade * cv2.GaussianBlur(swept, (0, 0), soft_px)
    own = _square(*_CRYSTAL)
    loss = np.where(own > 0, crystal, loss)
    loss = np.where((own > 0) & (cv2.erode(own, np.ones((5, 5))) == 0), crystal + rim, loss)
    loss = cv2.GaussianBlur(loss.astype(np.float32), (0, 0), 1.0)
    loss += np.random.default_rng(2).normal(0, 0.01, loss.shape).astype(np.float32)
    return Tones(loss, np.zeros((_SIDE, _SIDE, 2), np.float32), np.array([0.01, 0.005, 0.005]))


def _overlap(found: np.ndarray, true: np.ndarray) -> float:
    return np.count_nonzero(found & true) / np.count_nonzero(found | true)


@pytest.mark.parametrize(
    ("crystal", "shade", "soft_px", "rim"),
    [(0.35, 0.9, 0.8, 0.0), (-0.3, 0.6, 0.8, 0.0), (0.15, 0.5, 3.0, 0.0), (0.35, 0.3, 5.0, 0.5)],
    ids=["paler", "lighter than the plate", "soft", "dark rim and fading shadow"],
)
def test_a_crystal_ends_where_it_is_as_far_from_the_end_of_its_shadow(crystal, shade, soft_px, rim):
    seen = _scene(crystal, shade, soft_px=soft_px, rim=rim)
    crystals, shadow = without_cast(seen, np.abs(seen.loss) > 0.08, [0.0])
    assert _overlap(crystals, _square(*_CRYSTAL) > 0) > 0.75
    assert np.count_nonzero(shadow) > 0.8 * 30 * 36
    assert not (crystals & shadow).any()


def test_two_lamps_are_taken_off_one_after_the_other():
    one, two = _scene(0.2, 0.6, reach=(14, 0)), _scene(0.2, 0.6, reach=(0, 14))
    seen = one._replace(loss=np.maximum(one.loss, two.loss))
    crystals, _ = without_cast(seen, seen.loss > 0.08, [0.0, np.pi / 2])
    assert _overlap(crystals, _square(*_CRYSTAL) > 0) > 0.75


def test_a_grey_piece_of_one_tone_is_left():
    seen = _scene(0.7, 0.0)
    crystals, shadow = without_cast(seen, seen.loss > 0.08, [0.0])
    assert not crystals.any()
    assert not shadow.any()


def test_a_step_across_the_way_of_the_light_is_no_end_of_a_crystal():
    """Facets side by side as seen from the lamp."""
    seen = _scene(0.7, 0.0)
    seen.loss[60:78, 60:96] *= 0.5
    crystals, _ = without_cast(seen, seen.loss > 0.08, [0.0])
    assert not crystals.any()


def test_heaps_and_specks_are_left():
    seen = _scene(0.3, 0.9)
    grey = seen.loss > 0.08
    grey[20:60, 60:66] = True  # no longer the form of one crystal
    grey[100:140, 80:86] = True
    crystals, _ = without_cast(seen, grey, [0.0])
    assert not crystals.any()
    speck = np.zeros_like(grey)
    speck[70:78, 70:78] = True
    assert not without_cast(seen, speck, [0.0])[1].any()
