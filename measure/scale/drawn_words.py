"""Rows of words that compression has blurred, such as the time a camera writes into a corner of its pictures.

Compression leaves no exact tone, and joins letters or breaks them. What stays is how a row of words is made:
thin strokes of nearly one tone, far from that of the ground, that all begin at one row and end at another,
many side by side. Pieces that lie in a row differ in height, and their outlines are no thin strokes.
"""

import cv2
import numpy as np

from measure.model import Picture
from measure.scale.drawn_parts import Part, boxes_near_edges, is_thin

_STEP = 48  # levels by which ink differs from the ground in some channel, and from what lies beside a stroke
_ASIDE_PX = 0.004, 2  # of the picture's width, at least so much: beyond a stroke on either side
_BIN, _INKS, _FEWEST = 5, 4, 60  # bits dropped when tones are counted, tones looked at, px of one of them
_NEAR, _INKED = 60.0, 0.5  # levels from the ink that a stroke may be off, or this share of its whole step
_HEIGHT_PX = (8, 120)
_LEVEL = 0.13  # of the height, within which letters begin and end, at least a px
_APART = 1.6  # heights between letters, as between words
_LETTERS, _STROKES = 3, 8  # parts of a row, and strokes that its rows usually cross
_INK = 0.055, 0.4  # width of strokes over the height: 0.09 to 0.4; rims of crystals have 0.03
_LONG = 3.8  # length of a row over its height: 5 and more; three crystals beside one another have 3
_TAIL, _WIDE = 0.4, 3.0  # of the height, that letters reach below a row or above it, and that some are wide


def compressed_words(picture: Picture) -> tuple[np.ndarray, ...]:
    """Find rows of words near the upper and the lower edge of a picture, however it is compressed.

    Parameters
    ----------
    picture : Picture

    Returns
    -------
    boxes : tuple of (4, 2) ndarray of float
        x and y in px, corner of the first pixel at 0, 0.
    """
    return boxes_near_edges(picture, _HEIGHT_PX[0], _rows_of_words)


def _rows_of_words(band: np.ndarray) -> list[tuple[int, int, int, int]]:
    """Boxes of rows of words in a band of a picture: left, top, right, bottom, ends without."""
    ground = np.median(band[::4, ::4].reshape(-1, 3), axis=0)
    boxes: list[tuple[int, int, int, int]] = []
    for ink in _inks(band, ground):
        mask = _inked(band, ink, ground)
        for row in _rows(_parts(mask)):
            box = (row[0].left, min(p.top for p in row), row[-1].right, max(p.bottom for p in row))
            known = any(box[0] < b[2] and b[0] < box[2] and box[1] < b[3] and b[1] < box[3] for b in boxes)
            if not known and _is_written(mask[box[1] : box[3], box[0] : box[2]]):
                boxes.append(_with_small(box, mask))
    return boxes


def _with_small(box: tuple[int, int, int, int], mask: np.ndarray) -> tuple[int, int, int, int]:
    """A row of words with what else stands in its line: small letters, tails below it, stops."""
    left, top, right, bottom = box
    height = bottom - top
    above, below = max(0, round(top - _TAIL * height)), round(bottom + _TAIL * height)
    _, _, stats, _ = cv2.connectedComponentsWithStats(mask[above:below], connectivity=8)
    parts = [(x, y + above, x + w, y + above + h) for x, y, w, h, area in stats[1:].tolist() if area > 1]
    parts = sorted(
        p for p in parts if above < p[1] and p[3] < min(below, len(mask)) and p[2] - p[0] <= 2 * height
    )
    for turned in (parts, parts[::-1]):
        for p in turned:
            if max(p[0], left) - min(p[2], right) <= _APART * height:
                left, top, right, bottom = (
                    min(left, p[0]),
                    min(top, p[1]),
                    max(right, p[2]),
                    max(bottom, p[3]),
                )
    return left, top, right, bottom


def _inks(band: np.ndarray, ground: np.ndarray) -> list[np.ndarray]:
    """Tones of what is narrow and far from the ground, (3,) each, the most frequent first."""
    aside = max(_ASIDE_PX[1], round(_ASIDE_PX[0] * band.shape[1]))
    level = cv2.inRange(band, np.clip(ground - _STEP, 0, 255), np.clip(ground + _STEP, 0, 255))
    inner = np.ascontiguousarray(band[:, aside:-aside])
    far = cv2.bitwise_not(level[:, aside:-aside])
    for other in (band[:, : -2 * aside], band[:, 2 * aside :]):
        if cv2.countNonZero(far) < _FEWEST:
            return []
        far = cv2.bitwise_and(
            far, cv2.bitwise_not(cv2.inRange(cv2.absdiff(inner, other), (0,) * 3, (_STEP,) * 3))
        )
    tones = inner[far > 0]
    coarse = (tones >> _BIN).astype(np.int32) @ np.array([64, 8, 1])
    codes, counts = np.unique(coarse, return_counts=True)
    order = np.argsort(-counts, kind="stable")[:_INKS]
    return [np.median(tones[coarse == codes[k]], axis=0) for k in order if counts[k] >= _FEWEST]


def _inked(band: np.ndarray, ink: np.ndarray, ground: np.ndarray) -> np.ndarray:
    """Where a band is nearer to an ink than to the ground, (M, N) of 0 or 1."""
    near = min(_NEAR, _INKED * float(np.abs(ink - ground).max()))
    inked: np.ndarray = cv2.inRange(band, np.clip(ink - near, 0, 255), np.clip(ink + near, 0, 255))
    return inked & 1


def _parts(mask: np.ndarray) -> list[Part]:
    """Thin parts as high as letters that do not meet the border of the band."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    low, high = _HEIGHT_PX
    found = []
    for n, (x, y, w, h, area) in enumerate(stats.tolist()):
        if n == 0 or not low <= h <= high or x == 0 or y == 0:
            continue
        if x + w == mask.shape[1] or y + h == mask.shape[0]:
            continue
        own = (labels[y : y + h, x : x + w] == n).view(np.uint8)
        lines, _ = cv2.findContours(own, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
        if is_thin(area, sum(cv2.arcLength(line, True) for line in lines), h):
            found.append(Part(x, y, x + w, y + h))
    return found


def _rows(parts: list[Part]) -> list[list[Part]]:
    """Parts that stand in a row, from left to right."""
    rows: list[list[Part]] = []
    for part in sorted(parts, key=lambda p: p.left):
        for row in rows:
            if _in_row(part, row[-1]):
                row.append(part)
                break
        else:
            rows.append([part])
    return [row for row in rows if len(row) >= _LETTERS]


def _in_row(one: Part, other: Part) -> bool:
    """Whether two parts begin and end at the same rows and stand side by side."""
    height = max(one.height, other.height)
    off = max(abs(one.top - other.top), abs(one.bottom - other.bottom))
    gap = max(one.left, other.left) - min(one.right, other.right)
    return off <= max(1.0, _LEVEL * height) and gap <= _APART * height


def _is_written(mask: np.ndarray) -> bool:
    """Whether many narrow strokes stand side by side in a row's box."""
    height, width = mask.shape
    inner = mask[round(0.15 * height) : height - round(0.15 * height)]
    starts = np.count_nonzero(np.diff(np.pad(inner, ((0, 0), (1, 0))).astype(np.int8), axis=1) > 0, axis=1)
    strokes = float(np.median(starts))
    inked = float(inner.sum(axis=1).mean()) / max(strokes, 1.0)
    return width > _LONG * height and strokes >= _STROKES and _INK[0] * height <= inked <= _INK[1] * height
