"""Reading pictures: against Pillow's and tifffile's own encoders, and every refusal."""

import contextlib
import struct
import tracemalloc
import zlib
from io import BytesIO

import cv2
import numpy as np
import pytest
import tifffile
from PIL import Image

from measure.errors import InvalidInput
from measure.picture_file import list_pictures, read_picture


def scene(height=41, width=67, channels=3, dtype=np.uint8):
    """Return smooth, unsymmetrical colour so that turned or swapped pictures differ."""
    y, x = np.mgrid[0:height, 0:width]
    planes = [x / width, y / height, (x + 2 * y) / (width + 2 * height), 0.5 + 0.5 * x / width]
    return np.rint(np.stack(planes[:channels], -1) * np.iinfo(dtype).max).astype(dtype)


def saved(image, **options):
    out = BytesIO()
    image.save(out, **options)
    return out.getvalue()


def tiff(pixels, **options):
    out = BytesIO()
    tifffile.imwrite(out, pixels, **options)
    return out.getvalue()


@pytest.mark.parametrize("form", ["PNG", "BMP", "TIFF", "WEBP"])
def test_lossless_rgb_is_kept_exactly(form):
    data = saved(Image.fromarray(scene()), format=form, **({"lossless": True} if form == "WEBP" else {}))
    picture = read_picture(data, "scene")
    assert np.array_equal(picture.pixels, scene())
    assert (picture.bit_depth, picture.grey, picture.name) == (8, False, "scene")
    assert not picture.pixels.flags.writeable


def test_jpeg_agrees_with_pillow():
    data = saved(Image.fromarray(scene()), format="JPEG", quality=95)
    reference = np.asarray(Image.open(BytesIO(data)).convert("RGB")).astype(int)
    assert np.abs(read_picture(data).pixels.astype(int) - reference).max() <= 2


def test_progressive_jpeg_and_restart_markers_are_walked():
    for options in ({"progressive": True}, {"restart_marker_blocks": 2}):
        data = saved(Image.fromarray(scene(200, 200)), format="JPEG", **options)
        assert read_picture(data).pixels.shape == (200, 200, 3)


def test_cmyk_jpeg_agrees_with_pillow():
    data = saved(Image.fromarray(scene()).convert("CMYK"), format="JPEG", quality=98)
    assert np.abs(read_picture(data).pixels.astype(int) - scene().astype(int)).mean() < 4


@pytest.mark.parametrize("form", ["PNG", "JPEG", "TIFF", "BMP", "WEBP"])
def test_grey(form):
    grey = scene()[:, :, 0]
    picture = read_picture(saved(Image.fromarray(grey), format=form))
    assert picture.pixels.shape == (41, 67, 3)
    assert picture.grey == (form != "WEBP")  # WebP has no grey kind
    assert np.abs(picture.pixels[:, :, 1].astype(int) - grey).max() < 6


@pytest.mark.parametrize("compression", [None, "tiff_lzw", "tiff_adobe_deflate", "packbits"])
@pytest.mark.parametrize("mode", ["RGB", "L", "P", "1"])
def test_tiff_compressions_and_modes(compression, mode):
    image = Image.fromarray(scene()).convert(mode)
    data = saved(image, format="TIFF", **({"compression": compression} if compression else {}))
    assert np.array_equal(read_picture(data).pixels, np.asarray(image.convert("RGB")))


@pytest.mark.parametrize("form", ["PNG", "BMP"])
@pytest.mark.parametrize("mode", ["P", "1"])
def test_palettes_and_one_bit(form, mode):
    image = Image.fromarray(scene()).convert(mode)
    assert np.array_equal(read_picture(saved(image, format=form)).pixels, np.asarray(image.convert("RGB")))


@pytest.mark.parametrize("channels", [1, 3])
def test_sixteen_bits_are_kept(channels):
    pixels = scene(channels=channels, dtype=np.uint16).squeeze()
    good, png = cv2.imencode(".png", pixels[..., ::-1] if channels == 3 else pixels)
    good_lzw, lzw = cv2.imencode(
        ".tif", pixels[..., ::-1] if channels == 3 else pixels, [cv2.IMWRITE_TIFF_COMPRESSION, 5]
    )
    assert good
    assert good_lzw
    for data in (png.tobytes(), lzw.tobytes(), tiff(pixels, photometric="rgb" if channels == 3 else None)):
        picture = read_picture(data)
        assert picture.pixels.dtype == np.uint16
        assert picture.bit_depth == 16
        assert np.array_equal(picture.pixels, np.broadcast_to(pixels.reshape(41, 67, -1), (41, 67, 3)))


def test_twelve_bits_kept_in_sixteen_are_stretched_and_noted():
    picture = read_picture(tiff((scene(channels=1, dtype=np.uint16) >> 4).squeeze()))
    assert picture.bit_depth == 12
    assert picture.pixels.max() > 60000
    assert "12-bit" in picture.notes[0]


