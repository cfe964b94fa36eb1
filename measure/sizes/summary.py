"""One batch's sizes in one record: figures, intervals, what they rest on, and what to be careful about."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from measure.flags import reason_words
from measure.sizes.budget import BudgetRow, budget
from measure.sizes.cautions import cautions, volume_note
from measure.sizes.figures import PERCENTS, ShareRule, figures
from measure.sizes.intervals import Uncertainty, uncertainties
from measure.sizes.resample import Plan
from measure.sizes.sample import SizeSample

RESAMPLES = 1000
SEED = 20_240_501


@dataclass(frozen=True)
class SizeSummary:
    """What is said about the sizes of a sample.

    Attributes
    ----------
    values : mapping of str to float
        Every figure by its dotted name (see `measure.sizes.figures.figures`); nan without pieces.
    uncertainties : mapping of str to Uncertainty
        The same names; empty when no intervals were asked for.
    pieces : float
        Pieces counted, before the frame correction.
    fields : int
        Fields looked at, those without pieces included.
    smallest_um : float
        Lower size limit that every figure carries; nan when unknown.
    largest_um : float
        Largest piece counted.
    basis : str
        What the intervals compare: "between 12 fields", "within one field".
    between_fields : bool
        False when no interval between fields is possible.
    resamples, seed : int
        How the intervals were made.
    left_out : mapping of str to int
        Rows not counted, by reason.
    warnings, notes : tuple of str
        What to be careful about; what was assumed.
    """

    values: Mapping[str, float]
    uncertainties: Mapping[str, Uncertainty]
    pieces: float
    fields: int
    smallest_um: float
    largest_um: float
    basis: str
    between_fields: bool
    resamples: int = 0
    seed: int = SEED
    left_out: Mapping[str, int] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    plan: Plan | None = None

    def value(self, name: str) -> float:
        """Return a figure; KeyError for an unknown name."""
        return self.values[name]

    def interval(self, name: str) -> tuple[float, float]:
        """Return the 95 % interval of a figure, nan where there is none."""
        u = self.uncertainties.get(name)
        return (math.nan, math.nan) if u is None else (u.low, u.high)

    def no_interval_words(self, name: str) -> str:
        """Say why a figure has no interval; empty where none was asked for."""
        if not self.resamples:
            return ""
        # what is 0 has no logarithm to work an interval out on, and one piece no fellow to differ from
        return "too wide to tell" if self.pieces > 1 and self.values[name] > 0 else "not known"

    def budget(self, name: str) -> tuple[BudgetRow, ...]:
        """Return how much of a figure's uncertainty comes from where (JCGM 100)."""
        u = self.uncertainties.get(name)
        return () if u is None else budget(u, between_fields=self.between_fields)

    @property
    def limit_words(self) -> str:
        """The lower limit, for charts and tables."""
        if not math.isfinite(self.smallest_um):
            return "lower limit unknown"
        # from a millimetre on three figures would be written as a power of ten
        limit = f"{self.smallest_um:.3g}" if self.smallest_um < 1000 else f"{self.smallest_um:.0f}"
        return f"pieces of at least {limit} µm"


def summarise(
    sample: SizeSample,
    *,
    resamples: int = RESAMPLES,
    seed: int = SEED,
    percents: tuple[float, ...] = PERCENTS,
    shares: Mapping[str, ShareRule] | None = None,
    cover: float | None = None,
) -> SizeSummary:
    """Return the figures of a sample with their intervals and cautions.

    Parameters
    ----------
    sample : SizeSample
        K pieces.
    resamples : int
        Resampled batches behind the intervals; 0 leaves the intervals out (fast).
    seed : int
        Makes the intervals repeatable.
    percents : tuple of float
        Percentiles by number and by volume.
    shares : mapping of str to ShareRule
        Further volume-weighted means of a value per piece.
    cover : float, optional
        Largest share of a frame covered by pieces.

    Examples
    --------
    >>> import numpy as np
    >>> from measure.sizes.sample import make_sample
    >>> s = summarise(make_sample(np.array([10.0, 20.0, 30.0])), resamples=0)
    >>> s.value("number.x50_um"), s.pieces
    (20.0, 3.0)
    """
    values = figures(sample, percents=percents, shares=shares)
    known: dict[str, Uncertainty] = {}
    plan = None
    if resamples > 0 and len(sample):
        known, plan = uncertainties(
            sample,
            values,
            resamples=resamples,
            seed=seed,
            percents=percents,
            shares=shares,
        )
    notes = tuple(note for note in (*sample.notes, volume_note(sample)) if note)
    if sample.left_out:
        parts = ", ".join(f"{number} ({reason_words(reason)})" for reason, number in sample.left_out.items())
        notes = (*notes, f"Left out of the figures: {parts}.")
    return SizeSummary(
        values=values,
        uncertainties=known,
        pieces=sample.pieces,
        fields=len(sample.field_names),
        smallest_um=sample.smallest_um,
        largest_um=float(sample.diameter_um.max()) if len(sample) else math.nan,
        basis=plan.words if plan else "no intervals",
        between_fields=bool(plan and plan.by_field),
        resamples=resamples if plan else 0,
        seed=seed,
        left_out=sample.left_out,
        warnings=cautions(sample, cover=cover),
        notes=notes,
        plan=plan,
    )
