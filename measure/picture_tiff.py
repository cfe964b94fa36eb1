"""Decode the first page of a TIFF file, or its pages as colours, checking size and completeness first."""

import logging
import re
import struct
import warnings
from io import BytesIO
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from measure.errors import InvalidInput
from measure.picture_formats import (
    Decoded,
    damaged,
    decode_with_cv2,
    full_range,
    hint_words,
    incomplete,
    pillow_pixels,
    refuse_size,
)
from measure.picture_ome import colour_pages, ome_size_um
from measure.picture_wide import to_16_bit

if TYPE_CHECKING:
    from tifffile import TiffFile, TiffFrame, TiffPage

# values of baseline TIFF tags (TIFF revision 6.0)
_NONE, _MINISWHITE, _RGB = 1, 0, 2
_UNSIGNED, _SIGNED, _DECIMAL = 1, 2, 3  # SampleFormat
_LOWEST, _HIGHEST = 340, 341  # SMinSampleValue, SMaxSampleValue
_PAGES_CHECKED = 100
# bytes a value by field type
_TYPE_BYTES = {3: 2, 4: 4, 5: 8, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4, 16: 8, 17: 8, 18: 8}


def decode_tiff(data: bytes, name: str) -> Decoded:
    """Decode a baseline or OME TIFF: 1, 8 or 16 bits, grey, RGB, palette, CMYK; wider numbers where clear.

    Raises
    ------
    InvalidInput
        If it is incomplete, too large, or holds numbers that are no brightness (`picture_wide`).
    """
    import tifffile

    logging.getLogger("tifffile").setLevel(logging.CRITICAL)
    try:
        with tifffile.TiffFile(BytesIO(data)) as file:
            page, pages = file.pages.first, len(file.pages)
            ome = file.ome_metadata if file.is_ome else None
            _refuse(page, len(data), name)
            _refuse_cut_tags(data, file, name)
            for later in file.pages[1:_PAGES_CHECKED]:
                _refuse_outside(later, len(data), name)
            said = re.search(r'SignificantBits="(\d+)"', ome or "")
            bits_said = int(said.group(1)) if said else None
            colours = _colours(file, data, ome) if ome else None
            if colours is not None:
                turned = False
                pixels, bits, stretched = full_range(colours, bits_said)
            elif _is_wide(page):
                raw = _wide_samples(page, data, name)
                pixels, bits, stretched = to_16_bit(raw, name, _stated_range(page), bits_said)
                pixels, turned = _channels(page, pixels), False
            else:
                pixels, turned = _samples(page, data, name)
                pixels, bits, stretched = full_range(pixels, bits_said)
            orientation = 1 if turned else _tag(page, 274, 1)
            hint, source = _pixel_size(page, ome)
    except InvalidInput:
        raise
    except (tifffile.TiffFileError, struct.error, IndexError, EOFError, KeyError, AttributeError) as error:
        raise incomplete(name) from error
    except (OSError, ValueError, TypeError, RuntimeError, ArithmeticError) as error:
        raise damaged(name) from error
    several = pages > 1 and colours is None
    notes = [f"the file holds {pages} pictures; the first is used"] if several else []
    notes += stretched
    orientation = orientation if isinstance(orientation, int) and 1 <= orientation <= 8 else 1
    return Decoded(pixels, bits, orientation, hint, source, tuple(notes))


def _colours(file: "TiffFile", data: bytes, ome: str) -> np.ndarray | None:
    """Return three pages that are the colours of one picture, (rows, columns, 3), or None."""
    order = colour_pages(ome)
    page = file.pages.first
    alike = page.photometric in (0, 1) and page.samplesperpixel == 1 and page.bitspersample in (8, 16)
    if order is None or len(file.pages) != 3 or not alike or _is_wide(page):
        return None
    if page.compression == _NONE:
        planes = [np.squeeze(one.asarray()) for one in file.pages]
    else:
        planes = list(cv2.imdecodemulti(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)[1])
    if len(planes) != 3 or any(one.shape != page.shape or one.dtype != page.dtype for one in planes):
        return None
    pixels = np.stack([planes[place] for place in order], axis=-1)
    return np.iinfo(pixels.dtype).max - pixels if page.photometric == _MINISWHITE else pixels


