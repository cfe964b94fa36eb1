"""See-through pieces: seen only by a rim, dark or bright, around an inside that is nearly oil.

They are found as what is left of the filled component when its solid bodies are taken away: a rim is
thinner than any body, so an opening removes it. What is left is a see-through piece when it is convex,
bordered by oil rather than by bodies (that would be the oil caught between touching pieces) and mostly
rimmed.
"""

from collections.abc import Iterator

import cv2
import numpy as np

from measure.field.basics.masks import (
    closed,
    dilated,
    disc,
    eroded,
    fill_holes,
    hull_mask,
    numbered,
    opened,
    opened_to,
    solidity,
)
from measure.field.cuts.cut import cut_by_shape
from measure.field.rims.clear_parts import CLEAR_SHARE, CONVEX, LEAST_RIM_PX, MARGIN_PX, Rims, is_clear

__all__ = ["closed", "dilated", "disc", "fill_holes", "find_clear", "hull_mask", "opened", "solidity"]

_GAPS = (1.5, 4.0, 8.0)  # closing radii tried on broken rims, px, besides a share of the size
_RIBBON = 14.0  # area over squared half width; a longer ribbon is a fibre, not a row of crystals
_LARGEST_WINDOW_PX = 240
_MOST_CUT = 0.1  # share of the border of a piece along its window where nothing else is seen
_WIDER = 2  # times a window grows to twice its size while a piece goes on beyond it
_ONE = disc(1.0)
_BODY_RADII = (2.0, 3.0, 4.5, 7.0, 10.0, 15.0, 22.0, 32.0)


def find_clear(
    low: np.ndarray,
    strong: np.ndarray,
    width_px: float,
    least_px2: float,
    frame: tuple[bool, bool, bool, bool] = (False, False, False, False),
    coloured: np.ndarray | None = None,
) -> np.ndarray:
    """Find the see-through pieces of a component.

    Parameters
    ----------
    low : (M, N) ndarray of uint8
        The component at the low level.
    strong : (M, N) ndarray of uint8
        Its pixels above the local half level: rims and bodies.
    width_px : float
        10-90 % width of an edge.
    least_px2 : float
        Smallest area of interest.
    frame : tuple of bool
        Whether the top, bottom, left and right border of the crop is the border of the picture.
    coloured : (M, N) ndarray of uint8, optional
        Strong pixels that are no rim whatever their width, because they are coloured.

    Returns
    -------
    labels : (M, N) ndarray of int32
        1.. for each see-through piece, rim included; 0 elsewhere.
    """
    labels = np.zeros(low.shape, np.int32)
    convex = hull_mask(low)
    hull, bright = float(cv2.countNonZero(convex)), float(cv2.countNonZero(strong))
    if hull - bright < CLEAR_SHARE * least_px2 or bright > 0.9 * hull:
        return labels
    # no closing reaches beyond the hull, and a clear place must be thicker than an edge's flank
    if not cv2.countNonZero(eroded(convex & (1 - strong), max(1.0, 0.5 * width_px))):
        return labels
    size = np.sqrt(hull / np.pi)
    before = np.zeros(low.shape, low.dtype)
    for gap in (*_GAPS, min(0.4 * size, 40.0)):
        if gap > 0.45 * size and gap > 1.5:
            continue
        if cv2.countNonZero(convex & (1 - before)) < CLEAR_SHARE * least_px2:
            break  # nor does it fill more than is left of the hull
        filled = fill_holes(_walled(closed(low, gap), frame))
        if cv2.countNonZero(filled & (1 - before)) < CLEAR_SHARE * least_px2:
            continue
        before = filled
        for box in _clear_windows(filled, strong, labels, width_px, least_px2):
            _label_in(labels, filled, strong, box, width_px, least_px2, coloured)
    return labels


def _label_in(
    labels: np.ndarray,
    filled: np.ndarray,
    strong: np.ndarray,
    box: tuple[slice, slice],
    width_px: float,
    least_px2: float,
    coloured: np.ndarray | None,
) -> None:
    """Number the see-through pieces about one window, in place; the window grows where one goes on."""
    known, first = int(labels.max()), box
    if not _label_clear(labels, filled, strong, box, width_px, least_px2, coloured):
        return
    for _ in range(_WIDER):
        box = _wider(box, labels.shape)
        if not _label_clear(labels, filled, strong, box, width_px, least_px2, coloured):
            break
    if labels.max() == known:  # nothing else is seen, so what the first window shows has to do
        _label_clear(labels, filled, strong, first, width_px, least_px2, coloured, cut_off=True)


