"""Words a camera program burns into a picture: a time, a label, a bar."""

import cv2
import numpy as np

from .noise import Rng


def burnt_in(pixels: np.ndarray, what: str, rng: Rng) -> tuple[np.ndarray, np.ndarray]:
    """Write into a picture; "" for nothing, "time", "label" (on a white field), "bar". Also where it lies."""
    mask = np.zeros(pixels.shape[:2], np.uint8)
    if not what:
        return pixels, mask.astype(bool)
    rows, cols = pixels.shape[:2]
    size = cols / 1300
    pixels = np.ascontiguousarray(pixels.copy())
    low = (int(0.03 * cols), rows - int(0.04 * rows))
    if what == "label":
        box = (low[0] - 8, low[1] - int(40 * size) - 4, int(330 * size), int(52 * size) + 8)
        cv2.rectangle(pixels, box, (244, 244, 240), -1)
        cv2.rectangle(mask, box, 1, -1)
        _write(
            pixels, mask, f"batch {rng.integers(10, 99)} pass {rng.integers(1, 5)}", low, size, (20, 20, 20)
        )
    elif what == "time":
        hour = f"{rng.integers(8, 18):02d}:{rng.integers(60):02d}:{rng.integers(60):02d}"
        _write(
            pixels, mask, f"2026-0{rng.integers(1, 9)}-1{rng.integers(9)} {hour}", low, size, (255, 220, 40)
        )
    else:
        long = int(0.18 * cols)
        at = (cols - long - low[0], low[1])
        for target, colour in ((pixels, (0, 0, 0)), (mask, (1,))):
            cv2.rectangle(target, at, (at[0] + long, at[1] + max(3, int(6 * size))), colour, -1)
        _write(pixels, mask, "200 um", (at[0] + long // 4, at[1] - int(12 * size)), size, (0, 0, 0))
    return pixels, cv2.dilate(mask, np.ones((5, 5), np.uint8)).astype(bool)


def _write(
    pixels: np.ndarray, mask: np.ndarray, text: str, at: tuple[int, int], size: float, colour: tuple[int, ...]
) -> None:
    thick = max(1, round(2 * size))
    cv2.putText(pixels, text, at, cv2.FONT_HERSHEY_SIMPLEX, size, colour, thick, cv2.LINE_AA)
    cv2.putText(mask, text, at, cv2.FONT_HERSHEY_SIMPLEX, size, (1,), thick + 2)
