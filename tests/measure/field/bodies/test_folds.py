"""Folded skins stay whole, and pieces over or beside one another stay two."""

import cv2
import numpy as np
import pytest

from measure.field.bodies.folds import has_crease, is_doubled, merged_folds
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture
from tests.measure.field.drawn_shapes import cover_of

_OIL = np.array([0.62, 0.60, 0.52])  # linear light
_SKIN = np.array([0.22, 0.55, 0.85])  # natural density of one layer
_KERNEL = np.array([0.5, 0.62, 0.95])


def _picture(layers, size=(160, 220)) -> Picture:
    """Picture of layers of density over one another (Beer-Lambert law)."""
    dense = sum(cover_of(inside, size)[..., None] * tone for inside, tone in layers)
    light = cv2.GaussianBlur(_OIL * np.exp(-dense), (0, 0), 1.0)
    noise = np.random.default_rng(1).normal(0, 1.2, light.shape)
    values = np.clip(light, 0, 1) ** (1 / 2.2) * 255 + noise
    return Picture(np.clip(np.round(values), 0, 255).astype(np.uint8), name="drawn.png")


def _counted(picture: Picture) -> np.ndarray:
    found = measure_field(picture, FieldSettings(), 1.0).particles
    return found.diameter_px[found["set_aside"] == ""]


def _sheet(x, y):
    return (np.abs(x - 110) < 40) & (np.abs(y - 80) < 28)


def _tip(x, y):
    """A corner of the sheet that was folded over along its right side."""
    return _sheet(x, y) & (x > 128 - 0.15 * (y - 80))


def test_a_folded_skin_is_one_piece():
    assert _counted(_picture([(_sheet, _SKIN), (_tip, _SKIN)])) == pytest.approx(
        [np.sqrt(4 / np.pi * 80 * 56)], rel=0.03
    )


def _under(x, y):
    return (x > 60) & (x < 130) & (np.abs(y - 80) < 28)


def _flap(x, y):
    """What was turned back along x = 130; it stands out over the upper side of the rest."""
    away = 130 - x
    return (away > 0) & (away < 34) & (y > 52 - 0.8 * away) & (y < 108 - 0.9 * away)


def test_a_flap_may_stand_out_beside_the_skin_it_was_turned_back_from():
    y, x = np.mgrid[:160, :220] + 0.5
    area = np.count_nonzero(_under(x, y) | _flap(x, y))
    assert _counted(_picture([(_under, _SKIN), (_flap, _SKIN)])) == pytest.approx(
        [np.sqrt(4 / np.pi * area)], rel=0.03
    )


@pytest.mark.parametrize(("second", "folded"), [(_flap, True), (lambda x, y: _flap(x - 25, y), False)])
def test_a_crease_has_the_whole_skin_on_one_side_and_all_of_the_doubled_part_along_it(second, folded):
    """What lies over the end of a skin and goes on beyond it meets the oil at its two ends."""
    y, x = np.mgrid[:160, :220] + 0.5
    whole, doubled = _under(x, y) | second(x, y), _under(x, y) & second(x, y)
    assert has_crease(whole.view(np.uint8), doubled.view(np.uint8), 1.5) == folded


def test_the_frame_is_no_crease():
    whole = np.zeros((80, 90), np.uint8)
    whole[:50, 20:70] = 1
    doubled = whole.copy()
    doubled[25:] = 0
    doubled[:, :24] = doubled[:, 66:] = 0
    assert not has_crease(whole, doubled, 1.5)
    assert has_crease(np.pad(whole, ((8, 0), (0, 0))), np.pad(doubled, ((8, 0), (0, 0))), 1.5)


def _roll(x, y):
    """The middle of the sheet, where it is rolled up along two slanting lines."""
    return _sheet(x, y) & (np.abs(x - 110 + 0.15 * (y - 80)) < 20)


def test_a_rolled_skin_shows_single_at_both_ends_and_is_one_piece():
    thin = 0.7 * _SKIN
    assert _counted(_picture([(_sheet, thin), (_roll, 1.3 * thin)])) == pytest.approx(
        [np.sqrt(4 / np.pi * 80 * 56)], rel=0.03
    )


