"""Skin flakes that lie on a kernel: redder, darker areas inside a piece, with an edge of their own.

A flake that reaches beyond its kernel is cut off by its colour. One that lies inside the kernel's outline
changes nothing about that outline, so it is looked for in it: red-brown skin takes green light away where the
kernel hardly does, which shows as a step of CIELAB a* that no thicker or darker place of the kernel has.
The kernel keeps its outline, and the flake becomes a piece of its own. In a skin such a place is a fold.
"""

from dataclasses import replace

import cv2
import numpy as np

from measure.field.basics.found import Found
from measure.field.basics.masks import SQUARE, dilated, drawn, eroded, numbered, solidity
from measure.field.basics.outline import area
from measure.field.basics.quick import colours_at, median, percentile
from measure.field.edges.edge import place_edge
from measure.field.ground.absorbance import density
from measure.field.ground.light import Light
from measure.field.kinds.kind_model import green_between
from measure.flags import bits

_FLAG = bits("touching", "overlap")
_UNREST, _SPAN = 1.5, 6.0  # deviation and reach of a* inside a piece, from which it is looked at, CIELAB
_REDDER, _DARKER = 7.0, -6.0  # steps of a* and lightness of the thinnest skin over its kernel, CIELAB
_CLEAR = 6.0  # step of a* over the spread of the kernel beside the flake; streaks of a skin have less
_OWN_RED = 0.6  # the step over the flake's own a*; a skin is red all over
_YELLOW = 0.2  # CIELAB b* over a* of what is brown and not violet
_EDGE_PX = 3.0  # of a piece, where blur mixes it with the oil
_NEAR_PX, _FAR_PX = 3.0, 7.0  # from a flake, between which its kernel is looked at
_INSIDE_PX = 1.5
_FEW_PX = 12
_REACH = np.ones((7, 7), np.uint8)  # within which the step at a flake's edge must lie
_STEEP, _SHARP = 0.6, 0.7  # share of the step there, and share of the edge along which it is
_MOST_SHARE = 0.5  # of the kernel's area
_FREE_PX, _MOST_FREE = 5.0, 0.75  # reach from the kernel's outline; share of the flake's edge within it
_LEAST_SOLIDITY = 0.55
_NEW_SHARE = 0.7  # of a flake's area that no other piece found covers
_CALM_SIGMA_PX = 1.0
_MARGIN_PX = 4


def with_flakes(found: Found, light: Light, least_px2: float) -> Found:
    """Add the flakes that lie inside pieces.

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
        The same pieces, and after them the flakes, in the cluster of their kernel.
    """
    added: list[tuple[np.ndarray, int]] = []
    parent = found.parent.copy()
    flags = found.flags.copy()
    from shapely import STRtree, box

    boxes = np.array([[*o.min(axis=0), *o.max(axis=0)] for o in found.outlines]).reshape(-1, 4)
    tree = STRtree(box(*boxes.T))
    for k in np.flatnonzero((found.flags & bits("rim_only")) == 0):
        for outline in _flakes_in(found.outlines[k], light, least_px2):
            near = tree.query(box(*outline.min(axis=0), *outline.max(axis=0)))
            if _is_found(outline, [found.outlines[n] for n in near if n != k]):
                continue
            if parent[k] == 0:
                parent[k] = parent.max(initial=0) + 1
            flags[k] |= bits("touching")
            added.append((outline, int(parent[k])))
    if not added:
        return found
    return replace(
        found,
        outlines=[*found.outlines, *(outline for outline, _ in added)],
        parent=np.concatenate([parent, [n for _, n in added]]).astype(np.int32),
        flags=np.concatenate([flags, [_FLAG] * len(added)]).astype(np.int32),
        origin=np.concatenate([found.origin, [1] * len(added)]).astype(np.int8),
    )


def _is_found(flake: np.ndarray, others: list[np.ndarray]) -> bool:
    """Whether a flake is part of pieces that lie over its kernel and were found."""
    low = np.floor(flake.min(axis=0))
    shape = tuple(np.ceil(flake.max(axis=0) - low).astype(int)[::-1] + 1)
    own = drawn(flake - low, shape)
    rest = own.copy()
    for outline in others:
        rest &= 1 - drawn(outline - low, shape)
    return cv2.countNonZero(rest) < _NEW_SHARE * cv2.countNonZero(own)


