"""Find the pieces of a field: a low level finds them, their own half level places their edges."""

from dataclasses import dataclass

import cv2
import numpy as np

from measure.field.basics.component import Component, Parts
from measure.field.basics.crops import Crops, smoothed_crops
from measure.field.basics.found import Found, least_area_px2
from measure.field.basics.masks import fill_holes
from measure.field.basics.quick import length, median
from measure.field.basics.sharing import ALONE, Helpers, parts_of
from measure.field.basics.strips import Room
from measure.field.basics.zoom import ZOOM, zoomed_mask
from measure.field.bodies.faint_bodies import faint_bodies
from measure.field.bodies.frame_rings import without_middles
from measure.field.bodies.shades import shade_beside, with_bits
from measure.field.components.outliner import Outlined, Outliner, not_inside, together
from measure.field.components.separate import looked_at_closer, separate
from measure.field.crystals.grey_layer import IN_GREY, Layers, grey_layer
from measure.field.edges.edge import SMOOTHING_SIGMA_PX
from measure.field.ground.light import Light
from measure.field.rims.faint_rims import faint_rims
from measure.field.rims.known_rims import known_rims, numbered_from
from measure.flags import bits
from measure.model import FieldSettings
from measure.progress import SILENT, Progress

_SEED = 7.0  # oil noise units a piece must reach somewhere, at sensitivity 0.5
_FAINT_SEED = 0.4  # share of it that places of a pale piece reach
_LEVEL_STEP = 1.4  # factor by which the levels are raised on a textured ground
_STEEP = 1.7  # power of the level by which the number of specks must fall to be texture
_FROM_BELOW = 1.33  # factor by which it must have fallen already from the level before: half as steeply
_FEW = 8  # fewer pieces than this prove no texture
_MARGIN_PX = 4
_RING, _RING_HOLE = 0.9, 0.3  # of the picture's sides that a ring spans, and of its area that it closes in
_RUN = 40  # components that are worked through at a time


def level_factor(sensitivity: float) -> float:
    """By how much both finding levels are raised or lowered; 1 at sensitivity 0.5."""
    return float(4.0 ** (0.5 - np.clip(sensitivity, 0.0, 1.0)))


def texture_level(peaks: np.ndarray, seed: float) -> float:
    """Level above which pieces stand clear of the ground's own texture.

    Pieces have a contrast of their own, so their number hardly depends on the level; specks of a textured
    ground thin out steeply from the noise upwards. The level is raised as long as the number falls steeply,
    and from below the level already: faint pieces are many up to their own contrast, and few above it.

    Parameters
    ----------
    peaks : (K,) ndarray of float
        Highest distance from the oil of each component.
    seed : float
        Level for a smooth ground.

    Returns
    -------
    level : float
        At least ``seed``.
    """
    level = seed
    for _ in range(8):
        below, here, above = (int((peaks > level * _LEVEL_STEP**step).sum()) for step in (-1, 0, 1))
        if here - above < _FEW or here < above * _LEVEL_STEP**_STEEP or below < _FROM_BELOW * here:
            break
        level *= _LEVEL_STEP
    return level


def low_components(
    light: Light, smallest_px: float, sensitivity: float
) -> tuple[np.ndarray, np.ndarray, float]:
    """Components of all pieces at the low level, by hysteresis.

    Returns
    -------
    labels : (M, N) ndarray of int32
    stats : (K, 5) ndarray of int32
        Box and area of each, as OpenCV gives them; row 0 is the oil.
    seed : float
        Distance from the oil each of them reaches somewhere.
    """
    seed = _SEED * level_factor(sensitivity)
    distance = light.solid_distance
    least = 0.5 * least_area_px2(smallest_px)
    labels, stats, peaks, where = _components(distance, 0.5 * seed, least)
    level = texture_level(peaks[1:], seed)
    if level > seed:  # unless the specks are places of faint rims
        specks = np.where(_in_faint_rims(light, labels, peaks > level, 2.0 * least, sensitivity), 0.0, peaks)
        level = texture_level(specks[1:], seed)
    if level > seed:
        seed = level
        labels, stats, peaks, where = _components(distance, 0.5 * seed, least)
    keep = peaks > seed
    keep[0] = True
    number = ((np.cumsum(keep) - 1) * keep).astype(np.int32)
    flat = labels.reshape(-1)  # in place: the oil stays 0, and another array would be as large
    flat[where] = number[flat[where]]
    return labels, _rings_opened(labels, stats[keep]), seed


