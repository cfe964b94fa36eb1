"""Crystals with broad dark walls, chipped, and bright places behind them, against what only looks so."""

import cv2
import numpy as np
import pytest
from shapely import Polygon, affinity, box

from measure.field.components.find import low_components
from measure.field.ground.light import prepare
from measure.field.pipeline import measure_field
from measure.field.rims import lit_middles as room
from measure.field.rims.lit_middles import lit_middles
from measure.field.rims.lit_walls import lit_walls
from measure.flags import bits
from measure.model import FieldSettings, Picture

OIL = np.array([226.0, 216.0, 190.0])
SHAPE = (220, 260)
WIDE_PX = 8.0
WHITE, BROWN = np.ones(3), np.array([0.6, 1.2, 2.0])


def _cover(shape: Polygon) -> np.ndarray:
    mask = np.zeros(SHAPE, np.uint8)
    for part in getattr(shape, "geoms", [shape]):
        if not part.is_empty:
            points = np.rint((np.asarray(part.exterior.coords) - 0.5) * 16).astype(np.int32)
            cv2.fillPoly(mask, [points.reshape(-1, 1, 2)], 1, shift=4)
    return mask.astype(np.float32)


def _ring(shape: Polygon, outer_px: float, inner_px: float) -> np.ndarray:
    return _cover(shape.buffer(-outer_px, join_style="mitre")) - _cover(
        shape.buffer(-inner_px, join_style="mitre")
    )


def _crystal(shape: Polygon, chips: list[Polygon]) -> np.ndarray:
    """Light that a crystal takes and sends along its walls, as a share; both are missing at chips."""
    light = -0.16 * _ring(shape, 0.0, WIDE_PX) + 0.1 * _ring(shape, WIDE_PX, 2 * WIDE_PX)
    for chip in chips:
        light *= 1.0 - _cover(chip)
    return light


def _picture_of(light: np.ndarray) -> Picture:
    colour = OIL * (1.0 + cv2.GaussianBlur(light, (0, 0), 0.8))
    noise = np.random.default_rng(7).normal(0, 1.2, (*SHAPE, 3))
    return Picture(pixels=np.clip(colour + noise, 0, 255).astype(np.uint8), name="drawn")


def _alike(one: Polygon, other: Polygon) -> float:
    return float(one.intersection(other).area / one.union(other).area)


def _large(light: np.ndarray, tint: np.ndarray = WHITE) -> list[tuple[Polygon, int]]:
    return _found(_picture_of(light[..., None] * tint))


def _found(picture: Picture) -> list[tuple[Polygon, int]]:
    """Outlines and flags of what is larger than a speck."""
    table = measure_field(picture, FieldSettings(), 1.0).particles
    found = [
        (Polygon(o), int(f)) for o, f in zip(table.outlines, table.columns["flags"].tolist(), strict=True)
    ]
    return [(shape, flags) for shape, flags in found if shape.area > 150]


SQUARE = affinity.rotate(box(90, 70, 160, 135), 20)
CHIPS = {
    "one side open": [box(85, 88, 108, 112)],
    "two sides open": [box(85, 88, 110, 110), box(140, 90, 170, 112)],
    "a corner and a side": [box(80, 60, 112, 84), box(120, 118, 142, 145)],
}


@pytest.mark.parametrize("name", CHIPS)
def test_a_chipped_wall_is_one_crystal(name):
    (shape, flags), *more = _large(_crystal(SQUARE, CHIPS[name]))
    assert not more
    assert flags & bits("rim_only")
    assert _alike(shape, SQUARE) > 0.9
    assert shape.area == pytest.approx(SQUARE.area, rel=0.05)


def test_dark_and_bright_bits_that_hang_together_nowhere_are_one_crystal():
    wall = _ring(SQUARE, 0.0, 6.0)
    glow = _ring(SQUARE, 10.0, 18.0)
    light = -0.16 * wall + 0.1 * glow
    for chip in (box(85, 85, 108, 112), box(146, 95, 175, 120)):
        light *= 1.0 - _cover(chip)
    (shape, _), *more = _large(light)
    assert not more
    assert _alike(shape, SQUARE) > 0.85


