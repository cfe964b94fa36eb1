"""Where the pieces lie: apart, in contact without overlap, or across one another."""

import numpy as np
from shapely import affinity, union_all
from shapely.geometry import Polygon

TRIES = 60
APART_PX = 7.0
FRAME_PX = 5.0
HIDDEN = (0.20, 0.40)  # share of the smaller one
HEAPED = (0.03, 0.50)  # the same in a heap, of each two
CONTACT_PX = 0.15


class Table:
    """Outlines laid so far. State: the list, in the order they were laid."""

    def __init__(self, size: tuple[int, int]) -> None:
        self.height, self.width = size
        self.laid: list[Polygon] = []

    def lay(self, shape: Polygon, how: str, rng: np.random.Generator) -> np.ndarray | None:
        """Return the shift that lays a shape ``apart``, ``touch``, ``cross``, ``heap``; None if no room."""
        for _ in range(TRIES):
            shift = (
                self._apart(shape, rng) if how == "apart" or not self.laid else self._near(shape, how, rng)
            )
            if shift is not None:
                self.laid.append(affinity.translate(shape, *shift))
                return shift
        return None

    def _inside(self, shape: Polygon) -> bool:
        x0, y0, x1, y1 = shape.bounds
        return min(x0, y0, self.width - x1, self.height - y1) > FRAME_PX

    def _apart(self, shape: Polygon, rng) -> np.ndarray | None:
        shift = rng.uniform([0, 0], [self.width, self.height])
        moved = affinity.translate(shape, *shift)
        free = self._inside(moved) and all(moved.distance(p) > APART_PX for p in self.laid)
        return shift if free else None

    def _near(self, shape: Polygon, how: str, rng) -> np.ndarray | None:
        """Push the shape towards one that lies there until it is in contact, or covers the wanted share."""
        row = int(rng.integers(len(self.laid)))
        target = self.laid[row]
        angle = rng.uniform(0, 2 * np.pi)
        way = np.array([np.cos(angle), np.sin(angle)])
        start = np.array(target.centroid.coords[0]) - np.array(shape.centroid.coords[0])
        smaller = min(shape.area, target.area)
        shares = {"cross": HIDDEN, "heap": HEAPED}.get(how)
        wanted = smaller * rng.uniform(*shares) if shares else 0.0
        near, far = 0.0, float(np.sqrt(target.area) + np.sqrt(shape.area)) * 2.5
        while far - near > CONTACT_PX:
            middle = 0.5 * (near + far)
            common = affinity.translate(shape, *(start + way * middle)).intersection(target).area
            near, far = (middle, far) if common > wanted else (near, middle)
        shift = start + way * far
        moved = affinity.translate(shape, *shift)
        if how == "heap":
            return shift if self._inside(moved) and self._heaps(moved) else None
        others = [p for i, p in enumerate(self.laid) if i != row]
        clear = 2.0 if how == "cross" else 0.0
        free = self._inside(moved) and not any(moved.distance(p) <= clear for p in others)
        if how == "cross" and any(target.intersects(p) for p in others):
            return None  # one over one, so that no one is hidden twice
        return shift if free else None

    def _heaps(self, moved: Polygon) -> bool:
        """Whether a shape laid there hides no more than half of any, nor they more of it."""
        met = [p for p in self.laid if p.intersects(moved)]
        return all(p.intersection(moved).area <= HEAPED[1] * min(p.area, moved.area) for p in met) and (
            union_all(met).intersection(moved).area <= HEAPED[1] * moved.area
        )
