"""Two crystals that touch by a face against one crystal with facets."""

import cv2
import numpy as np
import pytest

from measure.field.crystals.face_contact import parted_at_contacts

HALF = 2.0


def _parts(across: int, height: float, more: tuple[int, ...] = ()) -> int:
    """How many crystals a box with walls across it at some columns is."""
    lines = np.zeros((80, 140), np.float32)
    cv2.rectangle(lines, (20, 20), (119, 59), 100.0, 4)
    for column in (across, *more):
        cv2.line(lines, (column, 22), (column, 57), height, 4)
    walls = (lines > 0).astype(np.uint8)
    _, parts = cv2.connectedComponents(1 - walls, connectivity=4)
    outside = int(parts[0, 0])
    faces = [(parts == k).view(np.uint8) for k in np.unique(parts[walls == 0]) if k != outside]
    piece = np.zeros(lines.shape, np.uint8)
    piece[18:62, 18:122] = 1
    return len(parted_at_contacts(piece, faces, lines, HALF))


@pytest.mark.parametrize(
    ("across", "height", "more", "count"),
    [
        (70, 100.0, (), 2),
        (53, 120.0, (86,), 3),
        (70, 60.0, (), 1),  # fainter than the rim: an edge between facets
        (30, 100.0, (), 1),  # a bevel
    ],
)
def test_a_line_as_dark_as_the_rim_between_two_blocks_is_a_contact(across, height, more, count):
    assert _parts(across, height, more) == count


def test_facets_that_meet_in_a_corner_are_one_crystal():
    lines = np.zeros((100, 100), np.float32)
    cv2.circle(lines, (50, 50), 40, 100.0, 4)
    for x, y in ((50, 10), (15, 70), (85, 70)):
        cv2.line(lines, (50, 50), (x, y), 100.0, 4)
    walls = (lines > 0).astype(np.uint8)
    _, parts = cv2.connectedComponents(1 - walls, connectivity=4)
    faces = [(parts == k).view(np.uint8) for k in np.unique(parts[walls == 0]) if k != parts[0, 0]]
    piece = cv2.circle(np.zeros(lines.shape, np.uint8), (50, 50), 42, 1, -1)
    assert len(faces) == 3
    assert len(parted_at_contacts(piece, faces, lines, HALF)) == 1
