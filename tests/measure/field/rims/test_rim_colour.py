"""Crystals against coloured bodies: a rim takes light or gives it without colour; drawn here."""

import cv2
import numpy as np
import pytest

from measure.field.pipeline import measure_field
from measure.field.rims.rim_colour import coloured_bodies, joined
from measure.flags import bits
from measure.model import FieldSettings, Picture

SHAPE = (150, 170)
RADIUS = 16.0
KERNEL_IN_LIGHT, KERNEL_ON_DARK = (150, 120, 90), (190, 165, 125)


def _crystal_and_kernel(side: float, rim_px: float, gap_px: float, on_dark: bool) -> Picture:
    """A square with a gap in the middle of one side of its rim, and a disc against the side next to it."""
    y, x = (np.mgrid[: SHAPE[0] * 4, : SHAPE[1] * 4] + 0.5) / 4
    along, across = np.cos(0.35), np.sin(0.35)
    u, v = (x - 95) * along + (y - 80) * across, (y - 80) * along - (x - 95) * across
    depth = side / 2 - np.maximum(abs(u), abs(v))
    rim = (depth > 0) & (depth < rim_px) & ~((v > side / 2 - rim_px - 1) & (abs(u) < gap_px))
    away = side / 2 + RADIUS - 2
    rim, body = (
        cv2.GaussianBlur(
            cv2.resize(m.astype(np.float32), SHAPE[::-1], interpolation=cv2.INTER_AREA), (0, 0), 1.1
        )
        for m in (rim, np.hypot(x - 95 + away * along, y - 80 + away * across) < RADIUS)
    )
    rim, body = rim[..., None], body[..., None]
    if on_dark:
        light = np.array([34, 30, 27]) * (1 - np.maximum(rim, body)) + body * np.array(KERNEL_ON_DARK)
        light = light + rim * (1 - body) * np.array([185, 188, 195])
    else:
        light = (
            np.array([222, 212, 184]) * (1 - 0.45 * rim) * (1 - body * (1 - np.array(KERNEL_IN_LIGHT) / 255))
        )
    light = light + np.random.default_rng(3).normal(0, 1.2, light.shape)
    return Picture(np.clip(np.rint(light), 0, 255).astype(np.uint8), name="crystal and kernel")


@pytest.mark.parametrize(
    ("side", "rim_px", "gap_px", "on_dark"),
    [(24, 4, 3, False), (24, 5, 6, False), (34, 5, 3, True), (60, 5, 3, False), (60, 5, 6, True)],
)
def test_a_crystal_with_a_gap_in_its_rim_stays_whole_beside_a_kernel(side, rim_px, gap_px, on_dark):
    picture = _crystal_and_kernel(side, rim_px, gap_px, on_dark)
    particles = measure_field(picture, FieldSettings(), 1.0).particles
    assert len(particles) == 2
    clear = (particles["flags"] & bits("rim_only")) > 0
    assert particles.diameter_px[clear] == pytest.approx([side * np.sqrt(4 / np.pi)], rel=0.06)
    assert particles.diameter_px[~clear] == pytest.approx([2 * RADIUS], rel=0.04)


def _patches(*colours: tuple[float, float, float]) -> tuple[np.ndarray, np.ndarray]:
    """Difference from the oil, and strong pixels, of squares of some CIELAB differences."""
    delta = np.zeros((30, 30 * len(colours), 3), np.float32)
    for i, colour in enumerate(colours):
        delta[5:25, 30 * i + 5 : 30 * i + 25] = colour
    return delta, (delta.any(axis=2)).astype(np.uint8)


OIL = np.array([84.0, 0.0, 12.0])


def test_what_only_loses_or_gains_light_is_not_coloured():
    """With less light L* + 16, a* and b* all fall by the same share (CIE 15, from memory)."""
    darker, lighter = 0.3 * -np.array([100.0, 0.0, 12.0]), 0.5 * (np.array([100.0, 0.0, 0.0]) - OIL)
    delta, strong = _patches(tuple(darker), tuple(lighter), (-25.0, 4.0, 16.0))
    coloured = coloured_bodies(delta, strong, OIL, 40.0)
    assert coloured is not None
    assert not coloured[:, :60].any()
    assert coloured[8:22, 68:82].all()


@pytest.mark.parametrize("colour", [(-30.0, 0.0, -3.6), (-25.0, 4.0, 16.0)])
def test_where_all_are_alike_nothing_is_told(colour):
    delta, strong = _patches(colour, colour)
    assert coloured_bodies(delta, strong, OIL, 40.0) is None


def test_lines_of_colour_along_an_edge_are_no_bodies():
    delta, strong = _patches((-30.0, 0.0, -3.6), (-25.0, 4.0, 16.0))
    delta[:, 40:], strong[:, 40:] = 0.0, 0
    assert strong[:, 35:40].any()
    assert coloured_bodies(delta, strong, OIL, 40.0) is None


def test_of_two_finds_of_one_piece_the_larger_without_a_body_is_kept():
    clear, beside, coloured = (np.zeros((20, 60), np.int32) for _ in range(3))
    clear[2:18, 2:18], beside[2:18, 2:12] = 1, 1  # the same, seen in part with a look at colours
    clear[2:18, 20:38], beside[2:18, 26:38], coloured[2:18, 20:26] = 2, 2, 1  # a body taken in without it
    beside[2:18, 42:58] = 3
    labels = joined(clear, beside, coloured.astype(np.uint8))
    assert [int((labels == n).sum()) for n in np.unique(labels)[1:]] == pytest.approx([192, 256, 256], abs=0)
