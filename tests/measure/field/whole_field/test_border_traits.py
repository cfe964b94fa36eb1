"""What is seen of a border between two halves, on squares and discs whose traits are known."""

import cv2
import numpy as np
import pytest

from measure.field.whole_field.border_traits import TRAITS, traits_of

_BEIGE = np.array([-20.0, 3.0, 14.0], np.float32)
_RED = np.array([-20.0, 20.0, 3.0], np.float32)


def _box(x0: float, y0: float, x1: float, y1: float) -> np.ndarray:
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], np.float32)


def _disc(x: float, y: float, radius: float) -> np.ndarray:
    turn = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    return np.stack([x + radius * np.cos(turn), y + radius * np.sin(turn)], axis=1).astype(np.float32)


def _delta(*layers: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    delta = np.zeros((80, 120, 3), np.float32)
    for outline, colour in layers:
        mask = np.zeros(delta.shape[:2], np.uint8)
        cv2.fillPoly(mask, [np.round(outline * 16 - 8).astype(np.int32)], 1, shift=4)
        delta[mask > 0] = colour
    return cv2.GaussianBlur(delta, (0, 0), 1.0)


def _seen(one: np.ndarray, other: np.ndarray, delta: np.ndarray) -> dict[str, float]:
    traits = traits_of(one, other, delta)
    assert traits is not None
    return dict(zip(TRAITS, traits.tolist(), strict=True))


_LEFT, _RIGHT = _box(20, 20, 60, 60), _box(60, 20, 100, 60)


def test_a_straight_side_has_no_notch_and_no_step():
    seen = _seen(_LEFT, _RIGHT, _delta((_LEFT, _BEIGE), (_RIGHT, _BEIGE)))
    assert seen["shallower notch"] == pytest.approx(np.log(0.01))
    assert seen["blunter end"] > 0.35
    assert seen["relative neck"] > 0.9
    assert seen["step"] == pytest.approx(np.log(0.03))
    assert seen["palest of the line"] == 0.0
    assert seen["size"] == pytest.approx(np.log(40), abs=0.05)


def test_a_notch_at_one_end_alone_is_not_at_the_shallower():
    notch = np.array([[52, 18], [68, 18], [60, 34]], np.float32)
    delta = _delta((_LEFT, _BEIGE), (_RIGHT, _BEIGE), (notch, np.zeros(3, np.float32)))
    one = np.array([[20, 20], [53, 20], [60, 34], [60, 60], [20, 60]], np.float32)
    other = np.array([[67, 20], [100, 20], [100, 60], [60, 60], [60, 34]], np.float32)
    assert _seen(one, other, delta)["shallower notch"] == pytest.approx(np.log(0.01))
    both = [side.copy() for side in (one, other)]
    for side in both:
        side[np.all(side == [60, 60], axis=1)] = [60, 48]  # a bay at the other end too
    assert _seen(both[0], both[1], delta)["shallower notch"] > np.log(0.05)


def test_another_colour_a_step_and_a_paler_border_are_seen():
    alike = _seen(_LEFT, _RIGHT, _delta((_LEFT, _BEIGE), (_RIGHT, _BEIGE)))
    red = _seen(_LEFT, _RIGHT, _delta((_LEFT, _BEIGE), (_RIGHT, _RED)))
    assert red["colour"] > alike["colour"] + 2.0
    assert red["step"] > alike["step"] + 2.0
    line = _box(58.5, 18, 61.5, 62)
    parted = _seen(_LEFT, _RIGHT, _delta((_LEFT, _BEIGE), (_RIGHT, _BEIGE), (line, 0.3 * _BEIGE)))
    assert parted["palest of the line"] > 0.2
    assert parted["dip"] > 0.2
    assert abs(alike["dip"]) < 0.02


def test_a_step_weighs_less_where_the_sides_have_as_many():
    plain = _seen(_LEFT, _RIGHT, _delta((_LEFT, _BEIGE), (_RIGHT, 0.7 * _BEIGE)))
    steps = [
        (_box(left, 20, left + 8, 60), (0.7 + 0.3 * (n % 2)) * _BEIGE)
        for n, left in enumerate(range(20, 100, 8))
    ]
    mottled = _seen(_LEFT, _RIGHT, _delta(*steps))
    assert mottled["step"] == pytest.approx(plain["step"], abs=0.3)
    assert plain["step elsewhere"] > mottled["step elsewhere"] + 1.0


def test_another_hue_weighs_less_where_hues_vary_within_the_sides():
    even = _seen(_LEFT, _RIGHT, _delta((_LEFT, _BEIGE), (_RIGHT, _RED)))
    both = [
        (_box(left, 20, left + 10, 60), _RED if n % 3 else _BEIGE)
        for n, left in enumerate(range(20, 100, 10))
    ]
    varied = _seen(_LEFT, _RIGHT, _delta(*both))
    assert even["hue"] > varied["hue"] + 1.0


def test_a_thinner_side_is_told():
    slim = _box(60, 35, 100, 45)
    seen = _seen(_LEFT, slim, _delta((_LEFT, _BEIGE), (slim, _BEIGE)))
    assert seen["thinner side"] < -1.0
    assert _seen(_LEFT, _RIGHT, _delta((_LEFT, _BEIGE), (_RIGHT, _BEIGE)))["thinner side"] > -0.1


def test_two_round_pieces_that_touch_are_no_question():
    one, other = _disc(42, 40, 18), _disc(77, 40, 18)
    assert traits_of(one, other, _delta((one, _BEIGE), (other, _BEIGE))) is None


def test_pieces_that_do_not_touch_have_no_border():
    one, other = _box(10, 20, 40, 60), _box(60, 20, 100, 60)
    assert traits_of(one, other, _delta((one, _BEIGE), (other, _BEIGE))) is None
