"""Where the blurred edge of a piece stands in its profile: steps, discs and rings fitted to it.

All lengths are in sigma of a first estimate of the blur. Near the edge of a large piece the picture is a
blurred step and what rises behind it. Of a piece only a few sigma wide the other side is in the profile too:
then the step is that of a blurred disc. A see-through piece so small shows the ring its rim has become.
"""

from functools import lru_cache

import numpy as np

from measure.field.basics.compiled import i0e, ndtr

OUT = 3.0  # of the profile fitted, in sigma of the blur
_IN, _PLACES = 3.5, 27
_SHIFTS = np.linspace(-1.2, 1.2, 25)  # tried, in sigma
_SIGMAS = np.geomspace(0.5, 2.0, 13)  # tried, over the sigma the steepest place gives
_LIKELY_RISE = 0.1  # a rise of 10 % of the step in the first sigma is as likely as an error of 1 %
SMALLEST, LARGEST = 1.6, 8.0  # radius over sigma of pieces that are seen as discs
_PER_CLASS = np.log(1.06)  # radii of one class differ by 6 %
RIM = 0.3  # width of a rim over the radius of its piece, where it is no wider than the blur
_RADII = np.arange(0.0, 18.61, 0.15)  # of the table, in sigma
_AWAY = np.arange(0.0, 22.06, 0.15)  # from the middle
_LAYERS = 8  # discs a round top is laid of


def places() -> np.ndarray:
    """Places of a profile, from outside inwards."""
    return np.linspace(-OUT, _IN, _PLACES)


def fitted(lines: np.ndarray, radius: np.ndarray, ring: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Fit steps to profiles.

    Parameters
    ----------
    lines : (K, P) ndarray
        Profiles at `places`, 0 in the oil, about 1 inside.
    radius : (K,) ndarray
        Of pieces whose other side is in the profile, over sigma; infinite for others.
    ring : (K,) ndarray of bool
        Whether the profile of such a piece shows a ring.

    Returns
    -------
    shift, ratio : (K,) ndarray
        How far inwards the edge stands, in sigma; its own sigma over that given.
    """
    shift, ratio = np.zeros((2, len(lines)))
    near = np.isfinite(radius)
    of_class = np.round(np.log(np.where(near, radius, 1.0)) / _PER_CLASS).astype(int)
    number = np.where(near, 2 * of_class + ring, -1)
    for n in np.unique(number):
        own = np.flatnonzero(number == n)
        bases = _straight_bases() if n < 0 else _disc_bases(int(n) // 2, bool(n % 2))
        shift[own], ratio[own] = _best(lines[own], bases)
    return shift, ratio


def _best(lines: np.ndarray, bases: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Shift and ratio of sigma that leave least of each line."""
    left = np.einsum("kp,kp->k", lines, lines)[:, None]
    left = left - sum((lines @ bases[..., i].T) ** 2 for i in range(3))
    left = left.reshape(len(lines), len(_SHIFTS), len(_SIGMAS))
    best = left.reshape(len(lines), -1).argmin(axis=1)
    i, j = np.unravel_index(best, left.shape[1:])
    i = np.clip(i, 1, len(_SHIFTS) - 2)
    rows = np.arange(len(lines))
    before, here, after = (left[rows, i + k, j] for k in (-1, 0, 1))
    bend = before - 2.0 * here + after
    finer = np.where(bend > 0, 0.5 * (before - after) / np.where(bend > 0, bend, 1.0), 0.0)
    shift = _SHIFTS[i] + np.clip(finer, -1.0, 1.0) * (_SHIFTS[1] - _SHIFTS[0])
    return shift, _SIGMAS[j]


@lru_cache(maxsize=1)
def _straight_bases() -> np.ndarray:
    """For every shift and sigma tried: an orthonormal base of oil, step and rise.

    Thickness and light of a round body go with the root of the depth near its edge. The rise is held near
    nil as if one more value had been seen.
    """
    z = ((places() - _SHIFTS[:, None]) / _SIGMAS[:, None, None]).swapaxes(0, 1).reshape(-1, _PLACES)
    return _orthonormal(ndtr(z), np.array([_blurred_root(line) for line in z]))


@lru_cache(maxsize=128)
def _disc_bases(of_class: int, ring: bool) -> np.ndarray:
    """The same of discs, whose other side is near; instead of the rise there may be a ring along the edge."""
    radius = np.exp(of_class * _PER_CLASS)
    own = ((radius - _SHIFTS[:, None]) / _SIGMAS).reshape(-1, 1)
    away = np.abs(radius - places()) / np.tile(_SIGMAS, len(_SHIFTS))[:, None]
    if ring:
        disc = _read(_discs(), own, away)
        return _orthonormal(disc, disc - _read(_discs(), (1.0 - RIM) * own, away), held=0.0)
    return _orthonormal(_read(_discs(), own, away), _read(_domes(), own, away))


def _orthonormal(step: np.ndarray, rise: np.ndarray, held: float = _LIKELY_RISE) -> np.ndarray:
    parts = np.stack([np.ones_like(step), step, rise], axis=-1)
    line = np.broadcast_to(np.array([0.0, 0.0, held]), (len(parts), 1, 3))
    return np.linalg.qr(np.concatenate([parts, line], axis=1))[0][:, :-1]


def _blurred_root(z: np.ndarray) -> np.ndarray:
    """The root of the depth, nil outside, blurred by a Gaussian of sigma 1."""
    depth = (np.arange(0.0, 16.0, 0.02) + 0.01)[:, None]
    return (np.sqrt(depth) * np.exp(-0.5 * (z - depth) ** 2)).sum(axis=0) * 0.02 / np.sqrt(2 * np.pi)


@lru_cache(maxsize=1)
def _discs() -> np.ndarray:
    """Discs of each radius blurred by a Gaussian of sigma 1, at distances from the middle, (R, X).

    Rice's distribution: the share of a Gaussian about a place that lies within the disc.
    """
    at = _RADII[:, None]
    density = at * np.exp(-0.5 * (at - _AWAY) ** 2) * i0e(at * _AWAY)
    grown = np.cumsum(0.5 * (density[1:] + density[:-1]), axis=0) * (_RADII[1] - _RADII[0])
    return np.concatenate([np.zeros((1, len(_AWAY))), grown])


@lru_cache(maxsize=1)
def _domes() -> np.ndarray:
    """The same of round tops, whose height goes with the root of the depth near the edge."""
    ends = np.linspace(0.0, 1.0, _LAYERS + 1)
    middles = (0.5 * (ends[1:] + ends[:-1])) ** 2
    height = np.sqrt(_RADII[:, None] * ends**2 * (1.0 - 0.5 * ends**2))
    total = np.zeros_like(_discs())
    for k, middle in enumerate(middles):
        layer = _read(_discs(), ((1.0 - middle) * _RADII)[:, None], _AWAY[None])
        total += (height[:, k + 1] - height[:, k])[:, None] * layer
    return total


def _read(table: np.ndarray, radius: np.ndarray, away: np.ndarray) -> np.ndarray:
    """Values of a table between its places."""
    i, j = (np.minimum(v / (g[1] - g[0]), len(g) - 1.001) for v, g in ((radius, _RADII), (away, _AWAY)))
    i, j = np.broadcast_arrays(np.maximum(i, 0.0), j)
    row, column = i.astype(int), j.astype(int)
    u, v = i - row, j - column
    low = table[row, column] * (1 - v) + table[row, column + 1] * v
    return low * (1 - u) + (table[row + 1, column] * (1 - v) + table[row + 1, column + 1] * v) * u
