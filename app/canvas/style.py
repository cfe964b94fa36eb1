"""How a piece is drawn: one style a kind and state, taken from the theme's marks."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QGuiApplication, QPen

from app.theme import KIND_STYLE
from measure import flags
from measure.model import KINDS
from measure.particles import Particles

DOUBTFUL = 0.3  # chance of being wrong from which a piece is marked as doubtful

COUNTED, NOT_COUNTED, ASIDE = 0, 1, 2  # counted; kept but not counted (meets the frame...); set aside
PREVIEW = 3  # a group of its own (no kind has a fourth state): outlines that are only proposed

_NOT_COUNTED_BITS = flags.bits("touches_frame", "meets_zone", "repeat")
_SETTLED_BITS = _NOT_COUNTED_BITS | flags.bits("looked_at")  # no doubt that anyone need look at
_PROPOSED = ("#ff8fd0", "#000000")


@dataclass(frozen=True)
class LineStyle:
    """Line of one group of outlines: its colour, the wider stroke beneath, dashes in line widths, letter."""

    colour: QColor
    casing: QColor
    dashes: tuple[float, ...] = ()
    letter: str = ""

    def pen(self, width: float = 2.0) -> QPen:
        """Return a pen of constant width on screen."""
        pen = cosmetic_pen(self.colour, width)
        if self.dashes:
            pen.setDashPattern(list(self.dashes))
            pen.setCapStyle(Qt.PenCapStyle.FlatCap)
        return pen


def cosmetic_pen(colour: QColor, width: float) -> QPen:
    """Return an unbroken pen of constant width on screen, in px at a scale of 1: finer screens take more."""
    pen = QPen(colour, width * screen_ratio())
    pen.setCosmetic(True)
    pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    return pen


def screen_ratio() -> float:
    """Return how many pixels of the screen make one of a plain screen."""
    app = QGuiApplication.instance()
    return app.devicePixelRatio() if isinstance(app, QGuiApplication) else 1.0


@lru_cache(maxsize=64)
def group_style(group: int) -> LineStyle:
    """Return the style of a group as made by `group_of`, or of `PREVIEW`."""
    if group == PREVIEW:
        return LineStyle(QColor(_PROPOSED[0]), _faded(_PROPOSED[1], 220), (4.0, 2.0))
    style, state = KIND_STYLE[KINDS[group // 4]], group % 4
    if state == ASIDE:
        return LineStyle(_faded(style.colour, 200), _faded(style.casing, 130), (1.0, 4.0), style.letter)
    if state == NOT_COUNTED:
        return LineStyle(_faded(style.colour, 160), _faded(style.casing, 130), style.dashes, style.letter)
    return LineStyle(QColor(style.colour), _faded(style.casing, 220), style.dashes, style.letter)


def group_of(particles: Particles, counted: np.ndarray | None = None) -> np.ndarray:
    """Return what decides the style of each particle: kind times 4 plus state, (K,) ndarray of int.

    ``counted``, (K,) ndarray of bool, says which are in the size figures where more than flags decides it.
    """
    return particles["kind"].astype(int) * 4 + states(particles, counted)


def states(particles: Particles, counted: np.ndarray | None = None) -> np.ndarray:
    """Return the state of each particle, (K,) ndarray of int."""
    if counted is None:
        counted = (particles["flags"] & _NOT_COUNTED_BITS) == 0
    state = np.where(counted, COUNTED, NOT_COUNTED)
    return np.where(particles["set_aside"] != "", ASIDE, state)


def doubtful(particles: Particles) -> np.ndarray:
    """Return which particles are to be marked as doubtful, (K,) ndarray of bool."""
    return (particles["doubt"] >= DOUBTFUL) & ((particles["flags"] & _SETTLED_BITS) == 0)


def _faded(colour: str, alpha: int) -> QColor:
    made = QColor(colour)
    made.setAlpha(alpha)
    return made
