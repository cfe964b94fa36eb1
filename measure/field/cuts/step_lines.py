"""Edges inside a piece, where its tone or colour steps, and the ways along them."""

from math import nan

import cv2
import numpy as np

from measure.field.basics.quick import colours_at, median_colour, norm
from measure.field.cuts.pale_lines import PaleLine, PaleLines

_SIGMA_PX = 1.0
_WIDE_PX = 3.8  # height of a step over its steepness at the usual blur
_SHOWN = 0.6  # share of a way along which the step must show
_BESIDE_PX = (2.0, 8.0)  # from a way, between which the colours of its two sides are read
_FEW_PX = 12


class StepLines(PaleLines):
    """Edges inside a piece; their height is that of the step over the piece's own difference from the oil.

    Parameters
    ----------
    mask : (M, N) ndarray of uint8
        The piece.
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.
    """

    def _heights(self) -> np.ndarray:
        own = norm(self._own.astype(float))
        total = np.zeros(self._mask.shape, np.float32)
        for channel in cv2.split(self._delta):
            smooth = cv2.GaussianBlur(channel, (0, 0), _SIGMA_PX)
            for order in ((1, 0), (0, 1)):
                steep = cv2.Sobel(smooth, cv2.CV_32F, *order, scale=1 / 8)
                total += steep * steep
        return np.sqrt(total) * np.float32(_WIDE_PX / max(own, 1e-6))

    def _shows(self, way: np.ndarray) -> bool:
        return self.shown(way) > _SHOWN

    def _beside(self, way: np.ndarray) -> tuple[float, float]:
        """Tone beside a way, which tells nothing of a step: it is never asked for."""
        return nan, nan

    def shown(self, way: np.ndarray) -> float:
        """Return the share of a way, (P, 2) y and x, along which the step shows."""
        heights = self._heights_on(way)
        return np.count_nonzero(heights > self._least) / len(heights)

    def colour_step(self, line: PaleLine, sides: list[np.ndarray]) -> float:
        """Return the difference of colour between the two sides of a line, over that of the piece."""
        on = np.ones(self._mask.shape, np.uint8)
        inner = line.way[2:-2]
        on[inner[:, 0], inner[:, 1]] = 0
        away = cv2.distanceTransform(on, cv2.DIST_L2, 5)
        near = (away > _BESIDE_PX[0]) & (away < _BESIDE_PX[1])
        tones = []
        for side in sides:
            beside = (side > 0) & near
            if np.count_nonzero(beside) < _FEW_PX:
                return 0.0
            tones.append(median_colour(colours_at(self._delta, beside)))
        apart = tones[0] - tones[1]
        return float(np.sqrt(apart.dot(apart)) / max(norm(self._own), 1e-6))
