"""Measuring whole fields: closed forms, light, zones, empty pictures, and the real pictures.

Sizes of drawn shapes are exact. Counts of real pictures are those their sources state or a person counted.
"""

import cv2
import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.field.pipeline import measure_field
from measure.flags import bits
from measure.model import FieldSettings, Picture
from measure.particles import COLUMNS
from measure.picture_file import read_picture
from tests.measure.field.drawn_shapes import cover_of, grid_of_discs, picture_of


def measured(picture, smallest_px=None, **options):
    settings = FieldSettings(smallest_um=smallest_px, **options)
    return measure_field(picture, settings, 1.0)


def whole(result):
    flags = result.particles["flags"]
    return (flags & bits("touches_frame", "meets_zone") == 0) & (result.particles["set_aside"] == "")


@pytest.mark.parametrize("diameter", [10, 15, 30, 60])
@pytest.mark.parametrize("piece", [(150, 130, 100), (238, 236, 230)], ids=["darker", "lighter"])
def test_discs_keep_their_size(diameter, piece):
    result = measured(picture_of(grid_of_discs(diameter), oil=(200, 185, 165), piece=piece, blur_px=0.8), 7)
    sizes = result.particles.diameter_px
    assert len(sizes) == 12
    assert np.median(sizes) == pytest.approx(diameter, rel=0.02 if diameter < 15 else 0.01)
    assert np.ptp(sizes) < 0.06 * diameter


def test_square_keeps_its_area():
    cover = cover_of(lambda x, y: (abs(x - 60.3) < 20) & (abs(y - 55.7) < 20), (110, 120))
    result = measured(picture_of(cover))
    assert len(result.particles) == 1
    assert result.particles["area_px2"][0] == pytest.approx(1600, rel=0.02)


def test_a_piece_told_by_colour_alone_is_found():
    cover = grid_of_discs(24)
    result = measured(picture_of(cover, oil=(170, 170, 170), piece=(196, 160, 164)))
    assert len(result.particles) == 12
    assert np.median(result.particles.diameter_px) == pytest.approx(24, rel=0.02)


def test_uneven_light_changes_no_size():
    cover = grid_of_discs(30, 6, 5)
    rows, cols = cover.shape
    y, x = np.mgrid[:rows, :cols].astype(np.float32)
    light = 1.0 - 0.35 * x / cols - 0.25 * ((y / rows - 0.5) ** 2) * 4
    result = measured(picture_of(cover, light=light))
    assert len(result.particles) == 30
    assert np.median(result.particles.diameter_px) == pytest.approx(30, rel=0.01)
    assert result.quality.unevenness > 8


def test_a_blank_takes_the_light_out():
    cover = grid_of_discs(30, 6, 5)
    rows, cols = cover.shape
    light = np.fromfunction(
        lambda y, x: 1.0 - 0.5 * ((x / cols - 0.5) ** 2 + (y / rows - 0.5) ** 2), (rows, cols)
    )
    field = picture_of(cover, light=light.astype(np.float32))
    blank = picture_of(np.zeros_like(cover), light=light.astype(np.float32), seed=7)
    result = measure_field(field, FieldSettings(), 1.0, blank=blank)
    assert len(result.particles) == 30
    assert result.quality.unevenness < 4
    with pytest.raises(InvalidInput, match="same camera setting"):
        measure_field(field, FieldSettings(), 1.0, blank=Picture(blank.pixels[:-5]))


def test_pieces_over_half_of_the_field_are_not_taken_for_oil():
    step, diameter = 50, 42
    cover = cover_of(
        lambda x, y: ((x % step - 25) ** 2 + (y % step - 25) ** 2) < diameter**2 / 4, (step * 6, step * 8)
    )
    assert cover.mean() > 0.5
    result = measured(picture_of(cover))
    assert np.count_nonzero(whole(result)) == 48
    assert np.median(result.particles.diameter_px) == pytest.approx(diameter, rel=0.01)


