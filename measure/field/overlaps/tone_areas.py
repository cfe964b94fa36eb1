"""A cluster divided along its own edges into areas of even tone."""

import heapq
from dataclasses import dataclass, field, replace
from functools import cached_property
from math import dist, hypot, inf, sqrt

import cv2
import numpy as np

from measure.field.basics.compiled import find_objects
from measure.field.basics.flood import flooded
from measure.field.basics.quick import colours_at, length, percentile
from measure.field.overlaps.tone_graph import Graph, Ground

_LEAST_STEP = 0.02  # natural density; fainter steps are noise
_FAINT_SHARE = 0.5  # of the usual density below which an area beside the oil is oil
_MOST_AREAS = 6000
_FEWEST = 4  # the oil and three areas: two pieces and where they lie over one another
_MOST_ASKED = 250  # borders up to which each is asked by itself, which takes less time than all in arrays
_THREE, _FIVE = np.ones((3, 3), np.uint8), np.ones((5, 5), np.uint8)
_CORNER = 0.3  # border over the root of the smaller area, below which two areas only meet at a corner


@dataclass(frozen=True)
class Areas:
    """Areas of one crop.

    Labels and boxes are worked out when they are asked for: few divisions come so far.

    Attributes
    ----------
    labels : (M, N) ndarray of int32
        1 is the oil, 2.. the areas.
    tone : (K, 3) ndarray of float
        Mean density of each, its flat places counting most.
    size : (K,) ndarray of int
        Pixels of each.
    seam : list of dict of int to int
        For each area, length of the border with each neighbour, px.
    boxes : list of tuple of slice
        Rows and columns of areas 1..
    """

    tone: np.ndarray
    size: np.ndarray
    seam: list[dict[int, int]]
    graph: Graph
    _enlarged: np.ndarray | None = None
    _half_widths: dict[int, float] = field(default_factory=dict, compare=False)

    @cached_property
    def labels(self) -> np.ndarray:
        """Number of the area of each pixel."""
        if self._enlarged is not None:
            return self._enlarged
        return self.graph.number[self.graph.first].astype(np.int32)

    @cached_property
    def boxes(self) -> list[tuple[slice, slice]]:
        """Rows and columns of each area."""
        return find_objects(self.labels)

    @property
    def density(self) -> np.ndarray:
        """Optical density against the oil, (M, N, 3)."""
        return self.graph.ground.density

    @property
    def steep(self) -> np.ndarray:
        """Steepness of the density, per px, (M, N)."""
        return self.graph.ground.steep

    def coarser(self, share: float, locked: frozenset[int], foes: tuple[tuple[int, int], ...]) -> "Areas":
        """Return the areas joined further, but not the locked ones, and not foes with each other."""
        return _described(_merged(self.graph, share, locked, foes))

    def enlarged(self, shape: tuple[int, int]) -> "Areas":
        """Return the areas at another size of the crop; only labels and tones are of use then."""
        labels = cv2.resize(self.labels, shape[::-1], interpolation=cv2.INTER_NEAREST)
        return replace(self, _enlarged=labels, _half_widths={}) if self.labels.shape != shape else self

    def relabelled(self, labels: np.ndarray) -> "Areas":
        """Return the same crop divided otherwise."""
        return _described(Graph.of(labels, self.graph.ground))

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
        if label not in self._half_widths:
            mask = (self.labels[self.crop(label)] == label).view(np.uint8)
            mask = cv2.copyMakeBorder(mask, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
            self._half_widths[label] = float(cv2.distanceTransform(mask, cv2.DIST_L2, 5).max())
        return self._half_widths[label]


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
    steep = _steepness(density)
    inside = near > 0
    values = colours_at(density, inside)
    usual = percentile(length(values), 50) if len(values) else 0.0
    if usual <= 0:
        return []
    oil = ~inside
    lowest = cv2.erode(steep, _FIVE)
    flat = ((steep <= lowest) & inside).view(np.uint8)
    count, seeds = cv2.connectedComponents(flat, connectivity=8)
    if count < _FEWEST or count > _MOST_AREAS:
        return []
    seeds[seeds > 0] += 1
    seeds[oil] = 1
    # the oil is flooded already; only its border with the rest matters
    basins = flooded(steep, seeds, cv2.dilate(near, _THREE) > 0)
    basins[oil] = 1
    graph = Graph.of(basins, Ground(density, steep, usual))
    # the weakest borders go first whatever the share, so a coarse division goes on from a finer one
    divisions: list[Areas] = []
    for share in sorted(shares):
        graph = _merged(graph, share)
        if graph.count < _FEWEST:
            break
        divisions.insert(0, _described(graph))
    return divisions


def _steepness(density: np.ndarray) -> np.ndarray:
    total = np.zeros(density.shape[:2], np.float32)
    for channel in cv2.split(density):
        gx = cv2.Sobel(channel, cv2.CV_32F, 1, 0, scale=1 / 8, borderType=cv2.BORDER_REPLICATE)
        gy = cv2.Sobel(channel, cv2.CV_32F, 0, 1, scale=1 / 8, borderType=cv2.BORDER_REPLICATE)
        total += gx * gx + gy * gy
    return np.sqrt(total)


class _Joining:
    """Areas being joined over their weakest borders."""

    def __init__(self, graph: Graph) -> None:
        tone, size, usual = graph.tone, graph.size, graph.ground.usual
        pairs, length, total = graph.borders
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
        self.largest = max(self.size[2:], default=0.0)
        self._borders = pairs, length, total
        self._few = len(pairs) <= _MOST_ASKED

    def weak(self, share: float) -> list[tuple[float, int, int, int, int]]:
        """Return all borders that are no edges: weight, the two areas, and how often each was joined yet."""
        if self._few:
            every = range(1, len(self.near))
            return [
                weak for a in every for weak in self.weak_of(a, [c for c in self.near[a] if c > a], share)
            ]
        pairs, n, s = self._borders
        tone, size, length = (np.array(values) for values in (self.tone, self.size, self.length))
        one, other = pairs.T
        across = np.sqrt(((tone[one] - tone[other]) ** 2).sum(axis=1))
        faint = np.minimum(np.minimum(length[one], length[other]), self.usual)
        faint = np.maximum(faint, _FAINT_SHARE * self.usual)
        # not the last digit of `weight`, so the first of all is looked at again
        weight = np.minimum(across, self.width * s / n) / np.maximum(share * faint, _LEAST_STEP)
        weight[n < _CORNER * np.sqrt(np.minimum(size[one], size[other])) * (1.0 - 1e-9)] = np.inf
        likely = pairs[weight < 1.0 + 1e-9].tolist()
        return [(w, a, b, 0, 0) for a, b in likely if (w := self.weight(a, b, share)) < 1.0]

    def weight(self, a: int, b: int, share: float) -> float:
        """Return the step between two areas over that of an edge; infinite at a mere corner."""
        n, s = self.near[a][b]
        if n < _CORNER * sqrt(min(self.size[a], self.size[b])):
            return inf
        across = dist(self.tone[a], self.tone[b])
        faint = max(min(self.length[a], self.length[b], self.usual), _FAINT_SHARE * self.usual)
        return min(across, self.width * s / n) / max(share * faint, _LEAST_STEP)

    def weak_of(self, a: int, others: list[int], share: float) -> list[tuple[float, int, int, int, int]]:
        """Return those borders of one area that are no edges, by `weight` without a call for each."""
        near, tone, size, length = self.near[a], self.tone[a], self.size[a], min(self.length[a], self.usual)
        version, width, least = self.version[a], self.width, _FAINT_SHARE * self.usual
        found = []
        for c in others:
            n, s = near[c]
            other = self.size[c]
            if n < _CORNER * sqrt(other if other < size else size):
                continue
            across, step = dist(tone, self.tone[c]), width * s / n
            faint = self.length[c]
            faint = faint if faint < length else length
            edge = share * (faint if faint > least else least)
            edge = edge if edge > _LEAST_STEP else _LEAST_STEP
            weight = (across if across < step else step) / edge
            if weight < 1.0:
                found.append((weight, a, c, version, self.version[c]))
        return found

    def join(self, a: int, b: int) -> list[int]:
        """Let area ``a`` take in area ``b``; the areas whose borders with it have changed by that."""
        changed = [c for c in self.near[b] if c != a]
        few = self.size[1] < self.largest  # what is a corner depends on the size of the smaller area
        if a != 1:
            both = self.size[a] + self.size[b]
            mine, its = self.size[a] / both, self.size[b] / both
            (p0, p1, p2), (q0, q1, q2) = self.tone[a], self.tone[b]
            self.tone[a] = (p0 * mine + q0 * its, p1 * mine + q1 * its, p2 * mine + q2 * its)
            self.length[a] = hypot(*self.tone[a])
            self.version[a] += 1
        self.size[a] += self.size[b]
        self.target[b] = a
        self.version[b] = -1
        del self.near[a][b]
        for c, (n, s) in self.near[b].items():
            if c != a:
                del self.near[c][b]
                here = self.near[a].get(c, (0.0, 0.0))
                self.near[a][c] = self.near[c][a] = (here[0] + n, here[1] + s)
        self.near[b] = {}
        if a == 1:
            return list(self.near[1]) if few else changed  # the oil's tone stays
        self.largest = max(self.largest, self.size[a])
        return list(self.near[a])


def _merged(
    graph: Graph,
    share: float,
    locked: frozenset[int] = frozenset(),
    foes: tuple[tuple[int, int], ...] = (),
) -> Graph:
    """Join areas over the weakest border first until every border left is an edge.

    Locked areas stay as they are, and foes never become one.
    """
    areas = _Joining(graph)
    hostile: dict[int, set[int]] = {}
    for a, b in foes:
        hostile.setdefault(a, set()).add(b)
        hostile.setdefault(b, set()).add(a)
    heap = [weak for weak in areas.weak(share) if weak[1] not in locked and weak[2] not in locked]
    heapq.heapify(heap)
    while heap:
        weight, a, b, va, vb = heapq.heappop(heap)
        if areas.version[a] != va or areas.version[b] != vb or b in hostile.get(a, ()):
            continue
        a, b = min(a, b), max(a, b)
        if a == 1 and weight != areas.weight(a, b, share):
            continue  # the border with the oil has changed since
        changed = areas.join(a, b)
        for foe in hostile.pop(b, set()):
            hostile.setdefault(foe, set()).add(a)
            hostile[foe].discard(b)
            hostile.setdefault(a, set()).add(foe)
        version = areas.version
        changed = [c for c in changed if version[c] >= 0 and c not in locked]
        for weak in areas.weak_of(a, changed, share):
            heapq.heappush(heap, weak)
    return graph.joined(_renumbered(areas.target))


def _renumbered(target: np.ndarray) -> np.ndarray:
    ends = target.tolist()
    for k, end in enumerate(ends):
        while ends[end] != end:
            end = ends[end]
        ends[k] = end
    own = np.array([0, 1, *ends[2:]])
    there = np.zeros(len(own), bool)
    there[own] = True
    return (np.cumsum(there) - 1)[own]


def _edge_width(tone: np.ndarray, pairs: np.ndarray, length: np.ndarray, total: np.ndarray) -> float:
    """Width of the edges against the oil, px: height over steepness."""
    oil = pairs[:, 0] == 1
    if not oil.any():
        return 3.0
    height = np.linalg.norm(tone[pairs[oil, 1]], axis=1)
    width = height * length[oil] / np.maximum(total[oil], 1e-6)
    order = np.argsort(width)
    share = np.cumsum(length[oil][order]) / length[oil].sum()
    return min(max(float(width[order][np.searchsorted(share, 0.5)]), 1.5), 12.0)


def _described(graph: Graph) -> Areas:
    pairs, length, _ = graph.borders
    seam: list[dict[int, int]] = [{} for _ in range(len(graph.size))]
    for (a, b), n in zip(pairs.tolist(), length.tolist(), strict=True):
        seam[a][b] = seam[b][a] = n
    return Areas(graph.tone, graph.size, seam, graph)
