"""See-through pieces whose rim has gaps, made whole: bits joined, missing corners and sides put back.

A see-through piece with a broken rim is a hook, a bracket or some bars. It is convex, so its hull closes the
gaps; and where its rim runs in straight lines it is a crystal, whose missing corner lies where its sides
meet, and whose missing side runs parallel to the one opposite (cubic crystals cleave into boxes). What is put
back is an estimate: the piece is flagged ``broken_rim`` and its size is less certain.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations

import cv2
import numpy as np
import shapely

from measure.field.basics.found import Found
from measure.field.basics.polygons import largest, outline_of, polygons_of, traced_finely
from measure.field.basics.quick import colours_at, norm, percentile
from measure.field.edges.edge import SMOOTHING_SIGMA_PX, colour_length
from measure.field.edges.features import oil_at
from measure.field.edges.rim_place import placed_rims
from measure.field.edges.settle import blur_of_bodies
from measure.field.ground.light import Light
from measure.field.rims.rim_bits import HOLLOW, drawn_in, is_hook, is_thick, is_thin, may_be_bit
from measure.field.rims.rim_sides import completed
from measure.field.rims.rims import dilated
from measure.flags import bits

_FULL = 0.975  # share of the completed outline from which a piece was whole already
_MOST_ADDED = 1.1  # of the hull, by corners and sides put back
_COLOURED = 0.5  # share of colour in a rim's difference from the oil: it bends light, it colours little
_GREY = 0.15  # the same of a hook with thick corners, which a dark kernel with a bay may look like
_ALIKE = 0.4  # strength of the weaker bit of a rim over that of the stronger
_FAINT = 0.45  # of the rim's height: less is oil
_OIL_INSIDE = 0.6  # share of the inside of a joined rim that must be oil
_ACROSS = 0.12  # share of the rim that may run through the inside of a joined one
_SEEN = 0.55  # share of a joined outline that must show a rim
_LEAST_SEEN = 0.42  # of any completed outline
_NARROW = 0.38  # width over length of a hull, below which it may be that of a bent fibre
_ALONG = 0.75  # share of a bit that runs along the border of its hull
_MORE_SEEN = 0.05
_CLOSED = 0.85  # the same from which a piece is no bit of another
_BAY = 0.65  # share of the edge of a bay that shows a rim, from which it is a bay
_BAY_ALONE = 0.79  # the same with nothing beside it: then it is mostly a gap of the rim
_GAP_SHARE = 0.08  # share of a piece that was put back, from which its rim had gaps
_BESIDE_PX = 4.0  # a bay beside another piece may be the notch between two
_FOREIGN = 0.3  # share of another piece that may be taken in
_BIT = 0.08  # share of a piece, below which another is a bit of its rim
_NEAR = 0.8  # gap between bits over the size of the larger
_MARGIN_PX = 10
_MOST_PX = 600_000
_NEIGHBOURS = 4
_AS_THIN, _LENGTHS = 1.5, 2.5  # width of a line over that of the bit it was cut from, and its length over it
_STRAIGHT_ON = 0.85  # cosine of the bend where a line goes on
_CUT_PX, _BEYOND = 2.5, 0.6  # gap left by a cut; share of a line that goes on outside


@dataclass(frozen=True)
class _Rim:
    """A completed rim: rows it is made of, its outline, how much of that outline shows a rim, gaps."""

    rows: tuple[int, ...]
    shape: shapely.Polygon
    seen: float
    broken: bool


def complete_rims(found: Found, light: Light, least_px2: float) -> Found:
    """Complete the outlines of see-through pieces whose rims have gaps.

    Parameters
    ----------
    found : Found
        K pieces.
    light : Light
    least_px2 : float
        Smallest area reported.

    Returns
    -------
    Found
        At most K pieces; completed ones flagged ``rim_only`` and ``broken_rim``, last.
    """
    if not found.outlines:
        return found
    shapes = polygons_of(found.outlines)
    tree = shapely.STRtree(shapes)
    rims: dict[int, _Window] = {}
    for i in range(len(shapes)):
        filled = bool(found.flags[i] & bits("rim_only"))
        if shapes[i].area >= 0.3 * least_px2 and (filled or may_be_bit(shapes[i])):
            if not filled and is_thick(shapes[i], light.solid_distance.shape):
                continue
            window = _Window(light, shapes, i)
            if not window.usable:
                continue
            window.open = window.is_line() or (filled and not window.is_closed(shapes[i]))
            if filled or window.open:
                rims[i] = window
    made = _chosen(rims, shapes, tree)
    joined = {row for rim in made for row in rim.rows}
    # where a rim was whole its outline is only moved to where its edge is
    made += [
        _Rim((i,), shapes[i], 1.0, rims[i].open)
        for i in rims
        if i not in joined and found.flags[i] & bits("rim_only")
    ]
    widths = [rims[rim.rows[0]].half_width for rim in made]
    bodies = blur_of_bodies(found, light) if made else np.zeros(0)
    placed = placed_rims([rim.shape for rim in made], widths, light, bodies)
    return _replaced(found, list(zip(made, placed, strict=True)))


def _replaced(found: Found, made: list[tuple[_Rim, shapely.Polygon]]) -> Found:
    """The pieces with some of them replaced; those not only moved are flagged."""
    gone = np.zeros(len(found.outlines), bool)
    gone[[row for rim, _ in made for row in rim.rows]] = True
    kept = np.flatnonzero(~gone)
    first = [rim.rows[0] for rim, _ in made]
    flags = [
        int(np.bitwise_or.reduce(found.flags[list(rim.rows)]))
        | bits("rim_only")
        | (bits("broken_rim") if rim.broken else 0)
        for rim, _ in made
    ]
    return replace(
        found,
        outlines=[found.outlines[i] for i in kept] + [outline_of(shape) for _, shape in made],
        parent=np.concatenate([found.parent[kept], found.parent[first]]).astype(np.int32),
        flags=np.concatenate([found.flags[kept], flags]).astype(np.int32),
        origin=np.concatenate([found.origin[kept], found.origin[first]]).astype(np.int8),
    )


class _Window:
    """The picture around one piece that may be a rim."""

    def __init__(self, light: Light, shapes: list[shapely.Polygon], row: int) -> None:
        self.row, self.light, self.open = row, light, False
        self._alone: tuple[shapely.Polygon, float] | None = None
        shape = shapes[row]
        reach = _MARGIN_PX + 1.2 * max(np.ptp(np.asarray(shape.envelope.exterior.coords), axis=0))
        x0, y0, x1, y1 = shape.bounds
        rows, cols = light.solid_distance.shape
        left, top = max(0, int(x0 - reach)), max(0, int(y0 - reach))
        self.box = np.s_[top : min(rows, int(y1 + reach) + 1), left : min(cols, int(x1 + reach) + 1)]
        self.corner = np.array([left, top], float)
        size = (self.box[0].stop - top) * (self.box[1].stop - left)
        self.usable = 0 < size <= _MOST_PX
        if not self.usable:
            return
        delta = cv2.GaussianBlur(light.delta[self.box], (0, 0), SMOOTHING_SIGMA_PX)
        self.field = colour_length(delta)
        self.mask = self.drawn(shape)
        # the window is many times larger than the piece
        own = _about(self.mask)
        mask, field = self.mask[own], self.field[own]
        depth = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
        band = field[(mask > 0) & (depth <= 3.5)]
        self.height = percentile(band, 80) if band.size else 0.0
        rim = ((field >= 0.5 * self.height) & (mask > 0)).view(np.uint8)
        self.usable = self.height > 0 and bool(rim.any())
        if not self.usable:
            return
        inside = cv2.distanceTransform(rim, cv2.DIST_L2, 3)
        self.half_width = percentile(inside[rim > 0], 90)
        # to lose or gain light without colour is to move along the oil's own colour, in CIELAB
        grey = oil_at(light, *self.corner[:, None] + 0.5 * reach)[0] + np.array([16.0, 0.0, 0.0])
        step = colours_at(delta[own], rim > 0).mean(axis=0)
        beside = step - (step @ grey) / (grey @ grey) * grey
        self.colour = float(np.linalg.norm(beside) / max(norm(step), 1e-6))

    def drawn(self, shape: shapely.Polygon) -> np.ndarray:
        """Mask of a polygon in the window."""
        return drawn_in(shape, self.corner, self.field.shape)

    def is_line(self) -> bool:
        """Whether the piece is a thin neutral line, as a bit of a rim is."""
        own = self.mask[_about(self.mask)]
        # tissue that bends light shows grey hooks too
        grey = self.colour < _GREY and self.light.scatter is None
        return self.colour < _COLOURED and (is_thin(own) or (grey and is_hook(own)))

    def completed(
        self, shapes: list[shapely.Polygon], hull: shapely.Polygon
    ) -> tuple[shapely.Polygon, float]:
        """Return `completed` of some bits with a common hull; of a single one it is kept."""
        if len(shapes) == 1 and self._alone is not None:
            return self._alone
        outline = np.concatenate([traced_finely(shape, 1.0) for shape in shapes])
        whole = completed(self.field, hull, outline, self.corner, self.height, self.half_width)
        self._alone = whole if len(shapes) == 1 else self._alone
        return whole

    def is_closed(self, shape: shapely.Polygon) -> bool:
        """Whether a rim shows nearly all round the piece."""
        return self.completed([shape], shape.convex_hull)[1] > _CLOSED

    def is_full(self, shape: shapely.Polygon) -> bool:
        """Whether the outline the piece has by itself, if that is known, surely adds next to nothing."""
        return self._alone is not None and shape.area > 1.001 * _FULL * self._alone[0].area

    def like(self, other: "_Window") -> bool:
        """Whether two pieces may be bits of one rim."""
        both = sorted((self.height, other.height))
        return max(self.colour, other.colour) < _COLOURED and both[0] > _ALIKE * both[1]

    def is_empty(self, shape: shapely.Polygon) -> bool:
        """Whether the inside of a joined rim is oil, with no rim running through it."""
        whole = self.drawn(shape)
        own = _about(whole)
        whole, field = whole[own], self.field[own]
        depth = cv2.distanceTransform(whole, cv2.DIST_L2, 5)
        rim = field >= 0.5 * self.height
        inner = depth > 2.2 * self.half_width + 2.0
        if not inner.any():
            inner = depth > 0.6 * depth.max()
        across = float((rim & inner).sum()) / max(float((rim & (whole > 0)).sum()), 1.0)
        return across < _ACROSS and float((field[inner] < _FAINT * self.height).mean()) >= _OIL_INSIDE


def _about(mask: np.ndarray) -> tuple[slice, slice]:
    """Rows and columns of a mask with a margin, so that distances in it are those in the whole."""
    x, y, w, h = cv2.boundingRect(mask)
    return np.s_[max(0, y - 1) : y + h + 1, max(0, x - 1) : x + w + 1]


def _chosen(rims: dict[int, _Window], shapes: list[shapely.Polygon], tree: shapely.STRtree) -> list[_Rim]:
    """Completed rims, best seen first, each row in one of them at most."""
    best: dict[tuple[int, ...], _Rim] = {}
    for rim in _candidates(rims, shapes, tree):
        key = tuple(sorted(rim.rows))
        if key not in best or rim.seen > best[key].seen:
            best[key] = rim
    used: set[int] = set()
    chosen = []
    for rim in sorted(best.values(), key=lambda r: -r.seen - _MORE_SEEN * (len(r.rows) > 1)):
        if used & set(rim.rows):
            continue
        used |= set(rim.rows)
        own = shapely.unary_union([shapes[j] for j in rim.rows])
        if len(rim.rows) > 1 or own.area < _FULL * rim.shape.area:
            chosen.append(rim)
    return chosen


def _candidates(
    rims: dict[int, _Window], shapes: list[shapely.Polygon], tree: shapely.STRtree
) -> Iterator[_Rim]:
    """Each rim completed by itself, and with one or two of the bits near it."""
    near = {i: _near(i, rims, shapes, tree) if window.open else [] for i, window in rims.items()}
    joining = {j for others in near.values() for j in others}
    for i, window in rims.items():
        # a closed rim that no other may join is as it was found, if it is full
        left = not window.open and i not in joining and window.is_full(shapes[i])
        alone = None if left else _completed(window, shapes, (i,), tree)
        if alone is not None:
            yield alone
        for others in (*combinations(near[i], 1), *combinations(near[i], 2)):
            rim = _completed(window, shapes, (i, *others), tree)
            if rim is not None:
                yield rim


def _near(
    i: int, rims: dict[int, _Window], shapes: list[shapely.Polygon], tree: shapely.STRtree
) -> list[int]:
    """The nearest bits that may be of the same rim."""
    reach = _NEAR * np.sqrt(shapes[i].convex_hull.area)
    near = [j for j in tree.query(shapes[i].buffer(reach)).tolist() if j in rims and j != i]
    near = [j for j in near if rims[j].like(rims[i])]
    return sorted(near, key=lambda j: shapes[i].distance(shapes[j]))[:_NEIGHBOURS]


def _completed(
    window: "_Window", shapes: list[shapely.Polygon], rows: tuple[int, ...], tree: shapely.STRtree
) -> _Rim | None:
    """The piece that some bits make together, or None where they make none."""
    if window.colour >= _COLOURED:
        return None
    bits_of = [shapes[j] for j in rows]
    hull = shapely.unary_union(bits_of).convex_hull
    if hull.geom_type != "Polygon":
        return None
    if len(rows) == 1 and (_is_bar(bits_of[0], window) or _winds(bits_of[0], hull, window)):
        return None
    whole, seen = window.completed(bits_of, hull)
    if seen < _LEAST_SEEN or not _compact(hull):
        return None
    if whole.area > (1.0 + _MOST_ADDED) * hull.area:
        whole = hull
    frame = shapely.box(0, 0, window.light.solid_distance.shape[1], window.light.solid_distance.shape[0])
    whole = largest(whole.intersection(frame))
    if _takes_in(whole, shapes, rows, tree) or _is_fibre(whole, shapes, rows, tree):
        return None
    if len(rows) > 1 and (seen < _SEEN or not window.is_empty(whole)):
        return None
    if len(rows) == 1 and not _grows_over_oil(window, whole, rows[0], shapes, tree):
        return None
    added = 1.0 - shapely.unary_union(bits_of).area / whole.area
    return _Rim(rows, whole, seen, len(rows) > 1 or seen < _CLOSED or added > _GAP_SHARE)


def _takes_in(
    whole: shapely.Polygon, shapes: list[shapely.Polygon], rows: tuple[int, ...], tree: shapely.STRtree
) -> bool:
    """Whether a completed rim covers much of another piece that is no bit of its own rim."""
    for j in tree.query(whole, predicate="intersects").tolist():
        if j in rows or shapes[j].area < _BIT * whole.area:
            continue
        if whole.intersection(shapes[j]).area > _FOREIGN * min(shapes[j].area, whole.area):
            return True
    return False


def _is_fibre(
    whole: shapely.Polygon, shapes: list[shapely.Polygon], rows: tuple[int, ...], tree: shapely.STRtree
) -> bool:
    """Whether a bit was cut from a line that goes on beyond the completed rim.

    A bit of a rim ends where its rim has a gap; a fibre that crosses others is cut where it crosses them.
    """
    widest = _AS_THIN * max(_width(shapes[j]) for j in rows)
    for j in rows:
        for k in tree.query(shapes[j], predicate="dwithin", distance=_CUT_PX).tolist():
            slender = shapes[k].length > 2.0 * _LENGTHS * _width(shapes[k])
            if k in rows or not slender or _width(shapes[k]) > widest:
                continue
            beyond = shapes[k].difference(whole).area > _BEYOND * shapes[k].area
            if beyond and _goes_straight_on(shapes[j], shapes[k]):
                return True
    return False


def _goes_straight_on(one: shapely.Polygon, other: shapely.Polygon) -> bool:
    """Whether a line goes on in another without a bend."""
    place = shapely.shortest_line(one, other).centroid
    reach = place.buffer(_LENGTHS * (_width(one) + _width(other)))
    ways = [
        shape.intersection(reach).centroid.coords[0] - np.array(place.coords[0]) for shape in (one, other)
    ]
    lengths = [float(np.hypot(*way)) for way in ways]
    return bool(-(ways[0] @ ways[1]) > _STRAIGHT_ON * lengths[0] * lengths[1])


def _width(shape: shapely.Polygon) -> float:
    """Mean width of a line."""
    return float(2.0 * shape.area / shape.length)


def _compact(hull: shapely.Polygon) -> bool:
    """Whether a hull is no bent fibre's."""
    box = np.asarray(hull.minimum_rotated_rectangle.exterior.coords)
    sides = sorted((np.hypot(*(box[1] - box[0])), np.hypot(*(box[2] - box[1]))))
    return bool(sides[0] > _NARROW * sides[1])


