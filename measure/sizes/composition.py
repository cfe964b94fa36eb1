"""Density of a paste and its share of solids from what its label says."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from measure.errors import InvalidInput

_COLDEST_C, _WARMEST_C = -40.0, 150.0  # over which the densities were fitted
_SUM_LOW, _SUM_HIGH = 95.0, 105.0  # a label is rounded and leaves a little out
# kg/m3 by degrees Celsius, as a + b T + c T^2
_DENSITIES: dict[str, tuple[float, float, float]] = {
    "protein": (1329.9, -0.5184, 0.0),
    "fat": (925.59, -0.41757, 0.0),
    "carbohydrate": (1599.1, -0.31046, 0.0),
    "fibre": (1311.5, -0.36589, 0.0),
    "ash": (2423.8, -0.28063, 0.0),
    "water": (997.18, 0.0031439, -0.0037574),
    "salt": (2165.0, 0.0, 0.0),
}
CONSTITUENTS = tuple(_DENSITIES)


@dataclass(frozen=True)
class Paste:
    """A paste by its composition.

    Attributes
    ----------
    g_per_cm3, solids_g_per_cm3, oil_g_per_cm3 : float
        Density of the paste, of all but its fat, and of its fat.
    solids : float
        Volume share of all but the fat, water included: it is bound in the pieces.
    """

    g_per_cm3: float
    solids_g_per_cm3: float
    oil_g_per_cm3: float
    solids: float


def constituent_g_per_cm3(name: str, celsius: float = 20.0) -> float:
    """Return the density of a constituent of food.

    References
    ----------
    Choi and Okos, Effects of temperature and composition on the thermal properties of foods, in Food
    Engineering and Process Applications 1 (1986) 93; salt: CRC Handbook (both from memory, but for protein,
    fat and water).

    Examples
    --------
    >>> round(constituent_g_per_cm3("protein"), 4)
    1.3195
    """
    if name not in _DENSITIES:
        raise InvalidInput(f"'{name}' is no constituent known here; there are {', '.join(CONSTITUENTS)}.")
    if not _COLDEST_C <= celsius <= _WARMEST_C:
        raise InvalidInput(f"Densities hold from {_COLDEST_C:g} to {_WARMEST_C:g} °C, not at {celsius:g}.")
    a, b, c = _DENSITIES[name]
    return (a + b * celsius + c * celsius**2) / 1000


def paste_of(percent: Mapping[str, float], celsius: float = 20.0) -> Paste:
    """Return the densities and the share of solids of a paste.

    Parameters
    ----------
    percent : mapping of str to float
        Mass of each constituent in 100 g, by the names of `CONSTITUENTS`.
    celsius : float
        Temperature.

    Raises
    ------
    InvalidInput
        If a constituent is not known, there is no fat or nothing else, or they do not add up to about 100.

    Examples
    --------
    >>> nut = {"fat": 49.7, "protein": 25, "carbohydrate": 13.1, "fibre": 8.4, "ash": 3.0, "water": 1.5}
    >>> paste = paste_of(nut)
    >>> round(paste.solids, 3), round(paste.solids_g_per_cm3, 3)
    (0.402, 1.403)
    """
    for name, value in percent.items():
        if not (math.isfinite(value) and value >= 0):
            raise InvalidInput(f"The share of {name} must be 0 % or above, not {value:g}.")
    whole = sum(percent.values())
    if not _SUM_LOW <= whole <= _SUM_HIGH:
        raise InvalidInput(
            f"The composition adds up to {whole:.4g} %; give all constituents, in g of each in 100 g."
        )
    volume = {name: value / constituent_g_per_cm3(name, celsius) for name, value in percent.items()}
    fat, fat_cm3 = percent.get("fat", 0.0), volume.get("fat", 0.0)
    if not 0 < fat < whole:
        raise InvalidInput("A paste needs fat and something in it; give fat and the other constituents.")
    all_cm3 = sum(volume.values())
    return Paste(
        whole / all_cm3,
        (whole - fat) / (all_cm3 - fat_cm3),
        constituent_g_per_cm3("fat", celsius),
        (all_cm3 - fat_cm3) / all_cm3,
    )
