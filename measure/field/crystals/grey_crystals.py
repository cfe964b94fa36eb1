"""See-through crystals found by what they lack: colour.

A crystal bends light aside or lets it through, and colours none of it. Lit from below its facets are clear,
grey or black, with thin sides between them, so it falls into parts and closes round none of them. Where
kernels and skins absorb, the grey places of a component are crystals, whatever goes on in them, if their
outline is that of one: convex, with corners and straight sides. Where they touch they are cut along these.
"""

from collections.abc import Callable, Iterator
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.masks import (
    closed,
    dilated,
    disc,
    eroded,
    even_box,
    fill_holes,
    hull_mask,
    numbered,
    opened,
    solidity,
)
from measure.field.basics.quick import colours_at, median, percentile, percentiles
from measure.field.basics.straight_sides import straight_sided
from measure.field.cuts.cut import cut_by_shape
from measure.field.cuts.cut_lobes import oval_misfit
from measure.field.cuts.cut_sides import cut_at_sides
from measure.field.edges.edge import colour_length, slope
from measure.field.rims.rim_colour import coloured_pixels, whole_colour

_BODY_PX = 2.0  # half the width of a fringe of colour, or of a shaded edge of a coloured piece
_LEAST_COLOUR, _LEAST_OWN = 2.0, 6.0  # CIELAB, of the surroundings of a pixel and of the pixel itself
_TOLD_PX = 1.5  # sd of the surroundings in which colour is told: that of a pixel is noise and compression
_LEAST_GREY = 0.3  # of the smallest crystal: its sides and facets
_NO_COLOUR = 0.5  # CIELAB; a camera for colours always shows more somewhere
_LEAST_SIZE = 4.0  # size over the width of the edges, from which facets are seen
_SOLID = 0.93
_STRAIGHT = 0.45  # share of the outline in long straight sides; compression makes them bumpy
_OWN = 0.45  # of the strongest difference from the oil within reach of an edge
_PART = 0.8  # share of a see-through piece within a crystal, from which it is a part of it
_SHARE, _EXPLAINED = 0.15, 0.78  # share of a crystal in one see-through piece, and in all of these
_FREE = 0.9  # share of a crystal that no other has
_FOREIGN = 0.1  # share of a crystal that may be a coloured piece
_COLOURED = 0.22  # share of colour in all the light it takes and gives, from which it is none
_FILLED, _WELL_FILLED = 0.86, 0.92  # share of its hull that must be grey or closed in
_NOTCH_PX, _NOTCH = 2.0, 0.05  # half the width of a notch that is none, and the same over the size
_PARTS_OF = 3.0  # area over that of the largest crystal found without its pale sides, which was a facet
_BESIDE, _BEYOND = 0.7, 0.16  # share of its surroundings that is no oil, and that is grey and no glow
_CLEAR_OF_NOISE = 60  # percentile of what is seen of it that must reach the level a piece must reach
_SEEN = 0.6  # share of its border that must show a side; the rest lies against coloured pieces
_CORNER = 0.45  # what opening takes off a right corner, over its radius
_MARGIN_PX = 4  # round a part that is looked at, beside what is given back at its corners
_BLUNT, _DISC = 0.4, 0.02  # opening over the largest circle inside, and misfit of a disc left by it
_CONTACT, _FLATTEST = 0.2, 35  # length of a contact over the size, and percentile of its slopes
_RANGE = 0.35  # of lightness within it, over the strongest difference from the oil: facets or a clear middle
_BLACK = 0.6  # of the lightness of the oil, from which what is lost makes a place nearly black
_ALL_BLACK = 0.7  # share of a place so dark, from which it is no crystal


