"""Takes off a picture what is not in the smear: fringes, traces of strong compression, a net, or a scale."""

from dataclasses import replace

from measure.field.marks.colour_fringes import fringes_note, without_fringes
from measure.field.marks.eyepiece_scale import SCALE, find_scales, take_off
from measure.field.marks.ghosts import ghost_note, without_ghost
from measure.field.marks.jpeg_blocks import COMPRESSED, without_blocks
from measure.field.marks.newton_rings import rings_note, without_rings
from measure.field.marks.ruled_lines import bridge, look, net_note, net_of
from measure.field.marks.scratches import scratches_note, without_scratches
from measure.model import Picture


def without_lines(picture: Picture, *, smoothed: bool = True) -> tuple[Picture, tuple[str, ...]]:
    """Take coloured fringes, traces of compression, rings and the lines of nets and scales off a picture.

    Parameters
    ----------
    picture : Picture
    smoothed : bool
        Take traces of compression off too. They are in the way of outlines; colours and texture are read
        without, for what averages blocks out also evens out what tells one kind from another.

    Returns
    -------
    picture : Picture
        The same one where there are none.
    notes : tuple of str
        What is said of it.
    """
    pixels = without_blocks(picture.pixels) if smoothed else picture.pixels
    notes: tuple[str, ...] = ()
    if pixels is not picture.pixels:
        notes = (COMPRESSED,)
    pixels, fringes = without_fringes(pixels)
    if fringes is not None:
        notes += (fringes_note(fringes),)
    pixels, ghost = without_ghost(pixels)
    if ghost is not None:
        notes += (ghost_note(ghost),)
    pixels, rings = without_rings(pixels)
    if rings is not None:
        notes += (rings_note(rings),)
    seen = look(pixels)
    net = net_of(seen) if seen else []
    scales = find_scales(seen) if seen and not net else []
    if net or scales:
        pixels = pixels.copy()
        for line in net:
            bridge(pixels, line)
        for scale in scales:
            take_off(pixels, scale)
        notes += (net_note(len(net)) if net else SCALE,)
    pixels, scratches = without_scratches(pixels)
    if scratches:
        notes += (scratches_note(scratches),)
    return (replace(picture, pixels=pixels) if pixels is not picture.pixels else picture), notes
