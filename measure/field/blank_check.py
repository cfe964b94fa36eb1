"""Whether a picture that is to be divided out shows blank oil."""

from dataclasses import replace

import cv2

from measure.model import Picture

_LOOKED_AT_PX = 1_200_000  # a smaller copy is looked at: pieces that matter show in it too
_SPECKS = 3  # a few specks of dust do no harm


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
