"""See-through pieces: seen only by a rim, dark or bright, around an inside that is nearly oil.

They are found as what is left of the filled component when its solid bodies are taken away: a rim is
thinner than any body, so an opening removes it. What is left is a see-through piece when it is convex,
bordered by oil rather than by bodies (that would be the oil caught between touching pieces) and mostly
rimmed.
"""

from functools import cached_property, lru_cache

import cv2
import numpy as np

from measure.field.cut import cut_by_shape
from measure.field.quick import percentile

_CONVEX = 0.86  # solidity from which a filled rim may be one piece
_CLEAR_SHARE = 0.12  # share of a see-through piece that lies below half of its rim
_RIM_SHARE = 0.3  # half the thickness of a rim, over the radius of the piece
_OIL_BORDER = 0.5  # share of its border that must be oil
_FREE_SHARE = 0.4  # share of its border that must not lie against a body
_RIMMED = 0.55  # share of its border that must show a rim
_GAPS = (1.5, 4.0, 8.0)  # closing radii tried on broken rims, px, besides a share of the size
_RIBBON = 14.0  # area over squared half width; a longer ribbon is a fibre, not a row of crystals
_EVEN_RIM = 1.6  # thickest place of a rim over its usual thickness; more is a body inside
_ROOM = 1.7  # depth of a see-through piece over half the thickness of its rim
_INSIDE_SHARE = 0.4  # share of the strong pixels that may lie away from the border
_LEAST_RIM_PX = 3.3  # half the thickness a rim may have however small the piece
_LARGEST_WINDOW_PX = 240
_BODY_RADII = (2.0, 3.0, 4.5, 7.0, 10.0, 15.0, 22.0, 32.0)


@lru_cache(maxsize=256)
def disc(radius: float) -> np.ndarray:
    """Return a round structuring element of the given radius in px; not to be changed."""
    r = max(1, int(np.ceil(radius)))
    y, x = np.mgrid[-r : r + 1, -r : r + 1]
    return (x * x + y * y <= radius * radius + 0.5).astype(np.uint8)


def _eroded(mask: np.ndarray, radius: float) -> np.ndarray:
    return (cv2.distanceTransform(mask, cv2.DIST_L2, 5) > radius).view(np.uint8)


def dilated(mask: np.ndarray, radius: float) -> np.ndarray:
    """Dilation by a disc of any radius in constant time."""
    return (cv2.distanceTransform(1 - mask, cv2.DIST_L2, 5) <= radius).view(np.uint8)


def opened(mask: np.ndarray, radius: float) -> np.ndarray:
    """Opening by a disc of any radius in constant time; nothing is eroded from the border of the array."""
    return _opened_to(mask, cv2.distanceTransform(mask, cv2.DIST_L2, 5), radius)


def _opened_to(mask: np.ndarray, depth: np.ndarray, radius: float) -> np.ndarray:
    """Opening of a mask whose depth is known."""
    kept = (depth > radius).view(np.uint8)
    return dilated(kept, radius) & mask if cv2.countNonZero(kept) else kept


def closed(mask: np.ndarray, radius: float) -> np.ndarray:
    """Closing by a disc of any radius in constant time."""
    m = int(np.ceil(radius)) + 1
    padded = cv2.copyMakeBorder(mask, m, m, m, m, cv2.BORDER_CONSTANT, value=0)
    return (1 - dilated(1 - dilated(padded, radius), radius))[m:-m, m:-m].copy()


def fill_holes(mask: np.ndarray) -> np.ndarray:
    """Return the mask with every hole filled, (M, N) uint8."""
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    filled = np.zeros_like(mask)
    cv2.drawContours(filled, contours, -1, 1, cv2.FILLED)
    return filled


def hull_mask(mask: np.ndarray) -> np.ndarray:
    """Return the convex hull of a mask, (M, N) uint8."""
    full = np.zeros(mask.shape, np.uint8)
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if contours:
        cv2.fillConvexPoly(full, cv2.convexHull(np.concatenate(contours)), 1)
    return full


def solidity(mask: np.ndarray) -> float:
    """Area over hull area of a mask, counted in pixels so that small masks are not punished."""
    return float(cv2.countNonZero(mask)) / max(1.0, float(cv2.countNonZero(hull_mask(mask))))


