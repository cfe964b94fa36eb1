"""Felt, borderline, not felt or undecided: the verdict on a batch, by guard band.

A batch is called "not felt" or "felt" only when the whole 95 % interval of its felt share lies on that
side of the limit (guard band of one expanded uncertainty, JCGM 106). An interval wholly between the limits
is "borderline"; one that crosses a limit is "undecided", with what would decide.
"""

import math
from dataclasses import dataclass

import numpy as np

from measure.judge.felt import FELT_SHARE, FeltProfile
from measure.judge.felt_strays import Strays, find_strays
from measure.judge.panel_limit import limit_words, with_panel_limit
from measure.sizes.cautions import FEW_PIECES, largest_share
from measure.sizes.counts import further
from measure.sizes.intervals import share_angle
from measure.sizes.rounding import percent_text
from measure.sizes.sample import SizeSample
from measure.sizes.summary import RESAMPLES, SEED, SizeSummary, summarise

WORDS = ("not felt", "borderline", "felt", "undecided")
# beyond this many times the present data, counting on is no sensible advice
_MOST_TIMES = 50
_HANGS_ON_ONE = 0.5  # of the volume in one piece: as much more of the same paste may hold none, or two


@dataclass(frozen=True)
class Verdict:
    """What a tongue is expected to say.

    Attributes
    ----------
    word : str
        "not felt", "borderline", "felt" or "undecided".
    share, low, high : float
        Felt share of the volume with its 95 % interval, 0..1; nan where there is none.
    sentence : str
        The verdict in one sentence.
    reasons : tuple of str
        Why.
    decides : str
        What would decide or settle it; empty when decided.
    strays : Strays
    profile : FeltProfile
    """

    word: str
    share: float
    low: float
    high: float
    sentence: str
    reasons: tuple[str, ...]
    decides: str
    strays: Strays
    profile: FeltProfile


def judged(
    sample: SizeSample,
    profile: FeltProfile | None = None,
    *,
    resamples: int = RESAMPLES,
    seed: int = SEED,
    cover: float | None = None,
    grams: float | None = None,
    percents: tuple[float, ...] = (10.0, 50.0, 90.0),
) -> tuple[SizeSummary, Verdict]:
    """Return the size summary of a sample, felt share included, and the verdict.

    Parameters
    ----------
    sample : SizeSample
        K pieces.
    profile : FeltProfile, optional
        The default profile without one.
    resamples, seed, cover, percents
        As for `measure.sizes.summary.summarise`.
    grams : float, optional
        Paste looked at, for strays per gram.
    """
    profile = profile or FeltProfile()
    summary = summarise(
        sample,
        resamples=resamples,
        seed=seed,
        percents=percents,
        shares={FELT_SHARE: profile.probability},
        cover=cover,
    )
    summary = with_panel_limit(sample, summary, profile)
    return summary, verdict(sample, summary, profile, grams=grams)


def verdict(
    sample: SizeSample, summary: SizeSummary, profile: FeltProfile, *, grams: float | None = None
) -> Verdict:
    """Judge a summary made with the same profile."""
    strays = find_strays(sample, profile, grams=grams)
    share = summary.value(FELT_SHARE)
    low, high = summary.interval(FELT_SHARE)
    word = _word(low, high, profile) if math.isfinite(share) else "undecided"
    largest = largest_share(sample) if len(sample) else 0.0
    decides = _what_decides(summary, share, (low, high), profile, largest) if word == "undecided" else ""
    reasons = [*_share_reason(share, low, high, profile), *([strays.words] if strays.words else [])]
    if word != "undecided" and sample.pieces < _fewest(word):
        reasons.append(
            f"Too few pieces are counted to say '{word}': {sample.pieces:,.0f} of {_fewest(word)}."
        )
        word, decides = "undecided", f"At least {_fewest(word)} pieces, on several fields."
    if word == "not felt" and strays.number:
        word = "borderline"
        reasons.append("The body is not felt, but a stray is felt by itself where it turns up.")
        decides = "Look for where the strays come from, or sieve them out, and measure again."
    reasons += _kind_reason(sample, profile)
    if profile.from_tasting:
        reasons.append(f"The felt profile comes from a tasting: {profile.name}.")
        reasons.append(limit_words(sample, profile))
    sentence = _sentence(word, share, low, high)
    return Verdict(word, share, low, high, sentence, tuple(reasons), decides, strays, profile)


