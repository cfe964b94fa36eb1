"""How many pieces, and how many fields, a wanted relative error needs."""

import math
from dataclasses import dataclass, replace

from measure.errors import InvalidInput
from measure.sizes.resample import COVERAGE_FACTOR, Plan
from measure.sizes.summary import SizeSummary

# order alpha of the figure and c = beta + alpha / 2 (c = beta for a median), Masuda and Iinoya
ORDERS: dict[str, tuple[float, float]] = {
    "number.x50_um": (1, 0.0),
    "means_um.D[1,0]": (1, 0.5),
    "means_um.D[3,2]": (1, 2.5),
    "volume.x50_um": (1, 3.0),
    "means_um.D[4,3]": (1, 3.5),
    "mean volume": (3, 1.5),
}


def log_normal_pieces(
    sigma_g: float, relative_error: float, *, alpha: float = 1.0, c: float = 3.0, factor: float = 1.959964
) -> float:
    """Return the pieces needed when a log-normal distribution is fitted to them.

    Parameters
    ----------
    sigma_g : float
        Geometric standard deviation, above 1.
    relative_error : float
        Wanted half-width of the interval, for example 0.05.
    alpha, c : float
        Order of the figure; see `ORDERS`.
    factor : float
        Coverage factor u; 1.96 for 95 %.

    Returns
    -------
    float
        n* = u^2 alpha^2 s^2 (2 c^2 s^2 + 1) / delta^2 with s = ln sigma_g.

    References
    ----------
    Masuda and Iinoya, J. Chem. Eng. Japan 4 (1971) 60; the same count underlies ISO 13322-1.

    Examples
    --------
    >>> round(log_normal_pieces(1.6, 0.05, alpha=3, c=1.5, factor=1.96))
    6092
    """
    s = _log_sd(sigma_g)
    _check_error(relative_error)
    return (factor * alpha * s / relative_error) ** 2 * (2 * c * c * s * s + 1)


def percentile_pieces(
    sigma_g: float, relative_error: float, *, percent: float = 50.0, r: int = 3, factor: float = 1.959964
) -> float:
    """Return the pieces needed for a percentile read from the pieces themselves, no model fitted.

    Large-sample variance of a weighted percentile, worked out for log-normal sizes.
    """
    from scipy.special import ndtr, ndtri

    s = _log_sd(sigma_g)
    _check_error(relative_error)
    p = percent / 100
    if not 0 < p < 1:
        raise InvalidInput(f"A percentile lies between 0 and 100, not at {percent:g}.")
    z = float(ndtri(p))
    middle = math.exp(-z * z / 2) / math.sqrt(2 * math.pi)
    spread = math.exp(r * r * s * s) * ((1 - 2 * p) * float(ndtr(z - r * s)) + p * p)
    return (factor * s / relative_error / middle) ** 2 * spread


def mean_pieces(
    sigma_g: float, relative_error: float, *, p: int = 4, q: int = 3, factor: float = 1.959964
) -> float:
    """Return the pieces needed for D[p,q] computed from the pieces themselves, no model fitted."""
    s2 = _log_sd(sigma_g) ** 2
    _check_error(relative_error)
    spread = math.exp(p * p * s2) + math.exp(q * q * s2) - 2 * math.exp(p * q * s2)
    return (factor / relative_error / (p - q)) ** 2 * spread


def model_free_pieces(figure: str, sigma_g: float, relative_error: float) -> float:
    """Return the pieces needed for a named figure (``volume.x90_um``, ``means_um.D[4,3]``, ...)."""
    if figure.startswith("means_um.D[") and figure.endswith("]"):
        p, q = (int(v) for v in figure[len("means_um.D[") : -1].split(","))
        return mean_pieces(sigma_g, relative_error, p=p, q=q)
    quantity, _, name = figure.partition(".")
    if quantity in ("number", "volume") and name.startswith("x") and name.endswith("_um"):
        r = 0 if quantity == "number" else 3
        return percentile_pieces(sigma_g, relative_error, percent=float(name[1:-3]), r=r)
    raise InvalidInput(f"Counts needed are not known for '{figure}'; ask for a percentile or a mean D[p,q].")


def fields_needed(variation: float, relative_error: float, *, factor: float = COVERAGE_FACTOR) -> int:
    """Return the fields needed when the figure varies between fields by a relative ``variation``.

    Examples
    --------
    >>> fields_needed(0.3, 0.1)
    35
    """
    _check_error(relative_error)
    if not variation >= 0:
        raise InvalidInput(f"The variation between fields cannot be {variation:g}; give a share such as 0.3.")
    return max(1, math.ceil((factor * variation / relative_error) ** 2))


def pieces_to_see_one(share: float, *, confidence: float = 0.95) -> int:
    """Return the pieces to look at to meet at least one of a rare sort.

    Examples
    --------
    >>> pieces_to_see_one(0.001)
    2995
    """
    if not 0 < share < 1:
        raise InvalidInput(f"A share lies between 0 and 1, not at {share:g}.")
    return math.ceil(math.log(1 - confidence) / math.log1p(-share))


