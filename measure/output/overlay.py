"""A picture with the outlines of its particles drawn in, for a folder of results or a report."""

import cv2
import numpy as np

from measure.errors import InvalidInput
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
_SHIFT = 4  # fractional bits of the outline when drawn


def draw_overlay(picture: Picture, particles: Particles) -> np.ndarray:
    """Draw every outline over the picture, with a halo; those set aside are dotted.

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
    for outline, code, reason in zip(
        particles.outlines, particles["kind"], particles["set_aside"], strict=True
    ):
        kind = KINDS[code]
        _draw_outline(canvas, outline, HALO_RGB[kind], (1, 0), thick + 3)
        _draw_outline(canvas, outline, KIND_RGB[kind], _ASIDE if reason else _DASHES[kind], thick)
    return canvas


def _draw_outline(
    canvas: np.ndarray, outline: np.ndarray, colour: tuple, dash: tuple[int, int], thick: int
) -> None:
    # outline coordinates put the first pixel's corner at 0, 0; drawing puts its centre there
    points = np.round((outline - 0.5) * (1 << _SHIFT)).astype(np.int32)
    if dash[1] == 0:
        cv2.polylines(canvas, [points], True, colour, thick, cv2.LINE_AA, _SHIFT)
        return
    closed = np.vstack([outline, outline[:1]])
    run = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    phase = (run[:-1] / thick) % sum(dash)
    for i in np.flatnonzero(phase < dash[0]):
        j = (i + 1) % len(points)
        cv2.line(canvas, points[i].tolist(), points[j].tolist(), colour, thick, cv2.LINE_AA, _SHIFT)


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
