"""What a tasting says in plain sentences, and the panel's limit as a felt profile."""

import math
from dataclasses import dataclass

from measure.errors import InvalidInput
from measure.judge.discrimination import DifferenceResult
from measure.judge.felt import FeltProfile, profile_from_threshold
from measure.judge.panel_limit import ROUGH
from measure.judge.panel_session import METHODS, PanelPlan
from measure.judge.panel_session_result import PanelOutcome, one_sided
from measure.judge.ranking import RankingResult
from measure.model import Kind
from measure.sizes.rounding import short_number

# the logistic curve of slope b in ln x has this standard deviation over b
_LOGISTIC_SD = math.pi / math.sqrt(3)


def outcome_sentences(plan: PanelPlan, outcome: PanelOutcome) -> tuple[str, ...]:
    """Return what a session says, the main thing first."""
    found: list[str] = []
    if outcome.difference is not None:
        found += _difference_sentences(plan, outcome.difference, outcome.similar)
    if outcome.ranking is not None:
        found += _ranking_sentences(outcome.ranking)
    if outcome.threshold is not None:
        t = outcome.threshold
        spread = f"; single thresholds spread by a factor of {10**t.log10_sd:.2g}" if t.log10_sd > 0 else ""
        known = math.isfinite(t.group_low)
        limits = f" (95 %: {short_number(t.group_low)} to {short_number(t.group_high)})" if known else ""
        group = f"x_{{90,3}} = {short_number(t.group)} µm{limits}"
        found.append(f"Best-estimate threshold of the group: {group}{spread}.")
    for s in outcome.scores:
        range_ = f"({s.low:.2g} to {s.high:.2g})" if math.isfinite(s.low) else "(one assessor, no interval)"
        found.append(f"{s.name}: grittiness {s.mean:.2g} of 10 {range_}, felt by {s.felt} of {s.answers}.")
    if outcome.curve is not None:
        c = outcome.curve
        found.append(
            f"Half of the panel feels it at x_{{90,3}} = {short_number(c.threshold)} µm "
            f"(95 %: {short_number(c.threshold_low)} to {short_number(c.threshold_high)}), "
            "guessing and slips taken out."
        )
    return tuple(found)


def _difference_sentences(plan: PanelPlan, d: DifferenceResult, similar: bool | None) -> list[str]:
    a, b = (s.name for s in plan.samples)
    what = "tell apart" if d.method == "triangle" else f"find {a} grittier than"
    pair = f"{a} and {b}" if d.method == "triangle" else b
    head = f"{d.correct} of {d.trials} right; {d.needed} are needed at {100 * d.alpha:g} %"
    if d.significant:
        main = f"The panel can {what} {pair} (p {_p(d.p_value)})."
    else:
        main = (
            f"It is not shown that the panel can {what} {pair} (p {_p(d.p_value)}); that is no proof that "
            "they are alike."
        )
    sure = 100 * (1 - 2 * d.alpha)
    share = (
        f"About {100 * max(d.discriminators, 0):.0f} % truly tell the difference ({sure:g} % limits "
        f"{100 * max(d.discriminators_low, 0):.0f} to {100 * min(d.discriminators_high, 1):.0f} %)"
    )
    error = (
        f" (standard error {d.d_prime_standard_error:.2g})" if math.isfinite(d.d_prime_standard_error) else ""
    )
    apart = f"in units of a taster's own noise they lie d' = {d.d_prime:.2g} apart{error}"
    if not math.isfinite(d.d_prime):
        apart = "how far apart they lie cannot be told where all are right"
    sentences = [main, f"{head}.", f"{share}; {apart}."]
    if similar is not None and plan.similarity is not None:
        limit = f"{100 * plan.similarity:g} % discriminators"
        sentences.append(
            f"Similar: fewer than {limit}, with a risk of {100 * plan.alpha:g} %."
            if similar
            else f"Similarity within {limit} is not shown."
        )
    return sentences