def _wider(box: tuple[slice, slice], shape: tuple[int, int]) -> tuple[slice, slice]:
    """A window of twice the size about the same place."""
    rows, cols = (
        slice(
            max(0, side.start - (side.stop - side.start) // 2),
            min(n, side.stop + (side.stop - side.start) // 2),
        )
        for side, n in zip(box, shape, strict=True)
    )
    return rows, cols


def _clear_windows(
    filled: np.ndarray, strong: np.ndarray, labels: np.ndarray, width_px: float, least_px2: float
) -> list[tuple[slice, slice]]:
    """Windows around places inside the filled component that are clear and wider than an edge's flank."""
    clear = filled & (1 - strong) & (labels == 0).view(np.uint8)
    thick = opened(clear, max(1.0, 0.5 * width_px))
    left, top, wide, high = cv2.boundingRect(thick)
    if not wide:
        return []
    # no closing reaches beyond the box; parts are numbered in blocks of two by two, whose order is kept
    box = np.s_[top - top % 2 : top + high, left - left % 2 : left + wide]
    thick = closed(thick[box], LEAST_RIM_PX + width_px)
    windows = []
    for x, y, w, h, n in numbered(thick, 8)[2][1:].tolist():
        if n < CLEAR_SHARE * least_px2:
            continue
        x, y = x + box[1].start, y + box[0].start
        m = int(8 + 2 * width_px + 0.5 * max(w, h))
        windows.append(
            (
                slice(max(0, y - m), min(filled.shape[0], y + h + m)),
                slice(max(0, x - m), min(filled.shape[1], x + w + m)),
            )
        )
    return windows


def _label_clear(
    labels: np.ndarray,
    filled: np.ndarray,
    strong: np.ndarray,
    box: tuple[slice, slice],
    width_px: float,
    least_px2: float,
    coloured: np.ndarray | None,
    cut_off: bool = False,
) -> bool:
    """Number the see-through pieces of one window, in place; whether one goes on beyond the window.

    Those that go on are left out unless pieces cut off by the window are asked for.
    """
    own = labels[box]
    # a large piece has a wide rim: it can be judged at a smaller size
    reduce = max(1, int(max(own.shape) / _LARGEST_WINDOW_PX))
    full, strong, taken = (mask[box][::reduce, ::reduce] for mask in (filled, strong, labels))
    full, strong = full.copy(), strong.copy()
    room = full & (taken == 0).view(np.uint8)
    width, least = max(1.5, width_px / reduce), max(least_px2 / reduce**2, 12.0)
    size = 0.5 * min(full.shape)
    seen: set[tuple[int, ...]] = set()
    solid = None if coloured is None else coloured[box][::reduce, ::reduce]
    neutral = strong if solid is None else strong & (1 - solid)
    depth, before = cv2.distanceTransform(neutral, cv2.DIST_L2, 5), b""
    deepest = float(depth.max())
    apart = max(1.0, min(width, 0.5 * np.sqrt(least / np.pi)))
    beyond = False
    for radius in _BODY_RADII:
        if radius > max(LEAST_RIM_PX, 0.3 * size):
            break
        body = opened_to(neutral, depth, radius)
        body = body if solid is None else body | solid
        rest = room & (1 - cv2.dilate(body, _ONE))
        if rest.tobytes() == before:
            continue  # all of it was looked at
        before, rest = rest.tobytes(), opened(rest, apart)
        rims, nothing = Rims(full, strong, body, width), True
        for piece in _candidates(rest, rims, least, seen):
            nothing = False
            share = _share_cut(piece, box, labels.shape)
            if share > (_MOST_CUT if cut_off else 0.0):
                beyond = True
                continue
            whole = _with_rim(piece, strong, width)
            room[whole > 0] = 0
            if reduce > 1:
                whole = cv2.resize(whole, own.shape[::-1], interpolation=cv2.INTER_NEAREST)
            own[(whole > 0) & (own == 0)] = labels.max() + 1
        if nothing and radius >= deepest:
            break  # no body is left, so larger ones leave no more
    return beyond


def _share_cut(piece: np.ndarray, box: tuple[slice, slice], shape: tuple[int, int]) -> float:
    """Share of the border of a piece along its window, beyond which it goes on: that is no edge of it."""
    rows, cols = box
    sides = (
        (rows.start > 0, piece[0]),
        (rows.stop < shape[0], piece[-1]),
        (cols.start > 0, piece[:, 0]),
        (cols.stop < shape[1], piece[:, -1]),
    )
    cut = sum(cv2.countNonZero(line) for inner, line in sides if inner)
    return cut / (cut + cv2.countNonZero(piece & (1 - cv2.erode(piece, _ONE)))) if cut else 0.0


def _walled(mask: np.ndarray, frame: tuple[bool, bool, bool, bool]) -> np.ndarray:
    """Close a component along the border of the picture, where the rest of it is cut off."""
    if not any(frame) or sum(frame) > 2:  # it runs around the field
        return mask
    for line, is_frame in zip((mask[0], mask[-1], mask[:, 0], mask[:, -1]), frame, strict=True):
        where = np.flatnonzero(line)
        if is_frame and where.size:
            line[where[0] : where[-1] + 1] = 1
    return mask


def _candidates(
    rest: np.ndarray, rims: Rims, least_px2: float, seen: set[tuple[int, ...]]
) -> Iterator[np.ndarray]:
    """See-through pieces in what is left without the bodies, each the size of the window."""
    if cv2.countNonZero(rest) < least_px2:
        return
    count, parts, stats = numbered(rest, 4)
    shape = rest.shape
    for k, key in enumerate(stats[1:count].tolist(), 1):
        if key[4] < least_px2 or tuple(key) in seen:
            continue
        seen.add(tuple(key))
        x, y, w, h, _ = key
        m = MARGIN_PX
        box = np.s_[max(0, y - m) : min(shape[0], y + h + m), max(0, x - m) : min(shape[1], x + w + m)]
        part = (parts[box] == k).view(np.uint8)
        crop = rims.crop(box)
        if not crop.possible(part, least_px2):
            continue
        for piece in _divided(part, key[4]):
            if cv2.countNonZero(piece) >= least_px2 and is_clear(piece, crop):
                whole = np.zeros(rest.shape, rest.dtype)
                whole[box] = piece
                yield whole


def _divided(part: np.ndarray, area: int) -> list[np.ndarray]:
    """A part if it is convex, else what it falls into at its necks."""
    full = solidity(part)
    if full > CONVEX:
        return [part]
    deepest = float(cv2.distanceTransform(part, cv2.DIST_L2, 3).max())
    if area > _RIBBON * deepest**2:
        return []
    cut = cut_by_shape(part, 0.5)
    if cut.max() == 1 and full < CONVEX:
        return []
    return [(cut == n).view(np.uint8) for n in range(1, int(cut.max()) + 1)]


def _with_rim(piece: np.ndarray, strong: np.ndarray, width_px: float) -> np.ndarray:
    """Add the bits of rim beside a see-through piece that keep it convex: corners, ends of a broken rim."""
    beside = dilated(piece, width_px + 1.0)
    rest = strong & ~piece & 1
    count, parts, stats = numbered(rest, 8)
    whole = piece.copy()
    limit = 1.3 * float(cv2.distanceTransform(strong & piece, cv2.DIST_L2, 3).max()) + 0.5
    thick = cv2.distanceTransform(rest, cv2.DIST_L2, 3)
    size = cv2.countNonZero(piece)
    for k, (x, y, w, h, n) in enumerate(stats[1:count].tolist(), 1):
        if n > size:
            continue
        box = np.s_[y : y + h, x : x + w]
        bit = parts[box] == k
        if not beside[box][bit].any() or thick[box][bit].max() > limit:
            continue
        union = whole.copy()
        union[box] |= bit
        if cv2.countNonZero(union) >= CONVEX * cv2.countNonZero(hull_mask(union)):
            whole = union
    return closed(whole, 1.5)
