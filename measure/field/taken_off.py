"""Takes off a picture what lies in the eyepiece and not in the smear: a counting net, or a scale."""

from dataclasses import replace

from measure.field.eyepiece_scale import SCALE, find_scales, take_off
from measure.field.ruled_lines import bridge, look, net_note, net_of
from measure.model import Picture


def without_lines(picture: Picture) -> tuple[Picture, tuple[str, ...]]:
    """Take the lines of a net or of an eyepiece scale off a picture.

    Parameters
    ----------
    picture : Picture

    Returns
    -------
    picture : Picture
        The same one where there is neither.
    notes : tuple of str
        What is said of it.
    """
    seen = look(picture.pixels)
    if seen is None:
        return picture, ()
    net = net_of(seen)
    scales = [] if net else find_scales(seen)
    if not net and not scales:
        return picture, ()
    pixels = picture.pixels.copy()
    for line in net:
        bridge(pixels, line)
    for scale in scales:
        take_off(pixels, scale)
    return replace(picture, pixels=pixels), (net_note(len(net)) if net else SCALE,)
