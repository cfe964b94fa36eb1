"""The grind curve: what passes, minutes or energy did to a size, and what more of them would do.

Laws (`measure.judge.grind_models`) are fitted with weights from the intervals of the batches. AICc (Hurvich
and Tsai, Biometrika 76 (1989) 297) is stated where it exists. They are weighed by AIC itself, scatter beyond
the intervals taken into account (QAIC; Burnham and Anderson, Model Selection, 2002): the spread is known from
the intervals, and the correction of AICc, made for an unknown one, forbids a plateau at five batches whatever
the sizes say (simulated: such forecasts never cover). Laws that never level off are alike and share one
voice, or each more of them would speak against a plateau (redundant models, the same, 4.2.9); which law
describes the batches best is left to the batches. Bands and forecasts come from drawn data sets refitted
(parametric bootstrap), each law taken as often as its weight says, so they hold the doubt about the law as
well, and "never" is one of their possible answers.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from measure.errors import InvalidInput
from measure.judge.compare_pairs import WEBER_FRACTION
from measure.judge.grind_models import LINE, PLATEAU, SHARE_LAWS, SIZE_LAWS, Law, fit_law, predict
from measure.sizes.resample import COVERAGE_FACTOR

DRAWS = 1000
SEED = 20_240_501
# a share of nothing has no logarithm
_LEAST_SHARE = 1e-4
# no batch is known better than this, or one lucky interval would rule the curve
_LEAST_SD = 0.005
# a curve that falls by no more of itself than this from the first batch to the last does not fall
_LEVEL = 1e-6


@dataclass(frozen=True)
class GrindPoint:
    """One batch on the grind curve: its dose (passes, minutes, energy), figure and 95 % interval."""

    dose: float
    value: float
    low: float
    high: float
    name: str = ""


@dataclass(frozen=True)
class LawFit:
    """One law fitted.

    Attributes
    ----------
    law : Law
    parameters : mapping of str to float
    chi_squared : float
        Weighted sum of squares on the logarithm.
    aicc : float
        Nan where there are too few batches for it.
    weight : float
        Akaike weight, 0..1, against the other laws; those that never level off share one voice.
    drawn : (D, P) ndarray
        Logarithms of the parameters of refitted draws.
    """

    law: Law
    parameters: dict[str, float]
    chi_squared: float
    aicc: float
    weight: float
    drawn: np.ndarray

    @property
    def log_parameters(self) -> np.ndarray:
        """Logarithms of the parameters, (1, P)."""
        return np.log([[self.parameters[name] for name in self.law.parameters]])


@dataclass(frozen=True)
class GrindCurve:
    """A fitted grind curve.

    Attributes
    ----------
    points : tuple of GrindPoint
        By ascending dose.
    unit : str
        "passes", "minutes", "kWh/t"...
    is_share : bool
        True for a share 0..1, False for a size in um.
    fits : tuple of LawFit
        Best first. With two doses only, one straight line ("line") that promises nothing.
    warnings : tuple of str
    """

    points: tuple[GrindPoint, ...]
    unit: str
    is_share: bool
    fits: tuple[LawFit, ...]
    warnings: tuple[str, ...] = ()

    @property
    def best(self) -> LawFit:
        """The law that describes the batches best."""
        return self.fits[0]

    @property
    def promises(self) -> bool:
        """Whether a forecast may be made at all."""
        return len({p.dose for p in self.points}) > 2

    @property
    def last_dose(self) -> float:
        """Largest dose measured."""
        return self.points[-1].dose

    def values(self, dose: np.ndarray) -> np.ndarray:
        """Return the curve of the best law at these doses."""
        return predict(self.best.law, self.best.log_parameters, np.asarray(dose, dtype=float))[0]

    def band(self, dose: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return the pointwise 95 % band at these doses, all laws by their weight; nan for a line."""
        dose = np.asarray(dose, dtype=float)
        if not self.promises:
            none = np.full(dose.shape, np.nan)
            return none, none
        drawn = np.concatenate([predict(f.law, f.drawn, dose) for f in self.fits if len(f.drawn)])
        low, high = np.quantile(drawn, [0.025, 0.975], axis=0)
        return low, high


