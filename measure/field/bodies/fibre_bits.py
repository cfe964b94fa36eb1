"""Bits of fibres: beside a longer stretch of one, or in a row where parts of it are out of focus."""

import numpy as np

from measure.field.basics.kind_shape import widest_px
from measure.particles import Particles

_WIDTH, _DENSITY, _BESIDE_PX = 1.35, 0.4, 3.0  # how like the thread a bit is, and how near
_WIDTH_PX = 8.0  # width for which the widths of two bits are looked at, to half a px
_SLENDER = 2.5  # length over thickness of the bits of a row
_FULL = 0.8  # area over that of the hull: a bit of a row is bent but little
_ROW_WIDTH, _ROW_DENSITY = 1.6, 2.5  # width and density of a bit over that of the next
_GAP = 1.0  # gap over the length of the longer of two
_TURN = 0.87  # cosine of the angle between each bit and the way to the next
_STRAYS = 2  # bits like those of a row that lie elsewhere by themselves, for each of the row
_FEWEST, _ROW = 3, 10.0  # bits of a row, and their length together over their thickness


def bits_of(threads: np.ndarray, asked: np.ndarray, particles: Particles) -> np.ndarray:
    """Whether pieces are bits of a thread: beside its end or side, as wide and as dense as it.

    Parameters
    ----------
    threads, asked : (K,) ndarray of bool
        Pieces that are long and even, and those that may be bits.
    particles : Particles

    Returns
    -------
    found : (K,) ndarray of bool
    """
    found = np.zeros(len(particles), dtype=bool)
    dense = _density(particles)
    waiting = np.flatnonzero(threads).tolist()
    for thread in waiting:  # grows as it goes: a bit may have the next beside it
        line = particles.outlines[thread]
        low, high = line.min(axis=0) - _BESIDE_PX, line.max(axis=0) + _BESIDE_PX
        wide = widest_px(line, _WIDTH_PX)
        near = asked & ~found & (np.abs(dense - dense[thread]) < _DENSITY * np.abs(dense[thread]))
        for row in np.flatnonzero(near):
            own = particles.outlines[row]
            points = own[((own > low) & (own < high)).all(axis=1)]
            if len(points) and 1.0 / _WIDTH < widest_px(own, _WIDTH_PX) / wide < _WIDTH:
                apart = np.hypot(*(points[:, None] - line[None]).transpose(2, 0, 1)).min()
                if apart < _BESIDE_PX:
                    found[row] = True
                    waiting.append(int(row))
    return found


def rows_of_bits(particles: Particles) -> np.ndarray:
    """Whether pieces are bits of a row that goes on from tip to tip, as of a fibre that dips out of focus.

    Returns
    -------
    found : (K,) ndarray of bool
    """
    found = np.zeros(len(particles), dtype=bool)
    length, thick = particles["feret_max_px"].astype(float), particles["feret_min_px"].astype(float)
    full = particles["area_px2"] / np.maximum(particles["hull_area_px2"], 1e-9)
    asked = np.flatnonzero((length > _SLENDER * thick) & (full > _FULL))
    if len(asked) < _FEWEST:
        return found
    length, thick = length[asked], thick[asked]
    tips, ways = (np.array(a) for a in zip(*(_ends(particles.outlines[i]) for i in asked), strict=True))
    row = np.arange(len(asked))
    for i, j in _following(tips, ways, length, thick, _density(particles)[asked]):
        row[row == row[j]] = row[i]
    rows = [row == one for one in np.unique(row)]
    rows = [own for own in rows if own.sum() >= _FEWEST and (length[own] / thick[own]).sum() > _ROW]
    lone = ~np.any(rows, axis=0) if rows else np.zeros(len(asked), dtype=bool)
    dense = _density(particles)[asked]
    for own in rows:
        alike = lone & _within(thick, float(np.median(thick[own])), _ROW_WIDTH)
        alike &= _within(dense, float(np.median(dense[own])), _ROW_DENSITY)
        if alike.sum() < _STRAYS * own.sum():  # or rods lie all about, and in rows by chance
            found[asked[own]] = True
    return found


def _within(values: np.ndarray, usual: float, most: float) -> np.ndarray:
    """Which values differ from a usual one by no more than a factor."""
    return np.asarray((values * most > usual) & (values < most * usual))


def _following(
    tips: np.ndarray, ways: np.ndarray, length: np.ndarray, width: np.ndarray, dense: np.ndarray
) -> list[tuple[int, int]]:
    """Pairs of bits of which one goes on where the other ends; tips and ways out of them are (N, 2, 2)."""
    pairs = []
    middle = tips.mean(axis=1)
    for i in range(len(tips)):
        apart = np.hypot(*(middle[i + 1 :] - middle[i]).T)
        # tips lie within their bits, so those of others are out of reach
        later = i + 1 + np.flatnonzero(apart < (1.0 + _GAP) * np.maximum(length[i], length[i + 1 :]))
        pairs += [(i, j) for j in later.tolist() if _goes_on(i, j, tips, ways, length, width, dense)]
    return pairs


def _goes_on(
    i: int,
    j: int,
    tips: np.ndarray,
    ways: np.ndarray,
    length: np.ndarray,
    width: np.ndarray,
    dense: np.ndarray,
) -> bool:
    """Whether two bits are alike, and one begins ahead of where the other ends."""
    for values, most in ((width, _ROW_WIDTH), (dense, _ROW_DENSITY)):
        if not max(values[i], values[j]) < most * min(values[i], values[j]):
            return False
    gap = tips[i][None, :] - tips[j][:, None]  # (2, 2, 2): from tips of the other to own
    apart = np.hypot(gap[..., 0], gap[..., 1])
    near = apart < _GAP * max(length[i], length[j])
    straight = np.maximum(apart, 1e-6) * _TURN
    ahead = -(gap * ways[i][None]).sum(axis=2) > straight
    back = (gap * ways[j][:, None]).sum(axis=2) > straight
    return bool((near & ahead & back).any())


def _ends(outline: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Tips of a long piece and the unit ways out of them, both (2, 2)."""
    points = outline - outline.mean(axis=0)
    axis = np.linalg.svd(points, full_matrices=False)[2][0]
    along = points @ axis
    tips, ways = [], []
    for sign in (1.0, -1.0):
        reach = sign * along
        end = outline[reach > 0.9 * reach.max()].mean(axis=0)
        inner = outline[(reach > 0.2 * reach.max()) & (reach < 0.6 * reach.max())]
        before = inner.mean(axis=0) if len(inner) else outline.mean(axis=0)
        tips.append(end)
        ways.append((end - before) / max(float(np.hypot(*(end - before))), 1e-6))
    return np.array(tips), np.array(ways)


def _density(particles: Particles) -> np.ndarray:
    red, green, blue = (particles[f"{c}_density"].astype(float) for c in ("red", "green", "blue"))
    total: np.ndarray = red + green + blue
    return total