def _tag(page: "TiffPage", code: int, default: object) -> Any:
    tag = page.tags.get(code)
    return default if tag is None else tag.value


def _refuse(page: "TiffPage", size: int, name: str) -> None:
    """Refuse by the tags alone what is too large, incomplete or no brightness."""
    refuse_size(page.imagewidth, page.imagelength, name)
    bits, form = page.bitspersample, page.sampleformat
    known = {_UNSIGNED: (32, 64), _SIGNED: (16, 32, 64), _DECIMAL: (16, 32, 64)}.get(form, ())
    if bits not in known and (form != _UNSIGNED or bits > 16):
        raise InvalidInput(
            f"{name} holds {bits}-bit numbers of a kind that is not brightness; "
            "save it with 8 or 16 bits a channel."
        )
    _refuse_outside(page, size, name)
    channels = int(page.samplesperpixel)
    needed = (page.imagewidth * page.bitspersample * channels + 7) // 8 * page.imagelength
    if page.compression == _NONE and sum(page.databytecounts) < needed:
        raise incomplete(name)


def _refuse_cut_tags(data: bytes, file: "TiffFile", name: str) -> None:
    """Refuse when a tag's value lies beyond the end; the library would leave such a tag out silently."""
    big = file.is_bigtiff
    (count,) = struct.unpack_from(file.byteorder + ("Q" if big else "H"), data, file.pages.first.offset)
    at = file.pages.first.offset + (8 if big else 2)
    for _ in range(min(count, 4096)):
        _, kind, values, where = struct.unpack_from(file.byteorder + ("HHQQ" if big else "HHII"), data, at)
        length = _TYPE_BYTES.get(kind, 1) * values
        if length > (8 if big else 4) and where + length > len(data):
            raise incomplete(name)
        at += 20 if big else 12


def _refuse_outside(page: "TiffPage | TiffFrame", size: int, name: str) -> None:
    """Refuse a page whose tags or rows lie beyond the end of the file."""
    offsets, counts = page.dataoffsets, page.databytecounts
    if not offsets or len(offsets) != len(counts):
        raise incomplete(name)
    if any(o <= 0 or c <= 0 or o + c > size for o, c in zip(offsets, counts, strict=True)):
        raise incomplete(name)


def _is_wide(page: "TiffPage") -> bool:
    """Whether the samples are decimal, signed or of more than 16 bits."""
    return page.sampleformat != _UNSIGNED or page.bitspersample > 16


def _wide_samples(page: "TiffPage", data: bytes, name: str) -> np.ndarray:
    """Decode samples that are not plain 8 or 16 bits, grey or RGB."""
    if page.photometric not in (0, 1, _RGB):
        raise InvalidInput(
            f"{name} is neither grey nor RGB; save it as one of them, with 8 or 16 bits a channel."
        )
    pixels = _stored(page) if page.compression == _NONE else _unpacked(page, data, name)
    kind, wanted = pixels.dtype.kind, {_DECIMAL: "f"}.get(page.sampleformat, "iu")
    if kind not in wanted or 8 * pixels.dtype.itemsize != page.bitspersample:
        raise damaged(name)  # the decoder took the numbers for others
    return pixels


def _stated_range(page: "TiffPage") -> tuple[float, float] | None:
    """Return the lowest and highest value a sample can have, where the file states one for all channels."""
    found = [np.atleast_1d(_tag(page, code, None)) for code in (_LOWEST, _HIGHEST)]
    if any(values.dtype.kind not in "iuf" for values in found):
        return None
    low, high = (sorted({float(value) for value in values}) for values in found)
    return (low[0], high[0]) if len(low) == len(high) == 1 else None


