"""A smoothed picture kept only where components lie."""

from dataclasses import dataclass

import cv2
import numpy as np

from measure.field.basics.strips import Room, own_memory, smoothed_strips


@dataclass(frozen=True)
class Crops:
    """Boxes of a picture, one after another; or the whole of it, where the boxes would take more.

    Attributes
    ----------
    values : (P, 3) or (M, N, 3) ndarray of float32
    boxes : (K, 4) ndarray of int
        First row, last row and one, first column, last column and one.
    start : (K,) ndarray of int
        Where each begins.
    """

    values: np.ndarray
    boxes: np.ndarray
    start: np.ndarray

    def of(self, number: int) -> np.ndarray:
        """Return one box, (m, n, 3) ndarray of float32."""
        top, bottom, left, right = self.boxes[number].tolist()
        if self.values.ndim == 3:
            return self.values[top:bottom, left:right]
        first = int(self.start[number])
        size = (bottom - top) * (right - left)
        return self.values[first : first + size].reshape(bottom - top, right - left, 3)


def smoothed_crops(
    delta: np.ndarray, sigma_px: float, boxes: np.ndarray, step: int, room: Room = own_memory
) -> tuple[Crops, np.ndarray]:
    """Smooth a picture and keep some boxes of it, and some pixels from all over.

    Parameters
    ----------
    delta : (M, N, 3) ndarray of float32
        Not changed.
    sigma_px : float
    boxes : (K, 4) ndarray of int
        As in `Crops`.
    step : int
        Rows and columns from one of the pixels to the next.
    room : callable, optional
        Gives the array for the boxes.

    Returns
    -------
    crops : Crops
    few : (m, n, 3) ndarray of float32
        The very values of smoothing the whole.
    """
    top, bottom, left, right = boxes.T
    size = (bottom - top) * (right - left)
    start = np.cumsum(size) - size
    if size.sum() >= delta.shape[0] * delta.shape[1]:
        whole = cv2.GaussianBlur(delta, (0, 0), sigma_px, borderType=cv2.BORDER_REPLICATE)
        return Crops(whole, boxes, start), whole[::step, ::step]
    crops = Crops(room((int(size.sum()), 3)), boxes, start)
    few = []
    for strip, smooth in smoothed_strips(delta, sigma_px, mirrored=False):
        few.append(smooth[-strip.start % step :: step, ::step].copy())
        for i in np.flatnonzero((top < strip.stop) & (bottom > strip.start)).tolist():
            first, last = max(int(top[i]), strip.start), min(int(bottom[i]), strip.stop)
            part = smooth[first - strip.start : last - strip.start, left[i] : right[i]]
            crops.of(i)[first - top[i] : last - top[i]] = part
    return crops, np.concatenate(few)
