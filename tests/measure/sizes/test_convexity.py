"""The column of convexity: perimeter of the hull over that of the outline (ISO 9276-6:2008)."""

import numpy as np
import pytest

from measure.field.basics.shape import shape_columns
from measure.model import Frame, Scale
from measure.particles import make_particles
from measure.sizes.particle_table import TABLE_COLUMNS, particle_table

ELL = np.array([[0, 0], [2, 0], [2, 1], [1, 1], [1, 2], [0, 2]], float)
PLUS = np.array(
    [[1, 0], [2, 0], [2, 1], [3, 1], [3, 2], [2, 2], [2, 3], [1, 3], [1, 2], [0, 2], [0, 1], [1, 1]], float
)
SQUARE = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], float)


def _table(outlines):
    particles = make_particles(outlines, **shape_columns(outlines))
    return particle_table(particles, frame=Frame(1000, 1000), scale=Scale(0.5), smallest_um=1.0)


def test_closed_forms_of_plane_geometry():
    # L of three unit squares (6 + sqrt 2) / 8, plus of five (4 + 4 sqrt 2) / 12
    table = _table([100 + 40 * shape for shape in (SQUARE, ELL, PLUS)])
    assert table["convexity"] == pytest.approx([1.0, 0.926777, 0.804738], abs=2e-4)
    assert list(TABLE_COLUMNS)[-1] == "convexity"  # new columns come last


def test_unknown_where_there_is_no_hull():
    table = particle_table(
        make_particles([ELL], perimeter_px=[8.0], area_px2=[3.0]),
        frame=Frame(10, 10), scale=Scale(0.5), smallest_um=0.1,
    )  # fmt: skip
    assert np.isnan(table["convexity"]).all()