def fit_grind(
    points: Sequence[GrindPoint],
    *,
    unit: str = "passes",
    is_share: bool = False,
    draws: int = DRAWS,
    seed: int = SEED,
) -> GrindCurve:
    """Fit the laws of grinding to batches.

    Parameters
    ----------
    points : sequence of GrindPoint
        At two or more different doses; several batches may share one.
    unit : str
        Of the dose.
    is_share : bool
        The figures are shares 0..1 (oversize or felt), not sizes.
    draws, seed
        Drawn data sets behind bands and forecasts.

    Raises
    ------
    InvalidInput
        If doses or figures are no numbers above 0 (doses: 0 or above), or all doses are the same.
    """
    ordered = _checked(points, unit, is_share)
    dose = np.array([p.dose for p in ordered])
    logs = np.log([max(p.value, _LEAST_SHARE) for p in ordered])
    sd = np.array([_sd(p) for p in ordered])
    laws: tuple[Law, ...] = SHARE_LAWS if is_share else SIZE_LAWS
    if len(np.unique(dose)) == 2:
        laws = (LINE,)
    fitted = [_fit_one(law, dose, logs, sd) for law in laws]
    voices = _voices(laws)
    weights = _weights(np.array([chi for _, chi in fitted]), _widths(laws), voices, len(dose))
    rng = np.random.default_rng(seed)
    fits = [
        _with_draws(law, theta, chi, weight, dose, sd, draws, rng)
        for law, (theta, chi), weight in zip(laws, fitted, weights, strict=True)
    ]
    fits = [fits[k] for k in np.argsort(-weights / voices, kind="stable")]
    return GrindCurve(ordered, unit, is_share, tuple(fits), _warnings(ordered, fits, logs))


def _checked(points: Sequence[GrindPoint], unit: str, is_share: bool) -> tuple[GrindPoint, ...]:
    for p in points:
        if not (math.isfinite(p.dose) and p.dose >= 0):
            raise InvalidInput(f"'{p.name}' has no {unit}; enter how long it was ground.")
        if not math.isfinite(p.value) or (p.value <= 0 and not is_share):
            raise InvalidInput(f"'{p.name}' has no size to put on a grind curve.")
    if len({p.dose for p in points}) < 2:
        raise InvalidInput(f"A grind curve needs batches at two or more different {unit}.")
    return tuple(sorted(points, key=lambda p: p.dose))


def _sd(p: GrindPoint) -> float:
    """Standard uncertainty of the logarithm, from the interval."""
    if not (math.isfinite(p.low) and math.isfinite(p.high)):
        return 0.1
    low, high = max(p.low, _LEAST_SHARE * 0.1), max(p.high, _LEAST_SHARE)
    return max(math.log(high / low) / (2 * COVERAGE_FACTOR), _LEAST_SD)


def _fit_one(law: Law, dose: np.ndarray, logs: np.ndarray, sd: np.ndarray) -> tuple[np.ndarray, float]:
    theta, squares = fit_law(law, dose, logs[None], sd, law.start(dose, np.exp(logs)))
    return theta, float(squares[0])


def _widths(laws: Sequence[Law]) -> np.ndarray:
    return np.array([len(law.parameters) for law in laws])


def _voices(laws: Sequence[Law]) -> np.ndarray:
    """Return the weight each law has before any batch is seen: to level off and not to have half each."""
    flat = np.array([law is PLATEAU for law in laws])
    return np.where(flat, 1.0 / max(flat.sum(), 1), 1.0 / max((~flat).sum(), 1))


def _weights(chi: np.ndarray, widths: np.ndarray, voices: np.ndarray, count: int) -> np.ndarray:
    """Return Akaike weights; scatter beyond the intervals, by the widest law, makes them milder."""
    freedom = count - int(widths.max())
    scatter = max(1.0, float(chi[int(np.argmax(widths))]) / freedom) if freedom > 0 else 1.0
    score = chi / scatter + 2 * widths
    weights = voices * np.exp(-0.5 * (score - score.min()))
    return weights / weights.sum()


