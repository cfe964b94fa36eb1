"""Bits of small broken rims put together, and rims side by side kept apart; all drawn here."""

import cv2
import numpy as np
import pytest

from measure.field.pipeline import measure_field
from measure.field.rims.fragments import rim_groups
from measure.flags import bits
from measure.model import FieldSettings, Picture

TURN = 0.35
SHAPE = (110, 120)


def _rim(centre: tuple[float, float], side: float, gap: str, turned: float = 1.0) -> np.ndarray:
    """Rim 3 px wide of a square, each eighth of a px; ``gap`` names what of it is missing."""
    y, x = (np.mgrid[: SHAPE[0] * 8, : SHAPE[1] * 8] + 0.5) / 8
    x, y = x - centre[0], y - centre[1]
    u, v = x * np.cos(TURN) + y * np.sin(TURN), y * np.cos(TURN) - x * np.sin(TURN)
    depth = side / 2 - np.maximum(abs(u), abs(v))
    missing = {
        "none": np.zeros(x.shape, bool),
        "side": (turned * u > side / 2 - 3) & (abs(v) < side / 2 - 3),
        "slit": (abs(u) < 2) & (turned * v < 0),
        "corners": ((u > 3) & (v > 3)) | ((u < -3) & (v < -3)),
    }
    return (depth > 0) & (depth < 3) & ~missing[gap]


def _blurred(rim: np.ndarray, blur_px: float) -> np.ndarray:
    cover = cv2.resize(rim.astype(np.float32), SHAPE[::-1], interpolation=cv2.INTER_AREA)
    return cv2.GaussianBlur(cover, (0, 0), blur_px)


@pytest.mark.parametrize("gap", ["none", "side", "slit"])
@pytest.mark.parametrize("side", [16.0, 20.0])
def test_two_small_rims_side_by_side_are_no_bits_of_one(side, gap):
    """Their hull is rimmed at both ends, and its middle is not empty."""
    rims = _rim((40, 40), side, gap) | _rim((66, 54), side - 2, gap, -1.0)
    distance = 40.0 * _blurred(rims, 1.2)
    _, labels, stats, _ = cv2.connectedComponentsWithStats((distance > 3.5).astype(np.uint8), connectivity=8)
    groups = rim_groups(labels, stats, distance, 38.0)
    assert all(len(members) == 1 for members, _ in groups)


@pytest.mark.parametrize("side", [20.0, 22.0])
def test_bits_of_a_small_rim_are_put_together_though_blur_makes_them_thick(side):
    noise = np.random.default_rng(3).normal(0, 1.2, (*SHAPE, 3))
    cover = _blurred(_rim((60, 55), side, "corners"), 1.2)
    values = np.array([222, 212, 184]) * (1 - 0.45 * cover[..., None]) + noise
    picture = Picture(np.clip(np.rint(values), 0, 255).astype(np.uint8), name="small rim")
    particles = measure_field(picture, FieldSettings(), 1.0).particles
    assert len(particles) == 1
    assert particles["area_px2"][0] == pytest.approx(side**2, rel=0.10)
    assert particles["flags"][0] & bits("rim_only", "broken_rim") == bits("rim_only", "broken_rim")


@pytest.mark.parametrize(("radius", "count"), [(0, 1), (5, 0)])
def test_what_goes_round_whole_pieces_is_a_thread_and_no_rim(radius, count):
    rim = _rim((60, 55), 64.0, "side")
    if radius:
        cv2.circle(canvas := np.zeros(rim.shape, np.uint8), (52 * 8, 55 * 8), radius * 8, 1, -1)
        rim |= canvas > 0
    distance = 40.0 * _blurred(rim, 1.2)
    _, labels, stats, _ = cv2.connectedComponentsWithStats((distance > 3.5).astype(np.uint8), connectivity=8)
    assert len(rim_groups(labels, stats, distance, 38.0)) == count


def _groups(distance: np.ndarray) -> list[tuple[list[int], np.ndarray]]:
    _, labels, stats, _ = cv2.connectedComponentsWithStats((distance > 3.5).astype(np.uint8), connectivity=8)
    return rim_groups(labels, stats, distance.astype(np.float32), 38.0)


@pytest.mark.parametrize(("turn", "count"), [(178, 0), (270, 1)])
def test_an_arc_of_half_a_circle_is_the_edge_of_something_else(turn, count):
    """A dish or a field stop leaves such arcs; the rim of a piece goes further round."""
    distance = np.zeros((160, 160))
    cv2.ellipse(distance, (80, 80), (60, 60), 0, 0, turn, 30.0, 3)
    assert len(_groups(cv2.GaussianBlur(distance, (0, 0), 1.2))) == count


def test_a_dark_body_in_a_haze_is_no_bit_of_a_rim():
    """By what of it is strong it is round, however wide and ragged its haze."""
    distance = np.zeros((160, 160))
    for start in (20, 200):
        cv2.ellipse(distance, (80, 80), (60, 60), 0, start, start + 105, 30.0, 3)
    cv2.ellipse(distance, (24, 100), (20, 8), 70, 0, 360, 6.0, -1)
    cv2.circle(distance, (24, 100), 5, 90.0, -1)
    blurred = cv2.GaussianBlur(distance, (0, 0), 1.0)
    body = int(cv2.connectedComponents((blurred > 3.5).astype(np.uint8), connectivity=8)[1][100, 24])
    assert all(body not in members for members, _ in _groups(blurred))


def test_a_spot_of_each_side_is_a_rim() -> None:
    """All that is seen of a small crystal may be the darkest place of each side: four spots are no row."""
    distance = np.zeros((60, 60))
    cv2.rectangle(distance, (18, 18), (42, 42), 8.0, 3)
    distance[:25, :25] = 0.0  # the line is open at a corner
    for x, y, half in ((30, 18, (5, 1)), (42, 30, (1, 5)), (30, 42, (5, 1)), (18, 30, (1, 5))):
        cv2.ellipse(distance, (x, y), half, 0, 0, 360, 40.0, -1)
    assert len(_groups(cv2.GaussianBlur(distance, (0, 0), 1.2))) == 1


@pytest.mark.parametrize(("beaded", "count"), [(False, 1), (True, 0)])
def test_small_pieces_in_a_row_are_no_bit_of_a_rim(beaded, count):
    """At the low level their blur joins them, but by what of them is strong they are spots and no line."""
    distance = np.zeros((160, 160))
    for start in (20, 200):
        cv2.ellipse(distance, (80, 80), (50, 50), 0, start, start + 140, 8.0 if beaded else 40.0, 7)
        for turn in np.deg2rad(range(start, start + 141, 20)) if beaded else ():
            cv2.circle(
                distance, np.rint(80 + 50 * np.array([np.cos(turn), np.sin(turn)])).astype(int), 4, 40.0, -1
            )
    assert len(_groups(cv2.GaussianBlur(distance, (0, 0), 1.2))) == count
