"""Shadows of bright pieces are told by lying all on one side; dark pieces that touch them are not."""

import cv2
import numpy as np
import pytest

from measure.field.pipeline import measure_field
from measure.field.whole_field.halo import REASON
from measure.field.whole_field.side_shadows import side_shadows
from measure.flags import bits
from measure.model import FieldSettings, Picture
from measure.particles import make_particles

_STEP = 90


def _slivers(ways: list[float], **changed: float) -> list[bool]:
    """Which slivers beside bright pieces are shadows; degrees from a piece to its sliver."""
    count = len(ways)
    own = {
        "lightness_step": 16.0,
        "area_px2": 900.0,
        "hull_area_px2": 950.0,
        "green_red_step": 0.5,
        "flags": 0,
    }
    other = own | {"lightness_step": -8.0, "area_px2": 400.0, "hull_area_px2": 550.0} | changed
    columns = {name: [own[name]] * count + [other[name]] * count for name in own}
    x = np.arange(count) * 200.0
    turn = np.radians(ways)
    return side_shadows(
        make_particles(
            [np.zeros((4, 2))] * (2 * count),
            label=list(range(1, 2 * count + 1)),
            blue_yellow_step=[0.0] * (2 * count),
            centre_x_px=np.r_[x, x + 20 * np.cos(turn)],
            centre_y_px=np.r_[np.zeros(count), 20 * np.sin(turn)],
            **columns,
        ),
        np.full(2 * count, 0.3),
        np.r_[np.full(count, -1), np.arange(count)],
    ).tolist()


def test_slivers_on_one_side_of_bright_pieces_are_shadows():
    assert _slivers([40, 50, 62, 35, 48, 75]) == [False] * 6 + [True] * 6


def test_a_sliver_on_the_other_side_is_none_of_them():
    assert _slivers([45] * 24 + [225]) == [False] * 25 + [True] * 24 + [False]


@pytest.mark.parametrize(
    ("ways", "changed"),
    [
        ([40, 50, 62, 35], {}),  # four may be chance
        ([40, 100, 160, 220, 280, 340], {}),  # on all sides
        ([40] * 6, {"green_red_step": 4.0}),  # coloured
        ([40] * 6, {"lightness_step": -15.0}),  # as strong as the pieces
        ([40] * 6, {"lightness_step": 8.0}),  # bright
        ([40] * 6, {"area_px2": 850.0, "hull_area_px2": 1200.0}),  # as large
        ([40] * 6, {"hull_area_px2": 405.0}),  # compact: a grain
        ([40] * 6, {"flags": bits("rim_only")}),  # see-through
    ],
)
def test_what_may_be_a_piece_is_no_shadow(ways, changed):
    assert not any(_slivers(ways, **changed))


def _crumbs(shadow: float) -> Picture:
    """Twelve pale crumbs with shadows to the lower right, and as many brown ones, on grained paper."""
    rng = np.random.default_rng(12)
    size = (4 * _STEP, 6 * _STEP)
    grain = 1 + 0.04 * cv2.GaussianBlur(rng.normal(size=size), (0, 0), 1.5) / 0.19
    light = np.array([0.6, 0.55, 0.46]) * grain[..., None]
    for n in range(24):
        x, y = _STEP * (n % 6 + 0.5), _STEP * (n // 6 + 0.5)
        turn = np.sort(rng.uniform(0, 2 * np.pi, 7)) * 0.4 + np.arange(7) * 2 * np.pi / 7 * 0.6
        ring = np.column_stack([x + 19 * np.cos(turn), y + 19 * np.sin(turn)])
        own = np.zeros(size, np.uint8)
        cv2.fillPoly(own, [np.round(ring * 16).astype(np.int32)], 1, shift=4)
        pale = (n + n // 6) % 2 == 0
        moved = np.roll(own, (6, 5), (0, 1)).astype(np.float32)
        light *= 1 - shadow * cv2.GaussianBlur(moved, (0, 0), 2.5)[..., None]
        light[own > 0] = [0.92, 0.87, 0.75] if pale else [0.2, 0.11, 0.06]
    values = 255 * cv2.GaussianBlur(light, (0, 0), 1.0) ** (1 / 2.2) + rng.normal(0, 1.5, light.shape)
    return Picture(np.clip(values, 0, 255).astype(np.uint8))


@pytest.mark.parametrize("shadow", [0.0, 0.45])
def test_pale_and_dark_crumbs_on_paper_are_counted_and_the_shadows_are_not(shadow):
    found = measure_field(_crumbs(shadow), FieldSettings(), 1.0).particles
    assert (found["set_aside"] == "").sum() == 24
    assert (REASON in set(found["set_aside"])) == (shadow > 0)
