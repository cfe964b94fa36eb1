"""Two dark walls of one crystal; pictures are made here, so what is true is known."""

import cv2
import numpy as np
import pytest

from measure.field.basics.found import Found
from measure.field.crystals.wall_pairs import with_wall_pairs
from measure.field.ground.light import Light, prepare
from measure.flags import bits
from measure.model import Picture

_OIL, _GREY, _LINE, _NUT = (226, 224, 214), (70, 70, 68), (206, 204, 195), (150, 110, 50)
_TOP, _LOW = (100, 80, 160, 88), (100, 138, 160, 146)  # left, top, right, bottom


def _field(
    sides: int, low: tuple[int, int, int, int] = _LOW, wall: tuple[int, int, int] = _GREY, turn_deg: float = 0
) -> tuple[Found, Light]:
    """Two walls, found as two pieces, with so many fine lines between their ends."""
    big = np.zeros((440, 520, 3), np.uint8)
    big[:] = _OIL
    for side in range(sides):
        cv2.line(big, ((200, 320)[side], 160), ((200, 320)[side], 292), _LINE, 2)
    boxes = [np.array(box, float) for box in (_TOP, low)]
    for left, top, right, bottom in (2 * boxes[0], 2 * boxes[1]):
        cv2.rectangle(big, (int(left), int(top)), (int(right) - 1, int(bottom) - 1), wall, -1)
    turn = cv2.getRotationMatrix2D((260, 226), turn_deg, 1.0)
    big = cv2.warpAffine(big, turn, (520, 440), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    small = cv2.resize(cv2.GaussianBlur(big, (0, 0), 1.6), (260, 220), interpolation=cv2.INTER_AREA)
    noisy = small + np.random.default_rng(1).normal(0, 1.5, (220, 260, 1))
    picture = Picture(np.clip(np.round(noisy), 0, 255).astype(np.uint8))
    outlines = []
    for left, top, right, bottom in boxes:
        corners = 2 * np.array([[left, top], [right, top], [right, bottom], [left, bottom]])
        turned = np.hstack([corners, np.ones((4, 1))]) @ turn.T
        outlines.append((0.5 * turned).astype(np.float32))
    apart = np.zeros(2, np.int32)
    return Found(outlines, apart, apart.copy(), apart.astype(np.int8)), prepare(picture)


@pytest.mark.parametrize("turn_deg", [0, 28, 120])
def test_walls_with_a_line_at_both_ends_are_one_crystal(turn_deg: float) -> None:
    found, light = _field(2, turn_deg=turn_deg)

    whole = with_wall_pairs(found, light)

    assert len(whole.outlines) == len(whole.parent) == len(whole.flags) == len(whole.origin) == 1
    assert cv2.contourArea(whole.outlines[0]) == pytest.approx(60 * 66, rel=0.03)
    assert whole.flags[0] == bits("rim_only", "broken_rim")


@pytest.mark.parametrize(
    ("sides", "low", "wall"),
    [
        (0, _LOW, _GREY),  # two fibres
        (1, _LOW, _GREY),
        (2, (85, 138, 175, 146), _GREY),  # longer
        (2, (115, 138, 175, 146), _GREY),  # beside
        (2, (100, 138, 160, 178), _GREY),  # no bar
        (2, _LOW, _NUT),  # coloured
    ],
)
def test_other_pairs_stay_apart(
    sides: int, low: tuple[int, int, int, int], wall: tuple[int, int, int]
) -> None:
    found, light = _field(sides, low, wall)

    assert with_wall_pairs(found, light) is found


def test_walls_with_another_piece_between_them_stay_apart() -> None:
    found, light = _field(2)
    disc = cv2.ellipse2Poly((130, 113), (18, 14), 0, 0, 360, 10).astype(np.float32)
    three = np.zeros(3, np.int32)
    more = Found([*found.outlines, disc], three, three.copy(), three.astype(np.int8))

    assert with_wall_pairs(more, light) is more
