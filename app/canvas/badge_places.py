"""Which pieces have room for their letter: letters must not hide each other or other pieces."""

import numpy as np

SIDE = 16  # of a letter, screen px
_GAP = 3  # between a letter and its piece, screen px
_ROOMY, _SMALL = 26.0, 12.0  # smallest screen size of a piece with a letter, px: any, and a doubtful one
_COVERED = 0.25  # of another piece that a letter may hide


def badges_shown(box: np.ndarray, doubtful: np.ndarray, first: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return which pieces get their whole badge and which only a dot of doubt, two (K,) ndarrays of bool.

    Parameters
    ----------
    box : (K, 4) ndarray
        Left, top, right, bottom of the pieces in view, screen px.
    doubtful : (K,) ndarray of bool
    first : (K,) ndarray of bool
        Chosen or pointed at: these have their badge whatever it hides.
    """
    place = badge_boxes(box, doubtful)
    size = np.minimum(box[:, 2] - box[:, 0], box[:, 3] - box[:, 1])
    hides = _shares(place, box) > _COVERED
    np.fill_diagonal(hides, False)
    wanted = first | (~hides.any(axis=1) & (size >= np.where(doubtful, _SMALL, _ROOMY)))
    overlap = _shares(place, place) > 0
    whole = np.zeros(len(box), dtype=bool)
    # chosen ones before doubtful ones before the rest, large before small
    for k in np.lexsort((-size, ~doubtful, ~first)):
        if wanted[k] and (first[k] or not (overlap[k] & whole).any()):
            whole[k] = True
    return whole, doubtful & ~whole


def badge_boxes(box: np.ndarray, doubtful: np.ndarray) -> np.ndarray:
    """Return where the badges of pieces stand, (K, 4) ndarray, screen px."""
    half = np.where(doubtful, 2 * SIDE - 3, SIDE) / 2.0
    middle, bottom = (box[:, 0] + box[:, 2]) / 2, box[:, 1] - _GAP
    return np.column_stack([middle - half, bottom - SIDE, middle + half, bottom])


def _shares(covers: np.ndarray, covered: np.ndarray) -> np.ndarray:
    """Return the share of each box of ``covered`` (columns) that each of ``covers`` (rows) hides."""
    wide = np.minimum(covers[:, None, 2], covered[None, :, 2]) - np.maximum(
        covers[:, None, 0], covered[None, :, 0]
    )
    high = np.minimum(covers[:, None, 3], covered[None, :, 3]) - np.maximum(
        covers[:, None, 1], covered[None, :, 1]
    )
    area = (covered[:, 2] - covered[:, 0]) * (covered[:, 3] - covered[:, 1])
    return np.maximum(wide, 0) * np.maximum(high, 0) / np.maximum(area, 1e-9)