def _flakes_in(outline: np.ndarray, light: Light, least_px2: float) -> list[np.ndarray]:
    """Outlines of the flakes inside a piece."""
    low = np.maximum(np.floor(outline.min(axis=0)).astype(int) - _MARGIN_PX, 0)
    high = np.ceil(outline.max(axis=0)).astype(int) + _MARGIN_PX + 1
    delta = light.delta[low[1] : high[1], low[0] : high[0]]
    mask = drawn(outline - low, delta.shape[:2])
    red = np.ascontiguousarray(delta[..., 1])
    if cv2.countNonZero(mask) * _MOST_SHARE < least_px2 or cv2.meanStdDev(red, mask=mask)[1][0, 0] < _UNREST:
        return []
    core = eroded(mask, _EDGE_PX)
    if cv2.countNonZero(core) < least_px2:
        return []
    red = cv2.GaussianBlur(red, (0, 0), _CALM_SIGMA_PX)
    usual, most = median(red[core > 0]), percentile(red[core > 0], 98)
    if most - usual < _SPAN:
        return []
    count, parts, stats = numbered(((red > 0.5 * (usual + most)) & (core > 0)).view(np.uint8), 4)
    placed = []
    for k in range(1, count):
        flake = (parts == k).view(np.uint8)
        large = 0.5 * least_px2 <= stats[k, cv2.CC_STAT_AREA] <= _MOST_SHARE * cv2.countNonZero(mask)
        beside = _kernel_beside(flake, mask, core, red, delta) if large else None
        if beside is None or _is_tanned(colours_at(delta, beside), light.oil_lab):
            continue
        own = delta - np.median(colours_at(delta, beside), axis=0)
        others = np.where(mask > 0, 0, 1) > 0
        edge = place_edge(own, flake, others, light_weight=light.light_weight)
        if edge is not None and len(edge) > 3 and area(edge) >= least_px2:
            placed.append(edge + low.astype(np.float32))
    return placed


def _is_tanned(colours: np.ndarray, oil_lab: np.ndarray) -> bool:
    """Whether what a flake would lie on, (K, 3), is a skin: tannins take green nearly as much as blue."""
    dense = density(np.median(colours, axis=0)[None, None].astype(np.float32), oil_lab)[0] / np.log(10.0)
    return float(green_between(dense)[0]) > 0.0


def _kernel_beside(
    flake: np.ndarray, mask: np.ndarray, core: np.ndarray, red: np.ndarray, delta: np.ndarray
) -> np.ndarray | None:
    """Where the kernel shows beside a flake, (M, N) bool; None where it is no flake."""
    ring = (dilated(flake, _FAR_PX) > 0) & (dilated(flake, _NEAR_PX) == 0) & (core > 0)
    if np.count_nonzero(ring) < _FEW_PX or solidity(flake) < _LEAST_SOLIDITY:
        return None
    inner = eroded(flake, _INSIDE_PX)
    inside = (inner if inner.any() else flake) > 0
    usual = median(red[ring])
    own = median(red[inside])
    step = own - usual
    unrest = 1.4826 * median(np.abs(red[ring] - usual))
    # a pale middle is nearer to the oil's colour than the piece round it, whatever that is
    if own < _REDDER or step < max(_REDDER, _CLEAR * unrest, _OWN_RED * own):
        return None
    darker = median(delta[..., 0][inside]) - median(delta[..., 0][ring])
    if darker > _DARKER or median(delta[..., 2][inside]) < _YELLOW * own:
        return None
    edge = (flake > 0) & (cv2.erode(flake, SQUARE) == 0)
    free = cv2.distanceTransform(mask, cv2.DIST_L2, 5)[edge] <= _FREE_PX
    steep = (cv2.dilate(red, _REACH) - cv2.erode(red, _REACH))[edge] > _STEEP * step
    return ring if free.mean() <= _MOST_FREE and steep.mean() >= _SHARP else None
