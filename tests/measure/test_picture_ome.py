"""Colours kept as three pages, as the OME data model (2016-06) lets them be."""

from io import BytesIO

import numpy as np
import pytest
import tifffile

from measure.picture_file import read_picture
from measure.picture_ome import colour_pages, ome_size_um

RED, GREEN, BLUE = -16776961, 0x00FF00FF, 0x0000FFFF  # as the model writes them: red, green, blue, alpha


def scene(kind=np.uint8):
    rng = np.random.default_rng(3)
    return rng.integers(0, np.iinfo(kind).max, (32, 48, 3)).astype(kind)


def pages(pixels, order=(0, 1, 2), **channel):
    planes = np.moveaxis(pixels, -1, 0)[list(order)]
    more = {
        "compression": channel.pop("compression", None),
        "photometric": channel.pop("photometric", "minisblack"),
    }
    out = BytesIO()
    tifffile.imwrite(out, planes, ome=True, metadata={"axes": "CYX", "Channel": channel}, **more)
    return out.getvalue()


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
@pytest.mark.parametrize("compression", [None, "zlib"])
def test_pages_named_as_colours_are_one_picture_in_colour(kind, compression):
    data = pages(scene(kind), Name=["Red", "Green", "Blue"], compression=compression)
    picture = read_picture(data)
    assert np.array_equal(picture.pixels, scene(kind))
    assert not any("first is used" in note for note in picture.notes)


def test_the_order_of_the_pages_is_the_one_stated():
    data = pages(scene(), (2, 0, 1), Name=["b", "r", "g"])
    assert np.array_equal(read_picture(data).pixels, scene())
    data = pages(scene(), (1, 2, 0), Name=["first", "second", "third"], Color=[GREEN, BLUE, RED])
    assert np.array_equal(read_picture(data).pixels, scene())
    light = pages(255 - scene(), Name=["R", "G", "B"], photometric="miniswhite")
    assert np.array_equal(read_picture(light).pixels, scene())


@pytest.mark.parametrize(
    "channel",
    [
        {},
        {"Name": ["Red", "Red", "Blue"]},
        {"Name": ["DAPI", "FITC", "transmitted"]},
        {"Name": ["a", "b", "c"], "Color": [RED, GREEN, 0x00FFFFFF]},
    ],
)
def test_other_pages_are_several_pictures_and_the_first_is_used_and_said(channel):
    picture = read_picture(pages(scene(), **channel))
    assert np.array_equal(picture.pixels[..., 1], scene()[..., 0])
    assert any("holds 3 pictures; the first is used" in note for note in picture.notes)


def test_planes_on_other_pages_than_their_number_are_not_guessed():
    said = (
        '<OME><Image ID="Image:0"><Pixels SizeC="3" SizeZ="1" SizeT="1"><Channel Name="Red"/>'
        '<Channel Name="Green"/><Channel Name="Blue"/>{}</Pixels></Image></OME>'
    )
    assert colour_pages(said.format('<TiffData IFD="0" PlaneCount="3"/>')) == (0, 1, 2)
    each = "".join(f'<TiffData FirstC="{i}" IFD="{i}"/>' for i in range(3))
    assert colour_pages(said.format(each)) == (0, 1, 2)
    assert colour_pages(said.format('<TiffData FirstC="0" IFD="2"/>')) is None
    assert colour_pages(said.format("").replace('SizeZ="1"', 'SizeZ="5"')) is None


def test_sizes_have_their_unit():
    assert ome_size_um('<Pixels PhysicalSizeX="250" PhysicalSizeXUnit="nm">', "X") == pytest.approx(0.25)
    assert ome_size_um('<Pixels PhysicalSizeX="0.5">', "X") == 0.5
    assert ome_size_um('<Pixels PhysicalSizeX="0.5">', "Y") is None
    assert ome_size_um('<Pixels PhysicalSizeX="3" PhysicalSizeXUnit="pixel">', "X") is None
