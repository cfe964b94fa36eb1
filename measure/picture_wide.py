"""Samples kept as decimal, signed or wide numbers, brought to 16 bits where their meaning is clear."""

import numpy as np

from measure.errors import InvalidInput

_TOP = 65535
_ROUNDED = 1e-6  # share of the range by which sums in single precision miss 0 and 1
_LEAST_LIGHT = 1 / 255  # of the range: less is black in 8 bits too
_DEPTHS = (8, 10, 12, 14, 16)
_SIGNED_DEPTHS = (8, 10, 12, 14, 15, 16)


def to_16_bit(
    pixels: np.ndarray, name: str, stated: tuple[float, float] | None = None, said: int | None = None
) -> tuple[np.ndarray, int, tuple[str, ...]]:
    """Bring samples to 16 bits, or refuse them.

    Decimal numbers mean brightness where they lie in 0 to 1, or in a range from 0 that the file states; whole
    ones where they lie in 0 to 65535, and then as in pictures of 16 bits: values that fill 8, 10, 12 or 14
    bits are stretched to the whole range, which the note says. A factor on all brightness changes no size.

    Parameters
    ----------
    pixels : ndarray
        Decimal or whole numbers of any width.
    name : str
        The picture's, for the sentence of a refusal.
    stated : (float, float), optional
        Lowest and highest value a sample can have, as the file states it.
    said : int, optional
        Significant bits the file states.

    Returns
    -------
    tuple
        Pixels (uint16), significant bits a channel, notes.

    Raises
    ------
    InvalidInput
        If the numbers are no brightness, or what is black or white cannot be told.

    Examples
    --------
    >>> pixels, bits, notes = to_16_bit(np.array([[0.0, 0.5, 1.0]], np.float32), "field.tif")
    >>> pixels.tolist(), bits, notes
    ([[0, 32768, 65535]], 16, ('decimal values were read as 0 black to 1 white',))
    """
    low, high = float(pixels.min()), float(pixels.max())
    if not np.isfinite([low, high]).all():
        raise InvalidInput(f"{name} has values that are no numbers (NaN or infinite); save it without them.")
    if stated is not None and stated[0] != 0 and stated == (low, high):
        stated = None  # the darkest and brightest sample there are, not what black and white would be
    if pixels.dtype.kind == "f" and not (high > 1 and _whole(pixels)):
        return _decimal(pixels, low, high, name, stated)
    return _whole_numbers(pixels, low, high, name, said)


def _whole(pixels: np.ndarray) -> bool:
    """Whether decimal numbers hold counts of light after all."""
    return bool((pixels == np.rint(pixels)).all())


def _decimal(
    pixels: np.ndarray, low: float, high: float, name: str, stated: tuple[float, float] | None
) -> tuple[np.ndarray, int, tuple[str, ...]]:
    bottom, top = stated if stated is not None else (0.0, 1.0)
    slack = _ROUNDED * top
    if bottom != 0 or top <= 0 or low < -slack or high > top + slack:
        where = f", outside the range of {bottom:g} to {top:g} it states" if stated is not None else ""
        raise InvalidInput(
            f"{name} holds decimal numbers from {low:.4g} to {high:.4g}{where}, and what is black and white "
            "in it cannot be told; save it with values from 0 (black) to 1 (white), or with 8 or 16 bits."
        )
    if high < _LEAST_LIGHT * top:
        raise InvalidInput(
            f"{name} holds decimal numbers up to {high:.3g} only, hardly any light for a range of 0 to "
            f"{top:g}; save it with values from 0 (black) to 1 (white), or with 8 or 16 bits."
        )
    wide = pixels.astype(np.float64 if pixels.dtype.itemsize > 4 else np.float32)
    scaled = np.clip(np.divide(wide, top, dtype=wide.dtype), 0.0, 1.0)
    note = f"decimal values were read as 0 black to {top:g} white"
    return np.rint(scaled * _TOP).astype(np.uint16), 16, (note + (", as stated" if stated else ""),)


def _whole_numbers(
    pixels: np.ndarray, low: float, high: float, name: str, said: int | None
) -> tuple[np.ndarray, int, tuple[str, ...]]:
    if low < 0 or high > _TOP:
        raise InvalidInput(
            f"{name} holds whole numbers from {low:.0f} to {high:.0f}, and what is black and white in it "
            f"cannot be told; save it with values from 0 to {_TOP}, or with 8 or 16 bits a channel."
        )
    depths = _SIGNED_DEPTHS if pixels.dtype == np.int16 else _DEPTHS
    bits = next(depth for depth in depths if high < 2**depth)
    if said is not None and bits <= said <= 16:
        bits = said
    kept = f"kept in {8 * pixels.dtype.itemsize} bits"
    if bits == 16:
        return pixels.astype(np.uint16), 16, (f"values up to {high:.0f} {kept} were read as 16-bit values",)
    stretched = np.rint(pixels.astype(np.float32) * np.float32(_TOP / (2**bits - 1))).astype(np.uint16)
    return stretched, bits, (f"{bits}-bit values {kept} were stretched to the whole range",)
