"""Lenses: areas of a cluster where two pieces lie over one another, known by their densities adding up."""

from itertools import combinations

import cv2
import numpy as np

from measure.field.basics.quick import colours_at, norm, weighted_colour
from measure.field.cuts.cut import cut_by_shape
from measure.field.overlaps.tone_areas import Areas
from measure.field.rims.rims import dilated, solidity

_MISFIT = 0.3  # of the fainter piece's density, up to which two densities add up to a third
_SEEN = (0.6, 1.6)  # share of a piece's density with which it must show through the other
_STRONG_SHARE = 0.4  # the same of the lens's own density, where one piece is much stronger
_LENS_SHARE = (0.03, 1.5)  # area of a lens over that of the smaller piece seen alone
_LEAST_PX = 9  # smallest area of a lens
_LEAST_HALF_WIDTH_PX = 1.6
_LEAST_SEAM_PX = 3  # border a lens must share with each of its two pieces
_LESS_FULL = 0.12  # most by which the lens may make a piece less solid, at perfect fit
_OIL_SHARE = 0.25  # of a lens's border that may meet the oil
_SIDE_SHARE = 0.12  # of its border that must meet each of the two pieces
_REST_SHARE = 0.8  # the same once the lenses are known
_ROUND_SHARE = 0.75  # of a lens's border that meets one area, when the two pieces are not told apart
_OPAQUE = 1.4  # natural density from which a piece hides what is under it
_REACH_PX = (4.0, 12.0)  # least and largest surroundings of a lens's end
_NOTCH = 0.47  # share of oil around the ends of a lens; half along a straight edge, less in a notch
_BESIDE_PX = 9  # reach from a lens within which the densities of its pieces are read
_LEAST_BESIDE_PX2 = 12
_SURE = 0.18  # misfit up to which a lens whose ends are ill seen is asked nothing more
_NOTCH_ILL_SEEN = 0.54
_LESS_FULL_ILL_SEEN = 2.0  # times `_LESS_FULL`
_LEAST_BASE_HALF_WIDTH_PX = 2.5
_FREE = 0.04  # share of the border of each of the two pieces that must meet the oil or the frame


def overlapping(areas: Areas, lenses: dict[int, tuple[int, int]]) -> list[tuple[np.ndarray, np.ndarray]]:
    """Pieces that lie over or under another: mask with the lens, and mask of the part seen alone."""
    owners: dict[int, list[int]] = {}
    for lens, pair in lenses.items():
        for base in pair:
            owners.setdefault(base, []).append(lens)
    pieces = []
    for base, own in owners.items():
        alone = areas.labels == base
        whole = np.isin(areas.labels, [base, *own]).astype(np.uint8)
        pieces.append((cv2.morphologyEx(whole, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8)), alone))
    return pieces


def settled(areas: Areas) -> tuple[Areas, dict[int, tuple[int, int]], dict[int, float]]:
    """Lenses of a division after the rest of it has grown together to whole pieces, and the worth of each."""
    areas = _split_at_lenses(areas)
    lenses = _lenses(areas)
    if not lenses:
        return areas, {}, {}
    whole = areas.coarser(_REST_SHARE, frozenset(lenses), tuple(lenses.values()))
    settled = _lenses(whole)
    worth = {}
    for lens, (a, b) in settled.items():
        tones = _tones_beside(whole, lens, [a, b])
        off = _best_misfit(whole, tones, lens, a, b)
        worth[lens] = float(np.sqrt(whole.size[lens]) * (1.0 - off / _MISFIT))
    return whole, settled, worth


def _best_misfit(areas: Areas, tones: dict[int, np.ndarray], lens: int, a: int, b: int) -> float:
    """Misfit with the pieces' densities beside the lens or all over, whichever fits."""
    tone = areas.tone
    return min(misfit(tone[lens], tones[a], tones[b]), misfit(tone[lens], tone[a], tone[b]))


