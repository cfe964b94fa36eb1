"""Two or more batches side by side: ratios of sizes and differences of felt shares, all with intervals.

With several pairs the intervals are widened so that, figure by figure, all of them hold together
(Bonferroni). How one pair is joined stands in `measure.judge.compare_pairs`.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from measure.errors import InvalidInput
from measure.judge.compare_batches import (
    BatchSizes,
    differences,
    on_common_range,
    refuse_different_models,
)
from measure.judge.compare_pairs import Ratio, ShareDifference, pair_ratio, pair_shares
from measure.judge.felt import FELT_SHARE, FeltProfile
from measure.judge.verdict import Verdict, judged
from measure.model import KINDS
from measure.sizes.summary import RESAMPLES, SEED, SizeSummary, summarise

FIGURES = (
    "volume.x90_um",
    "volume.x50_um",
    "volume.x10_um",
    "number.x50_um",
    "means_um.D[4,3]",
    "means_um.D[3,2]",
)
PAIRINGS = ("all", "first", "next")
# fewer pieces of a kind say nothing worth a row
FEWEST_OF_KIND = 20


@dataclass(frozen=True)
class Comparison:
    """Everything said about a set of batches.

    Attributes
    ----------
    batches : tuple of BatchSizes
        As compared, so with the common range where asked for.
    summaries, verdicts : tuple
        One a batch.
    ratios : tuple of Ratio
    shares : tuple of ShareDifference
    pairs : int
        Pairs whose intervals hold together.
    single_confidence : float
        Confidence of each interval alone, so that all hold with 95 %.
    warnings, notes : tuple of str
    """

    batches: tuple[BatchSizes, ...]
    summaries: tuple[SizeSummary, ...]
    verdicts: tuple[Verdict, ...]
    ratios: tuple[Ratio, ...]
    shares: tuple[ShareDifference, ...]
    pairs: int
    single_confidence: float
    common_range: bool
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def ratio(self, first: str, second: str, figure: str, kind: str = "") -> Ratio:
        """Return one ratio; KeyError when it was not worked out."""
        for row in self.ratios:
            if (row.first, row.second, row.figure, row.kind) == (first, second, figure, kind):
                return row
        raise KeyError((first, second, figure, kind))


def compare_batches(
    batches: Sequence[BatchSizes],
    *,
    figures: Sequence[str] = FIGURES,
    pairing: str = "all",
    common_range: bool = False,
    profile: FeltProfile | None = None,
    by_kind: bool = True,
    confidence: float = 0.95,
    resamples: int = RESAMPLES,
    seed: int = SEED,
) -> Comparison:
    """Compare two or more batches.

    Parameters
    ----------
    batches : sequence of BatchSizes
        Two or more, each with its own name.
    figures : sequence of str
        Dotted names (`measure.sizes.figures.figures`); percentiles of any share, such as "volume.x95_um".
    pairing : str
        "all" pairs, each against the "first", or each against the one before ("next").
    common_range : bool
        Leave out pieces below the largest lower limit of all.
    profile : FeltProfile, optional
        For the felt shares; the default profile without one.
    by_kind : bool
        Also compare each kind of which both batches hold 20 pieces or more, by the first figure.
    confidence : float
        With which all intervals of one figure hold together.
    resamples, seed
        As for `measure.sizes.summary.summarise`; every batch is resampled with a seed of its own.

    Raises
    ------
    InvalidInput
        For fewer than two batches, two of one name, volumes by different models, or an unknown figure or
        pairing.
    """
    _check(batches, pairing)
    refuse_different_models(batches)
    warnings = list(differences(batches))
    if common_range:
        batches = on_common_range(batches)
        warnings = list(differences(batches))
    percents = _percents(figures)
    made = [
        judged(b.sample, profile, resamples=resamples, seed=seed + i, percents=percents)
        for i, b in enumerate(batches)
    ]
    summaries = tuple(m[0] for m in made)
    _check_figures(figures, summaries[0])
    pairs = _pairs(len(batches), pairing)
    single = 1 - (1 - confidence) / len(pairs)
    known = list(zip(batches, summaries, strict=True))
    ratios = [pair_ratio(known[i], known[j], figure, single) for figure in figures for i, j in pairs]
    shares = tuple(pair_shares(known[i], known[j], single) for i, j in pairs)
    if by_kind:
        ratios += _kind_ratios(batches, pairs, figures[0], percents, single, resamples, seed)
    warnings += [f"{b.name}: {w}" for b, s in zip(batches, summaries, strict=True) for w in s.warnings]
    return Comparison(
        tuple(batches), summaries, tuple(m[1] for m in made), tuple(ratios), shares, len(pairs), single,
        common_range, tuple(warnings), (_correction_words(len(pairs), single),),
    )  # fmt: skip


def _check(batches: Sequence[BatchSizes], pairing: str) -> None:
    if len(batches) < 2:
        raise InvalidInput(f"A comparison needs two or more batches, not {len(batches)}.")
    names = [b.name for b in batches]
    twice = next((n for n in names if names.count(n) > 1), None)
    if twice is not None:
        raise InvalidInput(f"Two batches are called '{twice}'; give each a name of its own.")
    if pairing not in PAIRINGS:
        raise InvalidInput(f"The pairing '{pairing}' is not known; use one of {', '.join(PAIRINGS)}.")


def _percents(figures: Sequence[str]) -> tuple[float, ...]:
    wanted = {10.0, 50.0, 90.0}
    for figure in figures:
        middle = figure.partition(".x")[2].removesuffix("_um")
        try:
            percent = float(middle) if middle else 50.0
        except ValueError:
            percent = math.nan
        if not 0 < percent < 100:
            raise InvalidInput(f"There is no percentile '{figure}'; the share lies between 0 and 100.")
        wanted.add(percent)
    return tuple(sorted(wanted))


def _check_figures(figures: Sequence[str], summary: SizeSummary) -> None:
    for figure in figures:
        if figure not in summary.values or figure == FELT_SHARE:
            known = ", ".join(n for n in summary.values if n != FELT_SHARE)
            raise InvalidInput(f"There is no figure '{figure}'; the figures are {known}.")


def _pairs(count: int, pairing: str) -> list[tuple[int, int]]:
    if pairing == "all":
        return list(combinations(range(count), 2))
    return [(0 if pairing == "first" else i - 1, i) for i in range(1, count)]


def _kind_ratios(
    batches: Sequence[BatchSizes],
    pairs: list[tuple[int, int]],
    figure: str,
    percents: tuple[float, ...],
    single: float,
    resamples: int,
    seed: int,
) -> list[Ratio]:
    rows: list[Ratio] = []
    if len({int(k) for b in batches for k in set(b.sample.kind.tolist())}) < 2:
        return rows  # that would say the same again
    for kind in KINDS:
        parts = [b.sample.of_kind(kind) for b in batches]
        enough = [i for i, part in enumerate(parts) if part.pieces >= FEWEST_OF_KIND]
        if len(enough) < 2:
            continue
        known = {
            i: (batches[i], summarise(parts[i], resamples=resamples, seed=seed + i, percents=percents))
            for i in enough
        }
        rows += [
            pair_ratio(known[i], known[j], figure, single, kind.value)
            for i, j in pairs
            if i in known and j in known
        ]
    return rows


def _correction_words(pairs: int, single: float) -> str:
    if pairs == 1:
        return "Intervals are 95 % intervals; fields of each batch were drawn anew independently."
    return (
        f"Intervals are widened to {100 * single:.3g} % each (Bonferroni), so that for one figure those of "
        f"all {pairs} pairs hold together with 95 %."
    )
