"""Neighbours that were cut apart though they are one piece, put together by all that is seen of their border.

The steps that take a component apart each know one reason to cut: a neck, two ovals, a line, a tone. A torn
skin, a bent kernel or one with spots gives each of them such a reason now and then. Here every border is
judged once more by all that is seen of it (`border_traits`), whichever step made it. A border that may be
taken either way raises the doubt of its pieces.
"""

from math import prod

import cv2
import numpy as np
import shapely
from shapely import Polygon

from measure.field.basics.found import Found
from measure.field.basics.masks import drawn
from measure.field.basics.polygons import largest, outline_of, polygon_of
from measure.field.basics.zoom import zoom_of, zoomed
from measure.field.cuts.neck_evidence import crowd
from measure.field.cuts.step_seams import step_between
from measure.field.edges.edge import SMOOTHING_SIGMA_PX
from measure.field.ground.light import Light
from measure.field.whole_field.border_traits import TRAITS, traits_of
from measure.field.whole_field.two_tones import only_one_coloured, tones
from measure.flags import bits

# Evidence for a border: weights of traits and of products of two. Logistic regression on 3,089 borders of
# five drawing hands, of real pieces on real grounds and of blood films (`tests/benchmarks/fit_borders.py`).
# Below the limit lie 241 of 553 borders across one piece and 32 of 1,397 true ones, on fields left out, and
# 356 of 713 and 77 of 805 of smears on seeds left out (with the weights before: 238 and 27; 274 and 90).
_BASE = -7.46
_WEIGHTS = {
    "blunter end": -0.888,
    "hollow left": 2.81,
    "fuller side": -1.39,
    "better oval": -1.68,
    "one oval": 1.28,
    "texture": 0.24,
    "palest of the line": -12.7,
    "size": 2.89,
    "step * texture": -0.255,
    "palest of the line * texture": -7.66,
    "colour * size": 0.0772,
    "relative neck * size": -0.598,
    "shallower notch * size": 0.152,
    "hollow left * alone": -4.06,
    "dip * step": -2.36,
    "step elsewhere * texture": -0.35,
    "hue * step": -0.419,
    "thinner side": -0.196,
}
KEPT = tuple(_WEIGHTS)
SEEN = (*TRAITS, "alone")
_FACTORS = [term.split(" * ") for term in KEPT]
_LIMIT = -0.8  # evidence below which two are one
_UNSURE = 1.0  # evidence on either side of that, within which the pieces are doubtful
_STRONGER, _WEAKER = 10.0, 4.0  # evidence a whole step of cut strength saves, or asks more
_GAP_PX = 1.6  # bridged between two sides, each of which ends half way to the ground
_IN_ONE = 0.98  # share of both that must hang together once the gap is bridged
_MARGIN_PX = 4
# share of their hull that pieces which stand alone fill, where a field shows too few of them, and its bounds
_FEW_ALONE, _USUAL_SOLID, _SOLID = 5, 0.92, (0.8, 0.97)
_ROUND = 0.75  # circularity from which a piece is compact
_OTHERWISE = bits("rim_only", "overlap", "shade", "thread")


def joined_again(found: Found, light: Light, cut_strength: float) -> Found:
    """Join neighbours between which too little speaks for a border.

    Parameters
    ----------
    found : Found
        K pieces.
    light : Light
    cut_strength : float
        0..1; the more, the less evidence a border needs.

    Returns
    -------
    Found
        At most K pieces, joined ones last.
    """
    slack = cut_strength - 0.5
    limit = _LIMIT - slack * (_STRONGER if slack > 0 else _WEAKER)
    pieces = _Pieces(found, light)
    while pieces.evidence:
        pair = min(pieces.evidence, key=lambda pair: (pieces.evidence[pair], pair))
        least = pieces.evidence.pop(pair)
        if least >= limit + _UNSURE:
            break
        if least >= limit:
            pieces.doubtful.update(pair)
        else:
            pieces.join(*pair, doubtful=least > limit - _UNSURE)
    return pieces.found()