def test_a_piece_of_a_third_of_the_frame_is_not_swallowed():
    cover = cover_of(lambda x, y: (x - 200) ** 2 + (y - 150) ** 2 < 110**2, (300, 400))
    result = measured(picture_of(cover))
    assert len(result.particles) == 1
    assert result.particles.diameter_px[0] == pytest.approx(220, rel=0.01)


def two_discs(gap):
    a, b = 60 - (20 + gap / 2), 60 + (20 + gap / 2)
    return cover_of(
        lambda x, y: ((x - a) ** 2 + (y - 50) ** 2 < 400) | ((x - b) ** 2 + (y - 50) ** 2 < 400), (100, 120)
    )


def test_touching_discs_are_cut_in_two():
    result = measured(picture_of(two_discs(-1.0)))
    particles = result.particles
    assert len(particles) == 2
    assert (particles["flags"] & bits("touching") > 0).all()
    assert particles["parent"][0] == particles["parent"][1] > 0
    np.testing.assert_allclose(particles.diameter_px, 40, rtol=0.02)


def test_cut_strength_nought_never_cuts():
    result = measured(picture_of(two_discs(-1.0)), cut_strength=0.0)
    assert len(result.particles) == 1
    assert result.particles["parent"][0] == 0


@pytest.mark.parametrize("bend", ["ell", "banana"])
def test_a_concave_single_piece_stays_whole(bend):
    if bend == "ell":
        cover = cover_of(
            lambda x, y: (
                ((abs(x - 40) < 12) & (abs(y - 60) < 40)) | ((abs(x - 60) < 32) & (abs(y - 88) < 12))
            ),
            (130, 130),
        )
    else:
        cover = cover_of(lambda x, y: (abs(np.hypot(x - 80, y - 80) - 45) < 11) & (y < 80), (130, 160))
    result = measured(picture_of(cover))
    assert len(result.particles) == 1


def test_a_clear_crystal_is_filled_to_its_outer_edge():
    def rim(x, y):
        half = np.maximum(abs(x - 60.4), abs(y - 59.7))
        return (half < 24) & (half > 20) & ~((y < 50) & (abs(x - 60) < 6))

    result = measured(picture_of(cover_of(rim, (120, 120))))
    assert len(result.particles) == 1
    assert result.particles["flags"][0] & bits("rim_only")
    assert result.particles["area_px2"][0] == pytest.approx(48**2, rel=0.05)


def test_oil_between_touching_discs_is_not_filled():
    centres = [(60, 60), (100, 60), (60, 100), (100, 100)]
    cover = cover_of(
        lambda x, y: np.any([(x - a) ** 2 + (y - b) ** 2 < 20.4**2 for a, b in centres], axis=0), (160, 160)
    )
    result = measured(picture_of(cover))
    assert len(result.particles) == 4
    np.testing.assert_allclose(result.particles.diameter_px, 40.6, rtol=0.03)


def test_zones_are_left_out_and_their_neighbours_flagged():
    picture = picture_of(grid_of_discs(30))
    zone = np.array([[0, 0], [27, 0], [27, 200], [0, 200]], float)
    result = measure_field(picture, FieldSettings(), 1.0, zones=(zone,))
    flagged = result.particles["flags"] & bits("meets_zone") > 0
    assert flagged.sum() == 3
    assert result.particles["centre_x_px"].min() > 27
    assert len(result.frame.zones) == 1


def test_pieces_cut_by_the_frame_are_flagged_and_reach_it():
    cover = cover_of(lambda x, y: (x - 5) ** 2 + (y - 50) ** 2 < 400, (100, 120))
    particles = measured(picture_of(cover)).particles
    assert len(particles) == 1
    assert particles["flags"][0] & bits("touches_frame")
    assert particles.outlines[0][:, 0].min() == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize("value", [0, 128, 255])
def test_an_empty_picture_gives_an_empty_typed_result(value):
    result = measured(Picture(np.full((60, 80, 3), value, np.uint8)))
    assert len(result.particles) == 0
    assert set(result.particles.columns) == set(COLUMNS)
    assert result.quality.cover == 0
    assert any("No piece" in words for words in result.quality.warnings)


