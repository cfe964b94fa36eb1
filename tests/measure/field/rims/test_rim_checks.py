"""Rims that are none: rows of solid pieces, noise, stalks; and pale middles that are no oil."""

import cv2
import numpy as np
import pytest

from measure.field.basics.masks import fill_holes
from measure.field.bodies.body_holes import fill_body
from measure.field.rims.rim_checks import credible

SEED = 7.0


def _canvas():
    return np.zeros((140, 140), np.uint8)


def _checked(piece, strong, level=30.0):
    field = np.where(strong > 0, level, 0.1 * level).astype(np.float32) * (piece > 0)
    labels = (piece > 0).astype(np.int32)
    return credible(labels, strong & piece, field, field, SEED, 100.0)


def _ring(half_px=3):
    piece, strong = _canvas(), _canvas()
    cv2.rectangle(piece, (30, 30), (100, 100), 1, -1)
    cv2.rectangle(strong, (30, 30), (100, 100), 1, 2 * half_px)
    return piece, strong & piece


def test_a_closed_rim_is_a_see_through_piece():
    piece, strong = _ring()
    kept = _checked(piece, strong)
    assert kept.max() == 1
    assert (kept > 0).sum() == pytest.approx(piece.sum(), rel=0.02)


def test_a_rim_broken_into_its_four_sides_is_one():
    piece, strong = _ring()
    strong[30:38, 30:38] = strong[93:101, 93:101] = strong[30:38, 93:101] = strong[93:101, 30:38] = 0
    assert _checked(piece, strong).max() == 1


def test_solid_pieces_in_a_ring_are_no_rim():
    piece, strong = _canvas(), _canvas()
    cv2.circle(piece, (70, 70), 60, 1, -1)
    for angle in np.arange(0, 2 * np.pi, np.pi / 4):
        centre = (round(70 + 48 * np.cos(angle)), round(70 + 48 * np.sin(angle)))
        cv2.circle(strong, centre, 12, 1, -1)
    assert _checked(piece, strong).max() == 0


@pytest.mark.parametrize("count", [8, 11])
def test_solid_pieces_pressed_together_about_a_gap_are_no_rim_though_grooves_divide_them(count):
    piece, strong = np.zeros((2, 400, 400), np.uint8)
    half = 140.0 * np.sin(np.pi / count)  # their middles on a circle of this radius
    for angle in 2 * np.pi * np.arange(count) / count:
        middle = (200 + 140 * np.cos(angle), 200 + 140 * np.sin(angle))
        turn = np.rad2deg(angle) + 90
        cv2.ellipse(piece, (middle, (2.7 * half, 2.2 * min(half, 40.0)), turn), 1, -1)
        cv2.ellipse(strong, (middle, (2.3 * half, 1.8 * min(half, 40.0)), turn), 1, -1)
        along = 0.6 * half * np.array([-np.sin(angle), np.cos(angle)])
        ends = [np.rint(np.array(middle) + side * along).astype(int).tolist() for side in (-1, 1)]
        cv2.line(strong, *ends, 0, 3)
    piece = fill_holes(piece)
    assert _checked(piece, strong).max() == 0


def test_a_rim_no_stronger_than_the_noise_is_none():
    piece, strong = _ring()
    assert _checked(piece, strong, level=0.8 * SEED).max() == 0


def test_two_rims_with_a_neck_are_two_pieces():
    piece, strong = _canvas(), _canvas()
    for x in (42, 96):
        cv2.circle(piece, (x, 70), 28, 1, -1)
        cv2.circle(strong, (x, 70), 26, 1, 5)
    assert _checked(piece, strong & piece).max() == 2


def test_a_stalk_of_glow_is_left_out():
    piece, strong = _ring()
    cv2.line(piece, (100, 64), (135, 64), 1, 5)
    cv2.line(strong, (100, 64), (135, 64), 1, 3)
    kept = _checked(piece, strong)
    assert kept.max() == 1
    assert not kept[55:75, 112:].any()


@pytest.mark.parametrize(("share", "filled"), [(0.3, True), (0.05, False)])
def test_a_pale_middle_is_filled_and_the_oil_between_pieces_is_not(share, filled):
    mask = _canvas()
    for x in (40, 92):
        cv2.circle(mask, (x, 70), 26, 1, -1)
    cv2.ellipse(mask, (40, 70), (9, 6), 0, 0, 360, 0, -1)
    shown = np.where(mask > 0, 1.0, share).astype(np.float32)
    assert bool(fill_body(mask, shown, 3.0)[70, 40]) is filled


def test_what_lies_between_an_edge_of_a_crystal_and_a_gap_of_its_rim_is_inside():
    piece, strong = _ring()
    strong[30:101, 46:49] = piece[30:101, 46:49]  # an edge of the cube closes in four fifths of it
    strong[60:70, 28:36] = 0
    kept = _checked(piece, strong)
    assert (kept > 0).sum() == pytest.approx(piece.sum(), rel=0.02)


def test_a_swarm_of_solid_pieces_all_over_a_place_is_no_rim():
    """Those that hang together are not compact, so they are no row of beads either."""
    piece, strong = _canvas(), _canvas()
    cv2.rectangle(piece, (20, 20), (120, 120), 1, -1)
    rng = np.random.default_rng(4)
    for n, (x, y) in enumerate((28 + 21 * i, 28 + 21 * j) for i in range(5) for j in range(5)):
        cv2.circle(strong, (x, y), 3 + n % 3, 1, -1)
        turn = rng.uniform(0, 2 * np.pi)
        for bend in (turn, turn + 1.7):  # two more beside it
            cv2.circle(strong, (round(x + 7 * np.cos(bend)), round(y + 7 * np.sin(bend))), 3, 1, -1)
    assert _checked(piece, strong & piece).max() == 0
