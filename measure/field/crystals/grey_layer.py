"""Crystals that lie over or under coloured bodies, told by taking the two apart by their colours.

A body absorbs, each kind of light by a share of its own; the rim of a crystal bends light out of the lens, of
all colours alike. Densities of what lies over one another add up (Beer-Lambert law), so the density of a
place is so much of the body's colour and so much grey. The grey part shows the rim whole, straight through
the body, and the rest the body without it.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.component import Component
from measure.field.basics.masks import SQUARE, dilated, hull_mask, numbered, opened
from measure.field.basics.quick import mean_channel, percentile
from measure.field.edges.edge import colour_length, slope
from measure.field.edges.flanks import above_half
from measure.field.ground.absorbance import density, difference, is_dark
from measure.field.rims.rim_checks import credible
from measure.field.rims.rim_colour import LINE_PX, coloured_places
from measure.field.rims.rims import find_clear
from measure.flags import bits

_NEAR_PX = 6.0  # sigma within which a body's own colour is taken
_REACHED = 1e-3  # weight of bodies from which a place is near one
_TURNED = 0.02  # squared sine between the colour of a body and grey, below which they are not told apart
_FLANK_PX = 3.0  # round a body, where its edge may look grey
_RIM_HEIGHT = 75  # percentile of what is grey beside the bodies that is the height of a rim
_SPILT = 0.2  # of the density of coloured bodies, below which colour may be spilt
_LEAST_HEIGHT = 0.08  # natural density of a rim
_LOW = 0.3  # of a rim's height, below which grey is what edges and mixtures of bodies leave
_FREE = 0.3  # share of a crystal's border that must show a rim away from all bodies
_BOLD, _SEEN = 0.5, 0.65  # of a rim's height, from which it shows; share of a border along which it must
_RING_PX, _MOST_GREY = (3.0, 5.0), 0.3  # round a crystal, and the share of it that may be as grey as its rim
_CLEAR = 0.35  # of a rim's height, below which a place is as clear as oil
_INNER, _LEAST_CLEAR = 0.5, 0.3  # depth over the deepest, from which it is the inside; clear share of that
_MARGIN_PX = 4
_ABOUT_PX = 2.0  # round a crystal, within which its rim is taken off
_FOOT_PX = 7.0  # round a crystal, within which its rim fades
IN_GREY = bits("rim_only", "overlap")
_LEAST_PART = 0.5  # of the smallest area reported
_THIN_PX, _THIN = 3.3, 0.15  # half the thickness of a line, and that over the size of the place within
_ACROSS, _ROUND = 0.15, 0.62  # share of a line that may run inside, and of the border that it must follow
_CROSSED_PX = 4.0  # how far in a body must lie in it, for blur carries colour over its edge
_BEYOND = 0.5  # of the smallest area reported, that a body must have beyond the crystal


class Layers(NamedTuple):
    """A component taken apart by colour.

    Attributes
    ----------
    crystals : (M, N) ndarray of int32
        1.. for each crystal, rim included; 0 elsewhere.
    grey : (M, N, 3) ndarray of float32
        CIELAB difference from the oil of the rims alone.
    bodies : Component
        The component without the rims of these crystals.
    told : (M, N) ndarray of bool
        Bodies and other rims in it; what has none of them is left of these crystals.
    """

    crystals: np.ndarray
    grey: np.ndarray
    bodies: Component
    told: np.ndarray

    def parts(self) -> Iterator[tuple[Component, tuple[slice, slice]]]:
        """What of the rest still hangs together, each in a crop of its own, with its rows and columns."""
        bodies, (rows, cols) = self.bodies, self.bodies.low.shape
        count, parts, stats = numbered(bodies.low.view(np.uint8), 8)
        for k in range(1, count):
            x, y, w, h, _ = stats[k].tolist()
            told = self.told[y : y + h, x : x + w] & (parts[y : y + h, x : x + w] == k)
            if np.count_nonzero(told) < _LEAST_PART * bodies.least_px2:
                continue
            m = _MARGIN_PX
            window = np.s_[max(0, y - m) : min(rows, y + h + m), max(0, x - m) : min(cols, x + w + m)]
            top, bottom, left, right = bodies.frame
            at_frame = (
                top and window[0].start == 0,
                bottom and window[0].stop == rows,
                left and window[1].start == 0,
                right and window[1].stop == cols,
            )
            part = replace(
                bodies,
                delta=np.ascontiguousarray(bodies.delta[window]),
                distance=np.ascontiguousarray(bodies.distance[window]),
                low=parts[window] == k,
                frame=at_frame,
            )
            yield part, window


def is_in_grey(flags: np.ndarray) -> np.ndarray:
    """Which pieces are crystals that were told apart from bodies by their colours, (K,) of bool."""
    own: np.ndarray = (flags & (IN_GREY | bits("touching"))) == IN_GREY
    return own


def grey_layer(component: Component) -> Layers | None:
    """Take crystals that cross coloured bodies off a component, or return None where none do.

    Parameters
    ----------
    component : Component
    """
    oil, low = component.oil_lab, component.low
    if is_dark(float(oil[0])) or component.cut_strength <= 0:
        return None
    strong = low & (component.distance > component.seed)
    coloured = coloured_places(component.delta, strong, oil, component.least_px2)
    if coloured is None:
        return None
    whole = density(component.delta, oil)
    coloured = _dense(coloured, whole)
    rims = grey_density(whole, coloured)
    free = low & (dilated(coloured, _FLANK_PX) == 0)
    height = percentile(rims[free], _RIM_HEIGHT) if free.any() else 0.0
    if height < _LEAST_HEIGHT:
        return None
    bodies = mean_channel(whole) - rims
    clear = ((rims < _CLEAR * height) & (bodies < _CLEAR * height)).view(np.uint8)
    crystals = _crystals(component, rims, height, _Places(free, coloured, clear))
    if not crystals.any():
        return None
    about = dilated((crystals > 0).view(np.uint8), _ABOUT_PX) > 0
    grey = np.where(about, rims, np.float32(0))[..., None] * np.ones(3, np.float32)
    left = difference(whole - grey, oil)
    share = colour_length(left) / np.maximum(colour_length(component.delta), 1e-3)
    distance = np.where(about, component.distance * np.minimum(share, 1.0), component.distance)
    # facets, glows and the foot of a rim are no pieces
    kept = low & (~about | ((distance > 0.5 * component.seed) & ~free))
    foot = (dilated((crystals > 0).view(np.uint8), _FOOT_PX) > 0) & ~about & free
    kept &= ~(foot & (component.distance < component.seed))
    body = replace(component, delta=left, distance=distance.astype(np.float32), low=kept)
    told = (coloured > 0) | ((rims > _BOLD * height) & ~about)
    return Layers(crystals, difference(grey, oil), body, told)


def _dense(coloured: np.ndarray, whole: np.ndarray) -> np.ndarray:
    """Coloured places without what compression spills of a body's colour beside it."""
    dense = mean_channel(whole)
    usual = percentile(dense[coloured > 0], _RIM_HEIGHT)
    return opened(coloured & (dense > _SPILT * usual), LINE_PX)


