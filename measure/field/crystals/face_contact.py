"""Crystals that touch by a face: told from one crystal by the line between them, which is both their rims.

Two cubes side by side close round a convex place together, and so do the facets of one crystal. Where two
crystals meet their rims do too, so the line between them is at least as dark as the rim about them, and runs
straight through from one side to the other; both parts are blocks. The edge between two facets is fainter,
cuts a narrow strip off, or meets others in a corner.
"""

import cv2
import numpy as np

from measure.field.basics.masks import dilated, disc
from measure.field.basics.quick import percentile

_AS_DARK = 0.9  # height of the line over that of the rim
_BLOCK = 0.4  # shorter over longer side of a part, and of the smaller over the larger part
_THROUGH = 0.6  # length of the line over the size of the smaller part
_FEW_PX = 4


def parted_at_contacts(
    piece: np.ndarray, faces: list[np.ndarray], lines: np.ndarray, half: float
) -> list[list[np.ndarray]]:
    """Put the faces of a convex place into those of each crystal in it.

    Parameters
    ----------
    piece : (M, N) ndarray of uint8
        What the faces make together, its rim included.
    faces : list of (M, N) ndarray of uint8
        Places closed in by lines, one at least.
    lines : (M, N) ndarray of uint8 or float32
        Darkness of thin lines over what they run through.
    half : float
        Half the width of a line, px.

    Returns
    -------
    groups : list of list of (M, N) ndarray of uint8
        One group where it is one crystal.
    """
    chain = _chain(faces, half)
    if chain is None:
        return [faces]
    border = piece & (1 - cv2.erode(piece, disc(1.0), borderValue=0))
    inner = np.bitwise_or.reduce([dilated(shared, half + 1.0) for _, shared in chain[1:]])
    rim = _height(lines, dilated(border, half) & (1 - inner))
    groups = [[chain[0][0]]]
    for face, shared in chain[1:]:
        if _height(lines, shared) >= _AS_DARK * rim and _are_blocks(groups[-1], face, shared):
            groups.append([face])
        else:
            groups[-1].append(face)
    return groups


def _chain(faces: list[np.ndarray], half: float) -> list[tuple[np.ndarray, np.ndarray]] | None:
    """Faces in a row, each with what it shares with the one before; None where they lie otherwise."""
    near = [dilated(face, half + 1.5) for face in faces]
    beside: list[list[int]] = [[] for _ in faces]
    for i in range(len(faces)):
        for j in range(i):
            if cv2.countNonZero(near[i] & near[j]) >= _FEW_PX:
                beside[i].append(j)
                beside[j].append(i)
    ends = [k for k, others in enumerate(beside) if len(others) == 1]
    if len(ends) != 2 or any(len(others) not in (1, 2) for others in beside):
        return None
    row = [ends[0]]
    while len(row) < len(faces):
        following = [k for k in beside[row[-1]] if k not in row]
        if not following:
            return None
        row.append(following[0])
    return [(faces[k], near[k] & near[before]) for before, k in zip([row[0], *row], row, strict=False)]


def _height(lines: np.ndarray, where: np.ndarray) -> float:
    values = lines[where > 0].astype(np.float32)
    return percentile(values, 75) if values.size else 0.0


def _are_blocks(before: list[np.ndarray], face: np.ndarray, shared: np.ndarray) -> bool:
    """Whether what lies on both sides of a line is as wide as a crystal, and the line runs all through."""
    sides = [_sides(np.bitwise_or.reduce(before)), _sides(face)]
    sizes = [float(np.sqrt(short * long)) for short, long in sides]
    if min(short / long for short, long in sides) < _BLOCK or min(sizes) < _BLOCK * max(sizes):
        return False
    return _sides(shared)[1] >= _THROUGH * min(sizes)


def _sides(mask: np.ndarray) -> tuple[float, float]:
    """Shorter and longer side of the narrowest box about a mask, px."""
    _, (wide, high), _ = cv2.minAreaRect(cv2.findNonZero(mask))
    return min(wide, high) + 1.0, max(wide, high) + 1.0
