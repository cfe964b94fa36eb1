"""A preview shows what measuring will find, also where a lamp or a lens changes how pieces look."""

import numpy as np
import pytest

from app import jobs
from measure.field.pipeline import measure_field
from measure.model import FieldSettings
from tests.measure.field.ground.test_phase_halo import _discs, _phase


@pytest.mark.parametrize("given_back", [0.7, 1.4])
def test_glows_of_phase_contrast_are_no_pieces_of_a_preview_either(given_back):
    picture = _phase(_discs(), given_back)
    light = jobs.make_light(picture, None, ())
    whole = (0.0, 0.0, float(picture.width_px), float(picture.height_px))
    shown = jobs.preview(light, FieldSettings(), 1.0, whole)
    found = measure_field(picture, FieldSettings(), 1.0).particles
    counted = [o for o, aside in zip(found.outlines, found["set_aside"], strict=True) if not aside]
    assert len(shown.outlines) == len(counted) == 12
    middles = [np.sort([o.mean(axis=0)[0] for o in outlines]) for outlines in (shown.outlines, counted)]
    assert np.abs(middles[0] - middles[1]).max() < 1.0
