"""Write lossless PNG bytes with words in them: how a picture was taken or made."""

import json
import struct
import zlib
from collections.abc import Mapping, Sequence
from pathlib import Path

import cv2
import numpy as np

from measure.errors import InvalidInput

_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_LEFT_OUT = "Left out"
_HEAD_BYTES = 1 << 18  # words come before the pixels


def encode_png(pixels: np.ndarray, words: Mapping[str, str] | None = None) -> bytes:
    """Return a PNG (ISO/IEC 15948) of RGB pixels, with words as international text chunks (iTXt).

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8 or uint16
        RGB.
    words : mapping of str to str, optional
        Keyword (1 to 79 Latin characters) to text.

    Returns
    -------
    bytes

    Raises
    ------
    InvalidInput
        If the pixels cannot be written.
    """
    done, data = cv2.imencode(".png", np.ascontiguousarray(pixels[..., ::-1]))
    if not done:
        raise InvalidInput("The picture could not be written as PNG; try a smaller picture size.")
    raw = data.tobytes()
    end_of_header = len(_SIGNATURE) + 25  # IHDR always comes first and is 25 bytes long
    chunks = b"".join(_text_chunk(name, text) for name, text in (words or {}).items())
    return raw[:end_of_header] + chunks + raw[end_of_header:]


def _text_chunk(name: str, text: str) -> bytes:
    keyword = name.encode("latin-1", "replace")[:79] or b"Comment"
    body = keyword + b"\0\0\0\0\0" + text.encode("utf-8")
    return struct.pack(">I", len(body)) + b"iTXt" + body + struct.pack(">I", zlib.crc32(b"iTXt" + body))


def png_words(data: bytes) -> dict[str, str]:
    """Return the words in a PNG's iTXt chunks that `encode_png` writes; empty for anything else."""
    if not data.startswith(_SIGNATURE):
        return {}
    found, place = {}, len(_SIGNATURE)
    while place + 12 <= len(data):
        (length,), kind = struct.unpack(">I", data[place : place + 4]), data[place + 4 : place + 8]
        body = data[place + 8 : place + 8 + length]
        if kind == b"iTXt" and b"\0\0\0\0\0" in body:
            name, _, text = body.partition(b"\0\0\0\0\0")
            found[name.decode("latin-1")] = text.decode("utf-8", "replace")
        place += 12 + length
    return found


def left_out_words(zones: Sequence[np.ndarray], width_px: int, height_px: int) -> dict[str, str]:
    """Return the words that say which areas of a picture show nothing, for `encode_png`."""
    if not len(zones):
        return {}
    areas = [np.round(np.asarray(zone, float), 2).tolist() for zone in zones]
    return {_LEFT_OUT: json.dumps({"width_px": width_px, "height_px": height_px, "areas_px": areas})}


def left_out_of(data: bytes) -> tuple[np.ndarray, ...]:
    """Return the areas, each (K, 2) px, that a PNG says show nothing; none when it says so of another size.

    Parameters
    ----------
    data : bytes
        The file, or its first part.
    """
    try:
        said = json.loads(png_words(data).get(_LEFT_OUT, "null"))
        own = struct.unpack(">II", data[16:24]) if said else ()
        if not said or own != (said["width_px"], said["height_px"]):
            return ()
        areas = tuple(np.array(area, float).reshape(-1, 2) for area in said["areas_px"])
    except (ValueError, KeyError, TypeError, struct.error):
        return ()
    return tuple(area for area in areas if len(area) >= 3 and np.isfinite(area).all())


def left_out_in(path: Path) -> tuple[np.ndarray, ...]:
    """Return the areas a PNG file says show nothing; none for other files."""
    try:
        with path.open("rb") as file:
            return left_out_of(file.read(_HEAD_BYTES))
    except OSError:
        return ()


def is_joined(path: Path) -> bool:
    """Return whether a PNG file says it was joined from several fields."""
    try:
        with path.open("rb") as file:
            return png_words(file.read(_HEAD_BYTES)).get("Description", "").startswith("Joined from")
    except OSError:
        return False
