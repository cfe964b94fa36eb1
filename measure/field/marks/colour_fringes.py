"""Coloured fringes of a simple lens: its red and blue pictures are a little larger or smaller than the green.

Glass bends blue light more than red, so a lens that is not corrected for it magnifies each colour by its own
(lateral chromatic aberration). Towards the frame every edge then has a fringe, of one colour inside and of
the other outside; what is grey, such as the rim of a crystal, looks coloured, and an edge lies at a place of
its own in each colour. The red and blue pictures are measured against the green one at many edges and brought
to its size.
"""

from typing import NamedTuple

import cv2
import numpy as np

_TILES = 100  # into which a picture is divided; each shows its steepest place
_REDUCED = 4
_LEAST_STEP = 8  # of 255, over some px, that an edge must have
_HALF_PX, _REACH_PX = 13, 8  # half a window at an edge, and how far it may be moved
_SIGMAS_PX = (2.5, 2.5, 2.5, 1.5, 1.5, 1.5)  # from broad to fine
_LIKE = 0.8  # correlation of two colours in a window, below which it shows two things
_QUICK = 24  # windows that tell first whether there are fringes at all
_QUICK_PX = 0.6  # shift at the corners that is worth a closer look
_MOVED_PX, _LEAST_WINDOWS = 0.3, 6  # shift of a window that tells by it, and how many must
_BETTER = 0.75  # share of these that must fit better by it
_OFF_CENTRE = 0.5  # of the sides of a picture, that the axis of a lens may lie from its middle
_MOST_PX = 8.0
_LARGEST = 0.011  # magnification of a colour over green that a lens has; shade beside pieces feigns more
_STEPS = np.array([1e-6, 0.01, 0.01])  # to which magnification and shift, px, are rounded


class _Ask(NamedTuple):
    """Shift at the corners from which fringes harm, and what of the misfit of windows may be left."""

    seen_px: float
    gain: float


_FIRST, _SECOND = _Ask(1.0, 0.75), _Ask(0.5, 0.95)  # the second colour once fringes of the other are proven


class Fringes(NamedTuple):
    """How much larger the red and the blue picture are than the green one, and where both agree.

    Attributes
    ----------
    red, blue : (3,) ndarray of float
        Magnification less one, and shift at the middle, px, along x and y.
    largest_px : float
        Shift at the farthest corner.
    """

    red: np.ndarray
    blue: np.ndarray
    largest_px: float


class _Windows(NamedTuple):
    """Windows at edges: the three colours one below the other, with a margin, and where they are."""

    colours: tuple[np.ndarray, np.ndarray, np.ndarray]  # each (K, side, side) of float32
    places: np.ndarray  # (K, 2) px from the middle of the picture


