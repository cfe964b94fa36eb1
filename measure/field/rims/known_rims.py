"""See-through pieces known by their rims before components are taken apart: several bits, or part of one."""

from collections.abc import Iterable, Iterator

import cv2
import numpy as np

from measure.field.ground.light import Light
from measure.field.rims.faint_boxes import faint_boxes
from measure.field.rims.faint_rims import dark_lines, faint_rims
from measure.field.rims.fragments import rim_groups
from measure.field.rims.lit_middles import lit_middles
from measure.field.rims.lit_walls import lit_walls
from measure.field.rims.rim_chance import by_chance


def known_rims(
    labels: np.ndarray,
    stats: np.ndarray,
    light: Light,
    least_px2: float,
    factor: float,
    smooth_ground: bool,
) -> np.ndarray:
    """Give pieces known by their rims numbers of their own.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        Components at the low level; pieces are numbered from K on, in place.
    stats : (K, 5) ndarray of int32
        Boxes and areas of the components as OpenCV gives them.
    light : Light
    least_px2 : float
        Smallest area reported.
    factor : float
        By how much finding levels are raised.
    smooth_ground : bool
        Whether the ground has no texture of its own, where anything closes round something.

    Returns
    -------
    stats : (G, 5) ndarray of int32
        Boxes and areas of the pieces.
    """
    first, groups = len(stats), [*rim_groups(labels, stats, light.solid_distance, least_px2)]
    if smooth_ground:
        walls = lit_walls(labels, stats, light.delta, light.oil_lab, least_px2)
        groups = [*_apart(walls, groups)]
    boxes = _put_together(labels, first, light.solid_distance, groups)
    if smooth_ground:
        middles = lit_middles(labels, stats, light.delta, light.oil_lab, least_px2)
        boxes += numbered_from(labels, first + len(boxes), middles)
        lines = dark_lines(light, labels, factor)
        if lines is not None:
            crystals = faint_boxes(lines.ridge, labels, light.delta, light.oil_lab, least_px2)
            boxes += numbered_from(labels, first + len(boxes), crystals)
            rims = faint_rims(light, labels, least_px2, factor, lines)
            boxes += numbered_from(labels, first + len(boxes), rims)
    return np.array(boxes, stats.dtype).reshape(-1, 5)


def _apart(*sets: Iterable[tuple[list[int], np.ndarray]]) -> Iterator[tuple[list[int], np.ndarray]]:
    """Sets of bits with their hulls, each bit in the first of them only."""
    used: set[int] = set()
    for each in sets:
        for bits, hull in each:
            if not used & set(bits):
                used |= set(bits)
                yield bits, hull


def _put_together(
    labels: np.ndarray, first: int, distance: np.ndarray, groups: list[tuple[list[int], np.ndarray]]
) -> list[list[int]]:
    """Give the bits of each broken rim one number from the first on, in place; boxes and areas."""
    boxes: list[list[int]] = []
    for bits, hull in groups:
        if by_chance(labels, distance, bits, hull):
            continue
        (x0, y0), (x1, y1) = hull.min(axis=0), hull.max(axis=0) + 1
        crop = labels[y0:y1, x0:x1]
        inside = np.zeros(crop.shape, np.uint8)
        cv2.fillConvexPoly(inside, hull - [x0, y0], 1)
        crop[(inside > 0) & ((crop == 0) | np.isin(crop, bits))] = first + len(boxes)
        boxes.append([x0, y0, x1 - x0, y1 - y0, int(inside.sum())])
    return boxes


def numbered_from(
    labels: np.ndarray, first: int, pieces: Iterable[tuple[slice, slice, np.ndarray]]
) -> list[list[int]]:
    """Give pieces in windows numbers from the first on, in place; their boxes and areas."""
    boxes: list[list[int]] = []
    for rows, cols, piece in pieces:
        labels[rows, cols][piece > 0] = first + len(boxes)
        mask = piece.view(np.uint8)
        x, y, w, h = cv2.boundingRect(mask)
        boxes.append([cols.start + x, rows.start + y, w, h, cv2.countNonZero(mask)])
    return boxes
