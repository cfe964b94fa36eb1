"""Lumps of a film in a grey picture with strong noise are no pieces."""

import cv2
import numpy as np

from measure.field.pipeline import measure_field
from measure.field.whole_field.halo import STAIN
from measure.model import FieldSettings, Picture


def _film(seed: int) -> Picture:
    """Nine grey discs of 40 px in strong noise, on a film that is thicker and thinner in places."""
    rng = np.random.default_rng(seed)
    lumps = cv2.GaussianBlur(rng.normal(0, 1, (300, 300)), (0, 0), 20)
    light = 130.0 + 6.0 * lumps / lumps.std()
    discs = np.zeros((300, 300), np.float32)
    for x in (50, 150, 250):
        for y in (50, 150, 250):
            cv2.circle(discs, (x, y), 20, 1.0, -1, cv2.LINE_AA)
    grey = light - 36.0 * discs + cv2.GaussianBlur(rng.normal(0, 1, (300, 300)), (0, 0), 0.6) * 48.0
    return Picture(np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, axis=2), grey=True)


def test_lumps_of_a_film_in_strong_noise_are_set_aside_and_faint_discs_are_counted():
    found = measure_field(_film(4), FieldSettings(), 1.0).particles
    counted = found["set_aside"] == ""
    assert counted.sum() == 9
    assert np.abs(found.diameter_px[counted] - 40.0).max() < 5.0
    assert (found["set_aside"] == STAIN).any()
