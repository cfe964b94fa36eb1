"""Read a picture file into upright RGB, or refuse it with one clear sentence.

PNG, JPEG, TIFF, BMP and WebP are told by their first bytes, never by their name. The size is read from the
header before anything is decoded, and an incomplete file is refused: decoders would fill the rest with grey.
"""

import hashlib
import re
from pathlib import Path

import numpy as np

from measure import picture_formats, picture_tiff
from measure.errors import InvalidInput
from measure.model import Picture
from measure.picture_formats import LIMIT_MPX, Decoded

PICTURE_SUFFIXES = (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".bmp", ".webp")
KINDS_OF_FILE = "PNG, JPEG, TIFF, BMP or WebP"
# pictures by their name that are not read: listed all the same, so that none is left out in silence
_UNREAD_SUFFIXES = (".gif", ".heic", ".heif", ".avif", ".jp2", ".jxl", ".dng", ".pgm", ".ppm", ".pnm")
LISTED_SUFFIXES = (*PICTURE_SUFFIXES, *_UNREAD_SUFFIXES)
LIMIT_BYTES = 4 * 2**30

_BMP_HEADERS = [size.to_bytes(4, "little") for size in (12, 40, 52, 56, 64, 108, 124)]
_DECODERS = {
    "PNG": picture_formats.decode_png,
    "JPEG": picture_formats.decode_jpeg,
    "TIFF": picture_tiff.decode_tiff,
    "BMP": picture_formats.decode_with_pillow,
    "WebP": picture_formats.decode_with_pillow,
}

__all__ = ["LIMIT_MPX", "PICTURE_SUFFIXES", "list_pictures", "read_picture"]


def read_picture(source: Path | str | bytes, name: str = "") -> Picture:
    """Read and decode one picture.

    Parameters
    ----------
    source : Path, str or bytes
        The file, or its bytes.
    name : str, optional
        Name to use for bytes; the file's own name by default.

    Returns
    -------
    Picture
        Upright RGB of uint8 or uint16, values spanning the whole range of their type.

    Raises
    ------
    InvalidInput
        If the file is missing, empty, a folder, no picture, incomplete, of a kind that cannot be measured,
        or larger than 400 Mpx.
    """
    if isinstance(source, bytes | bytearray | memoryview):
        data, name = bytes(source), name or "the picture"
    else:
        data, name = _read_bytes(Path(source)), name or Path(source).name
    if not data:
        raise InvalidInput(f"{name} is empty (0 bytes); choose another picture.")
    kind = _kind_of(data, name)
    try:
        decoded = _DECODERS[kind](data, name)
    except MemoryError:
        raise InvalidInput(f"{name} is too large for this computer's memory; crop it.") from None
    return _finish(decoded, data, name)


def list_pictures(path: Path | str) -> list[Path]:
    """List the pictures a path stands for.

    Parameters
    ----------
    path : Path or str
        A file gives itself; a folder its pictures, sorted as people count (2 before 10), subfolders left out.
        Among them are pictures of formats that are not read: `read_picture` then says so by name.

    Returns
    -------
    list of Path

    Raises
    ------
    InvalidInput
        If the path is missing or the folder holds no picture.
    """
    path = Path(path)
    if not path.exists():
        raise InvalidInput(f"{path} does not exist; check the name.")
    if not path.is_dir():
        return [path]
    try:
        entries = list(path.iterdir())
    except OSError as error:
        raise InvalidInput(f"The folder {path} cannot be read: {error.strerror}.") from None
    found = [p for p in entries if p.suffix.lower() in LISTED_SUFFIXES and p.name[0] != "." and p.is_file()]
    if not found:
        raise InvalidInput(f"The folder {path} holds no picture ({KINDS_OF_FILE}).")
    return sorted(found, key=_counting_order)


def _counting_order(path: Path) -> tuple:
    parts = re.split(r"(\d+)", path.name.lower())
    return ([(int(p), "") if p.isdecimal() else (-1, p) for p in parts], path.name)


