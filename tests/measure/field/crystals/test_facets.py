"""Crystals seen askew: grey facets, bright and dark edges, and what must not be taken for one."""

import cv2
import numpy as np
import pytest
import shapely

from measure.field.pipeline import measure_field
from measure.field.rims.rim_colour import colour_share
from measure.model import FieldSettings, Picture

OIL = np.array([222.0, 212.0, 184.0])
SHAPE = (150, 160)
#: corners of the outline of a cube that lies on an edge, and of the facet on top of it
OUTLINE = np.array([[50, 62], [80, 40], [112, 56], [114, 92], [84, 114], [52, 98]], float)
TOP = np.array([[66, 70], [92, 62], [98, 84], [72, 92]], float)


def _filled(corners: np.ndarray, fine: int = 8) -> np.ndarray:
    mask = np.zeros((SHAPE[0] * fine, SHAPE[1] * fine), np.float32)
    cv2.fillPoly(mask, [np.rint(corners * fine).astype(np.int32)], 1.0)
    return cv2.resize(mask, SHAPE[::-1], interpolation=cv2.INTER_AREA)


def _picture(light: np.ndarray) -> Picture:
    """A picture of light, (M, N) or (M, N, 3), over that of the oil."""
    light = light if light.ndim == 3 else light[..., None]
    values = OIL * cv2.GaussianBlur(light, (0, 0), 1.0).reshape(*SHAPE, -1)
    values = values + np.random.default_rng(3).normal(0, 1.2, (*SHAPE, 3))
    return Picture(np.clip(np.rint(values), 0, 255).astype(np.uint8), name="facets")


def _area(corners: np.ndarray) -> float:
    return float(cv2.contourArea(corners.astype(np.float32)))


@pytest.mark.parametrize("greys", [(0.75, 0.45, 0.7, 0.45), (0.5, 0.8, 0.3, 0.8), (0.35, 0.35, 0.8, 0.6)])
def test_grey_facets_are_one_crystal(greys):
    """Four facets about a clear one."""
    light = np.ones(SHAPE, np.float32)
    sides = (
        np.array([OUTLINE[0], OUTLINE[1], TOP[1], TOP[0]]),
        np.array([OUTLINE[1], OUTLINE[2], OUTLINE[3], TOP[2], TOP[1]]),
        np.array([OUTLINE[3], OUTLINE[4], TOP[3], TOP[2]]),
        np.array([OUTLINE[4], OUTLINE[5], OUTLINE[0], TOP[0], TOP[3]]),
    )
    for corners, grey in zip(sides, greys, strict=True):
        cover = _filled(corners)
        light = light * (1 - cover) + grey * cover
    particles = measure_field(_picture(light), FieldSettings(), 1.0).particles
    assert particles["area_px2"] == pytest.approx([_area(OUTLINE)], rel=0.05)


def test_bright_and_dark_edges_are_one_crystal():
    """Two edges that send light in and two that send it away, as out of focus."""
    corners = np.array([[45, 70], [95, 45], [118, 88], [68, 113]], float)
    light = np.ones(SHAPE, np.float32)
    for k, grey in enumerate((1.1, 0.5, 1.1, 0.5)):
        line = np.zeros((SHAPE[0] * 8, SHAPE[1] * 8), np.float32)
        ends = np.rint(corners[[k, (k + 1) % 4]] * 8).astype(int)
        cv2.line(line, ends[0].tolist(), ends[1].tolist(), 1.0, 40)
        cover = cv2.resize(line, SHAPE[::-1], interpolation=cv2.INTER_AREA)
        light = light * (1 - cover) + grey * cover
    particles = measure_field(_picture(light), FieldSettings(), 1.0).particles
    whole = shapely.Polygon(corners).buffer(2.5, join_style="mitre").area
    assert particles["area_px2"] == pytest.approx([whole], rel=0.05)


def test_pieces_of_two_colours_stay_two():
    """The same outline, one half of it a brown piece."""
    light = np.ones((*SHAPE, 3), np.float32)
    grey, brown = (0.55, 0.55, 0.55), (0.6, 0.4, 0.2)
    for corners, colour in (([0, 1, 2, 3], grey), ([3, 4, 5, 0], brown)):
        cover = _filled(OUTLINE[corners])[..., None]
        light = light * (1 - cover) + np.array(colour, np.float32) * cover
    assert len(measure_field(_picture(light), FieldSettings(), 1.0).particles) == 2


def test_round_grey_pieces_side_by_side_stay_two():
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]] + 0.5
    light = np.ones(SHAPE, np.float32)
    light[np.hypot(x - 58, y - 75) < 23] = 0.45
    light[np.hypot(x - 103, y - 75) < 23] = 0.75
    assert len(measure_field(_picture(light), FieldSettings(), 1.0).particles) == 2


def test_more_light_has_no_colour_in_bright_oil_only():
    """A full camera turns what is brighter towards white; on a dark ground pieces have colours."""
    bright, dark = np.array([84.0, -1.0, 18.0]), np.array([12.0, 0.0, 2.0])
    assert colour_share(np.array([10.0, 0.0, -6.0]), bright) < 0.1
    assert colour_share(np.array([-30.0, 0.3, -5.4]), bright) < 0.1
    assert colour_share(np.array([-20.0, 8.0, 16.0]), bright) > 0.5
    assert colour_share(np.array([40.0, 8.0, 25.0]), dark) > 0.3
