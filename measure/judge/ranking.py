"""Ranking tests: do the samples differ (Friedman), and do they follow the expected order (Page)."""

import math
from dataclasses import dataclass

import numpy as np

from measure.errors import InvalidInput


@dataclass(frozen=True)
class RankingResult:
    """Outcome of a ranking test on ``assessors`` x ``samples`` ranks (1 = least)."""

    samples: tuple[str, ...]
    assessors: int
    rank_sums: tuple[float, ...]
    friedman: float  # chi-squared statistic, corrected for ties
    friedman_p: float
    page: float | None  # L statistic for the expected order, None without one
    page_p: float | None
    least_difference: float  # rank sums further apart differ at 5 % (all pairs, no correction)


def rank_test(
    ranks: np.ndarray, samples: tuple[str, ...], expected: tuple[str, ...] | None = None
) -> RankingResult:
    """Evaluate a ranking.

    Parameters
    ----------
    ranks : (A, S) ndarray of float
        Rank each assessor gave each sample; ties share their mean rank.
    samples : tuple of str
        S names.
    expected : tuple of str, optional
        The same names from least to most, if an order was expected beforehand (Page).

    Raises
    ------
    InvalidInput
        If a row is no ranking, or there are fewer than two assessors or three samples.

    References
    ----------
    ISO 8587 (ranking); Friedman, J. Am. Stat. Assoc. 32 (1937) 675; Page, J. Am. Stat. Assoc. 58 (1963) 216.
    """
    ranks = np.asarray(ranks, dtype=float)
    _check(ranks, samples, expected)
    from scipy import stats

    assessors, count = ranks.shape
    sums = ranks.sum(axis=0)
    ties = sum(float((n**3 - n).sum()) for n in (np.unique(row, return_counts=True)[1] for row in ranks))
    raw = 12 / (assessors * count * (count + 1)) * float((sums**2).sum()) - 3 * assessors * (count + 1)
    denominator = 1 - ties / (assessors * (count**3 - count))
    friedman = raw / denominator if denominator > 0 else 0.0
    page = page_p = None
    if expected is not None:
        order = [samples.index(name) for name in expected]
        outcome = stats.page_trend_test(ranks[:, order], ranked=True, method="auto")
        page, page_p = float(outcome.statistic), float(outcome.pvalue)
    least = 1.959964 * math.sqrt(assessors * count * (count + 1) / 6)
    return RankingResult(
        samples, assessors, tuple(sums.tolist()), friedman,
        float(stats.chi2.sf(friedman, count - 1)), page, page_p, least,
    )  # fmt: skip


def _check(ranks: np.ndarray, samples: tuple[str, ...], expected: tuple[str, ...] | None) -> None:
    if ranks.ndim != 2 or ranks.shape[1] != len(samples):
        raise InvalidInput("Each assessor must rank every sample once; check the entries.")
    if ranks.shape[0] < 2 or ranks.shape[1] < 3:
        raise InvalidInput("A ranking needs at least two assessors and three samples.")
    total = ranks.shape[1] * (ranks.shape[1] + 1) / 2
    for place, row in enumerate(ranks, start=1):
        if not np.isclose(row.sum(), total) or row.min() < 1 or row.max() > ranks.shape[1]:
            raise InvalidInput(
                f"Row {place} is not a ranking from 1 to {ranks.shape[1]}; ties share their mean."
            )
    if expected is not None and sorted(expected) != sorted(samples):
        raise InvalidInput("The expected order must name the same samples as the ranking.")