def _read_bytes(path: Path) -> bytes:
    try:
        if not path.exists():
            raise InvalidInput(f"{path} does not exist; check the name.")
        if path.is_dir():
            raise InvalidInput(f"{path} is a folder; choose a picture file.")
        if not path.is_file():
            raise InvalidInput(f"{path} is not an ordinary file; choose a picture file.")
        if path.stat().st_size > LIMIT_BYTES:
            raise InvalidInput(f"{path} is larger than 4 GB; crop it or save it smaller.")
        return path.read_bytes()
    except OSError as error:
        raise InvalidInput(f"{path} cannot be read: {error.strerror}.") from None


def _kind_of(data: bytes, name: str) -> str:
    """Tell the format by the first bytes; refuse anything else."""
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if data.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if data[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return "TIFF"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WebP"
    if (
        data[:2] == b"BM"
        and len(data) >= 26
        and int.from_bytes(data[14:18], "little") in (12, 40, 52, 56, 64, 108, 124)
    ):
        return "BMP"
    if len(data) < 12 and any(s.startswith(data) for s in (b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff", b"RIFF")):
        raise InvalidInput(f"{name} is incomplete: it ends within its first bytes; copy it again.")
    suffix = Path(name).suffix
    if suffix.lower() in _UNREAD_SUFFIXES:
        raise InvalidInput(
            f"{name} is a {suffix[1:].upper()} picture, which is not read here; save it as PNG or TIFF."
        )
    what = "holds text" if _looks_like_text(data) else "is of no known picture format"
    raise InvalidInput(f"{name} is not a picture: it {what}. Use {KINDS_OF_FILE}.")


def _looks_like_text(data: bytes) -> bool:
    try:
        text = data[:2048].decode("utf-8", errors="strict" if len(data) <= 2048 else "ignore")
    except UnicodeDecodeError:
        return False
    return all(c.isprintable() or c in "\r\n\t\f\ufeff" for c in text)


def _finish(decoded: Decoded, data: bytes, name: str) -> Picture:
    """Make upright RGB of what the decoder gave."""
    pixels, notes = decoded.pixels, list(decoded.notes)
    grey = pixels.ndim == 2 or pixels.shape[2] <= 2
    if pixels.ndim == 2:
        pixels = pixels[:, :, None]
    if pixels.shape[2] in (2, 4):
        pixels, transparent = _over_white(pixels)
        if transparent:
            notes.append("see-through parts were laid over white")
    if grey:
        pixels = np.repeat(pixels[:, :, :1], 3, axis=2)
    pixels = np.ascontiguousarray(_upright(pixels, decoded.orientation))
    pixels.setflags(write=False)
    hint_x, hint_y = decoded.hint_um
    if decoded.orientation >= 5:
        hint_x, hint_y = hint_y, hint_x
    if hint_x and hint_y and abs(hint_x / hint_y - 1) > 1e-3:
        notes.append(f"the file claims pixels that are not square ({hint_x:.5g} by {hint_y:.5g} µm)")
    return Picture(
        pixels=pixels,
        bit_depth=decoded.bit_depth,
        name=name,
        sha256=hashlib.sha256(data).hexdigest(),
        grey=grey,
        embedded_um_per_px=hint_x,
        embedded_source=decoded.hint_source if hint_x else "",
        notes=tuple(notes),
    )


def _over_white(pixels: np.ndarray) -> tuple[np.ndarray, bool]:
    """Compose the last channel (alpha) over white; also say whether anything was see-through."""
    alpha, colour = pixels[:, :, -1:], pixels[:, :, :-1]
    top = np.iinfo(pixels.dtype).max
    if alpha.min() == top:
        return colour, False
    share = alpha.astype(np.float32) / top
    mixed = colour * share + top * (1 - share)
    return np.rint(mixed).astype(pixels.dtype), True


def _upright(pixels: np.ndarray, orientation: int) -> np.ndarray:
    """Turn as the EXIF orientation (1 to 8; CIPA DC-008, tag 274) asks."""
    if orientation >= 5:
        pixels = pixels.swapaxes(0, 1)
    # the sides to mirror after the axes were swapped: (rows, columns)
    rows, columns = {2: (0, 1), 3: (1, 1), 4: (1, 0), 6: (0, 1), 7: (1, 1), 8: (1, 0)}.get(
        orientation, (0, 0)
    )
    if rows:
        pixels = pixels[::-1]
    return pixels[:, ::-1] if columns else pixels
