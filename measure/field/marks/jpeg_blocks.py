"""What strong compression left in a picture: steps between blocks and waves beside edges, taken out again.

JPEG rounds the waves of each block of 8 px to whole steps (ITU-T T.81). Where the steps are coarse, flat oil
becomes blocks of slightly different tone, and dark pieces get waves and specks of colour beside them: false
pieces, and straight cuts on the grid. The steps are told from the pixels, whose waves are whole multiples of
them. Then the picture is compressed again with the same steps on grids laid elsewhere, and the mean is taken:
what lies on the picture's own grid differs from one to the next, what is in the smear does not
(A. Nosratinia, "Enhancement of JPEG-compressed images by re-application of JPEG", Journal of VLSI Signal
Processing 27, 2001).
"""

import io
from dataclasses import dataclass, replace

import cv2
import numpy as np

COMPRESSED = (
    "The picture is strongly compressed (JPEG): its blocks were smoothed before pieces were looked for, "
    "but faint and small ones may be lost for good. Save pictures with less compression."
)
_SIDE = 8  # px of a block
_FLAT = 8  # steps of the mean of a block, eighths of a level: up to these it is as exact as a pixel
_COARSEST = 130  # steps that are looked for
_LOW = 4  # waves up to this order tell the steps
_BLOCKS, _FEWEST_BLOCKS = 500, 50  # those with most in them are looked at
_ZERO = 2.0  # a wave below this is none
_FEW = 20  # waves that tell a step, of which half must be so large that the step matters
_FIT = 0.8  # mean cosine of waves over a step; 0 for any, 1 for whole multiples
_SAME, _HARDLY = 0.75, 0.1  # of a level, by which compressing a picture so again changes it at most
_NEAR_STEPS = [(light, colour) for light in (-1, 0, 1) for colour in (-1, 0, 1) if light or colour]
_TOLD = 6  # waves of light whose steps are told, from which a picture was compressed
_QUIET = 0.8  # waves of high order where blocks are over those elsewhere, up to which a look is worth it
_SPOTS, _MANY = 150, 20_000  # places where the grid is looked for, out of so many: those with most in them
_CUT_OFF = 4.0
_MIDDLE = 128.0  # of the levels, from which waves of lightness are counted
_GRIDS = 4  # laid out in each direction, two px apart
_STRIP_ROWS = 512  # compressed at a time
_MARGIN = 32  # px beside the picture, so that grids may begin there
_LEAST_BLOCKS = 6  # along a side
_ENOUGH_PX, _BAND_ROWS = 600_000, 64  # that tell the steps
_WHOLE = 0.99
_TO_LIGHT = np.array([0.299, 0.587, 0.114], np.float32)
# the standard's own example (Annex K, tables K.1 and K.2): steps of orders whose waves are all zero are not
# told, and follow these
_LIGHT_STEPS = np.array(
    [
        [16, 11, 10, 16, 24, 40, 51, 61],
        [12, 12, 14, 19, 26, 58, 60, 55],
        [14, 13, 16, 24, 40, 57, 69, 56],
        [14, 17, 22, 29, 51, 87, 80, 62],
        [18, 22, 37, 56, 68, 109, 103, 77],
        [24, 35, 55, 64, 81, 104, 113, 92],
        [49, 64, 78, 87, 103, 121, 120, 101],
        [72, 92, 95, 98, 112, 100, 103, 99],
    ]
)
_COLOUR_STEPS = np.full((_SIDE, _SIDE), 99)
_COLOUR_STEPS[:4, :4] = [[17, 18, 24, 47], [18, 21, 26, 66], [24, 26, 56, 99], [47, 66, 99, 99]]
_ORDER = np.arange(_SIDE)
_WAVES = (
    np.where(_ORDER == 0, np.sqrt(0.125), 0.5)[:, None]
    * np.cos((2 * _ORDER + 1) * _ORDER[:, None] * np.pi / 16)
).astype(np.float32)
# decoding mixes three parts of each sample of colour with one of the next: undone on the mean of its pixels
_NEXT = (np.sqrt(0.5) - 0.75) * 4.0
_UNMIXED = (np.sqrt(2.0) * _NEXT ** np.abs(np.arange(-6, 7))).astype(np.float32)
_SAMPLED = {
    (1, 1): 0,
    (1, 2): 1,
    (2, 2): 2,
}  # rows and columns a sample of colour, and how the encoder calls it


