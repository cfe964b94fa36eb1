"""What an objective can show: the finest detail, the coarsest pixel that keeps it, and how deep it is sharp.

All lengths in µm, on the object. Light is taken as green, 0.55 µm, unless said.
"""

import math

from measure.errors import InvalidInput

GREEN_UM = 0.55
OIL_INDEX = 1.47  # of clear food oils, 1.46 to 1.48 (Codex Alimentarius, from memory)
_RAYLEIGH_ACROSS = 2.0  # the least number of them across a disc whose half-contrast edge can be believed
_PIXELS_ACROSS = 10.0  # digitising leaves 1 % on x_A of a disc of 10 px


def rayleigh_um(na: float, wavelength_um: float = GREEN_UM) -> float:
    """Return the distance at which two points are just told apart, 0.61 lambda / NA (Rayleigh).

    Examples
    --------
    >>> round(rayleigh_um(0.25), 3)
    1.342
    """
    return 0.61 * wavelength_um / _checked(na)


def abbe_um(na: float, wavelength_um: float = GREEN_UM) -> float:
    """Return the finest grating that is resolved, lambda / (2 NA) (Abbe).

    Examples
    --------
    >>> abbe_um(0.1)
    2.75
    """
    return wavelength_um / (2 * _checked(na))


def largest_pixel_um(na: float, wavelength_um: float = GREEN_UM) -> float:
    """Return the coarsest pixel that keeps what the objective shows, lambda / (4 NA).

    Two samples for the finest period of incoherent light, lambda / (2 NA) (sampling theorem).
    """
    return wavelength_um / (4 * _checked(na))


def depth_um(
    na: float,
    *,
    index: float = 1.0,
    magnification: float | None = None,
    camera_px_um: float | None = None,
    wavelength_um: float = GREEN_UM,
) -> float:
    """Return the depth of field, n lambda / NA^2, and n e / (M NA) more for a camera of pixels e.

    Parameters
    ----------
    na, magnification : float
        Of the objective (the magnification on the camera).
    index : float
        Refractive index the pieces lie in.
    camera_px_um : float, optional
        Pixel of the camera's chip; the second part is left out unless both are given.

    References
    ----------
    Wu, Merchant and Castleman, Microscope Image Processing (2008), eq. 17.2; the camera's part is common
    practice.

    Examples
    --------
    >>> round(depth_um(0.25, magnification=10, camera_px_um=5), 2)
    10.8
    """
    wave = index * wavelength_um / _checked(na) ** 2
    if magnification is None or camera_px_um is None:
        return wave
    if not (magnification > 0 and camera_px_um > 0):
        raise InvalidInput("The magnification and the camera's pixel must be above 0.")
    return wave + index * camera_px_um / (magnification * na)


def smallest_sure_um(na: float, wavelength_um: float = GREEN_UM) -> float:
    """Return the size from which pieces span ten of the coarsest useful pixels; finer pixels add nothing."""
    return _PIXELS_ACROSS * largest_pixel_um(na, wavelength_um)


def smallest_resolved_um(na: float, wavelength_um: float = GREEN_UM) -> float:
    """Return the size from which an outline at half contrast tells a diameter: twice Rayleigh's distance.

    A disc seen through a perfect objective comes out 4 % too small at that size, and less beyond. Below, it
    is up to 7 % too small; at half of it all discs begin to look alike, and one of a quarter comes out 76 %
    too large (convolution with the Airy pattern, worked out in the tests).

    Examples
    --------
    >>> round(smallest_resolved_um(0.1), 2)
    6.71
    """
    return _RAYLEIGH_ACROSS * rayleigh_um(na, wavelength_um)


def _checked(na: float) -> float:
    if not (math.isfinite(na) and 0.005 <= na <= 1.6):
        raise InvalidInput(f"A numerical aperture lies between 0.005 and 1.6, not at {na:g}.")
    return na
