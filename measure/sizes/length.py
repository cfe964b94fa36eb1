"""A length between two places pointed at by hand, with its uncertainty."""

import math
from dataclasses import dataclass

from measure.model import Scale

# the least a person can be off at an edge however far they zoom in, px; an edge is one to two pixels wide
# (common practice, no source)
FINEST_POINTING_PX = 0.5


@dataclass(frozen=True)
class Length:
    """A length, its combined standard uncertainty, and the parts of that, all in um."""

    length_um: float
    standard_uncertainty_um: float
    from_scale_um: float
    from_pointing_um: float


def length_between(
    start_px: tuple[float, float],
    end_px: tuple[float, float],
    scale: Scale,
    *,
    screen_px_per_px: float = 1.0,
) -> Length:
    """Return the distance between two places.

    Parameters
    ----------
    start_px, end_px : tuple of float
        x, y in px.
    scale : Scale
        Micrometres per pixel and its standard uncertainty.
    screen_px_per_px : float
        Zoom while pointing. A place is taken to lie within one screen pixel of where it was pointed at,
        and within no less than `FINEST_POINTING_PX` of the picture; anywhere in there alike.

    Returns
    -------
    Length

    Notes
    -----
    L = s d, so u(L)^2 = (d u(s))^2 + (s u(d))^2. A place anywhere within +-a alike has u = a / sqrt(3)
    along the line, and the distance has two ends: u(d) = a sqrt(2 / 3).

    References
    ----------
    .. [1] JCGM 100:2008, 4.3.7 (rectangular distribution) and 5.1.2 (combination).

    Examples
    --------
    >>> found = length_between((0, 0), (30, 40), Scale(0.5, 0.001), screen_px_per_px=1.0)
    >>> round(found.length_um, 3), round(found.standard_uncertainty_um, 3)
    (25.0, 0.411)
    """
    distance_px = math.dist(start_px, end_px)
    reach_px = max(1.0 / screen_px_per_px, FINEST_POINTING_PX)
    from_scale = distance_px * scale.standard_uncertainty_um_per_px
    from_pointing = scale.um_per_px * reach_px * math.sqrt(2.0 / 3.0)
    return Length(
        distance_px * scale.um_per_px, math.hypot(from_scale, from_pointing), from_scale, from_pointing
    )
