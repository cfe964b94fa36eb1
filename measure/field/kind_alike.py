"""Pieces of one field that are alike in colour, judged together as kernels or as skins."""

import numpy as np

from measure.field.kind_model import GROUPS, green_between
from measure.particles import Particles

WIDTH = 0.05  # of where green stands: pieces of one kind in one field differ by about as much
LEAST_TINT = 0.04  # blue over red density from which a piece shows a colour
FAINT_TINT = 0.1  # the fainter, the less surely its colour is seen: at this tint twice as wide
FEWEST_ALIKE = 3.0  # pieces whose say is as much as half of what more would have
SAY = 0.5  # of the others, at most
FEWEST = 5  # coloured pieces that make a field
SUREST = 5.0  # odds of a single piece, natural logarithm
_STEP = 0.01
_BLOCK = 1024  # pieces at a time; 50,000 at once took 240 MB
_BINS = np.arange(-1.5, 1.5 + _STEP, _STEP)


def among_alike(chance: np.ndarray, particles: Particles) -> np.ndarray:
    """Let pieces of like colour lend one another their odds of being kernel or skin.

    A slender or a ragged kernel looks like a skin by its shape alone, but stands among compact ones of its
    own colour, and a torn skin among whole ones. Nothing is divided up: each piece hears those around it in
    colour, so a field of a single kind stays one, and where colours overlap the others' say cancels out.
    Odds are averaged, not added, so no certainty comes from numbers.

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
    density = np.stack([particles[f"{c}_density"] for c in ("red", "green", "blue")], axis=1).astype(float)
    tint = np.abs(density[:, 2] - density[:, 0])
    rows = np.flatnonzero(tint > LEAST_TINT)
    if len(rows) < FEWEST:
        return chance
    kernel, skin = GROUPS.index("kernel"), GROUPS.index("skin")
    food = chance[rows, kernel] + chance[rows, skin]
    lean = np.log((chance[rows, kernel] + 1e-4) / (chance[rows, skin] + 1e-4)).clip(-SUREST, SUREST)
    weight, mean = _heard(green_between(density[rows]), WIDTH * (1.0 + FAINT_TINT / tint[rows]), food, lean)
    say = SAY * weight / (weight + FEWEST_ALIKE)
    odds = (1.0 - say) * lean + say * mean
    changed = chance.copy()
    changed[rows, kernel] = food / (1.0 + np.exp(-odds))
    changed[rows, skin] = food / (1.0 + np.exp(odds))
    return changed


def _heard(
    colour: np.ndarray, width: np.ndarray, weight: np.ndarray, lean: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Weight and weighted mean of what the other pieces near in colour say, each (K,)."""
    at = np.rint((colour - _BINS[0]) / _STEP).astype(int).clip(0, len(_BINS) - 1)
    weights = np.bincount(at, weights=weight, minlength=len(_BINS))
    leans = np.bincount(at, weights=weight * lean, minlength=len(_BINS))
    said, told = np.empty(len(at)), np.empty(len(at))
    # the last block takes in the rest: a product of a single row may differ in its last digit
    ends = [*range(_BLOCK, len(at) - _BLOCK + 1, _BLOCK), len(at)]
    for block in map(slice, [0, *ends[:-1]], ends):
        near = _BINS[at[block]][:, None] - _BINS
        near /= width[block, None]
        near *= near
        near *= -0.5
        np.exp(near, out=near)
        said[block], told[block] = near @ weights, near @ leans
    others = np.maximum(said - weight, 0.0)
    return others, (told - weight * lean) / np.maximum(others, 1e-9)