def _rings_opened(labels: np.ndarray, stats: np.ndarray) -> np.ndarray:
    """Cut components that go round most of the picture in four, in place; the boxes with those added, (K, 5).

    Light that falls off towards the frame makes such a ring. Filled, it would be one piece with all in it.
    """
    height, width = labels.shape
    wide = (stats[:, cv2.CC_STAT_WIDTH] > _RING * width) & (stats[:, cv2.CC_STAT_HEIGHT] > _RING * height)
    for k in np.flatnonzero(wide[1:]) + 1:
        ring = (labels == k).view(np.uint8)
        if cv2.countNonZero(fill_holes(ring)) - cv2.countNonZero(ring) < _RING_HOLE * labels.size:
            continue
        labels[ring > 0] = 0
        ring[height // 2] = ring[:, width // 2] = 0
        count, parts, boxes, _ = cv2.connectedComponentsWithStats(ring, connectivity=8)
        numbers = np.array([0, k, *range(len(stats), len(stats) + count - 2)], labels.dtype)[:count]
        labels[ring > 0] = numbers[parts[ring > 0]]
        stats[k] = boxes[1] if count > 1 else 0
        stats = np.vstack([stats, boxes[2:]])
    return stats


def _in_faint_rims(
    light: Light, labels: np.ndarray, clear: np.ndarray, least_px2: float, sensitivity: float
) -> np.ndarray:
    """Which components lie where a faint line closes in a place, once clear pieces are known, (K,)."""
    inside = np.zeros(len(clear), bool)
    known = np.where(clear, np.arange(len(clear), dtype=labels.dtype), 0).astype(labels.dtype)[labels]
    for rows, cols, piece in faint_rims(light, known, least_px2, level_factor(sensitivity)):
        inside[np.unique(labels[rows, cols][piece > 0])] = True
    return inside


def _components(
    distance: np.ndarray, level: float, least_px2: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Components above a level, with box and highest distance of each, and which pixels are theirs.

    Those too small have peak 0.
    """
    low = distance > level
    count, found, stats, _ = cv2.connectedComponentsWithStats(low.view(np.uint8), connectivity=8)
    labels: np.ndarray = found
    where = np.flatnonzero(low)
    peaks = np.zeros(count, np.float32)
    np.maximum.at(peaks, labels.ravel()[where].astype(np.intp), distance.ravel()[where])
    peaks[stats[:, cv2.CC_STAT_AREA] < least_px2] = 0.0
    return labels, stats, peaks, where


@dataclass(frozen=True)
class _Plan:
    """What is the same for all components of a field."""

    smooth: Crops  # lightly smoothed difference from the oil, about each component
    distance: np.ndarray  # (M, N) noise-normalised distance from the oil
    labels: np.ndarray  # (M, N) components
    stats: np.ndarray  # (K, 5) their boxes and areas
    faint: int  # components from this number on are pale pieces whose mean stands out, no place of theirs
    whole: int  # components from this number on are rims put together from bits
    background_lab: np.ndarray
    light_weight: float
    least_px2: float
    seed: float
    cut_strength: float
    usual_height: float


def find_pieces(
    light: Light,
    smallest_px: float,
    settings: FieldSettings,
    progress: Progress = SILENT,
    helpers: Helpers = ALONE,
    finest_px: float | None = None,
) -> Found:
    """Find, cut and outline the pieces of a field.

    Parameters
    ----------
    light : Light
    smallest_px : float
        Lower limit, area-equivalent diameter; pieces are reported from 0.7 times that on.
    settings : FieldSettings
    progress : Progress
    helpers : Helpers, optional
        Processes that take a share.
    finest_px : float, optional
        Size down to which what hangs together is taken apart, where that is less than the lower limit. Pieces
        cut off are reported from 0.7 times this on.

    Returns
    -------
    found : Found
    """
    finest_px = smallest_px if finest_px is None else min(finest_px, smallest_px)
    plan = helpers.lend(_planned(light, smallest_px, finest_px, settings, helpers.room))
    runs = parts_of(len(plan.stats) - 1, _RUN)
    done = helpers.map(
        _outlined, plan, runs, lambda part: progress.report(0.3 + 0.3 * part, "separating pieces")
    )
    return _found(done, light.solid_distance.shape)


def _planned(
    light: Light, smallest_px: float, finest_px: float, settings: FieldSettings, room: Room
) -> _Plan:
    """Find the components and what all of them need."""
    labels, stats, seed = low_components(light, smallest_px, settings.sensitivity)
    without_middles(labels, stats, light.delta)
    least = least_area_px2(smallest_px)
    step = max(1, int(np.sqrt(labels.size / 250_000)))
    found = labels[::step, ::step] > 0
    factor = level_factor(settings.sensitivity)
    faint = len(stats)
    if seed <= _SEED * factor:  # a textured ground has faint places everywhere
        bodies = numbered_from(labels, faint, faint_bodies(light, labels, least, factor))
        stats = np.vstack([stats, np.array(bodies, stats.dtype).reshape(-1, 5)])
    whole, rims = len(stats), known_rims(labels, stats, light, least, factor, seed <= _SEED * factor)
    stats = np.vstack([stats, rims])
    boxes = _boxes(stats, labels.shape)
    smooth, few = smoothed_crops(light.delta, SMOOTHING_SIGMA_PX, boxes, step, room)
    return _Plan(
        smooth,
        light.solid_distance,
        labels,
        stats,
        faint,
        whole,
        light.background_lab,
        light.light_weight,
        least_area_px2(finest_px),
        seed,
        settings.cut_strength,
        _usual_height(few[found]),
    )


def _outlined(plan: _Plan, run: range) -> Outlined:
    """Outlines of the pieces of some components, numbered from 0."""
    outliners = {z: Outliner(plan.light_weight, z**2 * plan.least_px2, plan.cut_strength) for z in (1, ZOOM)}
    shape = plan.labels.shape
    for k in (number + 1 for number in run):
        top, bottom, left, right = plan.smooth.boxes[k - 1].tolist()
        box = np.s_[top:bottom, left:right]
        low = plan.labels[box] == k
        if not low.any():
            continue
        smooth = plan.smooth.of(k - 1)
        oil = _oil_colour(plan.background_lab, shape, plan.stats[k])
        shade = layers = parts = None
        zoom = 1
        if k >= plan.whole:
            parts = Parts(low.astype(np.int32), [[1]], frozenset([1]))
        else:
            shade = shade_beside(smooth, low, oil, plan.least_px2)
            component = Component(
                smooth,
                plan.distance[box],
                low & ~shade,
                plan.least_px2,
                plan.seed if k < plan.faint else _FAINT_SEED * plan.seed,
                plan.cut_strength,
                _at_frame(box, shape),
                plan.usual_height,
                oil,
            )
            layers = grey_layer(component)
            if layers is None:
                parts = separate(component)
            if parts is not None and not shade.any():
                smooth, parts, zoom = looked_at_closer(component, parts)
        other = (plan.labels[box] > 0) & ~low
        other = zoomed_mask(other, zoom) if zoom > 1 else other
        offset = zoom * np.array([box[1].start, box[0].start], np.float32)
        outliner = outliners[zoom]
        if layers is not None:
            _add_layers(outliner, layers, other, offset)
            parts = None
        if shade is not None and shade.any():
            if parts is not None:
                shade = with_bits(shade, parts.labels)
                parts.labels[shade] = 0
            others = (plan.labels[box] > 0) & ~shade
            outliner.add(smooth, _each(shade), others, oil, offset, bits("shade"))
            other |= shade
        if parts is not None:
            outliner.add(smooth, parts, other, oil, offset)
    return together({zoom: outliner.outlined() for zoom, outliner in outliners.items()})


def _add_layers(outliner: Outliner, layers: Layers, other: np.ndarray, offset: np.ndarray) -> None:
    """Add crystals that cross bodies, none of them cut, and these bodies taken apart by themselves."""
    oil = layers.bodies.oil_lab
    numbers = range(1, int(layers.crystals.max()) + 1)
    crystals = Parts(layers.crystals, [[n] for n in numbers], frozenset(numbers))
    outliner.add(layers.grey, crystals, other, oil, offset, IN_GREY)
    for bodies, window in layers.parts():
        beside = other[window] | (layers.bodies.low[window] & ~bodies.low)
        corner = np.array([window[1].start, window[0].start], np.float32)
        crossing = bits("touching") if (layers.crystals[window][bodies.low] > 0).any() else 0
        outliner.add(bodies.delta, separate(bodies), beside, oil, offset + corner, crossing)


def _each(shade: np.ndarray) -> Parts:
    """Parts of shade, none of them cut."""
    count, parts = cv2.connectedComponents(shade.view(np.uint8), connectivity=8)
    return Parts(parts.astype(np.int32), [[n] for n in range(1, count)], frozenset())


def _found(done: list[Outlined], shape: tuple[int, int]) -> Found:
    """All pieces but those inside larger ones, in a picture of this shape."""
    first = np.cumsum([0, *(run.groups for run in done)])
    outlines = [outline for run in done for outline in run.outlines]
    group = np.array(
        [g + before for run, before in zip(done, first, strict=False) for g in run.group], np.int64
    )
    flags = np.array([f for run in done for f in run.flags], np.int32)
    touching = np.bincount(group, minlength=1)[group] > 1
    parent = np.zeros(len(group), np.int32)
    parent[touching] = np.unique(group[touching], return_inverse=True)[1] + 1
    flags |= (bits("touching") * touching).astype(np.int32)
    keep = not_inside(outlines, flags, shape)
    outlines, parent = [outlines[i] for i in keep], parent[keep]
    return Found(outlines, parent, flags[keep], (parent > 0).astype(np.int8))


def _boxes(stats: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    """First and last row, first and last column of each component with a margin, without the oil, (K, 4)."""
    x, y, w, h = stats[1:, :4].astype(np.int64).T
    m = _MARGIN_PX
    top, left = np.maximum(y - m, 0), np.maximum(x - m, 0)
    bottom, right = np.minimum(y + h + m, shape[0]), np.minimum(x + w + m, shape[1])
    return np.stack([top, bottom, left, right], axis=1)


def _usual_height(values: np.ndarray) -> float:
    """Length of the colour difference of most of some pixels, (P, 3); 0 for none."""
    return median(length(values)) if len(values) else 0.0


def _at_frame(box: tuple[slice, slice], shape: tuple[int, int]) -> tuple[bool, bool, bool, bool]:
    rows, cols = box
    return rows.start == 0, rows.stop == shape[0], cols.start == 0, cols.stop == shape[1]


def _oil_colour(grid: np.ndarray, shape: tuple[int, int], stats: np.ndarray) -> np.ndarray:
    """CIELAB colour of the oil at the middle of a component, from a coarse grid of it."""
    rows, cols = shape
    row = int((stats[1] + stats[3] / 2) / rows * grid.shape[0])
    col = int((stats[0] + stats[2] / 2) / cols * grid.shape[1])
    return grid[min(row, grid.shape[0] - 1), min(col, grid.shape[1] - 1)]
