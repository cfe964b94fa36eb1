"""Whether a part of a component is a see-through piece, once bodies are told from rims."""

from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, dilated, disc, eroded, solidity
from measure.field.basics.quick import percentile

CONVEX = 0.86  # solidity from which a filled rim may be one piece
CLEAR_SHARE = 0.12  # share of a see-through piece that lies below half of its rim
LEAST_RIM_PX = 3.3  # half the thickness a rim may have however small the piece
MARGIN_PX = 5  # round a part that is looked at: smoothing and the widest ring stay within it
_RIM_SHARE = 0.3  # half the thickness of a rim, over the radius of the piece
_OIL_BORDER = 0.5  # share of its border that must be oil
_FREE_SHARE = 0.4  # share of its border that must not lie against a body
_RIMMED = 0.55  # share of its border that must show a rim
_EVEN_RIM = 1.6  # thickest place of a rim over its usual thickness; more is a body inside
_ROOM = 1.7  # depth of a see-through piece over half the thickness of its rim
_INSIDE_SHARE = 0.4  # share of the strong pixels that may lie away from the border
_SHORTEST_BORDER = 2.5  # px, over the root of the area; 2.83 for a digital square on its corner
_ONE, _TWO = disc(1.0), disc(2.0)


class Rims(NamedTuple):
    """Rims of a window once its bodies are known.

    Attributes
    ----------
    filled, strong, body : (M, N) ndarray of uint8
        The component with its holes filled, its strong pixels, and those of them that lie in bodies.
    width_px : float
    """

    filled: np.ndarray
    strong: np.ndarray
    body: np.ndarray
    width_px: float

    def crop(self, box: tuple[slice, slice]) -> "RimCrop":
        """Return the same of a part of the window."""
        m = int(np.ceil(self.width_px)) + MARGIN_PX  # beyond it no body reaches into the crop
        rows, cols = box
        top, left = max(0, rows.start - m), max(0, cols.start - m)
        wide = np.s_[top : rows.stop + m, left : cols.stop + m]
        inner = np.s_[rows.start - top : rows.stop - top, cols.start - left : cols.stop - left]
        return RimCrop(
            self.filled[box], self.strong[box], self.strong[wide], self.body[wide], inner, self.width_px
        )


class RimCrop:
    """A part of a window.

    Parameters
    ----------
    filled, strong : (m, n) ndarray of uint8
    strong_about, body_about : ndarray of uint8
        Strong pixels and bodies of a wider part.
    inner : (slice, slice)
        Where in it this one lies.
    width_px : float
    """

    def __init__(
        self,
        filled: np.ndarray,
        strong: np.ndarray,
        strong_about: np.ndarray,
        body_about: np.ndarray,
        inner: tuple[slice, slice],
        width_px: float,
    ) -> None:
        self.filled, self.strong, self.width_px = filled, strong, width_px
        self._strong_about, self._body_about, self._inner = strong_about, body_about, inner
        # plain places for what is worked out once: thousands of crops are asked, and a lock takes as long
        self._free: np.ndarray | None = None
        self._near: np.ndarray | None = None

    @property
    def free(self) -> np.ndarray:
        """Where a border is no edge of a body beside it."""
        if self._free is None:
            if cv2.countNonZero(self._body_about):
                self._free = 1 - dilated(self._body_about, self.width_px + 2.0)[self._inner]
            else:
                self._free = np.ones_like(self.filled)
        return self._free

    @property
    def near(self) -> np.ndarray:
        """Free places that have a rim beside them."""
        if self._near is None:
            rims = self._strong_about & (1 - self._body_about)
            self._near = dilated(rims, self.width_px + 1.0)[self._inner] & self.free
        return self._near

    def possible(self, part: np.ndarray, least_px2: float) -> bool:
        """Whether anything inside a part can pass `is_clear`: a core, a rim and the oil beside it.

        The shortest border of a piece of some area is that of a square standing on its corner.
        """
        border = _SHORTEST_BORDER * np.sqrt(least_px2)
        # the dearest come last
        ring = cv2.dilate(part, _TWO) & (1 - self.filled)
        if cv2.countNonZero(ring) < _OIL_BORDER * border:
            return False
        core = eroded(part, max(1.0, 0.5 * self.width_px))
        if cv2.countNonZero(core & (1 - self.strong)) < CLEAR_SHARE * least_px2:
            return False
        if cv2.countNonZero(part & self.free) < _FREE_SHARE * border:
            return False
        return cv2.countNonZero(part & self.near) >= _RIMMED * _FREE_SHARE * border


def is_clear(piece: np.ndarray, crop: RimCrop) -> bool:
    """Whether a part is a see-through piece: convex, with a rim at its border, free and clear inside."""
    area = float(cv2.countNonZero(piece))
    # the edge of a body beside the piece is no rim of its own
    border = piece & (1 - cv2.erode(piece, _ONE))
    free = cv2.countNonZero(border & crop.free)
    if not free or free < _FREE_SHARE * cv2.countNonZero(border):
        return False
    if cv2.countNonZero(border & crop.near) < _RIMMED * free:
        return False
    ring = cv2.dilate(piece, _TWO) & (1 - piece)
    around = cv2.countNonZero(ring)
    if not around or cv2.countNonZero(ring & (1 - crop.filled)) < _OIL_BORDER * around:
        return False
    core = eroded(piece, max(1.0, 0.5 * crop.width_px))
    if cv2.countNonZero(core & (1 - crop.strong)) < CLEAR_SHARE * area:
        return False
    return solidity(piece) >= CONVEX and _rim_is_even(crop.strong & piece, piece, area)


def _rim_is_even(rim: np.ndarray, piece: np.ndarray, area: float) -> bool:
    depth = cv2.distanceTransform(rim, cv2.DIST_L2, 3)
    most = float(depth.max())
    if most > max(LEAST_RIM_PX, _RIM_SHARE * np.sqrt(area / np.pi)):
        return False
    deep = cv2.distanceTransform(cv2.copyMakeBorder(piece, 1, 1, 1, 1, cv2.BORDER_REPLICATE), cv2.DIST_L2, 5)
    if deep.max() < _ROOM * most + 1.0:  # an arm of a broken rim with its glow, not a whole piece
        return False
    inner = deep[1:-1, 1:-1] > 2.2 * most + 2.0
    # a rim lies at the border; only thin lines (the edges of a cube) may run inside
    if (rim[inner] > 0).sum() > _INSIDE_SHARE * rim.sum():
        return False
    ridge = depth[(depth > 0) & (depth >= cv2.dilate(depth, SQUARE))]
    return most <= _EVEN_RIM * percentile(ridge, 75) + 1.2 if ridge.size else True
