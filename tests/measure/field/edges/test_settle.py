"""Outlines settled on the edge: drawn discs whose edge is known, with an inside that is not even."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from measure.field.basics.found import Found
from measure.field.basics.outline import area
from measure.field.edges.edge_level import mixed_values
from measure.field.edges.settle import blur_of_bodies, settled
from measure.field.ground.light import prepare
from measure.field.pipeline import measure_field
from measure.flags import bits
from measure.model import FieldSettings, Picture

OVER = 8
SIZE = (120, 150)


def _depth(centre: tuple[float, float], radius: float) -> np.ndarray:
    y, x = (np.mgrid[: SIZE[0] * OVER, : SIZE[1] * OVER] + 0.5) / OVER
    return radius - np.hypot(x - centre[0], y - centre[1])


def _picture(change: np.ndarray, blur_px: float = 1.1, oil: float = 0.30, noise: float = 1.0) -> Picture:
    """Picture of a change of the oil's light, drawn finely, blurred as light and stored by sRGB."""
    coarse = cv2.resize(change.astype(np.float32), SIZE[::-1], interpolation=cv2.INTER_AREA)
    light = oil * (1.0 + cv2.GaussianBlur(coarse, (0, 0), blur_px))[..., None] * np.array([1.0, 0.9, 0.7])
    stored = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)  # IEC 61966-2-1
    values = 255 * stored + np.random.default_rng(5).normal(0, noise, light.shape)
    return Picture(np.clip(np.rint(values), 0, 255).astype(np.uint8), name="drawn")


def _diameters(picture: Picture) -> np.ndarray:
    found = measure_field(picture, FieldSettings(), 1.0).particles
    return found.diameter_px[found["set_aside"] == ""]


def _disc_outline(centre: tuple[float, float], radius: float, points: int = 150) -> np.ndarray:
    turn = np.linspace(0, 2 * np.pi, points, endpoint=False)
    return (np.array(centre) + radius * np.column_stack([np.cos(turn), np.sin(turn)])).astype(np.float32)


def _found(outlines: list[np.ndarray], flags: int = 0) -> Found:
    none = np.zeros(len(outlines), np.int32)
    return Found(outlines, none, none + np.int32(flags), none.astype(np.int8))


def _offset_px(outline: np.ndarray, radius: float) -> float:
    return float(np.sqrt(area(outline) / np.pi)) - radius


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_an_inside_that_rises_from_the_edge_does_not_move_the_edge(sign):
    """At the edge the step is 0.7 of what it is 5 px inside; half of that stands 0.3 px too far in."""
    depth = _depth((70.3, 60.6), 20.0)
    change = 0.6 * sign * (depth > 0) * (0.7 + 0.3 * np.clip(depth / 5.0, 0, 1))
    (diameter,) = _diameters(_picture(change))
    if sign > 0:
        assert diameter == pytest.approx(40.0, abs=0.25)
    else:
        assert diameter < 39.75  # darker than the oil it may be a line along the edge: it stays


RADIUS = 16.0
SIX = [(25.0 + 50.0 * i + 0.3 * j, 30.0 + 60.0 * j + 0.2 * i) for i in range(3) for j in range(2)]


def _six(density) -> np.ndarray:
    """Change of light by six discs whose density goes with their depth (law of Beer and Lambert)."""
    depth = np.maximum.reduce([_depth(centre, RADIUS) for centre in SIX])
    return np.where(depth > 0, np.exp(-density(np.clip(depth, 0, None))) - 1.0, 0.0)


