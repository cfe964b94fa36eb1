"""Refuses a picture without light as blank oil."""

import numpy as np

from measure.errors import InvalidInput
from measure.model import Picture

__all__ = ["refuse_dark_blank"]

_DARKEST = 0.03  # of the full range; light divided by less than this is noise


def refuse_dark_blank(blank: Picture) -> None:
    """Refuse a picture without light as blank oil.

    Parameters
    ----------
    blank : Picture
        Taken as the oil alone.

    Raises
    ------
    InvalidInput
        If half of it or more is nearly black.
    """
    brightest = blank.pixels[::4, ::4].max(axis=2)
    if float(np.median(brightest)) < _DARKEST * np.iinfo(blank.pixels.dtype).max:
        raise InvalidInput(
            f"The blank-oil picture {blank.name} is nearly black; take the oil alone, lit as the fields are."
        )
