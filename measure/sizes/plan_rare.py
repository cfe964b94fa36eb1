"""What a rare kind asks for: pieces to meet it and to know its share, and paste enough for coarse grains."""

import math
from dataclasses import dataclass

from measure.errors import InvalidInput
from measure.sizes.counts import pieces_to_see_one
from measure.sizes.plan import PASTE_G_PER_CM3
from measure.sizes.resample import COVERAGE_FACTOR
from measure.sizes.rounding import rough_number

SALT_G_PER_CM3 = 2.165
# shape of grains, and range of their sizes, of Gy's formula (usual values, from memory)
_SHAPE, _RANGE = 0.5, 0.25
_CM_PER_UM = 1e-4


def pieces_for_share(share: float, relative_error: float) -> int:
    """Return the pieces to count for the share of a kind to be known within a relative error (95 %).

    Large-sample spread of a binomial share; pieces at random.

    Examples
    --------
    >>> pieces_for_share(0.01, 0.1)
    38031
    """
    if not 0 < share < 1:
        raise InvalidInput(f"A share lies between 0 and 1, not at {share:g}.")
    if not 0 < relative_error < 1:
        raise InvalidInput(f"A wanted relative error lies between 0 and 1, not at {relative_error:g}.")
    return math.ceil((COVERAGE_FACTOR / relative_error) ** 2 * (1 - share) / share)


def gy_mass_g(
    mass_share: float,
    largest_um: float,
    relative_sd: float,
    *,
    grain_g_per_cm3: float = SALT_G_PER_CM3,
    rest_g_per_cm3: float = PASTE_G_PER_CM3,
    liberation: float = 1.0,
) -> float:
    """Return the mass of sample in which a constituent of coarse grains is known to a standard deviation.

    Parameters
    ----------
    mass_share : float
        Mass of the grains in that of the paste.
    largest_um : float
        Size that 95 % of the grains' mass passes.
    relative_sd : float
        Wanted relative standard deviation of the grains' mass share.
    grain_g_per_cm3, rest_g_per_cm3 : float
        Densities.
    liberation : float
        1 for grains that lie free.

    Returns
    -------
    float
        M = C d^3 / s^2 with C = f g c l, in g; out of a far larger mass.

    References
    ----------
    Gy, Sampling of Particulate Materials (1982), the formula of the fundamental error.

    Examples
    --------
    >>> round(gy_mass_g(0.01, 600, 0.05), 4)
    2.3034
    """
    if not 0 < mass_share < 1:
        raise InvalidInput(f"The mass share of the grains lies between 0 and 1, not at {mass_share:g}.")
    if not (0 < largest_um < 1e5 and 0 < relative_sd < 1):
        raise InvalidInput(
            f"Grains have a size above 0 µm and below 10 cm, not {largest_um:g}, and the wanted relative "
            f"deviation lies between 0 and 1, not at {relative_sd:g}."
        )
    rest = 1 - mass_share
    heterogeneity = rest / mass_share * (rest * grain_g_per_cm3 + mass_share * rest_g_per_cm3)
    constant = _SHAPE * _RANGE * heterogeneity * liberation
    return constant * (largest_um * _CM_PER_UM) ** 3 / relative_sd**2


@dataclass(frozen=True)
class RarePlan:
    """What a rare kind, or coarse grains, ask for.

    Attributes
    ----------
    pieces_to_meet_one, pieces_for_share : int or None
        None where no rare kind was asked about.
    sample_g : float or None
        Paste to be sampled for the grains.
    steps : tuple of str
        Sentences.
    """

    pieces_to_meet_one: int | None
    pieces_for_share: int | None
    sample_g: float | None
    steps: tuple[str, ...]


def plan_rare(
    share: float | None,
    grains: tuple[float, float] | None,
    relative_error: float,
    *,
    grain_g_per_cm3: float = SALT_G_PER_CM3,
    paste_g_per_cm3: float = PASTE_G_PER_CM3,
) -> RarePlan:
    """Plan for a kind of that share of the pieces, and for grains of that mass share and largest size in µm.

    Raises
    ------
    InvalidInput
        If a number is out of its range.
    """
    one = whole = mass = None
    steps = []
    if share is not None:
        one, whole = pieces_to_see_one(share), pieces_for_share(share, relative_error)
        steps.append(
            f"A kind that is {rough_number(100 * share)} % of the pieces shows at least once among {one:,} "
            f"pieces (95 %); none among them means it is rarer. Its share within ±{100 * relative_error:g} % "
            f"needs {whole:,} pieces, {round(share * whole):,} of them of that kind."
        )
    if grains is not None:
        mass_share, largest_um = grains
        sd = relative_error / COVERAGE_FACTOR
        mass = gy_mass_g(
            mass_share, largest_um, sd, grain_g_per_cm3=grain_g_per_cm3, rest_g_per_cm3=paste_g_per_cm3
        )
        steps.append(
            f"Grains up to {largest_um:g} µm that are {rough_number(100 * mass_share)} % of the mass: only "
            f"{_mass_words(mass)} of paste or more, all of it looked at or evenly diluted, holds them within "
            f"±{100 * relative_error:g} % (95 %; Gy's formula for free grains)."
        )
    return RarePlan(one, whole, mass, tuple(steps))


def _mass_words(mass_g: float) -> str:
    return f"{rough_number(mass_g)} g" if mass_g >= 0.1 else f"{rough_number(1000 * mass_g)} mg"