def find_clear(
    low: np.ndarray,
    strong: np.ndarray,
    width_px: float,
    least_px2: float,
    frame: tuple[bool, bool, bool, bool] = (False, False, False, False),
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

    Returns
    -------
    labels : (M, N) ndarray of int32
        1.. for each see-through piece, rim included; 0 elsewhere.
    """
    labels = np.zeros(low.shape, np.int32)
    hull = float(hull_mask(low).sum())
    if hull - strong.sum() < _CLEAR_SHARE * least_px2 or strong.sum() > 0.9 * hull:
        return labels
    size = np.sqrt(hull / np.pi)
    before = np.zeros_like(low)
    for gap in (*_GAPS, min(0.4 * size, 40.0)):
        if gap > 0.45 * size and gap > 1.5:
            continue
        filled = fill_holes(_walled(closed(low, gap), frame))
        if (filled & ~before & 1).sum() < _CLEAR_SHARE * least_px2:
            continue
        before = filled
        for box in _clear_windows(filled, strong, labels, width_px, least_px2):
            _label_clear(labels, filled, strong, box, width_px, least_px2)
    return labels


def _clear_windows(
    filled: np.ndarray, strong: np.ndarray, labels: np.ndarray, width_px: float, least_px2: float
) -> list[tuple[slice, slice]]:
    """Windows around places inside the filled component that are clear and wider than an edge's flank."""
    clear = filled & ~strong & (labels == 0).astype(np.uint8) & 1
    thick = opened(clear, max(1.0, 0.5 * width_px))
    thick = closed(thick, _LEAST_RIM_PX + width_px)
    count, _, stats, _ = cv2.connectedComponentsWithStats(thick, connectivity=8)
    windows = []
    for x, y, w, h, n in stats[1:count]:
        if n < _CLEAR_SHARE * least_px2:
            continue
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
) -> None:
    """Number the see-through pieces of one window, in place."""
    own = labels[box]
    # a large piece has a wide rim: it can be judged at a smaller size
    reduce = max(1, int(max(own.shape) / _LARGEST_WINDOW_PX))
    small = tuple(mask[box][::reduce, ::reduce].copy() for mask in (filled, strong, labels))
    width, least = max(1.5, width_px / reduce), max(least_px2 / reduce**2, 12.0)
    size = 0.5 * min(small[0].shape)
    seen: set[tuple[int, ...]] = set()
    depth, before = cv2.distanceTransform(small[1], cv2.DIST_L2, 5), None
    apart = max(1.0, min(width, 0.5 * np.sqrt(least / np.pi)))
    for radius in _BODY_RADII:
        if radius > max(_LEAST_RIM_PX, 0.3 * size):
            break
        body = _opened_to(small[1], depth, radius)
        rest = small[0] & (1 - cv2.dilate(body, disc(1.0))) & (small[2] == 0).view(np.uint8)
        if before is not None and np.array_equal(rest, before):
            continue  # all of it was looked at
        before, rest = rest, opened(rest, apart)
        rims = _Rims(small[1], body, width)
        for piece in _candidates(rest, rims, least, seen):
            if _is_clear(piece, rims, small[0]):
                whole = _with_rim(piece, small[1], width)
                small[2][whole > 0] = 1
                if reduce > 1:
                    whole = cv2.resize(whole, own.shape[::-1], interpolation=cv2.INTER_NEAREST)
                own[(whole > 0) & (own == 0)] = labels.max() + 1


def _walled(mask: np.ndarray, frame: tuple[bool, bool, bool, bool]) -> np.ndarray:
    """Close a component along the border of the picture, where the rest of it is cut off."""
    if sum(frame) > 2:  # it runs around the field
        return mask
    for line, is_frame in zip((mask[0], mask[-1], mask[:, 0], mask[:, -1]), frame, strict=True):
        where = np.flatnonzero(line)
        if is_frame and where.size:
            line[where[0] : where[-1] + 1] = 1
    return mask


class _Rims:
    """Rims of a window once its bodies are known.

    Parameters
    ----------
    strong, body : (M, N) ndarray of uint8
        Strong pixels, and those of them that lie in bodies.
    width_px : float
    """

    def __init__(self, strong: np.ndarray, body: np.ndarray, width_px: float) -> None:
        self.strong, self.body, self.width_px = strong, body, width_px

    @cached_property
    def free(self) -> np.ndarray:
        """Where a border is no edge of a body beside it."""
        return 1 - dilated(self.body, self.width_px + 2.0) if self.body.any() else np.ones_like(self.body)

    @cached_property
    def near(self) -> np.ndarray:
        """Free places that have a rim beside them."""
        return dilated(self.strong & ~self.body & 1, self.width_px + 1.0) & self.free

    def possible(self, part: np.ndarray, least_px2: float) -> bool:
        """Whether anything inside a part can pass `_is_clear`: it needs a clear core and a rim of its own."""
        if not cv2.countNonZero(part & self.near):
            return False
        core = _eroded(part, max(1.0, 0.5 * self.width_px))
        return cv2.countNonZero(core & ~self.strong & 1) >= _CLEAR_SHARE * least_px2


