"""Colours of crystals between crossed polarisers are said to be such, and make them salt."""

import cv2
import numpy as np
import pytest

from measure.field.kinds.kind_model import GROUPS
from measure.field.kinds.kind_polars import by_polars, shining
from measure.field.kinds.kinds import table_of
from measure.field.pipeline import measure_field
from measure.model import KINDS, FieldSettings, Picture

# from memory: interference colours of the first two orders run white, yellow, red, purple, blue, green
PLATES = [(210, 205, 190), (225, 190, 70), (200, 80, 60), (150, 60, 170), (60, 90, 200), (70, 180, 90)]
FOODS = [(190, 150, 90), (205, 165, 110), (150, 80, 55), (210, 205, 200), (175, 140, 80), (140, 70, 45)]


def on_dark(colours, ground=(22, 22, 22)):
    """Squares of colours in turn on a black or dim ground."""
    pixels = np.full((300, 520, 3), ground, np.uint8)
    for i in range(28):
        x, y, half = 40 + 72 * (i % 7), 40 + 70 * (i // 7), 12 + i % 5
        box = cv2.boxPoints(((x, y), (2 * half, 2 * half), 17.0 * i))
        cv2.fillPoly(pixels, [np.round(box).astype(np.int32)], colours[i % len(colours)], cv2.LINE_AA)
    noisy = cv2.GaussianBlur(pixels.astype(np.float32), (0, 0), 0.9)
    noisy = noisy + np.random.default_rng(0).normal(0, 1.0, pixels.shape)
    return measure_field(Picture(np.clip(noisy, 0, 255).round().astype(np.uint8)), FieldSettings(), 1.0)


@pytest.mark.parametrize(("colours", "said"), [(PLATES, True), (FOODS, False)])
def test_many_hues_on_a_dark_ground_are_said_to_come_from_polarisers(colours, said):
    result = on_dark(colours)
    assert len(result.particles) == 28
    assert any("polariser" in words for words in result.quality.warnings) == said


def test_what_shines_between_polarisers_is_salt_and_the_dim_rest_is_unsure():
    result = on_dark([*PLATES, (62, 56, 44), (54, 49, 38)])
    dim = result.particles["green"] < 58
    assert dim.sum() in (6, 7)
    salt = KINDS.index("salt")
    assert (result.particles["kind"][~dim] == salt).mean() >= 0.95
    assert (result.particles["kind"][dim] != salt).all()
    assert (result.particles["kind_doubt"][dim] >= 0.1).all()
    # how the others are lit is not told by what shines
    assert table_of(result.particles) == table_of(result.particles.select(dim))


def test_in_plain_light_nothing_shines():
    particles = on_dark(FOODS).particles
    assert not shining(particles).any()
    chance = np.full((len(particles), len(GROUPS)), 1.0 / len(GROUPS))
    assert by_polars(chance, particles) is chance


DIM = (88, 96, 110)  # of a camera that is a little blue
KERNELS = [(112, 106, 96), (116, 108, 94)]


def seen(light):
    """8-bit colours of light of the same lamp, linear, added to the dim ground."""
    ground = (np.array(DIM) / 255.0) ** 2.2
    linear = ground * (1.0 + light / ground.mean())
    return [tuple(int(v) for v in np.round(255.0 * np.minimum(one, 1.0) ** (1 / 2.2))) for one in linear]


def test_thin_crystals_between_polarisers_are_known_by_a_blue_that_is_bright_or_faint_as_they_happen_to_lie():
    # light let through is as the square of the thickness over the wavelength (from memory): blue gets most
    strength = np.array([0.03, 0.06, 0.09, 0.14, 0.2, 0.3, 0.4, 0.5])
    blue = strength[:, None] * (540.0 / np.array([620.0, 540.0, 460.0])) ** 2
    thin = on_dark([*seen(blue), *KERNELS], DIM)
    found = thin.particles
    salt, warm = KINDS.index("salt"), found["blue"] < found["red"]
    assert 4 <= warm.sum() <= 6
    assert (found["kind"][~warm] == salt).all()
    assert (found["kind_doubt"][~warm] < 0.2).all()
    assert (found["kind"][warm] != salt).all()
    assert (found["kind_doubt"][warm] >= 0.1).all()
    assert any("polariser" in words for words in thin.quality.warnings)
    # as blue, but all alike, as a surface is when lit from above
    alike = np.geomspace(0.8, 1.25, 8)[:, None] * blue[4]
    lit = on_dark([*seen(alike), *KERNELS], DIM)
    assert not shining(lit.particles).any()
    assert not any("polariser" in words for words in lit.quality.warnings)
    # or bright and faint, but white
    assert not shining(on_dark([*seen(strength[:, None] * np.ones(3)), *KERNELS], DIM).particles).any()