def _stored(page: "TiffPage") -> np.ndarray:
    """Return the samples of a page as the library decodes them, (rows, columns, channels)."""
    pixels = np.squeeze(page.asarray())
    channels, rows, columns = int(page.samplesperpixel), page.imagelength, page.imagewidth
    if not _apart(page):
        return pixels.reshape(rows, columns, channels)
    return np.moveaxis(pixels.reshape(channels, rows, columns), 0, -1)


def _apart(page: "TiffPage") -> bool:
    """Whether each channel is kept by itself."""
    return page.planarconfig == 2 and int(page.samplesperpixel) > 1


def _unpacked(page: "TiffPage", data: bytes, name: str) -> np.ndarray:
    """Decode compressed samples of 16 bits and more; OpenCV mixes up channels that are kept apart."""
    if _apart(page):
        raise InvalidInput(
            f"{name} keeps each colour apart and compressed; save it without compression, or as PNG."
        )
    return decode_with_cv2(data, name)


def _samples(page: "TiffPage", data: bytes, name: str) -> tuple[np.ndarray, bool]:
    """Decode; also say whether the orientation is already applied."""
    plain = page.compression == _NONE and page.bitspersample in (8, 16)
    if plain and page.photometric in (0, 1, _RGB):
        return _channels(page, _stored(page)), False
    if page.bitspersample == 16:
        return _channels(page, _unpacked(page, data, name)), False
    if page.bitspersample in (10, 12, 14):
        raise InvalidInput(f"{name} packs {page.bitspersample} bits a channel; save it with 8 or 16 bits.")
    return _with_pillow(data, name), True


def _channels(page: "TiffPage", pixels: np.ndarray) -> np.ndarray:
    """Keep grey, grey with alpha, RGB or RGBA; turn white-is-zero over."""
    if pixels.ndim == 2:
        pixels = pixels[:, :, None]
    wanted = 3 if page.photometric == _RGB else 1
    alpha = wanted + 1 <= pixels.shape[2] and bool(page.extrasamples) and page.extrasamples[0] in (1, 2)
    pixels = pixels[:, :, : wanted + alpha]
    if page.photometric == _MINISWHITE:
        top = np.iinfo(pixels.dtype).max
        pixels = np.concatenate([top - pixels[:, :, :1], pixels[:, :, 1:]], axis=2)
    return pixels


def _with_pillow(data: bytes, name: str) -> np.ndarray:
    """Decode packed 8-bit kinds (the decoder never makes more than the stated size)."""
    from PIL import Image

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            with Image.open(BytesIO(data), formats=("TIFF",)) as image:
                image.load()
                return pillow_pixels(image)
        except Image.DecompressionBombError:
            return decode_with_cv2(data, name)
        except (OSError, ValueError, SyntaxError, struct.error, EOFError, IndexError, KeyError) as error:
            raise (incomplete(name) if "truncated" in str(error) else damaged(name)) from None


def _pixel_size(page: "TiffPage", ome: str | None) -> tuple[tuple[float | None, float | None], str]:
    """Return the pixel size the file claims, from OME-XML or the baseline resolution tags, in µm."""
    sizes = [ome_size_um(ome, axis) for axis in "XY"] if ome else [None, None]
    if sizes[0]:
        return (sizes[0], sizes[1]), "OME-XML"
    unit = {2: 25400.0, 3: 10000.0}.get(int(_tag(page, 296, 2)))
    values = []
    for code in (282, 283):
        ratio = _tag(page, code, None)
        usable = unit and isinstance(ratio, tuple) and len(ratio) == 2 and ratio[0] > 0 and ratio[1] > 0
        values.append(unit * ratio[1] / ratio[0] if usable else None)
    # 1 pixel an inch or cm is what writers put for "not known"
    if not values[0] or values[0] == unit:
        return (None, None), ""
    return (values[0], values[1]), hint_words("TIFF resolution tags", values[0])