@dataclass(frozen=True)
class Compression:
    """How a picture was compressed.

    Attributes
    ----------
    light, colour : (8, 8) ndarray of int
        Steps of the waves of lightness and of colour, by order down and across.
    sampled : tuple of int
        Rows and columns to a sample of colour.
    corner : tuple of int
        Row and column where a block begins.
    """

    light: np.ndarray
    colour: np.ndarray
    sampled: tuple[int, int]
    corner: tuple[int, int]


def without_blocks(pixels: np.ndarray) -> np.ndarray:
    """Take out what strong compression left.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8 or uint16
        RGB.

    Returns
    -------
    pixels : (M, N, 3) ndarray
        The same array where nothing was compressed strongly.
    """
    told = compression_of(pixels)
    return pixels if told is None else _recompressed(pixels, told)


def compression_of(pixels: np.ndarray) -> Compression | None:
    """How a picture was compressed, told from its pixels; None where it was not, or hardly.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8 or uint16
        RGB.
    """
    if pixels.dtype != np.uint8 or min(pixels.shape[:2]) < _LEAST_BLOCKS * _SIDE:
        return None
    corner = _corner(pixels)
    if corner is None:
        return None
    some = _bands(pixels, corner)
    rgb = some.astype(np.float32)
    light = rgb @ _TO_LIGHT
    whole = np.asarray(((some > 0) & (some < 255)).all(axis=2), np.float32)
    steps = _steps([light - np.float32(_MIDDLE)], whole, _LOW, _BLOCKS)
    if len(steps) < _TOLD:
        return None
    table = _completed(steps, _LIGHT_STEPS)
    if table[0, 0] <= _FLAT:
        return None
    colours = [
        (rgb[..., 2] - light) * np.float32(0.5 / 0.886),
        (rgb[..., 0] - light) * np.float32(0.5 / 0.701),
    ]
    steps, sampled, begin = _steps_of_colour(colours, whole)
    if not steps:  # none is seen: as coarse as those of lightness
        steps = {(0, 0): int(_COLOUR_STEPS[0, 0] * np.median(table / _LIGHT_STEPS))}
    told = Compression(
        table, _completed(steps, _COLOUR_STEPS), sampled, (corner[0] + begin[0], corner[1] + begin[1])
    )
    told, change = _proved(some[begin[0] :, begin[1] :], told)
    return told if change < _SAME else None


def _proved(pixels: np.ndarray, told: Compression) -> tuple[Compression, float]:
    """Steps of the means of blocks set right, and by how many levels compressing so changes a picture.

    What was compressed once stays the same when it is compressed so again. Means of even blocks come back
    rounded to whole levels and tell their steps less exactly than the other waves.
    """
    best, change = told, _change(pixels, told)
    for light, colour in _NEAR_STEPS if change > _HARDLY else ():
        tried = replace(told, light=_moved(told.light, light), colour=_moved(told.colour, colour))
        if (after := _change(pixels, tried)) < change:
            best, change = tried, after
    return best, change


def _moved(table: np.ndarray, by: int) -> np.ndarray:
    """A table with another step of the means."""
    moved = table.copy()
    moved[0, 0] += by
    return moved


def _change(pixels: np.ndarray, how: Compression) -> float:
    return float(cv2.absdiff(pixels, _compressed(pixels, how)).mean())


