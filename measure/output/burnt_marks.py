"""What a run says of a bar or words drawn into its pictures: a wrong scale, and pieces made of them."""

import math

import numpy as np

from measure.errors import InvalidInput
from measure.field.marks.own_marks import rectangle
from measure.model import FieldResult
from measure.particles import Particles
from measure.scale.burnt_in import BurntIn
from measure.scale.cross_check import check_bar, label_um

# lengths bars mostly name, times any power of ten; common practice, no source
_ROUND = (1.0, 2.0, 2.5, 5.0, 10.0)
_ROUND_WITHIN = 0.03


def bar_alarm(name: str, found: BurntIn, label: str, um_per_px: float) -> str:
    """Return what speaks against the scale where the words of the bar are known; empty where they agree.

    Raises
    ------
    InvalidInput
        If the label is no length.
    """
    if not found.bars:
        return f"{name}: no bar was found to hold “{label}” against."
    check = check_bar(found.bars[0], label, um_per_px)
    return "" if check.verdict == "agrees" else f"{name}: {check.words}"


def marks_note(name: str, found: BurntIn, result: FieldResult, um_per_px: float, label: str = "") -> str:
    """Return what deserves a look about marks drawn into a picture; empty where nothing does.

    Parameters
    ----------
    name : str
        Of the picture.
    found : BurntIn
    result : FieldResult
        Says which pieces are counted.
    um_per_px : float
        Scale in use.
    label : str
        What the bar says, where it was told; the length is not spoken of then.
    """
    said = []
    words, inside = counted_marks(found, result)
    if inside:
        options = " ".join(f"--exclude {rectangle(zone)}" for zone in inside)
        said.append(f"{words}; leave that out: {options}")
    if found.bars and not label:
        length = found.bars[0].length_px
        if not _round_length(length * um_per_px):
            said.append(
                f"A bar of {length:.0f} px is drawn in, {length * um_per_px:.3g} µm by the scale, while bars "
                "mostly name a round length; check with --bar and its words, as in --bar '20 µm'"
            )
    return f"{name}: {'. '.join(said)}." if said else ""


def counted_marks(found: BurntIn, result: FieldResult) -> tuple[str, list[np.ndarray]]:
    """Return how many counted pieces lie in drawn marks, in words (empty for none), and in which marks.

    Marks that are left out, in whole or by their bar or words, are passed over.
    """
    seen_to = [np.asarray(zone, float).mean(axis=0) for zone in result.frame.zones]
    open_zones = [zone for zone in found.zones if not any(_holds(zone, at) for at in seen_to)]
    taken = [(zone, counted_in(result.particles, zone)) for zone in open_zones]
    pieces = sum(count for _, count in taken)
    if not pieces:
        return "", []
    are = "1 counted piece lies" if pieces == 1 else f"{pieces} counted pieces lie"
    words = f"{are} in what looks like a bar or words drawn into it"
    return words, [zone for zone, count in taken if count]


def _holds(zone: np.ndarray, at: np.ndarray) -> bool:
    return bool((at >= zone.min(axis=0)).all() and (at <= zone.max(axis=0)).all())


def counted_in(particles: Particles, zone: np.ndarray) -> int:
    """Return how many counted pieces have their centre in a rectangle, (4, 2) ndarray in px."""
    (left, top), (right, bottom) = zone.min(axis=0), zone.max(axis=0)
    x, y = particles["centre_x_px"], particles["centre_y_px"]
    inside = (x >= left) & (x <= right) & (y >= top) & (y <= bottom)
    return int((inside & (particles["set_aside"] == "")).sum())


def check_label(label: str) -> str:
    """Return what is told of the bar, checked.

    Raises
    ------
    InvalidInput
        If it is no length with its unit.
    """
    _, has_unit = label_um(label)
    if not has_unit:
        raise InvalidInput(
            f"--bar '{label}' has no unit; type the number and the unit, as in --bar '20 µm'. "
            "A bar drawn without a unit tells nothing: leave --bar away then."
        )
    return label


def _round_length(length_um: float) -> bool:
    decade = 10.0 ** math.floor(math.log10(length_um))
    return any(abs(length_um / (step * decade) - 1.0) <= _ROUND_WITHIN for step in _ROUND)
