"""What hangs on a piece is cut off: shadows, streaks, threads; but no corner and no pale side of a bead."""

import cv2
import numpy as np
import pytest

from measure.field.basics.outline import area
from measure.field.bodies.tails import without_tails
from measure.field.edges.edge import Piece, place_edge

SIZE, OVER, LEAST_PX2 = (110, 150), 8, 40.0
HIGH, LOW = 40.0, 10.0
RADIUS = 26.0


def drawn(*parts) -> Piece:
    """Piece found whole from parts, each a height and what draws it on a canvas 8 times as large."""
    height = np.zeros((SIZE[0] * OVER, SIZE[1] * OVER), np.float32)
    for value, draw in parts:
        part = np.zeros_like(height, np.uint8)
        draw(part)
        height[part > 0] = value
    height = cv2.GaussianBlur(cv2.resize(height, SIZE[::-1], interpolation=cv2.INTER_AREA), (0, 0), 1.2)
    found = (height > 0.3 * LOW).astype(np.uint8)
    delta = np.zeros((*SIZE, 3), np.float32)
    delta[..., 0] = -height
    return Piece(delta, found, np.zeros(SIZE, bool), 85.0)


def disc(canvas: np.ndarray) -> None:
    cv2.circle(canvas, (50 * OVER, 55 * OVER), round(RADIUS * OVER), 1, -1)


def box(x0: float, y0: float, x1: float, y1: float):
    def draw(canvas: np.ndarray) -> None:
        cv2.rectangle(canvas, (int(x0 * OVER), int(y0 * OVER)), (int(x1 * OVER), int(y1 * OVER)), 1, -1)

    return draw


def polygon(*corners: tuple[float, float]):
    def draw(canvas: np.ndarray) -> None:
        cv2.fillPoly(canvas, [np.round(np.array(corners) * OVER).astype(np.int32)], 1)

    return draw


def outline_of(piece: Piece) -> np.ndarray:
    outline = place_edge(piece.delta, piece.mask, piece.others, piece.oil_lab)
    assert outline is not None
    return outline


def trimmed(piece: Piece):
    return without_tails(piece, outline_of(piece), LEAST_PX2)


def test_a_faint_strip_is_cut_off_and_the_size_is_right_again():
    piece = drawn((LOW, box(60, 48, 92, 62)), (HIGH, disc))
    alone = area(outline_of(drawn((HIGH, disc))))
    assert area(outline_of(piece)) > 1.05 * alone  # the strip is outlined at half of itself
    made = trimmed(piece)
    assert made is not None
    assert made.cut_off == []  # far below half of the piece: its shadow
    assert area(outline_of(made.piece)) == pytest.approx(alone, rel=0.01)


def test_a_thread_as_dark_as_its_piece_becomes_a_piece():
    piece = drawn((HIGH, box(60, 53.5, 104, 56.5)), (HIGH, disc))
    made = trimmed(piece)
    assert made is not None
    assert area(outline_of(made.piece)) == pytest.approx(area(outline_of(drawn((HIGH, disc)))), rel=0.01)
    (thread,) = made.cut_off
    outline = outline_of(thread)
    assert np.ptp(outline[:, 0]) == pytest.approx(104 - 76, abs=5)
    assert np.ptp(outline[:, 1]) < 6


def test_a_sharp_corner_stays():
    assert trimmed(drawn((HIGH, polygon((20, 30), (20, 80), (95, 55))))) is None


def test_a_blunt_lobe_of_the_same_height_stays():
    assert trimmed(drawn((HIGH, box(60, 45, 95, 65)), (HIGH, disc))) is None


def test_a_pale_side_that_makes_a_bead_round_stays():
    def side(canvas: np.ndarray) -> None:
        disc(canvas)
        canvas[:, : 64 * OVER] = 0

    piece = drawn((HIGH, disc), (0.4 * HIGH, side))
    assert trimmed(piece) is None


def test_the_horns_of_a_crescent_stay():
    def crescent(canvas: np.ndarray) -> None:
        disc(canvas)
        cv2.circle(canvas, (62 * OVER, 55 * OVER), round(24 * OVER), 0, -1)

    assert trimmed(drawn((HIGH, crescent))) is None
