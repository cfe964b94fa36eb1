"""Pictures that are no blank oil are told before they spoil the fields."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.field.blank_check import blank_warning
from measure.field.ground.light import prepare
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture
from measure.picture_file import read_picture

SAMPLES = Path(__file__).parents[3] / "sample_images"
FIELD, BLANK = SAMPLES / "pass-3" / "field-1.jpg", SAMPLES / "blank-oil.jpg"


def test_a_field_given_as_blank_oil_is_told_and_oil_is_not():
    assert blank_warning(read_picture(BLANK)) == ""
    told = blank_warning(read_picture(FIELD))
    assert "field-1.jpg shows" in told
    assert "take a place without any" in told


@pytest.mark.parametrize(("kind", "value"), [(np.uint8, 0), (np.uint8, 6), (np.uint16, 1500)])
def test_a_black_picture_is_refused_as_blank_oil(kind, value):
    field = read_picture(FIELD)
    black = Picture(np.full(field.pixels.shape, value, kind), name="dark.png")
    with pytest.raises(InvalidInput, match=r"dark\.png is nearly black"):
        prepare(field, black)
    lit = replace(black, pixels=np.full(field.pixels.shape, 30 * (257 if kind is np.uint16 else 1), kind))
    assert prepare(field, lit).delta.shape == field.pixels.shape


@pytest.mark.parametrize("shape", [(1, 1), (1, 2), (2, 1), (3, 3)])
def test_the_smallest_pictures_hold_no_piece(shape):
    picture = Picture(np.full((*shape, 3), 230, np.uint8))
    assert len(measure_field(picture, FieldSettings(), 0.5).particles) == 0
