"""What looks like an overlap but is the mottle of one piece."""

import cv2
import numpy as np

from measure.field.overlaps.lens_checks import less_whole


def test_bent_parts_are_less_whole_than_the_pieces_they_would_replace():
    ring, pair = np.zeros((80, 80), np.uint8), np.zeros((80, 80), np.uint8)
    cv2.circle(ring, (40, 40), 30, 1, 12)
    cv2.circle(pair, (40, 40), 36, 1, -1)
    bent = [ring * (np.mgrid[:80, :80][0] < 40), ring * (np.mgrid[:80, :80][0] >= 40)]
    assert less_whole([pair], [m.astype(np.uint8) for m in bent])
    assert not less_whole([pair], [pair])
    assert not less_whole([], [pair])
