"""Pieces lit from one side: dark on one flank, bright on the other, the tone of the oil between."""

import cv2
import numpy as np
import pytest

from measure.field.ground.light import prepare
from measure.field.ground.relief import _changed, without_relief
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture
from tests.measure.field.drawn_shapes import grid_of_discs, picture_of


def _lit(angle: float, sign: float = 1.0, diameter: float = 40.0) -> Picture:
    """Twelve shaded discs with a flank of the other sign beyond each."""
    cover = grid_of_discs(diameter)
    rows, cols = cover.shape
    step = diameter + 24
    y, x = np.mgrid[:rows, :cols] + 0.5
    along = ((x % step) - step / 2) * np.cos(angle) + ((y % step) - step / 2) * np.sin(angle)
    shade = np.interp(along, [-diameter / 2, diameter / 2], [-60.0, 6.0])
    moved = cv2.warpAffine(
        cover,
        np.array([[1, 0, 7 * np.cos(angle)], [0, 1, 7 * np.sin(angle)]], np.float32),
        (cols, rows),
    )
    tone = np.where(cover > 0.5, shade, 45.0 * np.clip(moved - cover, 0, 1))
    noise = np.random.default_rng(3).normal(0, 4.0, tone.shape)
    grey = 120.0 + sign * cv2.GaussianBlur(tone.astype(np.float32), (0, 0), 1.0) + noise
    return Picture(np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, axis=2), name="relief")


@pytest.mark.parametrize("angle", [0.0, 0.9, 2.4, -1.6])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_shaded_discs_are_whole_and_their_flanks_no_pieces(angle, sign):
    found = measure_field(_lit(angle, sign), FieldSettings(), 1.0).particles
    counted = found.diameter_px[found["set_aside"] == ""]
    assert len(counted) == 12
    assert np.median(counted) == pytest.approx(40.0, rel=0.06)


def test_a_field_without_relief_is_left_as_it_is():
    light = prepare(picture_of(grid_of_discs(30)))
    assert without_relief(light) is light


def test_a_halo_all_round_is_no_relief():
    cover = grid_of_discs(30)
    ring = cv2.dilate(cover, np.ones((9, 9))) - cover
    grey = 120.0 + cv2.GaussianBlur((-50 * cover + 40 * ring).astype(np.float32), (0, 0), 1.0)
    light = prepare(Picture(np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, axis=2)))
    assert without_relief(light) is light


def test_the_light_given_is_not_changed():
    light = prepare(_lit(0.5))
    before = light.delta.copy(), light.solid_distance.copy()
    assert without_relief(light) is not light
    assert np.array_equal(light.delta, before[0])
    assert np.array_equal(light.solid_distance, before[1])


def test_a_light_piece_with_its_shadow_beside_dark_ones_is_no_flank():
    grey = np.full((340, 380), 120.0)
    y, x = np.mgrid[:340, :380] + 0.5
    for cx, cy, radius, step in [(290, 90, 45, -70.0), (110, 270, 45, -70.0), (118, 118, 40, -70.0)]:
        grey[(x - cx) ** 2 + (y - cy) ** 2 < radius**2] = 120.0 + step
    grey[(x - 100) ** 2 + (y - 100) ** 2 < 36**2] = 210.0
    grey = cv2.GaussianBlur(grey, (0, 0), 1.5) + np.random.default_rng(4).normal(0, 2.0, grey.shape)
    picture = Picture(np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, axis=2))
    light = prepare(picture)
    assert without_relief(light) is light
    found = measure_field(picture, FieldSettings(), 1.0).particles
    near = np.hypot(found["centre_x_px"] - 100, found["centre_y_px"] - 100) < 4
    assert found.diameter_px[near & (found["set_aside"] == "")] == pytest.approx([72.0], rel=0.02)


def test_a_micrograph_agrees_with_the_outlines_drawn_by_its_makers(real_pictures):
    """32 particles of the EMPS set (Yildirim and Cole 2021): picture and labels, CC BY 4.0."""
    from measure.picture_file import read_picture

    folder = real_pictures / "electron_micrograph_with_mask"
    truth = cv2.imread(str(folder / "instance_labels_uint16.png"), cv2.IMREAD_UNCHANGED)
    bar = np.array([[405, 450], [512, 450], [512, 512], [405, 512]], float)
    found = measure_field(read_picture(folder / "image.png"), FieldSettings(), 1.0, zones=(bar,)).particles
    outlines = [o for o, reason in zip(found.outlines, found["set_aside"], strict=True) if reason == ""]
    masks = [_mask(outline, truth.shape) for outline in outlines]
    matched = 0
    for label in np.unique(truth)[1:]:
        own = truth == label
        matched += max((m & own).sum() / (m | own).sum() for m in masks if (m & own).any()) > 0.7
    assert (matched, len(outlines)) == (32, 32)


def _mask(outline: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.round((outline - 0.5) * 16).astype(np.int32)], 1, shift=4)
    return mask > 0


def test_flanks_without_a_piece_between_them_change_nothing():
    light = prepare(Picture(np.full((9, 7, 3), 200, np.uint8), name="small"))
    nothing = np.zeros((9, 7), bool)
    assert _changed(light, nothing, nothing, np.float32(-5.0)) is light


def test_flanks_in_coarse_noise_belong_to_their_pieces():
    soft = cv2.GaussianBlur(_lit(0.9).pixels[..., 0], (0, 0), 1.5).astype(np.float32)
    grain = cv2.GaussianBlur(np.random.default_rng(5).normal(0, 1, soft.shape), (0, 0), 2.2)
    grey = np.clip(soft + 4.0 * grain / grain.std(), 0, 255).astype(np.uint8)
    picture = Picture(np.repeat(grey[..., None], 3, axis=2), name="coarse relief", grey=True)
    found = measure_field(picture, FieldSettings(), 1.0).particles
    counted = found.diameter_px[found["set_aside"] == ""]
    assert len(counted) == 12
    assert np.median(counted) == pytest.approx(40.0, rel=0.08)


def test_bright_pieces_beside_coloured_ones_are_no_light_from_one_side():
    pixels = np.full((300, 420, 3), 150.0)
    for row in (40, 130, 220):
        for col in (30, 160, 290):
            pixels[row : row + 36, col : col + 36] = (110.0, 80.0, 60.0)
            pixels[row : row + 36, col + 44 : col + 80] = 200.0
    pixels = cv2.GaussianBlur(pixels, (0, 0), 1.0) + np.random.default_rng(2).normal(0, 1.5, pixels.shape)
    picture = Picture(np.clip(pixels, 0, 255).astype(np.uint8), name="side by side")
    found = measure_field(picture, FieldSettings(), 1.0).particles
    assert np.count_nonzero(found["set_aside"] == "") == 18
