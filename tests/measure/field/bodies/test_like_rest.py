"""The rest of pale bodies between dark ones."""

from zlib import crc32

import numpy as np
import pytest

from measure.field.basics.polygons import polygon_of, polygons_of
from measure.field.bodies.like_rest import with_like_rest
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture
from measure.render import render_field
from measure.render.recipes import CONDITIONS, resized

_WIDTH_PX = 3.0


def test_a_pale_body_is_whole_between_dark_ones():
    recipe = resized(CONDITIONS["overlapping"], 1200)
    drawn = render_field(recipe, 1000 + crc32(b"overlapping") % 100_000 * 1_000_000)
    outline = next(t.outline for t in drawn.truth if np.hypot(*(t.outline.mean(axis=0) - (788, 259))) < 3)
    left, top = 690, 160  # of a part about the body, a kernel between two skins
    part = np.ascontiguousarray(drawn.pixels[top : top + 200, left : left + 200])
    found = polygons_of(measure_field(Picture(part, name="part"), FieldSettings(), 1.0).particles.outlines)
    body = polygon_of(outline - (left, top))
    shared = [one.intersection(body).area / one.union(body).area for one in found]
    assert max(shared) > 0.75


def _parts() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A dark body, a pale one beside it, and a place beside both that is in neither."""
    labels = np.zeros((60, 120), np.int32)
    labels[10:50, 10:50], labels[10:50, 80:110] = 1, 2
    delta = np.zeros((60, 120, 3), np.float32)
    delta[labels == 1], delta[10:50, 50:110] = (-40, 8, 12), (-12, 1, 6)
    return labels, delta, (labels == 0) & (delta[..., 0] < 0)


def test_what_is_as_pale_as_a_body_is_of_it():
    labels, delta, rest = _parts()
    out = with_like_rest(labels, rest, delta, _WIDTH_PX)
    assert (out[12:48, 55:78] == 2).all()
    assert (out[labels > 0] == labels[labels > 0]).all()


@pytest.mark.parametrize("tone", [(-7.0, 1.0, 3.0), (-12.0, -6.0, -3.0)])
def test_what_is_fainter_or_of_another_colour_is_not(tone: tuple[float, float, float]):
    labels, delta, rest = _parts()
    delta[rest] = tone
    assert with_like_rest(labels, rest, delta, _WIDTH_PX) is labels


def test_the_middle_of_a_rim_is_no_rest_of_what_lies_in_it():
    labels = np.zeros((80, 80), np.int32)
    labels[8:72, 8:72] = 1
    labels[14:66, 14:66] = 0
    labels[30:50, 40:60] = 2
    delta = np.zeros((80, 80, 3), np.float32)
    delta[8:72, 8:72], delta[labels == 1] = (-12, 1, 6), (-40, 8, 12)
    assert with_like_rest(labels, labels != 1, delta, _WIDTH_PX) is labels
