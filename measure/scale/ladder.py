"""The evenly spaced strokes among many: the rungs of a ruling."""

from dataclasses import dataclass

import numpy as np

from measure.scale.strokes import Strokes

_NEAR = 0.14  # of the spacing: how far a stroke may lie from where its neighbours put it
_MOST_GAP = 5  # graduations in a row that may be missing
_HEIGHTS = 14
LEAST = 4


@dataclass(frozen=True)
class Ladder:
    """Evenly spaced strokes of one sign.

    Attributes
    ----------
    strokes : Strokes
        The rungs, in order of their index.
    index : (K,) ndarray of int
        Counts spacings from the first rung.
    spacing_px : float
    spread : float
        Standard deviation of the rungs about an even ladder (a smooth bend allowed), by the spacing.
    score : float
        Number of rungs, less for gaps and unevenness.
    """

    strokes: Strokes
    index: np.ndarray
    spacing_px: float
    spread: float
    score: float

    @property
    def strength(self) -> float:
        """Middle strength of the rungs."""
        return float(np.median(self.strokes.strength))

    @property
    def filled(self) -> float:
        """Share of the graduations between the first and the last that were found."""
        return len(self.index) / (self.index[-1] + 1)


def ladders(strokes: Strokes) -> list[Ladder]:
    """Find the best ladder of bright strokes and the best of dark ones, as far as there are any."""
    found = []
    for sign in (1, -1):
        some = strokes.select(strokes.sign == sign)
        best = None
        for height in _busy_heights(some):
            crossing = some.select((some.top_px <= height) & (some.bottom_px >= height))
            ladder = _ladder_at(crossing, height)
            if ladder is not None and (best is None or ladder.score > best.score):
                best = ladder
        if best is not None:
            found.append(best)
    return found


def _busy_heights(strokes: Strokes) -> np.ndarray:
    """Return the heights that most strokes cross, one of each neighbourhood."""
    if len(strokes.x_px) < LEAST:
        return np.zeros(0)
    heights = np.arange(strokes.top_px.min() + 4, strokes.bottom_px.max(), 8.0)
    crossing = np.array([np.sum((strokes.top_px <= h) & (strokes.bottom_px >= h)) for h in heights])
    order = np.argsort(-crossing, kind="stable")[:_HEIGHTS]
    return heights[order[crossing[order] >= LEAST]]


def _ladder_at(strokes: Strokes, height: float) -> Ladder | None:
    x = strokes.x_px + strokes.slope * (height - strokes.middle_px)
    order = np.argsort(x)
    x, strokes = x[order], strokes.select(order)
    best = None
    for spacing in _spacings(x):
        for seed in _seeds(x, spacing):
            rungs, index = _walk(x, seed, spacing)
            found = _judged(strokes, x, rungs, index)
            if found is not None and (best is None or found.score > best.score):
                best = found
    return best


def _has_next(x: np.ndarray, spacing: float) -> np.ndarray:
    """Tell which places have another one spacing further right."""
    low = np.searchsorted(x, x + spacing * (1 - _NEAR / 2))
    return np.searchsorted(x, x + spacing * (1 + _NEAR / 2)) > low


def _spacings(x: np.ndarray) -> list[float]:
    """Return likely spacings: the differences that repeat most, finer ones first."""
    if len(x) < LEAST:
        return []
    steps = np.concatenate([x[k:] - x[:-k] for k in (1, 2, 3) if len(x) > k])
    steps = np.sort(steps[steps > 2.5])
    if not len(steps):
        return []
    tried = steps[np.linspace(0, len(steps) - 1, min(60, len(steps))).astype(int)]
    tried = np.unique(np.round(np.log(tried) / 0.03))
    votes = {}
    for key in tried:
        near = steps[np.abs(np.log(steps) - key * 0.03) < 0.045]
        if len(near):
            spacing = float(np.median(near))
            votes[spacing] = int(_has_next(x, spacing).sum())
    most = max(votes.values(), default=0)
    good = sorted(s for s, v in votes.items() if v >= max(0.55 * most, LEAST - 2))
    return good[:8]


def _seeds(x: np.ndarray, spacing: float) -> list[int]:
    places = np.flatnonzero(_has_next(x, spacing))
    if not len(places):
        return []
    return sorted({int(places[int(f * (len(places) - 1))]) for f in (0.2, 0.5, 0.8)})


def _walk(x: np.ndarray, seed: int, spacing: float) -> tuple[np.ndarray, np.ndarray]:
    """Step from rung to rung both ways; return positions in ``x`` and their index."""
    rungs, index = [seed], [0]
    for way in (1, -1):
        here, count, step = x[seed], 0, spacing
        while True:
            for gap in range(1, _MOST_GAP + 1):
                target = here + way * gap * step
                k = int(np.argmin(np.abs(x - target)))
                if abs(x[k] - target) <= _NEAR * step:
                    break
            else:
                break
            count += way * gap
            step = 0.7 * step + 0.3 * abs(x[k] - here) / gap
            here = x[k]
            rungs.append(k)
            index.append(count)
    order = np.argsort(index)
    counts = np.array(index)[order]
    return np.array(rungs)[order], counts - counts[0]


def _judged(strokes: Strokes, x: np.ndarray, rungs: np.ndarray, index: np.ndarray) -> Ladder | None:
    """Fit a smooth ladder, leave out what strays, and score what stays."""
    for _ in range(3):
        if len(rungs) < LEAST:
            return None
        bend = 2 if len(rungs) >= 8 else 1
        fit = np.polynomial.Polynomial.fit(index, x[rungs], bend)
        off = x[rungs] - fit(index)
        limit = max(3.5 * 1.4826 * float(np.median(np.abs(off))), 0.3)
        if (np.abs(off) <= limit).all():
            break
        rungs, index = rungs[np.abs(off) <= limit], index[np.abs(off) <= limit]
    if len(rungs) < LEAST:
        return None
    index = index - index[0]
    spacing = float((x[rungs[-1]] - x[rungs[0]]) / index[-1])
    freedom = max(len(rungs) - bend - 1, 1)
    spread = float(np.sqrt(np.sum(off[np.abs(off) <= limit] ** 2) / freedom)) / spacing
    filled = len(rungs) / (index[-1] + 1)
    score = len(rungs) * filled * max(0.0, 1 - spread / 0.08)
    return Ladder(strokes.select(rungs), index, spacing, spread, score)