def grey_crystals(
    delta: np.ndarray,
    distance: np.ndarray,
    seed: float,
    low: np.ndarray,
    oil_lab: np.ndarray,
    width: float,
    least_px2: float,
    field: np.ndarray | None = None,
    steep: np.ndarray | None = None,
) -> np.ndarray:
    """Label the crystals among the colourless places of a component.

    Parameters
    ----------
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.
    distance : (M, N) ndarray of float32
        Noise-normalised distance from the oil.
    seed : float
        Distance a piece must reach.
    low : (M, N) ndarray of bool
        The component.
    oil_lab : (3,) ndarray
    width : float
        10-90 % width of an edge, px.
    least_px2 : float
        Smallest area reported.
    field, steep : (M, N) ndarray of float32, optional
        Length of the difference from the oil and its slope, where they are known.

    Returns
    -------
    labels : (M, N) ndarray of int32
        1.. for each crystal, its inside with it; 0 elsewhere.
    """
    labels = np.zeros(low.shape, np.int32)
    least = max(least_px2, (_LEAST_SIZE * width) ** 2)
    if np.count_nonzero(low) < _LEAST_GREY * least:
        return labels
    coloured = _coloured(delta, low, oil_lab)
    if not coloured.any() and float(np.abs(delta[..., 1:]).max()) < _NO_COLOUR:
        return labels  # all is grey there: crystals lack nothing
    bodies = _bodies(coloured, least_px2)
    fringe = dilated(bodies, _BODY_PX + 0.5 * width) if bodies.any() else bodies
    reach, glow = 0.5 * width + 1.5, 0.75 * width + 1.0
    field = colour_length(delta) if field is None else field
    # what is more than the glow of something stronger beside it
    own = (field > _OWN * cv2.dilate(field, disc(glow))).view(np.uint8)
    grey = low.view(np.uint8) & own & (1 - fringe)
    if cv2.countNonZero(grey) < _LEAST_GREY * least:
        return labels
    seen = fill_holes(closed(low.view(np.uint8), reach)) & (1 - fringe)
    steepest = cv2.dilate(slope(field) if steep is None else steep, disc(0.5 * width))
    # sides may be too pale beside dark facets to close it: then what the component closes in counts
    alone = grey & (1 - bodies)
    tried: list[list[_Crystal]] = []
    before = b""
    known: dict[bytes, bool] = {}

    def is_one(place: np.ndarray) -> bool:
        """Whether a place is a crystal; the same place comes again from other cuts and openings."""
        key = place.tobytes()
        if key not in known:
            known[key] = (
                _is_crystal(place, delta, bodies, oil_lab)
                and _clear_of_noise(place, alone, distance, seed)
                and _ends_at_sides(place, low.view(np.uint8), steepest, glow)
            )
        return known[key]

    for grown in (grey, grey | eroded(seen, glow)):
        whole = fill_holes(closed(grown, reach)) & (1 - bodies)
        if whole.tobytes() == before:
            tried.append(tried[0])
            break
        before = whole.tobytes()
        clear = _crystals(whole, seen | fringe, reach, least, is_one)
        tried.append(_standing(clear, low.view(np.uint8), alone, glow))
    largest = [max((crystal.area for crystal in some), default=0) for some in tried]
    return _numbered(tried[int(largest[1] > _PARTS_OF * largest[0])], labels)


def _coloured(delta: np.ndarray, low: np.ndarray, oil_lab: np.ndarray) -> np.ndarray:
    """Coloured pixels of a component, (M, N) uint8: by themselves, or where that may be noise, together."""
    coloured = np.zeros(low.shape, np.uint8)
    around = cv2.GaussianBlur(delta, (0, 0), _TOLD_PX)
    coloured[low] = coloured_pixels(around[low], oil_lab, _LEAST_COLOUR)
    coloured[low] |= coloured_pixels(delta[low], oil_lab, _LEAST_OWN)
    return coloured


def _bodies(coloured: np.ndarray, least_px2: float) -> np.ndarray:
    """Coloured pieces, (M, N) uint8: what is smaller than any reported is compression."""
    _, parts, stats = numbered(opened(coloured, _BODY_PX), 8)
    keep = stats[:, cv2.CC_STAT_AREA] >= least_px2
    keep[0] = False
    return keep[parts].view(np.uint8)


class _Crystal(NamedTuple):
    """A crystal found, (M, N) uint8, whether it needed no cut along sides, is well filled, and its area."""

    plain: bool
    filled: bool
    area: int
    mask: np.ndarray


def _crystals(
    whole: np.ndarray,
    known: np.ndarray,
    reach: float,
    least: float,
    is_one: Callable[[np.ndarray], bool],
) -> list[_Crystal]:
    """Crystals among the parts of grey places; hollows are notches but where something is known to be."""
    found = []
    for box, place, plain in _places(whole, known, reach, least):
        hull = hull_mask(place)
        area = cv2.countNonZero(hull)
        filled = cv2.countNonZero(place) / max(area, 1)
        if area < least or filled <= _FILLED or _is_notched(hull & (1 - (known[box] | place)), area):
            continue
        crystal = np.zeros(whole.shape, whole.dtype)
        crystal[box] = hull
        if is_one(crystal):
            found.append(_Crystal(plain, filled > _WELL_FILLED, area, crystal))
    return found


