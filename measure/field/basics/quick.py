"""Median, percentile, lengths, turns and means without the general library's overhead, equal to its results.

Measuring asks for them several times a piece, on some hundred values each.
"""

from collections.abc import Iterable

import cv2
import numpy as np

_MANY, _STEP = 30_000, 16  # values from which one in so many tells where the middle ones are
_COLOUR_OF = {size: np.dtype((np.void, 3 * size)) for size in (1, 2, 4, 8)}  # three values as one thing
_SORTED = 1500  # values up to which sorting all of them is faster than parting them


def _parted_copy(values: np.ndarray) -> np.ndarray:
    """A copy to be sorted in parts, in numbers whose sums and differences do not run over."""
    return values.copy() if values.dtype.kind == "f" else values.astype(float)


def median(values: np.ndarray) -> float:
    """Middle value of a (K,) ndarray without nan, K at least 1."""
    half = len(values) // 2
    if len(values) > _MANY:
        below, above = _at_places(values, half - 1 + len(values) % 2, half)
        return float(above if len(values) % 2 else (below + above) / 2)
    parted = _parted_copy(values)
    if len(values) <= _SORTED:
        parted.sort()
    elif len(values) % 2:
        parted.partition(half)
    else:
        parted.partition((half - 1, half))
    return float(parted[half] if len(values) % 2 else (parted[half - 1] + parted[half]) / 2)