def without_fringes(pixels: np.ndarray) -> tuple[np.ndarray, Fringes | None]:
    """Bring the red and blue picture to the size of the green one.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8 or uint16
        RGB.

    Returns
    -------
    pixels : (M, N, 3) ndarray
        The same array where there are no fringes.
    fringes : Fringes or None
    """
    fringes = fringes_of(pixels)
    if fringes is None:
        return pixels, None
    rows, cols = pixels.shape[:2]
    even = pixels.copy()
    for channel, (larger, right, down) in ((0, fringes.red), (2, fringes.blue)):
        x, y = 0.5 * (cols - 1), 0.5 * (rows - 1)
        way = np.array([[1 + larger, 0, right - larger * x], [0, 1 + larger, down - larger * y]], np.float64)
        even[..., channel] = cv2.warpAffine(
            np.ascontiguousarray(pixels[..., channel]),
            way,
            (cols, rows),
            flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
    return even, fringes


def fringes_note(fringes: Fringes) -> str:
    """What is said of fringes that were taken out."""
    return (
        f"The lens shows colours at different sizes, by up to {fringes.largest_px:.1f} px at the corners; "
        "they were brought together."
    )


def fringes_of(pixels: np.ndarray) -> Fringes | None:
    """Measure the fringes of a picture, or return None where there are none.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8 or uint16
    """
    rows, cols = pixels.shape[:2]
    side = _HALF_PX + _REACH_PX
    if min(rows, cols) < 8 * side or np.array_equal(pixels[::16, ::16, 0], pixels[::16, ::16, 2]):
        return None
    places = _steep_places(pixels, side)
    if len(places) < 2 * _LEAST_WINDOWS:
        return None
    middle = np.array([0.5 * (cols - 1), 0.5 * (rows - 1)])
    far = np.argsort(-np.hypot(*(places - middle).T), kind="stable")
    few = _windows(pixels, np.sort(far[:_QUICK]), places, middle)
    corner = float(np.hypot(*middle))
    if max(_corner_shift(_fitted(few, c, _SIGMAS_PX[:2]), corner) for c in (0, 2)) < _QUICK_PX:
        return None
    windows = _windows(pixels, np.arange(len(places)), places, middle)
    red, blue = (_proven(windows, channel, middle, _FIRST) for channel in (0, 2))
    # glass that bends one colour by another angle bends all of them so
    if red.any() and not blue.any():
        blue = _proven(windows, 2, middle, _SECOND)
    if blue.any() and not red.any():
        red = _proven(windows, 0, middle, _SECOND)
    largest = max(_corner_shift(red, corner), _corner_shift(blue, corner))
    return Fringes(red, blue, largest) if largest > 0 else None


def _corner_shift(lens: np.ndarray, corner: float) -> float:
    return abs(float(lens[0])) * corner


def _steep_places(pixels: np.ndarray, margin: int) -> np.ndarray:
    """The steepest place of each part of a picture that has one, x and y, (K, 2) ndarray of int."""
    rows, cols = pixels.shape[:2]
    size = (cols // _REDUCED, rows // _REDUCED)
    green = pixels[: size[1] * _REDUCED : 2, : size[0] * _REDUCED : 2, 1]
    if green.dtype != np.uint8:
        green = (green >> 8).astype(np.uint8)
    small = cv2.resize(np.ascontiguousarray(green), size, interpolation=cv2.INTER_AREA)
    steep = cv2.morphologyEx(small, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    edge = -(-margin // _REDUCED) + 1
    steep[:edge] = steep[-edge:] = steep[:, :edge] = steep[:, -edge:] = 0
    tile = max(2 * _HALF_PX // _REDUCED, int(np.sqrt(steep.size / _TILES)))
    found = []
    for top in range(0, steep.shape[0], tile):
        for left in range(0, steep.shape[1], tile):
            part = steep[top : top + tile, left : left + tile]
            row, col = divmod(int(part.argmax()), part.shape[1])
            if part[row, col] >= _LEAST_STEP:
                found.append((left + col, top + row))
    return np.array(found, int).reshape(-1, 2) * _REDUCED + _REDUCED // 2


def _windows(pixels: np.ndarray, rows: np.ndarray, places: np.ndarray, middle: np.ndarray) -> _Windows:
    half = _HALF_PX + _REACH_PX
    cut = np.stack(
        [pixels[y - half : y + half + 1, x - half : x + half + 1] for x, y in places[rows].tolist()]
    )
    scale = np.float32(255.0 / np.iinfo(pixels.dtype).max)
    red, green, blue = (cut[..., c].astype(np.float32) * scale for c in range(3))
    return _Windows((red, green, blue), (places[rows] - middle).astype(np.float64))


def _smoothed(windows: np.ndarray, sigma: float) -> np.ndarray:
    """Each window smoothed; what comes from the next one stays within the margin."""
    count, side = windows.shape[:2]
    return cv2.GaussianBlur(windows.reshape(count * side, side), (0, 0), sigma).reshape(count, side, side)


def _shifts(lens: np.ndarray, places: np.ndarray) -> np.ndarray:
    return np.clip(lens[0] * places + lens[1:], 1 - _REACH_PX, _REACH_PX - 1)


def _moved(colour: np.ndarray, shifts: np.ndarray) -> np.ndarray:
    """Windows without their margin, read at places shifted by so much."""
    count, side = colour.shape[:2]
    across = np.arange(_REACH_PX, side - _REACH_PX, dtype=np.float32)
    x = np.broadcast_to(across, (count, len(across), len(across))) + shifts[:, :1, None].astype(np.float32)
    y = across[None, :, None] + (np.arange(count) * side + shifts[:, 1])[:, None, None].astype(np.float32)
    y = np.broadcast_to(y, x.shape)
    flat = (count * len(across), len(across))
    source = colour.reshape(count * side, side)
    return cv2.remap(source, x.reshape(flat), y.reshape(flat), cv2.INTER_LINEAR).reshape(x.shape)


def _misfit(moved: np.ndarray, green: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What windows of a colour lack of a line in the green ones; its mean square; their correlation."""
    a = green - green.mean(axis=(1, 2), keepdims=True)
    b = moved - moved.mean(axis=(1, 2), keepdims=True)
    green2, both, own = (
        np.einsum("kij,kij->k", a, a),
        np.einsum("kij,kij->k", a, b),
        np.einsum("kij,kij->k", b, b),
    )
    rate = both / np.maximum(green2, 1e-6)
    lack = rate[:, None, None] * a - b
    square = np.maximum(own - rate * both, 1e-6) / a[0].size
    return lack, square, both / np.sqrt(np.maximum(green2 * own, 1e-6))


def _fitted(windows: _Windows, channel: int, sigmas: tuple[float, ...]) -> np.ndarray:
    """Magnification less one and shift of a colour that bring it onto the green one, (3,).

    By least squares on the slopes, over all windows at once, for one edge shows the shift across it only.
    """
    lens = np.zeros(3)
    places = windows.places
    margin = slice(_REACH_PX, -_REACH_PX)
    for sigma in sigmas:
        green = _smoothed(windows.colours[1], sigma)[:, margin, margin]
        moved = _moved(_smoothed(windows.colours[channel], sigma), _shifts(lens, places))
        lack, square, like = _misfit(moved, green)
        down, right = np.gradient(moved, axis=(1, 2))
        weight = np.where(like > _LIKE, 1.0 / (square + 1.0), 0.0)
        xx, yy, xy = (
            weight * np.einsum("kij,kij->k", p, q) for p, q in ((right, right), (down, down), (right, down))
        )
        x, y = (weight * np.einsum("kij,kij->k", p, lack) for p in (right, down))
        px, py = places.T
        cross = np.array([(xx * px + xy * py).sum(), (xy * px + yy * py).sum()])
        matrix = np.array(
            [
                [(xx * px**2 + 2 * xy * px * py + yy * py**2).sum(), *cross],
                [cross[0], xx.sum(), xy.sum()],
                [cross[1], xy.sum(), yy.sum()],
            ]
        )
        pull = np.array([(x * px + y * py).sum(), x.sum(), y.sum()])
        # each in units of its own, or the matrix is ill set
        size = np.sqrt(np.maximum(np.diag(matrix), 1e-9))
        lens = lens + np.linalg.solve(matrix / np.outer(size, size) + 1e-6 * np.eye(3), pull / size) / size
    return lens


def _proven(windows: _Windows, channel: int, middle: np.ndarray, ask: _Ask) -> np.ndarray:
    """What brings a colour onto the green one where the windows prove it, else nothing, (3,)."""
    none = np.zeros(3)
    # rounded, for the last digits of sums may differ from machine to machine
    lens = np.round(_fitted(windows, channel, _SIGMAS_PX) / _STEPS) * _STEPS
    shifts = _shifts(lens, windows.places)
    if abs(lens[0]) * np.hypot(*middle) < ask.seen_px or np.abs(lens[1:]).max() > _MOST_PX:
        return none
    if abs(lens[0]) > _LARGEST:
        return none
    # what moves all edges one way is no lens: shade beside pieces does
    if (np.abs(lens[1:] / lens[0]) > 2.0 * _OFF_CENTRE * middle).any():
        return none
    margin = slice(_REACH_PX, -_REACH_PX)
    green = _smoothed(windows.colours[1], _SIGMAS_PX[-1])[:, margin, margin]
    colour = _smoothed(windows.colours[channel], _SIGMAS_PX[-1])
    before = _misfit(_moved(colour, np.zeros_like(shifts)), green)
    after = _misfit(_moved(colour, shifts), green)
    asked = (after[2] > _LIKE) & (np.hypot(*shifts.T) > _MOVED_PX)
    if np.count_nonzero(asked) < _LEAST_WINDOWS:
        return none
    left = after[1][asked] / before[1][asked]
    return lens if np.median(left) < ask.gain and np.mean(left < 1.0) > _BETTER else none
