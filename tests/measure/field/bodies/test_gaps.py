"""Gaps through which the oil is seen part pieces; what is paler inside a piece does not."""

import cv2
import numpy as np
import pytest

from measure.field.bodies.gaps import left_by_blur, parted_by_gaps
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

TONE = np.array((-30.0, 4.0, 12.0), np.float32)
WIDTH_PX = 4.0


def broken(ways: list[tuple[tuple[int, int], tuple[int, int]]], gap: int = 5) -> np.ndarray:
    """A disc of radius 50 px that is broken along straight ways, 0 and 1."""
    whole = np.zeros((130, 130), np.uint8)
    cv2.circle(whole, (65, 65), 50, 1, -1)
    for start, end in ways:
        cv2.line(whole, start, end, 0, gap)
    return whole


THREE = [((65, 65), (65, 0)), ((65, 65), (10, 110)), ((65, 65), (120, 110))]  # gaps that meet in a Y


def seen(share: np.ndarray, sigma_px: float = WIDTH_PX / 2.56) -> np.ndarray:
    """Difference from the oil of a place that shows this share of a piece."""
    return cv2.GaussianBlur(share[..., None] * TONE, (0, 0), sigma_px)


def parted(labels: np.ndarray, delta: np.ndarray) -> bool:
    parts = np.unique(labels[labels > 0]).tolist()
    return parted_by_gaps(labels, broken([]) > 0, parts, delta, WIDTH_PX)


def fragments() -> np.ndarray:
    return cv2.connectedComponents(broken(THREE))[1]


def test_gaps_that_show_the_oil_part_fragments():
    assert parted(fragments(), seen(broken(THREE).astype(np.float32)))


def test_lines_paler_than_the_piece_but_not_as_the_oil_part_nothing():
    share = np.where(broken(THREE) > 0, 1.0, 0.45).astype(np.float32)
    assert not parted(fragments(), seen(share))


def test_gaps_that_end_inside_part_nothing():
    ending = [((65, 65), (65, 40)), ((65, 65), (44, 82)), ((65, 65), (86, 82))]
    assert not parted(fragments(), seen(broken(ending).astype(np.float32)))


def test_one_piece_beside_a_crack_that_parts_two_others_is_still_parted():
    crossed = np.where(broken(THREE[1:]) > 0, 1.0, 0.0).astype(np.float32)  # the third line is not there
    assert parted(fragments(), seen(crossed))


def test_a_strip_along_the_outline_is_no_piece():
    labels = broken([]).astype(np.int32)
    labels[(labels > 0) & (np.mgrid[:130, :130][1] > 113)] = 2  # in the flank there is oil, but no gap
    assert not parted(labels, seen(broken([]).astype(np.float32)))


def test_a_pale_piece_beside_a_strong_one_is_no_gap():
    share = np.where(np.mgrid[:130, :130][1] < 65, 3.0, 1.0) * broken([])
    labels = np.where(share > 2, 1, np.where(share > 0, 2, 0)).astype(np.int32)
    assert not parted(labels, seen(share.astype(np.float32), 0.5))


def test_between_light_and_shade_the_tone_passes_that_of_the_oil():
    labels = cv2.connectedComponents(broken([((65, 0), (65, 129))]))[1]
    share = np.where(labels == 1, 1.0, np.where(labels == 2, -1.0, 0.0)).astype(np.float32)
    assert not parted(labels, seen(share))


def test_blur_leaves_nothing_of_the_pieces_in_a_wide_gap():
    left = left_by_blur(np.array([0.0, 1.0, 2.0, 8.0]), WIDTH_PX)
    assert left[0] == 1.0
    assert (np.diff(left) < 0).all()
    assert left[3] == pytest.approx(0.0, abs=1e-3)


def test_fragments_of_a_disc_are_pieces_of_their_own():
    rng = np.random.default_rng(3)
    share = np.zeros((260, 260), np.float32)
    share[65:195, 65:195] = broken(THREE)
    clear = cv2.GaussianBlur(1.0 - 0.35 * share, (0, 0), 1.0)
    picture = clear[..., None] * np.array((214, 206, 186), np.float32) + rng.normal(0, 1.5, (260, 260, 3))
    pixels = np.clip(picture, 0, 255).astype(np.uint8)
    result = measure_field(Picture(pixels=pixels, name="broken"), FieldSettings(), 1.0)
    assert len(result.particles) == 3
