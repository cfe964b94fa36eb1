"""The levels pieces are found at."""

import cv2
import numpy as np
import pytest

from measure.field.components.find import texture_level
from measure.field.pipeline import measure_field
from measure.flags import bits
from measure.model import FieldSettings, Picture

_SEED = 7.0


def test_specks_that_thin_out_from_the_noise_upwards_raise_the_level():
    specks = 3.5 * np.random.default_rng(2).pareto(3.0, 2000) + 3.5  # a power law, as of paper and wood
    level = texture_level(np.concatenate([specks, np.full(30, 60.0)]), _SEED)
    assert level > 1.9 * _SEED
    assert level < 60.0


def test_faint_pieces_of_one_contrast_are_no_texture():
    pieces = np.random.default_rng(2).normal(8.6, 0.5, 80)  # all just above the level, none above the next
    assert texture_level(pieces, _SEED) == _SEED


def test_a_film_at_a_quarter_of_its_contrast_keeps_its_cells(real_pictures):
    """Film 64 of the Chula RBC-12 set (MIT licence), 75 cells marked: 13 outlines without the rule."""
    from measure.picture_file import read_picture

    pixels = read_picture(real_pictures / "blood_film_scalebar" / "64.jpg").pixels
    faint = Picture((pixels * 0.25 + 150).astype(np.uint8), name="faint")
    found = measure_field(faint, FieldSettings(smallest_um=15.7), 1.0).particles
    assert np.count_nonzero(found["set_aside"] == "") > 90


def test_a_piece_just_inside_the_frame_is_not_cut_by_it():
    """Its edge lies 1.4 px from the border; smoothing must not mirror it beyond."""
    body = np.zeros((80 * 8, 110 * 8), np.float32)
    body[26 * 8 : 54 * 8, 91:331] = 1.0  # the frame begins 10 px from the left
    cover = cv2.GaussianBlur(cv2.resize(body, (110, 80), interpolation=cv2.INTER_AREA), (0, 0), 0.9)[:, 10:]
    noise = np.random.default_rng(3).normal(0, 1.2, (80, 100, 3))
    values = np.array([222, 212, 184]) * (1 - np.array([0.30, 0.35, 0.45]) * cover[..., None]) + noise
    picture = Picture(np.clip(np.rint(values), 0, 255).astype(np.uint8), name="beside the frame")
    particles = measure_field(picture, FieldSettings(), 1.0).particles
    assert len(particles) == 1
    assert not particles["flags"][0] & bits("touches_frame")
    assert particles["area_px2"][0] == pytest.approx(30 * 28, rel=0.03)
