"""The lower size limit: down to what pieces are cut apart, and that raising it only leaves pieces out."""

import numpy as np
import pytest

from measure.field.limits import finest_px
from measure.field.pipeline import measure_field
from measure.model import FieldSettings
from tests.measure.field.drawn_shapes import discs_of, picture_of


def test_pieces_are_cut_apart_down_to_the_default_however_high_the_limit():
    assert [finest_px(limit) for limit in (4.0, 10.0, 50.0)] == [4.0, 10.0, 10.0]


def smear(fines_px: float):
    """A piece of 50 px with three fines at its edge."""
    reach = 25.0 + fines_px / 2 - 1.0
    places = [(100.0, 120.0, 25.0)]
    places += [(100 + reach * np.cos(a), 120 + reach * np.sin(a), fines_px / 2) for a in (0.3, 1.9, 3.6)]
    return picture_of(discs_of(places, (220, 240)), oil=(232, 215, 170), piece=(120, 80, 50))


def sizes(picture, limit_px):
    """Sizes counted from a limit on, after checks that hold for any."""
    particles = measure_field(picture, FieldSettings(smallest_um=limit_px), 1.0).particles
    assert np.array_equal(particles["label"], np.arange(1, len(particles) + 1))
    assert particles.diameter_px.min() >= 0.7 * limit_px
    return np.sort(particles.diameter_px[particles["set_aside"] == ""])


def test_a_raised_limit_only_leaves_pieces_out():
    picture = smear(12.0)
    all_sizes, large = sizes(picture, 10.0), sizes(picture, 35.0)
    assert large == pytest.approx(all_sizes[all_sizes >= 35.0])
    assert large == pytest.approx([50.0], rel=0.03)
