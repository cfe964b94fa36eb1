"""Areas of a crop as a graph: their sums, and the places where they meet."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

_MOST_COUNTED = 500  # areas up to which their pairs are counted in a table


class Ground:
    """What stays the same while the areas of a crop are joined.

    Parameters
    ----------
    density : (M, N, 3) ndarray of float32
    steep : (M, N) ndarray of float32
    usual : float
    """

    def __init__(self, density: np.ndarray, steep: np.ndarray, usual: float) -> None:
        self.density, self.steep, self.usual = density, steep, usual

    @cached_property
    def weighted(self) -> list[np.ndarray]:
        """Weight of each pixel, large where it is flat, and its weighted densities, all flat float64."""
        weight = 1.0 / (self.steep + 0.003) ** 2
        parts = [weight, *(weight * self.density[..., i] for i in range(3))]
        return [p.ravel().astype(np.float64) for p in parts]


@dataclass(frozen=True)
class Graph:
    """Areas of a crop as sums over their pixels and the places where they meet.

    When areas are joined their sums are joined; the pixels are not looked at again.
    """

    ground: Ground
    first: np.ndarray  # (M, N) labels before any were joined
    number: np.ndarray  # (K0,) number of each of them now
    sums: np.ndarray  # (4, K) weights and weighted densities
    size: np.ndarray  # (K,) pixels
    meet: tuple[np.ndarray, np.ndarray, np.ndarray]  # two areas and the steepness at each px of a border

    @classmethod
    def of(cls, labels: np.ndarray, ground: Ground) -> "Graph":
        """Read the graph of a labelled crop from its pixels."""
        flat = labels.ravel().astype(np.intp)
        sums = np.stack([np.bincount(flat, weights=w) for w in ground.weighted])
        size = np.bincount(flat)
        return cls(ground, labels, np.arange(len(size)), sums, size, _meeting(labels, ground.steep))

    def joined(self, target: np.ndarray) -> "Graph":
        """Return the graph with areas renumbered, some of them alike."""
        one, other, steep = target[self.meet[0]], target[self.meet[1]], self.meet[2]
        apart = one != other
        sums = np.array([np.bincount(target, weights=w) for w in self.sums])
        size = np.bincount(target, weights=self.size).astype(self.size.dtype)
        meet = (one[apart], other[apart], steep[apart])
        return Graph(self.ground, self.first, target[self.number], sums, size, meet)

    @property
    def count(self) -> int:
        """Number of areas, the oil among them."""
        return len(self.size) - 1

    @cached_property
    def tone(self) -> np.ndarray:
        """Mean density of each area, its flat places counting most, (K, 3)."""
        return (self.sums[1:] / np.maximum(self.sums[0], 1e-9)).T

    @cached_property
    def borders(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Pairs of areas that meet (P, 2), length of each border and sum of the steepness along it."""
        one, other, steep = self.meet
        codes = np.minimum(one, other) * len(self.size) + np.maximum(one, other)
        if len(self.size) > _MOST_COUNTED:
            unique, codes = np.unique(codes, return_inverse=True)
            length, total = np.bincount(codes), np.bincount(codes, weights=steep)
        else:
            length, total = np.bincount(codes), np.bincount(codes, weights=steep)
            unique = np.flatnonzero(length)
            length, total = length[unique], total[unique]
        return np.stack(np.divmod(unique, len(self.size)), axis=1), length, total


def _meeting(labels: np.ndarray, steep: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Numbers of the two areas at each px where two meet, and the steepness there."""
    sides = []
    for a, b, ga, gb in (
        (labels[:, 1:], labels[:, :-1], steep[:, 1:], steep[:, :-1]),
        (labels[1:], labels[:-1], steep[1:], steep[:-1]),
    ):
        meet = a != b
        sides.append((a[meet], b[meet], np.maximum(ga[meet], gb[meet])))
    one, other, value = (np.concatenate(side) for side in zip(*sides, strict=True))
    return one.astype(np.int64), other.astype(np.int64), value.astype(np.float64)
