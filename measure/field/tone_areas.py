"""A cluster divided along its own edges into areas of even tone."""

import heapq
from dataclasses import dataclass, replace
from math import dist, hypot, inf, sqrt

import cv2
import numpy as np
from scipy.ndimage import find_objects

_LEAST_STEP = 0.02  # natural density; fainter steps are noise
_FAINT_SHARE = 0.5  # of the usual density below which an area beside the oil is oil
_MOST_AREAS = 6000
_CORNER = 0.3  # border over the root of the smaller area, below which two areas only meet at a corner


@dataclass(frozen=True)
class Areas:
    """Areas of one crop.

    Attributes
    ----------
    labels : (M, N) ndarray of int32
        1 is the oil, 2.. the areas.
    tone : (K, 3) ndarray of float
        Median density of each.
    size : (K,) ndarray of int
        Pixels of each.
    seam : list of dict of int to int
        For each area, length of the border with each neighbour, px.
    boxes : list of tuple of slice
        Rows and columns of areas 1..
    """

    labels: np.ndarray
    tone: np.ndarray
    size: np.ndarray
    seam: list[dict[int, int]]
    boxes: list[tuple[slice, slice]]
    density: np.ndarray
    steep: np.ndarray
    usual: float

    def coarser(self, share: float, locked: frozenset[int], foes: tuple[tuple[int, int], ...]) -> "Areas":
        """Return the areas joined further, but not the locked ones, and not foes with each other."""
        labels = _merged(self.labels, self.density, self.steep, self.usual, share, locked, foes)
        return _described(labels, self.density, self.steep, self.usual)

    def enlarged(self, shape: tuple[int, int]) -> "Areas":
        """Return the areas at another size of the crop; only labels and tones are of use then."""
        labels = cv2.resize(self.labels, shape[::-1], interpolation=cv2.INTER_NEAREST)
        return replace(self, labels=labels) if self.labels.shape != shape else self

    def relabelled(self, labels: np.ndarray) -> "Areas":
        """Return the same crop divided otherwise."""
        return _described(labels, self.density, self.steep, self.usual)

    def beside(self, label: int, least_px: int) -> list[int]:
        """Return the neighbours along at least so many px."""
        return [b for b, n in self.seam[label].items() if n >= least_px]

    def crop(self, label: int, margin: int = 1) -> tuple[slice, slice]:
        """Return the rows and columns of an area, with a margin where there is room."""
        rows, cols = self.boxes[label - 1]
        return (
            slice(max(0, rows.start - margin), rows.stop + margin),
            slice(max(0, cols.start - margin), cols.stop + margin),
        )

    def half_width(self, label: int) -> float:
        """Half the thickness of an area, px."""
        mask = (self.labels[self.crop(label)] == label).astype(np.uint8)
        return float(cv2.distanceTransform(np.pad(mask, 1), cv2.DIST_L2, 5).max())


def tone_areas(density: np.ndarray, near: np.ndarray, shares: tuple[float, ...]) -> list[Areas]:
    """Divide a crop, finely and coarsely.

    Parameters
    ----------
    density : (M, N, 3) ndarray of float32
        Optical density against the oil.
    near : (M, N) ndarray of uint8
        The cluster with some oil round it; everything beyond is oil.
    shares : tuple of float
        Shares of the fainter area's density that a step must reach to be an edge.

    Returns
    -------
    areas : list of Areas
        One for each share that leaves more than two areas.
    """
    from skimage.segmentation import watershed

    steep = _steepness(density)
    height = np.sqrt((density**2).sum(axis=2))
    inside = near > 0
    usual = float(np.percentile(height[inside], 50)) if inside.any() else 0.0
    if usual <= 0:
        return []
    oil = ~inside
    lowest = cv2.erode(steep, np.ones((5, 5), np.uint8))
    flat = ((steep <= lowest) & ~oil).astype(np.uint8)
    count, seeds = cv2.connectedComponents(flat, connectivity=8)
    if count < 3 or count > _MOST_AREAS:
        return []
    seeds[seeds > 0] += 1
    seeds[oil] = 1
    basins = watershed(steep, seeds).astype(np.int32)
    # the weakest borders go first whatever the share, so a coarse division goes on from a finer one
    merged = []
    for share in sorted(shares):
        basins = _merged(basins, density, steep, usual, share)
        merged.insert(0, basins)
    return [_described(m, density, steep, usual) for m in merged if int(m.max()) >= 4]


