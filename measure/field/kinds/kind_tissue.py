"""Pieces that scatter light all through are tissue: a crystal is clear between its edges."""

import numpy as np

from measure.field.basics.kind_shape import box_share
from measure.field.kinds.kind_model import GROUPS
from measure.flags import bits
from measure.particles import Particles

BOXED = 0.85  # share of its box that a piece with four sides fills
MOVED = 0.95  # of the chance of salt, however little colour they have
_KERNEL, _SALT = (GROUPS.index(name) for name in ("kernel", "salt"))


def is_tissue(particles: Particles) -> np.ndarray:
    """Which pieces scatter and do not have the form of a box, (K,) ndarray of bool.

    Fringes along the sides of a crystal may look like grains, but it keeps its form.
    """
    told = (particles["flags"] & bits("scatters")) > 0
    rows = np.flatnonzero(told)
    if len(rows):
        told[rows] = [box_share(particles.outlines[row]) <= BOXED for row in rows]
    return told


def as_tissue(chance: np.ndarray, tissue: np.ndarray) -> np.ndarray:
    """Take tissue for kernel rather than for salt.

    Parameters
    ----------
    chance : (K, G) ndarray
        Probabilities of the groups of all pieces of one field.
    tissue : (K,) ndarray of bool

    Returns
    -------
    (K, G) ndarray
    """
    changed = chance.copy()
    moved = np.where(tissue, MOVED * chance[:, _SALT], 0.0)
    changed[:, _SALT] -= moved
    changed[:, _KERNEL] += moved
    return changed
