"""Pictures of decimal, signed or wide numbers: read where black and white are clear, else refused."""

from io import BytesIO

import numpy as np
import pytest
import tifffile
from PIL import Image

from measure.errors import InvalidInput
from measure.field.pipeline import measure_field
from measure.model import FieldSettings
from measure.picture_file import read_picture
from measure.render import Recipe, render_field

_Y, _X = np.mgrid[0:41, 0:67]
RAMP = (_X + 2 * _Y) / (66 + 80)  # 0 to 1
COLOUR = np.dstack([RAMP, 0.5 * RAMP, 1 - RAMP])


def tiff(pixels, **options):
    out = BytesIO()
    tifffile.imwrite(out, pixels, **options)
    return out.getvalue()


def stated(low, high):
    """Return the tags SMinSampleValue and SMaxSampleValue (TIFF revision 6.0)."""
    return {"extratags": [(340, "f", 1, low, True), (341, "f", 1, high, True)]}


def off(picture, wanted=RAMP):
    """Return the largest distance from what was drawn, share of the range."""
    pixels = picture.pixels[..., 0] if wanted.ndim == 2 else picture.pixels
    return np.abs(pixels / 65535 - wanted).max()


@pytest.mark.parametrize("dtype", [np.float16, np.float32, np.float64])
@pytest.mark.parametrize("byteorder", ["<", ">"])
def test_decimals_from_0_to_1_are_black_to_white(dtype, byteorder):
    picture = read_picture(tiff(RAMP.astype(dtype), byteorder=byteorder))
    assert picture.pixels.dtype == np.uint16
    assert (picture.bit_depth, picture.grey) == (16, True)
    assert off(picture) < (6e-4 if dtype is np.float16 else 1e-5)
    assert picture.notes == ("decimal values were read as 0 black to 1 white",)


@pytest.mark.parametrize(("compression", "planar"), [(None, False), ("zlib", False), (None, True)])
def test_colour_however_it_is_kept(compression, planar):
    pixels = COLOUR.astype(np.float32)
    if planar:
        pixels = np.ascontiguousarray(np.moveaxis(pixels, -1, 0))
    how = {"planarconfig": "separate"} if planar else {}
    picture = read_picture(tiff(pixels, photometric="rgb", compression=compression, **how))
    assert off(picture, COLOUR) < 1e-5
    assert not picture.grey


@pytest.mark.parametrize("compression", ["tiff_lzw", "tiff_adobe_deflate"])
@pytest.mark.parametrize("dtype", [np.float32, np.int32])
def test_compressed_by_another_writer(compression, dtype):
    out = BytesIO()
    pixels = RAMP.astype(dtype) if dtype is np.float32 else np.rint(65535 * RAMP).astype(dtype)
    Image.fromarray(pixels).save(out, "TIFF", compression=compression)
    assert off(read_picture(out.getvalue())) < 1e-5


def test_white_is_zero_and_a_hair_beyond_the_range():
    assert off(read_picture(tiff((1 - RAMP).astype(np.float32), photometric="miniswhite"))) < 1e-5
    over = RAMP.astype(np.float32).copy()
    over[-1, -1], over[0, 0] = 1 + 5e-7, -5e-7
    assert off(read_picture(tiff(over))) < 1e-5


def test_a_stated_range_is_kept_to():
    picture = read_picture(tiff((4000 * RAMP + 0.01).astype(np.float32), **stated(0, 4095.5)))
    assert off(picture, RAMP * 4000 / 4095.5) < 2e-5
    assert picture.notes == ("decimal values were read as 0 black to 4095.5 white, as stated",)
    # what is stated may be no more than the darkest and brightest sample there are
    part = (0.25 + 0.5 * RAMP).astype(np.float32)
    assert off(read_picture(tiff(part, **stated(0.25, 0.75))), 0.25 + 0.5 * RAMP) < 1e-5


