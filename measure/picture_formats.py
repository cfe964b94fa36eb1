"""Decode PNG, JPEG, BMP and WebP bytes, checking size and completeness first."""

import re
import struct
import warnings
import zlib
from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING

import cv2
import numpy as np

from measure.errors import InvalidInput

if TYPE_CHECKING:
    from PIL.Image import Image

LIMIT_MPX = 400
# coarser than this (2540 dots an inch) a stated resolution is meant for printing
_PRINT_UM_PER_PX = 10.0
# a marker that is no stuffed byte, fill byte or restart within the coded data
_JPEG_MARKER = re.compile(rb"\xff[^\x00\x01\xff\xd0-\xd7]", re.DOTALL)


@dataclass(frozen=True)
class Decoded:
    """What a decoder gives: samples as stored (1 to 4 channels, RGB order) and what the file says of them."""

    pixels: np.ndarray
    bit_depth: int = 8
    orientation: int = 1
    hint_um: tuple[float | None, float | None] = (None, None)  # pixel size across and down, as stored
    hint_source: str = ""
    notes: tuple[str, ...] = ()


def refuse_size(width: int, height: int, name: str) -> None:
    """Refuse a picture of no size or above the limit, by its header alone.

    Raises
    ------
    InvalidInput
    """
    if width < 1 or height < 1:
        raise InvalidInput(f"{name} is damaged: its header gives a size of {width} x {height} pixels.")
    if width * height > LIMIT_MPX * 1_000_000:
        raise InvalidInput(
            f"{name} is {width} x {height} pixels; the limit is {LIMIT_MPX} million pixels. "
            "Crop it or save it smaller."
        )


def incomplete(name: str) -> InvalidInput:
    """Return the error for a file that ends too early."""
    return InvalidInput(f"{name} is incomplete: the file ends before the picture does; copy it again.")


def damaged(name: str) -> InvalidInput:
    """Return the error for a file that no decoder understands."""
    return InvalidInput(f"{name} is damaged or of a rare kind that cannot be read; save it as PNG or TIFF.")


def hint_words(source: str, um_per_px: float) -> str:
    """Name where a pixel size stands, saying when it is a print resolution.

    Examples
    --------
    >>> hint_words("PNG pHYs", 0.25)
    'PNG pHYs'
    >>> hint_words("PNG pHYs", 254 / 3)
    'PNG pHYs, a print resolution of 300 dots per inch, not the size in the object'
    """
    if um_per_px <= _PRINT_UM_PER_PX:
        return source
    return (
        f"{source}, a print resolution of {25400 / um_per_px:.4g} dots per inch, not the size in the object"
    )


def decode_with_cv2(data: bytes, name: str) -> np.ndarray:
    """Decode with every bit and channel kept, in RGB order.

    Raises
    ------
    InvalidInput
        If the decoder gives up.
    """
    log = cv2.utils.logging
    level = log.setLogLevel(log.LOG_LEVEL_SILENT)
    try:
        pixels = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    except cv2.error:
        pixels = None
    finally:
        log.setLogLevel(level)
    if pixels is None:
        raise damaged(name)
    if pixels.ndim == 3 and pixels.shape[2] >= 3:
        if pixels.dtype in (np.uint8, np.uint16) and pixels.shape[2] <= 4:
            return cv2.cvtColor(pixels, cv2.COLOR_BGRA2RGBA if pixels.shape[2] == 4 else cv2.COLOR_BGR2RGB)
        pixels = pixels[:, :, [2, 1, 0, 3] if pixels.shape[2] == 4 else [2, 1, 0]]
    return pixels


def exif_orientation(data: bytes) -> int:
    """Return the orientation (1 to 8) in a raw EXIF block, 1 when it says nothing usable."""
    from PIL import Image

    exif = Image.Exif()
    try:
        exif.load(data if data.startswith(b"Exif") else b"Exif\0\0" + data)
        value = exif.get(0x0112, 1)
    except (ValueError, SyntaxError, OSError, struct.error, KeyError, TypeError):
        return 1
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def decode_png(data: bytes, name: str) -> Decoded:
    """Decode a PNG (ISO/IEC 15948), checking every chunk's checksum and the closing chunk first."""
    chunks = _png_chunks(data, name)
    colour_type = chunks["IHDR"][9]
    pixels = decode_with_cv2(data, name)
    hint: tuple[float | None, float | None] = (None, None)
    source = ""
    if len(chunks.get("pHYs", b"")) == 9 and chunks["pHYs"][8] == 1:
        across, down = struct.unpack(">II", chunks["pHYs"][:8])
        hint = (1e6 / across if across else None, 1e6 / down if down else None)
        source = hint_words("PNG pHYs", hint[0]) if hint[0] else ""
    notes = ("animated: only its first picture is read",) if "acTL" in chunks else ()
    orientation = exif_orientation(chunks["eXIf"]) if "eXIf" in chunks else 1
    if colour_type in (0, 4) and pixels.ndim == 3 and pixels.shape[2] >= 3:
        pixels = pixels[:, :, [0, 3]] if pixels.shape[2] == 4 else pixels[:, :, 0]
    pixels, bits, stretched = full_range(pixels)
    return Decoded(pixels, bits, orientation, hint, source, notes + stretched)


