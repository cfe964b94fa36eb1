"""Intervals of every figure: between fields, with the scale's and the edge's uncertainty and the unseen tail.

The 95 % interval of a figure is worked out on its logarithm (a share's on the arcsine of its root,
which evens out its spread) from three parts:

- *Fields.* Whole fields are drawn anew, because pieces of one field are alike. With few fields the spread
  of a bootstrap is too narrow, so its deviations are stretched by sqrt(n / (n - 1)) and Student's t over the
  normal quantile. The upper deviation is at least the lower one, because a sample that missed large pieces
  shows too little spread upwards.
- *Unseen coarse pieces.* On average one piece of the population lies beyond the largest seen. What one more
  of the size the coarse tail suggests would do is added to the upper side. Where few pieces carry most of
  the volume that is not enough: there the upper side of what weighs by more than number goes as far as the
  coarse end may, continued as a log-normal curve (`measure.sizes.coarse_tail`).
- *Scale and edge* (JCGM 100). The scale's relative uncertainty moves all sizes together and does not shrink
  with the number of pieces; the edge's moves each piece by itself.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from measure.sizes.coarse_tail import coarse_tail, continued
from measure.sizes.figures import PERCENTS, Ladder, ShareRule, figures, ladder_figures, make_ladder
from measure.sizes.resample import (
    COVERAGE_FACTOR,
    Plan,
    field_multiples,
    in_groups,
    piece_multiples,
    resampling_plan,
)
from measure.sizes.sample import SizeSample

Turn = Callable[[np.ndarray], np.ndarray]
# figures that do not change when all sizes are multiplied
_UNITLESS = ("span", "number.geometric_sd")
# figures of single pieces, for which fields drawn anew tell all
_BY_NUMBER = ("number.", "means_um.D[1,0]")
_TELLS_NOTHING = math.log(100.0)
_EDGE_REPEATS = 30
_EDGE_PIECES = 20_000


@dataclass(frozen=True)
class Uncertainty:
    """Interval of one figure, and the standard uncertainty of each part on its logarithm (a share's: angle).

    Attributes
    ----------
    low, high : float
        95 % interval, in the figure's unit; nan where none can be given.
    fields, unseen, scale, edge, limit : float
        Relative standard uncertainties; the last is that of a limit a panel found, see `judge.panel_limit`.
    """

    low: float
    high: float
    fields: float = math.nan
    unseen: float = 0.0
    scale: float = 0.0
    edge: float = 0.0
    limit: float = 0.0


def uncertainties(
    sample: SizeSample,
    values: Mapping[str, float],
    *,
    resamples: int = 1000,
    seed: int = 20_240_501,
    percents: tuple[float, ...] = PERCENTS,
    shares: Mapping[str, ShareRule] | None = None,
) -> tuple[dict[str, Uncertainty], Plan]:
    """Return the uncertainty of every figure.

    Parameters
    ----------
    sample : SizeSample
        K pieces.
    values : mapping of str to float
        What `figures` gave for it.
    resamples, seed : int
        Number of resampled batches, and the seed that makes them repeatable.
    percents, shares
        As given to `figures`.

    Returns
    -------
    dict of str to Uncertainty, Plan
        The second says what was resampled.

    References
    ----------
    .. [1] JCGM 100:2008. .. [2] Efron and Tibshirani, An Introduction to the Bootstrap, 1993.
    """
    plan = resampling_plan(sample)
    if not math.isfinite(plan.stretch) or len(sample) == 0:
        return {name: Uncertainty(math.nan, math.nan) for name in values}, plan
    drawn_from = in_groups(sample)
    ladder = make_ladder(drawn_from, shares=shares, by_field=plan.by_field)
    if plan.by_field:
        multiples = field_multiples(drawn_from, resamples, seed)
    else:
        multiples = piece_multiples(ladder.pieces, resamples, seed)
    drawn = ladder_figures(ladder, multiples, percents)
    base = ladder_figures(ladder, np.ones((1, len(ladder.sums))), percents)
    more = _one_more(sample, ladder, plan, percents, shares)
    reach = _reach(sample, percents, shares)
    scale = _scale_parts(sample, values, shares)
    edge = _edge_parts(sample, values, seed, percents, shares)
    result = {}
    for name, value in values.items():
        turn = share_angle if name in (shares or {}) else _log
        with np.errstate(invalid="ignore"):
            deviations = turn(drawn[name]) - turn(base[name])[0]
            unseen = np.nan_to_num(turn(more[name])[0] - turn(base[name])[0], nan=0.0)
            far = np.nan_to_num(turn(reach[name])[0] - turn(base[name])[0], nan=0.0) if name in reach else 0.0
        parts = Uncertainty(
            math.nan, math.nan, unseen=max(float(unseen), 0.0), scale=scale[name], edge=edge[name]
        )
        least = _least(name, sample)
        result[name] = _combine(value, deviations, parts, plan.stretch, turn, least, float(far))
    return result, plan


def _log(values: np.ndarray) -> np.ndarray:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.log(np.asarray(values, dtype=float))


def share_angle(values: np.ndarray) -> np.ndarray:
    """Return arcsin(sqrt(share)), on which a share's chance error is about the same everywhere."""
    return np.arcsin(np.sqrt(np.clip(np.asarray(values, dtype=float), 0.0, 1.0)))


def _back(turn: Turn, value: float) -> float:
    if turn is _log:
        return math.exp(min(value, 700.0))
    return math.sin(min(max(value, 0.0), math.pi / 2)) ** 2


def _least(name: str, sample: SizeSample) -> float:
    """Return what a figure cannot fall below: a size of pieces counted, not below the smallest counted."""
    if name == "number.geometric_sd":
        return 1.0
    sized = name.endswith("_um") or name.startswith("means_um.")
    if not sized or not math.isfinite(sample.smallest_um):
        return 0.0
    return sample.smallest_um * max(1 - COVERAGE_FACTOR * sample.scale_relative_uncertainty, 0.0)


def _combine(
    value: float,
    deviations: np.ndarray,
    parts: Uncertainty,
    stretch: float,
    turn: Turn,
    least: float,
    far: float,
) -> Uncertainty:
    """Return the interval; ``parts.unseen`` comes as a whole deviation and leaves as a standard one.

    ``far`` is how far up the continued coarse end may take the figure.

    A figure that may as well be a hundred times more or less has no interval: one would tell nothing.
    """
    good = deviations[np.isfinite(deviations)]
    centre = float(turn(np.array([value]))[0])
    if good.size < 20 or not math.isfinite(centre):
        return Uncertainty(math.nan, math.nan)
    below, above = np.quantile(good, [0.025, 0.975])
    # percentiles of few pieces move in jumps, so neither side is taken as much surer than the other
    down = max(-float(below), 0.5 * float(above), 0.0) * stretch
    seen = max(float(above) * stretch, down)
    unseen = max(parts.unseen, far - seen)
    up = seen + unseen
    rest = COVERAGE_FACTOR * math.hypot(parts.scale, parts.edge)
    if turn is _log and math.hypot(up, rest) > _TELLS_NOTHING:
        return Uncertainty(math.nan, math.nan)
    low = _back(turn, centre - math.hypot(down, rest))
    high = _back(turn, centre + math.hypot(up, rest))
    # the width, not the bare spread, so that the parts of the budget add up to what is stated
    fields = 0.5 * (down + seen) / COVERAGE_FACTOR
    return Uncertainty(
        min(max(low, least), value),
        max(high, value),
        fields,
        unseen / COVERAGE_FACTOR,
        parts.scale,
        parts.edge,
    )


def _tail_size(sample: SizeSample) -> tuple[float, int]:
    """Return the size the next larger piece would have, and the row of the largest piece seen.

    Mean excess of the logarithms of the largest sizes (Hill, Ann. Statist. 3 (1975) 1163).
    """
    d = sample.diameter_um
    largest = int(np.argmax(d))
    number = min(max(10, int(math.sqrt(len(d)) / 2)), len(d) - 1)
    if number < 1:
        return float(d[largest]), largest
    top = np.partition(d, len(d) - number - 1)[len(d) - number - 1 :]
    excess = float(np.log(top / top.min()).sum() / number)
    return float(d[largest]) * math.exp(min(excess, 1 / 3)), largest


def _one_more(
    sample: SizeSample,
    ladder: Ladder,
    plan: Plan,
    percents: tuple[float, ...],
    shares: Mapping[str, ShareRule] | None,
) -> dict[str, np.ndarray]:
    """Return the figures with one more piece beyond the largest."""
    size, largest = _tail_size(sample)
    weight = float(sample.frame_weight[largest])
    volume = float(sample.volume_um3[largest]) * (size / float(sample.diameter_um[largest])) ** 3 * weight
    log = math.log(size)
    row = [weight * size**p for p in range(5)] + [weight * log, weight * log**2, volume, volume * size]
    kind, sizes = sample.kind[largest : largest + 1], np.array([size])
    row += [volume * float(rule(kind, sizes)[0]) for rule in (shares or {}).values()]
    totals = [a if a.ndim == 1 else a.sum(axis=0) for a in (ladder.number, ladder.volume)]
    extended = Ladder(
        np.r_[ladder.size_um, size],
        np.r_[totals[0], weight][None],
        np.r_[totals[1], volume][None],
        (ladder.sums.sum(axis=0) + np.array(row))[None],
        ladder.pieces.sum(keepdims=True),
        ladder.share_names,
    )
    return ladder_figures(extended, np.ones((1, 1)), percents)


def _reach(
    sample: SizeSample, percents: tuple[float, ...], shares: Mapping[str, ShareRule] | None
) -> dict[str, np.ndarray]:
    """Return the figures with the widest coarse end that fits, of what weighs by more than number."""
    tail = coarse_tail(sample)
    if tail is None:
        return {}
    ladder = continued(sample, tail, tail.spread_high, shares)
    found = ladder_figures(ladder, np.ones((1, 1)), percents)
    return {name: value for name, value in found.items() if not name.startswith(_BY_NUMBER)}


def _scale_parts(
    sample: SizeSample, values: Mapping[str, float], shares: Mapping[str, ShareRule] | None
) -> dict[str, float]:
    u = sample.scale_relative_uncertainty
    parts = {name: (0.0 if name in _UNITLESS else u) for name in values}
    volume = sample.quantity(3)
    for name, rule in (shares or {}).items():
        moved = [
            float(volume @ rule(sample.kind, sample.diameter_um * f) / volume.sum()) for f in (1 - u, 1 + u)
        ]
        parts[name] = abs(float(np.diff(share_angle(np.array(moved)))[0])) / 2
    return parts


def _edge_parts(
    sample: SizeSample,
    values: Mapping[str, float],
    seed: int,
    percents: tuple[float, ...],
    shares: Mapping[str, ShareRule] | None,
) -> dict[str, float]:
    """Return the standard uncertainty from each piece's own edge, by moving every piece at random."""
    if not np.any(sample.size_uncertainty_um > 0):
        return dict.fromkeys(values, 0.0)
    rng = np.random.default_rng(seed + 1)
    chosen = np.arange(len(sample))
    if len(sample) > _EDGE_PIECES:
        chosen = rng.choice(len(sample), _EDGE_PIECES, replace=False)
    part = sample.select(chosen)
    relative = np.minimum(part.size_uncertainty_um / part.diameter_um, 0.5)
    found: dict[str, list[float]] = {name: [] for name in values}
    for _ in range(_EDGE_REPEATS):
        step = relative * rng.standard_normal(len(part))
        moved = _moved(part, step)
        for name, value in figures(moved, percents=percents, shares=shares).items():
            found[name].append(value)
    shrink = math.sqrt(len(part) / len(sample))
    return {n: _spread(v, n in (shares or {})) * shrink for n, v in found.items()}


def _spread(values: list[float], share: bool) -> float:
    turned = (share_angle if share else _log)(np.array(values))
    return float(np.std(turned, ddof=1)) if np.all(np.isfinite(turned)) else 0.0


def _moved(sample: SizeSample, step: np.ndarray) -> SizeSample:
    from dataclasses import replace

    grow = np.exp(step)
    return replace(sample, diameter_um=sample.diameter_um * grow, volume_um3=sample.volume_um3 * grow**3)
