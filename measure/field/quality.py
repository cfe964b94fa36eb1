"""Figures about a field as a whole, and what deserves a look, in plain words."""

import numpy as np

from measure.field.advice import NEARLY_ALL
from measure.field.ground.light import Light
from measure.field.kinds.kind_polars import between_polarisers
from measure.flags import bits
from measure.model import FieldQuality, Frame
from measure.particles import Particles

_CROWDED = 0.10  # cover above which chance contacts become common: 1 - exp(-0.4) = 33 %
_SOFT_PX = 8.0
_CLIPPED = 0.02
_UNEVEN = 25.0
_TINY_PX = 64  # sides of a picture that can hardly be a field
_OF_CONTRAST = {
    "slopes": "Oblique light, or interference contrast, shows slopes and not tones; pieces were filled from "
    "flank to flank, but plain light from below shows edges and kinds better.",
    "one side": "Light comes from one side: clear pieces are dark on one side and bright on the other; they "
    "were filled in between, but light that comes straight shows all of their edges.",
    "glows": "Pieces lie in glows, as in phase contrast; these were taken off, but plain light from below "
    "shows edges and kinds better.",
}


def usable_area_px2(frame: Frame, light: Light) -> float:
    """Area of the frame outside the excluded zones, px^2."""
    total = float(frame.width_px * frame.height_px)
    return total if light.zone_mask is None else max(1.0, total - float(light.zone_mask.sum()))


def field_quality(particles: Particles, frame: Frame, light: Light) -> FieldQuality:
    """Describe a measured field.

    Parameters
    ----------
    particles : Particles
    frame : Frame
    light : Light

    Returns
    -------
    quality : FieldQuality
        ``contacts_expected`` is 1 - exp(-4 cover), the share of equal random discs that touch another.
    """
    cover = min(1.0, float(particles["area_px2"].sum()) / usable_area_px2(frame, light))
    widths = particles["edge_width_px"]
    focus = float(np.nanmedian(widths)) if np.isfinite(widths).any() else float("nan")
    return FieldQuality(
        cover=cover,
        contacts_expected=float(1.0 - np.exp(-4.0 * cover)),
        noise=float(np.sqrt((light.noise**2).sum())),
        oil_rgb=light.oil_rgb,
        focus=focus,
        clipped=light.clipped,
        unevenness=light.unevenness,
        warnings=_warnings(particles, cover, focus, light, frame),
    )


def _nothing_found(light: Light, frame: Frame) -> str:
    """Why no piece was found, as far as the picture tells."""
    if light.clipped > NEARLY_ALL:
        return "No piece was found, for the picture is black or white nearly all over."
    if max(frame.width_px, frame.height_px) < _TINY_PX:
        size = f"{frame.width_px} × {frame.height_px} px"
        return f"No piece was found, for the picture has only {size}; take it as the camera gives it."
    return "No piece was found; raise the sensitivity or lower the smallest size if there should be some."


def _warnings(
    particles: Particles, cover: float, focus: float, light: Light, frame: Frame
) -> tuple[str, ...]:
    count = len(particles)
    words = []
    if not count:
        words.append(_nothing_found(light, frame))
    if cover > _CROWDED:
        touching = 1 - np.exp(-4 * cover)
        words.append(
            f"Pieces cover {100 * cover:.0f} % of the field, so about {100 * touching:.0f} % touch another "
            "by chance; dilute more for surer sizes."
        )
    if focus > _SOFT_PX:
        words.append(
            f"Edges are soft (median width {focus:.0f} px); focus again, blur makes small pieces uncertain."
        )
    if light.clipped > _CLIPPED:
        words.append(
            f"{100 * light.clipped:.0f} % of the pixels are at the end of the camera's range; "
            "change the exposure."
        )
    if light.unevenness > _UNEVEN:
        words.append("The light is very uneven; blank oil would take it out.")
    words += _taken_out(light)
    if between_polarisers(particles):
        words.append(
            "Pieces shine in many colours or bluish white on a dark ground, as crystals do between crossed "
            "polarisers; those are taken for salt, but kinds are told by colours in plain light, so look "
            "through them, or take one polariser out."
        )
    cut_by_frame = int((particles["flags"] & bits("touches_frame") > 0).sum())
    if count and cut_by_frame > 0.3 * count:
        words.append(
            f"{cut_by_frame} of {count} pieces meet the edge of the picture; "
            "a lower magnification keeps more of them whole."
        )
    return tuple(words)


def _taken_out(light: Light) -> list[str]:
    """What was taken out of the light and had better not be there."""
    words = []
    if light.shade:
        words.append(
            f"A straight edge of shade runs over the field, {100 * light.shade:.0f} % less light beyond it; "
            "it was taken out, but look what stands in the light."
        )
    if light.bands:
        words.append(
            f"Light comes and goes in bands across the field, by {100 * light.bands:.0f} %, as of a lamp "
            "that flickers; they were taken out, but a steady lamp or a longer exposure is better."
        )
    if light.cast:
        words.append(
            f"Lamps at the side throw shadows of pieces on {max(1.0, 100 * light.cast):.0f} % of the field; "
            "they were taken out, but light from below, or from all round, shows edges better."
        )
    if light.contrast:
        words.append(_OF_CONTRAST[light.contrast])
    return words
