"""The figures of a size distribution, worked out for one set of pieces or for many resampled sets at once.

Pieces are first put on a ladder of sizes: every distinct size up to `RUNGS`, else groups of neighbours of
about equal number. On that ladder a thousand resampled batches cost one matrix product.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from measure.sizes.distribution import quantiles, span
from measure.sizes.moments import STANDARD_MEANS, geometric_mean, geometric_sd, mean_name, moment_mean
from measure.sizes.sample import SizeSample

# a value 0..1 a piece by kind codes and sizes in um, averaged by volume: for example how likely it is felt
ShareRule = Callable[[np.ndarray, np.ndarray], np.ndarray]
RUNGS = 2048
PERCENTS = (10.0, 50.0, 90.0)
# quantities whose sums give every mean; shares are added behind them
_SUMS = ("n", "d1", "d2", "d3", "d4", "log", "log2", "v", "vd")


def percentile_key(percent: float, r: int) -> str:
    """Return the name of a percentile.

    Examples
    --------
    >>> percentile_key(90, 3)
    'volume.x90_um'
    """
    return f"{'number' if r == 0 else 'volume'}.x{percent:g}_um"


def figures(
    sample: SizeSample,
    *,
    percents: tuple[float, ...] = PERCENTS,
    shares: Mapping[str, ShareRule] | None = None,
) -> dict[str, float]:
    """Return every figure of a sample by its dotted name; nan without pieces.

    Parameters
    ----------
    sample : SizeSample
        K pieces.
    percents : tuple of float
        Percentiles wanted by number and by volume.
    shares : mapping of str to ShareRule
        Further volume-weighted means of a value per piece (0..1), for example the felt share.

    Returns
    -------
    dict of str to float
        ``number.*``, ``volume.*``, ``means_um.D[p,q]``, ``span`` (by volume) and the names of ``shares``.
        The geometric standard deviation is that of the pieces themselves (n, not n - 1), so that counting
        every piece twice changes no figure.
    """
    d, w, v = sample.diameter_um, sample.weight, sample.quantity(3)
    order = np.argsort(d, kind="stable")  # once for all percentiles
    wanted = np.r_[percents, 10.0, 50.0, 90.0] / 100
    found = {r: quantiles(d[order], q[order], wanted).tolist() for r, q in ((0, w), (3, v))}
    result = {percentile_key(percent, r): found[r][i] for r in (0, 3) for i, percent in enumerate(percents)}
    total = float(v.sum())
    result["number.mean_um"] = moment_mean(d, 1, 0, w)
    result["number.geometric_mean_um"] = geometric_mean(d, w)
    result["number.geometric_sd"] = geometric_sd(d, w, pieces=math.inf)
    result["volume.mean_um"] = float(v @ d / total) if total > 0 else float("nan")
    for top, bottom in STANDARD_MEANS:
        result[f"means_um.{mean_name(top, bottom)}"] = moment_mean(d, top, bottom, w)
    result["span"] = span(*found[3][-3:])
    for name, rule in (shares or {}).items():
        result[name] = float(v @ rule(sample.kind, d) / total) if total > 0 else float("nan")
    return result


@dataclass(frozen=True)
class Ladder:
    """Pieces on a ladder of G sizes in U units (fields, or the rungs themselves within one field).

    Attributes
    ----------
    size_um : (G,) ndarray
        Size of each rung (mean of its pieces by logarithm).
    number, volume : (U, G) ndarray, or (G,) when each rung is its own unit
        Weighted number and volume.
    sums : (U, S) ndarray
        Sums of each unit, by `_SUMS` and then the shares.
    pieces : (U,) ndarray
        Pieces counted in each unit.
    share_names : tuple of str
        Names of the shares behind the sums.
    """

    size_um: np.ndarray
    number: np.ndarray
    volume: np.ndarray
    sums: np.ndarray
    pieces: np.ndarray
    share_names: tuple[str, ...] = field(default=())


def make_ladder(
    sample: SizeSample, *, shares: Mapping[str, ShareRule] | None = None, by_field: bool = True
) -> Ladder:
    """Put the pieces of a sample on a ladder of sizes, by field or rung by rung."""
    d, w, v = sample.diameter_um, sample.weight, sample.quantity(3)
    rung, rungs = _rungs(d)
    per_rung = np.maximum(np.bincount(rung, w, minlength=rungs), 1e-300)
    size = np.exp(np.bincount(rung, w * np.log(d), minlength=rungs) / per_rung)
    unit, units = (sample.field, len(sample.field_names)) if by_field else (rung, rungs)
    extra = dict(shares or {})
    log = np.log(d)
    columns = [w, w * d, w * d**2, w * d**3, w * d**4, w * log, w * log**2, v, v * d]
    columns += [v * rule(sample.kind, d) for rule in extra.values()]
    sums = np.stack([np.bincount(unit, c, minlength=units) for c in columns], axis=1)
    if by_field:
        cell = unit * rungs + rung
        number = np.bincount(cell, w, minlength=units * rungs).reshape(units, rungs)
        volume = np.bincount(cell, v, minlength=units * rungs).reshape(units, rungs)
    else:
        number, volume = sums[:, 0], sums[:, 7]
    pieces = np.bincount(unit, sample.count, minlength=units)
    return Ladder(size, number, volume, sums, pieces, tuple(extra))


def _rungs(d: np.ndarray) -> tuple[np.ndarray, int]:
    distinct, index = np.unique(d, return_inverse=True)
    if len(distinct) <= RUNGS:
        return index, len(distinct)
    # half the rungs by rank, and every large size on its own: the coarse end carries the volume
    alone = RUNGS // 2
    body = len(distinct) - alone
    group = np.arange(body) * (RUNGS - alone) // body
    table = np.r_[group, np.arange(alone) + (RUNGS - alone)]
    return table[index], RUNGS


def ladder_figures(
    ladder: Ladder, multiples: np.ndarray, percents: tuple[float, ...] = PERCENTS
) -> dict[str, np.ndarray]:
    """Return every figure for B resampled sets.

    Parameters
    ----------
    ladder : Ladder
        U units on G rungs.
    multiples : (B, U) ndarray
        How many times each unit is taken.

    Returns
    -------
    dict of str to (B,) ndarray
        The names of `figures`.
    """
    result: dict[str, np.ndarray] = {}
    for r, amount in ((0, ladder.number), (3, ladder.volume)):
        per_rung = multiples * amount if amount.ndim == 1 else multiples @ amount
        wanted = (*percents, 10.0, 50.0, 90.0) if r == 3 else percents
        found = _row_quantiles(ladder.size_um, per_rung, np.asarray(wanted) / 100)
        for i, percent in enumerate(percents):
            result[percentile_key(percent, r)] = found[i]
        if r == 3:
            with np.errstate(invalid="ignore", divide="ignore"):
                result["span"] = (found[-1] - found[-3]) / found[-2]
    result |= _mean_figures(multiples @ ladder.sums, ladder.share_names)
    return result


def _mean_figures(totals: np.ndarray, share_names: tuple[str, ...]) -> dict[str, np.ndarray]:
    column = dict(zip(_SUMS, totals.T, strict=False))
    powers = (column["n"], column["d1"], column["d2"], column["d3"], column["d4"])
    with np.errstate(invalid="ignore", divide="ignore"):
        centre = column["log"] / column["n"]
        result = {
            "number.mean_um": column["d1"] / column["n"],
            "number.geometric_mean_um": np.exp(centre),
            "number.geometric_sd": np.exp(np.sqrt(np.maximum(column["log2"] / column["n"] - centre**2, 0.0))),
            "volume.mean_um": column["vd"] / column["v"],
        }
        for p, q in STANDARD_MEANS:
            result[f"means_um.{mean_name(p, q)}"] = (powers[p] / powers[q]) ** (1.0 / (p - q))
        for i, name in enumerate(share_names):
            result[name] = totals[:, len(_SUMS) + i] / column["v"]
    return result


def _row_quantiles(size: np.ndarray, amount: np.ndarray, shares: np.ndarray) -> np.ndarray:
    """Return percentiles of every row of ``amount`` (B, G) by the middle rule, (P, B); nan for empty rows."""
    curve = np.cumsum(amount, axis=1)
    total = curve[:, -1].copy()
    curve -= amount / 2
    rows, rungs = np.arange(len(amount)), amount.shape[1]
    # rungs without pieces in a resample are no points of its curve
    present = amount > 0
    places = np.arange(rungs, dtype=np.int32)
    before = np.maximum.accumulate(np.where(present, places, 0), axis=1)
    after = np.minimum.accumulate(np.where(present, places, rungs - 1)[:, ::-1], axis=1)[:, ::-1]
    result = np.full((len(shares), len(amount)), np.nan)
    for i, share in enumerate(shares):
        target = share * total
        reached = (curve < target[:, None]).sum(axis=1)
        lower = before[rows, np.maximum(reached - 1, 0)]
        upper = after[rows, np.minimum(reached, rungs - 1)]
        step = curve[rows, upper] - curve[rows, lower]
        part = np.clip((target - curve[rows, lower]) / np.where(step > 0, step, 1.0), 0.0, 1.0)
        found = size[lower] + part * (size[upper] - size[lower])
        # beyond the middle of the outermost pieces the curve stays at their sizes
        found = np.where(target <= curve[rows, after[:, 0]], size[after[:, 0]], found)
        result[i] = np.where(target >= curve[rows, before[:, -1]], size[before[:, -1]], found)
    result[:, ~(total > 0)] = np.nan
    return result