def test_planar_white_is_zero_and_byte_order():
    planes = np.moveaxis(scene(), -1, 0)
    data = tiff(np.ascontiguousarray(planes), photometric="rgb", planarconfig="separate", byteorder=">")
    assert np.array_equal(read_picture(data).pixels, scene())
    deep = np.ascontiguousarray(np.moveaxis(scene(dtype=np.uint16), -1, 0))
    data = tiff(deep, photometric="rgb", planarconfig="separate", compression="zlib")
    _refused(data, "keeps each colour apart")  # a decoder mixed the colours up
    white_is_zero = tiff(255 - scene()[:, :, 0], photometric="miniswhite")
    assert np.array_equal(read_picture(white_is_zero).pixels[:, :, 0], scene()[:, :, 0])


@pytest.mark.parametrize("form", ["PNG", "TIFF", "WEBP"])
def test_alpha_is_laid_over_white_and_noted(form):
    rgba = np.dstack([scene(), np.full((41, 67), 255, np.uint8)])
    opaque = read_picture(saved(Image.fromarray(rgba), format=form, **_lossless(form)))
    assert np.array_equal(opaque.pixels, scene())
    assert opaque.notes == ()
    rgba[:, :30, 3] = 0
    picture = read_picture(saved(Image.fromarray(rgba), format=form, **_lossless(form)))
    assert (picture.pixels[:, :30] == 255).all()
    assert np.array_equal(picture.pixels[:, 30:], scene()[:, 30:])
    assert "white" in picture.notes[0]


def _lossless(form):
    return {"lossless": True} if form == "WEBP" else {}


def test_grey_with_alpha_and_palette_with_see_through_colour():
    both = np.dstack([scene()[:, :, 0], np.zeros((41, 67), np.uint8)])
    picture = read_picture(saved(Image.fromarray(both, "LA"), format="PNG"))
    assert (picture.pixels == 255).all()
    palette = Image.fromarray(np.zeros((5, 5), np.uint8), "P")
    palette.putpalette([10, 20, 30, 40, 50, 60])
    assert (read_picture(saved(palette, format="PNG", transparency=0)).pixels == 255).all()