@pytest.mark.parametrize(
    ("stretched", "tone", "one"),
    [(0.0, 2.0 * _SKIN, True), (12.0, 2.0 * _SKIN, False), (0.0, 2.0 * _SKIN[::-1], False)],
)
def test_ends_are_joined_by_a_roll_if_it_is_doubled_of_their_hue_and_flush(stretched, tone, one):
    """One that stands out at its sides is a skin across another."""
    y, x = np.mgrid[:160, :220] + 0.5
    middle = (np.abs(x - 110) < 20) & (np.abs(y - 80) < 28 + stretched)
    labels = np.where(_sheet(x, y), np.where(x < 110, 1, 3), 0).astype(np.int32)
    labels[middle] = 2
    picture = _picture(
        [
            (lambda x, y: _sheet(x, y) & (np.abs(x - 110) >= 20), _SKIN),
            (lambda x, y: (np.abs(x - 110) < 20) & (np.abs(y - 80) < 28 + stretched), tone),
        ]
    )
    lab = cv2.cvtColor(picture.pixels.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    oil = np.median(lab[:10].reshape(-1, 3), axis=0)
    joined = merged_folds(labels, [1, 2, 3], (lab - oil).astype(np.float32), oil, 2.5)
    assert joined == ({1: 2, 3: 2} if one else {})
    assert len(np.unique(labels)) == (2 if one else 4)


def test_a_skin_over_another_stands_out_and_stays_a_piece():
    def across(x, y):
        return (np.abs(x - 150) < 25) & (np.abs(y - 80) < 50)

    assert len(_counted(_picture([(_sheet, _SKIN), (across, _SKIN)]))) >= 2


def _parts(second) -> np.ndarray:
    y, x = np.mgrid[:160, :220] + 0.5
    labels = (_sheet(x, y) & ~second(x, y)).astype(np.int32)
    labels[second(x, y)] = 2
    return labels


def _joined(second, tone) -> dict[int, int]:
    labels = _parts(second)
    picture = _picture([(lambda x, y: _sheet(x, y) & ~second(x, y), _SKIN), (second, tone)])
    linear = cv2.cvtColor(picture.pixels.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    oil = np.median(linear[:10].reshape(-1, 3), axis=0)
    return merged_folds(labels, [1, 2], (linear - oil).astype(np.float32), oil, 2.5)


def _beyond(x, y):
    return (np.abs(x - 150) < 20) & (np.abs(y - 80) < 44)  # stands out at both ends


@pytest.mark.parametrize(
    ("second", "tone", "one"),
    [
        (_tip, 2 * _SKIN, True),
        (_tip, 1.15 * _SKIN, False),  # hardly denser
        (_tip, 2 * _SKIN[::-1], False),  # of another hue
        (_beyond, 2 * _SKIN, False),
    ],
)
def test_parts_are_a_fold_if_doubled_of_one_hue_and_flush(second, tone, one):
    assert _joined(second, tone) == ({1: 2} if one else {})


def test_what_is_doubled_has_the_same_hue():
    assert is_doubled(_SKIN, 2 * _SKIN)
    assert not is_doubled(_SKIN, _SKIN)
    assert not is_doubled(np.full(3, 0.5), np.full(3, 1.0))  # grey has none
    assert not is_doubled(_KERNEL, _KERNEL + np.array([0.0, 0.1, 2.0]))


def test_a_kernel_beside_a_skin_is_not_the_skin_lying_double():
    """Its hue differs by a seventh of its density, as kernels differed from skins in drawn fields."""
    kernel = 2.0 * _SKIN + 0.14 * np.linalg.norm(2.0 * _SKIN) * np.array([0.91, -0.36, 0.0]) / 0.979
    assert np.linalg.norm(kernel - 2.0 * _SKIN) / np.linalg.norm(kernel) == pytest.approx(0.137, abs=0.01)
    assert not is_doubled(_SKIN, kernel)


def _torn(x, y, turned=0.0):
    """A sheet with bays and arms all round."""
    away, angle = np.hypot(x - 110, y - 80), np.arctan2(y - 80, x - 110) + turned
    return away < 40 - 7 * np.cos(5 * angle) - 3 * np.cos(9 * angle)


def _end_of_torn(x, y, at=116.0):
    return _torn(x, y) & (x + 0.1 * y > at + 8)


def test_a_torn_skin_with_a_strip_along_one_side_lying_double_is_one_piece():
    """The border of the strip ends in bays, as deep as others of the skin."""
    y, x = np.mgrid[:160, :220] + 0.5
    assert _counted(_picture([(_torn, _SKIN), (_end_of_torn, 0.8 * _SKIN)])) == pytest.approx(
        [np.sqrt(4 / np.pi * np.count_nonzero(_torn(x, y)))], rel=0.03
    )


def _taken_for_one(single, double, oil=(0.62, 0.60, 0.52), width=3.0):
    """Whether two parts with these densities are taken for one skin."""
    labels = (single > 0) + 2 * (double > 0).astype(np.int32)
    light = np.float32(oil) * 10.0 ** -(np.maximum(single, double)[..., None] * _SKIN * 0.2)
    lab = cv2.cvtColor(light.astype(np.float32), cv2.COLOR_RGB2Lab)
    ground = cv2.cvtColor(np.float32(oil)[None, None], cv2.COLOR_RGB2Lab)[0, 0]
    return bool(merged_folds(labels, [1, 2], lab - ground, ground, width))


def test_of_parts_by_a_line_those_of_a_torn_sheet_are_one():
    y, x = np.mgrid[:160, :220] + 0.5
    end = _end_of_torn(x, y)
    single, double = 1.0 * (_torn(x, y) & ~end), 1.8 * end
    assert _taken_for_one(single, double)
    # a dome is less dense near its border
    deep = cv2.distanceTransform((single > 0).view(np.uint8), cv2.DIST_L2, 5)
    assert not _taken_for_one(single * np.sqrt(0.1 + deep / deep.max()), double)
    # round pieces have bays nowhere else, and of other torn ones the border is short
    left, right = np.hypot(x - 80, y - 80) < 30, np.hypot(x - 135, y - 80) < 30
    assert not _taken_for_one(1.0 * (left & (x < 107.5)), 1.8 * (right & (x > 107.5)))
    near = _torn(x + 38, y)
    assert not _taken_for_one(1.0 * near, 1.8 * (_torn(x - 38, y, 2.0) & ~near))
