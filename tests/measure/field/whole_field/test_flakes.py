"""Skin flakes that lie on kernels are pieces of their own (Beer-Lambert law for their tones, from memory)."""

import cv2
import numpy as np
import pytest

from measure.field.pipeline import measure_field
from measure.flags import FLAGS
from measure.model import KINDS, FieldSettings, Picture

OIL = np.array([232.0, 224.0, 200.0])
KERNEL, SKIN = np.array([0.25, 0.35, 0.7]), np.array([0.45, 1.1, 1.7])
SIZE, MIDDLE = (220, 260), (130.0, 110.0)


def _disc(x: float, y: float, radius: float) -> np.ndarray:
    down, across = np.indices(SIZE)
    return np.clip(radius - np.hypot(across - x, down - y) + 0.5, 0, 1)


def _picture(*layers: tuple[np.ndarray, np.ndarray]) -> Picture:
    """Light through some layers: how thick each is at every px, and what its substance absorbs."""
    rng = np.random.default_rng(5)
    absorbed = sum(thick[..., None] * substance for thick, substance in layers)
    light = cv2.GaussianBlur(OIL * np.exp(-absorbed), (0, 0), 1.1) + rng.normal(0, 1.5, (*SIZE, 3))
    return Picture(np.clip(np.rint(light), 0, 255).astype(np.uint8), name="layers")


def _counted(picture: Picture) -> list[tuple[str, float, bool]]:
    """Kind, diameter and whether it lies over another, of each piece counted; the largest first."""
    particles = measure_field(picture, FieldSettings(), 1.0).particles
    own = np.flatnonzero(particles["set_aside"] == "")
    over = (particles["flags"] & FLAGS["overlap"].bit) > 0
    rows = [(str(KINDS[particles["kind"][k]]), float(particles.diameter_px[k]), bool(over[k])) for k in own]
    return sorted(rows, key=lambda row: -row[1])


@pytest.mark.parametrize("shift", [0.0, 18.0, 36.0])
def test_a_flake_inside_its_kernel_is_a_piece(shift):
    """Also near the kernel's edge; the kernel keeps its whole outline."""
    kernel = (_disc(*MIDDLE, 60), KERNEL)
    flake = (_disc(MIDDLE[0] + shift, MIDDLE[1], 14), SKIN)
    (kind, large, _), (_, small, over) = _counted(_picture(kernel, flake))
    assert kind == "kernel"
    assert over
    assert large == pytest.approx(120, rel=0.02)
    assert small == pytest.approx(28, rel=0.06)


def test_a_thick_place_of_the_kernel_is_no_flake():
    """It is darker, but of the kernel's own colour."""
    kernel = (_disc(*MIDDLE, 60), KERNEL)
    found = _counted(_picture(kernel, (2.0 * _disc(*MIDDLE, 14), KERNEL)))
    assert len(found) == 1
    assert found[0][1] == pytest.approx(120, rel=0.02)


def test_a_dark_streak_of_a_skin_is_no_flake():
    """A skin is red all over."""
    rng = np.random.default_rng(2)
    streaks = cv2.GaussianBlur(rng.normal(size=SIZE), (0, 0), sigmaX=2.5, sigmaY=14)
    thick = _disc(*MIDDLE, 60) * np.clip(1 + 0.35 * streaks / streaks.std(), 0.4, 2.2)
    found = _counted(_picture((thick, SKIN)))
    assert len(found) == 1


def test_a_fold_of_a_pale_skin_is_no_flake():
    """It is much redder than the skin, for it lies fourfold, but a skin carries no flakes."""
    pale = 0.3 * np.array([0.45, 1.1, 1.45])
    down, across = np.indices(SIZE)
    sheet = np.clip(np.minimum(40 - np.abs(across - 130), 55 - np.abs(down - 110)) + 0.5, 0, 1)
    rolled = np.clip(np.minimum(7 - np.abs(across - 150), 34 - np.abs(down - 110)) + 0.5, 0, 1)
    assert len(_counted(_picture((sheet, pale), (3.0 * rolled, pale)))) == 1


def test_a_violet_spot_is_no_flake():
    """Stained cells have nuclei, which are part of them."""
    cell = (_disc(*MIDDLE, 60), np.array([0.15, 0.3, 0.1]))
    nucleus = (_disc(*MIDDLE, 16), np.array([0.8, 1.4, 0.3]))
    assert len(_counted(_picture(cell, nucleus))) == 1


def test_a_pale_middle_is_no_flake():
    """A green piece is redder where it is thin, but not red."""
    piece = _disc(*MIDDLE, 60) - 0.9 * _disc(*MIDDLE, 16)
    assert len(_counted(_picture((piece, np.array([0.9, 0.25, 0.6]))))) == 1


def test_a_brighter_piece_with_a_dark_middle_has_no_flake():
    picture = _picture((_disc(*MIDDLE, 60) - 0.9 * _disc(*MIDDLE, 16), np.array([0.15, 0.5, 0.15])))
    swapped = Picture(255 - picture.pixels, name="swapped")
    assert len(_counted(swapped)) == 1


def test_nothing_is_taken_apart_without_cuts():
    picture = _picture((_disc(*MIDDLE, 60), KERNEL), (_disc(*MIDDLE, 14), SKIN))
    particles = measure_field(picture, FieldSettings(cut_strength=0.0), 1.0).particles
    assert (particles["set_aside"] == "").sum() == 1
