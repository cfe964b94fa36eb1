"""Find the pieces of a field: a low level finds them, their own half level places their edges."""

from dataclasses import dataclass

import cv2
import numpy as np

from measure.field.cut import cut_by_shape
from measure.field.edge import local_plateau, place_edge, slope
from measure.field.light import Light
from measure.field.outline import area
from measure.field.rims import fill_insides, find_clear
from measure.flags import bits
from measure.model import FieldSettings
from measure.progress import SILENT, Progress

_SEED = 7.0  # oil noise units a piece must reach somewhere, at sensitivity 0.5
_EXTENT = 3.5  # oil noise units down to which it is followed
_EDGE_SIGMA_PX = 0.8  # smoothing of the field edges are placed on
_REPORTED = 0.7  # pieces are reported down to this share of the lower limit
_MARGIN_PX = 4


@dataclass(frozen=True)
class Found:
    """Outlines of the pieces of a field.

    Attributes
    ----------
    outlines : list of (P, 2) ndarray of float32
        Sub-pixel polygons in px, corner of the first pixel at 0, 0.
    parent : (K,) ndarray of int32
        Number shared by pieces cut from one cluster; 0 for none.
    flags : (K,) ndarray of int32
        Bits of `measure.flags` known from finding: touching, rim_only, broken_rim, overlap.
    origin : (K,) ndarray of int8
        0 found, 1 cut.
    """

    outlines: list[np.ndarray]
    parent: np.ndarray
    flags: np.ndarray
    origin: np.ndarray


def low_mask(light: Light, smallest_px: float, sensitivity: float) -> np.ndarray:
    """Pixels of all pieces at the low level, (M, N) uint8, by hysteresis."""
    factor = 4.0 ** (0.5 - sensitivity)
    distance = light.solid_distance
    low = (distance > _EXTENT * factor).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(low, connectivity=8)
    seeded = np.zeros(count, bool)
    seeded[labels[distance > _SEED * factor]] = True
    seeded &= stats[:, cv2.CC_STAT_AREA] >= 0.5 * np.pi / 4 * (_REPORTED * smallest_px) ** 2
    seeded[0] = False
    return seeded.astype(np.uint8)[labels]


def find_pieces(
    light: Light, smallest_px: float, settings: FieldSettings, progress: Progress = SILENT
) -> Found:
    """Find, cut and outline the pieces of a field.

    Parameters
    ----------
    light : Light
    smallest_px : float
        Lower limit, area-equivalent diameter; pieces are reported from 0.7 times that on.
    settings : FieldSettings
    progress : Progress

    Returns
    -------
    found : Found
    """
    mask = low_mask(light, smallest_px, settings.sensitivity)
    smooth = cv2.GaussianBlur(light.delta, (0, 0), _EDGE_SIGMA_PX)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    least = np.pi / 4 * (_REPORTED * smallest_px) ** 2
    outlines, parent, flags = [], [], []
    groups = 0
    for k in range(1, count):
        if k % 200 == 1:
            progress.report(k / count, "separating")
        box = _box(stats[k], mask.shape)
        pieces = _separate(smooth[box], labels[box], k, least, settings.cut_strength)
        offset = np.array([box[1].start, box[0].start], np.float32)
        for group in pieces:
            groups += len(group) > 1
            for outline in group:
                outlines.append(outline + offset)
                parent.append(groups if len(group) > 1 else 0)
                flags.append(bits("touching") if len(group) > 1 else 0)
    number = np.array(parent, np.int32).reshape(-1)
    return Found(outlines, number, np.array(flags, np.int32).reshape(-1), (number > 0).astype(np.int8))


def _box(stats: np.ndarray, shape: tuple[int, int]) -> tuple[slice, slice]:
    x, y, w, h = (int(v) for v in stats[:4])
    m = _MARGIN_PX
    return (
        slice(max(0, y - m), min(shape[0], y + h + m)),
        slice(max(0, x - m), min(shape[1], x + w + m)),
    )


def _separate(delta: np.ndarray, labels: np.ndarray, k: int, least: float, cut_strength: float) -> list:
    """Outlines of the pieces of one low-level component, grouped by cluster."""
    low = labels == k
    field = np.sqrt(np.einsum("ijk,ijk->ij", delta, delta))
    half, width = _above_half(field, low)
    clear = find_clear(low.astype(np.uint8), half, width, 0.7 * least)
    all_labels, groups = _parts(half & (clear == 0).astype(np.uint8), least, cut_strength)
    solid = int(all_labels.max())
    all_labels[clear > 0] = clear[clear > 0] + solid
    groups += [[n] for n in range(solid + 1, int(all_labels.max()) + 1)]
    other = (labels > 0) & ~low
    outlined = [[_outline(delta, all_labels, other, n, n > solid) for n in group] for group in groups]
    kept = [[o for o in group if o is not None and area(o) >= least] for group in outlined]
    return [group for group in kept if group]


def _parts(half: np.ndarray, least: float, cut_strength: float) -> tuple[np.ndarray, list[list[int]]]:
    """Number the parts of a mask after cutting, and list the numbers cluster by cluster."""
    count, parts, stats, _ = cv2.connectedComponentsWithStats(half, connectivity=8)
    labels = np.zeros(half.shape, np.int32)
    groups, used = [], 0
    for j in range(1, count):
        if stats[j, cv2.CC_STAT_AREA] < 0.5 * least:
            continue
        x, y, w, h = stats[j, :4]
        box = np.s_[max(0, y - 1) : y + h + 1, max(0, x - 1) : x + w + 1]
        mask = fill_insides((parts[box] == j).astype(np.uint8))
        cut = cut_by_shape(mask, cut_strength)
        inside = cut > 0
        labels[box][inside] = cut[inside] + used
        groups.append(list(range(used + 1, used + 1 + int(cut.max()))))
        used += int(cut.max())
    return labels, groups


def _above_half(field: np.ndarray, low: np.ndarray) -> tuple[np.ndarray, float]:
    """Pixels above half of the plateau beside them, and the width of the edges in px."""
    inside = field[low]
    height = float(np.percentile(inside, 80))
    steep = float(np.percentile(slope(field)[low], 90))
    width = float(np.clip(height / max(steep, 1e-3), 2.0, 40.0))
    plateau = local_plateau(np.where(low, field, 0).astype(np.float32), int(np.ceil(width)) + 1)
    return (low & (field >= 0.5 * plateau)).astype(np.uint8), width


def _outline(
    delta: np.ndarray, labels: np.ndarray, other: np.ndarray, n: int, clear: bool
) -> np.ndarray | None:
    piece = (labels == n).astype(np.uint8)
    ys, xs = np.nonzero(piece)
    if not ys.size:
        return None
    m = _MARGIN_PX
    y0, y1 = max(0, ys.min() - m), ys.max() + m + 1
    x0, x1 = max(0, xs.min() - m), xs.max() + m + 1
    box = np.s_[y0:y1, x0:x1]
    piece = piece[box]
    others = other[box] | ((labels[box] > 0) & (piece == 0))
    room = cv2.dilate(piece, np.ones((5, 5), np.uint8))
    outline = place_edge(delta[box], piece, others, room, clear)
    if outline is None or len(outline) < 4:
        return None
    return outline + np.array([x0, y0], np.float32)
