"""See-through pieces found by their rims."""

import cv2
import numpy as np

from measure.field.rims.rims import _share_cut, find_clear


def test_a_see_through_piece_is_not_cut_off_where_the_place_looked_at_ends():
    canvas = np.zeros((150, 150), np.uint8)
    cv2.circle(canvas, (45, 105), 34, 1, 9)  # a wide ring that reaches beyond the window of the other
    cv2.circle(canvas, (98, 52), 36, 1, 8)
    labels = find_clear(cv2.dilate(canvas, np.ones((3, 3), np.uint8)), canvas, 3.0, 40.0)
    assert labels.max() == 2
    for number in (1, 2):
        piece = (labels == number).astype(np.uint8)
        x, y, w, h = cv2.boundingRect(piece)
        # no straight side of a window is left in its outline
        longest = max(int(piece[y].sum()), int(piece[y + h - 1].sum()), int(piece[:, x].sum()))
        assert max(longest, int(piece[:, x + w - 1].sum())) < 0.6 * max(w, h)


def test_how_much_of_a_border_is_that_of_the_place_looked_at():
    piece = np.zeros((30, 20), np.uint8)
    piece[5:25, 14:] = 1
    box = np.s_[10:40, 10:30]
    assert _share_cut(piece, box, (100, 100)) > 0.3
    assert _share_cut(piece, box, (100, 30)) == 0.0  # the frame of the picture cuts pieces off in truth
    piece[:, 18:] = 0
    assert _share_cut(piece, box, (100, 100)) == 0.0
