"""Crystals that lie askew, with thin faint lines round them and between their facets, are one piece each."""

import cv2
import numpy as np
import pytest

from measure.field.ground.light import prepare
from measure.field.pipeline import measure_field
from measure.field.rims.faint_boxes import faint_boxes
from measure.model import FieldSettings, Picture

_OIL = np.array([214.0, 206.0, 180.0])
_PLACES = [(70, 70, 15), (190, 80, 50), (320, 70, 70), (90, 200, 30), (210, 210, 5), (330, 200, 62)]
_HALF_PX = 26.0


def _picture() -> Picture:
    """Six squares of three facets: one a little brighter than the oil, one a little darker, one like it."""
    rng = np.random.default_rng(2)
    light = np.repeat(_OIL[None, None], 280, 0).repeat(400, 1)
    for x, y, turn in _PLACES:
        a = np.deg2rad(turn)
        along, across = np.array([np.cos(a), np.sin(a)]), np.array([-np.sin(a), np.cos(a)])
        stops, facets = (-1.0, -0.4, 0.45, 1.0), (0.025, 0.0, -0.02)
        ends = [np.array([x, y]) + _HALF_PX * (stop * along) for stop in stops]
        lines, tones = np.zeros(light.shape[:2], np.float32), np.zeros(light.shape[:2], np.float32)
        for one, other, tone in zip(ends, ends[1:], facets, strict=False):
            sides = (one, other)
            corners = [sides[k] + side * _HALF_PX * across for k, side in ((0, -1), (0, 1), (1, 1), (1, -1))]
            points = np.round((np.array(corners) - 0.5) * 16).astype(np.int32)
            cv2.fillPoly(tones, [points], tone, cv2.LINE_AA, 4)
            cv2.polylines(lines, [points], True, 1.0, 1, cv2.LINE_AA, 4)
        taken = np.maximum(-tones, 0) + 0.12 * lines
        light = light * (1 + np.maximum(tones, 0) - taken)[..., None]
    light = cv2.GaussianBlur(light, (0, 0), 0.6) + rng.normal(0, 1.0, light.shape)
    return Picture(np.clip(np.rint(light), 0, 255).astype(np.uint8), name="boxes")


def test_crystals_of_faint_facets_are_one_piece_each():
    particles = measure_field(_picture(), FieldSettings(), 1.0).particles
    counted = particles.diameter_px[particles["set_aside"] == ""]
    true = 2 * (2 * _HALF_PX) / np.sqrt(np.pi)
    assert counted == pytest.approx([true] * len(_PLACES), rel=0.06)


def _boxes(dark: np.ndarray, labels: np.ndarray) -> int:
    light = prepare(_picture())
    return len(list(faint_boxes(dark, labels, light.delta, light.oil_lab, 78.0)))


def _lines(*shapes: list[tuple[int, int]]) -> np.ndarray:
    lines = np.zeros((280, 400), np.uint8)
    cv2.polylines(lines, [np.int32(shape) for shape in shapes], True, 1, 2)
    return lines


def test_only_facets_within_one_straight_outline_make_a_crystal():
    free = np.zeros((280, 400), np.int32)
    left, right = [(50, 50), (90, 50), (90, 110), (50, 110)], [(90, 50), (120, 50), (120, 110), (90, 110)]
    above = [(90, 20), (120, 20), (120, 110), (90, 110)]
    assert _boxes(_lines(left, right), free) == 1
    assert _boxes(_lines(left), free) == 0  # a single rim
    assert _boxes(_lines(left, above), free) == 0  # two crystals beside one another


def test_what_was_found_there_lies_within():
    lines = _lines([(50, 50), (90, 50), (90, 110), (50, 110)], [(90, 50), (120, 50), (120, 110), (90, 110)])
    facet, beyond, rim = (np.zeros((280, 400), np.int32) for _ in range(3))
    facet[55:105, 95:115] = 1
    beyond[55:105, 95:180] = 1
    rim[cv2.dilate(lines, np.ones((3, 3), np.uint8)) > 0] = 1
    assert [_boxes(lines, found) for found in (facet, beyond, rim)] == [1, 0, 0]
