"""The light of a field without what lamps and lenses do to it, as pieces are found in it."""

from typing import NamedTuple

from measure.field.bodies.pale_mottle import without_pale_mottle
from measure.field.ground.cast_shadow import without_shadows
from measure.field.ground.fading_sides import without_fading_sides
from measure.field.ground.hollows import without_hollows
from measure.field.ground.light import Light
from measure.field.ground.one_sided import without_one_sided
from measure.field.ground.phase_halo import without_phase_halos
from measure.field.ground.relief import without_relief
from measure.field.ground.scatter import without_scatter
from measure.field.ground.shaded_sides import without_shaded_sides
from measure.field.ground.two_flanks import without_two_flanks
from measure.field.whole_field.bright_halo import without_bright_halos

__all__ = ["Levelled", "levelled"]


class Levelled(NamedTuple):
    """One light step by step; a step that has nothing to do gives the very same light.

    Attributes
    ----------
    unshaded : Light
        Without shadows on a plate, shaded sides of opaque pieces and hollows round bright ones.
    plain : Light
        Also without slopes that stand for tones, and glows of phase contrast.
    clear : Light
        Also without rings of bent light, and with pieces that scatter or are pale and mottled filled.
    textured : Light
        Also without relief, with clear pieces in oblique light filled, and bodies whose one side fades.
    level : Light
        Also with pieces that scatter filled with one tone: pieces are found and outlined in it.
    """

    unshaded: Light
    plain: Light
    clear: Light
    textured: Light
    level: Light


def levelled(light: Light) -> Levelled:
    """Take off a field's light what lamps and lenses did, each only where the whole field shows it."""
    unshaded = without_shadows(light)
    unshaded = without_hollows(without_shaded_sides(light) if unshaded is light else unshaded)
    plain = without_phase_halos(without_two_flanks(unshaded))
    level = without_relief(plain)
    if level is unshaded:  # dark sides of clear pieces pass for shadows
        whole = without_one_sided(light)
        if whole is not light:
            return Levelled(light, light, light, light, whole)
        level = without_fading_sides(plain)
    if level is not plain:  # where light from one side shows relief a bright ring is a lit edge
        return Levelled(unshaded, plain, plain, level, level)
    if plain is light and (even := without_pale_mottle(light)) is not light:
        return Levelled(light, light, even, even, even)
    textured = without_bright_halos(plain)
    filled = without_scatter(textured)
    return Levelled(unshaded, plain, filled, textured, filled)
