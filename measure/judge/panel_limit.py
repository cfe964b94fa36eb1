"""A panel's limit is known only within an interval, and so is the felt share that rests on it."""

import math
from dataclasses import replace

import numpy as np

from measure.judge.felt import FELT_SHARE, FeltProfile
from measure.sizes.intervals import share_angle
from measure.sizes.resample import COVERAGE_FACTOR
from measure.sizes.rounding import percent_text, short_number
from measure.sizes.sample import SizeSample
from measure.sizes.summary import SizeSummary

ROUGH = 3.0  # ends of a limit's interval further apart than this leave most verdicts undecided


def with_panel_limit(sample: SizeSample, summary: SizeSummary, profile: FeltProfile) -> SizeSummary:
    """Return the summary with the uncertainty of a panel's limit in the interval of the felt share.

    The felt share is worked out with the limit at either end of its 95 % interval; what that changes is
    combined in quadrature with the rest, on the angle of the share (JCGM 100).
    """
    u = summary.uncertainties.get(FELT_SHARE)
    if u is None or profile.limit_um is None or not math.isfinite(u.low):
        return summary
    centre, low, high = (_angle(v) for v in (summary.value(FELT_SHARE), u.low, u.high))
    up, down = (abs(_angle(share) - centre) for share in shares_at_ends(sample, profile))
    widened = replace(
        u,
        low=_back(centre - math.hypot(centre - low, down)),
        high=_back(centre + math.hypot(high - centre, up)),
        limit=(up + down) / 2 / COVERAGE_FACTOR,
    )
    return replace(summary, uncertainties={**summary.uncertainties, FELT_SHARE: widened})


def shares_at_ends(sample: SizeSample, profile: FeltProfile) -> tuple[float, float]:
    """Return the felt share with the panel's limit at the low and at the high end of its interval."""
    if profile.limit_um is None:
        raise ValueError("the profile has no limit of a panel")
    low, high = (_share(sample, profile.with_limit_at(end)) for end in profile.limit_um[1:])
    return low, high


def limit_words(sample: SizeSample, profile: FeltProfile) -> str:
    """Return how well the limit behind a tasted profile is known, and what that does to the felt share."""
    if profile.limit_um is None:
        return (
            "How surely that panel's limit is known was not kept, so the interval lacks it; choose the limit "
            "anew in Tasting."
        )
    _, low, high = profile.limit_um
    rough = high / low > ROUGH
    known = f"That panel's limit is known as {short_number(low)} to {short_number(high)} µm"
    known += " only, too roughly for most verdicts" if rough else " (95 %)"
    if not len(sample):
        return f"{known}."
    ends = " and ".join(percent_text(share) for share in shares_at_ends(sample, profile))
    return f"{known}: at its ends {ends} would be of a size that is felt, which the interval holds."


def _share(sample: SizeSample, profile: FeltProfile) -> float:
    volume = sample.quantity(3)
    total = float(volume.sum())
    return (
        float(volume @ profile.probability(sample.kind, sample.diameter_um)) / total
        if total > 0
        else math.nan
    )


def _angle(share: float) -> float:
    return float(share_angle(np.array(share)))


def _back(angle: float) -> float:
    return math.sin(min(max(angle, 0.0), math.pi / 2)) ** 2
