"""Bars with words that were made larger, smaller or compressed after they were drawn."""

import cv2
import numpy as np
import pytest

from measure.field.ground.light import zone_mask
from measure.field.marks.own_marks import mark_zones
from measure.model import Picture
from measure.scale.blurred_marks import blurred_marks

_SIDE = 400


def _field(ink: int | None, panel: int | None = None, share: float = 1.0, quality: int = 0) -> np.ndarray:
    """Noise, discs, and a bar and words or a level rod beside two specks; made another size."""
    grey = np.random.default_rng(5).normal(120, 7, (_SIDE, _SIDE)).round().astype(np.uint8)
    for x, y in ((90, 90), (200, 120), (300, 90), (120, 250)):
        cv2.circle(grey, (x, y), 22, 75, -1)
    if panel is not None:
        grey[330:386, 270:380] = panel
    if ink is not None:
        cv2.putText(grey, "50 nm", (285, 360), cv2.FONT_HERSHEY_SIMPLEX, 0.8, ink, 2, cv2.LINE_AA)
        grey[368:378, 285:365] = ink
    else:
        cv2.line(grey, (190, 200), (240, 200), 2, 9)
        cv2.circle(grey, (200, 180), 4, 2, -1)
        cv2.circle(grey, (220, 180), 4, 2, -1)
    side = round(share * _SIDE)
    grey = cv2.resize(grey, (side, side), interpolation=cv2.INTER_LINEAR)
    grey = np.clip(grey + np.random.default_rng(6).normal(0, 1.0, grey.shape), 0, 255).astype(np.uint8)
    if quality:
        grey = cv2.imdecode(cv2.imencode(".jpg", grey, [cv2.IMWRITE_JPEG_QUALITY, quality])[1], 0)
    return np.repeat(grey[..., None], 3, axis=2)


@pytest.mark.parametrize(("ink", "panel"), [(0, None), (255, None), (0, 255), (255, 0)])
@pytest.mark.parametrize(("share", "quality"), [(0.7, 0), (1.3, 0), (1.0, 60), (2.1, 0)])
def test_a_bar_and_its_words_are_left_out_after_they_were_made_another_size(ink, panel, share, quality):
    pixels = _field(ink, panel, share, quality)
    marks = mark_zones(Picture(pixels, grey=True))
    covered = zone_mask(pixels.shape[:2], marks) > 0
    box = (330, 386, 270, 380) if panel is not None else (342, 378, 287, 365)
    top, bottom, left, right = (round(v * share) for v in box)
    assert covered[top:bottom, left:right].mean() > 0.97
    assert not covered[: round(310 * share)].any()


def test_a_rod_between_specks_is_no_bar():
    assert blurred_marks(Picture(_field(None), grey=True)) == ()


def test_a_bar_that_tells_nothing_may_be_a_piece():
    pixels = _field(None)
    pixels[300:310, 285:365] = 3
    assert blurred_marks(Picture(pixels, grey=True)) == ()


def test_pictures_in_colour_are_not_asked():
    pixels = _field(0)
    assert len(blurred_marks(Picture(pixels, grey=True))) == 1
    pixels[..., 2] //= 2
    assert blurred_marks(Picture(pixels)) == ()
