"""Outlines of every kind: exact size, simple, as their kind demands."""

import numpy as np
import pytest
import shapely

from measure.render import shapes
from measure.render.recipe import KernelLook, SaltLook, Sizes, SkinLook


@pytest.mark.parametrize("seed", range(25))
@pytest.mark.parametrize("kind", ["kernel", "skin", "salt", "bubble"])
def test_outline_is_simple_and_has_the_asked_area(kind, seed):
    rng = np.random.default_rng(seed)
    outline = {
        "kernel": lambda: shapes.kernel_outline(40.0, KernelLook(), rng),
        "skin": lambda: shapes.skin_outline(40.0, SkinLook(), rng),
        "salt": lambda: shapes.salt_outline(40.0, SaltLook(), rng)[0],
        "bubble": lambda: shapes.bubble_outline(40.0),
    }[kind]()
    polygon = shapely.Polygon(outline)
    assert polygon.is_valid
    assert polygon.area == pytest.approx(np.pi * 40.0**2 / 4, rel=1e-9)
    if kind == "salt":
        assert polygon.convex_hull.area == pytest.approx(polygon.area)
        assert 3 <= len(outline) <= 8


@pytest.mark.parametrize("seed", range(10))
def test_fibre_has_about_length_times_width(seed):
    outline = shapes.fibre_outline(400.0, 14.0, np.random.default_rng(seed))
    polygon = shapely.Polygon(outline)
    assert polygon.is_valid
    assert polygon.area == pytest.approx(400 * 14, rel=0.08)


def test_number_median_follows_the_published_relation():
    # Hatch and Choate 1929 (also ISO 9276-5): ln x50,3 = ln x50,0 + 3 ln^2 sigma_g
    sizes = Sizes(volume_median_um=50.0, sigma_g=1.6)
    rng = np.random.default_rng(0)
    x = np.sort(sizes.number_median_um * np.exp(np.log(1.6) * rng.normal(size=400_000)))
    volume = np.cumsum(x**3)
    assert np.interp(0.5, volume / volume[-1], x) == pytest.approx(50.0, rel=0.02)
