"""Whether a picture that is to be divided out shows blank oil."""

from dataclasses import replace

import cv2
import numpy as np

from measure.errors import InvalidInput
from measure.model import Picture

_DARKEST = 0.03  # of the full range; light divided by less than this is noise
_LOOKED_AT_PX = 1_200_000  # a smaller copy is looked at: pieces that matter show in it too
_SPECKS = 3  # a few specks of dust do no harm


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


def blank_warning(blank: Picture) -> str:
    """Return what makes a picture doubtful as blank oil: the pieces it shows; else "".

    Each piece in it would leave a false one in every field that it is divided out of.
    """
    from measure.field.pipeline import measure_field
    from measure.model import FieldSettings

    pieces = len(measure_field(_reduced(blank), FieldSettings(), 1.0).particles)
    if pieces <= _SPECKS:
        return ""
    return (
        f"The blank-oil picture {blank.name} shows {pieces} pieces, and each leaves a false one in every "
        "field; take a place without any."
    )


def _reduced(picture: Picture) -> Picture:
    factor = (_LOOKED_AT_PX / (picture.width_px * picture.height_px)) ** 0.5
    if factor >= 1:
        return picture
    size = (max(1, round(picture.width_px * factor)), max(1, round(picture.height_px * factor)))
    return replace(picture, pixels=cv2.resize(picture.pixels, size, interpolation=cv2.INTER_AREA))
