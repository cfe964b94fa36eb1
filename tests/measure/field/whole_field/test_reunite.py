"""A spotted body stays one piece; two round pieces that touch stay two, however they were cut before."""

import cv2
import numpy as np
import pytest
import shapely

from measure.field.ground.light import prepare
from measure.field.kinds.measure_outlines import measure_outlines
from measure.field.whole_field.reunite import reunite
from measure.flags import bits
from measure.model import Picture


def _drawn(discs: list[tuple[float, float, float, int]]) -> Picture:
    rng = np.random.default_rng(8)
    grey = np.full((800, 1200), 205.0, np.float32)
    for x, y, r, value in discs:
        cv2.circle(grey, (round(4 * x), round(4 * y)), round(4 * r), value, -1)
    grey = cv2.GaussianBlur(cv2.resize(grey, (300, 200), interpolation=cv2.INTER_AREA), (0, 0), 0.8)
    grey += rng.normal(0, 1.0, grey.shape)
    return Picture(np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, axis=2))


def _disc(x: float, y: float, r: float) -> np.ndarray:
    t = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    return np.column_stack([x + r * np.cos(t), y + r * np.sin(t)])


def _half(x: float, y: float, r: float, side: int) -> np.ndarray:
    t = np.linspace(-np.pi / 2, np.pi / 2, 120)
    arc = np.column_stack([x + side * r * np.cos(t), y + r * np.sin(t)])
    seam = np.column_stack([np.full(80, x + side * 0.3), np.linspace(y + r, y - r, 80)])
    return np.concatenate([arc, seam])


def _reunited(picture: Picture, outlines: list[np.ndarray]):
    light = prepare(picture)
    return reunite(measure_outlines(outlines, picture, light), picture, light)


def test_two_halves_of_one_disc_become_one():
    picture = _drawn([(150, 100, 30, 120)])
    made = _reunited(picture, [_half(150, 100, 30, 1), _half(150, 100, 30, -1)])
    assert len(made) == 1
    assert abs(float(made.diameter_px[0]) - 60) < 0.6


@pytest.mark.parametrize("gap", [0.6, 2.0, 3.0, 3.6, 4.4, 5.2, 6.4])
def test_nothing_is_lost_at_a_straight_gap(gap):
    """Two halves beside each other stay, or become one that has the area of both."""
    picture = _drawn([(150, 100, 30, 120)])
    picture.pixels[:, round(150 - gap / 2) : round(150 + gap / 2)] = 205
    halves = [_half(150 + side * gap / 2, 100, 30, side) for side in (1, -1)]
    made = _reunited(picture, halves)
    assert made["area_px2"].sum() > 0.98 * sum(shapely.Polygon(half).area for half in halves)


def test_touching_discs_stay_two():
    picture = _drawn([(120, 100, 30, 120), (179, 100, 30, 120)])
    made = _reunited(picture, [_disc(120, 100, 29.8), _disc(179, 100, 29.8)])
    assert len(made) == 2


def test_halves_of_different_colour_stay_two():
    picture = _drawn([(150, 100, 30, 175)])
    pixels = picture.pixels.copy()
    inside = (np.indices((200, 300))[0] - 99.5) ** 2 + (np.indices((200, 300))[1] - 149.5) ** 2 < 30**2
    right = inside & (np.indices((200, 300))[1] > 150)
    pixels[right] = (120, 60, 40)
    made = _reunited(Picture(pixels), [_half(150, 100, 30, 1), _half(150, 100, 30, -1)])
    assert len(made) == 2


def _jagged(parts: int, cut: float | None = None) -> list[np.ndarray]:
    """A grain with many small teeth, whole or cut straight across at a place in x."""
    turn = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    radius = 30 * (1 + 0.1 * np.sign(np.sin(parts * turn)))
    whole = np.column_stack([150 + 1.3 * radius * np.cos(turn), 100 + radius * np.sin(turn)])
    if cut is None:
        return [whole]
    grain = shapely.Polygon(whole)
    sides = shapely.box(0, 0, cut - 0.3, 200), shapely.box(cut + 0.3, 0, 300, 200)
    return [np.array(grain.intersection(side).segmentize(1.0).exterior.coords)[:-1] for side in sides]


def test_a_jagged_grain_cut_along_a_crack_becomes_one():
    (grain,) = _jagged(14)
    grey = np.full((800, 1200), 205, np.uint8)
    cv2.fillPoly(grey, [np.round(4 * grain).astype(np.int32)], 120)
    grey = cv2.GaussianBlur(cv2.resize(grey, (300, 200), interpolation=cv2.INTER_AREA), (0, 0), 0.8)
    picture = Picture(np.repeat(grey[..., None], 3, axis=2))
    made = _reunited(picture, _jagged(14, cut=160.0))
    assert len(made) == 1
    assert float(made["area_px2"][0]) == pytest.approx(shapely.Polygon(grain).area, rel=0.02)


def _crescent(x: float, y: float, r: float, shift: float) -> np.ndarray:
    """What a disc leaves of another that lies ``shift`` to its right, without the last half px."""
    turn = np.arccos(shift / (2 * r))
    outer, inner = np.linspace(-np.pi + turn, np.pi - turn, 200), np.linspace(turn, -turn, 160)
    arc = np.column_stack([x + shift + r * np.cos(outer), y + r * np.sin(outer)])
    seam = np.column_stack([x + (r + 0.5) * np.cos(inner), y + (r + 0.5) * np.sin(inner)])
    return np.concatenate([arc, seam])


def test_a_round_piece_is_not_joined_with_its_shadow():
    picture = _drawn([(156, 100, 30, 165), (150, 100, 30, 90)])
    pixels = picture.pixels.copy()
    inside = (np.indices((200, 300))[0] - 99.5) ** 2 + (np.indices((200, 300))[1] - 149.5) ** 2 < 30**2
    pixels[inside] = (190, 40, 30)  # another colour than its grey shadow
    made = _reunited(Picture(pixels), [_disc(150, 100, 29.9), _crescent(150, 100, 30, 6)])
    assert len(made) == 2
    assert abs(float(made.diameter_px[0]) - 60) < 0.6


@pytest.mark.parametrize(("shared_px", "left"), [(0, 1), (12, 2), (34, 1)])
def test_pieces_seen_through_one_another_stay_two(shared_px: int, left: int):
    """One was followed into the other; a strip that lies nearly all in the other was cut wrongly."""
    picture = _drawn([(150, 100, 60, 120)])
    light = prepare(picture)
    box = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    outlines = [box * [60, 60] + [110, 70], box * [40, 60] + [170 - shared_px, 70]]
    outlines = [np.asarray(shapely.Polygon(o).segmentize(1.0).exterior.coords)[:-1] for o in outlines]
    flags = np.array([0, bits("overlap")], np.int32)
    made = reunite(measure_outlines(outlines, picture, light, flags=flags), picture, light)
    assert len(made) == left


def test_nothing_comes_of_nothing():
    picture = _drawn([])
    assert len(_reunited(picture, [])) == 0
