"""What looks like several pieces and is one: mottle, haze in a rim, light and shade, a shadow beside it."""

import cv2
import numpy as np
import pytest

from measure.field.basics.masks import solidity
from measure.field.bodies.body_holes import fill_body
from measure.field.bodies.opposite import parted_by_sign
from measure.field.cuts.cut_lobes import is_oval
from measure.field.edges.flanks import above_half
from measure.field.overlaps.lens_checks import shattered
from measure.field.pipeline import measure_field
from measure.field.rims.one_rim import one_rim
from measure.model import FieldSettings, Picture

SIZE = (160, 240)


def _disc(centre: tuple[float, float], radius: float) -> np.ndarray:
    y, x = np.mgrid[: SIZE[0], : SIZE[1]] + 0.5
    return np.clip(radius + 0.5 - np.hypot(x - centre[0], y - centre[1]), 0, 1).astype(np.float32)


def _picture(light: np.ndarray, oil: float = 200.0, seed: int = 4) -> Picture:
    """Picture of what part of the oil's light each pixel lets through, a little blurred."""
    light = cv2.GaussianBlur(light.astype(np.float32), (0, 0), 1.2)[..., None] * np.array([1.0, 0.97, 0.86])
    noise = np.random.default_rng(seed).normal(0, 1.0, light.shape)
    return Picture(np.clip(np.rint(oil * light + noise), 0, 255).astype(np.uint8), name="one")


def _counted(picture: Picture) -> np.ndarray:
    found = measure_field(picture, FieldSettings(), 1.0).particles
    return np.sort(found.diameter_px[found["set_aside"] == ""])


@pytest.mark.parametrize("seed", range(4))
def test_a_mottled_piece_beside_another_stays_one(seed):
    cloud = cv2.GaussianBlur(np.random.default_rng(seed).normal(0, 1, SIZE), (0, 0), 4.0)
    mottle = np.clip(0.5 + 0.22 * cloud / cloud.std(), 0.15, 0.95)
    density = mottle * np.maximum(_disc((80, 80), 42), _disc((150, 80), 28))
    assert _counted(_picture(np.exp(-density))) == pytest.approx([56, 84], rel=0.08)


def test_a_pale_piece_beside_a_mottled_one_is_found():
    cloud = cv2.GaussianBlur(np.random.default_rng(9).normal(0, 1, SIZE), (0, 0), 3.0)
    dark = np.clip(0.8 + 0.25 * cloud / cloud.std(), 0.3, 1.5) * _disc((75, 80), 45)
    pale = 0.1 * _disc((143, 80), 24)
    assert _counted(_picture(np.exp(-np.maximum(dark, pale)))) == pytest.approx([48, 90], rel=0.08)


def test_the_width_of_an_edge_does_not_follow_the_mottle():
    cloud = cv2.GaussianBlur(np.random.default_rng(3).normal(0, 1, SIZE), (0, 0), 6.0)
    body = _disc((120, 80), 60)
    even, mottled = (
        cv2.GaussianBlur((h * body).astype(np.float32), (0, 0), 1.5)
        for h in (np.full(SIZE, 30.0), np.clip(30 + 14 * cloud / cloud.std(), 6, 60))
    )
    low = body > 0
    width = above_half(even, cv2.dilate(low.view(np.uint8), np.ones((9, 9))) > 0)[1]
    assert width == pytest.approx(2.56 * 1.5, rel=0.35)
    assert above_half(mottled, cv2.dilate(low.view(np.uint8), np.ones((9, 9))) > 0)[1] < 1.5 * width


def test_a_closed_edge_line_with_a_cloudy_inside_is_one_piece():
    outer, inner = _disc((120, 80), 55), _disc((120, 80), 52)
    cloud = cv2.GaussianBlur(np.random.default_rng(1).normal(0, 1, SIZE), (0, 0), 5.0)
    density = 0.35 * (outer - inner) + (0.05 + 0.012 * cloud / cloud.std()) * inner
    assert _counted(_picture(np.exp(-density))) == pytest.approx([110], rel=0.05)


def test_a_line_that_is_open_goes_round_nothing():
    field = (20.0 * (_disc((120, 80), 50) - _disc((120, 80), 46)) + 4.0 * _disc((120, 80), 46)).astype(
        np.float32
    )
    low = field > 2
    assert one_rim(low, field, 3.0) is not None
    field[:, 90:150] = np.minimum(field[:, 90:150], 4.0)
    assert one_rim(low, field, 3.0) is None