def _numbered(crystals: list[_Crystal], labels: np.ndarray) -> np.ndarray:
    """Number crystals in place, where no other is."""
    for crystal in crystals:
        labels[(crystal.mask > 0) & (labels == 0)] = labels.max() + 1
    return labels


def _standing(crystals: list[_Crystal], low: np.ndarray, grey: np.ndarray, glow: float) -> list[_Crystal]:
    """Crystals that stand by themselves or beside others that do, the plainest and largest first."""
    left = [some for some in crystals if _stands_out(some.mask, low, grey, glow)]
    left.sort(key=lambda some: some[:3], reverse=True)
    while left:
        chosen: list[int] = []
        cover = np.zeros(low.shape, np.uint8)
        for k, crystal in enumerate(left):
            if cv2.countNonZero(crystal.mask & (1 - cover)) > _FREE * crystal.area:
                cover |= crystal.mask
                chosen.append(k)
        rest = grey & (1 - dilated(cover, glow))
        going_on = [k for k in chosen if not _ends(left[k].mask, rest, glow)]
        if not going_on:
            return [left[k] for k in chosen]
        left = [crystal for k, crystal in enumerate(left) if k not in going_on]
    return []


def _stands_out(crystal: np.ndarray, low: np.ndarray, grey: np.ndarray, glow: float) -> bool:
    """Whether a crystal has oil about it and grey sides: gaps lie among pieces."""
    ring = _ring(crystal, glow)
    beside = cv2.countNonZero(ring & low) / max(cv2.countNonZero(ring), 1)
    border = crystal & (1 - eroded(crystal, 1.5))
    seen = cv2.countNonZero(border & dilated(grey, glow)) / max(cv2.countNonZero(border), 1)
    return beside < _BESIDE and seen > _SEEN


def _ends_at_sides(crystal: np.ndarray, low: np.ndarray, steep: np.ndarray, glow: float) -> bool:
    """Whether the outline is an edge where things touch it: most of it steeper than half of the inside."""
    touching = dilated(low & _ring(crystal, glow), glow + 1.5) & crystal & (1 - eroded(crystal, 1.5))
    inside = eroded(crystal, glow)
    if cv2.countNonZero(touching) < _CONTACT * np.sqrt(cv2.countNonZero(crystal)) or not inside.any():
        return True
    return percentile(steep[touching > 0], _FLATTEST) > median(steep[inside > 0])


def _ends(crystal: np.ndarray, rest: np.ndarray, glow: float) -> bool:
    """Whether no grey goes on beyond a crystal but that of other crystals: bubbles and threads go on."""
    ring = _ring(crystal, glow)
    around = max(cv2.countNonZero(ring), 1)
    return cv2.countNonZero(ring & rest) < _BEYOND * around


def _ring(crystal: np.ndarray, glow: float) -> np.ndarray:
    inner = dilated(crystal, glow)
    return dilated(inner, 1.5) & (1 - inner)


def _clear_of_noise(crystal: np.ndarray, grey: np.ndarray, distance: np.ndarray, seed: float) -> bool:
    """Whether the sides and facets of a crystal reach the level a piece must reach."""
    shown = distance[(crystal & grey) > 0]
    return bool(shown.size) and percentile(shown, _CLEAR_OF_NOISE) >= seed


def _places(
    whole: np.ndarray, known: np.ndarray, reach: float, least: float
) -> Iterator[tuple[tuple[slice, slice], np.ndarray, bool]]:
    """Places that may be a crystal each, without what is narrow, each in a crop.

    Yields rows and columns of the crop, the place, and whether no cut along sides made it.
    """
    for radius in (reach, 2.0 * reach, 3.0 * reach):
        _, parts, stats = numbered(opened(whole, radius), 4)
        for k in np.flatnonzero(stats[:, cv2.CC_STAT_AREA] >= least):
            box = even_box(stats[k, :4].tolist(), int(_CORNER * radius) + _MARGIN_PX)
            part = (parts[box] == k).view(np.uint8)
            cut = cut_by_shape(part, 0.5)
            some = [(cut == n).view(np.uint8) for n in range(1, int(cut.max()) + 1)] if cut.max() > 1 else []
            hull = hull_mask(part)
            missing = hull & (1 - (known[box] | part))
            several = radius == reach and _is_notched(missing, cv2.countNonZero(hull))
            sides = cut_at_sides(part, least, _SOLID) if several else []
            for n, place in enumerate((part, *some, *sides)):
                # opening has rounded the corners
                yield box, dilated(place, _CORNER * radius + 0.5) & whole[box], n <= len(some)


