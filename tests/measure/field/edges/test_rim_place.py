"""Rims of see-through pieces are placed on any ground."""

from dataclasses import replace

import numpy as np
import shapely

from measure.field.edges.rim_place import placed_rims
from measure.field.ground.light import prepare
from measure.model import Picture


def test_black_oil_divides_nothing():
    """A rim on a ground that sends no light at all is left where it was, without a warning."""
    pixels = np.zeros((80, 80, 3), np.uint8)
    pixels[30:50, 30:50] = 40
    light = prepare(Picture(pixels))
    # CIELAB as the cube root of no light gives it, without the straight part of the formula near black
    none = np.zeros_like(light.background_lab) + np.array([-16, 0, 0], light.background_lab.dtype)
    ring = shapely.Point(40, 40).buffer(12)
    (placed,) = placed_rims([ring], [1.5], replace(light, background_lab=none), np.zeros(0))
    assert placed.is_valid
    assert 0.5 * ring.area < placed.area < 2.0 * ring.area
