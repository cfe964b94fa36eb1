"""Plates of words over a picture never cover one another and stay in view."""

import itertools

from PySide6.QtCore import QPointF, QRectF, QSizeF

from app.canvas.marks_item import plate_places

SEEN = QRectF(0, 0, 800, 600)
SIZE = QSizeF(70, 22)


def test_a_plate_alone_stands_up_and_right_of_its_place():
    (plate,) = plate_places([QPointF(100, 100)], [SIZE], SEEN)
    assert (plate.left(), plate.bottom()) == (110, 90)


def test_plates_of_a_short_bar_do_not_overlap():
    for length in (0, 5, 20, 60, 90):
        ends = [QPointF(400, 300), QPointF(400 + length, 300)]
        one, two = plate_places(ends, [SIZE, SIZE], SEEN)
        assert not one.intersects(two), length


def test_many_plates_in_one_place_are_all_free_and_in_view():
    places = plate_places([QPointF(790, 10)] * 4, [SIZE] * 4, SEEN)
    assert not any(a.intersects(b) for a, b in itertools.combinations(places, 2))
    assert all(SEEN.contains(plate) for plate in places)
