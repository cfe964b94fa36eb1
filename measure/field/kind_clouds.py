"""Kernels and skins of one field as two clouds of colour."""

import numpy as np

from measure.field.kind_alike import weighed_anew
from measure.particles import Particles

MOST_SAY = 2.0  # natural logarithm of the odds that the clouds add or take, at most
APART = (0.5, 1.0)  # middles of the clouds over their spread, where these begin to count and count in full
ROUNDS = 2
_LEAST_SPREAD = 0.8  # of a cloud, in the widths of `coloured`
_PIECES_BETWEEN = 2.0  # by which a cloud of few pieces is drawn towards the middle of all


def by_clouds(chance: np.ndarray, particles: Particles) -> np.ndarray:
    """Weigh kernel against skin by which of a field's two clouds of colour a piece lies in.

    What a batch holds of kernels has one colour and its skins have another, whatever light, oil and thickness
    make of both. So pieces that the model, which knows no batch, thinks only a little likelier skins than the
    rest are skins if they stand apart from the rest in colour. Green stands higher in the cloud of skins, as
    tannins do and browning does not; else the clouds say nothing, and in a field of one kind their middles
    fall together, since each piece belongs to both by its odds.

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

    def clouded(colour: np.ndarray, width: np.ndarray, food: np.ndarray, lean: np.ndarray) -> np.ndarray:
        odds = lean
        for _ in range(ROUNDS):
            kernel = food / (1.0 + np.exp(-odds)) / width**2
            odds = lean + _said(colour, width, kernel, food / width**2 - kernel)
        return odds

    return weighed_anew(chance, particles, clouded)


def _said(colour: np.ndarray, width: np.ndarray, kernel: np.ndarray, skin: np.ndarray) -> np.ndarray:
    """What two clouds of one spread say of each piece (linear discriminant), by its weights in both, (C,)."""
    every = np.average(colour, axis=0, weights=kernel + skin)
    away, spread = [], np.eye(2) * _LEAST_SPREAD**2
    for weight in (kernel, skin):
        middle = (weight @ colour + _PIECES_BETWEEN * every) / (weight.sum() + _PIECES_BETWEEN)
        away.append(colour - middle)
        spread += (away[-1] * weight[:, None]).T @ away[-1] / (kernel + skin).sum()
    between = away[0][0] - away[1][0]  # from the kernels' middle to the skins'
    if between[0] <= 0.0:
        return np.zeros(len(colour))
    inverse = np.linalg.inv(spread)
    apart = float(np.sqrt(between @ inverse @ between))
    say = np.clip((apart - APART[0]) / (APART[1] - APART[0]), 0.0, 1.0)
    square = [((off @ inverse) * off).sum(axis=1) for off in away]
    return say * np.clip((square[1] - square[0]) / (2.0 * width**2), -MOST_SAY, MOST_SAY)
