"""Outlines drawn over a picture: none hides another, and thousands are drawn in a few calls."""

import cv2
import numpy as np
import pytest

from measure.flags import bits
from measure.model import KINDS, Kind, Picture
from measure.output.overlay import KIND_RGB, draw_overlay
from measure.output.overlay_legend import with_legend
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


def test_a_piece_counted_on_another_field_is_crossed_out():
    ring, repeat = _ring(100, 100, 30), bits("repeat")
    aside = make_particles([ring], set_aside="dust", flags=0)
    again = make_particles([ring], set_aside="also on b.png", flags=repeat)
    plain, crossed = (draw_overlay(Picture(GROUND), pieces) for pieces in (aside, again))
    inside = np.s_[85:116, 85:116]  # where no outline runs
    assert np.array_equal(plain[inside], GROUND[inside])
    assert _line_pixels(crossed, Kind.KERNEL)[inside].sum() > 40
    assert np.array_equal(plain[:, :60], crossed[:, :60])
    # flagged, but counted after all by hand: no cross
    by_hand = draw_overlay(Picture(GROUND), make_particles([ring], flags=repeat))
    assert np.array_equal(by_hand[inside], GROUND[inside])


@pytest.mark.parametrize("width", [90, 300, 1600])
def test_the_key_names_the_lines_there_are_and_leaves_the_picture_alone(width, monkeypatch):
    words, put = [], cv2.putText
    monkeypatch.setattr(
        cv2,
        "putText",
        lambda canvas, text, at, *more: words.append((text, at)) or put(canvas, text, at, *more),
    )
    ground = np.full((200, width, 3), 200, np.uint8)
    pieces = make_particles(
        [_ring(40, 60 + 5 * n, 6) for n in range(4)], kind=[0, 2, 0, 0],
        set_aside=["", "", "dust", "also on b.png"], flags=[0, 0, 0, bits("repeat")],
    )  # fmt: skip
    drawn = draw_overlay(Picture(ground), pieces)
    keyed = with_legend(drawn, pieces)
    assert np.array_equal(keyed[:200], drawn)
    assert keyed.shape[1] == width
    assert [text for text, _ in words] == [
        "kernel",
        "salt",
        "set aside, not counted",
        "counted on another field",
    ]
    assert all(200 + y <= keyed.shape[0] for _, (_, y) in words)
    # each line of the key is drawn as in the picture
    assert _line_pixels(keyed[200:], Kind.SALT).sum() > 20
    assert with_legend(drawn, make_particles([])) is drawn


def test_a_long_straight_side_is_dashed_like_a_curved_one():
    square = np.array([[60, 40], [180, 40], [180, 160], [60, 160]], np.float32)
    drawn = _line_pixels(draw_overlay(Picture(GROUND), _pieces([square], Kind.SALT)), Kind.SALT)
    for side in (drawn[38:42, 70:170].any(axis=0), drawn[70:150, 178:182].any(axis=1)):
        assert 0.3 < side.mean() < 0.8  # 4 drawn and 3 left out, rounded ends apart