def _ranking_sentences(r: RankingResult) -> list[str]:
    sums = ", ".join(
        f"{n} {s:g}" for n, s in sorted(zip(r.samples, r.rank_sums, strict=True), key=lambda x: x[1])
    )
    found = [
        f"Rank sums, least gritty first: {sums}. Friedman {r.friedman:.3g}, p {_p(r.friedman_p)}; rank sums "
        f"more than {r.least_difference:.1f} apart differ at 5 % (single pairs)."
    ]
    if r.page is not None and r.page_p is not None:
        order = "felt" if r.page_p < 0.05 else "not shown"
        found.append(f"The order by size is {order} (Page L {r.page:g}, p {_p(r.page_p)}).")
    return found


def _p(value: float) -> str:
    return "< 0.001" if value < 0.001 else f"= {value:.2g}"


@dataclass(frozen=True)
class PanelLimit:
    """The limit of one panel, ready to become a felt profile.

    Attributes
    ----------
    threshold_um, low_um, high_um : float
        x_{90,3} at which half of the panel feels it.
    geometric_sd : float
        Spread of feeling in ln x, a ratio.
    source : str
        Provenance for the report.
    """

    threshold_um: float
    low_um: float
    high_um: float
    geometric_sd: float
    source: str

    def profile(self, before: FeltProfile, kinds: tuple[Kind, ...]) -> FeltProfile:
        """Return the profile with the ramps of these kinds centred on the limit."""
        return profile_from_threshold(
            before,
            self.threshold_um,
            self.geometric_sd,
            kinds=kinds,
            source=self.source,
            interval_um=(self.low_um, self.high_um),
        )

    @property
    def rough(self) -> bool:
        """Whether it is known so roughly that most verdicts stay undecided."""
        return self.high_um / self.low_um > ROUGH

    @property
    def words(self) -> str:
        """How well it is known, and what that means for the verdict."""
        at, low, high = (short_number(v) for v in (self.threshold_um, self.low_um, self.high_um))
        half = f"Half of this panel feels it from {at} µm on"
        if self.rough:
            return (
                f"{half}, but that may be anything from {low} to {high} µm (95 %), so wide that most "
                "verdicts will stay undecided. More answers near it make it narrower."
            )
        return f"{half} (95 %: {low} to {high} µm). The interval of the felt share holds that too."


def panel_limit(plan: PanelPlan, outcome: PanelOutcome, *, name: str, made: str) -> PanelLimit:
    """Return the limit of a panel from its fitted curve.

    Parameters
    ----------
    name, made : str
        Of the session, for the provenance.

    Raises
    ------
    InvalidInput
        If no curve was fitted, or its threshold lies outside the sizes that were served.
    """
    curve = outcome.curve
    if curve is None and len(outcome.levels) >= 3:
        side = one_sided(outcome.levels, 0.0 if outcome.method == "scale" else 1 / 3)
        raise InvalidInput(f"The answers give no limit, because {side or 'too few sizes were answered'}.")
    if curve is None:
        raise InvalidInput(
            "This session gives no limit; plan an ascending series, or a grittiness scale with three sizes."
        )
    sizes = [size for size, _, _ in outcome.levels]
    if not min(sizes) <= curve.threshold <= max(sizes):
        raise InvalidInput(
            f"The fitted limit of {short_number(curve.threshold)} µm lies outside the sizes served "
            f"({short_number(min(sizes))} to {short_number(max(sizes))} µm), so it is a guess; "
            "serve finer or coarser batches."
        )
    title = METHODS[plan.method].title
    people = len({s.assessor for s in plan.servings})
    limits = f"{short_number(curve.threshold_low)} to {short_number(curve.threshold_high)}"
    source = (
        f"'{name or title}' of {made[:10]}, {title[0].lower()}{title[1:]}, {people} assessors: half feel it "
        f"at x90 by volume = {short_number(curve.threshold)} µm ({limits})"
    )
    sd = math.exp(min(_LOGISTIC_SD / curve.slope, math.log(4)))
    return PanelLimit(curve.threshold, curve.threshold_low, curve.threshold_high, sd, source)
