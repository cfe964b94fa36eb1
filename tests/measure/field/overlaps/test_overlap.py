"""Pieces over one another: where light passes through both, absorbances add (Beer-Lambert, from memory)."""

from types import SimpleNamespace

import cv2
import numpy as np
import pytest

from measure.field.ground.absorbance import density
from measure.field.overlaps.overlap import _first_of_each, _is_found
from measure.field.pipeline import measure_field
from measure.flags import bits
from measure.model import FieldSettings, Picture

OIL = np.array([226.0, 214.0, 184.0])


def _coverage(size: tuple[int, int], centre: tuple[float, float], radius: float) -> np.ndarray:
    y, x = np.mgrid[: size[0], : size[1]]
    return np.clip(radius + 0.5 - np.hypot(x + 0.5 - centre[0], y + 0.5 - centre[1]), 0, 1)


def _linear(value: np.ndarray) -> np.ndarray:
    """sRGB to light (IEC 61966-2-1)."""
    share = value / 255.0
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


def _coded(light: np.ndarray) -> np.ndarray:
    share = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.clip(light, 0, 1) ** (1 / 2.4) - 0.055)
    return 255.0 * share


def _drawn(pieces: list[tuple[tuple[float, float], float, tuple[float, float, float]]]) -> Picture:
    """Discs of given centre, radius and absorbance in oil, with a soft edge and a little noise."""
    absorbed = np.zeros((240, 320, 3))
    for centre, radius, absorbance in pieces:
        absorbed += _coverage((240, 320), centre, radius)[..., None] * np.array(absorbance)
    light = _linear(OIL) * np.exp(-absorbed)
    light = cv2.GaussianBlur(light, (0, 0), 0.8)
    noise = np.random.default_rng(7).normal(0, 1.2, absorbed.shape)
    return Picture(np.clip(np.rint(_coded(light) + noise), 0, 255).astype(np.uint8), name="discs")


def _diameters(picture: Picture, strength: float = 0.5) -> tuple[np.ndarray, np.ndarray]:
    particles = measure_field(picture, FieldSettings(cut_strength=strength), 1.0).particles
    order = np.argsort(particles.diameter_px)
    return particles.diameter_px[order], particles["flags"][order]


@pytest.mark.parametrize("second", [(0.35, 0.42, 0.60), (0.15, 0.45, 0.75)])
def test_both_discs_keep_their_whole_size(second):
    picture = _drawn([((130, 120), 34, (0.30, 0.36, 0.50)), ((178, 120), 26, second)])
    found, flags = _diameters(picture)
    assert len(found) == 2
    assert found == pytest.approx([52, 68], rel=0.03)
    assert (flags & bits("overlap") > 0).all()


def test_touching_discs_do_not_overlap():
    picture = _drawn([((130, 120), 34, (0.30, 0.36, 0.50)), ((189, 120), 26, (0.35, 0.42, 0.60))])
    found, flags = _diameters(picture)
    assert found == pytest.approx([52, 68], rel=0.03)
    assert not (flags & bits("overlap")).any()


def test_a_dark_spot_is_no_overlap():
    picture = _drawn([((130, 120), 34, (0.30, 0.36, 0.50)), ((140, 120), 9, (0.30, 0.36, 0.50))])
    found, flags = _diameters(picture)
    assert found == pytest.approx([68], rel=0.03)
    assert not (flags & bits("overlap")).any()


def test_cut_strength_nought_leaves_one_piece():
    picture = _drawn([((130, 120), 34, (0.30, 0.36, 0.50)), ((178, 120), 26, (0.35, 0.42, 0.60))])
    found, _ = _diameters(picture, strength=0.0)
    assert len(found) == 1


def _sent_back(pieces: list[tuple[tuple[float, float], float, float]], noise: float = 1.2) -> Picture:
    """Discs that send back a share of the light and let through the rest, on dark ground."""
    light = np.full((240, 320), 0.02)
    for centre, radius, share in pieces:
        cover = share * _coverage((240, 320), centre, radius)
        light = light * (1.0 - cover) + cover
    light = cv2.GaussianBlur(light, (0, 0), 0.8)
    light = light + np.random.default_rng(7).normal(0, noise / 255, light.shape) * np.sqrt(light)
    coded = np.clip(np.rint(_coded(light)), 0, 255).astype(np.uint8)
    return Picture(np.repeat(coded[..., None], 3, axis=2), name="discs")


def test_on_dark_ground_what_pieces_send_back_adds_up():
    """1 - s is the product of what the two let through."""
    found, flags = _diameters(_sent_back([((130, 120), 34, 0.4), ((170, 120), 26, 0.45)]))
    assert len(found) == 2
    assert found == pytest.approx([52, 68], rel=0.03)
    assert (flags & bits("overlap") > 0).all()


@pytest.mark.parametrize("share", [0.4, 0.6])
def test_on_dark_ground_touching_discs_and_bright_spots_do_not_overlap(share):
    touching = _sent_back([((130, 120), 34, 0.4), ((189, 120), 26, share)])
    spotted = _sent_back([((130, 120), 34, 0.4), ((140, 120), 9, share)])
    for picture, sizes in ((touching, [52, 68]), (spotted, [68])):
        found, flags = _diameters(picture)
        assert found == pytest.approx(sizes, rel=0.03)
        assert not (flags & bits("overlap")).any()


def test_on_dark_ground_noise_of_the_oil_is_no_reason_to_leave_overlaps():
    """There is hardly any light there, so lightness is full of it; in bright pieces it is a small share."""
    found, _ = _diameters(_sent_back([((130, 120), 34, 0.4), ((170, 120), 26, 0.45)], noise=3.5))
    assert found == pytest.approx([52, 68], rel=0.03)


def test_density_of_grey_is_the_logarithm_of_light():
    """CIE 15: L* 100 and 50 differ in Y by ((50 + 16) / 116)^3 = 0.1842."""
    delta = np.zeros((1, 1, 3), np.float32)
    delta[..., 0] = -50.0
    found = density(delta, np.array([100.0, 0.0, 0.0]))
    assert found == pytest.approx(-np.log(0.18418651), rel=1e-4)


@pytest.mark.parametrize("count", [1, 2, 40, 300])
def test_things_that_hang_together_are_those_of_the_reference_library(count: int):
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    some = np.random.default_rng(count).integers(0, count, (2, count // 2))
    pairs = np.hstack([some, some[::-1], np.tile(np.arange(count), (2, 1))])
    graph = coo_matrix((np.ones(pairs.shape[1]), tuple(pairs)), shape=(count, count))
    expected = connected_components(graph, directed=False)[1]
    first = _first_of_each(pairs, count)
    assert np.array_equal(np.unique(first, return_inverse=True)[1], expected)
    assert (first <= np.arange(count)).all()


def test_a_crystal_told_apart_before_is_not_found_again():
    piece = np.zeros((60, 60), np.uint8)
    piece[10:40, 10:40] = 1
    moved, beside = np.roll(piece, 2, axis=1), np.roll(piece, 25, axis=1)
    for crystals, found in (([], False), ([moved], True), ([beside], False)):
        known = SimpleNamespace(rim_only=[], crystals=crystals)
        assert _is_found(piece, [], [], known) is found
