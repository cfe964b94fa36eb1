"""Where the pieces lie: apart, in contact, or across one another."""

import cv2
import numpy as np

from .body import fill

TRIES = 40


class Ground:
    """Cells already taken. State: one boolean map of the frame with a border for pieces cut by it."""

    def __init__(self, size: tuple[int, int], border: int) -> None:
        self.size, self.border = size, border
        self._taken = np.zeros((size[0] + 2 * border, size[1] + 2 * border), bool)

    def _stamp(self, outline: np.ndarray, grow: int) -> tuple[np.ndarray, np.ndarray]:
        low = np.floor(outline.min(axis=0)).astype(int) - grow - 1
        high = np.ceil(outline.max(axis=0)).astype(int) + grow + 1
        mask = fill(outline, low[0], low[1], high[0] - low[0], high[1] - low[1], 1)
        if grow:
            disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * grow + 1, 2 * grow + 1))
            mask = cv2.dilate(mask.astype(np.uint8), disc).astype(bool)
        return mask, low

    def _window(self, mask: np.ndarray, x: int, y: int) -> np.ndarray | None:
        x, y = x + self.border, y + self.border
        if (
            x < 0
            or y < 0
            or x + mask.shape[1] > self._taken.shape[1]
            or y + mask.shape[0] > self._taken.shape[0]
        ):
            return None
        return self._taken[y : y + mask.shape[0], x : x + mask.shape[1]]

    def _overlap(self, mask: np.ndarray, x: int, y: int) -> float:
        """Share of the mask already taken; infinite outside the ground."""
        window = self._window(mask, x, y)
        return np.inf if window is None else float(np.count_nonzero(window & mask)) / max(mask.sum(), 1)

    def _any_place(self, inside: bool, mask: np.ndarray, low: np.ndarray, rng) -> tuple[int, int]:
        m, n = self.size
        if inside:
            x = rng.integers(2, max(n - mask.shape[1] - 2, 3))
            y = rng.integers(2, max(m - mask.shape[0] - 2, 3))
            return int(x), int(y)
        along = np.array([rng.uniform(0, n), rng.uniform(0, m)])
        side = rng.integers(2)  # the middle of the piece near one side of the frame
        along[side] = rng.choice([0, self.size[1 - side]]) + rng.normal(0, 0.15) * mask.shape[1 - side]
        return int(along[0] + low[0]), int(along[1] + low[1])

    def find(self, outline: np.ndarray, how: str, inside: bool, rng) -> np.ndarray | None:
        """Return the shift that puts a piece ``apart``, in ``touch`` or ``cross``ing; None without room."""
        mask, low = self._stamp(outline, 4 if how == "apart" else 0)
        for _ in range(TRIES):
            x, y = self._any_place(inside, mask, low, rng)
            share = self._overlap(mask, x, y)
            good = (0.06 < share < 0.33) if how == "cross" else share == 0.0
            if not good:
                continue
            if how == "touch":
                slid = self._slide(mask, x, y, rng)
                if slid is None:
                    continue
                x, y = slid
            self._window(mask, x, y)[mask] = True
            return np.array([x, y], float) - low
        return None

    def _slide(self, mask: np.ndarray, x: int, y: int, rng) -> tuple[int, int] | None:
        """Push a piece in one direction until it just meets another."""
        angle = rng.uniform(0, 2 * np.pi)
        step = np.array([np.cos(angle), np.sin(angle)])
        for k in range(1, 90):
            nx, ny = np.round([x, y] + step * k).astype(int)
            share = self._overlap(mask, nx, ny)
            if np.isinf(share):
                return None
            if share > 0:
                back = np.round([x, y] + step * (k - 1)).astype(int)
                return int(back[0]), int(back[1])
        return None
