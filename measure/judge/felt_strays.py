"""Strays: the few coarse pieces beyond the body of the distribution, counted one by one with exact limits."""

import math
from dataclasses import dataclass

import numpy as np

from measure.errors import InvalidInput
from measure.judge.felt import FeltProfile
from measure.sizes.above import share_above
from measure.sizes.distribution import quantiles
from measure.sizes.plan import OIL_G_PER_CM3, PASTE_G_PER_CM3
from measure.sizes.rounding import rough_number
from measure.sizes.sample import SizeSample
from measure.special_functions import special_function

# distance of the fence from the upper quartile, in quartile distances of ln x; for log-normal sizes it lies
# 3.5 standard deviations above the median, where one piece in 4,000 is expected
_FENCE = 2.09
_CM3_PER_UM3 = 1e-12


@dataclass(frozen=True)
class Strays:
    """Coarse pieces counted apart.

    Attributes
    ----------
    number : int
        Strays seen.
    low, high : float
        Exact 95 % Poisson limits of the number expected in as much paste.
    beyond_um : float
        Smallest size at which a piece counts as a stray (of the kind felt soonest).
    rows : (number,) ndarray of int
        Table rows of the strays.
    grams : float or None
        Paste looked at; None when dilution or film are not known.
    of_all : str
        Their share of the pieces, in words; empty where none is counted.
    """

    number: int
    low: float
    high: float
    beyond_um: float
    rows: np.ndarray
    grams: float | None = None
    of_all: str = ""

    @property
    def per_gram(self) -> tuple[float, float, float] | None:
        """Strays per gram of paste: estimate and limits; None when the paste looked at is unknown."""
        if not self.grams:
            return None
        return self.number / self.grams, self.low / self.grams, self.high / self.grams

    @property
    def words(self) -> str:
        """One sentence; empty where no piece is counted, so that nothing is far coarser than the rest."""
        if not math.isfinite(self.beyond_um):
            return ""
        name = "stray" if self.number == 1 else "strays"
        seen = f"{self.number} {name}" if self.number else "No stray"
        high = rough_number(self.high)
        limits = f"{rough_number(self.low)} to {high}" if self.number else f"up to {high}"
        what = f"a single piece beyond {self.beyond_um:.0f} µm, far coarser than the rest"
        text = f"{seen} ({what}); in as much paste again expect {limits}"
        rate = self.per_gram
        if rate is None:
            return f"{text}, {self.of_all}." if self.of_all else f"{text}."
        if not self.number:
            return f"{text}, that is fewer than {_rough(rate[2])} per gram of paste."
        return f"{text}, that is {_rough(rate[1])} to {_rough(rate[2])} per gram of paste."


def _rough(value: float) -> str:
    return f"{float(f'{value:.2g}'):,.0f}" if value >= 10 else f"{value:.2g}"


def poisson_limits(number: float, *, confidence: float = 0.95) -> tuple[float, float]:
    """Return exact two-sided limits of the mean of a Poisson count (Garwood, Biometrika 28 (1936) 437).

    Examples
    --------
    >>> [round(v, 3) for v in poisson_limits(3)]
    [0.619, 8.767]
    """
    if not (math.isfinite(number) and number >= 0):
        raise InvalidInput(f"A count is 0 or above, not {number:g}.")
    tail, gammaincinv = (1 - confidence) / 2, special_function("gammaincinv")
    low = float(gammaincinv(number, tail)) if number > 0 else 0.0
    return low, float(gammaincinv(number + 1, 1 - tail))


def body_end_um(sample: SizeSample) -> float:
    """Return the size where the body of the distribution ends; nan without pieces."""
    if len(sample) == 0:
        return math.nan
    lower, upper = np.log(quantiles(sample.diameter_um, sample.weight, [0.25, 0.75]))
    return float(math.exp(upper + _FENCE * (upper - lower)))


def find_strays(sample: SizeSample, profile: FeltProfile, *, grams: float | None = None) -> Strays:
    """Return the pieces beyond the body that everybody would feel.

    A stray is larger than the end of the body *and* than the size from which all feel its kind; a coarse
    grind has
    therefore no strays, only a coarse body.
    """
    end = body_end_um(sample)
    if len(sample) == 0:
        low, high = poisson_limits(0)
        return Strays(0, low, high, math.nan, np.zeros(0, dtype=int), grams)
    felt = profile.all_felt_um(sample.kind)
    chosen = (sample.diameter_um > end) & (sample.diameter_um > felt)
    number = round(float(sample.count[chosen].sum()))
    low, high = poisson_limits(number)
    beyond = max(end, float(felt.min()))
    of_all = share_above(beyond, number, max(round(sample.pieces), number, 1)).share_words
    return Strays(number, low, high, beyond, sample.row[chosen], grams, of_all)


def grams_examined(
    area_um2: float,
    film_um: float,
    dilution: float,
    *,
    paste_g_per_cm3: float = PASTE_G_PER_CM3,
    oil_g_per_cm3: float = OIL_G_PER_CM3,
) -> float:
    """Return the grams of undiluted paste in the film that was looked at.

    Parameters
    ----------
    area_um2 : float
        Area of all frames together.
    film_um : float
        Height of the film.
    dilution : float
        Mass of oil to one mass of paste.
    paste_g_per_cm3, oil_g_per_cm3 : float
        Densities.

    Examples
    --------
    >>> round(grams_examined(1e8, 50, 100) * 1000, 6)
    0.045373
    """
    for name, value in (("area", area_um2), ("film height", film_um)):
        if not (math.isfinite(value) and value > 0):
            raise InvalidInput(f"The {name} must be above 0, not {value:g}.")
    if not (math.isfinite(dilution) and dilution >= 0):
        raise InvalidInput(f"The dilution is a mass of oil to one of paste, 0 or above, not {dilution:g}.")
    volume = area_um2 * film_um * _CM3_PER_UM3
    return volume / (1 / paste_g_per_cm3 + dilution / oil_g_per_cm3)