def _fewest(word: str) -> int:
    # a piece in three hundred may hold most of the volume, so its absence from a few means little
    return FEW_PIECES if word in ("not felt", "borderline") else FEW_PIECES // 10


def _word(low: float, high: float, profile: FeltProfile) -> str:
    if not (math.isfinite(low) and math.isfinite(high)):
        return "undecided"
    if high <= profile.not_felt_share:
        return "not felt"
    if low >= profile.felt_share:
        return "felt"
    if low >= profile.not_felt_share and high <= profile.felt_share:
        return "borderline"
    return "undecided"


def _range(low: float, high: float) -> str:
    """Return both ends of an interval in per cent; one where they read alike."""
    return " to ".join(dict.fromkeys((percent_text(low), percent_text(high))))


def _sentence(word: str, share: float, low: float, high: float) -> str:
    if not math.isfinite(share):
        return "Undecided: no piece is counted."
    about = f"{percent_text(share)} of the solids' volume is of a size that is felt"
    range_ = f" (95 %: {_range(low, high)})" if math.isfinite(low) else " (no interval)"
    return f"{word.capitalize()}: {about}{range_}."


def _share_reason(share: float, low: float, high: float, profile: FeltProfile) -> list[str]:
    if not math.isfinite(share):
        return []
    limits = (
        f"{percent_text(profile.not_felt_share)} (not felt) and {percent_text(profile.felt_share)} (felt)"
    )
    return [
        f"The felt share, {_range(low, high)}, is held against {limits}."
        if math.isfinite(low)
        else f"The felt share is held against {limits}, but has no interval yet."
    ]


def _kind_reason(sample: SizeSample, profile: FeltProfile) -> list[str]:
    """Say which kind carries the felt share, where there are several."""
    from measure.model import KINDS

    felt = sample.quantity(3) * profile.probability(sample.kind, sample.diameter_um)
    total = float(felt.sum())
    if total <= 0 or len(np.unique(sample.kind)) < 2:
        return []
    by_kind = np.bincount(sample.kind, felt, minlength=len(KINDS)) / total
    top = int(np.argmax(by_kind))
    return [f"{percent_text(float(by_kind[top]))} of what is felt is {KINDS[top].value}."]


def _what_decides(
    summary: SizeSummary, share: float, ends: tuple[float, float], profile: FeltProfile, largest: float
) -> str:
    low, high = ends
    tasting = "a tasting would decide"
    if not math.isfinite(share):
        fields = "fields with pieces in them: take places with smear, or thin the paste less"
        if summary.left_out:
            left = sum(summary.left_out.values())
            pieces = "The piece" if left == 1 else f"The {left:,} pieces"
            return f"{pieces} left out of the figures, if some should count; or {fields}."
        return f"{fields[0].upper()}{fields[1:]}."
    crossed = [limit for limit in (profile.not_felt_share, profile.felt_share) if low < limit < high]
    if not crossed:
        return "Measure more fields; the felt share has no interval yet."
    here = _angle(share)
    limit = min(crossed, key=lambda value: abs(_angle(value) - here))
    now = abs(_angle(high if limit >= share else low) - here)
    needed = further(summary, FELT_SHARE, now=now, allowed=abs(_angle(limit) - here))
    if needed is None and summary.uncertainties[FELT_SHARE].limit > summary.uncertainties[FELT_SHARE].scale:
        return "More answers of the panel near its limit, which is known too roughly to decide."
    if needed is None:
        return f"The scale's uncertainty alone crosses the limit: calibrate better, or {tasting}."
    if needed.pieces > _MOST_TIMES * summary.pieces:
        return f"The share lies so near the limit that counting on will not decide; {tasting}."
    fewest = _fewest("felt" if share > profile.felt_share else "not felt")
    if needed.pieces < fewest:  # that few would decide nothing, however near together they lie
        return f"At least {fewest} pieces, on several fields, or {tasting}."
    if largest > _HANGS_ON_ONE:
        return (
            "Many more fields, until several pieces like the largest are met, which alone carries "
            f"{percent_text(largest)} of the volume; or {tasting}."
        )
    return f"About {needed.more_words}, or {tasting}."


def _angle(share: float) -> float:
    return float(share_angle(np.array(share)))