def test_noise_alone_is_no_piece():
    rng = np.random.default_rng(3)
    noisy = np.clip(rng.normal(180, 12, (300, 400, 3)), 0, 255).astype(np.uint8)
    assert len(measured(Picture(noisy)).particles) == 0


def test_compression_makes_no_pieces_and_no_fat():
    picture = picture_of(grid_of_discs(30), oil=(215, 205, 180), piece=(140, 80, 60))
    _, data = cv2.imencode(".jpg", picture.pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 60])
    squeezed = Picture(np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1]))
    result = measured(squeezed)
    # a shadow of the compression may be listed as below the lower limit, never counted
    counted = result.particles["set_aside"] == ""
    assert counted.sum() == 12
    assert result.particles.diameter_px[counted] == pytest.approx(np.full(12, 30.0), rel=0.015)


def test_sixteen_bit_measures_like_eight():
    cover = grid_of_discs(20)
    eight = measured(picture_of(cover)).particles.diameter_px
    sixteen = measured(picture_of(cover, dtype=np.uint16)).particles.diameter_px
    assert len(eight) == len(sixteen) == 12
    np.testing.assert_allclose(np.sort(eight), np.sort(sixteen), rtol=0.01)


def test_the_same_picture_gives_the_same_result():
    picture = picture_of(grid_of_discs(14), noise=4.0)
    first, second = measured(picture).particles, measured(picture).particles
    for name in COLUMNS:
        np.testing.assert_array_equal(first[name], second[name])
    for a, b in zip(first.outlines, second.outlines, strict=True):
        np.testing.assert_array_equal(a, b)


def test_below_the_limit_is_set_aside_and_far_below_is_not_reported():
    picture = picture_of(grid_of_discs(14))
    aside = measured(picture, 16).particles
    assert len(aside) == 12
    assert set(aside["set_aside"]) == {"below the lower limit"}
    assert len(measured(picture, 25).particles) == 0


@pytest.mark.parametrize(
    ("smallest", "scale"), [(-1.0, 1.0), (float("nan"), 1.0), (5.0, 0.0), (5.0, float("nan"))]
)
def test_bad_settings_are_refused(smallest, scale):
    with pytest.raises(InvalidInput):
        measure_field(Picture(np.zeros((20, 20, 3), np.uint8)), FieldSettings(smallest_um=smallest), scale)


def test_blood_film(real_pictures):
    picture = read_picture(real_pictures / "blood_film_scalebar" / "94.jpg")
    bar = np.array([[490, 415], [610, 415], [610, 447], [490, 447]], float)
    result = measure_field(picture, FieldSettings(smallest_um=3.0), 0.1905, zones=(bar,))
    sizes = result.particles.diameter_px * 0.1905
    cells = (result.particles["flags"] & bits("touches_frame", "meets_zone") == 0) & (sizes >= 4.0)
    # 94 +- 2 whole cells by hand-placed centres; one lies under the bar that is left out here
    assert 91 <= np.count_nonzero(cells) <= 96
    assert np.median(sizes[cells]) == pytest.approx(6.8, abs=0.15)


def test_equal_touching_coins(real_pictures):
    picture = read_picture(real_pictures / "candies_and_coins" / "equal_coins_24_touching.jpg")
    result = measured(picture)
    counted = result.particles.diameter_px >= 10
    meets = result.particles["flags"] & bits("touches_frame") > 0
    assert np.count_nonzero(counted & meets) == 3
    sizes = result.particles.diameter_px[counted & ~meets]
    assert len(sizes) == 21
    assert np.std(sizes) < 0.05 * np.median(sizes)


@pytest.mark.parametrize("size", [10, 30, 90])
def test_reference_discs(real_pictures, size):
    name = f"A3_Monodisperse_n100_{size}px.tif"
    full = read_picture(real_pictures / "iso_wg_reference_discs" / name)
    picture = Picture(full.pixels[:1400], grey=True)
    result = measured(picture, 0.8 * size if size < 12 else None)
    alone = result.particles["flags"] & bits("touches_frame", "touching") == 0
    assert np.median(result.particles.diameter_px[alone]) == pytest.approx(size, rel=0.01)