def _tones_beside(areas: Areas, lens: int, near: list[int]) -> dict[int, np.ndarray]:
    """Densities of areas where they lie beside a lens, for a piece is rarely of one density all over."""
    box = areas.crop(lens, _BESIDE_PX + 2)
    labels = areas.labels[box]
    beside = dilated((labels == lens).astype(np.uint8), _BESIDE_PX) > 0
    weight = 1.0 / (areas.steep[box] + 0.003) ** 2
    tones = {}
    for n in near:
        here = beside & (labels == n)
        tones[n] = areas.tone[n]
        if here.sum() >= _LEAST_BESIDE_PX2:
            tones[n] = weighted_colour(colours_at(areas.density[box], here), weight[here])
    return tones


def _split_at_lenses(areas: Areas) -> Areas:
    """Cut areas of twice whose tone there is a lens inside: two like pieces that meet at its ends."""
    double = set()
    for lens in range(2, len(areas.size)):
        border = areas.seam[lens]
        most = max(border, key=border.__getitem__)
        if most == 1 or areas.size[lens] < _LEAST_PX or border[most] < _ROUND_SHARE * sum(border.values()):
            continue
        if misfit(areas.tone[lens], areas.tone[most], areas.tone[most]) < _MISFIT:
            double.add(most)
    if not double:
        return areas
    labels, used = areas.labels.copy(), int(areas.labels.max())
    for base in double:
        cut = cut_by_shape((labels == base).astype(np.uint8), 0.5)
        labels[cut > 1] = cut[cut > 1] + used - 1
        used += max(0, int(cut.max()) - 1)
    return areas.relabelled(labels) if used > int(areas.labels.max()) else areas


def _lenses(areas: Areas) -> dict[int, tuple[int, int]]:
    """Areas that are the overlap of two neighbours, best fit first."""
    lenses: dict[int, tuple[int, int]] = {}
    bases: set[int] = set()
    for off, lens, a, b in sorted(_candidates(areas)):
        if lens in lenses or lens in bases or a in lenses or b in lenses:
            continue
        if _crosses(areas, lens, (a, b), off, ill_seen=True):
            lenses[lens] = (a, b)
            bases |= {a, b}
    return lenses


def well_seen(areas: Areas, lens: int, pair: tuple[int, int]) -> bool:
    """Whether both ends of a lens lie in clear notches, or need not: its density is so nearly the sum.

    Parameters
    ----------
    areas : Areas
    lens : int
    pair : (int, int)
        Its two pieces.
    """
    off = _best_misfit(areas, _tones_beside(areas, lens, list(pair)), lens, *pair)
    return _crosses(areas, lens, pair, off, ill_seen=off < _SURE)


def _crosses(areas: Areas, lens: int, pair: tuple[int, int], off: float, ill_seen: bool) -> bool:
    """Whether the outlines of two pieces cross at the ends of a lens, and both are as full with it."""
    allowed = (_LESS_FULL_ILL_SEEN if ill_seen else 1.0) * _LESS_FULL * (1.0 - off / _MISFIT)
    return _ends_in_notches(areas, lens, *pair, ill_seen) and all(
        _completes(areas, lens, base, allowed) for base in pair
    )


def _candidates(areas: Areas) -> list[tuple[float, int, int, int]]:
    """Misfit, lens and the two neighbours whose densities add up to that of the lens."""
    candidates = []
    for lens in range(2, len(areas.size)):
        near = _possible_bases(areas, lens)
        tones = _tones_beside(areas, lens, near) if len(near) > 1 else {}
        for a, b in combinations(near, 2):
            share = areas.size[lens] / min(areas.size[a], areas.size[b])
            off = _best_misfit(areas, tones, lens, a, b)
            if off < _MISFIT and _LENS_SHARE[0] < share < _LENS_SHARE[1]:
                candidates.append((off, lens, a, b))
    return candidates


