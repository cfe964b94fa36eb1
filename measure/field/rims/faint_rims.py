"""See-through pieces whose rim is too faint for the finding levels, known by what it closes in.

A crystal that bends light hardly more than the oil does shows as a thin line a few noise units dark. No place
of it stands out more than a speck does, but no row of specks closes round an even, full place.
"""

from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, fill_holes, solidity
from measure.field.basics.quick import median, percentile
from measure.field.ground.light import Light

_LINE = 4.5  # noise units by which a line must be darker than what is beside it, at sensitivity 0.5
_LINE_PX = 9  # lines up to nearly this width
_SMOOTH_PX = 0.8
_STEPS = 20.0  # of a unit of lightness
_LEAST_NOISE = 0.1  # units of lightness
_STRIP_PX = 512
_INSIDE = 0.3  # of the smallest area reported, that the place inside the line must have
_LARGEST = 0.1  # of the picture, up to which it is a piece
_FULL, _KEPT = 0.9, 0.7  # solidity of the inside, and share of it left without what is narrow
_RIM_PX = 2  # from the inside to the outer edge of the line
_SECTORS, _GAPS, _ABOVE = 24, 15, 1.1  # share of the sectors, in per cent, that may be fainter than this
_SPECKS = 0.1  # share of the inside that specks lying on the piece may have
_MEDIAN = 1.9  # of the level, that half of the rim must reach; squares of compressed noise reach 1.8
_BESIDE_PX, _KNOWN = 3, 0.03  # share of the surroundings that other pieces may have
_LIKE_BESIDE = 3.0  # difference of the inside from the surroundings, over the darkness of the line


class DarkLines(NamedTuple):
    """Thin lines darker than what is beside them.

    Attributes
    ----------
    darker : (M, N) ndarray of uint8
        By how much each pixel is darker than its surroundings, where it lies on a thin line.
    usual, level : float
        The same of the oil, and from which on it is a line.
    ridge : (M, N) ndarray of uint8
        The lines.
    """

    darker: np.ndarray
    usual: float
    level: float
    ridge: np.ndarray


def dark_lines(light: Light, labels: np.ndarray, factor: float = 1.0) -> DarkLines | None:
    """Find thin dark lines.

    Parameters
    ----------
    light, labels, factor
        As in `faint_rims`.

    Returns
    -------
    lines : DarkLines or None
        None where no oil is seen.
    """
    lines = _lines(light.delta)
    apart = lines[::3, ::3][labels[::3, ::3] == 0].astype(np.float32)
    if not apart.size:
        return None
    usual = median(apart)
    noise = max(1.4826 * median(np.abs(apart - usual)), _LEAST_NOISE * _STEPS)
    level = usual + _LINE * factor * noise
    ridge: np.ndarray = cv2.morphologyEx((lines > level).view(np.uint8), cv2.MORPH_CLOSE, SQUARE)
    return DarkLines(lines, usual, level, ridge)


def faint_rims(
    light: Light, labels: np.ndarray, least_px2: float, factor: float = 1.0, seen: DarkLines | None = None
) -> list[tuple[slice, slice, np.ndarray]]:
    """Find places that a faint dark line closes in.

    Parameters
    ----------
    light : Light
    labels : (M, N) ndarray of int32
        Components found already; 0 for the oil.
    least_px2 : float
        Smallest area reported.
    factor : float
        By how much the level is raised or lowered.
    seen : DarkLines, optional
        The lines, where they are known.

    Returns
    -------
    rims : list of (slice, slice, (m, n) ndarray of uint8)
        Rows, columns and mask of each piece, its rim with it.
    """
    seen = dark_lines(light, labels, factor) if seen is None else seen
    if seen is None:
        return []
    lines, usual, level, ridge = seen
    lined, tree = cv2.findContours(ridge, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
    holes: list[np.ndarray] = []
    if lined:
        holes = [line for line, (_, _, _, outer) in zip(lined, tree[0].tolist(), strict=True) if outer >= 0]
    rims = []
    height, width = labels.shape
    m = 2 * _BESIDE_PX
    for hole in holes:
        x, y, w, h = cv2.boundingRect(hole)
        if not _INSIDE * least_px2 <= cv2.contourArea(hole) < _LARGEST * labels.size:
            continue
        if x == 0 or y == 0 or x + w == width or y + h == height:
            continue
        box = np.s_[max(0, y - m) : y + h + m, max(0, x - m) : x + w + m]
        place: np.ndarray = np.zeros(labels[box].shape, np.uint8)
        cv2.drawContours(place, [hole], 0, 1, cv2.FILLED, offset=(-box[1].start, -box[0].start))
        inside = fill_holes(place & (1 - ridge[box]))
        piece = _piece(inside, labels[box], lines[box], level - usual, usual, light.delta[box][..., 0])
        if piece is not None and cv2.countNonZero(piece) >= least_px2:
            rims.append((*box, piece))
    return rims


def _lines(delta: np.ndarray) -> np.ndarray:
    """How much darker than its surroundings each pixel is, where it lies on a thin line, (M, N) uint8."""
    wide = np.ones((_LINE_PX, _LINE_PX), np.uint8)
    lines = np.empty(delta.shape[:2], np.uint8)
    for top in range(0, len(delta), _STRIP_PX):
        first = max(0, top - _LINE_PX - 3)
        lightness: np.ndarray = delta[first : top + _STRIP_PX + _LINE_PX + 3, :, 0].astype(np.float32)
        lightness = cv2.GaussianBlur(lightness, (0, 0), _SMOOTH_PX)
        dark = cv2.morphologyEx(lightness, cv2.MORPH_BLACKHAT, wide)
        lines[top : top + _STRIP_PX] = cv2.convertScaleAbs(dark, alpha=_STEPS)[top - first :][:_STRIP_PX]
    return lines


def _piece(
    inside: np.ndarray,
    labels: np.ndarray,
    lines: np.ndarray,
    step: float,
    usual: float,
    lightness: np.ndarray,
) -> np.ndarray | None:
    """The place with its rim, if it is full, the rim whole, and no known piece lies in it or beside it."""
    if (labels[inside > 0] > 0).mean() > _SPECKS:
        return None
    even = cv2.morphologyEx(inside, cv2.MORPH_OPEN, SQUARE)
    if cv2.countNonZero(even) < _KEPT * cv2.countNonZero(inside) or solidity(even) < _FULL:
        return None
    piece = cv2.dilate(even, SQUARE, iterations=_RIM_PX)
    beside = cv2.dilate(piece, SQUARE, iterations=_BESIDE_PX) > 0
    if (labels[beside] > 0).mean() > _KNOWN:
        return None
    rows, cols = np.nonzero(piece - even)
    down, across = np.argwhere(even > 0).mean(axis=0)
    turn = (np.arctan2(rows - down, cols - across) + np.pi) / (2 * np.pi)
    darkest = np.zeros(_SECTORS)
    np.maximum.at(darkest, (turn * _SECTORS).astype(int) % _SECTORS, lines[rows, cols] - usual)
    usually = median(darkest)
    if percentile(darkest, _GAPS) < _ABOVE * step or usually < _MEDIAN * step:
        return None
    outside = beside & (piece == 0)
    differs = abs(median(lightness[even > 0]) - median(lightness[outside]))
    return piece if differs <= _LIKE_BESIDE * usually / _STEPS else None
