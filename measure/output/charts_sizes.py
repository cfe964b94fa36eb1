"""What a size chart shows, as plain data: made once, drawn in the window and in the report."""

import math
from dataclasses import dataclass

import numpy as np

from measure.judge.felt import FeltProfile
from measure.model import KINDS, Kind
from measure.sizes.curve import Curve, curve
from measure.sizes.distribution import class_shares, quantity_name, size_classes
from measure.sizes.figures import percentile_key
from measure.sizes.rounding import figure_texts, short_number
from measure.sizes.sample import SizeSample
from measure.sizes.summary import SizeSummary

_CURVE_POINTS = 160
_MARKED = (10.0, 50.0, 90.0)


@dataclass(frozen=True)
class MarkedPercentile:
    """A percentile marked on the curve, with its 95 % interval (nan where there is none)."""

    percent: float
    size_um: float
    low_um: float
    high_um: float

    @property
    def size_text(self) -> str:
        """The size with as many digits as in the tables of figures."""
        return figure_texts(self.size_um, self.low_um, self.high_um)[0]


@dataclass(frozen=True)
class SizeChart:
    """A histogram stacked by kind with its cumulative curve.

    Attributes
    ----------
    r : int
        0 by number, 3 by volume.
    edges_um : (C + 1,) ndarray
        Class limits (preferred numbers R10 or R20 of ISO 3), the lowest raised to the lower limit where
        that lies inside its class; empty without pieces.
    shares : (4, C) ndarray
        Share of the whole in each class, by kind.
    curve : Curve or None
        Cumulative curve with its band.
    percentiles : tuple of MarkedPercentile
    smallest_um : float
        Lower limit, nan when unknown.
    ramps : tuple of (Kind, float, float)
        Sizes between which each kind present goes from felt by nobody to felt by all.
    series : str
        Name of the series of class limits.
    pieces, fields : float, int
        What it rests on.
    basis : str
        What the band compares.
    title : str
        The batch.
    """

    r: int
    edges_um: np.ndarray
    shares: np.ndarray
    curve: Curve | None
    percentiles: tuple[MarkedPercentile, ...]
    smallest_um: float
    ramps: tuple[tuple[Kind, float, float], ...]
    series: str
    pieces: float
    fields: int
    basis: str
    title: str = ""

    @property
    def quantity(self) -> str:
        """The word "number" or "volume"."""
        return quantity_name(self.r)

    @property
    def kinds(self) -> tuple[int, ...]:
        """Codes of the kinds present."""
        return tuple(int(k) for k in np.flatnonzero(self.shares.sum(axis=1) > 0))

    @property
    def y_label(self) -> str:
        """Words of the left axis."""
        return f"share of {self.quantity} in each class ({self.series}), %"

    @property
    def caption(self) -> str:
        """Weighting, lower limit, count and interval in one line."""
        limit = (
            f"pieces of at least {short_number(self.smallest_um)} µm"
            if math.isfinite(self.smallest_um)
            else ""
        )
        pieces = f"{self.pieces:,.0f} {'piece' if self.pieces == 1 else 'pieces'}"
        count = f"{pieces} on {self.fields} {'field' if self.fields == 1 else 'fields'}"
        banded = self.curve is not None and bool(np.isfinite(self.curve.low).any())
        band = f"band: 95 % {self.basis}" if banded else ""
        return "  ·  ".join(part for part in (f"by {self.quantity}", limit, count, band) if part)

    def class_at(self, size_um: float) -> int:
        """Return the class of a size, -1 outside."""
        if len(self.edges_um) < 2 or not size_um > 0:
            return -1
        place = int(np.searchsorted(self.edges_um, size_um, side="right")) - 1
        return place if 0 <= place < len(self.edges_um) - 1 else -1

    def in_words(self) -> str:
        """Return the chart as a sentence, for those who do not see it."""
        if not self.pieces:
            return "No piece is counted."
        marks = ", ".join(f"x{m.percent:g} {m.size_text} µm" for m in self.percentiles)
        return f"Sizes {self.caption.replace('  ·  ', ', ')}{': ' if marks else ''}{marks}."


def size_chart(
    sample: SizeSample,
    profile: FeltProfile,
    *,
    r: int = 3,
    summary: SizeSummary | None = None,
    band: Curve | None = None,
    series: str = "",
    title: str = "",
) -> SizeChart:
    """Return the chart of a sample.

    Parameters
    ----------
    sample : SizeSample
    profile : FeltProfile
        For the felt ramps.
    r : int
        0 by number, 3 by volume.
    summary : SizeSummary, optional
        Gives the percentiles and their intervals.
    band : Curve, optional
        Curve with a band; a bare curve is made without one, which is fast.
    series : str
        "R10" or "R20"; by the number of pieces when left out.
    title : str
        The batch.
    """
    series = series or ("R20" if sample.pieces >= 1000 else "R10")
    edges = _edges(sample, series)
    shares = _shares(sample, r, edges)
    if band is None and len(sample):
        band = curve(sample, curve_sizes(sample), r=r, resamples=0)
    present = np.flatnonzero(np.bincount(sample.kind, minlength=len(KINDS)))
    ramps = tuple((KINDS[k], profile[KINDS[k]].none_um, profile[KINDS[k]].all_um) for k in present)
    return SizeChart(
        r=r,
        edges_um=edges,
        shares=shares,
        curve=band,
        percentiles=_percentiles(summary, r),
        smallest_um=sample.smallest_um,
        ramps=ramps,
        series=series,
        pieces=sample.pieces,
        fields=len(sample.field_names),
        basis=band.basis if band else "",
        title=title,
    )


def curve_sizes(sample: SizeSample) -> np.ndarray:
    """Return the sizes at which the curve is drawn."""
    low, high = float(sample.diameter_um.min()), float(sample.diameter_um.max())
    return np.geomspace(low * 0.98, high * 1.02, _CURVE_POINTS)


def _edges(sample: SizeSample, series: str) -> np.ndarray:
    if len(sample) == 0:
        return np.zeros(0)
    low = float(sample.diameter_um.min())
    if math.isfinite(sample.smallest_um):
        low = min(low, sample.smallest_um)
    edges = size_classes(low, float(sample.diameter_um.max()), series=series)
    if math.isfinite(sample.smallest_um) and edges[0] < sample.smallest_um < edges[1]:
        # a class that the lower limit cuts is counted, and drawn, from there on
        edges[0] = sample.smallest_um
    return edges


def _shares(sample: SizeSample, r: int, edges: np.ndarray) -> np.ndarray:
    shares = np.zeros((len(KINDS), max(len(edges) - 1, 0)))
    quantity = sample.quantity(r)
    total = quantity.sum()
    for code in range(len(KINDS) if total > 0 else 0):
        chosen = sample.kind == code
        if chosen.any():
            part = class_shares(sample.diameter_um[chosen], quantity[chosen], edges)
            shares[code] = part * quantity[chosen].sum() / total
    return shares


def _percentiles(summary: SizeSummary | None, r: int) -> tuple[MarkedPercentile, ...]:
    if summary is None:
        return ()
    names = [(p, percentile_key(p, r)) for p in _MARKED if percentile_key(p, r) in summary.values]
    marks = [MarkedPercentile(p, summary.value(n), *summary.interval(n)) for p, n in names]
    return tuple(m for m in marks if math.isfinite(m.size_um))
