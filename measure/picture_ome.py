"""What the OME-XML of a TIFF file says: the size of a pixel, and which pages are the colours of one picture.

Elements and attributes as in the OME data model of 2016-06 (Pixels, Channel, TiffData).
"""

import re

__all__ = ["colour_pages", "ome_size_um"]

_TO_UM = {
    "m": 1e6,
    "cm": 1e4,
    "mm": 1e3,
    "µm": 1.0,
    "um": 1.0,
    "nm": 1e-3,
    "pm": 1e-6,
    "": 1.0,
    "in": 25400.0,
}
_NAMES = {"red": 0, "r": 0, "green": 1, "g": 1, "blue": 2, "b": 2}
_COLOURS = {0xFF0000: 0, 0x00FF00: 1, 0x0000FF: 2}


def ome_size_um(ome: str, axis: str) -> float | None:
    """Return the stated size of a pixel along "X" or "Y" in µm, or None where none is told."""
    size = _attribute(ome, f"PhysicalSize{axis}")
    unit = _attribute(ome, f"PhysicalSize{axis}Unit")
    factor = _TO_UM.get("µm" if unit is None else unit.replace("\u03bc", "µ"))
    try:
        value = float(size) * factor if size and factor else None
    except ValueError:
        return None
    return value if value and 0 < value < 1e6 else None


def colour_pages(ome: str) -> tuple[int, int, int] | None:
    """Return which of three pages are red, green and blue, or None where the file does not say that.

    Said by names or by pure colours of the three channels of the only picture, one page each. Anything
    else, as stains photographed one after the other, is no colour picture.
    """
    pixels = re.findall(r"<(?:\w+:)?Pixels\b[^>]*>", ome)
    channels = re.findall(r"<(?:\w+:)?Channel\b[^>]*>", ome)
    if len(pixels) != 1 or len(channels) != 3:
        return None
    if [_attribute(pixels[0], f"Size{axis}") for axis in "CZT"] != ["3", "1", "1"]:
        return None
    if any(_attribute(channel, "SamplesPerPixel") not in (None, "1") for channel in channels):
        return None
    if any(_moved(place) for place in re.findall(r"<(?:\w+:)?TiffData\b[^>]*>", ome)):
        return None
    for told in (_named, _coloured):
        which = [told(channel) for channel in channels]
        if sorted(-1 if place is None else place for place in which) == [0, 1, 2]:
            return which.index(0), which.index(1), which.index(2)
    return None


def _moved(place: str) -> bool:
    """Whether the planes of a TiffData element are not those of the pages of the same number."""
    first = _attribute(place, "FirstC") or "0"
    return (_attribute(place, "IFD") or first) != first


def _named(channel: str) -> int | None:
    return _NAMES.get((_attribute(channel, "Name") or "").strip().lower())


def _coloured(channel: str) -> int | None:
    """Return the place of a pure colour, which stands as a signed number of red, green, blue and alpha."""
    try:
        number = int(_attribute(channel, "Color") or "")
    except ValueError:
        return None
    return _COLOURS.get((number & 0xFFFFFFFF) >> 8)


def _attribute(element: str, name: str) -> str | None:
    found = re.search(rf'\b{name}\s*=\s*"([^"]*)"', element)
    return found.group(1) if found else None