def borders_of(found: Found) -> list[tuple[int, int]]:
    """Rows of each two pieces that touch and may have been cut apart, the smaller one first."""
    rows = np.flatnonzero(found.flags & _OTHERWISE == 0)
    shapes = [polygon_of(found.outlines[i]) for i in rows]
    if len(shapes) < 2:
        return []
    one, other = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=2 * _GAP_PX)
    pairs = np.sort(np.stack([rows[one], rows[other]], axis=1)[one < other], axis=1)
    return sorted((int(i), int(j)) for i, j in pairs)


def solid_alone(found: Found, pairs: list[tuple[int, int]]) -> float:
    """Share of their hull that larger pieces fill which touch no other; less where all of a field are ragged.

    Parameters
    ----------
    found : Found
    pairs : list of (int, int)
        Rows of those that touch.
    """
    known = {row for pair in pairs for row in pair} | set(np.flatnonzero(found.flags & _OTHERWISE).tolist())
    shapes = [polygon_of(outline) for k, outline in enumerate(found.outlines) if k not in known]
    if len(shapes) < _FEW_ALONE:
        return _USUAL_SOLID
    areas = shapely.area(shapes)
    solid = areas / np.maximum(shapely.area(shapely.convex_hull(shapes)), 1e-6)
    return float(np.clip(np.median(solid[areas >= np.median(areas)]), *_SOLID))


def seen_traits(outlines: list[np.ndarray], light: Light, alone: float) -> np.ndarray | None:
    """Traits of the border between two neighbours, as `SEEN` lists them; None where that is not told.

    Parameters
    ----------
    outlines : list of (P, 2) ndarray
        Both, px.
    light : Light
    alone : float
        How full pieces of the field are that stand alone (`solid_alone`).
    """
    delta, own = _crop(outlines, light, zoom_of(outlines, 0.0))
    traits = traits_of(own[0], own[1], delta)
    return None if traits is None else np.append(traits, alone)


def _crop(outlines: list[np.ndarray], light: Light, zoom: int) -> tuple[np.ndarray, list[np.ndarray]]:
    """Difference from the oil about some pieces, so many times larger, and their outlines there."""
    low = np.maximum(np.min([o.min(axis=0) for o in outlines], axis=0).astype(int) - _MARGIN_PX, 0)
    x1, y1 = np.max([o.max(axis=0) for o in outlines], axis=0).astype(int) + _MARGIN_PX
    crop = zoomed(light.delta[low[1] : y1, low[0] : x1], zoom)
    return crop, [(outline - low) * np.float32(zoom) for outline in outlines]


def terms_of(traits: np.ndarray) -> np.ndarray:
    """What the weights stand before: traits, and products of those whose names are joined by a star."""
    seen = dict(zip(SEEN, traits.tolist(), strict=True))
    return np.array([prod(seen[name] for name in names) for names in _FACTORS])


def evidence_of(traits: np.ndarray) -> float:
    """How much speaks for a border with these traits."""
    return float(_BASE + terms_of(traits) @ list(_WEIGHTS.values()))


