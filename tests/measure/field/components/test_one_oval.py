"""Parts of one oval are put back together; pieces side by side are not."""

import cv2
import numpy as np
import pytest

from measure.field.components.cut_body import cut_by_form
from measure.field.components.one_oval import merged_ovals

DARK, PALE, BLUE = (-40.0, 5.0, 10.0), (-30.0, 4.0, 8.0), (-35.0, 10.0, -50.0)


def cut(mask: np.ndarray) -> np.ndarray:
    return cut_by_form(mask, 38.0, 0.5)


def painted(labels: np.ndarray, tones: list[tuple[float, float, float]]) -> np.ndarray:
    delta = np.zeros((*labels.shape, 3), np.float32)
    for number, tone in enumerate(tones, 1):
        delta[labels == number] = tone
    return delta


WIDTH_PX = 3.0


def halves(gap: int = 3) -> np.ndarray:
    """A disc in two halves with a slit between them, and a pale hole in its middle."""
    disc = np.zeros((120, 120), np.uint8)
    cv2.circle(disc, (60, 60), 40, 1, -1)
    labels = disc.astype(np.int32)
    labels[:, 60:] *= 2
    labels[:, 60 : 60 + gap] = 0
    cv2.circle(labels, (60, 60), 12, 0, -1)
    return labels


@pytest.mark.parametrize("other", [PALE, BLUE])
def test_two_halves_of_a_disc_are_one_whatever_their_colours(other):
    labels = halves()
    delta = painted(labels, [DARK, other])
    delta[20:101, 60:63] = 0.7 * np.mean([DARK, other], axis=0)  # what parts them is paler, and no oil
    delta[48:73, 60:63] = 0.0  # as the middle is
    merged, groups = merged_ovals(labels, [[1], [2]], delta, cut, WIDTH_PX)
    assert np.unique(merged).size == 2
    assert np.count_nonzero(merged) == pytest.approx(np.pi * 40**2, rel=0.02)  # gap and middle belong to it
    assert len(groups) == 1


def test_two_halves_with_the_oil_between_them_stay_two():
    labels = halves()
    delta = cv2.GaussianBlur(painted(labels, [DARK, PALE]), (0, 0), WIDTH_PX / 2.56)
    merged, groups = merged_ovals(labels, [[1], [2]], delta, cut, WIDTH_PX)
    assert (merged == labels).all()
    assert groups == [[1], [2]]


def test_two_discs_that_touch_stay_two():
    labels = np.zeros((100, 160), np.int32)
    cv2.circle(labels, (50, 50), 28, 1, -1)
    cv2.circle(labels, (107, 50), 28, 2, -1)
    merged, groups = merged_ovals(labels, [[1, 2]], painted(labels, [DARK, DARK]), cut, WIDTH_PX)
    assert (merged == labels).all()
    assert groups == [[1, 2]]


def test_a_ring_cut_like_a_pie_is_one_beside_a_disc_that_touches_it():
    labels = np.zeros((100, 160), np.int32)
    cv2.circle(labels, (50, 50), 28, 1, -1)
    cv2.circle(labels, (107, 50), 28, 2, -1)
    labels[(labels == 1) & (np.mgrid[:100, :160][0] > 50)] = 3
    cv2.circle(labels, (50, 50), 9, 0, -1)
    merged, groups = merged_ovals(labels, [[1, 2, 3]], painted(labels, [DARK, DARK, PALE]), cut, WIDTH_PX)
    assert np.unique(merged).size == 3
    assert len(np.unique(merged[:, :70])) == 2
    assert len(groups) == 1  # still known as one cluster
    assert len(groups[0]) == 2


def test_halves_of_a_square_of_two_colours_stay_two():
    labels = np.zeros((100, 100), np.int32)
    labels[20:80, 20:50] = 1
    labels[20:80, 50:80] = 2
    merged, _ = merged_ovals(labels, [[1], [2]], painted(labels, [DARK, BLUE]), cut, WIDTH_PX)
    assert (merged == labels).all()
