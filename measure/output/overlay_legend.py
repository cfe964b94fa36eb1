"""The key below a picture with outlines: what each line means, for those that are in it."""

import cv2
import numpy as np

from measure.model import KINDS
from measure.output.overlay import REPEAT, draw_overlay
from measure.particles import Particles, make_particles

_GROUND, _INK = (250, 250, 250), (40, 40, 40)
_LEAST_PX, _MOST_PX, _SHARE = 11, 40, 1 / 75  # height of the words, of the width of the picture
_FONT = cv2.FONT_HERSHEY_SIMPLEX
_FONT_PX = 22  # height of its capitals at scale 1
ASIDE_WORDS, REPEAT_WORDS = "set aside, not counted", "counted on another field"


def with_legend(drawn: np.ndarray, particles: Particles) -> np.ndarray:
    """Return a picture with outlines and, below it, the key of the lines in it.

    Parameters
    ----------
    drawn : (M, N, 3) ndarray of uint8
        As `measure.output.overlay.draw_overlay` gives it.
    particles : Particles
        What was drawn.

    Returns
    -------
    (M + L, N, 3) ndarray of uint8
        The picture above is untouched, so places in it stay what they were.
    """
    entries = _entries(particles)
    if not entries:
        return drawn
    width = drawn.shape[1]
    high = int(np.clip(width * _SHARE, _LEAST_PX, _MOST_PX))
    widths = [_width(words, high) for words, *_ in entries]
    places, x, row = [], high, 0
    for wide in widths:
        if x > high and x + wide > width:
            x, row = high, row + 1
        places.append((x, row))
        x += wide
    strip = np.full(((2 * row + 2) * high + high, width, 3), _GROUND, np.uint8)
    for (words, kind, reason, flag), (x, line) in zip(entries, places, strict=True):
        strip = _one(strip, words, (kind, reason, flag), x, (2 * line + 1) * high, high)
    return np.vstack([drawn, strip])


def _entries(particles: Particles) -> list[tuple[str, int, str, int]]:
    """Words, kind, reason for setting aside and flags of each sort of line there is."""
    aside = particles["set_aside"] != ""
    again = aside & (particles["flags"] & REPEAT > 0)
    found: list[tuple[str, int, str, int]] = [
        (kind.value, code, "", 0)
        for code, kind in enumerate(KINDS)
        if (~aside & (particles["kind"] == code)).any()
    ]
    if (aside & ~again).any():
        found.append((ASIDE_WORDS, 0, ASIDE_WORDS, 0))
    if again.any():
        found.append((REPEAT_WORDS, 0, REPEAT_WORDS, REPEAT))
    return found


def _width(words: str, high: int) -> int:
    return 5 * high + cv2.getTextSize(words, _FONT, high / _FONT_PX, 1)[0][0]


def _one(strip: np.ndarray, words: str, look: tuple[int, str, int], x: int, y: int, high: int) -> np.ndarray:
    """Draw one entry: an oval with the line, and its words."""
    from measure.model import Picture

    kind, reason, flag = look
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    oval = np.c_[x + 1.5 * high + 1.5 * high * np.cos(angle), y + 0.5 * high + 0.7 * high * np.sin(angle)]
    piece = make_particles([oval.astype(np.float32)], kind=kind, set_aside=reason, flags=flag)
    drawn = draw_overlay(Picture(strip), piece)
    thick = max(1, high // 12)
    at = (x + int(3.6 * high), y + high)
    cv2.putText(drawn, words, at, _FONT, high / _FONT_PX, _INK, thick, cv2.LINE_AA)
    return drawn
