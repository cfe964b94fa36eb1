"""One pair of batches: the ratio of a figure and the difference of felt shares, with intervals.

The interval of a ratio joins the intervals of both batches on the logarithm, side by side (MOVER; Donner and
Zou, Stat. Methods Med. Res. 21 (2012) 347, from memory), each made by drawing that batch's own fields anew.
The degrees of freedom are those of Welch and Satterthwaite. The error of a scale that both share cancels.
"""

import math
from dataclasses import dataclass

import numpy as np

from measure.judge.compare_batches import BatchSizes
from measure.judge.felt import FELT_SHARE
from measure.sizes.intervals import Uncertainty, share_angle
from measure.sizes.resample import COVERAGE_FACTOR
from measure.sizes.summary import SizeSummary

# Weber fraction of particle size in chocolate (Breen et al., Scientific Reports, 2019)
WEBER_FRACTION = 0.17


@dataclass(frozen=True)
class Ratio:
    """How many times one batch's figure is another's.

    Attributes
    ----------
    first, second : str
        Names of the batches; the ratio is first over second.
    figure, kind : str
        Dotted name of the figure; a kind, or "" for all pieces.
    ratio, low, high : float
        With the interval that holds for all pairs of the figure together; nan where none is possible.
    """

    first: str
    second: str
    figure: str
    kind: str
    first_value: float
    second_value: float
    ratio: float
    low: float
    high: float

    @property
    def shown(self) -> bool:
        """Whether a difference is shown: 1 lies outside the interval."""
        return self.low > 1 or self.high < 1

    @property
    def noticeable(self) -> bool | None:
        """Whether the step is one a taster could notice: True, False, or None when undecided."""
        step = 1 + WEBER_FRACTION
        if self.low >= step or self.high <= 1 / step:
            return True
        return False if self.low > 1 / step and self.high < step else None


@dataclass(frozen=True)
class ShareDifference:
    """Felt share of one batch less that of another, 0..1, with the interval corrected as for `Ratio`."""

    first: str
    second: str
    kind: str
    first_share: float
    second_share: float
    difference: float
    low: float
    high: float

    @property
    def shown(self) -> bool:
        """Whether a difference is shown: 0 lies outside the interval."""
        return self.low > 0 or self.high < 0


@dataclass(frozen=True)
class _Side:
    """One batch's figure on the logarithm: standard deviations each way, the scale apart."""

    value: float
    down: float
    up: float
    freedom: float
    scale: float


Summarised = tuple[BatchSizes, SizeSummary]


_TELLS_NOTHING, _MOST = math.log(100.0), 700.0  # of a deviation on the logarithm; math.exp goes no further


def pair_ratio(a: Summarised, b: Summarised, figure: str, confidence: float, kind: str = "") -> Ratio:
    """Return the ratio of a figure of batch ``a`` over that of ``b``, with an interval of that confidence."""
    first, second = _side(a[1], figure), _side(b[1], figure)
    same = _one_scale(a[0], b[0])
    scale = abs(first.scale - second.scale) if same else math.hypot(first.scale, second.scale)
    log = math.log(first.value / second.value)
    down = _joined(first.down, second.up, first.freedom, second.freedom, scale, confidence)
    up = _joined(first.up, second.down, first.freedom, second.freedom, scale, confidence)
    if max(down, up) > _TELLS_NOTHING and log - down <= 0 <= log + up:
        down = up = math.nan  # neither which is finer nor by how much
    return Ratio(
        a[0].name, b[0].name, figure, kind, first.value, second.value,
        math.exp(log), math.exp(log - down), math.exp(min(log + up, _MOST)),
    )  # fmt: skip


def _one_scale(a: BatchSizes, b: BatchSizes) -> bool:
    return a.scale != "" and a.scale == b.scale


def _side(summary: SizeSummary, figure: str) -> _Side:
    value, u = summary.value(figure), summary.uncertainties.get(figure)
    if u is None or summary.plan is None or not (math.isfinite(u.low) and u.low > 0):
        return _Side(value, math.nan, math.nan, 1.0, 0.0)
    freedom = max(summary.plan.units - 1, 1)
    down, up = (_without(abs(math.log(value / x)), u.scale) for x in (u.low, u.high))
    t = _student(freedom, 0.95)
    return _Side(value, down / t, up / t, freedom, u.scale)


def _without(deviation: float, scale: float) -> float:
    """Take the scale's part out of a 95 % deviation."""
    return math.sqrt(max(deviation**2 - (COVERAGE_FACTOR * scale) ** 2, 0.0))


def _student(freedom: float, confidence: float) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 1 - (1 - confidence) / 2))


def _joined(a: float, b: float, freedom_a: float, freedom_b: float, scale: float, confidence: float) -> float:
    """Join two standard deviations (Welch and Satterthwaite) and the scale's to one deviation."""
    variance = a * a + b * b
    if not variance > 0:
        return variance if math.isnan(variance) else COVERAGE_FACTOR * scale
    freedom = variance**2 / (a**4 / freedom_a + b**4 / freedom_b)
    return math.hypot(_student(freedom, confidence) * math.sqrt(variance), _student(1e6, confidence) * scale)


def pair_shares(a: Summarised, b: Summarised, confidence: float) -> ShareDifference:
    """Return the felt share of ``a`` less that of ``b``, with an interval of that confidence."""
    p, p_low, p_high, p_scale = _share_limits(a[1], confidence)
    q, q_low, q_high, q_scale = _share_limits(b[1], confidence)
    # the scale's part is taken out of both and put back once, where they share it
    same = _one_scale(a[0], b[0])
    scale = abs(p_scale - q_scale) if same else math.hypot(p_scale, q_scale)
    rest = _student(1e6, confidence) * scale
    low = p - q - math.sqrt((p - p_low) ** 2 + (q_high - q) ** 2 + rest**2)
    high = p - q + math.sqrt((p_high - p) ** 2 + (q - q_low) ** 2 + rest**2)
    return ShareDifference(a[0].name, b[0].name, "", p, q, p - q, max(low, -1.0), min(high, 1.0))


def _share_limits(summary: SizeSummary, confidence: float) -> tuple[float, float, float, float]:
    p = summary.value(FELT_SHARE)
    u: Uncertainty | None = summary.uncertainties.get(FELT_SHARE)
    if u is None or summary.plan is None or not math.isfinite(u.low):
        return p, math.nan, math.nan, 0.0
    freedom = max(summary.plan.units - 1, 1)
    widen = _student(freedom, confidence) / _student(freedom, 0.95)
    # the room below 0 and above 1 that a wider interval would need does not exist
    centre, ends = _angle(p), (_angle(u.low), _angle(u.high))
    down, up = (_without(abs(end - centre), u.scale) * widen for end in ends)
    low = math.sin(max(centre - down, 0.0)) ** 2
    high = math.sin(min(centre + up, math.pi / 2)) ** 2
    return p, min(low, p), max(high, p), u.scale * 2 * math.sqrt(p * (1 - p))


def _angle(share: float) -> float:
    return float(share_angle(np.array([share]))[0])