def test_domes_that_only_absorb_reach_farther_out_than_they_seem():
    """A third as dense at the edge as in the middle: half of what is seen inside stands 0.5 px too far in."""
    domes = _six(lambda depth: 0.9 * (0.35 + 0.65 * (depth / RADIUS) ** 0.4))
    found = _diameters(_picture(domes, 1.2, noise=0.5))
    assert len(found) == 6
    assert found == pytest.approx(2 * RADIUS, rel=0.012)
    found = _found([_disc_outline(centre, RADIUS - 0.3) for centre in SIX])
    found = replace(found, flags=np.array([0] * 5 + [bits("overlap")], np.int32))
    domes_light = prepare(_picture(domes, 1.2, noise=0.5))
    for absorbing in (True, False):
        moved = settled(found, domes_light, absorbing).outlines
        offset = [_offset_px(outline, RADIUS) for outline in moved]
        assert offset == pytest.approx([0.0 if absorbing else -0.3] * 6, abs=0.15)


def test_domes_with_a_dark_line_of_bent_light_stay():
    """Right behind the line they are no darker than at it, and the line itself may lie within or without."""
    lined = _six(lambda depth: 0.7 * (0.8 + 0.5 * depth / RADIUS + 0.3 * np.exp(-((depth / 2.5) ** 2))))
    light = prepare(_picture(lined, 1.2, noise=0.5))
    for outline in settled(_found([_disc_outline(centre, RADIUS - 0.2) for centre in SIX]), light).outlines:
        assert _offset_px(outline, RADIUS) == pytest.approx(-0.2, abs=0.03)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_band_along_the_edge_does_not_move_the_edge(sign):
    """At the edge the step is 1.3 of what it is 4 px inside; half of the inside is 0.25 px too far out."""
    depth = _depth((70.3, 60.6), 20.0)
    change = 0.4 * sign * (depth > 0) * (1.0 + 0.3 * np.clip(1.0 - depth / 4.0, 0, 1))
    (diameter,) = _diameters(_picture(change))
    assert diameter == pytest.approx(40.0, abs=0.3)


@pytest.mark.parametrize("blur_px", [0.9, 1.6, 2.4])
@pytest.mark.parametrize("start_px", [-0.4, 0.4])
def test_the_edge_of_an_even_disc_is_found_from_both_sides(blur_px, start_px):
    depth = _depth((70.3, 60.6), 24.0)
    light = prepare(_picture(0.8 * (depth > 0), blur_px))
    start = _disc_outline((70.3, 60.6), 24.0 + start_px)
    (outline,) = settled(_found([start]), light).outlines
    assert _offset_px(outline, 24.0) == pytest.approx(0.0, abs=0.06)


@pytest.mark.parametrize(("radius", "blur_px"), [(7.0, 1.4), (8.0, 2.4), (10.0, 2.8)])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_edge_of_a_small_disc_is_found_though_its_other_side_is_near(radius, blur_px, sign):
    depth = _depth((70.3, 60.6), radius)
    light = prepare(_picture(0.5 * sign * (depth > 0), blur_px, oil=0.4, noise=0.5))
    start = _disc_outline((70.3, 60.6), radius + 0.4)
    (outline,) = settled(_found([start]), light).outlines
    assert _offset_px(outline, radius) == pytest.approx(0.0, abs=0.12)


@pytest.mark.parametrize("blur_px", [2.2, 2.8])
def test_the_ring_of_a_small_crystal_out_of_focus_reaches_beyond_its_edge(blur_px):
    """Half of a blurred line lies 1.2 sigma off its middle: the outline stands a fifth too far out."""
    depth = _depth((70.3, 60.6), 8.5)
    light = prepare(_picture(-0.6 * ((depth > 0) & (depth < 2.5)), blur_px, oil=0.6))
    start = _disc_outline((70.3, 60.6), 10.4)
    (outline,) = settled(_found([start]), light).outlines
    assert _offset_px(outline, 8.5) == pytest.approx(0.0, abs=0.4)
    light = prepare(_picture(-0.6 * (_depth((70.3, 60.6), 10.4) > 0), blur_px, oil=0.6))
    (even,) = settled(_found([start]), light).outlines
    assert _offset_px(even, 10.4) == pytest.approx(0.0, abs=0.2)  # what has no paler middle is no ring