@pytest.mark.parametrize("form", ["JPEG", "PNG", "TIFF", "WEBP"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation_is_made_upright(form, orientation):
    """CIPA DC-008 (EXIF), tag 274: 1 upright, 2 mirrored ... as Pillow's own transposition reads it."""
    from PIL import ImageOps

    exif = Image.Exif()
    exif[0x0112] = orientation
    options = {
        "PNG": {},
        "WEBP": {"lossless": True},
        "JPEG": {"quality": 98},
        "TIFF": {"compression": "tiff_lzw"},
    }
    data = saved(Image.fromarray(scene()), format=form, exif=exif, **options[form])
    reference = np.asarray(ImageOps.exif_transpose(Image.open(BytesIO(data))).convert("RGB"))
    picture = read_picture(data)
    assert picture.pixels.shape == reference.shape
    assert np.abs(picture.pixels.astype(int) - reference.astype(int)).max() <= 2


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_of_plain_tiff(orientation):
    data = tiff(scene(), photometric="rgb", extratags=[(274, "H", 1, orientation, True)])
    exif = Image.Exif()
    exif[0x0112] = orientation
    same = read_picture(saved(Image.fromarray(scene()), format="PNG", exif=exif))
    assert np.array_equal(read_picture(data).pixels, same.pixels)


def test_embedded_sizes():
    ome = BytesIO()
    tifffile.imwrite(
        ome, scene()[:, :, 0], ome=True, metadata={"PhysicalSizeX": 250.0, "PhysicalSizeXUnit": "nm"}
    )
    picture = read_picture(ome.getvalue())
    assert picture.embedded_um_per_px == pytest.approx(0.25)
    assert picture.embedded_source == "OME-XML"
    tags = read_picture(tiff(scene(), photometric="rgb", resolution=(20000, 20000), resolutionunit=3))
    assert tags.embedded_um_per_px == pytest.approx(0.5)  # 10,000 um a cm / 20,000
    assert tags.embedded_source == "TIFF resolution tags"
    png = read_picture(saved(Image.fromarray(scene()), format="PNG", dpi=(25400, 25400)))
    assert png.embedded_um_per_px == pytest.approx(1.0)


@pytest.mark.parametrize("form", ["PNG", "JPEG", "TIFF"])
def test_print_resolutions_are_given_but_named_so(form):
    picture = read_picture(saved(Image.fromarray(scene()), format=form, dpi=(300, 300)))
    assert picture.embedded_um_per_px == pytest.approx(25400 / 300, rel=1e-3)
    assert "print resolution of 300" in picture.embedded_source


def test_unequal_sizes_are_noted_and_turned():
    ome = BytesIO()
    tifffile.imwrite(ome, scene()[:, :, 0], ome=True, metadata={"PhysicalSizeX": 0.5, "PhysicalSizeY": 0.6})
    assert "not square" in read_picture(ome.getvalue()).notes[-1]


def test_first_of_many_is_noted():
    data = tiff(np.stack([scene()[:, :, 0]] * 3), photometric="minisblack")
    assert "3 pictures" in read_picture(data).notes[0]


def test_names_outside_ascii(tmp_path):
    path = tmp_path / "oříšková pasta 6× průchod ナッツ.png"
    path.write_bytes(saved(Image.fromarray(scene()), format="PNG"))
    for source in (path, str(path)):
        assert np.array_equal(read_picture(source).pixels, scene())
    assert read_picture(path).name == path.name
    assert len(read_picture(path).sha256) == 64


def _refused(source, *words, name=""):
    with pytest.raises(InvalidInput) as caught:
        read_picture(source, name)
    for word in words:
        assert word in caught.value.text
    assert caught.value.text.endswith((".", "?"))


def test_missing_empty_folder_text(tmp_path):
    _refused(tmp_path / "none.png", "none.png", "does not exist")
    (tmp_path / "empty.png").write_bytes(b"")
    _refused(tmp_path / "empty.png", "empty.png is empty")
    _refused(tmp_path, "is a folder")
    (tmp_path / "text.png").write_text("these are words, not a picture\n" * 9)
    _refused(tmp_path / "text.png", "text.png is not a picture", "text")
    _refused("a\0b.png", "does not exist")
    _refused(bytes(range(256)) * 4, "not a picture", name="junk.jpg")


def _examples():
    rgb, grey = scene(120, 150), scene(120, 150)[:, :, 0]
    noisy = np.random.default_rng(1).integers(0, 255, rgb.shape).astype(np.uint8)
    image = Image.fromarray(noisy)
    exif = Image.Exif()
    exif[0x0112] = 1
    return {
        "png": saved(image, format="PNG"),
        "jpeg": saved(image, format="JPEG", exif=exif),
        "progressive jpeg": saved(image, format="JPEG", progressive=True),
        "tiff": tiff(rgb, photometric="rgb"),
        "tiff strips": tiff(noisy, photometric="rgb", rowsperstrip=8),
        "lzw tiff": saved(image, format="TIFF", compression="tiff_lzw"),
        "ome tiff": tiff(grey, ome=True),
        "16-bit tiff": tiff(grey.astype(np.uint16) * 257),
        "bmp": saved(image, format="BMP"),
        "webp": saved(image, format="WEBP"),
    }


@pytest.mark.parametrize("which", sorted(_examples()))
@pytest.mark.parametrize("share", [0.0005, 0.01, 0.1, 0.5, 0.9, 0.99, 0.9999])
def test_cut_files_are_refused(which, share):
    data = _examples()[which]
    assert read_picture(data).pixels.shape[:2] == (120, 150)
    end = data.rfind(b"\xff\xd9") + 1 if "jpeg" in which else len(data) - 1
    _refused(data[: max(3, min(end, int(len(data) * share)))], "cut.file", name="cut.file")


def test_a_flipped_bit_in_a_png_is_noticed():
    data = bytearray(_examples()["png"])
    data[len(data) // 2] ^= 4
    _refused(bytes(data), "damaged", "checksum")


def _png(width, height, packed):
    def chunk(kind, body):
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", packed) + chunk(b"IEND", b"")


def test_huge_headers_are_refused_before_decoding():
    side = 90_000
    _refused(_png(side, side, zlib.compress(b"")), "90000 x 90000", "400 million")
    jpeg = bytearray(saved(Image.new("RGB", (16, 16)), format="JPEG"))
    at = jpeg.index(b"\xff\xc0") + 5
    jpeg[at : at + 4] = struct.pack(">HH", 60_000, 60_000)
    _refused(bytes(jpeg), "60000 x 60000", "400 million")
    bmp = bytearray(saved(Image.new("RGB", (16, 16)), format="BMP"))
    bmp[18:26] = struct.pack("<ii", side, side)
    _refused(bytes(bmp), "400 million")
    head = tiff(np.zeros((16, 16), np.uint8))
    with tifffile.TiffFile(BytesIO(head)) as file:
        places = [file.pages.first.tags[code].valueoffset for code in (256, 257)]
    large = bytearray(head)
    for place in places:
        large[place : place + 4] = struct.pack("<I", side)
    _refused(bytes(large), "400 million")


def test_a_small_header_with_endless_data_costs_no_memory():
    bomb = zlib.compress(b"\0" * 50_000_000)
    tracemalloc.start()
    with contextlib.suppress(InvalidInput):
        assert read_picture(_png(10, 10, bomb)).pixels.shape == (10, 10, 3)
    assert tracemalloc.get_traced_memory()[1] < 5_000_000
    tracemalloc.stop()


def test_list_pictures(tmp_path):
    for name in ("field 10.png", "field 2.TIF", "field 1.jpeg", ".hidden.png", "notes.txt"):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "folder.png").mkdir()
    assert [p.name for p in list_pictures(tmp_path)] == ["field 1.jpeg", "field 2.TIF", "field 10.png"]
    assert list_pictures(str(tmp_path / "notes.txt")) == [tmp_path / "notes.txt"]
    with pytest.raises(InvalidInput, match="holds no picture"):
        list_pictures(tmp_path / "folder.png")
    with pytest.raises(InvalidInput, match="does not exist"):
        list_pictures(tmp_path / "nowhere")
