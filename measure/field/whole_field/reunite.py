"""Put back together what was cut though it is one piece: a spotted body, a rim parted from its inside.

Two neighbours become one again when together they are as convex as the fuller of them, share a long seam, and
either hardly differ in colour compared with how both differ from the oil, or one is only a thin strip bent
round the other. Parts of one tone that are no fuller than the whole were cut along a crack. Touching round
pieces share a short seam and leave notches; a skin on a kernel differs in colour: both stay apart.
"""

from collections.abc import Mapping

import cv2
import numpy as np
import shapely
from shapely import Polygon
from shapely.ops import unary_union

from measure.field.basics.masks import dilated, drawn
from measure.field.basics.polygons import largest, outline_of, polygon_of, traced_evenly
from measure.field.basics.zoom import zoom_of, zoomed
from measure.field.bodies.gaps import parted_by_gaps
from measure.field.cuts.cut_lobes import are_ovals, oval_misfit
from measure.field.cuts.seams import seam_between
from measure.field.cuts.step_seams import step_between
from measure.field.edges.edge import SMOOTHING_SIGMA_PX, colour_length
from measure.field.edges.flanks import usual_width
from measure.field.ground.light import Light
from measure.field.kinds.kinds import table_of
from measure.field.kinds.measure_outlines import measure_outlines
from measure.field.rims.rim_walls import parted_at_walls
from measure.field.whole_field.dark_bands import band_between
from measure.field.whole_field.halo import contact, contrast
from measure.field.whole_field.round_holes import around_holes
from measure.flags import FLAGS, bits
from measure.model import Picture
from measure.particles import Particles, join_particles

_SEAM = 0.24  # share of the smaller one's outline along the other; touching round pieces stay below
_LONG_SEAM = 0.42
_SHORT_SEAM = 0.18  # the same where the two are of one tone
_CONVEX, _VERY_CONVEX = 0.955, 0.97  # solidity of both together
_AS_CONVEX = 0.005  # by which the whole may be less solid than its parts
_SAME, _ALIKE, _AKIN = 0.15, 0.36, 0.5  # colour between the two over their colour against the oil
_STRIP = 0.75  # solidity of a strip bent round the other
_GAP_PX, _SEAM_PX = 1.6, 0.5  # bridged to judge the whole, and to see the notches that remain
_IN_ONE = 0.98  # share of two pieces that must hang together once the gap is bridged
_SHARED = (0.05, 0.6)  # of the smaller of two pieces in both, between which they lie over one another
_WITHIN = 0.97  # share of a crystal that lies on a body
_BESIDE_PX = 1.5  # an outline this far from the other piece is free
_MARGIN_PX = 6
_ROUNDS = 5
_STEPS = ("lightness_step", "green_red_step", "blue_yellow_step")


def reunite(
    particles: Particles, picture: Picture, light: Light, learned: Mapping | None = None
) -> Particles:
    """Join neighbours that are one piece.

    Parameters
    ----------
    particles : Particles
        K measured particles.
    picture, light, learned
        As for `measure.field.kinds.measure_outlines.measure_outlines`.

    Returns
    -------
    Particles
        At most K particles, labels 1.. in the order given; joined ones stand last.
    """
    for turn in range(_ROUNDS):
        sets = around_holes(particles) if turn == 0 else []
        sets = sets or _pairs(particles, light)
        if not sets:
            break
        gone = np.array([row for rows, _ in sets for row in rows])
        flags = np.array([_flags(particles, rows) for rows, _ in sets], np.int32)
        parent = np.array([particles["parent"][rows[0]] for rows, _ in sets])
        outlines = [outline for _, outline in sets]
        made = measure_outlines(outlines, picture, light, learned, parent, flags, table=table_of(particles))
        keep = np.ones(len(particles), bool)
        keep[gone] = False
        particles = join_particles([particles.select(keep), made])
    return particles.replaced(label=np.arange(1, len(particles) + 1))


