"""Where pieces lie: alone, touching, over one another, in clusters, with fines about them."""

from dataclasses import dataclass

import cv2
import numpy as np

from .body import Body
from .noise import Rng, smooth


@dataclass(frozen=True)
class Layout:
    """Shares of pieces that touch and lie over another; clusters, their width as share of the frame."""

    touch: float = 0.25
    over: float = 0.08
    clusters: int = 0
    cluster_width: float = 0.15
    gap_px: int = 3


@dataclass
class Placed:
    """A body and the row and column of its stamp's first pixel."""

    body: Body
    row: int
    col: int


def window(
    row: int, col: int, size: tuple[int, int], shape: tuple[int, int]
) -> tuple[tuple[slice, slice], tuple[slice, slice]]:
    """Part of the frame a stamp covers, and the part of the stamp that lies in the frame."""
    r0, c0, r1, c1 = max(row, 0), max(col, 0), min(row + size[0], shape[0]), min(col + size[1], shape[1])
    r1, c1 = max(r0, r1), max(c0, c1)
    return (slice(r0, r1), slice(c0, c1)), (slice(r0 - row, r1 - row), slice(c0 - col, c1 - col))


class Table:
    """The frame as it fills up."""

    def __init__(self, shape: tuple[int, int], layout: Layout, barred: np.ndarray, rng: Rng) -> None:
        self.shape, self.layout, self.rng = shape, layout, rng
        self.taken = np.zeros(shape, bool)
        self.barred = barred  # dry slide: nothing lies there
        self.placed: list[Placed] = []
        self.middles = rng.uniform(0.1, 0.9, (max(1, layout.clusters), 2)) * shape

    @property
    def cover(self) -> float:
        """Share of the frame that is covered."""
        return float(self.taken.mean())

    def put(self, body: Body) -> bool:
        """Find a place for a body; False if there is none."""
        kind = self.rng.random()
        touch, over = self.layout.touch, self.layout.over
        for _ in range(12):
            if self.placed and kind < touch + over:
                at = self._beside(body, *((0.003, 0.07) if kind < touch else (0.15, 0.7)))
            else:
                at = self._alone(body)
            if at is not None:
                self._lay(body, *at)
                return True
        return False

    def _somewhere(self) -> np.ndarray:
        if not self.layout.clusters or self.rng.random() < 0.2:
            return self.rng.uniform(0, 1, 2) * self.shape
        middle = self.middles[self.rng.integers(len(self.middles))]
        return middle + self.layout.cluster_width * min(self.shape) * self.rng.standard_normal(2)

    def _alone(self, body: Body) -> tuple[int, int] | None:
        row, col = (int(v) - body.mask.shape[0] // 2 for v in self._somewhere())
        frame, stamp = window(row, col, body.mask.shape, self.shape)
        mask = body.mask[stamp]
        if np.count_nonzero(mask) < 0.35 * np.count_nonzero(body.mask) or self.barred[frame][mask].any():
            return None
        wide = cv2.dilate(mask.astype(np.uint8), np.ones((2 * self.layout.gap_px + 1,) * 2, np.uint8)).astype(
            bool
        )
        return None if self.taken[frame][wide].any() else (row, col)

    def _beside(self, body: Body, least: float, most: float) -> tuple[int, int] | None:
        """Slide towards another one until the share that lies on others is reached."""
        other = self.placed[self.rng.integers(len(self.placed))]
        middle = np.array([other.row, other.col]) + other.body.mask.shape[0] / 2
        way = self.rng.uniform(0, 2 * np.pi)
        reach = 0.9 * (other.body.diameter_px + body.diameter_px)
        steps = max(12, int(reach / 1.5)) if least < 0.1 else 24
        for share in np.linspace(1, 0.0, min(steps, 120)):
            row, col = (
                int(m + share * reach * f(way)) - body.mask.shape[0] // 2
                for m, f in zip(middle, (np.sin, np.cos), strict=True)
            )
            frame, stamp = window(row, col, body.mask.shape, self.shape)
            mask = body.mask[stamp]
            whole = np.count_nonzero(body.mask)
            if np.count_nonzero(mask) < 0.6 * whole or self.barred[frame][mask].any():
                continue
            lies = np.count_nonzero(self.taken[frame] & mask) / whole
            if lies > most:
                return None
            if lies >= least:
                return row, col
        return None

    def _lay(self, body: Body, row: int, col: int) -> None:
        frame, stamp = window(row, col, body.mask.shape, self.shape)
        self.taken[frame] |= body.mask[stamp]
        self.placed.append(Placed(body, row, col))


def fines(table: Table, count: int, limit_px: float, rng: Rng) -> np.ndarray:
    """Dust of the grinding, below the lower limit, everywhere and thicker about the pieces.

    Two maps 0..1, (M, N, 2): crumbs of kernel, and darker bits of skin and cocoa.
    """
    maps = [np.zeros(table.shape, np.float32) for _ in range(2)]
    edge = cv2.dilate(table.taken.astype(np.uint8), np.ones((9, 9), np.uint8)).astype(bool) & ~table.taken
    rows, cols = np.nonzero(edge)
    patchy = smooth(table.shape, max(table.shape) / 6, rng)
    for _ in range(count):
        if len(rows) and rng.random() < 0.35:
            k = rng.integers(len(rows))
            at = np.array([cols[k] + rng.normal(), rows[k] + rng.normal()])
        else:
            at = rng.uniform(0, 1, 2) * table.shape[::-1]
        col, row = (int(np.clip(v, 0, n - 1)) for v, n in zip(at, table.shape[::-1], strict=True))
        if table.barred[row, col] or patchy[row, col] < rng.normal(-0.6, 0.6):
            continue
        wide = min(0.8 * limit_px, rng.lognormal(np.log(2.4), 0.6))
        way = np.sort(rng.uniform(0, 2 * np.pi, 6))
        corners = np.column_stack([np.cos(way), np.sin(way)]) * wide / 2 * rng.uniform(0.5, 1.3, (6, 1))
        corners *= [1.0, rng.uniform(0.5, 1.0)]
        shade = float(np.clip(rng.lognormal(-0.7, 0.5), 0.15, 1.2))
        layer = maps[int(rng.random() < 0.12)]
        cv2.fillPoly(layer, [np.round((corners + at) * 16).astype(np.int32)], shade, cv2.LINE_AA, 4)
    return np.stack(maps, axis=-1)
