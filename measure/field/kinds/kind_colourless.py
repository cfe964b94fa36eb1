"""Pieces without colour beside kernels that have one are clear, those with as much colour are not."""

import numpy as np

from measure.field.kinds.kind_model import GROUPS
from measure.flags import bits
from measure.particles import Particles

SURE, FEWEST = 0.9, 5  # probability of a kernel whose colour is believed, and how many must show theirs
COLOURED = 0.25  # share of colour in the density of kernels from which a lack of it tells
LACK = 0.2  # share of colour over that of the field's kernels; of 11,000 kernels and skins none had less
SEEN = 0.04  # density from which a lack of colour is seen
OPAQUE = 0.8  # density from which what is black hides its colour
MOVED = 0.8  # of the chance of kernel and skin; the rest are bubbles, bits of fibres and dull kernels
HAS = (0.3, 0.5)  # the same share from which a colour begins to speak against a crystal, and speaks in full
AGAINST = 2.5  # natural logarithm of the odds it takes: of found crystals one in twenty shows as much
_FAINT = 0.02
_KERNEL, _SKIN, _SALT = (GROUPS.index(name) for name in ("kernel", "skin", "salt"))


def without_colour(chance: np.ndarray, particles: Particles) -> np.ndarray:
    """Take pieces without colour for salt rather than for kernel or skin, where kernels have a colour.

    All kernels of a batch are browned and all skins tanned, so each of them shows a share of colour in its
    density that does not change with its thickness. A crystal that is cut by its neighbours, blurred or
    clouded may have lost its sides and its corners, but it has no colour. What is black may be burnt.

    Parameters
    ----------
    chance : (K, G) ndarray
        Probabilities of the groups of all pieces of one field.
    particles : Particles

    Returns
    -------
    (K, G) ndarray
    """
    clear = lacks_colour(chance, particles)
    changed = chance.copy()
    for column in (_KERNEL, _SKIN):
        moved = np.where(clear, MOVED * chance[:, column], 0.0)
        changed[:, column] -= moved
        changed[:, _SALT] += moved
    return changed


def lacks_colour(chance: np.ndarray, particles: Particles) -> np.ndarray:
    """Which pieces are without colour where kernels have one, (K,) ndarray of bool; chances as before."""
    share, strength, density = _colour(particles)
    usual = _usual(chance, share)
    if usual is None:
        return np.zeros(len(particles), dtype=bool)
    return np.asarray((share < LACK * usual) & (strength > SEEN) & (density < OPAQUE))


def with_colour(chance: np.ndarray, particles: Particles) -> np.ndarray:
    """Take what shows as much colour as the field's kernels less for salt.

    Whatever makes a lump look like a crystal by its rim and its core (light from one side, a sharpened
    edge, a smooth pale body) changes all colours alike; a crystal takes none of them. Where pieces lie over
    one another a crystal shows what is seen through it, and in stained oil it is lighter by the colour of the
    oil it takes the place of, so neither is asked.

    Parameters
    ----------
    chance : (K, G) ndarray
        Probabilities of the groups of all pieces of one field.
    particles : Particles

    Returns
    -------
    (K, G) ndarray
        The same, with salt weighed anew against all else.
    """
    share, strength, _ = _colour(particles)
    usual = _usual(chance, share)
    if usual is None:
        return chance
    darker = sum(particles[f"{name}_density"] for name in ("red", "green", "blue"))
    say = np.clip((share / usual - HAS[0]) / (HAS[1] - HAS[0]), 0.0, 1.0)
    asked = (strength > SEEN) & (darker > 0.0) & ((particles["flags"] & bits("overlap")) == 0)
    changed = chance.copy()
    changed[:, _SALT] *= np.exp(-AGAINST * say * asked)
    return changed / changed.sum(axis=1, keepdims=True)


def _usual(chance: np.ndarray, share: np.ndarray) -> float | None:
    """Share of colour of the kernels of a field, where they are sure, enough and coloured."""
    sure = chance[:, _KERNEL] > SURE
    if np.count_nonzero(sure) < FEWEST:
        return None
    usual = float(np.median(share[sure]))
    return usual if usual >= COLOURED else None


def _colour(particles: Particles) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Share of colour in what is densest of a piece, how dense that is, and its greatest density, (K,)."""
    tint, parts = np.zeros(len(particles)), []
    for part in ("", "core_"):
        density = [particles[f"{part}{name}_density"].astype(float) for name in ("red", "green", "blue")]
        tint = np.maximum(tint, np.abs(density[2] - density[0]))
        parts.append(np.mean(density, axis=0))
    parts += [particles[f"{part}_density"].astype(float) for part in ("rim", "centre")]
    strength = np.abs(parts).max(axis=0)
    return tint / (strength + _FAINT), strength, np.max(parts, axis=0)
