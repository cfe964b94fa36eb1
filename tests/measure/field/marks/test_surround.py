"""Borders round the view: round field stops, bars, trays; and dark pieces at a corner, which are none."""

import cv2
import numpy as np
import pytest

from measure.field.ground.light import zone_mask
from measure.field.marks.surround import border_zones, polygons
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture
from tests.measure.field.drawn_shapes import cover_of, grid_of_discs, picture_of

_SIZE = (360, 480)


def _in_view(inside, border: float = 6.0, blur_px: float = 3.0) -> tuple[Picture, np.ndarray]:
    """Discs seen through an opening, and the share of each pixel that is seen."""
    seen = cv2.GaussianBlur(cover_of(inside, _SIZE), (0, 0), blur_px)
    discs = picture_of(cv2.resize(grid_of_discs(30, 8, 6), _SIZE[::-1])).pixels
    pixels = seen[..., None] * discs + (1 - seen[..., None]) * border
    return Picture(np.round(pixels).astype(np.uint8), name="view"), seen


def _round(x, y):
    return np.hypot(x - 250, y - 175) < 165


@pytest.mark.parametrize(
    "inside",
    [
        _round,
        lambda x, y: np.hypot(x - 240, y - 180) < 265,  # corners only
        lambda x, y: (y > 40) & (y < 330),
        lambda x, y: np.hypot(x - 200, y - 180) < 300,  # one side's corners
    ],
)
def test_a_black_border_is_left_out_and_the_view_kept(inside):
    picture, seen = _in_view(inside)
    mask = zone_mask(_SIZE, border_zones(picture)).astype(bool)
    assert mask[seen < 0.5].all()
    assert mask[seen > 0.99].mean() < 0.03


def test_a_white_tray_round_a_darker_view_is_left_out():
    picture, seen = _in_view(_round, border=255.0)
    dimmed = Picture(
        np.where(seen[..., None] > 0.01, picture.pixels * 0.8, 255).astype(np.uint8), name="tray"
    )
    mask = zone_mask(_SIZE, border_zones(dimmed)).astype(bool)
    assert mask[seen < 0.01].all()
    assert mask[seen > 0.99].mean() < 0.03


@pytest.mark.parametrize("corner", [(0, 0), (480, 0), (480, 360)])
def test_a_black_piece_cut_by_a_corner_is_no_border(corner):
    picture, _ = _in_view(lambda x, y: np.hypot(x - corner[0], y - corner[1]) > 90, blur_px=1.0)
    assert border_zones(picture) == ()


def test_a_full_view_and_a_dark_ground_have_no_border():
    assert border_zones(picture_of(grid_of_discs(40))) == ()
    assert border_zones(picture_of(grid_of_discs(40), oil=(12, 12, 12), piece=(90, 80, 70))) == ()


def test_pieces_in_a_round_view_are_counted_and_cut_ones_marked():
    picture, seen = _in_view(_round)
    result = measure_field(picture, FieldSettings(), 1.0)
    particles = result.particles
    assert all(seen[int(y), int(x)] > 0.5 for x, y in zip(*_centres(particles), strict=True))
    whole = particles.diameter_px[(particles["set_aside"] == "") & (particles["flags"] & _MEETS == 0)]
    assert len(whole) > 15
    assert np.median(whole) == pytest.approx(30 * 480 / 432, rel=0.02)
    assert "border round the view" in result.notes[0]
    assert zone_mask(_SIZE, result.frame.zones).mean() == pytest.approx(1 - seen.mean(), abs=0.05)


def test_a_border_left_out_already_is_not_added_again():
    picture, _ = _in_view(_round)
    assert border_zones(picture, border_zones(picture)) == ()


def _centres(particles) -> tuple[np.ndarray, np.ndarray]:
    return particles["centre_x_px"], particles["centre_y_px"]


def _meets() -> int:
    from measure.flags import bits

    return bits("meets_zone", "touches_frame")


_MEETS = _meets()


def test_a_border_beside_one_column_of_view_has_no_empty_half():
    border = np.ones((2, 34), np.uint8)
    border[:, 0] = 0
    (zone,) = polygons(border, (2, 34))
    assert (zone.min(axis=0).tolist(), zone.max(axis=0).tolist()) == ([1.0, 0.0], [34.0, 2.0])
