"""Bits of fibres: of one that dips out of focus, of one cut off by the frame, and pieces that are none."""

import cv2
import numpy as np
import pytest
from shapely import LineString

from measure.field.ground.light import prepare
from measure.field.kinds.kinds import fibre_form
from measure.field.kinds.measure_outlines import measure_outlines
from measure.model import Picture

OIL = np.array([222.0, 212.0, 184.0])
SIDE = 300


def _surely_fibres(lines: list[np.ndarray], halves_px: tuple[float, ...] = (4.0,) * 5) -> list[bool]:
    """Whether each of some grey bands is surely a fibre, or a bit of one, by its form."""
    outlines = []
    pixels = np.tile(OIL, (SIDE, SIDE, 1)).astype(np.float32)
    for line, half_px in zip(lines, halves_px, strict=False):
        points = np.asarray(
            LineString(line).buffer(half_px, cap_style="flat").segmentize(1.0).exterior.coords
        )
        points = np.clip(points[:-1], 0.0, SIDE)
        outlines.append(points.astype(np.float32))
        cv2.fillPoly(pixels, [np.rint((points - 0.5) * 16).astype(np.int32)], tuple(0.7 * OIL), shift=4)
    values = pixels + np.random.default_rng(3).normal(0, 1.2, pixels.shape)
    picture = Picture(np.clip(np.rint(values), 0, 255).astype(np.uint8), name="bits")
    particles = measure_outlines(outlines, picture, prepare(picture))
    return fibre_form(particles)[1].tolist()


def _arc(first: float, last: float) -> np.ndarray:
    turn = np.deg2rad(np.linspace(first, last, 30))
    return np.column_stack([150 + 120 * np.cos(turn), 150 + 120 * np.sin(turn)])


def test_bits_from_tip_to_tip_are_a_fibre():
    assert _surely_fibres([_arc(start, start + 15) for start in (190, 215, 240, 265)]) == [True] * 4


def test_two_bits_are_no_row():
    assert _surely_fibres([_arc(start, start + 15) for start in (190, 215)]) == [False] * 2


@pytest.mark.parametrize("turn", [0, 60])
def test_long_pieces_that_point_past_one_another_are_none(turn):
    lines = []
    for k in range(5):
        way = np.array([np.cos(np.deg2rad(turn * k)), np.sin(np.deg2rad(turn * k))])
        lines.append(
            np.array([60.0 + 40 * k, 150.0])
            + 16 * np.array([[0.1, 1.0], [-0.1, -1.0]]) @ [way, [-way[1], way[0]]]
        )
    assert _surely_fibres(lines) == [False] * 5


def test_bits_beside_a_fibre_that_the_frame_cuts_go_with_it():
    """One beside its end, and the next beside that."""
    fibre, bit, next_bit = ([0, 60], [150, 90]), ([151, 90], [180, 99]), ([181, 99], [205, 112])
    found = _surely_fibres([np.array(line, float) for line in (fibre, bit, next_bit)])
    assert found[1:] == [True, True]


def test_a_wider_piece_beside_a_fibre_is_none():
    fibre, piece = np.array([[0.0, 60.0], [150.0, 90.0]]), np.array([[158.5, 70.0], [158.5, 120.0]])
    assert _surely_fibres([fibre, piece], (4.0, 7.0))[1] is False


@pytest.mark.parametrize(("rods", "fibre"), [(3, True), (8, False)])
def test_where_rods_lie_all_about_some_lie_in_a_row_by_chance(rods: int, fibre: bool):
    row = [_arc(start, start + 15) for start in (190, 215, 240)]
    about = [
        np.array([[x, y], [x + 30.0 * np.cos(x * y), y + 30.0 * np.sin(x * y)]], float)
        for x, y in (
            (140, 120),
            (210, 120),
            (270, 60),
            (140, 180),
            (210, 190),
            (270, 250),
            (70, 250),
            (160, 260),
        )
    ]
    found = _surely_fibres([*row, *about[:rods]], (4.0,) * 11)
    assert found == [fibre] * 3 + [False] * rods
