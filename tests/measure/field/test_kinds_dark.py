import numpy as np
import pytest

from measure.field.kinds import table_of
from measure.model import KINDS
from tests.benchmarks.kind_variety import varied_field
from tests.benchmarks.kind_variety_looks import DARK_FIELD
from tests.measure.field.test_kinds import FOOD, measured


@pytest.mark.parametrize("seed", [90_002, 90_003])
def test_kinds_are_right_in_dark_field_where_light_comes_through_the_pieces(seed):
    """Thick kernels are as deep in colour there as skins are; the seeds are none of the fit's."""
    pixels, outlines, names = varied_field(seed, DARK_FIELD)
    found = measured(pixels, outlines)
    true = np.array([KINDS.index(name) if name in FOOD else 3 for name in names])
    assert table_of(found) == "colour on dark"
    assert (found["kind"] == true).mean() >= 0.92


@pytest.mark.parametrize("seed", [90_000, 90_001])
def test_in_dark_field_kinds_that_cannot_be_told_are_in_doubt(seed):
    """Small grainy kernels as white as crystals that shine at their sides and within."""
    pixels, outlines, names = varied_field(seed, DARK_FIELD)
    found = measured(pixels, outlines)
    true = np.array([KINDS.index(name) if name in FOOD else 3 for name in names])
    right, sure = found["kind"] == true, found["kind_doubt"] < 0.1
    assert right.mean() < 0.9
    assert sure.mean() > 0.4
    assert right[sure].mean() > 0.95
