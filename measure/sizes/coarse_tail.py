"""What the coarse pieces that were seen say of those that were not.

Where sizes spread widely, a few large pieces carry most of the volume, and a sample of a few hundred pieces
mostly lacks the largest ones of its paste. Fields drawn anew hold no piece larger than those seen, so their
spread cannot tell. Here the coarse end is continued as a log-normal curve (ISO 9276-5), fitted to the
coarsest pieces alone: the finer ones count by their number only, so a fine kind beside a coarse one does not
bend it. How wide the curve may be is bounded by its likelihood.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from measure.sizes.figures import Ladder, ShareRule
from measure.sizes.sample import SizeSample
from measure.special_functions import special_function

# of K pieces the coarsest 4 sqrt(K) make the curve, ten at least and never more than half: more of them as
# their number grows, and yet a smaller and smaller part of the whole
_OF_ROOT, _LEAST, _MOST_SHARE = 4.0, 10, 0.5
_FEWEST = 5  # pieces that tell of a spread at all
_HALF_CHI2 = 1.920729  # half of the 95 % point of chi-squared with one degree of freedom
_WIDEST = 20.0  # times the likeliest spread
_STEPS, _BEYOND = 96, 4.5  # points of the curve, and how far it is followed
_SAME_MODEL = 1e-3


@dataclass(frozen=True)
class CoarseTail:
    """A log-normal curve through the coarsest pieces.

    Attributes
    ----------
    rows : (T,) ndarray of int
        Rows of the sample it stands for.
    below : (K - T,) ndarray of int
        All others, finest first.
    from_log, normal_score : float
        Logarithm of the size it begins at, and the standard normal quantile of the share of number below.
    spread, spread_high : float
        Standard deviation of ln x: the likeliest, and the largest that fits the pieces (95 %, either way).
    """

    rows: np.ndarray
    below: np.ndarray
    from_log: float
    normal_score: float
    spread: float
    spread_high: float


def coarse_tail(sample: SizeSample) -> CoarseTail | None:
    """Fit the coarse end of a sample; None where too few pieces or sizes are there to tell of a spread.

    With u the size below the coarsest pieces, z the normal quantile of the share up to it and e = ln(x / u),
    the curve of spread s has the log-likelihood -ln s - (z + e / s)^2 / 2 a piece, with its largest value
    at s = (z mean(e) + sqrt(z^2 mean(e)^2 + 4 mean(e^2))) / 2. The upper limit is where it has fallen by
    half of the 95 % point of chi-squared.

    References
    ----------
    .. [1] Venzon and Moolgavkar, Appl. Statist. 37 (1988) 87: limits from a profile of the likelihood.
    .. [2] Cohen, Ann. Math. Statist. 21 (1950) 557: normal samples of which a part is only counted.
    """
    order = np.argsort(sample.diameter_um, kind="stable")
    logs, weight = np.log(sample.diameter_um[order]), sample.weight[order]
    above = np.cumsum(sample.count[order][::-1])[::-1]  # pieces of this size and larger
    pieces = float(above[0]) if len(above) else 0.0
    wanted = min(max(_OF_ROOT * math.sqrt(pieces), _LEAST), _MOST_SHARE * pieces)
    first = int(np.searchsorted(-above, -wanted, side="left"))  # the first row with no more above it
    first = int(np.searchsorted(logs, logs[first])) if first < len(order) else first  # equal sizes together
    if not 1 <= first < len(order) or above[first] < _FEWEST:
        return None
    start = float(logs[first - 1])
    excess, of_tail = logs[first:] - start, weight[first:]
    total = float(of_tail.sum())
    score = -float(special_function("ndtri")(total / float(weight.sum())))
    mean, square = float(of_tail @ excess) / total, float(of_tail @ excess**2) / total
    if not square > 0 or not math.isfinite(score):
        return None
    spread = (score * mean + math.sqrt((score * mean) ** 2 + 4 * square)) / 2
    fall = _HALF_CHI2 / float(above[first])
    highest = _largest_spread(spread, score, mean, square, fall)
    return CoarseTail(order[first:], order[:first], start, score, spread, highest)


def _largest_spread(spread: float, score: float, mean: float, square: float, fall: float) -> float:
    """Return the spread beyond the likeliest at which the log-likelihood a piece has fallen by ``fall``."""

    def likelihood(s: float) -> float:
        return -math.log(s) - score * mean / s - square / (2 * s * s)

    least = likelihood(spread) - fall
    low, high = spread, _WIDEST * spread
    for _ in range(40):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if likelihood(middle) > least else (low, middle)
    return low


def continued(
    sample: SizeSample, tail: CoarseTail, spread: float, shares: Mapping[str, ShareRule] | None = None
) -> Ladder:
    """Return the sample with a curve of this spread in place of its coarsest pieces, as a ladder of one unit.

    The coarse kinds keep their part in number, and each its own volume at a size.
    """
    weight, diameter, volume = sample.weight, sample.diameter_um, sample.quantity(3)
    score = np.linspace(tail.normal_score, max(tail.normal_score, 0.0) + 4 * spread + _BEYOND, _STEPS)
    density = np.exp(-(score**2) / 2)
    density[0] /= 2
    part = density / density.sum()
    size = np.exp(tail.from_log + spread * (score - tail.normal_score))
    rules = dict(shares or {})
    tail_weight = float(weight[tail.rows].sum())
    number, held = tail_weight * part, np.zeros(_STEPS)
    felt = np.zeros((len(rules), _STEPS))
    for code in np.unique(sample.kind[tail.rows]):
        rows = tail.rows[sample.kind[tail.rows] == code]
        volume_here = float(weight[rows].sum()) * part * _volume_at(sample, rows, size)
        held += volume_here
        kinds = np.full(_STEPS, code, dtype=sample.kind.dtype)
        for place, rule in enumerate(rules.values()):
            felt[place] += volume_here * rule(kinds, size)
    finer, finer_number, finer_volume = (values[tail.below] for values in (diameter, weight, volume))
    finer_felt = [rule(sample.kind[tail.below], finer) * finer_volume for rule in rules.values()]
    sums = _sums(finer, finer_number, finer_volume, finer_felt)
    sums += _sums(size, number, held, list(felt))
    return Ladder(
        np.r_[finer, size],
        np.r_[finer_number, number][None],
        np.r_[finer_volume, held][None],
        sums[None],
        np.array([sample.pieces]),
        tuple(rules),
    )


def _volume_at(sample: SizeSample, rows: np.ndarray, size: np.ndarray) -> np.ndarray:
    """Return the volume of a piece like these at each size: by the cube of it, a flake's by the square."""
    diameter, volume, weight = sample.diameter_um[rows], sample.volume_um3[rows], sample.weight[rows]
    by_square = volume / diameter**2
    power = 2 if len(rows) > 1 and np.ptp(by_square) < _SAME_MODEL * by_square.max() else 3
    return float(weight @ volume) / float(weight @ diameter**power) * size**power


def _sums(size: np.ndarray, number: np.ndarray, volume: np.ndarray, shares: list[np.ndarray]) -> np.ndarray:
    """Return the sums of a ladder (`measure.sizes.figures`), the shares behind them."""
    log = np.log(size)
    columns = [number * size**p for p in range(5)] + [number * log, number * log**2, volume, volume * size]
    return np.array([float(column.sum()) for column in (*columns, *shares)])