def grey_density(whole: np.ndarray, coloured: np.ndarray) -> np.ndarray:
    """What of a density is grey once that of the coloured bodies near it is taken away.

    Parameters
    ----------
    whole : (M, N, 3) ndarray of float32
        Natural density against the oil in the channels of the camera.
    coloured : (M, N) ndarray of uint8
        Coloured bodies.

    Returns
    -------
    grey : (M, N) ndarray of float32
        At least 0, of each channel.
    """
    core = cv2.erode(coloured, SQUARE).astype(np.float32)
    lengths = np.maximum(np.sqrt(np.einsum("ijk,ijk->ij", whole, whole)), 1e-3)
    near = cv2.GaussianBlur(core, (0, 0), _NEAR_PX)
    ways = cv2.GaussianBlur(whole * (core / lengths)[..., None], (0, 0), _NEAR_PX)
    ways /= np.maximum(np.sqrt(np.einsum("ijk,ijk->ij", ways, ways)), 1e-9)[..., None]
    unit = np.float32(1.0 / np.sqrt(3.0))
    alike = ways.sum(axis=2) * unit
    along, neutral = np.einsum("ijk,ijk->ij", whole, ways), whole.sum(axis=2) * unit
    turned = 1.0 - alike * alike
    told = (near > _REACHED) & (turned > _TURNED)
    turned = np.maximum(turned, _TURNED)
    crossing = told & (along > neutral * alike)
    grey = np.where(crossing, (neutral - along * alike) / turned, neutral)
    grey = np.where((near > _REACHED) & ~told & (coloured > 0), 0.0, grey)
    return np.maximum(grey * unit, 0.0).astype(np.float32)


