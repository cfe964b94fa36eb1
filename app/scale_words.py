"""A scale and its fit in plain words, for the window and the command line alike."""

from app.number_text import count, digits_for, fixed, number, percent, picture_size, with_uncertainty
from measure.model import Scale
from measure.scale import RulingFit
from measure.scale.optics import rayleigh_um, smallest_resolved_um

UNIT = "µm per px"
_RULING_UNSURE = (
    "No certificate was given, so the ruling's own error is not in this uncertainty: "
    "a plain ruling may be off by 1 to 2 µm over its length."
)
# how far off printed paper may be is common practice, no source
_PAPER_UNSURE = (
    "The ruling's own error is not in this uncertainty: printed paper and plain rulers may be off by 1 %."
)
_LOW_ZOOM = 3.0  # µm per px from which a piece of 30 µm is no more than a speck
_PAPER_FROM_UM = 500.0  # divisions no stage micrometer has
_BAR_UNSURE = (
    "The error of what was marked itself is not in this uncertainty: a bar drawn into a picture is only as "
    "good as the setting it was drawn with. A stage micrometer is surer."
)


def scale_text(um_per_px: float, standard_uncertainty: float) -> str:
    """Return a scale with its standard uncertainty in brackets of digits spelt out.

    Examples
    --------
    >>> scale_text(0.65203, 0.00016)
    '0.65203 µm per px, standard uncertainty 0.00016 µm per px'
    """
    if standard_uncertainty <= 0:
        return f"{number(um_per_px, 5)} {UNIT}, uncertainty not known"
    decimals = digits_for(standard_uncertainty)
    value, u = fixed(um_per_px, decimals), fixed(standard_uncertainty, decimals)
    return f"{value} {UNIT}, standard uncertainty {u} {UNIT}"


def result_text(fit: RulingFit) -> str:
    """Return the headline of a fit: value and expanded uncertainty."""
    expanded = fit.expanded_um_per_px
    value = with_uncertainty(fit.scale.um_per_px, expanded, "")
    return f"{value} {UNIT}"


def uncertainty_text(fit: RulingFit) -> str:
    """Return what the uncertainty is made of."""
    parts = [f"fit {share_text(fit.u_fit)}"]
    if fit.u_certificate:
        parts.append(f"certificate {share_text(fit.u_certificate)}")
    if fit.u_bend:
        parts.append(f"uneven spacing {share_text(fit.u_bend)}")
    whole = share_text(fit.scale.relative_uncertainty)
    return f"standard uncertainty {whole} ({', '.join(parts)})"


def share_text(share: float) -> str:
    """Return a small share as per cent with two digits.

    Examples
    --------
    >>> share_text(0.00025)
    '0.025 %'
    """
    return f"{number(100 * share, 2)} %" if share < 0.0995 else percent(share)


def graduations_text(fit: RulingFit) -> str:
    """Return how many graduations the fit rests on and how well they keep to it."""
    scale = fit.scale
    over = ""
    if scale.division_um:
        over = f" over {fixed(float(fit.index[-1] - fit.index[0]) * scale.division_um, 0)} µm"
    text = f"{count(len(fit.index), 'line')}{over}"
    if scale.residual_px is not None:
        text += f", scatter {number(scale.residual_px, 2)} px"
    if scale.angle_deg is not None and scale.method == "ruling":
        text += f", ruling turned by {fixed(scale.angle_deg, 1)}°"
    return text


def effect_text(scale: Scale) -> str:
    """Return what the scale's uncertainty does to one particle: of 30 µm, or 100 px at a very low zoom.

    The scale's error is the same for every particle: it does not shrink with their number.
    """
    u = scale.relative_uncertainty
    size_um = 30.0 if scale.um_per_px < _LOW_ZOOM else float(f"{100 * scale.um_per_px:.1g}")
    return (
        f"On a piece of {number(size_um)} µm this is {number(2 * u * size_um, 2)} µm, "
        f"on its volume {share_text(6 * u)} (expanded, k = 2)."
    )


def objective_text(na: float) -> str:
    """Return what an objective of that numerical aperture shows.

    Raises
    ------
    InvalidInput
        If no objective has it.

    Examples
    --------
    >>> objective_text(0.25)
    'It tells points 1.3 µm apart; sizes hold from 2.7 µm on.'
    """
    return (
        f"It tells points {number(rayleigh_um(na), 2)} µm apart; sizes hold from "
        f"{number(smallest_resolved_um(na), 2)} µm on."
    )


def size_text(scale: Scale) -> str:
    """Return the picture size a scale belongs to, or that it is not known."""
    if scale.width_px is None or scale.height_px is None:
        return "picture size not known"
    return picture_size(scale.width_px, scale.height_px)


def unsure_text(scale: Scale) -> str:
    """Return what the uncertainty of a scale leaves out; empty when a certificate covers it.

    Two places and their length may be the ends of a bar: what is true of a ruling is not said of them.
    """
    if scale.certificate_um is not None:
        return ""
    if not scale.division_um:
        return _BAR_UNSURE
    return _PAPER_UNSURE if scale.division_um >= _PAPER_FROM_UM else _RULING_UNSURE
