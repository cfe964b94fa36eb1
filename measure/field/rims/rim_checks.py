"""Whether what looks like a see-through piece is one: its rim is a band, clear of the noise, and goes round.

Solid pieces that lie in a ring enclose oil too, two of them with pale middles look like one large rim, and
the specks of a noisy oil close round patches. None of them has a rim: theirs is a row of beads, two rims, or
noise.
"""

import cv2
import numpy as np

from measure.field.basics.masks import eroded, numbered
from measure.field.basics.quick import percentile
from measure.field.cuts.cut import cut_by_shape
from measure.field.rims.rims import closed, dilated, disc, fill_holes, opened, solidity

_CLEAR_OF_NOISE = 60  # percentile of the rim that must reach the level a piece must reach
_WEAK = 0.3  # strength over that of the rim below which pixels are glow or specks beside it
_KEPT = 0.7  # share of the piece that must lie inside its strong rim for the rest to be left out
_MORE, _WHOLE = 0.1, 0.93  # share added, and solidity, from which a wider closing closes in more of a piece
_LIKE_BAND = 0.42  # part of the rim's half thickness taken off before its pieces are looked at
_BEAD_SOLIDITY, _BEAD_ASPECT = 0.82, 3.2  # a bead is compact; a length of rim is long or bent
_BEADS_SHARE = 0.5  # share of beads in a rim from which it is none
# full parts of a string, fewer where they are thick, for only narrow rims break into compact bits; their
# solidity, aspect, share of all; grooves as wide as this share of their half thickness are closed
_STRUNG, _STRUNG_THICK, _THICK_PX = 5, 3, 10.0
_FULL, _SHORT, _MOST_STRUNG, _GROOVE = 0.9, 2.2, 0.7, 0.2
_LOBES = 0.95  # solidity below which a piece may be two
_MOSTLY_CLEAR, _ONE_MIDDLE = 0.3, 0.5  # clear share of a piece; share of that in one place
_GAPS = (1.5, 3.0, 5.0, 8.0, 12.0)
_HOLE = 0.3  # share of the piece up to which a hole in the rim is a pale middle of a bead
_LEAST_BEAD_PX2 = 8
# parts of a swarm, each of so much of all, once gaps so wide are bridged; rims of crystals have four at most
_SWARM, _OF_SWARM, _BRIDGED_PX = 6, 0.02, 2.0
_DEEP = 0.3  # depth from which a part is no rim, and share of all that lies so deep
_LEAST_HALF_PX = 3.3
_STALK, _CORNER = 0.36, 0.45  # half thickness of a stalk, and reach of a corner, over that of the piece
_RIMMED = 0.6  # share of the border that must lie at the strong rim
_BESIDE_PX = 3.0


def credible(
    clear: np.ndarray,
    strong: np.ndarray,
    field: np.ndarray,
    distance: np.ndarray,
    seed: float,
    least_px2: float,
) -> np.ndarray:
    """Keep the see-through pieces that have a rim, without what only hangs on to them.

    Parameters
    ----------
    clear : (M, N) ndarray of int32
        See-through pieces, rim included, 1..; 0 elsewhere.
    strong : (M, N) ndarray of uint8
        Pixels above the local half level.
    field : (M, N) ndarray of float32
        Colour difference from the oil.
    distance : (M, N) ndarray of float32
        Noise-normalised distance from the oil.
    seed : float
        Distance a piece must reach.
    least_px2 : float
        Smallest area of interest.

    Returns
    -------
    labels : (M, N) ndarray of int32
        The same, renumbered from 1.
    """
    kept = np.zeros_like(clear)
    count = 0
    for number in range(1, int(clear.max()) + 1):
        rows, cols = np.nonzero(clear == number)
        if not rows.size:
            continue
        box = np.s_[max(0, rows.min() - 1) : rows.max() + 2, max(0, cols.min() - 1) : cols.max() + 2]
        piece = (clear[box] == number).astype(np.uint8)
        for part in _lobes(piece):
            whole = _rimmed(part, strong[box], field[box], distance[box], seed)
            if whole is not None and cv2.countNonZero(whole) >= least_px2:
                count += 1
                free = (whole > 0) & (kept[box] == 0)
                kept[box][free] = count
    return kept