def _possible_bases(areas: Areas, lens: int) -> list[int]:
    """Neighbours that may lie over one another in a lens; none when it is no lens."""
    border = areas.seam[lens]
    total = sum(border.values())
    if areas.size[lens] < _LEAST_PX or border.get(1, 0) > _OIL_SHARE * total:
        return []
    near = [n for n in areas.beside(lens, _LEAST_SEAM_PX) if n > 1 and border[n] >= _SIDE_SHARE * total]
    # the thickness is the dearest, so it comes last
    if len(near) < 2 or areas.half_width(lens) < _LEAST_HALF_WIDTH_PX:
        return []
    return [n for n in near if _thick(areas, n)]


def _thick(areas: Areas, base: int) -> bool:
    """Whether an area can be a piece seen alone: thick, see-through, and with an edge against the oil."""
    border = areas.seam[base]
    if border.get(0, 0) + border.get(1, 0) < _FREE * sum(border.values()):
        return False  # a patch inside a piece
    return float(areas.tone[base].mean()) < _OPAQUE and areas.half_width(base) >= _LEAST_BASE_HALF_WIDTH_PX


def _ends_in_notches(areas: Areas, lens: int, a: int, b: int, ill_seen: bool) -> bool:
    """Whether the outlines of two pieces cross at both ends of a lens, which leaves notches there."""
    reach = float(np.clip(0.35 * min(areas.half_width(a), areas.half_width(b)), *_REACH_PX))
    m = int(np.ceil(reach)) + 4
    # beyond the frame there may be anything
    labels = cv2.copyMakeBorder(areas.labels, 2, 2, 2, 2, cv2.BORDER_CONSTANT, value=0)
    rows, cols = areas.crop(lens, m)
    labels = labels[rows.start : rows.stop + 4, cols.start : cols.stop + 4]
    own = (labels == lens).astype(np.uint8)
    beyond = (dilated(own, 4.5 if ill_seen else 2.6) > 0) & ~np.isin(labels, [lens, a, b])
    count, parts, _, centres = cv2.connectedComponentsWithStats(beyond.astype(np.uint8), connectivity=8)
    if count < 3 - ill_seen:
        return False
    shares = []
    yy, xx = np.nonzero(own)
    down, across = np.indices(labels.shape)
    for k in range(1, count):
        if not (labels[parts == k] == 1).all():
            continue
        x, y = centres[k]
        nearest = int(np.argmin((xx - x) ** 2 + (yy - y) ** 2))
        around = (down - yy[nearest]) ** 2 + (across - xx[nearest]) ** 2 <= reach**2
        shares.append(float((labels[around] == 1).mean()))
    return not shares or float(np.mean(sorted(shares)[:2])) < (_NOTCH_ILL_SEEN if ill_seen else _NOTCH)


def misfit(lens: np.ndarray, a: np.ndarray, b: np.ndarray) -> float:
    """How far three densities are from adding up; infinite when one is not seen through the other."""
    faint, strong = sorted((a, b), key=lambda tone: norm(tone))
    for own, other in ((faint, strong), (strong, faint)):
        part = float((lens - other) @ own) / max(float(own @ own), 1e-9)
        if not _SEEN[0] < part < _SEEN[1]:
            return np.inf
    scale = max(norm(faint), _STRONG_SHARE * norm(lens), 1e-3)
    return norm(lens - a - b) / scale


def _completes(areas: Areas, lens: int, base: int, allowed: float) -> bool:
    """Whether a piece is at least as full with the lens as without it."""
    (r0, c0), (r1, c1) = areas.crop(lens), areas.crop(base)
    box = tuple(slice(min(p.start, q.start), max(p.stop, q.stop)) for p, q in ((r0, r1), (c0, c1)))
    alone = (areas.labels[box] == base).astype(np.uint8)
    whole = alone | (areas.labels[box] == lens)
    return solidity(whole) >= solidity(alone) - allowed
