"""Kinds in dark field, where light comes through the pieces; the seeds are none of the fit's."""

import numpy as np

from measure.field.kinds.kinds import table_of
from measure.model import KINDS
from tests.benchmarks.kind_variety import varied_field
from tests.benchmarks.kind_variety_looks import DARK_FIELD
from tests.measure.field.kinds.test_kinds import FOOD, measured

SEEDS = range(90_000, 90_008)  # in a row: some are far harder than others


def test_kinds_in_dark_field_are_mostly_right_and_where_they_are_not_they_are_in_doubt():
    """Thick kernels are as deep in colour as skins there, small grainy ones as white as crystals."""
    right, sure = [], []
    for seed in SEEDS:
        pixels, outlines, names = varied_field(seed, DARK_FIELD)
        found = measured(pixels, outlines)
        true = np.array([KINDS.index(name) if name in FOOD else 3 for name in names])
        assert table_of(found) == "colour on dark"
        right.append(found["kind"] == true)
        sure.append(found["kind_doubt"] < 0.1)
    hit, known = np.concatenate(right), np.concatenate(sure)
    assert hit.mean() >= 0.92
    assert known.mean() > 0.5
    assert hit[known].mean() > 0.97