def _is_bar(shape: shapely.Polygon, window: _Window) -> bool:
    """Whether a bit is a single straight bar, which tells nothing of its piece."""
    box = np.asarray(shape.minimum_rotated_rectangle.exterior.coords)
    narrow = min(np.hypot(*(box[1] - box[0])), np.hypot(*(box[2] - box[1])))
    return bool(narrow < 4.0 * window.half_width + 2.0 and shape.area > HOLLOW * shape.convex_hull.area)


def _winds(shape: shapely.Polygon, hull: shapely.Polygon, window: _Window) -> bool:
    """Whether a bit leaves the border of its hull, as a winding thread does and no rim."""
    if not window.is_line():
        return False
    along = hull.exterior.buffer(2.0 * window.half_width + 3.0)
    return bool(shape.intersection(along).area < _ALONG * shape.area)


def _grows_over_oil(
    window: _Window, whole: shapely.Polygon, row: int, shapes: list[shapely.Polygon], tree: shapely.STRtree
) -> bool:
    """Whether what is added is oil beyond a gap of the rim, not a bay of the piece's edge."""
    own = shapes[row]
    filled = window.drawn(whole)
    added = filled & ~dilated(window.drawn(own), 1.5) & 1
    if not added.any():
        return True
    if (window.field[added > 0] < 0.7 * window.height).mean() < _OIL_INSIDE:
        return False
    if window.is_line():
        return True
    beside = [shapes[j] for j in tree.query(whole.buffer(_BESIDE_PX)).tolist() if j != row]
    alone = not beside or whole.difference(own).distance(shapely.union_all(beside)) > _BESIDE_PX
    bay = (dilated(added, 3.5) > 0) & (window.mask > 0)
    rim = dilated(((window.field >= 0.5 * window.height) & (window.mask > 0)).astype(np.uint8), 1.5)
    if not alone:
        return bool(rim[bay].mean() < _BAY)
    # at its mouth a gap has the ends of the rim on both sides
    bay &= cv2.distanceTransform(filled, cv2.DIST_L2, 3) > 2.0 * window.half_width + 1.5
    return not bay.any() or bool(rim[bay].mean() < _BAY_ALONE)
