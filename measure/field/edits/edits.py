"""Corrections by hand: cut, join, draw, reshape, recut. Each returns what replaces what, changing nothing."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from shapely import LineString, Point, Polygon, box
from shapely.ops import polygonize, unary_union

from measure.errors import InvalidInput
from measure.field.basics import polygons as geometry
from measure.field.edits.edits_snap import snapped
from measure.field.ground.light import Light
from measure.field.kinds.doubt import with_doubt
from measure.field.kinds.kinds import table_of
from measure.field.kinds.measure_outlines import measure_outlines
from measure.flags import bits
from measure.model import ORIGINS, Picture
from measure.particles import Particles

# what is known of a place, not of an outline, goes over to the pieces made there
_KEPT_FLAGS = bits("touching", "overlap", "broken_rim", "meets_zone", "reduced", "repeat")
SNAP_SHARE = 0.15  # of the diameter: how far a cut or a drawn line is pulled
OVERLAP_SHARE = 0.05  # of a drawn piece's area from which it is flagged as overlapping another


@dataclass(frozen=True)
class Replacement:
    """What a hand edit changes.

    Attributes
    ----------
    removed_labels : tuple of int
        Particles that go.
    added : Particles
        Particles that come, with label 0: whoever keeps them numbers them.
    """

    removed_labels: tuple[int, ...]
    added: Particles


def cut(
    particles: Particles,
    light: Light,
    picture: Picture,
    label: int,
    line_xy: np.ndarray,
    *,
    snap: bool = True,
    learned: Mapping | None = None,
) -> Replacement:
    """Cut a particle along a line.

    Parameters
    ----------
    particles : Particles
        Those of the field.
    light, picture : Light, Picture
        Of the field.
    label : int
    line_xy : (L, 2) ndarray
        Line or polyline right across the piece, x and y in px.
    snap : bool
        Move a straight cut to the nearest neck.
    learned : mapping, optional
        The study's own kind model.

    Returns
    -------
    Replacement

    Raises
    ------
    InvalidInput
        If the line does not cross the piece or only a crumb would come off.
    """
    row = _rows(particles, [label])[0]
    line = geometry.line_of(line_xy, "A cut")
    shape = geometry.polygon_of(particles.outlines[row])
    pieces = geometry.split_by(shape, line, label)
    if snap and len(line.coords) == 2 and len(pieces) == 2:
        neck = geometry.neck_near(
            geometry.outline_of(shape), line, max(3.0, SNAP_SHARE * float(particles.diameter_px[row]))
        )
        pieces = _split_or(shape, neck, label, pieces)
    made = [geometry.outline_of(p) for p in pieces]
    return _replaced(particles, light, picture, [row], made, "cut", learned)


def join(
    particles: Particles,
    light: Light,
    picture: Picture,
    labels: Iterable[int],
    *,
    learned: Mapping | None = None,
) -> Replacement:
    """Join particles to one and close the gap between them.

    Raises
    ------
    InvalidInput
        If fewer than two are given, or they lie too far apart.
    """
    labels = _different(labels)
    if len(labels) < 2:
        raise InvalidInput("Choose at least two pieces to join.")
    rows = _rows(particles, labels)
    shape = geometry.joined([geometry.polygon_of(particles.outlines[r]) for r in rows], labels)
    return _replaced(particles, light, picture, rows, [geometry.outline_of(shape)], "joined", learned)


def draw(
    particles: Particles,
    light: Light,
    picture: Picture,
    polygon_xy: np.ndarray,
    *,
    snap: bool = False,
    learned: Mapping | None = None,
) -> Replacement:
    """Add a particle by its outline.

    Parameters
    ----------
    polygon_xy : (P, 2) ndarray
        Outline, x and y in px; what lies outside the picture is cut off.
    snap : bool
        Pull it to the half-contrast edge near it.

    Raises
    ------
    InvalidInput
        If it crosses itself, is too small, or lies outside the picture.
    """
    outline = geometry.cleaned(polygon_xy)
    if len(outline) < 3 or not np.isfinite(outline).all():
        raise InvalidInput("An outline needs at least three different points.")
    drawn = Polygon(outline.astype(float))
    if not drawn.is_valid:
        # a hand shaking at the closing point makes a tiny loop, which is no crossing
        kept = geometry.largest(drawn.buffer(0))
        if abs(kept.area - _swept(drawn)) > 0.02 * kept.area:
            raise InvalidInput("The outline crosses itself; draw it round the piece without crossing.")
        drawn = kept
    drawn = geometry.largest(drawn.intersection(box(0, 0, picture.width_px, picture.height_px)))
    _check_size(drawn, "The outline")
    outline = geometry.outline_of(drawn)
    if snap:
        reach = float(np.clip(SNAP_SHARE * np.sqrt(drawn.area), 3.0, 12.0))
        pulled = geometry.polygon_of(snapped(outline, light, reach))
        pulled = geometry.largest(pulled.intersection(box(0, 0, picture.width_px, picture.height_px)))
        outline = geometry.outline_of(pulled if pulled.area >= geometry.SMALLEST_AREA_PX2 else drawn)
    flags = _overlap_bits(particles, geometry.polygon_of(outline)) | _zone_bits(outline, light)
    made = _measured(particles, [outline], light, picture, "drawn", flags | bits("by_hand"), 0, learned)
    return Replacement((), made)


def reshape(
    particles: Particles,
    light: Light,
    picture: Picture,
    label: int,
    stroke_xy: np.ndarray,
    radius_px: float,
    add: bool,
    *,
    learned: Mapping | None = None,
) -> Replacement:
    """Add to a particle's edge, or take from it, with a round brush.

    Parameters
    ----------
    stroke_xy : (L, 2) ndarray
        Path of the brush, one point or more.
    radius_px : float
    add : bool
        Add what the brush passes over (never what belongs to a neighbour), else take it away.

    Raises
    ------
    InvalidInput
        If the brush does not meet the piece, or nothing would be left of it.
    """
    row = _rows(particles, [label])[0]
    shape, brush = geometry.polygon_of(particles.outlines[row]), _brush(stroke_xy, radius_px)
    if not brush.intersects(shape):
        raise InvalidInput(f"The brush does not meet piece {label}; begin the stroke on the piece.")
    if add:
        frame = box(0, 0, picture.width_px, picture.height_px)
        taken = unary_union([geometry.polygon_of(o) for o in _neighbours(particles, row, brush)])
        new = geometry.parts(shape.union(brush.intersection(frame).difference(taken)))[:1]
    else:
        new = [p for p in geometry.parts(shape.difference(brush)) if p.area >= geometry.SMALLEST_AREA_PX2]
        if not new:
            raise InvalidInput(f"Nothing measurable would be left of piece {label}; set it aside instead.")
    made = [geometry.outline_of(p) for p in new]
    return _replaced(particles, light, picture, [row], made, "reshaped", learned)


def recut(
    particles: Particles,
    light: Light,
    picture: Picture,
    labels: Iterable[int],
    pieces: int,
    *,
    learned: Mapping | None = None,
) -> Replacement:
    """Divide a particle, or a cluster of them, anew in a number of pieces, at its deepest necks.

    Raises
    ------
    InvalidInput
        If ``pieces`` is less than 1, the pieces lie apart, or the cluster is too small.
    """
    labels = _different(labels)
    if not labels:
        raise InvalidInput("Choose a piece or a cluster to cut anew.")
    if pieces < 1:
        raise InvalidInput(f"A cluster is cut in 1 piece or more, not {pieces}.")
    rows = _rows(particles, labels)
    shape = geometry.joined([geometry.polygon_of(particles.outlines[r]) for r in rows], labels)
    made = [geometry.outline_of(p) for p in geometry.divided(shape, int(pieces), labels[0])]
    return _replaced(particles, light, picture, rows, made, "cut" if pieces > 1 else "joined", learned)


def _different(labels: Iterable[int]) -> list[int]:
    return list(dict.fromkeys(int(v) for v in labels))


def _rows(particles: Particles, labels: Sequence[int]) -> np.ndarray:
    try:
        return particles.index_of(labels)
    except KeyError as missing:
        raise InvalidInput(f"There is no piece {missing.args[0]} on this field.") from None


def _split_or(shape: Polygon, line: LineString, label: int, otherwise: list[Polygon]) -> list[Polygon]:
    try:
        return geometry.split_by(shape, line, label)
    except InvalidInput:
        return otherwise


def _brush(stroke_xy: np.ndarray, radius_px: float) -> Polygon:
    points = np.asarray(stroke_xy, dtype=float).reshape(-1, 2)
    if not len(points) or not np.isfinite(points).all() or not radius_px > 0:
        raise InvalidInput("A brush stroke needs a point and a radius above zero.")
    path = Point(points[0]) if np.ptp(points, axis=0).max() == 0 else LineString(points)
    return path.buffer(radius_px, quad_segs=16)


def _neighbours(particles: Particles, row: int, shape: Polygon) -> list[np.ndarray]:
    """Outlines of the other counted pieces whose box meets a shape."""
    x0, y0, x1, y1 = shape.bounds
    reach = particles["feret_max_px"] + 1.0
    near = np.abs(particles["centre_x_px"] - (x0 + x1) / 2) <= (x1 - x0) / 2 + reach
    near &= np.abs(particles["centre_y_px"] - (y0 + y1) / 2) <= (y1 - y0) / 2 + reach
    near &= particles["set_aside"] == ""
    if row >= 0:
        near[row] = False
    return [particles.outlines[i] for i in np.flatnonzero(near)]


def _swept(shape: Polygon) -> float:
    """Area of everything a self-crossing outline encloses."""
    ring = LineString(np.asarray(shape.exterior.coords))
    return float(sum(cell.area for cell in polygonize(unary_union(ring))))


def _check_size(shape: Polygon, what: str) -> None:
    if shape.area < geometry.SMALLEST_AREA_PX2:
        raise InvalidInput(
            f"{what} holds less than {geometry.SMALLEST_AREA_PX2:g} square pixels of the picture, "
            "too little to measure."
        )


def _overlap_bits(particles: Particles, shape: Polygon) -> int:
    covered = sum(geometry.polygon_of(o).intersection(shape).area for o in _neighbours(particles, -1, shape))
    return bits("overlap") if covered > OVERLAP_SHARE * shape.area else 0


def _zone_bits(outline: np.ndarray, light: Light) -> int:
    if light.zone_mask is None:
        return 0
    rows, columns = light.zone_mask.shape
    x = np.clip(outline[:, 0].astype(int), 0, columns - 1)
    y = np.clip(outline[:, 1].astype(int), 0, rows - 1)
    return bits("meets_zone") if light.zone_mask[y, x].any() else 0


def _measured(
    particles: Particles,
    outlines: list[np.ndarray],
    light: Light,
    picture: Picture,
    origin: str,
    flags: int,
    parent: int,
    learned: Mapping | None,
) -> Particles:
    count = len(outlines)
    made = measure_outlines(
        outlines,
        picture,
        light,
        learned,
        parent=np.full(count, parent),
        flags=np.full(count, flags),
        origin=np.full(count, ORIGINS.index(origin)),
        table=table_of(particles) if len(particles) else None,
    )
    return made.replaced(label=0)


def _replaced(
    particles: Particles,
    light: Light,
    picture: Picture,
    rows: Sequence[int] | np.ndarray,
    outlines: list[np.ndarray],
    origin: str,
    learned: Mapping | None,
) -> Replacement:
    """Measure new outlines in the place of old ones; what the old ones agree on is kept."""
    old = particles.select(np.asarray(rows))
    flags = int(np.bitwise_or.reduce(old["flags"]) & _KEPT_FLAGS) | bits("by_hand")
    parents = set(old["parent"].tolist())
    parent = parents.pop() if len(parents) == 1 else int(old["parent"].max())
    if len(outlines) > 1:
        flags |= bits("touching")
        parent = parent or int(particles["parent"].max()) + 1
    made = _measured(particles, outlines, light, picture, origin, flags, parent, learned)
    made = _with_old_kind(made, old, keep=len(outlines) == 1)
    return Replacement(tuple(int(v) for v in old["label"]), made)


def _with_old_kind(made: Particles, old: Particles, keep: bool) -> Particles:
    """Kinds set by hand go over where all agree; found ones too unless a cut may part two kinds."""
    agree = len(set(old["kind"].tolist())) == 1
    by_hand = bool(old["kind_by_hand"].all())
    reasons = set(old["set_aside"].tolist())
    if agree and (by_hand or keep):
        doubt = 0.0 if by_hand else float(old["kind_doubt"].min())
        made = made.replaced(kind=int(old["kind"][0]), kind_by_hand=by_hand, kind_doubt=doubt)
        made = made.replaced(set_aside=reasons.pop() if len(reasons) == 1 else "")
    return with_doubt(made)
