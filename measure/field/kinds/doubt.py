"""One number for how unsure the tool is of a particle, so that the doubtful ones can be looked at first."""

import numpy as np

from measure.flags import FLAGS
from measure.model import ORIGINS
from measure.particles import Particles

# chance that a piece with the flag is wrong by more than a tenth of its diameter, or is no piece
FLAG_DOUBT = {
    "touching": 0.10,
    "small": 0.06,
    "blurred": 0.15,
    "faint": 0.25,
    "broken_rim": 0.15,
    "overlap": 0.25,
    "ragged": 0.30,
    "clipped": 0.02,
    "one_or_two": 0.25,
}
SIZE_DOUBT_FROM = 0.03  # relative size uncertainty from which the size itself adds doubt
_BY_HAND = tuple(ORIGINS.index(name) for name in ("joined", "drawn", "reshaped"))


def with_doubt(particles: Particles) -> Particles:
    """Give each particle its overall doubt, 0..1.

    The doubts of kind, of the outline (one share for each flag) and of the size are taken as
    independent chances of being wrong: 1 - product of (1 - each). An outline made by hand is trusted;
    then only its kind is in doubt, and not even that when the kind was set by hand too. Pieces that
    meet the frame are not counted, so their unknown size adds nothing.

    Parameters
    ----------
    particles : Particles
        With ``kind_doubt``, ``flags``, ``origin`` and ``size_uncertainty_px``.

    Returns
    -------
    Particles
    """
    if not len(particles):
        return particles
    sure_kind = 1.0 - np.clip(np.nan_to_num(particles["kind_doubt"].astype(float)), 0.0, 1.0)
    sure_outline = np.ones(len(particles))
    for name, share in FLAG_DOUBT.items():
        sure_outline *= np.where(particles["flags"] & FLAGS[name].bit, 1.0 - share, 1.0)
    relative = particles["size_uncertainty_px"] / np.maximum(particles.diameter_px, 1e-9)
    excess = np.clip(np.nan_to_num(relative) / SIZE_DOUBT_FROM - 1.0, 0.0, 4.0)
    sure_outline *= 1.0 - 0.1 * excess
    by_hand = (particles["flags"] & FLAGS["by_hand"].bit) > 0
    by_hand |= np.isin(particles["origin"], _BY_HAND)
    return particles.replaced(doubt=1.0 - sure_kind * np.where(by_hand, 1.0, sure_outline))