def _lobes(piece: np.ndarray) -> list[np.ndarray]:
    """Parts of a piece with a neck; most have none."""
    if solidity(piece) >= _LOBES:
        return [piece]
    cut = cut_by_shape(cv2.copyMakeBorder(piece, 1, 1, 1, 1, cv2.BORDER_CONSTANT), 0.5)[1:-1, 1:-1]
    return [(cut == k).astype(np.uint8) for k in range(1, int(cut.max()) + 1)]


def _rimmed(
    piece: np.ndarray, strong: np.ndarray, field: np.ndarray, distance: np.ndarray, seed: float
) -> np.ndarray | None:
    """Return the piece inside its rim, or None when its rim is noise or a row of solid pieces."""
    rim = piece & strong
    if not rim.any() or percentile(distance[rim > 0], _CLEAR_OF_NOISE) < seed or _has_gaps(rim, piece):
        return None
    rim &= (field >= _WEAK * percentile(field[rim > 0], 75)).view(np.uint8)
    if _beaded(rim, piece) or _is_scattered(rim, piece) or _is_string(rim, piece):
        return None
    whole = _without_tails(_inside(rim, piece))
    inner: np.ndarray = cv2.erode(whole, disc(1.0), borderValue=1)
    border = whole & ~inner & 1
    rimmed = cv2.countNonZero(border & dilated(rim, _BESIDE_PX))
    return whole if rimmed >= _RIMMED * cv2.countNonZero(border) else None


def _is_scattered(rim: np.ndarray, piece: np.ndarray) -> bool:
    """Whether a rim is many parts that lie all over the piece, none of them most of it: a swarm of pieces."""
    _, parts, stats = numbered(closed(rim, _BRIDGED_PX), 8)
    if len(stats) <= _SWARM:
        return False
    sizes = np.bincount(parts[rim > 0])[1:]
    if (sizes > _OF_SWARM * sizes.sum()).sum() < _SWARM or sizes.max() > _ONE_MIDDLE * sizes.sum():
        return False
    framed = cv2.copyMakeBorder(piece, 1, 1, 1, 1, cv2.BORDER_CONSTANT)
    depth = cv2.distanceTransform(framed, cv2.DIST_L2, 5)[1:-1, 1:-1]
    deep = np.count_nonzero(depth[rim > 0] > _DEEP * float(depth.max()))
    return bool(deep > _DEEP * cv2.countNonZero(rim))


def _has_gaps(rim: np.ndarray, piece: np.ndarray) -> bool:
    """Whether what is clear lies in several small places, as between touching pieces, not in one middle."""
    # the flank of a rim is no gap
    gaps = eroded(piece, _BESIDE_PX) & (1 - rim)
    clear = cv2.countNonZero(gaps)
    if clear > _MOSTLY_CLEAR * cv2.countNonZero(piece):
        return False
    sizes = numbered(gaps, 4)[2][1:, cv2.CC_STAT_AREA]
    return bool(sizes.size > 2 and sizes.max() < _ONE_MIDDLE * clear)


def _inside(rim: np.ndarray, piece: np.ndarray) -> np.ndarray:
    """What the rim closes in, once it is closed enough to hold most of the piece; else the piece.

    The edges of a crystal part its inside, and beside a gap of its rim a part stays open: where more of the
    piece is closed in by closing wider, and that makes it no less convex, more of it is inside.
    """
    area = cv2.countNonZero(piece)
    best, most = None, _KEPT * area
    for gap in _GAPS:
        if most > area:
            break
        count, parts, stats = numbered(fill_holes(closed(rim, gap)) & piece, 4)
        if count < 2:
            continue
        k = 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())
        if stats[k, cv2.CC_STAT_AREA] < most:
            continue
        inside = (parts == k).view(np.uint8)
        if best is None or solidity(inside) >= max(solidity(best), _WHOLE):
            best, most = inside, (1.0 + _MORE) * stats[k, cv2.CC_STAT_AREA]
    return piece if best is None else best