def _is_notched(missing: np.ndarray, area: int) -> bool:
    """Whether what a hull has more, (M, N) uint8, is a deep notch somewhere, as between two pieces."""
    deepest = cv2.distanceTransform(missing, cv2.DIST_L2, 5).max() if missing.any() else 0.0
    return bool(deepest > max(_NOTCH_PX, _NOTCH * np.sqrt(area)))


def _is_crystal(crystal: np.ndarray, delta: np.ndarray, bodies: np.ndarray, oil_lab: np.ndarray) -> bool:
    """Whether a place has the outline of a crystal, no colour, and facets or a clear middle."""
    if not _is_crystal_outline(crystal):
        return False
    if cv2.countNonZero(bodies & crystal) > _FOREIGN * cv2.countNonZero(crystal):
        return False
    inside = colours_at(delta, crystal > 0)
    if whole_colour(inside, oil_lab) > _COLOURED:
        return False
    tones = inside[:, 0]
    low, high = percentiles(tones, 10, 90)
    strongest = max(-low, high)
    if high - low <= _RANGE * strongest:
        return False
    if _is_black(tones, oil_lab):
        return False
    return not _is_round((np.abs(delta[..., 0]) > 0.5 * strongest).view(np.uint8) & crystal)


def _is_black(tones: np.ndarray, oil_lab: np.ndarray) -> bool:
    """Whether nearly all of a place is nearly black: a grain with where it shines, or with ground beside it.

    Parameters
    ----------
    tones : (P,) ndarray
        Difference in lightness from the oil.
    oil_lab : (3,) ndarray
    """
    black = np.count_nonzero(tones < -_BLACK * oil_lab[0])
    return bool(black > _ALL_BLACK * len(tones))


def _is_crystal_outline(place: np.ndarray) -> bool:
    return solidity(place) >= _SOLID and straight_sided(place, _STRAIGHT)


def _is_round(dark: np.ndarray) -> bool:
    """Whether what is darkest of a place, (M, N) uint8, is a disc: a bubble, with scraps beside it."""
    framed = fill_holes(cv2.copyMakeBorder(dark, 1, 1, 1, 1, cv2.BORDER_CONSTANT))
    inner = float(cv2.distanceTransform(framed, cv2.DIST_L2, 5).max())
    blunt = opened(framed, _BLUNT * inner)
    if not blunt.any():
        return False
    contours, _ = cv2.findContours(blunt, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return oval_misfit(max(contours, key=len)[:, 0].astype(np.float32)) < _DISC


def with_crystals(clear: np.ndarray, crystals: np.ndarray) -> np.ndarray:
    """See-through pieces with crystals, which take the place of what was found of them.

    Parameters
    ----------
    clear, crystals : (M, N) ndarray of int32
        1.. for each; 0 elsewhere.

    Returns
    -------
    labels : (M, N) ndarray of int32
        1.. for each, without gaps.
    """
    if not crystals.any():
        return clear
    labels = clear.copy()
    for n in range(1, int(crystals.max()) + 1):
        own = crystals == n
        area = np.count_nonzero(own)
        here = [k for k in np.unique(labels[own]).tolist() if k > 0]
        within = [
            k for k in here if np.count_nonzero(own & (labels == k)) > _PART * np.count_nonzero(labels == k)
        ]
        if np.count_nonzero(own & (labels > 0) & ~np.isin(labels, within)) > (1.0 - _FREE) * area:
            continue  # part of a larger one
        sizes = [np.count_nonzero(labels == k) for k in within]
        if sum(size for size in sizes if size > _SHARE * area) > _EXPLAINED * area:
            continue  # found already, or crystals side by side
        labels[np.isin(labels, within)] = 0
        labels[own & (labels == 0)] = labels.max() + 1
    number = np.cumsum(np.bincount(labels.ravel()) > 0) - 1
    return number[labels].astype(np.int32)
