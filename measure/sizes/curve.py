"""Cumulative curve with its interval band, for charts and for shares above a size."""

from dataclasses import dataclass

import numpy as np

from measure.sizes.distribution import cumulative
from measure.sizes.figures import make_ladder
from measure.sizes.resample import field_multiples, in_groups, piece_multiples, resampling_plan
from measure.sizes.sample import SizeSample


@dataclass(frozen=True)
class Curve:
    """Q_r at given sizes, with a pointwise 95 % band (nan where none is possible).

    Attributes
    ----------
    size_um, share, low, high : (P,) ndarray
        Sizes; undersize shares 0..1; limits of the band.
    r : int
        Type of quantity, 0 or 3.
    basis : str
        What the band compares.
    """

    size_um: np.ndarray
    share: np.ndarray
    low: np.ndarray
    high: np.ndarray
    r: int
    basis: str


def curve(
    sample: SizeSample, at_um: np.ndarray, *, r: int = 3, resamples: int = 500, seed: int = 20_240_501
) -> Curve:
    """Return the cumulative curve of number (r = 0) or volume (r = 3) at the given sizes.

    With ``resamples`` 0 the band is left out. The band holds the differences between fields, stretched for
    their small number as the intervals of the figures are; the scale's part moves the whole curve sideways
    and is stated with the figures.
    """
    at = np.asarray(at_um, dtype=float)
    if len(sample) == 0:
        empty = np.full(at.shape, np.nan)
        return Curve(at, empty, empty, empty, r, "no pieces")
    share = cumulative(sample.diameter_um, sample.quantity(r), at)
    plan = resampling_plan(sample)
    if resamples == 0 or not np.isfinite(plan.stretch):
        none = np.full(at.shape, np.nan)
        return Curve(at, share, none, none, r, plan.words)
    sample = in_groups(sample)
    ladder = make_ladder(sample, by_field=plan.by_field)
    amount = ladder.number if r == 0 else ladder.volume
    # sums between the wanted sizes are enough, so the product below stays small
    place = np.searchsorted(at, ladder.size_um, side="left")
    if plan.by_field:
        groups = np.stack([np.bincount(place, a, minlength=len(at) + 1) for a in amount])
        sums = field_multiples(sample, resamples, seed) @ groups
    else:
        drawn = piece_multiples(ladder.pieces, resamples, seed) * amount
        sums = np.stack([np.bincount(place, a, minlength=len(at) + 1) for a in drawn])
    total = sums.sum(axis=1, keepdims=True)
    curves = np.cumsum(sums, axis=1)[:, :-1] / np.where(total > 0, total, np.nan)
    below, above = np.nanquantile(curves, [0.025, 0.975], axis=0)
    low = np.clip(share - (share - below) * plan.stretch, 0, share)
    high = np.clip(share + (above - share) * plan.stretch, share, 1)
    return Curve(at, share, low, high, r, plan.words)