def _pairs(particles: Particles, light: Light) -> list[tuple[list[int], np.ndarray]]:
    """Return rows to be joined, each row once, with the outline of both together."""
    if len(particles) < 2:
        return []
    share, beside = contact(particles, light.solid_distance.shape)
    order = np.flatnonzero((beside >= 0) & (share >= _SHORT_SEAM))
    taken: set[int] = set()
    found = []
    for i in order[np.argsort(-share[order])].tolist():
        j = int(beside[i])
        if i in taken or j in taken or particles["area_px2"][i] > particles["area_px2"][j] * 1.5:
            continue
        together = _together(particles, i, j, float(share[i]))
        if together is not None and not _seam_seen(particles, i, j, light, together):
            found.append(([i, j], together))
            taken |= {i, j}
    return found


def _together(particles: Particles, i: int, j: int, seam: float) -> np.ndarray | None:
    """Return the outline of both as one, or None where they are two pieces."""
    if _seen_through(particles, i, j):
        return None
    if (particles["flags"][i] ^ particles["flags"][j]) & bits("shade", "thread"):
        return None
    # each was followed to where it ends
    if particles["flags"][i] & particles["flags"][j] & bits("thread"):
        return None
    apart = _colour_apart(particles, i, j)
    strip = _strip(particles, i) or _strip(particles, j)
    if (apart >= _AKIN and not strip) or (apart >= _SAME and seam < _SEAM):
        return None
    gap = _GAP_PX / zoom_of([particles.outlines[k] for k in (i, j)], 1.0)
    both = [polygon_of(particles.outlines[k]).buffer(gap) for k in (i, j)]
    bridged = unary_union(both).buffer(-gap)
    union = largest(bridged)
    # with a gap too wide to be bridged the rest would be lost
    if union.is_empty or union.area < _IN_ONE * bridged.area or _lies_on(particles, i, j):
        return None
    union = Polygon(union.exterior)  # a hole where they meet is a pale middle that was cut through
    if apart >= _AKIN and _is_shadow(particles, i, j, union):
        return None
    solidity = union.area / union.convex_hull.area
    own = max(particles["area_px2"][k] / particles["hull_area_px2"][k] for k in (i, j))
    one = (apart < _ALIKE or strip) and solidity >= _CONVEX
    one |= apart < _AKIN and solidity >= _VERY_CONVEX
    one |= apart < _AKIN and seam >= _LONG_SEAM and solidity >= own - _AS_CONVEX
    one &= seam >= _SEAM
    # a cut that made the parts no fuller than the whole went along a crack, not through a neck
    hulls = sum(float(particles["hull_area_px2"][k]) for k in (i, j))
    parted = sum(float(particles["area_px2"][k]) for k in (i, j)) / hulls
    one |= apart < _SAME and solidity >= parted - _AS_CONVEX
    if one and not strip and _are_ovals(polygon_of(particles.outlines[i]), polygon_of(particles.outlines[j])):
        return None
    return outline_of(union.simplify(0.05)) if one else None


def _seen_through(particles: Particles, i: int, j: int) -> bool:
    """Whether two pieces are seen through one another: they share an area, and were told apart by it."""
    flags = [int(particles["flags"][k] & bits("overlap")) for k in (i, j)]
    if all(flags) or not any(flags):
        return all(flags)
    shared = polygon_of(particles.outlines[i]).intersection(polygon_of(particles.outlines[j])).area
    share = shared / min(particles["area_px2"][i], particles["area_px2"][j])
    return bool(_SHARED[0] < share < _SHARED[1])


def _lies_on(particles: Particles, i: int, j: int) -> bool:
    """Whether one is a see-through piece found on a body, wholly within it. Facets lie in crystals."""
    shapes = [polygon_of(particles.outlines[k]) for k in (i, j)]
    flags = [int(particles["flags"][k]) for k in (i, j)]
    crystal = bits("rim_only", "overlap")
    return any(
        flags[own] & crystal == crystal
        and not flags[other] & bits("rim_only")
        and shapes[own].intersection(shapes[other]).area > _WITHIN * shapes[own].area
        for own, other in ((0, 1), (1, 0))
    )