def _candidates(
    rest: np.ndarray, rims: _Rims, least_px2: float, seen: set[tuple[int, ...]]
) -> list[np.ndarray]:
    """Parts of what is left without the bodies, large enough to be pieces and not seen before."""
    count, parts, stats, _ = cv2.connectedComponentsWithStats(rest, connectivity=4)
    pieces = []
    for k in range(1, count):
        key = tuple(stats[k].tolist())
        if key[4] < least_px2 or key in seen:
            continue
        seen.add(key)
        part = (parts == k).view(np.uint8)
        if not rims.possible(part, least_px2):
            continue
        if solidity(part) > _CONVEX:
            pieces.append(part)
            continue
        deepest = float(cv2.distanceTransform(part, cv2.DIST_L2, 3).max())
        if key[4] > _RIBBON * deepest**2:
            continue
        cut = cut_by_shape(part, 0.5)
        pieces += [(cut == n).view(np.uint8) for n in range(1, int(cut.max()) + 1)]
    return [piece for piece in pieces if cv2.countNonZero(piece) >= least_px2]


def _is_clear(piece: np.ndarray, rims: _Rims, filled: np.ndarray) -> bool:
    area = float(cv2.countNonZero(piece))
    core = _eroded(piece, max(1.0, 0.5 * rims.width_px))
    if cv2.countNonZero(core & ~rims.strong & 1) < _CLEAR_SHARE * area:
        return False
    # the edge of a body beside the piece is no rim of its own
    border = piece & ~cv2.erode(piece, disc(1.0), borderValue=1) & 1
    free = cv2.countNonZero(border & rims.free)
    if not free or free < _FREE_SHARE * cv2.countNonZero(border):
        return False
    if cv2.countNonZero(border & rims.near) < _RIMMED * free:
        return False
    ring = cv2.dilate(piece, disc(2.0)) & ~piece & 1
    around = cv2.countNonZero(ring)
    if not around or cv2.countNonZero(ring & (1 - filled)) < _OIL_BORDER * around:
        return False
    return solidity(piece) >= _CONVEX and _rim_is_even(rims.strong & piece, piece, area)


def _rim_is_even(rim: np.ndarray, piece: np.ndarray, area: float) -> bool:
    depth = cv2.distanceTransform(rim, cv2.DIST_L2, 3)
    most = float(depth.max())
    if most > max(_LEAST_RIM_PX, _RIM_SHARE * np.sqrt(area / np.pi)):
        return False
    deep = cv2.distanceTransform(cv2.copyMakeBorder(piece, 1, 1, 1, 1, cv2.BORDER_REPLICATE), cv2.DIST_L2, 5)
    if deep.max() < _ROOM * most + 1.0:  # an arm of a broken rim with its glow, not a whole piece
        return False
    inner = deep[1:-1, 1:-1] > 2.2 * most + 2.0
    # a rim lies at the border; only thin lines (the edges of a cube) may run inside
    if (rim[inner] > 0).sum() > _INSIDE_SHARE * rim.sum():
        return False
    ridge = depth[(depth > 0) & (depth >= cv2.dilate(depth, np.ones((3, 3), np.uint8)))]
    return most <= _EVEN_RIM * percentile(ridge, 75) + 1.2 if ridge.size else True


def _with_rim(piece: np.ndarray, strong: np.ndarray, width_px: float) -> np.ndarray:
    """Add the bits of rim beside a see-through piece that keep it convex: corners, ends of a broken rim."""
    beside = dilated(piece, width_px + 1.0)
    rest = strong & ~piece & 1
    count, parts, stats, _ = cv2.connectedComponentsWithStats(rest, connectivity=8)
    whole = piece.copy()
    limit = 1.3 * float(cv2.distanceTransform(strong & piece, cv2.DIST_L2, 3).max()) + 0.5
    thick = cv2.distanceTransform(rest, cv2.DIST_L2, 3)
    for k in range(1, count):
        bit = parts == k
        if stats[k, cv2.CC_STAT_AREA] > piece.sum() or not beside[bit].any() or thick[bit].max() > limit:
            continue
        union = whole | bit.astype(np.uint8)
        if union.sum() >= _CONVEX * hull_mask(union).sum():
            whole = union
    return closed(whole, 1.5)
