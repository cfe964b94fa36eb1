"""Where the pieces lie: apart, touching or overlapping, on a canvas wider than the frame."""

from dataclasses import dataclass, replace

import numpy as np

from measure.render.coverage import coverage
from measure.render.recipe import Arrangement


@dataclass(frozen=True)
class Shape:
    """An outline about its own centre, what it is, and what only its kind needs."""

    outline: np.ndarray
    kind: str
    diameter_px: float
    edges: np.ndarray | None = None  # cube edges of a salt crystal
    width_px: float = 0.0  # width of a fibre
    x: float = 0.0  # centre in the frame, px
    y: float = 0.0

    def placed(self) -> np.ndarray:
        """Return the outline in frame coordinates."""
        return self.outline + np.array([self.x, self.y])


@dataclass(frozen=True)
class _Stamp:
    """Pixels of a shape about a centre at a fraction of a pixel; where its first pixel lies."""

    mask: np.ndarray
    row: int
    column: int
    area: int


def _stamp(outline: np.ndarray, fraction: np.ndarray, grow_px: float) -> _Stamp:
    import cv2

    moved = outline + fraction
    reach = int(np.ceil(grow_px)) + 1
    low = np.floor(moved.min(axis=0)).astype(int) - reach
    high = np.ceil(moved.max(axis=0)).astype(int) + reach
    left, top, width, height = (int(v) for v in (*low, *(high - low)))
    mask = (coverage(moved, left, top, width, height, lines=4) > 0.5).astype(np.uint8)
    area = int(mask.sum())
    if grow_px > 0:
        size = 2 * round(grow_px) + 1
        disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
        mask = np.asarray(cv2.dilate(mask, disc), np.uint8)
    return _Stamp(mask.astype(bool), top, left, area)


class Canvas:
    """Which pixels are taken, on the frame and a margin around it. The one thing here that changes."""

    def __init__(self, width_px: int, height_px: int, margin_px: int) -> None:
        self.margin = margin_px
        self.spare = 2 * margin_px + 8  # so that a stamp at the border needs no clipping
        self.taken = np.zeros((height_px + 2 * self.spare, width_px + 2 * self.spare), dtype=bool)
        self.width, self.height = width_px, height_px

    def _view(self, stamp: _Stamp, column: int, row: int) -> np.ndarray | None:
        top, left = row + stamp.row + self.spare, column + stamp.column + self.spare
        height, width = stamp.mask.shape
        if top < 0 or left < 0 or top + height > self.taken.shape[0] or left + width > self.taken.shape[1]:
            return None
        return self.taken[top : top + height, left : left + width]

    def overlap(self, stamp: _Stamp, column: int, row: int) -> int:
        """Return how many taken pixels the stamp would lie on."""
        view = self._view(stamp, column, row)
        return 0 if view is None else int(np.count_nonzero(view & stamp.mask))

    def take(self, stamp: _Stamp, column: int, row: int) -> None:
        """Mark the pixels of the stamp."""
        view = self._view(stamp, column, row)
        if view is not None:
            view |= stamp.mask


def _at(shape: Shape, fraction: np.ndarray, column: int, row: int) -> Shape:
    return replace(shape, x=column + float(fraction[0]), y=row + float(fraction[1]))


def _apart(
    shape: Shape, fraction: np.ndarray, canvas: Canvas, gap_px: float, margin: int, rng: np.random.Generator
) -> Shape | None:
    """Return the shape at a free random place, or None where 120 tries find none."""
    stamp = _stamp(shape.outline, fraction, gap_px)
    for _ in range(120):
        column = int(rng.integers(-margin, canvas.width + margin))
        row = int(rng.integers(-margin, canvas.height + margin))
        if canvas.overlap(stamp, column, row) == 0:
            return _at(shape, fraction, column, row)
    return None


def _against(
    shape: Shape,
    fraction: np.ndarray,
    partner: Shape,
    canvas: Canvas,
    depth: tuple[float, float],
    rng: np.random.Generator,
) -> Shape | None:
    """Move the shape towards a partner until they meet; then on by a press (px) or an overlapped share."""
    press_px, overlap_share = depth
    stamp = _stamp(shape.outline, fraction, 0.0)
    angle = rng.uniform(0, 2 * np.pi)
    direction = np.array([np.cos(angle), np.sin(angle)])
    far = float(np.hypot(*shape.outline.T).max() + np.hypot(*partner.outline.T).max()) + 4.0
    allowed = overlap_share * min(stamp.area, np.pi / 4 * partner.diameter_px**2)
    first = None
    for distance in np.arange(far, 0.0, -1.0):
        column, row = np.floor(np.array([partner.x, partner.y]) + distance * direction).astype(int)
        overlap = canvas.overlap(stamp, column, row)
        if overlap and first is None:
            if distance >= far - 1.0:
                return None  # a third piece is in the way
            first = distance
        if first is None:
            continue
        if overlap_share == 0.0 and first - distance >= press_px - 0.5:
            back = np.floor(np.array([partner.x, partner.y]) + (first + 1.0 - press_px) * direction).astype(
                int
            )
            return _at(shape, fraction, int(back[0]), int(back[1]))
        if overlap_share > 0.0 and overlap >= allowed:
            return _at(shape, fraction, int(column), int(row))
    return None


def _try(
    shape: Shape, done: list[Shape], canvas: Canvas, plan: Arrangement, reach: int, rng: np.random.Generator
) -> Shape | None:
    fraction = rng.uniform(0, 1, 2)
    chance = rng.random()
    if done and chance < plan.touch_share + plan.overlap_share:
        share = 0.0
        if chance >= plan.touch_share:
            share = float(rng.uniform(plan.overlap_low, plan.overlap_high))
        for _ in range(10):
            partner = done[int(rng.integers(len(done)))]
            if partner.kind == "fibre":
                continue
            depth = (float(rng.uniform(0, plan.press_px)), share)
            found = _against(shape, fraction, partner, canvas, depth, rng)
            if found is not None:
                return found
    return _apart(shape, fraction, canvas, plan.gap_px, reach, rng)


def arrange(
    shapes: list[Shape],
    canvas: Canvas,
    plan: Arrangement,
    rng: np.random.Generator,
    reach_px: int | None = None,
) -> list[Shape]:
    """Place the shapes one by one in the order given; those that find no room are left out.

    Centres lie in the frame and up to ``reach_px`` outside it, the canvas's margin by default.
    """
    reach = canvas.margin if reach_px is None else reach_px
    done: list[Shape] = []
    for shape in shapes:
        found = _try(shape, done, canvas, plan, reach, rng)
        if found is None:
            continue
        fraction = np.array([found.x - np.floor(found.x), found.y - np.floor(found.y)])
        canvas.take(_stamp(found.outline, fraction, 0.0), int(np.floor(found.x)), int(np.floor(found.y)))
        done.append(found)
    return done
