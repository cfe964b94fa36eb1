"""The lower size limit of a field, and how far down pieces are cut apart."""

import numpy as np

from measure.errors import InvalidInput
from measure.model import FieldSettings

__all__ = ["finest_px", "smallest_px"]

_DEFAULT_PX = 10.0
_LEAST_PX = 4.0  # below this nothing can be told from noise and pixel steps


def smallest_px(settings: FieldSettings, um_per_px: float) -> float:
    """Lower limit in px: the user's, but never below what pixels can show.

    Parameters
    ----------
    settings : FieldSettings
    um_per_px : float

    Raises
    ------
    InvalidInput
        If the smallest size or the scale is not a positive number.
    """
    if not (np.isfinite(um_per_px) and um_per_px > 0):
        raise InvalidInput(f"The scale must be a positive number of micrometres per pixel, not {um_per_px}.")
    if settings.smallest_um is None:
        return _DEFAULT_PX
    if not (np.isfinite(settings.smallest_um) and settings.smallest_um > 0):
        raise InvalidInput(
            f"The smallest size must be a positive number of micrometres, not {settings.smallest_um}."
        )
    return max(_LEAST_PX, settings.smallest_um / um_per_px)


def finest_px(limit_px: float) -> float:
    """Diameter down to which what hangs together is taken apart: a raised limit only leaves pieces out.

    What is smaller is never cut off. By the limit itself a large piece would take in the fines that touch it,
    and a heap of fines would count as one large piece, the more the higher the limit is.

    Parameters
    ----------
    limit_px : float
        Lower size limit, area-equivalent diameter.
    """
    return min(limit_px, _DEFAULT_PX)