def _steepness(density: np.ndarray) -> np.ndarray:
    total = np.zeros(density.shape[:2], np.float32)
    for channel in cv2.split(density):
        gx = cv2.Sobel(channel, cv2.CV_32F, 1, 0, scale=1 / 8, borderType=cv2.BORDER_REPLICATE)
        gy = cv2.Sobel(channel, cv2.CV_32F, 0, 1, scale=1 / 8, borderType=cv2.BORDER_REPLICATE)
        total += gx * gx + gy * gy
    return np.sqrt(total)


def _borders(labels: np.ndarray, steep: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Pairs of areas that meet (P, 2), length of each border and sum of the steepness along it."""
    pairs, values = [], []
    for a, b, ga, gb in (
        (labels[:, 1:], labels[:, :-1], steep[:, 1:], steep[:, :-1]),
        (labels[1:], labels[:-1], steep[1:], steep[:-1]),
    ):
        meet = a != b
        # one number for a pair sorts many times faster than two
        one, other = a[meet].astype(np.int64), b[meet].astype(np.int64)
        pairs.append((np.minimum(one, other) << 32) | np.maximum(one, other))
        values.append(np.maximum(ga[meet], gb[meet]))
    both, value = np.concatenate(pairs), np.concatenate(values)
    codes, inverse = np.unique(both, return_inverse=True)
    unique = np.stack([codes >> 32, codes & 0xFFFFFFFF], axis=1)
    return unique, np.bincount(inverse), np.bincount(inverse, weights=value)


def _calm_means(labels: np.ndarray, density: np.ndarray, steep: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean density of each area, its flat places counting most, and its size."""
    flat = labels.ravel()
    weight = (1.0 / (steep + 0.003) ** 2).ravel()
    total = np.bincount(flat, weights=weight)
    means = [np.bincount(flat, weights=weight * density[..., i].ravel()) for i in range(3)]
    return np.stack(means, axis=1) / np.maximum(total, 1e-9)[:, None], np.bincount(flat)


class _Joining:
    """Areas being joined over their weakest borders."""

    def __init__(self, labels: np.ndarray, density: np.ndarray, steep: np.ndarray, usual: float) -> None:
        tone, size = _calm_means(labels, density, steep)
        pairs, length, total = _borders(labels, steep)
        self.width = _edge_width(tone, pairs, length, total)
        # plain numbers: a million small steps in arrays would take ten times as long
        self.tone, self.size = [tuple(t) for t in tone.tolist()], [float(n) for n in size]
        self.length = [hypot(*t) for t in self.tone]
        self.length[1] = inf
        self.usual = usual
        self.near: list[dict[int, tuple[float, float]]] = [{} for _ in range(len(size))]
        for (a, b), n, s in zip(pairs.tolist(), length.tolist(), total.tolist(), strict=True):
            self.near[a][b] = self.near[b][a] = (n, s)
        self.version = [0] * len(size)
        self.target = np.arange(len(size))

    def weight(self, a: int, b: int, share: float) -> float:
        """Return the step between two areas over that of an edge; infinite at a mere corner."""
        n, s = self.near[a][b]
        if n < _CORNER * sqrt(min(self.size[a], self.size[b])):
            return inf
        across = dist(self.tone[a], self.tone[b])
        faint = max(min(self.length[a], self.length[b], self.usual), _FAINT_SHARE * self.usual)
        return min(across, self.width * s / n) / max(share * faint, _LEAST_STEP)

    def join(self, a: int, b: int) -> None:
        """Let area ``a`` take in area ``b``."""
        if a != 1:
            both = self.size[a] + self.size[b]
            mine, its = self.size[a] / both, self.size[b] / both
            self.tone[a] = tuple(p * mine + q * its for p, q in zip(self.tone[a], self.tone[b], strict=True))
            self.length[a] = hypot(*self.tone[a])
        self.size[a] += self.size[b]
        self.target[b] = a
        self.version[a] += 1
        self.version[b] = -1
        del self.near[a][b]
        for c, (n, s) in self.near[b].items():
            if c != a:
                del self.near[c][b]
                here = self.near[a].get(c, (0.0, 0.0))
                self.near[a][c] = self.near[c][a] = (here[0] + n, here[1] + s)
        self.near[b] = {}


def _merged(
    labels: np.ndarray,
    density: np.ndarray,
    steep: np.ndarray,
    usual: float,
    share: float,
    locked: frozenset[int] = frozenset(),
    foes: tuple[tuple[int, int], ...] = (),
) -> np.ndarray:
    """Join areas over the weakest border first until every border left is an edge.

    Locked areas stay as they are, and foes never become one.
    """
    areas = _Joining(labels, density, steep, usual)
    hostile: dict[int, set[int]] = {}
    for a, b in foes:
        hostile.setdefault(a, set()).add(b)
        hostile.setdefault(b, set()).add(a)
    pairs = [(a, b) for a in range(1, len(areas.near)) for b in areas.near[a] if a < b]
    heap = [(areas.weight(a, b, share), a, b, 0, 0) for a, b in pairs if not {a, b} & locked]
    heapq.heapify(heap)
    while heap and heap[0][0] < 1.0:
        _, a, b, va, vb = heapq.heappop(heap)
        if areas.version[a] != va or areas.version[b] != vb or b in hostile.get(a, ()):
            continue
        a, b = min(a, b), max(a, b)
        areas.join(a, b)
        for foe in hostile.pop(b, set()):
            hostile.setdefault(foe, set()).add(a)
            hostile[foe].discard(b)
            hostile.setdefault(a, set()).add(foe)
        for c in areas.near[a]:
            if c not in locked and areas.version[c] >= 0:
                heapq.heappush(heap, (areas.weight(a, c, share), a, c, areas.version[a], areas.version[c]))
    return _renumbered(areas.target)[labels].astype(np.int32)


def _renumbered(target: np.ndarray) -> np.ndarray:
    target = target.copy()
    for k in range(len(target)):
        while target[target[k]] != target[k]:
            target[k] = target[target[k]]
    return np.unique(np.concatenate([[0, 1], target[2:]]), return_inverse=True)[1]


def _edge_width(tone: np.ndarray, pairs: np.ndarray, length: np.ndarray, total: np.ndarray) -> float:
    """Width of the edges against the oil, px: height over steepness."""
    oil = pairs[:, 0] == 1
    if not oil.any():
        return 3.0
    height = np.linalg.norm(tone[pairs[oil, 1]], axis=1)
    width = height * length[oil] / np.maximum(total[oil], 1e-6)
    order = np.argsort(width)
    share = np.cumsum(length[oil][order]) / length[oil].sum()
    return float(np.clip(width[order][np.searchsorted(share, 0.5)], 1.5, 12.0))


def _described(labels: np.ndarray, density: np.ndarray, steep: np.ndarray, usual: float) -> Areas:
    tone, size = _calm_means(labels, density, steep)
    pairs, length, _ = _borders(labels, steep)
    seam: list[dict[int, int]] = [{} for _ in range(len(size))]
    for (a, b), n in zip(pairs.tolist(), length.tolist(), strict=True):
        seam[a][b] = seam[b][a] = n
    return Areas(labels, tone, size, seam, find_objects(labels), density, steep, usual)
