"""Dark surrounds of bright pieces are ground; dark pieces, rims and fringes are left as they are."""

import cv2
import numpy as np
import pytest

from measure.field.ground.hollows import without_hollows
from measure.field.ground.light import prepare
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

_DISCS = ((70, 70, 24), (119, 72, 24), (220, 90, 30), (90, 200, 20), (230, 220, 26), (250, 40, 14))


def discs(more=()) -> np.ndarray:
    """Where discs are, (M, N) of float."""
    mask = np.zeros((300, 300), np.float32)
    for x, y, r in (*_DISCS, *more):
        cv2.circle(mask, (16 * x, 16 * y), 16 * r, 1.0, -1, cv2.LINE_AA, 4)
    return mask


def picture(light: np.ndarray, tint=(1.0, 1.0, 1.0)) -> Picture:
    noise = np.random.default_rng(5).normal(0, 3, light.shape)
    grey = cv2.GaussianBlur(light.astype(np.float32), (0, 0), 0.8) + noise
    pixels = np.clip(grey[..., None] * np.array(tint), 0, 255).astype(np.uint8)
    return Picture(pixels, grey=len(set(tint)) == 1)


def in_hollows() -> np.ndarray:
    """Bright discs that catch the electrons of the ground beside them."""
    mask = discs()
    return np.where(mask > 0.5, 190, 80 * np.exp(-1.2 * cv2.GaussianBlur(mask, (0, 0), 9)))


def test_pieces_in_hollows_keep_their_size_and_touching_ones_are_told_apart():
    field = picture(in_hollows())
    light = prepare(field)
    assert without_hollows(light) is not light
    particles = measure_field(field, FieldSettings(), 1.0).particles
    counted = np.sort(particles.diameter_px[particles["set_aside"] == ""])
    assert counted == pytest.approx(np.sort([2 * r for _, _, r in _DISCS]), rel=0.06)


def test_nothing_else_is_taken_for_a_hollow():
    mask = discs()
    dark = cv2.circle(np.zeros_like(mask), (160, 160), 22, 1.0, -1)
    fringe = cv2.GaussianBlur(mask, (0, 0), 2) * (mask < 0.5)
    ring = cv2.dilate(mask, np.ones((7, 7))) - mask
    for light in (
        np.where(mask > 0.5, 190, 80 - 60 * dark),  # dark pieces between bright ones
        170 - 90 * mask + 60 * fringe,  # bright fringes round dark pieces
        np.where(mask > 0.5, 190, 80 - 50 * ring),  # rims with an outer edge
        np.where(mask > 0.5, 190, 80),
    ):
        prepared = prepare(picture(light))
        assert without_hollows(prepared) is prepared


def test_colour_is_not_shown_by_electrons():
    coloured = prepare(picture(in_hollows(), (1.0, 0.8, 0.5)))
    assert without_hollows(coloured) is coloured


def test_what_is_bright_only_where_it_is_left_out_makes_no_field_of_bright_pieces():
    light = 120 - 12 * discs()
    light[270:] = 255
    strip = np.array([[0, 258], [300, 258], [300, 300], [0, 300]], float)
    prepared = prepare(picture(light), zones=(strip,))
    assert without_hollows(prepared) is prepared