def without_crystals(
    whole: np.ndarray, delta: np.ndarray, strong: np.ndarray, oil_lab: np.ndarray, masks: list[np.ndarray]
) -> np.ndarray:
    """The density of a place without that of the rims of some crystals in it.

    Parameters
    ----------
    whole : (M, N, 3) ndarray of float32
        Natural density against the oil.
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.
    strong : (M, N) ndarray of bool
        What is clear of the oil.
    oil_lab : (3,) ndarray
    masks : list of (M, N) ndarray of uint8
        The crystals.

    Returns
    -------
    density : (M, N, 3) ndarray of float32
    """
    coloured = coloured_places(delta, strong, oil_lab, 0.0)
    if coloured is None:
        return whole
    about = dilated(np.bitwise_or.reduce(masks), _ABOUT_PX) > 0
    return whole - np.where(about, grey_density(whole, coloured), np.float32(0))[..., None]


def _crystals(component: Component, rims: np.ndarray, height: float, places: "_Places") -> np.ndarray:
    """Crystals among what is grey that bodies cross, 1..; 0 elsewhere."""
    low = (rims > _LOW * height) & component.low
    field = (rims * 100.0).astype(np.float32)
    steep = slope(field)
    strong, width = above_half(field, low, steep)
    distance = component.distance
    clear = find_clear(low.view(np.uint8), strong, width, 0.7 * component.least_px2, component.frame)
    if clear.any():
        clear = credible(clear, strong, field, distance, component.seed, 0.7 * component.least_px2)
    kept = np.zeros_like(clear)
    bold = strong & (rims > _BOLD * height)
    pieces = [(clear == k).view(np.uint8) for k in range(1, int(clear.max()) + 1)]
    for piece in (*pieces, *_open_rims(low & (clear == 0), strong, component.least_px2)):
        if _crosses(piece, bold, places, component.least_px2):
            kept[(piece > 0) & (kept == 0)] = kept.max() + 1
    return kept


def _open_rims(low: np.ndarray, strong: np.ndarray, least_px2: float) -> Iterator[np.ndarray]:
    """The place within each line that goes most of the way round one, as a rim with a gap does."""
    count, parts, stats = numbered(low.view(np.uint8), 8)
    for k in range(1, count):
        if stats[k, cv2.CC_STAT_AREA] < _LEAST_PART * least_px2:
            continue
        line = (parts == k).view(np.uint8) & strong
        if not line.any():
            continue
        hull = hull_mask(line)
        size = float(np.sqrt(cv2.countNonZero(hull)))
        thick = float(cv2.distanceTransform(line, cv2.DIST_L2, 3).max())
        if cv2.countNonZero(hull) < least_px2 or thick > max(_THIN_PX, _THIN * size):
            continue
        depth = cv2.distanceTransform(hull, cv2.DIST_L2, 3)
        inner = depth > 2.0 * thick + 2.0
        if cv2.countNonZero(line & inner) > _ACROSS * cv2.countNonZero(line):
            continue
        border = hull & (1 - cv2.erode(hull, SQUARE, borderValue=0))
        round_it = cv2.countNonZero(border & dilated(line, 2.0))
        if round_it > _ROUND * cv2.countNonZero(border):
            yield hull


class _Places(NamedTuple):
    """Where a component is away from bodies, where it is coloured, and where it is as clear as oil."""

    free: np.ndarray
    coloured: np.ndarray
    clear: np.ndarray


def _crosses(piece: np.ndarray, strong: np.ndarray, places: _Places, least_px2: float) -> bool:
    """Whether a crystal shows its rim away from all bodies too, and lies over one in part."""
    depth = cv2.distanceTransform(piece, cv2.DIST_L2, 3)
    # a pale body has a grey edge too, but no clear inside
    inner = (depth > _INNER * depth.max()).view(np.uint8)
    if cv2.countNonZero(inner & places.clear) < _LEAST_CLEAR * cv2.countNonZero(inner):
        return False
    bodies = numbered(places.coloured, 8)[1]
    inside = bodies * (depth > _CROSSED_PX)
    numbers = np.unique(inside[inside > 0])
    if not any(np.count_nonzero((bodies == k) & (piece == 0)) >= _BEYOND * least_px2 for k in numbers):
        return False
    border = piece & (1 - cv2.erode(piece, SQUARE, borderValue=0))
    along = cv2.countNonZero(border)
    if cv2.countNonZero(border & dilated(strong, 2.0)) < _SEEN * along:
        return False
    # where grey goes on outside, a facet ends and no rim runs
    ring = dilated(piece, _RING_PX[1]) & (1 - dilated(piece, _RING_PX[0]))
    if cv2.countNonZero(ring & strong) > _MOST_GREY * cv2.countNonZero(ring):
        return False
    return cv2.countNonZero(border & dilated(strong & places.free.view(np.uint8), 2.0)) >= _FREE * along