def test_two_crystals_side_by_side_stay_two():
    left, right = box(50, 80, 105, 135), box(118, 75, 180, 140)
    light = _crystal(left, [box(45, 100, 62, 118)]) + _crystal(right, [box(170, 95, 190, 115)])
    found = _large(light)
    assert len(found) == 2
    for shape in (left, right):
        assert max(_alike(f, shape) for f, _ in found) > 0.85


def test_a_bright_piece_beside_a_dark_one_is_not_its_light():
    dark, bright = box(60, 80, 110, 130), box(118, 80, 165, 130)
    found = _large(-0.2 * _cover(dark) + 0.1 * _cover(bright))
    assert len(found) == 2


def test_a_shadow_on_one_side_is_no_wall():
    piece = box(100, 80, 150, 130)
    shadow = affinity.translate(piece, 9, 7).difference(piece)
    found = _large(0.1 * _cover(piece) - 0.14 * _cover(shadow))
    best = max((shape for shape, _ in found), key=lambda s: s.intersection(piece).area)
    assert best.area == pytest.approx(piece.area, rel=0.12)


def test_coloured_bits_are_no_wall():
    # brown bits round a pale middle: skin on a kernel, not light bent by a crystal
    light = _crystal(SQUARE, CHIPS["two sides open"])
    found = _large(np.minimum(light, 0.0) * 1.6, BROWN)
    assert found
    assert all(not (flags & bits("broken_rim")) for _, flags in found)


def _beside_a_kernel(light: np.ndarray, kernel: Polygon) -> Picture:
    """A crystal with a coloured kernel beside it."""
    whole = light[..., None] * WHITE * (1.0 - _cover(kernel))[..., None]
    return _picture_of(whole - 0.2 * _cover(kernel)[..., None] * BROWN)


@pytest.mark.parametrize("name", CHIPS)
def test_a_chipped_crystal_at_a_kernel_is_one(name):
    kernel = affinity.scale(affinity.rotate(box(158, 75, 215, 150), 20), 1.0, 0.9)
    picture = _beside_a_kernel(_crystal(SQUARE, CHIPS[name]), kernel.difference(SQUARE))
    found = [shape for shape, _ in _found(picture)]
    assert len(found) == 2
    assert max(_alike(f, SQUARE) for f in found) > 0.85
    assert max(_alike(f, kernel.difference(SQUARE)) for f in found) > 0.85


def test_two_chipped_crystals_that_touch_are_two():
    left, right = box(60, 80, 118, 140), box(118, 70, 185, 135)
    light = _crystal(left, [box(52, 100, 78, 118)]) + _crystal(right, [box(150, 60, 170, 88)])
    found = [shape for shape, _ in _large(light)]
    assert len(found) == 2
    for crystal in (left, right):
        assert max(_alike(f, crystal) for f in found) > 0.85


def test_a_glint_in_a_closed_rim_is_no_crystal_of_its_own():
    crystal = affinity.rotate(box(80, 70, 180, 130), 15)
    light = -0.16 * _ring(crystal, 0.0, 5.0) + 0.12 * _cover(affinity.rotate(box(105, 80, 113, 120), 15))
    field = prepare(_picture_of(light[..., None] * WHITE))
    labels, stats, _ = low_components(field, 10.0, 0.5)
    assert len(stats) > 1
    assert not list(lit_walls(labels, stats, field.delta, field.oil_lab, 40.0))
    assert not list(lit_middles(labels, stats, field.delta, field.oil_lab, 40.0))


def test_bright_places_of_which_a_crystal_beside_took_all_show_none() -> None:
    size = (40, 40)
    inner = np.array([[10, 10], [25, 10], [25, 25], [10, 25]], np.int32)
    low = np.ones(size, bool)
    places = np.zeros(size, np.int32)
    places[10:26, 10:26] = 1
    light = np.where(places > 0, 8.0, -12.0).astype(np.float32)
    view = room._View(light, low, low, ~low, places, ~low, 12.0, 8.0, (False,) * 4)
    piece, wall_px, share = room._about(inner, (1,), view, 40.0, taken=low)
    assert piece is None
    assert wall_px == share == 0.0
