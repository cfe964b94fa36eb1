import cv2
import numpy as np

from measure.field.ground.light import prepare
from measure.field.kinds.kinds import dust_form
from measure.field.kinds.measure_outlines import measure_outlines
from measure.model import Picture


def test_slender_and_three_cornered_pieces_are_not_ragged_and_scraps_are():
    t = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    rod = np.c_[60 + 30 * np.sign(np.cos(t)) + 9 * np.cos(t), 40 + 9 * np.sin(t)]
    triangle = np.array([(140.0, 20.0), (190.0, 20.0), (165.0, 64.0)])
    frayed = np.c_[
        60 + (30 + 2.5 * np.sin(40 * t)) * np.cos(t), 130 + (30 + 2.5 * np.sin(40 * t)) * np.sin(t)
    ]
    armed = np.c_[165 + (22 + 9 * np.cos(3 * t)) * np.cos(t), 130 + (22 + 9 * np.cos(3 * t)) * np.sin(t)]
    outlines = [rod, triangle, frayed, armed]
    pixels = np.full((180, 220, 3), 200, np.uint8)
    for outline in outlines:
        cv2.fillPoly(pixels, [np.round(outline * 16).astype(np.int32)], (20, 20, 20), shift=4)
    noise = np.random.default_rng(1).normal(0, 2, pixels.shape)
    picture = Picture(np.clip(pixels + noise, 0, 255).astype(np.uint8), grey=True)
    particles = measure_outlines(outlines, picture, prepare(picture))
    could, sure = dust_form(particles)
    assert could.tolist() == [False, False, True, True]
    assert not sure.any()