@pytest.mark.parametrize("dtype", [np.int16, np.int32, np.int64, np.uint32, np.uint64, np.float32])
@pytest.mark.parametrize("bits", [8, 10, 12, 14, 16])
def test_whole_numbers_are_read_as_those_of_16_bits(dtype, bits):
    if dtype is np.int16 and bits == 16:
        bits = 15  # all that a signed 16-bit number has for brightness
    counts = np.rint((2**bits - 1) * RAMP)
    picture = read_picture(tiff(counts.astype(dtype)))
    assert off(picture) < 0.5 / (2**bits - 1) + 0.51 / 65535  # rounded once here and once to 16 bits
    assert picture.bit_depth == bits
    assert f"kept in {8 * np.dtype(dtype).itemsize} bits" in picture.notes[0]
    plain = read_picture(tiff(counts.astype(np.uint16)))
    if bits not in (8, 15):  # narrower than what 16-bit pictures are taken for
        assert np.array_equal(picture.pixels, plain.pixels)


def test_stated_bits_count_for_more_than_the_brightest_value():
    dim = np.rint(4000 * RAMP).astype(np.uint32)
    picture = read_picture(tiff(dim, ome=True, metadata={"SignificantBits": 14}))
    assert picture.bit_depth == 14
    assert off(picture, RAMP * 4000 / 16383) < 1e-4
    assert read_picture(tiff(dim)).bit_depth == 12


@pytest.mark.parametrize(
    ("pixels", "said"),
    [
        (255.5 * RAMP.astype(np.float32), r"decimal numbers from 0 to 255\.5, and what is black and white"),
        (RAMP.astype(np.float32) - 0.1, "decimal numbers from -0.1 to 0.9"),
        (0.003 * RAMP.astype(np.float64), "up to 0.003 only, hardly any light"),
        (np.where(RAMP > 0.5, np.nan, RAMP), "no numbers"),
        (np.where(RAMP > 0.5, np.inf, RAMP).astype(np.float32), "no numbers"),
        (np.rint(100 * RAMP).astype(np.int32) - 3, "whole numbers from -3 to 97"),
        (np.rint(1e6 * RAMP).astype(np.uint32), "whole numbers from 0 to 1000000"),
        (np.rint(1e5 * RAMP).astype(np.float32), "whole numbers from 0 to 100000"),
        (RAMP.astype(np.complex64), "of a kind that is not brightness"),
        (np.rint(100 * RAMP).astype(np.int8), "of a kind that is not brightness"),
    ],
)
def test_what_cannot_be_told_is_refused(pixels, said):
    with pytest.raises(InvalidInput, match=said) as caught:
        read_picture(tiff(pixels), "field.tif")
    assert "field.tif" in caught.value.text
    assert "save it" in caught.value.text


def test_a_range_that_says_something_else_is_refused():
    with pytest.raises(InvalidInput, match="outside the range of 0 to 1 it states"):
        read_picture(tiff((1.5 * RAMP).astype(np.float32), **stated(0, 1)))
    with pytest.raises(InvalidInput, match="the range of 100 to 4095 it states"):
        read_picture(tiff((200.5 + 3000 * RAMP).astype(np.float32), **stated(100, 4095)))


@pytest.mark.parametrize("compression", [None, "zlib"])
def test_a_file_that_ends_early_is_refused(compression):
    data = tiff(RAMP.astype(np.float32), compression=compression)
    with pytest.raises(InvalidInput):
        read_picture(data[: len(data) - 900 if compression is None else len(data) // 2])


def test_pieces_come_out_the_same_as_from_16_bits():
    field = render_field(Recipe(width_px=300, height_px=240, um_per_px=0.65), 3).pixels
    deep = field.astype(np.uint16) * 257
    plain = measure_field(read_picture(tiff(deep, photometric="rgb")), FieldSettings(), 0.65)
    decimal = measure_field(
        read_picture(tiff((deep / 65535).astype(np.float32), photometric="rgb")), FieldSettings(), 0.65
    )
    assert len(plain.particles) > 2
    assert np.array_equal(plain.particles["area_px2"], decimal.particles["area_px2"])
