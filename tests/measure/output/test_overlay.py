"""Outlines drawn over a picture: none hides another, and thousands are drawn in a few calls."""

import cv2
import numpy as np
import pytest

from measure.model import KINDS, Kind, Picture
from measure.output.overlay import KIND_RGB, draw_overlay
from measure.particles import Particles, make_particles

GROUND = np.full((200, 300, 3), 200, np.uint8)


def _ring(x: float, y: float, radius: float = 20.0, points: int = 80) -> np.ndarray:
    angle = np.linspace(0, 2 * np.pi, points, endpoint=False)
    return np.c_[x + radius * np.cos(angle), y + radius * np.sin(angle)].astype(np.float32)


def _pieces(rings: list[np.ndarray], kind: Kind = Kind.KERNEL, aside: str = "") -> Particles:
    return make_particles(rings, kind=KINDS.index(kind), set_aside=aside)


def _line_pixels(drawn: np.ndarray, kind: Kind) -> np.ndarray:
    return (np.abs(drawn.astype(int) - KIND_RGB[kind]).sum(axis=2) < 30).astype(bool)


def test_the_halo_of_a_piece_does_not_hide_the_line_of_its_neighbour():
    left, right = _ring(100, 100), _ring(143, 100)
    alone = _line_pixels(draw_overlay(Picture(GROUND), _pieces([left])), Kind.KERNEL)
    both = _line_pixels(draw_overlay(Picture(GROUND), _pieces([left, right])), Kind.KERNEL)
    assert alone.sum() > 100
    assert both[alone].mean() > 0.99


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("aside", ["", "dust"])
def test_many_pieces_are_drawn_in_few_calls(kind, aside, monkeypatch):
    calls = []
    polylines = cv2.polylines
    monkeypatch.setattr(cv2, "polylines", lambda *given: calls.append(1) or polylines(*given))
    monkeypatch.setattr(cv2, "line", lambda *_given: pytest.fail("a call for each dash takes seconds"))
    rings = [_ring(20 + 5 * i, 60 + i % 40) for i in range(50)]
    drawn = draw_overlay(Picture(GROUND), _pieces(rings, kind, aside))
    assert len(calls) == 2
    assert _line_pixels(drawn, kind).sum() > 500


def test_points_that_do_not_show_are_left_out_and_the_line_stays_where_it_was():
    coarse, fine = _ring(100, 100, 6, 60), _ring(100, 100, 6, 3000)
    ways = [_line_pixels(draw_overlay(Picture(GROUND), _pieces([r])), Kind.KERNEL) for r in (coarse, fine)]
    spread = cv2.dilate(ways[0].astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    assert ways[1].sum() > 50
    assert spread[ways[1]].all()


def test_a_piece_without_an_outline_is_passed_over():
    drawn = draw_overlay(Picture(GROUND), _pieces([np.zeros((0, 2), np.float32), _ring(100, 100)]))
    assert _line_pixels(drawn, Kind.KERNEL).sum() > 100
