"""Pieces of one field that are alike in colour, judged together as kernels or as skins."""

from collections.abc import Callable

import numpy as np

from measure.field.kinds.kind_model import GROUPS, green_between, tint_of
from measure.particles import Particles

GREEN_WIDTH = 0.1  # of where green stands: pieces of one kind in one field differ by about as much
SHARE_WIDTH = 0.06  # of how much of the density is colour, radian
LEAST_TINT = 0.04  # of one colour's density over another's from which a piece shows a colour
FAINT_TINT = 0.1  # the fainter, the less surely its colour is seen: at this tint twice as wide
FEWEST_ALIKE = 3.0  # pieces whose say is as much as half of what more would have
SAY = 0.7  # of the others, at most
ROUNDS = 2  # what the others say has itself been heard once
FEWEST = 5  # coloured pieces that make a field
SUREST = 5.0  # odds of a single piece, natural logarithm
_KERNEL, _SKIN = GROUPS.index("kernel"), GROUPS.index("skin")
_STEP = 0.25  # widths; pieces nearer than that in colour are heard as one
_BLOCK = 128  # pieces at a time; 50,000 at once took 240 MB and more


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

    def said(colour: np.ndarray, width: np.ndarray, food: np.ndarray, lean: np.ndarray) -> np.ndarray:
        odds = lean
        for _ in range(ROUNDS):
            weight, mean = _heard(colour, width, food, odds)
            say = SAY * weight / (weight + FEWEST_ALIKE)
            odds = (1.0 - say) * lean + say * mean
        return odds

    return weighed_anew(chance, particles, said)


def weighed_anew(chance: np.ndarray, particles: Particles, odds: Callable[..., np.ndarray]) -> np.ndarray:
    """Weigh kernel against skin among the pieces that show a colour, within the sum of both.

    Parameters
    ----------
    chance : (K, G) ndarray
        Probabilities of the groups of all pieces of one field.
    particles : Particles
    odds : callable
        Natural logarithm of the new odds of kernel, (C,), of what `coloured` returns of colour and width,
        the probability of being either, and the logarithm of the odds so far.

    Returns
    -------
    (K, G) ndarray
    """
    rows, colour, width = coloured(particles)
    if len(rows) < FEWEST:
        return chance
    kernel, skin = chance[rows, _KERNEL], chance[rows, _SKIN]
    food, lean = kernel + skin, np.log((kernel + 1e-4) / (skin + 1e-4)).clip(-SUREST, SUREST)
    anew, changed = odds(colour, width, food, lean), chance.copy()
    changed[rows, _KERNEL] = food / (1.0 + np.exp(-anew))
    changed[rows, _SKIN] = food / (1.0 + np.exp(anew))
    return changed


def coloured(particles: Particles) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Pieces that show a colour, and that colour.

    Returns
    -------
    rows : (C,) ndarray of int
    colour : (C, 2) ndarray
        Where green stands and `colour_share`, each over what pieces of one kind in one field differ by.
    width : (C,) ndarray
        How much more than that a piece differs because it is faint; 1 of a deep one.
    """
    density = np.stack([particles[f"{c}_density"] for c in ("red", "green", "blue")], axis=1).astype(float)
    tint = tint_of(density)
    rows = np.flatnonzero(tint > LEAST_TINT)
    colour = np.c_[green_between(density[rows]) / GREEN_WIDTH, colour_share(density[rows]) / SHARE_WIDTH]
    return rows, colour, 1.0 + FAINT_TINT / tint[rows]


def colour_share(density: np.ndarray) -> np.ndarray:
    """How much of a piece's density is colour, as an angle, (K,): 0 of grey.

    A cloudy lump throws light of all colours aside before it colours any; a thin sheet takes away only what
    its pigment takes, and so little red that an orange skin stands apart from kernels as yellow as it is.
    The thickness of a piece does not change that.

    Parameters
    ----------
    density : (K, 3) ndarray
        Of red, green and blue.
    """
    return np.arctan2(tint_of(density), np.abs(density.mean(axis=1)))


def _heard(
    colour: np.ndarray, width: np.ndarray, weight: np.ndarray, lean: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Weight and weighted mean of what the other pieces near in colour, (K, 2), say, each (K,)."""
    places, at = np.unique(np.rint(colour / _STEP), axis=0, return_inverse=True)
    places, at = places * _STEP, at.ravel()
    weights = np.bincount(at, weights=weight, minlength=len(places))
    leans = np.bincount(at, weights=weight * lean, minlength=len(places))
    said, told = np.empty(len(at)), np.empty(len(at))
    # the last block takes in the rest: a product of a single row may differ in its last digit
    ends = [*range(_BLOCK, len(at) - _BLOCK + 1, _BLOCK), len(at)]
    for block in map(slice, [0, *ends[:-1]], ends):
        near = _nearness(colour[block, None], places[None], width[block, None])
        said[block], told[block] = near @ weights, near @ leans
    own = weight * _nearness(colour, places[at], width)
    others = np.maximum(said - own, 0.0)
    return others, (told - own * lean) / np.maximum(others, 1e-9)


def _nearness(colour: np.ndarray, place: np.ndarray, width: np.ndarray) -> np.ndarray:
    """Say of what stands at a place to a piece of a colour, from 1 to 0; the last axis holds the colours."""
    near = colour[..., 0] - place[..., 0]
    near *= near
    across = colour[..., 1] - place[..., 1]
    across *= across
    near += across
    near *= -0.5 / width**2
    return np.asarray(np.exp(near, out=near))