def test_a_shadow_is_left_out_and_a_strong_neighbour_of_the_other_sign_kept():
    labels = np.zeros((60, 90), np.int32)
    labels[5:55, 5:85] = 1
    delta = np.zeros((60, 90, 3), np.float32)
    delta[:, :60, 0], delta[:, 60:, 0] = 40.0, -12.0
    without, added = parted_by_sign(labels, delta, 50.0)
    assert not added
    assert (without[8:52, 64:82] == 0).all()
    assert (without[8:52, 8:58] == 1).all()
    delta[:, 60:, 0] = -38.0
    parted, added = parted_by_sign(labels, delta, 50.0)
    assert added == [2]
    assert (parted[8:52, 64:82] == 2).all()


def test_light_and_shade_of_a_round_piece_are_one():
    assert is_oval((_disc((120, 80), 50) > 0.5).astype(np.uint8))
    two = np.maximum(_disc((90, 80), 45), _disc((140, 80), 45))
    assert not is_oval((two > 0.5).astype(np.uint8))


def test_a_compact_piece_is_not_three():
    whole = (_disc((120, 80), 50) > 0.5).astype(np.uint8)
    thirds = [whole * part for part in (np.arange(240) < 100, np.arange(240) > 140)]
    thirds = [t.astype(np.uint8) for t in (*thirds, whole - thirds[0] - thirds[1])]
    assert shattered(whole, thirds)
    assert not shattered(whole, thirds[:2])


def test_a_round_piece_cut_like_a_pie_comes_together_and_a_ring_of_pieces_does_not():
    from measure.field.ground.light import prepare
    from measure.field.kinds.measure_outlines import measure_outlines
    from measure.field.whole_field.round_holes import around_holes

    whole = _disc((120, 80), 50)
    picture = _picture(np.exp(-0.5 * whole))
    turn = np.linspace(0, 2 * np.pi, 91)
    rim = np.column_stack([120 + 50 * np.cos(turn), 80 + 50 * np.sin(turn)]).astype(np.float32)
    middle = np.array([[120.0, 80.0]], np.float32)
    wedges = [np.concatenate([middle, rim[a : a + 31]]) for a in (0, 30, 60)]
    parent = np.ones(3, np.int32)
    cut = measure_outlines(wedges, picture, prepare(picture), None, parent)
    ((rows, outline),) = around_holes(cut)
    assert sorted(rows) == [0, 1, 2]
    assert cv2.contourArea(outline) == pytest.approx(np.pi * 50**2, rel=0.02)
    small = np.column_stack([20 * np.cos(turn), 20 * np.sin(turn)]).astype(np.float32)
    three = [small + np.array(at, np.float32) for at in ((100, 60), (140.5, 60), (120, 95.5))]
    assert around_holes(measure_outlines(three, picture, prepare(picture), None, parent)) == []


def test_a_winding_thread_is_no_rim_of_a_piece():
    x = np.arange(40, 200, 0.5)
    course = np.column_stack([x, 80 + 32 * np.sin((x - 40) / 25)])
    thread = np.zeros(SIZE, np.uint8)
    cv2.polylines(thread, [np.round(course * 16).astype(np.int32)], False, 1, 5, cv2.LINE_8, 4)
    found = measure_field(_picture(np.exp(-0.4 * thread.astype(float))), FieldSettings(), 1.0).particles
    assert found["area_px2"].max() < 1.4 * thread.sum()
    assert (found["set_aside"][found["area_px2"] > 0.5 * thread.sum()] == "fibre").all()


def test_pieces_round_a_gap_that_do_not_hang_together_all_stay():
    from measure.field.ground.light import prepare
    from measure.field.kinds.measure_outlines import measure_outlines
    from measure.field.whole_field.round_holes import around_holes

    picture = _picture(np.exp(-0.5 * _disc((120, 80), 50)))
    turn = np.linspace(0, 2 * np.pi, 91)
    round_ = np.column_stack([np.cos(turn), np.sin(turn)]).astype(np.float32)
    large, small = 20 * round_ + np.float32([100, 80]), 14 * round_ + np.float32([138, 80])
    beyond = 12 * round_ + np.float32([100, 116])
    found = measure_outlines([large, small, beyond], picture, prepare(picture), None, np.ones(3, np.int32))
    assert around_holes(found) == []


@pytest.mark.parametrize(("tone", "filled"), [(-0.35, True), (0.0, False), (-0.1, False)])
def test_a_round_hole_brighter_than_the_oil_is_a_highlight_and_one_like_it_a_gap(tone, filled):
    body = _disc((120, 80), 55)
    for x, y in ((120, 22), (68, 108), (172, 108)):  # with bays it is not surely one piece
        body = body * (1 - _disc((x, y), 22))
    spot = _disc((128, 84), 9)
    share = cv2.GaussianBlur((body * (1 - spot) + tone * spot).astype(np.float32), (0, 0), 1.2)
    mask = (share > 0.5).astype(np.uint8)
    assert solidity(mask) < 0.9
    found = fill_body(mask, np.abs(share), 3.0, np.sign(share))
    assert bool(found[84, 128]) is filled
