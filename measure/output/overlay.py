"""A picture with the outlines of its particles drawn in, for a folder of results or a report."""

import itertools
from collections.abc import Sequence

import cv2
import numpy as np

from measure.errors import InvalidInput
from measure.flags import bits
from measure.model import KINDS, Kind, Picture
from measure.particles import Particles

# told apart by colour and by dash pattern (px drawn, px left out); safe for colour-blind eyes
KIND_RGB: dict[Kind, tuple[int, int, int]] = {
    Kind.KERNEL: (51, 51, 182),
    Kind.SKIN: (255, 140, 66),
    Kind.SALT: (47, 195, 176),
    Kind.OTHER: (74, 71, 67),
}
# a halo under the line, light under dark ones and dark under light ones, so that it shows on any ground
HALO_RGB: dict[Kind, tuple[int, int, int]] = {
    Kind.KERNEL: (255, 255, 255),
    Kind.SKIN: (0, 0, 0),
    Kind.SALT: (0, 0, 0),
    Kind.OTHER: (255, 255, 255),
}
_DASHES: dict[Kind, tuple[int, int]] = {
    Kind.KERNEL: (1, 0),
    Kind.SKIN: (9, 4),
    Kind.SALT: (4, 3),
    Kind.OTHER: (2, 4),
}
_ASIDE = (1, 6)
_CROSS = 0.4  # length of the strokes through a piece that is counted on another field, of its box
REPEAT = bits("repeat")
_SHIFT = 4  # fractional bits of the outline when drawn
_STEP_PX = 0.7  # nearer points of an outline do not show


def draw_overlay(picture: Picture, particles: Particles) -> np.ndarray:
    """Draw every outline over the picture, with a halo; those set aside are dotted.

    A piece that another field counts is crossed out too: it is no fault, and its twin is to be found there.

    Returns
    -------
    (M, N, 3) ndarray of uint8
        RGB.
    """
    pixels = picture.pixels
    if pixels.dtype != np.uint8:
        pixels = (pixels >> 8).astype(np.uint8)
    canvas = np.ascontiguousarray(pixels).copy()
    thick = max(2, round(min(canvas.shape[:2]) / 900))  # a thinner line would show paler than it is
    lines: dict[tuple[Kind, bool], list[np.ndarray]] = {}
    for outline, code, reason in zip(
        _thinned(particles.outlines), particles["kind"], particles["set_aside"], strict=True
    ):
        if len(outline) > 1:  # a piece taken in from a table has none
            lines.setdefault((KINDS[code], bool(reason)), []).append(outline)
    # every halo lies below every line, so that none hides a neighbour's; all of a sort are drawn in one call
    for (kind, _), outlines in lines.items():
        _draw(canvas, [_fixed(o) for o in outlines], True, HALO_RGB[kind], thick + 3)
    for (kind, aside), outlines in lines.items():
        dash = _ASIDE if aside else _DASHES[kind]
        if dash[1] == 0:
            _draw(canvas, [_fixed(o) for o in outlines], True, KIND_RGB[kind], thick)
        else:
            _draw(canvas, _dashes(outlines, dash, thick), False, KIND_RGB[kind], thick)
    _cross_out(canvas, particles, thick)
    return canvas


def _cross_out(canvas: np.ndarray, particles: Particles, thick: int) -> None:
    """Cross out the pieces that another field counts."""
    again = (particles["set_aside"] != "") & (particles["flags"] & REPEAT > 0)
    strokes: dict[Kind, list[np.ndarray]] = {}
    for place in np.flatnonzero(again):
        outline = particles.outlines[place]
        if len(outline) > 1:
            low, high = outline.min(axis=0), outline.max(axis=0)
            corners = np.array([low, high, (low[0], high[1]), (high[0], low[1])])
            middle = (low + high) / 2
            arms = _fixed(middle + (corners - middle) * _CROSS).reshape(2, 2, 2)
            strokes.setdefault(KINDS[particles["kind"][place]], []).extend(arms)
    for kind, lines in strokes.items():
        _draw(canvas, lines, False, HALO_RGB[kind], thick + 3)
        _draw(canvas, lines, False, KIND_RGB[kind], thick)


def _draw(canvas: np.ndarray, lines: list[np.ndarray], closed: bool, colour: tuple, thick: int) -> None:
    cv2.polylines(canvas, lines, closed, colour, thick, cv2.LINE_AA, _SHIFT)


def _fixed(outline: np.ndarray) -> np.ndarray:
    # outline coordinates put the first pixel's corner at 0, 0; drawing puts its centre there
    return np.round((outline - 0.5) * (1 << _SHIFT)).astype(np.int32)


def _thinned(outlines: Sequence[np.ndarray]) -> list[np.ndarray]:
    """Leave out points nearer to the last one than shows; a small picture of a large field has many."""
    if not outlines:
        return []
    points = np.concatenate(outlines)
    first = np.cumsum([0, *(len(o) for o in outlines)])
    step = np.hypot(*np.diff(points, axis=0, prepend=points[:1]).T)
    cell = np.floor(np.cumsum(step, dtype=np.float64) / _STEP_PX)
    keep = np.diff(cell, prepend=-1) > 0
    keep[first[:-1][np.diff(first) > 0]] = True
    thin = [points[a:b][keep[a:b]] for a, b in itertools.pairwise(first)]
    return [t if len(t) > 3 else o for t, o in zip(thin, outlines, strict=True)]


def _dashes(outlines: list[np.ndarray], dash: tuple[int, int], thick: int) -> list[np.ndarray]:
    """Return the pieces of line that are drawn, each (2, 2) in fractions of a pixel."""
    drawn = []
    for outline in (_with_steps(o, thick) for o in outlines):
        after = np.roll(outline, -1, axis=0)
        run = np.cumsum(np.hypot(*(after - outline).T))
        phase = (np.concatenate([[0], run[:-1]]) / thick) % sum(dash)
        shown = phase < dash[0]
        drawn.append(np.stack([_fixed(outline[shown]), _fixed(after[shown])], axis=1))
    return list(np.concatenate(drawn))


def _with_steps(outline: np.ndarray, step_px: float) -> np.ndarray:
    """Put points between those of an outline that are farther apart than a step; long sides have few."""
    way = np.roll(outline, -1, axis=0) - outline
    parts = np.maximum(1, np.ceil(np.hypot(*way.T) / step_px)).astype(int)
    if parts.max() == 1:
        return outline
    ends = np.cumsum(parts)
    share = (np.arange(ends[-1]) - np.repeat(ends - parts, parts)) / np.repeat(parts, parts)
    return np.repeat(outline, parts, axis=0) + share[:, None] * np.repeat(way, parts, axis=0)


def png_bytes(pixels: np.ndarray) -> bytes:
    """Return RGB pixels as the bytes of a PNG file.

    Raises
    ------
    InvalidInput
        If the pixels cannot be coded.
    """
    done, data = cv2.imencode(".png", cv2.cvtColor(pixels, cv2.COLOR_RGB2BGR))
    if not done:
        raise InvalidInput("The picture with the outlines cannot be made a PNG file.")
    return data.tobytes()