def _without_tails(piece: np.ndarray) -> np.ndarray:
    """Take off what hangs on a piece by a thin stalk; corners stay."""
    padded = cv2.copyMakeBorder(piece, 1, 1, 1, 1, cv2.BORDER_REPLICATE)
    deepest = float(cv2.distanceTransform(padded, cv2.DIST_L2, 5).max())
    core = _largest(opened(padded, _STALK * deepest)[1:-1, 1:-1])
    beyond = cv2.distanceTransform(1 - core, cv2.DIST_L2, 5)
    count, parts = cv2.connectedComponents(piece & ~core & 1, connectivity=8)
    whole = core.copy()
    for k in range(1, count):
        bit = parts == k
        if beyond[bit].max() <= _CORNER * deepest:
            whole[bit] = 1
    return whole


def _largest(mask: np.ndarray) -> np.ndarray:
    count, parts, stats = numbered(mask, 4)
    if count < 3:
        return mask
    return (parts == 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())).view(np.uint8)


def _beaded(rim: np.ndarray, piece: np.ndarray) -> bool:
    """Whether a rim falls apart into compact beads once its thin places are taken away."""
    solid = _small_holes_filled(rim, _HOLE * cv2.countNonZero(piece))
    depth = cv2.distanceTransform(cv2.copyMakeBorder(solid, 1, 1, 1, 1, cv2.BORDER_CONSTANT), cv2.DIST_L2, 5)
    if depth.max() <= _LEAST_HALF_PX:
        return False  # beads as small as this are no pieces
    cores = (depth > _LIKE_BAND * float(depth.max())).view(np.uint8)
    count, parts, stats = numbered(cores, 8)
    if count < 3:
        return False
    beads = 0
    for k in range(1, count):
        x, y, w, h, n = (int(v) for v in stats[k])
        core = (parts[y : y + h, x : x + w] == k).view(np.uint8)
        sides = cv2.minAreaRect(np.argwhere(core).astype(np.float32)[:, ::-1])[1]
        aspect = (max(sides) + 1.0) / (min(sides) + 1.0)
        beads += n * (n > _LEAST_BEAD_PX2 and aspect < _BEAD_ASPECT and solidity(core) > _BEAD_SOLIDITY)
    return beads > _BEADS_SHARE * cv2.countNonZero(cores)


def _is_string(rim: np.ndarray, piece: np.ndarray) -> bool:
    """Whether a rim falls at its necks into short full parts: solid pieces about a gap."""
    largest = _HOLE * cv2.countNonZero(piece)
    solid = cv2.copyMakeBorder(_small_holes_filled(rim, largest), 1, 1, 1, 1, cv2.BORDER_CONSTANT)
    least_px2 = np.pi * _LEAST_HALF_PX**2
    if cv2.countNonZero(solid) < _STRUNG_THICK * least_px2:
        return False
    deepest = float(cv2.distanceTransform(solid, cv2.DIST_L2, 5).max())
    if deepest > _THICK_PX:
        solid = _small_holes_filled(closed(solid, _GROOVE * deepest), largest)
    cut = cut_by_shape(solid, 0.5)
    sizes = [_size_of_full((cut == k).view(np.uint8), least_px2) for k in range(1, int(cut.max()) + 1)]
    fewest = _STRUNG_THICK if deepest > _THICK_PX else _STRUNG
    return sum(map(bool, sizes)) >= fewest and sum(sizes) > _MOST_STRUNG * cv2.countNonZero(solid)


def _size_of_full(part: np.ndarray, least_px2: float) -> int:
    """Area of a part that is short and full, px; 0 of any other."""
    area = cv2.countNonZero(part)
    if area < least_px2 or solidity(part) < _FULL:
        return 0
    sides = cv2.minAreaRect(np.argwhere(part).astype(np.float32)[:, ::-1])[1]
    return area if max(sides) + 1.0 < _SHORT * (min(sides) + 1.0) else 0


def _small_holes_filled(mask: np.ndarray, most_px2: float) -> np.ndarray:
    count, parts, stats = numbered(fill_holes(mask) & ~mask & 1, 4)
    small = np.append(0, stats[1:count, cv2.CC_STAT_AREA] <= most_px2).astype(np.uint8)
    return mask | small[parts]
