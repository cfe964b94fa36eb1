"""How much more grinding reaches a target, or whether this mill reaches it at all."""

import math
from dataclasses import dataclass

import numpy as np

from measure.errors import InvalidInput
from measure.judge.grind import GrindCurve
from measure.judge.grind_models import Law
from measure.sizes.rounding import rough_number, short_number

# further away than so many times the grinding done, a number would be a pretence
_FAR = 10.0
# a curve that gets there only after so many times the grinding done falls within it by less than any batch is
# known to, so it is level: where sizes rise, laws that cannot end at a slope of no meaning, 1e-13 or 1e-9
_LEVEL = 1e4
# with this much of the drawn curves saying "never", never is the answer
_NEVER = 0.95


@dataclass(frozen=True)
class Forecast:
    """What it takes to reach a target.

    Attributes
    ----------
    target : float
        Size in um, or share 0..1.
    dose, low, high : float
        Dose at which the curve reaches it, with a 95 % interval; inf means never; nan without an interval.
    more, more_low, more_high : float
        Beyond the largest dose measured, never below 0.
    never : float
        Share of drawn curves that never reach it, 0..1.
    plateau, plateau_low, plateau_high : float
        Where the curve levels off, 0 where the best law has no plateau.
    reachable : bool or None
        None where a plateau may lie on either side of the target, or the data are two points.
    sentence : str
    """

    target: float
    dose: float
    low: float
    high: float
    more: float
    more_low: float
    more_high: float
    never: float
    plateau: float
    plateau_low: float
    plateau_high: float
    reachable: bool | None
    sentence: str


def forecast(curve: GrindCurve, target: float) -> Forecast:
    """Forecast the dose that reaches a target.

    Parameters
    ----------
    curve : GrindCurve
    target : float
        Size in um, or share 0..1 for a curve of shares.

    Raises
    ------
    InvalidInput
        If the target is not above 0, or a share not below 1.
    """
    if not (math.isfinite(target) and target > 0) or (curve.is_share and target >= 1):
        raise InvalidInput(
            f"A target share must lie between 0 and 100 %, not {100 * target:g} %."
            if curve.is_share
            else f"A target size must be above 0 µm, not {target:g}."
        )
    best = curve.best
    dose = float(_doses(curve, best.law, best.log_parameters, target)[0])
    plateau, p_low, p_high = _plateau(curve)
    low = high = math.nan
    never = float(math.isinf(dose))
    if curve.promises:
        drawn = np.concatenate([_doses(curve, f.law, f.drawn, target) for f in curve.fits if len(f.drawn)])
        never = float(np.isinf(drawn).mean())
        # "higher" keeps a limit of never from being averaged away
        low, high = (float(v) for v in np.quantile(drawn, [0.025, 0.975], method="higher"))
    last = curve.last_dose
    more, more_low, more_high = (max(v - last, 0.0) for v in (dose, low, high))
    reachable = _reachable(curve, dose, never)
    words = Forecast(
        target, dose, low, high, more, more_low, more_high, never, plateau, p_low, p_high, reachable, ""
    )
    return Forecast(**{**words.__dict__, "sentence": _sentence(curve, words)})


def _doses(curve: GrindCurve, law: Law, log_parameters: np.ndarray, target: float) -> np.ndarray:
    """Doses at which curves reach a target; 0 where they start below it, inf where they never do."""
    dose = np.maximum(law.dose(np.exp(log_parameters), target), 0.0)
    return np.where(dose > _LEVEL * curve.last_dose, np.inf, dose)


def _plateau(curve: GrindCurve) -> tuple[float, float, float]:
    best = curve.best
    middle = float(best.law.floor(np.exp(best.log_parameters))[0])
    if middle == 0 or not len(best.drawn):
        return middle, math.nan, math.nan
    low, high = np.quantile(best.law.floor(np.exp(best.drawn)), [0.025, 0.975])
    return middle, float(low), float(high)


def _reachable(curve: GrindCurve, dose: float, never: float) -> bool | None:
    if not curve.promises:
        return None
    if never >= _NEVER and math.isinf(dose):
        return False
    return True if never <= 0.025 and math.isfinite(dose) else None


def _amount(curve: GrindCurve, value: float) -> str:
    if math.isinf(value):
        return "never"
    if value > _FAR * curve.last_dose > 0:
        return f"more than {_FAR * curve.last_dose:,.0f}"
    if curve.unit == "passes":
        # part of a pass cannot be run
        whole = max(math.ceil(value - 1e-6), 0)
        return f"{whole:,}"
    return f"{value:.0f}" if value >= 10 else f"{value:.1f}"


def _target_words(curve: GrindCurve, value: float) -> str:
    return f"{rough_number(100 * value)} %" if curve.is_share else f"{short_number(value)} µm"


def _sentence(curve: GrindCurve, f: Forecast) -> str:
    target, last = _target_words(curve, f.target), f"{curve.last_dose:g} {curve.unit}"
    if not curve.promises:
        reach = "never" if math.isinf(f.dose) else f"near {_amount(curve, f.dose)} {curve.unit}"
        return (
            f"Two points only: if nothing levelled off, {target} would come {reach}, but that is no "
            "forecast. Grinding levels off; measure a third batch."
        )
    if math.isinf(f.dose):
        return _never_sentence(curve, f, target)
    if f.high <= curve.last_dose:
        return f"{target} is reached already, within {last}."
    more = f"{_amount(curve, f.more)} more"
    more += f" {'pass' if more == '1 more' and curve.unit == 'passes' else curve.unit}"
    between = f"{_amount(curve, f.more_low)} to {_amount(curve, f.more_high)}"
    if f.reachable is None:
        about = "" if more.startswith("more than") else "about "
        return (
            f"Not certain that {target} can be reached on this mill: {about}{more} after {last}, {between}; "
            f"{100 * f.never:.0f} % of the curves that fit level off above it."
        )
    if f.more == 0:
        return f"{target} is about reached at {last} (95 %: {between} more {curve.unit})."
    if f.more > _FAR * curve.last_dose > 0:
        return f"{target} is out of reach in practice: {more} after {last} (95 %: {between})."
    if f.high > _FAR * curve.last_dose > 0:
        return (
            f"Roughly {more} after {last} for {target}, but {between} would fit as well; more fields, or a "
            "batch ground longer, would tell."
        )
    return f"{more[0].upper()}{more[1:]} after {last} should reach {target} (95 %: {between})."


def _never_sentence(curve: GrindCurve, f: Forecast, target: str) -> str:
    if f.plateau <= f.target:
        sure = "Not" if f.reachable is False else "Probably not"
        return (
            f"{sure} reachable on this mill: the {'share' if curve.is_share else 'size'} does not fall with "
            f"grinding; {100 * f.never:.0f} % of the curves that fit never reach {target}. A further batch, "
            "ground longer, would tell."
        )
    at = f"plateau at {_target_words(curve, f.plateau)}"
    if math.isfinite(f.plateau_low):
        # a plateau near nothing is none
        low = max(f.plateau_low, 0.01 * f.plateau)
        at += f" ({_target_words(curve, low)} to {_target_words(curve, f.plateau_high)})"
    if f.reachable is False:
        return f"Not reachable on this mill: {at}, above {target}."
    return (
        f"Probably not reachable on this mill: {at}, above {target}; {100 * f.never:.0f} % of the curves "
        "that fit never reach it. A further batch, ground longer, would tell."
    )
