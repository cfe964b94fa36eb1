import cv2
import numpy as np
import pytest

from measure.field.pipeline import measure_field
from measure.field.rims.rim_chance import by_chance
from measure.model import FieldSettings, Picture

SIDE = 400


def _bits(uneven: float, specks: int) -> tuple[np.ndarray, np.ndarray, list[int], np.ndarray]:
    """Two arcs of a circle of 20 px and specks: labels, distance, labels of the arcs, their hull."""
    rng = np.random.default_rng(3)
    distance = np.zeros((SIDE, SIDE), np.float32)
    for x, y in rng.uniform(10, SIDE - 10, (specks, 2)):
        if np.hypot(x - 200, y - 200) > 28:
            cv2.circle(distance, (int(x), int(y)), 2, 20.0, -1)
    y, x = np.mgrid[:SIDE, :SIDE]
    turn = np.arctan2(y - 200, x - 200)
    line = (np.abs(np.hypot(x - 200, y - 200) - 20) < 1.6) & (np.abs(np.sin(turn)) > 0.45)
    distance[line] = (20 * (1 + uneven * np.cos(4 * turn)))[line]
    labels = cv2.connectedComponents((distance > 0).view(np.uint8), connectivity=8)[1]
    own = [int(labels[180, 200]), int(labels[220, 200])]
    points = np.argwhere(np.isin(labels, own))[:, ::-1].astype(np.int32)
    return labels, distance, own, cv2.convexHull(points).reshape(-1, 2)


@pytest.mark.parametrize(
    ("uneven", "specks", "chance"), [(0.8, 300, True), (0.8, 10, False), (0.1, 300, False)]
)
def test_uneven_bits_among_specks_are_chance_and_even_or_lonely_ones_are_not(uneven, specks, chance):
    assert by_chance(*_bits(uneven, specks)) is chance


def test_a_bit_that_goes_round_by_itself_is_no_chance():
    labels, distance, own, hull = _bits(0.8, 300)
    assert not by_chance(labels, distance, own[:1], hull)


def test_fines_on_a_dark_plate_make_no_see_through_pieces():
    rng = np.random.default_rng(8)
    light = np.full((900, 900), 0.03, np.float32)
    for x, y, radius, bright in rng.uniform((0, 0, 0.5, 0.1), (900, 900, 2.4, 0.5), (1700, 4)):
        cv2.circle(light, (int(x * 16), int(y * 16)), int(radius * 16), float(bright), -1, cv2.LINE_AA, 4)
    for x, y in ((200, 200), (650, 300), (400, 680)):
        cv2.circle(light, (x, y), 70, 0.6, -1, cv2.LINE_AA)
    light = cv2.GaussianBlur(light, (0, 0), 1.4)[..., None] * np.array([1.0, 0.85, 0.6])
    seen = rng.poisson(light * 5000) / 5000 + rng.normal(0, 0.004, light.shape)
    pixels = np.clip(255 * np.clip(seen, 0, 1) ** (1 / 2.2), 0, 255).astype(np.uint8)
    found = measure_field(Picture(pixels, name="plate"), FieldSettings(smallest_um=14.0), 1.0).particles
    counted = found.diameter_px[found["set_aside"] == ""]
    assert np.sort(counted)[-3:] == pytest.approx([140, 140, 140], rel=0.05)
    assert (counted < 100).sum() <= 1