def _seam_seen(particles: Particles, i: int, j: int, light: Light, together: np.ndarray) -> bool:
    """Whether a line, a wall or a gap is seen between two neighbours that have a common outline."""
    outlines = [particles.outlines[k] for k in (i, j)]
    low = np.maximum(np.min([o.min(axis=0) for o in outlines], axis=0).astype(int) - _MARGIN_PX, 0)
    x1, y1 = np.max([o.max(axis=0) for o in outlines], axis=0).astype(int) + _MARGIN_PX
    zoom = zoom_of(outlines, 1.0)
    larger = zoomed(light.delta[low[1] : y1, low[0] : x1], zoom)
    delta = cv2.GaussianBlur(larger, (0, 0), SMOOTHING_SIGMA_PX)
    one, other, whole = (drawn(zoom * (o - low), delta.shape[:2]) for o in (*outlines, together))
    if seam_between(one, other, delta) or step_between(one, other, delta):
        return True
    form = whole > 0
    field = colour_length(delta)
    width = usual_width(field, np.where(form, field, np.float32(0)), form)
    rims = particles["flags"][i] & particles["flags"][j] & bits("rim_only")
    if rims and parted_at_walls(dilated(form.view(np.uint8), 0.5 * width + 1.0), field, width).max() > 1:
        return True
    if not rims and band_between(one, other, delta, width):
        return True
    labels = one + 2 * (other & (1 - one)).astype(np.int32)
    return parted_by_gaps(labels, form, [1, 2], delta, width)


def _are_ovals(first: Polygon, second: Polygon) -> bool:
    """Whether the free parts of two outlines are ovals, which the whole is not."""
    arc, beside = (_free(traced_evenly(own), other) for own, other in ((first, second), (second, first)))
    if not len(arc) or not len(beside):
        return False
    whole = largest(unary_union([own.buffer(_SEAM_PX) for own in (first, second)]))
    return are_ovals(arc, beside, traced_evenly(whole))


def _free(outline: np.ndarray, other: Polygon) -> np.ndarray:
    """Longest run of an outline's points that do not lie along the other piece."""
    away = shapely.distance(shapely.points(outline), other) > _BESIDE_PX
    if away.all() or not away.any():
        return outline[:0]
    start = int(np.flatnonzero(~away)[0])
    outline, away = np.roll(outline, -start, axis=0), np.roll(away, -start)
    edges = np.flatnonzero(np.diff(away.astype(np.int8), append=0))
    runs = edges.reshape(-1, 2)
    first, last = runs[np.argmax(runs[:, 1] - runs[:, 0])]
    return outline[first + 1 : last + 1]


def _colour_apart(particles: Particles, i: int, j: int) -> float:
    apart = np.sqrt(sum(float(particles[n][i] - particles[n][j]) ** 2 for n in _STEPS))
    return float(apart / max(contrast(particles)[[i, j]].max(), 1e-6))


def _is_shadow(particles: Particles, i: int, j: int, union: Polygon) -> bool:
    """Whether one is a strip of shadow: weaker than the other, which is rounder without it.

    A rim takes more light than what it encloses, or makes a part of a round piece whole.
    """
    strip, body = (i, j) if _strip(particles, i) else (j, i)
    strength = contrast(particles)
    if strength[strip] >= strength[body]:
        return False
    alone = oval_misfit(traced_evenly(polygon_of(particles.outlines[body])))
    return oval_misfit(traced_evenly(union)) > alone


def _strip(particles: Particles, i: int) -> bool:
    return bool(particles["area_px2"][i] < _STRIP * particles["hull_area_px2"][i])


def _flags(particles: Particles, rows: list[int]) -> int:
    kept = int(np.bitwise_or.reduce(particles["flags"][rows]))
    known = bits(
        *("touches_frame", "meets_zone", "broken_rim", "rim_only", "overlap", "touching"),
        *("shade", "thread", "one_or_two"),
    )
    strip = len(rows) == 2 and any(_strip(particles, i) for i in rows)
    return (kept & known) | (FLAGS["rim_only"].bit if strip else 0)