def _png_chunks(data: bytes, name: str) -> dict[str, bytes]:
    """Walk the chunks; return the first of each small kind. The size is refused at the first chunk."""
    found: dict[str, bytes] = {}
    at = 8
    view = memoryview(data)
    while "IEND" not in found:
        if at + 12 > len(data):
            raise incomplete(name)
        (length,) = struct.unpack_from(">I", data, at)
        kind = data[at + 4 : at + 8].decode("latin-1")
        if at + 12 + length > len(data):
            if kind == "IHDR":
                raise damaged(name)
            raise incomplete(name)
        body = view[at + 8 : at + 8 + length]
        if zlib.crc32(view[at + 4 : at + 8 + length]) != struct.unpack_from(">I", data, at + 8 + length)[0]:
            raise InvalidInput(f"{name} is damaged: a checksum inside it is wrong; copy it again.")
        if not found:
            if kind != "IHDR" or length != 13:
                raise damaged(name)
            width, height = struct.unpack(">II", body[:8])
            refuse_size(width, height, name)
        if kind != "IDAT" and length < 2**20:
            found.setdefault(kind, bytes(body))
        at += 12 + length
    return found


def decode_jpeg(data: bytes, name: str) -> Decoded:
    """Decode a JPEG (ISO/IEC 10918-1) after walking its markers to the end-of-image marker."""
    segments = _jpeg_segments(data, name)
    pixels = decode_with_cv2(data, name)
    orientation, source = 1, ""
    hint: tuple[float | None, float | None] = (None, None)
    for marker, body in segments:
        if marker == 0xE1 and body[:6] == b"Exif\0\0":
            orientation = exif_orientation(body)
        if marker == 0xE0 and body[:5] == b"JFIF\0" and len(body) >= 12:
            unit, across, down = struct.unpack(">BHH", body[7:12])
            if unit in (1, 2) and across and down:
                unit_um = {1: 25400, 2: 10000}[unit]
                hint = (unit_um / across, unit_um / down)
                source = hint_words("JFIF density", unit_um / across)
    return Decoded(pixels, 8, orientation, hint, source)


def _jpeg_segments(data: bytes, name: str) -> list[tuple[int, bytes]]:
    """Walk the markers to the end of the image; return the application segments."""
    at, sized = 2, False
    kept: list[tuple[int, bytes]] = []
    while True:
        found = _JPEG_MARKER.search(data, at)
        if found is None:
            raise incomplete(name)
        at, marker = found.start(), data[found.start() + 1]
        if marker == 0xD9:
            if not sized:
                raise damaged(name)
            return kept
        if at + 4 > len(data):
            raise incomplete(name)
        (length,) = struct.unpack_from(">H", data, at + 2)
        body = data[at + 4 : at + 2 + length]
        if len(body) < length - 2:
            raise incomplete(name)
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC) and len(body) >= 5:
            height, width = struct.unpack(">HH", body[1:5])
            refuse_size(width, height, name)
            sized = True
        elif 0xE0 <= marker <= 0xEF:
            kept.append((marker, body))
        at += 2 + max(length, 2)


def decode_with_pillow(data: bytes, name: str) -> Decoded:
    """Decode BMP or WebP with Pillow, which notices a file that ends too early."""
    if data[:4] == b"RIFF" and struct.unpack_from("<I", data, 4)[0] + 8 > len(data):
        raise incomplete(name)
    from PIL import Image

    with warnings.catch_warnings():
        # the limit is checked here from the header, before decoding
        warnings.simplefilter("ignore")
        try:
            with Image.open(BytesIO(data), formats=("BMP", "WEBP")) as image:
                refuse_size(*image.size, name)
                frames = getattr(image, "n_frames", 1)
                exif = image.info.get("exif", b"")
                pixels = pillow_pixels(image)
        except InvalidInput:
            raise
        except Image.DecompressionBombError:
            raise InvalidInput(f"{name} is over the limit of {LIMIT_MPX} million pixels; crop it.") from None
        except (OSError, ValueError, SyntaxError, struct.error, EOFError, IndexError) as error:
            raise incomplete(name) if "truncated" in str(error) else damaged(name) from None
    notes = ("animated: only its first picture is read",) if frames > 1 else ()
    return Decoded(pixels, 8, exif_orientation(exif) if exif else 1, notes=notes)


def pillow_pixels(image: "Image") -> np.ndarray:
    """Return the samples of a Pillow image: 1, 2, 3 or 4 channels of 8 bits."""
    if image.mode in ("1", "L"):
        return np.asarray(image.convert("L"))
    if image.mode in ("LA", "PA", "RGBA", "La", "RGBa") or "transparency" in image.info:
        return np.asarray(image.convert("RGBA"))
    return np.asarray(image.convert("RGB"))


def full_range(pixels: np.ndarray, said: int | None = None) -> tuple[np.ndarray, int, tuple[str, ...]]:
    """Stretch 10-, 12- or 14-bit values kept in 16 bits to the whole range, and say so.

    Parameters
    ----------
    pixels : ndarray
    said : int, optional
        Significant bits the file states; else told from the brightest value.

    Returns
    -------
    tuple
        Pixels, significant bits a channel, notes.
    """
    if pixels.dtype != np.uint16:
        return pixels.astype(np.uint8, copy=False), 8, ()
    top = int(pixels.max())
    bits = said or next((b for b in (10, 12, 14) if top < 2**b), 16)
    if not 8 <= bits < 16 or top >= 2**bits:
        return pixels, 16, ()
    factor = np.float32(65535 / (2**bits - 1))
    stretched = np.rint(pixels.astype(np.float32) * factor).astype(np.uint16)
    return stretched, bits, (f"{bits}-bit values kept in 16 bits were stretched to the whole range",)
