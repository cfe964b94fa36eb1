"""Where green stands in the colours of a field: low in browned kernels, high in tanned or pink skins."""

import numpy as np

from measure.field.kinds.kind_alike import GREEN_WIDTH, weighed_anew
from measure.particles import Particles

# `green_between` of kernels and skins, usual middle and between what it lies from one batch and camera to
# another: kernels of drawn fields of six hands lie from -0.35 to -0.05, skins from 0.15 to 0.8; nuts as sRGB
# from memory agree (215 180 120 -0.4, 170 115 60 -0.2; their skins 120 60 35 0.2)
KERNELS, SKINS = (-0.2, -0.4, 0.05), (0.4, 0.0, 1.0)
SPREAD = 0.15  # of the pieces of one kind in one field
LEAST_APART = 0.2  # of the middles
STRAYS = 0.02  # chance of a colour like neither's over that of a colour in the middle
FEW_PIECES = 2.0  # that say as much as what is usual
MOST_SAY = 2.5  # natural logarithm of the odds that green adds or takes, at most
ROUNDS = 4


def by_green(chance: np.ndarray, particles: Particles) -> np.ndarray:
    """Weigh kernel against skin by where green stands in a piece's colour, and in those of its field.

    Browning takes the more of a colour the nearer it is to blue, in steady steps; the tannins and the reds of
    a skin take green nearly as much as blue, or more. That holds for thick and thin, ragged and round pieces
    and in any light that is white, while form tells only of how a paste was ground. Both middles are known
    roughly from the start and drawn some way towards where the pieces of the field lie, each piece belonging
    to both by its odds: a camera or an oil adds its own colours.

    Parameters
    ----------
    chance : (K, G) ndarray
        Probabilities of the groups of all pieces of one field.
    particles : Particles

    Returns
    -------
    (K, G) ndarray
        The same, with kernel and skin weighed anew within their sum.
    """
    # what is bluer than the oil is so because it takes the place of a yellow one, not by a colour of its own
    asked = particles["blue_density"] > particles["red_density"]
    return np.where(asked[:, None], weighed_anew(chance, particles, _odds), chance)


def _odds(colour: np.ndarray, width: np.ndarray, food: np.ndarray, lean: np.ndarray) -> np.ndarray:
    green, spread = colour[:, 0] * GREEN_WIDTH, SPREAD * width
    odds = lean
    for _ in range(ROUNDS):
        kernel = 1.0 / (1.0 + np.exp(-odds))
        middles = [
            _middle(green, food * share / width**2, *usual)
            for share, usual in ((kernel, KERNELS), (1.0 - kernel, SKINS))
        ]
        middles[1] = max(middles[1], middles[0] + LEAST_APART)
        likely = [np.exp(-((green - middle) ** 2) / (2.0 * spread**2)) + STRAYS for middle in middles]
        said = np.clip(np.log(likely[0] / likely[1]), -MOST_SAY, MOST_SAY)
        odds = lean + said
    return odds


def _middle(green: np.ndarray, weight: np.ndarray, usual: float, low: float, high: float) -> float:
    """Middle of the pieces of one kind, between what is usual and what they say together."""
    own = float((weight * green).sum() + FEW_PIECES * usual) / (float(weight.sum()) + FEW_PIECES)
    return min(max(own, low), high)