def _corner(pixels: np.ndarray) -> tuple[int, int] | None:
    """First row and column from which blocks begin; None where there seem to be none.

    Waves of high order are nearly all rounded to nothing. In blocks cut out elsewhere the steps between the
    true ones make some.
    """
    green = pixels[..., 1]
    tiles = _blocks(green)
    across = green.shape[1] // _SIDE
    number = np.arange(len(tiles)).reshape(-1, across)[1:-1, 1:-1].ravel()  # with others all round
    number = number[:: max(1, len(number) // _MANY)]
    some = number[np.argsort(-np.ptp(tiles[number], axis=(1, 2)).astype(int), kind="stable")[:_SPOTS]]
    start, reach = (some // across * _SIDE, some % across * _SIDE), np.arange(2 * _SIDE)
    spots = green[start[0][:, None, None] + reach[:, None], start[1][:, None, None] + reach]
    windows = np.lib.stride_tricks.sliding_window_view(spots, (_SIDE, _SIDE), axis=(1, 2))[:, :_SIDE, :_SIDE]
    waves = np.abs(_WAVES @ windows.astype(np.float32) @ _WAVES.T)
    high = np.minimum(waves, _CUT_OFF)[..., np.add.outer(_ORDER, _ORDER) >= _SIDE].mean(axis=(0, 3))
    if high.min() > _QUIET * np.median(high):
        return None
    row, col = np.unravel_index(int(high.argmin()), high.shape)
    return int(row), int(col)


def _bands(pixels: np.ndarray, corner: tuple[int, int]) -> np.ndarray:
    """Bands of a picture that tell its steps, one below the other; blocks begin at their corner."""
    from_corner = pixels[corner[0] :, corner[1] :]
    each = max(1, from_corner[:, :, 0].size // _ENOUGH_PX)
    rows = np.arange(len(from_corner) // _BAND_ROWS * _BAND_ROWS)
    return from_corner[rows[rows // _BAND_ROWS % each == 0]]


def _blocks(plane: np.ndarray) -> np.ndarray:
    """Blocks of a plane, (K, 8, 8)."""
    rows, cols = (size // _SIDE for size in plane.shape)
    blocks = plane[: rows * _SIDE, : cols * _SIDE].reshape(rows, _SIDE, cols, _SIDE)
    return blocks.swapaxes(1, 2).reshape(-1, _SIDE, _SIDE)


def _steps(
    planes: list[np.ndarray], whole: np.ndarray, highest: int, most: int
) -> dict[tuple[int, int], int]:
    """Steps of the waves up to an order that planes of a picture tell together.

    ``whole`` is 1 where no channel is at an end of its range: there waves were cut off. So many blocks of
    each plane are looked at.
    """
    usable = _blocks(whole).min(axis=(1, 2)) > _WHOLE
    waves = []
    for plane in planes:
        blocks = _blocks(plane)[usable]
        if len(blocks) < _FEWEST_BLOCKS:
            return {}
        most_in_them = np.argsort(-np.ptp(blocks, axis=(1, 2)), kind="stable")[:most]
        waves.append(_WAVES @ blocks[most_in_them] @ _WAVES.T)
    found = np.concatenate(waves)
    orders = [(down, across) for down in range(highest + 1) for across in range(highest + 1 - down)]
    steps = {order: _step(found[:, order[0], order[1]]) for order in orders}
    return {order: step for order, step in steps.items() if step}


def _step(waves: np.ndarray) -> int:
    """The largest step of which waves of one order are whole multiples, (K,); 0 where it is not told."""
    apart = np.abs(waves - np.sort(waves)[len(waves) // 2])  # even oil fits any step it fits by chance
    waves, apart = waves[apart > _ZERO], apart[apart > _ZERO]
    if len(waves) < _FEW:
        return 0
    steps = np.arange(_COARSEST, int(_ZERO), -1)
    fits = np.cos(2 * np.pi * waves[:, None] / steps)
    beyond = apart[:, None] > steps / 2  # waves much smaller than a step fit it whatever they are
    count = beyond.sum(axis=0)
    fit = np.minimum(fits.mean(axis=0), (fits * beyond).sum(axis=0) / np.maximum(count, 1))
    good = np.flatnonzero((fit > _FIT) & (count >= _FEW // 2))
    if not len(good):
        return 0
    best = int(good[0])
    while best + 1 < len(fit) and fit[best + 1] > fit[best]:
        best += 1
    return int(steps[best])


def _steps_of_colour(
    planes: list[np.ndarray], whole: np.ndarray
) -> tuple[dict[tuple[int, int], int], tuple[int, int], tuple[int, int]]:
    """Steps of the waves of colour, rows and columns to a sample, and where its blocks begin."""
    best: tuple[dict[tuple[int, int], int], tuple[int, int], tuple[int, int]] = {}, (2, 2), (0, 0)
    for rows, cols in _SAMPLED:
        for top in range(0, rows * _SIDE, _SIDE):
            for left in range(0, cols * _SIDE, _SIDE):
                reduced = [_reduced(plane[top:, left:], rows, cols) for plane in (*planes, whole)]
                steps = _steps(reduced[:2], reduced[2], _LOW // 2, _BLOCKS // 2)
                if len(steps) > len(best[0]):
                    best = steps, (rows, cols), (top, left)
    return best


def _reduced(plane: np.ndarray, rows: int, cols: int) -> np.ndarray:
    """Samples of a plane of which decoding made so many rows and columns each."""
    if rows == cols == 1:
        return plane
    height, width = plane.shape[0] // rows, plane.shape[1] // cols
    mean = cv2.resize(plane[: height * rows, : width * cols], (width, height), interpolation=cv2.INTER_AREA)
    alone = np.ones(1, np.float32)
    return cv2.sepFilter2D(
        mean,
        -1,
        _UNMIXED if cols > 1 else alone,
        _UNMIXED if rows > 1 else alone,
        borderType=cv2.BORDER_REPLICATE,
    )


def _completed(steps: dict[tuple[int, int], int], usual: np.ndarray) -> np.ndarray:
    """A whole table, (8, 8), from the steps that are told."""
    strength = np.median([step / usual[order] for order, step in steps.items()])
    table = np.clip(np.round(strength * usual), 1, 255).astype(int)
    for order, step in steps.items():
        table[order] = step
    return table


def _recompressed(pixels: np.ndarray, how: Compression) -> np.ndarray:
    """Mean of a picture compressed anew on grids laid elsewhere, (M, N, 3) ndarray of uint8."""
    rows, cols = pixels.shape[:2]
    wide = cv2.copyMakeBorder(pixels, *(_MARGIN,) * 4, cv2.BORDER_REFLECT)
    done = np.empty_like(pixels)
    for top in range(0, rows, _STRIP_ROWS):
        bottom = min(top + _STRIP_ROWS, rows)
        total = np.zeros((bottom - top, cols, 3), np.uint16)
        for down, across in _grids():
            y, x = (how.corner[0] + down) % (2 * _SIDE), (how.corner[1] + across) % (2 * _SIDE)
            part = _compressed(wide[top + y : bottom + 2 * _MARGIN, x:], how)
            y, x = _MARGIN - y, _MARGIN - x
            total += part[y : y + bottom - top, x : x + cols]
        done[top:bottom] = (total + _GRIDS**2 // 2) // _GRIDS**2
    return done


def _grids() -> list[tuple[int, int]]:
    """By how many px grids are laid lower and further right."""
    pace = _SIDE // _GRIDS
    return [
        (pace * i + _SIDE * (j % 2), pace * j + _SIDE * ((i + j // 2) % 2))
        for i in range(_GRIDS)
        for j in range(_GRIDS)
    ]


def _compressed(pixels: np.ndarray, how: Compression) -> np.ndarray:
    """Pixels as they come back from being compressed so, the blocks beginning at their corner."""
    from PIL import Image

    stored = io.BytesIO()
    tables = [table.ravel().tolist() for table in (how.light, how.colour)]
    Image.fromarray(np.ascontiguousarray(pixels)).save(
        stored, "JPEG", qtables=tables, subsampling=_SAMPLED[how.sampled]
    )
    return np.asarray(Image.open(stored))
