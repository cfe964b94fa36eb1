"""Whether lenses told by densities that add up are overlaps, or the mottle of ragged pieces.

Crushed kernels are lumpy: their thick and thin places divide into areas, and among many areas some add up by
chance. What chance makes stands beside steps it does not explain; it is small against the blur, and the
piece it would complete has corners where its outline should go on evenly.
"""

import cv2
import numpy as np

from measure.field.basics.masks import solidity
from measure.field.overlaps.lenses import well_seen
from measure.field.overlaps.tone_areas import Areas

# log-odds by logistic regression on 246 true lenses and 570 false ones, of drawn and pasted fields and of
# mottled ragged pieces drawn for this; with a tenth left out in turn, 98 % of the true ones are kept and
# two fifths of those in mottled pieces
_CONSTANT, _SHARE, _WHOLE, _EXPLAINED = -19.0, -1.26, 13.0, 1.72
_BENT, _ENDS, _THICK, _WIDE = -4.8, 0.27, 1.48, 2.41
_LEAST = -1.8  # a true overlap lost costs more than a false one
# on dark ground solid pieces lit from above shine in places: of 21 true lenses there 20 reach 1.2, of 6 false
# ones none 0.7
_LEAST_ON_DARK = 0.9
# where the ends are ill seen, from 119 true lenses and 137 false ones of the same: of those kept by the rest,
# four fifths of the true ones and a tenth of the false ones
_FULLER, _CONSTANT_ILL_SEEN = 9.9, -9.3
_THICK_PX, _WIDE_PX = (2.0, 9.0), (1.5, 6.0)  # half widths between which being larger tells
_MOST_ENDS = 4
_REACH_PX = (2.5, 9.0)  # round an end, within which the outline should go on
_BENT_UNSEEN = 0.25  # bend taken where no end meets the oil
_FIVE = np.ones((5, 5), np.uint8)


def unlike_mottle(
    areas: Areas,
    lenses: dict[int, tuple[int, int]],
    asked: dict[int, tuple[int, int]],
    on_dark: bool = False,
) -> dict[int, tuple[int, int]]:
    """Keep the lenses that are no mottle, nor on dark ground highlights.

    Parameters
    ----------
    areas : Areas
        The division of a crop.
    lenses : dict of int to (int, int)
        All lenses of the division, each with its two pieces.
    asked : dict of int to (int, int)
        Those to be asked.
    on_dark : bool
        Whether pieces are seen by what they send back.

    Returns
    -------
    kept : dict of int to (int, int)
    """
    if not asked:
        return asked
    explained = _explained(areas, lenses)
    least = _LEAST_ON_DARK if on_dark else _LEAST
    return {k: pair for k, pair in asked.items() if _is_lens(areas, k, pair, explained[k], least)}


def _is_lens(areas: Areas, lens: int, pair: tuple[int, int], explained: float, least: float) -> bool:
    """Whether a lens is an overlap; more is asked of one whose ends are ill seen."""
    odds, fuller = _odds(areas, lens, pair, explained)
    if odds <= least:
        return False
    return odds + _FULLER * fuller + _CONSTANT_ILL_SEEN > 0 or well_seen(areas, lens, pair)


def _explained(areas: Areas, lenses: dict[int, tuple[int, int]]) -> dict[int, float]:
    """For each lens: share of the borders between areas of its heap that lenses have with their pieces."""
    shares: dict[int, float] = {}
    for lens in lenses:
        if lens in shares:
            continue
        heap, waiting = {lens}, [lens]
        while waiting:
            beside = [n for n in areas.seam[waiting.pop()] if n > 1 and n not in heap]
            heap.update(beside)
            waiting += beside
        inner = sum(length for a in heap for b, length in areas.seam[a].items() if b > 1) / 2
        own = sum(areas.seam[k].get(base, 0) for k in heap & lenses.keys() for base in lenses[k])
        shares |= dict.fromkeys(heap & lenses.keys(), own / max(1.0, inner))
    return shares


def _odds(areas: Areas, lens: int, pair: tuple[int, int], explained: float) -> tuple[float, float]:
    """Log-odds that a lens is an overlap, and the solidity of the fuller one of its pieces with it."""
    sizes = [int(areas.size[base]) for base in pair]
    thick = float(np.clip(min(areas.half_width(base) for base in pair), *_THICK_PX))
    wide = float(np.clip(areas.half_width(lens), *_WIDE_PX))
    bends, whole = _bends(areas, lens, pair)
    odds = float(
        _CONSTANT
        + _SHARE * np.log(max(areas.size[lens] / max(1, min(sizes)), 1e-3))
        + _WHOLE * min(whole)
        + _EXPLAINED * explained
        + _BENT * max(bends, default=_BENT_UNSEEN)
        + _ENDS * min(len(bends), _MOST_ENDS)
        + _THICK * np.log(thick)
        + _WIDE * np.log(wide)
    )
    return odds, max(whole)


def _bends(areas: Areas, lens: int, pair: tuple[int, int]) -> tuple[list[float], list[float]]:
    """Bends of the outlines of both pieces at the ends of a lens, and the solidity of each with it.

    A bend is how far from straight an outline is. An end is where the lens meets the oil and the other piece;
    along a straight outline half of a disc round it lies in the piece.
    """
    reach = float(np.clip(0.5 * min(areas.half_width(base) for base in pair), *_REACH_PX))
    boxes = [areas.crop(n, int(np.ceil(reach)) + 3) for n in (lens, *pair)]
    rows, cols = (slice(min(b[i].start for b in boxes), max(b[i].stop for b in boxes)) for i in (0, 1))
    labels = areas.labels[rows, cols]
    own = labels == lens
    by_oil = own & (cv2.dilate((labels == 1).view(np.uint8), _FIVE) > 0)
    bends, full = [], []
    for base, other in (pair, pair[::-1]):
        whole = (own | (labels == base)).view(np.uint8)
        full.append(solidity(whole))
        ends = by_oil & (cv2.dilate((labels == other).view(np.uint8), _FIVE) > 0)
        count, _, _, centres = cv2.connectedComponentsWithStats(ends.view(np.uint8), connectivity=8)
        bends += [abs(_share_around(whole, x, y, reach) - 0.5) for x, y in centres[1:count]]
    return bends, full


def _share_around(mask: np.ndarray, x: float, y: float, reach: float) -> float:
    """Share of a disc that lies in a mask."""
    m = int(np.ceil(reach)) + 1
    top, left = max(0, int(y) - m), max(0, int(x) - m)
    part = mask[top : int(y) + m + 2, left : int(x) + m + 2]
    down, across = np.ogrid[top : top + part.shape[0], left : left + part.shape[1]]
    return float(part[(across - x) ** 2 + (down - y) ** 2 <= reach * reach].mean())