@dataclass(frozen=True)
class Needed:
    """What is still to be measured.

    Attributes
    ----------
    pieces, fields : int
        In all; 0 when it cannot be reached by measuring more.
    more_pieces, more_fields : int
        Beyond those there are.
    now : float
        Present relative half-width of the interval.
    words : str
        One sentence.
    """

    pieces: int
    fields: int
    more_pieces: int
    more_fields: int
    now: float
    words: str = ""

    @property
    def more_words(self) -> str:
        """How many more, to be put in a sentence."""
        name = "field" if self.more_fields == 1 else "fields"
        pieces = "piece" if self.more_pieces == 1 else "pieces"
        return f"{self.more_fields:,} more {name} like these ({self.more_pieces:,} {pieces})"


def still_needed(summary: SizeSummary, figure: str, relative_error: float) -> Needed:
    """Return the pieces and fields still needed, from the spread of the data so far.

    The part that comes from fields and pieces shrinks with the square root of their number; the scale's part
    does not, so some errors cannot be reached by measuring more.

    Raises
    ------
    InvalidInput
        If the figure is unknown, or the error is not above 0.
    """
    _check_error(relative_error)
    if figure not in summary.values:
        raise InvalidInput(f"There is no figure '{figure}' in this summary.")
    u = summary.uncertainties.get(figure)
    if u is None or not math.isfinite(u.fields) or summary.plan is None:
        text = "More than one piece, and better several fields, are needed first."
        return Needed(0, 0, 0, 0, math.nan, text)
    now = COVERAGE_FACTOR * math.hypot(u.fields, u.unseen, u.edge, u.scale, u.limit)
    if now <= relative_error:
        text = f"Reached: the interval is ±{100 * now:.1f} % already."
        return Needed(round(summary.pieces), summary.fields, 0, 0, now, text)
    needed = further(summary, figure, now=now, allowed=relative_error)
    if needed is None:
        text = (
            f"±{100 * relative_error:.1f} % cannot be reached by measuring more: the scale alone gives "
            f"±{100 * COVERAGE_FACTOR * u.scale:.1f} %."
        )
        return Needed(0, 0, 0, 0, now, text)
    text = (
        f"About {needed.more_words} bring the interval from ±{100 * now:.0f} % to "
        f"±{100 * relative_error:.0f} %."
    )
    return replace(needed, words=text)


def further(summary: SizeSummary, figure: str, *, now: float, allowed: float) -> Needed | None:
    """Return what shrinks a deviation to the one allowed; None where the parts that do not shrink are more.

    Parameters
    ----------
    summary : SizeSummary
        With an interval of ``figure``.
    now, allowed : float
        Deviation of a limit of the interval from the figure, on its logarithm (a share's on its angle).
    """
    u, plan = summary.uncertainties[figure], summary.plan
    fixed = COVERAGE_FACTOR * math.hypot(u.scale, u.limit)
    if plan is None or fixed >= allowed:
        return None
    varies, left = math.sqrt(max(now**2 - fixed**2, 0.0)), math.sqrt(allowed**2 - fixed**2)
    units = max(units_to_reach(plan, varies, left), plan.units + 1)
    per_field = summary.pieces / summary.fields
    fields = units if plan.by_field else max(math.ceil(units / per_field), summary.fields + 1)
    more_fields = fields - summary.fields
    more_pieces = max(math.ceil(more_fields * per_field), 1)
    return Needed(round(summary.pieces) + more_pieces, fields, more_pieces, more_fields, now)


def units_to_reach(plan: Plan, varies: float, allowed: float) -> int:
    """Return the units (fields or pieces) at which a half-width shrinks to the one allowed.

    Square-root law, with the correction for few units easing as they grow.
    """
    from scipy.special import stdtrit

    def stretch(n: int) -> float:
        return math.sqrt(n / (n - 1)) * float(stdtrit(n - 1, 0.975))

    here = plan.units
    low, high = here, max(here, 2)
    bare = varies / stretch(here) * math.sqrt(here)
    while bare * stretch(high) / math.sqrt(high) > allowed and high < 10**9:
        high *= 2
    while low < high:
        middle = (low + high) // 2
        if bare * stretch(max(middle, 2)) / math.sqrt(middle) > allowed:
            low = middle + 1
        else:
            high = middle
    return high


def _log_sd(sigma_g: float) -> float:
    if not (math.isfinite(sigma_g) and 1 < sigma_g <= 10):
        raise InvalidInput(f"A geometric standard deviation lies above 1 (up to 10), not at {sigma_g:g}.")
    return math.log(sigma_g)


def _check_error(relative_error: float) -> None:
    if not (math.isfinite(relative_error) and 0 < relative_error < 1):
        raise InvalidInput(
            f"A wanted relative error lies between 0 and 1, not at {relative_error:g}; 0.05 is 5 %."
        )
