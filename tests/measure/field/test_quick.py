"""Quick median and percentile against the reference library, to the last digit."""

import numpy as np
import pytest

from measure.field import quick


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_equal_to_the_reference_library(kind):
    rng = np.random.default_rng(3)
    for count in [*range(1, 40), 500, 501]:
        values = rng.normal(size=count).astype(kind)
        assert quick.median(values) == float(np.median(values))
        for percent in (0.5, 25, 60, 75, 80, 85, 99.5):
            assert quick.percentile(values, percent) == float(np.percentile(values, percent))


def test_values_are_left_as_they_are():
    values = np.array([3.0, 1.0, 2.0])
    quick.median(values)
    quick.percentile(values, 80)
    assert values.tolist() == [3.0, 1.0, 2.0]