def _aicc(chi: float, width: int, count: int) -> float:
    room = count - width - 1
    return chi + 2 * width + 2 * width * (width + 1) / room if room > 0 else math.nan


def _freedom(count: int, law: Law) -> int:
    """Degrees of freedom; at least one, for no law here can follow batches that grow coarser again."""
    return max(count - len(law.parameters), 1)


def _with_draws(
    law: Law, theta: np.ndarray, chi: float, weight: float,
    dose: np.ndarray, sd: np.ndarray, draws: int, rng: np.random.Generator,
) -> LawFit:  # fmt: skip
    """Refit drawn data sets; scatter beyond the intervals widens them (Birge's ratio)."""
    wider = math.sqrt(max(1.0, chi / _freedom(len(dose), law)))
    count = round(draws * weight)
    middle = np.log(np.maximum(predict(law, theta, dose)[0], 1e-300))
    logs = middle + wider * sd * rng.standard_normal((count, len(dose)))
    # a level fit is no place to start from: how its numbers got there is chance, and no step leads down again
    starts = law.start(dose, np.exp(middle)) if np.ptp(middle) < _LEVEL else theta.tolist()
    drawn = fit_law(law, dose, logs, sd, starts)[0] if count else np.empty((0, theta.shape[1]))
    aicc = _aicc(chi, len(law.parameters), len(dose))
    numbers = dict(zip(law.parameters, np.exp(theta[0]).tolist(), strict=True))
    return LawFit(law, numbers, chi, aicc, float(weight), drawn)


def _warnings(points: tuple[GrindPoint, ...], fits: list[LawFit], logs: np.ndarray) -> tuple[str, ...]:
    doses = len({p.dose for p in points})
    found = []
    if doses == 2:
        found.append(
            "Two points give a line, not a law: it promises nothing about more grinding. "
            "Measure a third batch."
        )
    elif doses == 3:
        found.append("Three points cannot test a law; a fourth batch would.")
    if doses > 2 and fits[0].weight < 0.9:
        found.append("No law stands out, so bands and forecasts mix them by their weight.")
    if any(not math.isfinite(p.low) for p in points):
        found.append("A batch without an interval is taken as known to 20 %.")
    if fits[0].chi_squared / _freedom(len(points), fits[0].law) > 4:
        found.append("The batches scatter more than their intervals say; bands are widened by that much.")
    if logs[-1] >= logs[0]:
        found.append("The most ground batch is not finer than the least ground one; look for a mix-up.")
    else:
        found += _coarser_again(points)
    return tuple(found)


def _coarser_again(points: tuple[GrindPoint, ...]) -> list[str]:
    """Name the first batch that is clearly coarser than one ground less; grinding does not do that."""
    for place, later in enumerate(points):
        finer = [p for p in points[:place] if p.dose < later.dose and p.high < later.low]
        if finer:
            earlier = min(finer, key=lambda p: p.high)
            named = f"'{later.name}'" if later.name else f"The batch at {later.dose:g}"
            than = f"'{earlier.name}'" if earlier.name else f"the one at {earlier.dose:g}"
            return [f"{named} is coarser than {than}, which was ground less; look for a mix-up."]
    return []


def step_no_longer_noticed(curve: GrindCurve, step: float = 1.0, *, most: float = 1000.0) -> float:
    """Return the dose from which one more step makes the size less than one just-noticeable step finer.

    Parameters
    ----------
    step : float
        One pass, or as many minutes as one would add at once.

    Returns
    -------
    float
        A whole number of steps; nan when even ``most`` steps do not get there.
    """
    doses = np.arange(0, most + 1) * step
    values = curve.values(doses)
    small = values[:-1] / values[1:] < 1 + WEBER_FRACTION
    return float(doses[int(np.argmax(small))]) if small.any() else math.nan