class _Pieces:
    """Pieces that are being joined, each with the rows it is made of; a new one has the next number."""

    def __init__(self, found: Found, light: Light) -> None:
        self._found, self._light = found, light
        self._outlines = dict(enumerate(found.outlines))
        self._rows = {k: [k] for k in self._outlines}
        self._next = len(self._outlines)
        self.doubtful: set[int] = set()
        self.evidence: dict[tuple[int, int], float] = {}
        pairs = borders_of(found)
        self._alone = solid_alone(found, pairs) if pairs else _USUAL_SOLID
        self._compact = _compact_beside(found, pairs)
        for pair in pairs:
            self._judge(pair)

    def _judge(self, pair: tuple[int, int]) -> None:
        """Note how much speaks for the border between two pieces, where that is told."""
        traits = seen_traits([self._outlines[k] for k in pair], self._light, self._alone)
        if traits is not None:
            near = set().union(*(self._compact[row] for k in pair for row in self._rows[k]))
            self.evidence[pair] = evidence_of(traits) + crowd(len(near))

    def join(self, one: int, other: int, doubtful: bool) -> None:
        """Make two pieces one, unless they are plainly two."""
        both = [self._outlines[k] for k in (one, other)]
        whole = _whole([polygon_of(outline) for outline in both], _GAP_PX / zoom_of(both, 1.0))
        if whole is None or _plainly_two(both, self._light):
            return
        new, self._next = self._next, self._next + 1
        self._outlines[new] = outline_of(whole)
        self._rows[new] = self._rows[one] + self._rows[other]
        beside = {k for pair in self.evidence if {*pair} & {one, other} for k in pair} - {one, other}
        self.evidence = {pair: value for pair, value in self.evidence.items() if not {*pair} & {one, other}}
        for k in (one, other):
            doubtful |= k in self.doubtful
            del self._outlines[k], self._rows[k]
        for k in sorted(beside):
            self._judge((k, new))
        self.doubtful |= {new} if doubtful else set()

    def found(self) -> Found:
        """The pieces that are left."""
        found, numbers = self._found, list(self._outlines)
        if len(numbers) == len(found.outlines) and not self.doubtful:
            return found
        rows = [self._rows[k][0] for k in numbers]
        parent = np.array([found.parent[self._rows[k]].max() for k in numbers])
        flags = found.flags[rows].copy()
        flags[[k in self.doubtful for k in numbers]] |= bits("one_or_two")
        # what is left alone of a cluster was cut from nothing
        alone = (np.bincount(parent)[parent] == 1) & (np.bincount(found.parent)[parent] > 1) & (parent > 0)
        flags[alone] &= ~bits("touching")
        origin = np.where(alone, 0, found.origin[rows]).astype(np.int8)
        outlines = list(self._outlines.values())
        return Found(outlines, np.where(alone, 0, parent).astype(np.int32), flags, origin)


def _compact(outline: np.ndarray) -> bool:
    """Whether an outline is hardly longer than a circle about as much."""
    shape = polygon_of(outline)
    return bool(4 * np.pi * shape.area > _ROUND * shape.length**2)


def _compact_beside(found: Found, pairs: list[tuple[int, int]]) -> dict[int, set[int]]:
    """Compact pieces among each one, its neighbours and theirs."""
    beside: dict[int, set[int]] = {}
    for one, other in pairs:
        beside.setdefault(one, {one}).add(other)
        beside.setdefault(other, {other}).add(one)
    compact = {k for k in beside if _compact(found.outlines[k])}
    return {k: set().union(*(beside[n] for n in near)) & compact for k, near in beside.items()}


def _plainly_two(outlines: list[np.ndarray], light: Light) -> bool:
    """Whether two neighbours are of two materials, or the edge of one is seen all along their border.

    An edge beside a large piece is as soft as that piece's, and may be seen in the picture as it is alone.
    """
    one, other = tones(outlines, light)
    if only_one_coloured(one, other, light):
        return True
    return any(_stepped(outlines, light, zoom) for zoom in {zoom_of(outlines, 0.0), zoom_of(outlines, 1.0)})


def _stepped(outlines: list[np.ndarray], light: Light, zoom: int) -> bool:
    delta, own = _crop(outlines, light, zoom)
    masks = [drawn(outline, delta.shape[:2]) for outline in own]
    return step_between(masks[0], masks[1], cv2.GaussianBlur(delta, (0, 0), SMOOTHING_SIGMA_PX))


def _whole(shapes: list[Polygon], gap_px: float) -> Polygon | None:
    """Two shapes as one, or None where they do not hang together."""
    bridged = shapely.union_all([shape.buffer(gap_px) for shape in shapes]).buffer(-gap_px)
    whole = largest(bridged)
    return None if whole.is_empty or whole.area < _IN_ONE * bridged.area else whole
