"""Drawn photographs of smears: the same bytes again, and truth that lies where the picture changes."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.benchmarks.smears.body import Body, ramped
from tests.benchmarks.smears.draw import LIMIT_PX, Drawn, draw
from tests.benchmarks.smears.foreign import bubble
from tests.benchmarks.smears.held import HELD
from tests.benchmarks.smears.imaging import Optics, images, lit_area, through_lens
from tests.benchmarks.smears.look import Look
from tests.benchmarks.smears.looks import LOOKS, REPORT_SEEDS, TUNE_SEEDS

SEED = 11
SMALL = {"size": (320, 240), "count": 14, "median_px": 26.0, "fines": 60}


def _small(name: str, **more) -> Look:
    return replace(LOOKS[name], **(SMALL | more))


@pytest.fixture(scope="module", params=["usb_plain", "ring_dark", "slight_dark_field"])
def drawn(request) -> Drawn:
    return draw(request.param, SEED, _small(request.param))


def test_held_looks_and_report_seeds_are_apart() -> None:
    assert not set(HELD) & set(LOOKS)
    assert not set(TUNE_SEEDS) & set(REPORT_SEEDS)
    assert 2 * len(HELD) == len(LOOKS)


def test_a_seed_draws_the_same_bytes_and_another_seed_others() -> None:
    first, again, other = (
        draw("old_vga", seed, _small("old_vga", size=(200, 150), count=5)) for seed in (SEED, SEED, SEED + 1)
    )
    assert first.pixels.tobytes() == again.pixels.tobytes()
    assert [p.mask.tobytes() for p in first.pieces] == [p.mask.tobytes() for p in again.pieces]
    assert first.pixels.tobytes() != other.pixels.tobytes()


def test_pieces_asked_for_lie_in_the_frame_and_are_seen_at_least_by_half(drawn) -> None:
    asked = [p for p in drawn.pieces if p.asked]
    assert len(asked) >= 5
    for piece in asked:
        rows, cols = np.nonzero(piece.mask)
        assert piece.row + rows.min() > 0
        assert piece.col + cols.min() > 0
        assert piece.row + rows.max() < drawn.pixels.shape[0] - 1
        assert piece.col + cols.max() < drawn.pixels.shape[1] - 1
        assert 2 * len(rows) >= piece.area_px2
        assert cv2.connectedComponents(piece.mask.astype(np.uint8), connectivity=4)[0] == 2


def test_the_picture_changes_where_the_truth_has_an_outline(drawn) -> None:
    """The light is steeper along true outlines than in the ground, for nearly all that are asked for."""
    lightness = cv2.GaussianBlur(drawn.pixels.astype(np.float32), (0, 0), 1.2)
    slope = np.hypot(*np.gradient(lightness, axis=(0, 1))).max(axis=-1)
    any_piece = drawn.foreign | drawn.fines
    for piece in drawn.pieces:
        any_piece[piece.window()] |= piece.mask
    ground = slope[cv2.dilate(any_piece.astype(np.uint8), np.ones((15, 15))) == 0]
    steep = []
    for piece in (p for p in drawn.pieces if p.asked and np.count_nonzero(p.mask) > LIMIT_PX**2):
        mask = np.pad(piece.mask, 3).astype(np.uint8)
        ring = (cv2.dilate(mask, np.ones((5, 5))) > cv2.erode(mask, np.ones((5, 5))))[3:-3, 3:-3]
        steep.append(np.percentile(slope[piece.window()][ring], 75) > np.percentile(ground, 90))
    assert np.mean(steep) > 0.9


def test_a_feathered_edge_is_true_down_to_half_of_its_contrast() -> None:
    ramp = np.linspace(0, 1, 1001)
    inside = ramped(np.full(1001, 0.02), ramp)  # so thin that contrast is as good as density
    assert ramp[inside].min() == pytest.approx(0.5, abs=0.01)


def test_a_slope_takes_light_away_and_a_flat_slab_does_not() -> None:
    slab = np.zeros((60, 60), np.float32)
    slab[20:40, 20:40] = 4.0
    light = through_lens(slab, Optics())
    assert light[30, 30] == pytest.approx(1.0)
    assert light[30, 20] < 0.5


def test_between_crossed_polars_a_crystal_ends_where_its_light_is_half() -> None:
    side = np.minimum(np.arange(81), np.arange(81)[::-1]).astype(np.float32)
    thick = np.clip(np.minimum(*np.meshgrid(side, side)) - 10, 0, 8)  # a slope of 8 px about a flat top
    colour = np.zeros((81, 81, 3), np.float32)
    path = 0.01 * thick  # so that it lies between the axes
    path[::7, ::5] += (np.pi / 4 - path[::7, ::5].sum()) / path[::7, ::5].size
    body = Body("salt", colour, path, thick > 0, thick, thick, colour, retard=0.03)
    lit = np.flatnonzero(lit_area(body)[40])
    top = np.sin(np.pi * 0.03 * 8) ** 2
    first = next(k for k in range(81) if np.sin(np.pi * 0.03 * thick[40, k]) ** 2 > 0.5 * top)
    assert lit[0] == pytest.approx(first, abs=1)


def test_a_bubble_is_dark_but_for_its_middle() -> None:
    body = bubble(50.0, 1.0, np.random.default_rng(SEED))
    passed, _ = images(body, Optics(), 0.0)
    middle = passed.shape[0] // 2
    assert passed[middle, middle, 1] > 0.8
    assert passed[middle, middle + 18, 1] < 0.4
