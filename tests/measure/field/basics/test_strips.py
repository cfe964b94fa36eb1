"""Working strip by strip, or keeping a picture only about components, gives the very values of the whole."""

import cv2
import numpy as np
import pytest

from measure.field.basics.crops import smoothed_crops
from measure.field.basics.strips import STRIP_ROWS, Reduced, smoothed_strips, strips


def _picture(rows: int, cols: int) -> np.ndarray:
    return np.random.default_rng(rows).normal(0.0, 10.0, (rows, cols, 3)).astype(np.float32)


def test_strips_cover_all_rows_once():
    rows = np.concatenate([np.arange(1000)[strip] for strip in strips(1000)])
    assert rows.tolist() == list(range(1000))
    assert all(strip.stop - strip.start <= STRIP_ROWS for strip in strips(1000))


@pytest.mark.parametrize("rows", [7, 128, 129, 300])
@pytest.mark.parametrize("sigma", [0.8, 1.0])
def test_smoothing_by_strips_is_that_of_the_whole(rows: int, sigma: float):
    picture = _picture(rows, 61)
    whole = cv2.GaussianBlur(picture, (0, 0), sigma)
    parts = [smooth.copy() for _, smooth in smoothed_strips(picture, sigma)]
    assert np.array_equal(np.concatenate(parts), whole)


def test_a_strip_may_be_changed_once_it_was_given():
    picture = _picture(400, 50)
    whole = cv2.GaussianBlur(picture, (0, 0), 1.0)
    for strip, smooth in smoothed_strips(picture, 1.0):
        assert np.array_equal(smooth, whole[strip])
        picture[strip] = 1000.0


# both sizes whole multiples of the reduced ones, one of them, and neither; one strip and several
@pytest.mark.parametrize("shape", [(256, 176), (264, 179), (301, 176), (301, 179), (48, 131), (40, 24)])
def test_reducing_by_strips_is_that_of_the_whole(shape: tuple[int, int]):
    picture = _picture(*shape)
    size = tuple(max(16, -(-n // 8)) for n in shape)
    reduced = Reduced(shape, size)
    for strip in strips(shape[0]):
        reduced.add(picture[strip])
    assert np.array_equal(reduced.whole(), cv2.resize(picture, size[::-1], interpolation=cv2.INTER_AREA))


@pytest.mark.parametrize("much", [False, True])
def test_crops_are_boxes_of_the_smoothed_picture(much: bool):
    picture = _picture(300, 200)
    boxes = np.array([[0, 20, 0, 30], [120, 140, 150, 200], [5, 290, 60, 70], [299, 300, 0, 1]])
    boxes = np.vstack([boxes, [[0, 300, 0, 200]]]) if much else boxes
    whole = cv2.GaussianBlur(picture, (0, 0), 0.8, borderType=cv2.BORDER_REPLICATE)
    crops, few = smoothed_crops(picture, 0.8, boxes, 7)
    assert np.array_equal(few, whole[::7, ::7])
    for i, (top, bottom, left, right) in enumerate(boxes.tolist()):
        assert np.array_equal(crops.of(i), whole[top:bottom, left:right])
    assert crops.values.size <= picture.size


def test_no_boxes_give_no_crops():
    crops, few = smoothed_crops(_picture(30, 20), 0.8, np.zeros((0, 4), np.int64), 3)
    assert crops.values.shape == (0, 3)
    assert few.shape == (10, 7, 3)