def test_pieces_that_touch_are_no_discs():
    """Across such a piece lies no oil, so what is known of a disc's other side does not hold."""
    first, second = _depth((64.0, 60.0), 7.0), _depth((78.0, 60.0), 7.0)
    light = prepare(_picture(-0.6 * ((first > 0) | (second > 0)), 2.4, oil=0.6))
    halves = [_disc_outline((x, 60.0), 7.2) for x in (64.0, 78.0)]
    for half, outline in zip(halves, settled(_found(halves), light).outlines, strict=True):
        assert (outline == half).all()


def test_pieces_seen_by_their_rim_or_under_others_stay():
    light = prepare(_picture(0.8 * (_depth((70.3, 60.6), 24.0) > 0)))
    start = _disc_outline((70.3, 60.6), 24.4)
    for name in ("rim_only", "overlap"):
        (outline,) = settled(_found([start], bits(name)), light).outlines
        assert (outline == start).all()


def test_the_seam_between_touching_pieces_stays():
    first, second = _depth((50.0, 60.0), 24.0), _depth((96.0, 60.0), 24.0)
    light = prepare(_picture(0.8 * ((first > 0) | (second > 0))))
    halves = [_disc_outline((x, 60.0), 24.4) for x in (50.0, 96.0)]
    halves[0][:, 0], halves[1][:, 0] = np.minimum(halves[0][:, 0], 73.0), np.maximum(halves[1][:, 0], 73.0)
    moved = settled(_found(halves), light).outlines
    assert moved[0][:, 0].max() == pytest.approx(73.0, abs=0.02)
    assert moved[1][:, 0].min() == pytest.approx(73.0, abs=0.02)
    assert moved[0][:, 0].min() == pytest.approx(26.0, abs=0.12)  # 25.6 before


def test_nothing_moves_where_there_is_no_picture_to_tell():
    light = prepare(_picture(np.zeros((SIZE[0] * OVER, SIZE[1] * OVER))))
    at_frame = np.array([[0, 0], [30, 0], [30, 4], [0, 4]], np.float32)
    assert settled(_found([]), light).outlines == []
    (outline,) = settled(_found([at_frame]), light).outlines
    assert np.isfinite(outline).all()
    assert np.abs(outline - at_frame).max() < 1.0


@pytest.mark.parametrize("blur_px", [0.9, 1.6, 2.4])
def test_the_blur_of_a_body_is_read(blur_px):
    light = prepare(_picture(0.8 * (_depth((70.3, 60.6), 28.0) > 0), blur_px))
    (sigma,) = blur_of_bodies(_found([_disc_outline((70.3, 60.6), 28.2)]), light)
    # pixels and the reading between them blur too: a box has the variance 1/12, a line between two 1/6
    assert sigma == pytest.approx(np.sqrt(blur_px**2 + 1 / 12 + 1 / 6), rel=0.1)
    assert len(blur_of_bodies(_found([_disc_outline((70.3, 60.6), 28.2)], bits("touching")), light)) == 0


def test_lightness_turned_back_into_light():
    """CIE 15: Y = ((L + 16) / 116)^3, so L 50 is 18.42 % of white; its sRGB grey is 118.9 of 255."""
    lab = np.array([[50.0, 0.0, 0.0], [100.0, 0.0, 0.0]], np.float32)
    assert mixed_values(lab, 1.0) == pytest.approx(np.array([[0.18419] * 3, [1.0] * 3]), rel=1e-3)
    assert mixed_values(lab, 0.0)[0] == pytest.approx(118.9 / 255, rel=0.07)  # a power stands for sRGB


@pytest.mark.parametrize("diameter", [15.0, 20.0, 28.0])
@pytest.mark.parametrize("blur_px", [1.4, 2.0, 2.6])
def test_a_small_dark_disc_out_of_focus_keeps_its_size(diameter, blur_px):
    """How dark its flanks are does not tell how far its own light is from that of the oil."""
    change = -0.6 * (_depth((75.3, 60.4), diameter / 2) > 0)
    (found,) = _diameters(_picture(change, blur_px, oil=0.6))
    assert found == pytest.approx(diameter, rel=0.014)
