"""Whether what looks like an overlap is one, or only the mottle of a single piece.

Dark, lumpy pieces hold areas whose densities add up by chance. Where two pieces really lie over one another,
their common outline is hollow, each part seen alone is a compact piece, the part that both cover is the
smaller one, and its borders are as sharp as those against the oil. It meets the oil at its two ends only:
what ends in a straight crease is a skin that lies double.
"""

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, closed, fill_holes, solidity
from measure.field.basics.quick import median, norm
from measure.field.bodies.folds import has_crease
from measure.field.overlaps.tone_areas import Areas

# log-odds by logistic regression on 83 true overlaps and 34 mottled pieces of drawn fields of two kinds;
# with a tenth left out in turn, 89 % of the true ones are kept and 91 % of the others left
_SOLID, _COMPACT, _SHARE, _SHARP, _CONSTANT = -43.0, 11.0, -1.1, 2.5, 28.5
_SHARPEST = 1.2
_FULL, _WITHIN = 0.9, 0.8  # solidity of a piece that is hardly a heap of three; share of a part inside it
_MOST_LOST, _MOST_LOST_ALIKE = 0.015, 0.025  # mean solidity lost by more pieces, and by as many
_GAP_PX, _FLANK_PX = 1.5, 3.0  # between areas; between an area and the outline where it meets the oil
_LEAST = -0.7  # a true overlap lost costs more than a false one


def credible_lenses(
    areas: Areas, lenses: dict[int, tuple[int, int]], masks: list[np.ndarray]
) -> dict[int, tuple[int, int]]:
    """Keep the lenses that are overlaps.

    Parameters
    ----------
    areas : Areas
        The division of the crop.
    lenses : dict of int to (int, int)
        Each lens and its two pieces.
    masks : list of (M, N) ndarray of uint8
        The pieces as found, in a crop of the same or a larger size.
    """
    if not lenses:
        return {}
    size = areas.labels.shape[::-1]
    found = [cv2.resize(m, size, interpolation=cv2.INTER_NEAREST) for m in masks]
    full = [solidity(m) if m.any() else 0.0 for m in found]
    return {
        k: pair
        for k, pair in lenses.items()
        if _odds(areas, k, pair, found, full) > _LEAST and not _is_folded(areas, k, pair)
    }


def _is_folded(areas: Areas, lens: int, pair: tuple[int, int]) -> bool:
    """Whether a lens, with what is as dense beside it, ends in a crease of one skin with both its pieces."""
    single = min((areas.tone[base] for base in pair), key=np.linalg.norm)
    height = areas.tone @ single / max(float(single @ single), 1e-9)
    dense = np.flatnonzero(height > 0.5 * (1.0 + height[lens]))
    within = np.isin(areas.labels, dense)
    _, parts = cv2.connectedComponents(within.view(np.uint8), connectivity=4)
    own = (np.isin(parts, np.unique(parts[areas.labels == lens])) & within).view(np.uint8)
    whole = own | np.isin(areas.labels, pair).view(np.uint8)
    return has_crease(fill_holes(closed(whole, _GAP_PX)), own, _FLANK_PX)


def shattered(piece: np.ndarray, parts: list[np.ndarray]) -> bool:
    """Whether a compact piece would fall into more parts than two that lie over one another.

    Parameters
    ----------
    piece : (M, N) ndarray of uint8
        The piece as found.
    parts : list of (M, N) ndarray of uint8
        What would stand in its place, beside what replaces others.
    """
    if len(parts) < 3 or solidity(piece) < _FULL:
        return False
    within = [cv2.countNonZero(part & piece) > _WITHIN * max(1, cv2.countNonZero(part)) for part in parts]
    return sum(within) > 2


def less_whole(pieces: list[np.ndarray], parts: list[np.ndarray]) -> bool:
    """Whether what would stand in the place of some pieces is less compact than they are.

    The whole outline of a piece is fuller than what a neck leaves of it; the parts of a cell with a pale
    middle, or of a mottled piece, are bent and ragged.

    Parameters
    ----------
    pieces : list of (M, N) ndarray of uint8
        The pieces as found.
    parts : list of (M, N) ndarray of uint8
        What would replace them.
    """
    if not pieces:
        return False
    most = _MOST_LOST if len(parts) > len(pieces) else _MOST_LOST_ALIKE
    return _mean_solidity(pieces) - _mean_solidity(parts) > most


def _mean_solidity(masks: list[np.ndarray]) -> float:
    size = [cv2.countNonZero(m) for m in masks]
    return sum(n * solidity(m) for n, m in zip(size, masks, strict=True) if n) / max(1, sum(size))


def _odds(
    areas: Areas, lens: int, pair: tuple[int, int], found: list[np.ndarray], full: list[float]
) -> float:
    own = areas.labels == lens
    within = int(np.argmax([np.count_nonzero(m[own]) for m in found]))
    alone = [(areas.labels == base).astype(np.uint8) for base in pair]
    compact = min(solidity(base) for base in alone)
    share = np.count_nonzero(own) / max(1, min(cv2.countNonZero(base) for base in alone))
    sharp = min(_sharpness(areas, lens, own, base) for base in pair)
    return (
        _CONSTANT
        + _SOLID * full[within]
        + _COMPACT * compact
        + _SHARE * float(np.log(max(share, 1e-3)))
        + _SHARP * min(sharp, _SHARPEST)
    )


def _sharpness(areas: Areas, lens: int, own: np.ndarray, base: int) -> float:
    """Steepness of the border between a lens and a piece over that of the piece against the oil, per step."""
    piece = areas.labels == base
    seam = (cv2.dilate(own.view(np.uint8), SQUARE) > 0) & piece
    free = (cv2.dilate(piece.view(np.uint8), SQUARE) > 0) & (areas.labels == 1)
    step = norm(areas.tone[lens] - areas.tone[base])
    if not seam.any() or step <= 0:
        return 0.0
    if not free.any():
        return 1.0
    outer = median(areas.steep[free]) / max(norm(areas.tone[base]), 1e-6)
    return median(areas.steep[seam]) / step / max(outer, 1e-6)