def _at_places(values: np.ndarray, low: int, high: int) -> tuple[np.floating, np.floating]:
    """The values at two neighbouring places in order, of many.

    Some of them tell between which bounds the places lie, nearly surely; only what is between is ordered.
    """
    some = values[::_STEP].copy()
    reach = int(2.0 * np.sqrt(len(some))) + 2  # four times the standard deviation of a place
    first = max(0, low // _STEP - reach)
    final = min(len(some) - 1, high // _STEP + reach)
    some.partition((first, final))
    low_bound = some[first] if first else values.min()
    high_bound = some[final] if high // _STEP + reach < len(some) else values.max()
    before = int(np.count_nonzero(values < low_bound))
    few = _parted_copy(values[(values >= low_bound) & (values <= high_bound)])
    if not (before <= low and high < before + len(few)):
        few, before = _parted_copy(values), 0
    few.partition((low - before, high - before))
    return few[low - before], few[high - before]


def median_colour(colours: np.ndarray) -> np.ndarray:
    """Middle values of the three channels of a (K, 3) ndarray of float without nan, K at least 1, (3,)."""
    half = len(colours) // 2
    parted = np.ascontiguousarray(colours.T)  # each channel in a row, which takes half as long
    if len(colours) > _MANY:
        return np.array([median(channel) for channel in parted], colours.dtype)
    if len(colours) <= _SORTED:
        parted.sort()
    else:
        parted.partition((half - 1, half))
    middle: np.ndarray = parted[:, half]
    return middle.copy() if len(colours) % 2 else (parted[:, half - 1] + middle) / 2


def percentile(values: np.ndarray, percent: float) -> float:
    """Percentile of a (K,) ndarray without nan, K at least 1, linear between neighbours."""
    return quantile(values, percent / 100)


def quantile(values: np.ndarray, portion: float) -> float:
    """Value that a portion, 0..1, of a (K,) ndarray without nan stays below, linear between neighbours."""
    if len(values) > _MANY:
        return _mixed(*_at_places(values, *_places(len(values), portion)), len(values), portion)
    parted = _parted_copy(values)
    if len(values) <= _SORTED:
        parted.sort()
    else:
        parted.partition(_places(len(values), portion))
    return _between(parted, portion)


def percentiles(values: np.ndarray, first: float, second: float) -> tuple[float, float]:
    """Two percentiles of a (K,) ndarray without nan, K at least 1, put in order once."""
    one, other = first / 100, second / 100
    parted = _parted_copy(values)
    if len(values) <= _SORTED:
        parted.sort()
    else:
        parted.partition((*_places(len(values), one), *_places(len(values), other)))
    return _between(parted, one), _between(parted, other)


def _places(count: int, portion: float) -> tuple[int, int]:
    """Places in order of the two values a portion lies between."""
    low = int((count - 1) * portion)
    return low, min(low + 1, count - 1)


def _between(parted: np.ndarray, portion: float) -> float:
    """Value that a portion stays below, of values in order at least at its places."""
    low, high = _places(len(parted), portion)
    return _mixed(parted[low], parted[high], len(parted), portion)


def _mixed(below: np.floating, above: np.floating, count: int, portion: float) -> float:
    """Value that a portion of so many stays below, from those at its places."""
    share = (count - 1) * portion - _places(count, portion)[0]
    # from the nearer end, as the library does, so that the last digit agrees
    step = above - below
    return float(above - step * (1 - share) if share >= 0.5 else below + step * share)


def length(colours: np.ndarray) -> np.ndarray:
    """Lengths of the colours in a (..., 3) ndarray of float, (...) of its kind."""
    squares = colours * colours
    total = squares[..., 0] + squares[..., 1]
    total += squares[..., 2]
    return np.sqrt(total)


def norm(vector: np.ndarray) -> float:
    """Length of a vector, (K,) ndarray of float."""
    flat = vector.ravel()
    return float(np.sqrt(flat.dot(flat)))


def turned(values: np.ndarray, by: int) -> np.ndarray:
    """Values of a closed course moved on by fewer places than it has, along the first axis."""
    return np.concatenate([values[-by:], values[:-by]])


def colours_at(colours: np.ndarray, where: np.ndarray) -> np.ndarray:
    """Colours of a (..., 3) ndarray at the places marked in a (...) ndarray of bool, (K, 3).

    The same as to take them by the marks, which is ten times as fast where each colour is one thing.
    """
    if colours.strides[-1] != colours.itemsize:
        colours = np.ascontiguousarray(colours)
    whole = colours.view(_COLOUR_OF[colours.itemsize])
    # one row of all takes less time than rows, where that needs no copy
    found = whole.ravel()[where.ravel()] if colours.flags.c_contiguous else whole[..., 0][where]
    return found.view(colours.dtype).reshape(-1, 3)


def mixed(parts: Iterable[np.ndarray], shares: np.ndarray) -> np.ndarray:
    """Sum of some arrays, each times its share, of their type.

    Written out: the last digit of a product of matrices depends on their size and on the processor.
    """
    whole, *others = (part * share for part, share in zip(parts, shares, strict=True))
    for part in others:
        whole += part
    return whole


def set_colours(colours: np.ndarray, where: np.ndarray, new: np.ndarray) -> None:
    """Set the colours of a contiguous (..., 3) ndarray at marked places to those of a (K, 3) ndarray."""
    kind = _COLOUR_OF[colours.itemsize]
    colours.view(kind)[..., 0][where] = new.view(kind)[..., 0]


def less(colours: np.ndarray, colour: np.ndarray) -> np.ndarray:
    """Colours of a (K, 3) ndarray of float, each less one colour, (3,) ndarray of its kind."""
    # channel by channel, for the general library goes round for each colour
    off: np.ndarray = colours.copy()
    for channel, value in zip(off.T, colour, strict=True):
        channel -= value
    return off


def summed(colours: np.ndarray) -> np.ndarray:
    """Sum of the colours in a (K, 3) ndarray of float, (3,) of its kind."""
    total: np.ndarray = cv2.reduce(colours, 0, cv2.REDUCE_SUM)[0] if len(colours) else colours.sum(axis=0)
    return total


def mean_colour(colours: np.ndarray) -> np.ndarray:
    """Mean of the colours in a (K, 3) ndarray of float, K at least 1, (3,) of its kind."""
    # row after row as the general library adds them, which takes it ten times as long
    total: np.ndarray = cv2.reduce(colours, 0, cv2.REDUCE_SUM)[0]
    return total / len(colours)


def weighted_colour(colours: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Weighted mean of the colours in a (K, 3) ndarray of float32, K at least 1, (3,) of its kind."""
    heavy = colours.copy()
    for channel in heavy.T:
        channel *= weight
    total: np.ndarray = cv2.reduce(heavy, 0, cv2.REDUCE_SUM)[0]
    return total / weight.sum()


def mean_channel(colours: np.ndarray) -> np.ndarray:
    """Mean of the three values of each colour in a (..., 3) ndarray of float, (...) of its kind."""
    total = colours[..., 0] + colours[..., 1]
    total += colours[..., 2]
    total /= 3
    return total
