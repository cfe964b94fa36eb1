"""On dark ground, what shines in the lamp's own colour is a crystal, and what colours its light is none."""

import numpy as np

from measure.field.ground.plate_colour import ground_light, lit_aside, say_of
from measure.field.kinds.kind_model import GROUPS
from measure.particles import Particles

DARK_GROUND = 0.06  # linear light of the oil, share of full scale; half the usual light is still 0.15
SURE, FEWEST = 0.8, 3  # probability of a kind whose colour is believed, and how many must show theirs
BURNT = 0.75  # linear light from which a piece may have lost its colour to the camera
FAINTEST = 0.004  # linear light a piece adds, below which it shows no colour
LEAST_SPREAD = 0.02  # of the colours of one kind, decades of light
APART = (2.0, 4.0)  # middles of both kinds over their spread, where colour begins to tell and tells in full
MOST_SAY = 3.0  # natural logarithm of the odds that colour adds or takes, at most
_FOODS = [GROUPS.index(name) for name in ("kernel", "skin", "salt")]
_MEDIAN_SQUARE = 2.0 * np.log(2.0)  # of the distance from the middle of two normal numbers
_KERNEL, _SALT = GROUPS.index("kernel"), GROUPS.index("salt")


def by_lamp(chance: np.ndarray, particles: Particles) -> np.ndarray:
    """Weigh salt against kernel by the colour of the light a piece turns towards the lens, on dark ground.

    A face or an edge of a crystal mirrors and bends all colours alike, so all crystals of a field shine in
    one colour, the lamp's, which the dark ground itself does not tell. A kernel turns light that has been
    through it and is browned. So the colours of the sure crystals and the sure kernels of a field tell the
    others apart: small crystals whose bright sides leave no dark middle look like grainy kernels by all else.

    Parameters
    ----------
    chance : (K, G) ndarray
        Probabilities of the groups of all pieces of one field.
    particles : Particles

    Returns
    -------
    (K, G) ndarray
        The same, with salt weighed anew against kernel and skin on a dark ground.
    """
    if not len(particles):
        return chance
    ground = ground_light(particles)
    if ground.mean() >= DARK_GROUND and not lit_aside(particles, say_of(particles)):
        return chance
    colour, told = _colours(particles, ground)
    crystal = told & (chance[:, _SALT] > SURE)
    lump = told & (chance[:, _KERNEL] > SURE)
    if min(np.count_nonzero(crystal), np.count_nonzero(lump)) < FEWEST:
        return chance
    middles = [np.median(colour[rows], axis=0) for rows in (crystal, lump)]
    spreads = [_spread(colour[rows], middle) for rows, middle in zip((crystal, lump), middles, strict=True)]
    apart = float(np.linalg.norm(middles[0] - middles[1]) / np.hypot(spreads[0], spreads[1]))
    say = np.clip((apart - APART[0]) / (APART[1] - APART[0]), 0.0, 1.0)
    likely = [
        -((colour - middle) ** 2).sum(axis=1) / (2.0 * spread**2) - 2.0 * np.log(spread)
        for middle, spread in zip(middles, spreads, strict=True)
    ]
    odds = say * told * np.clip(likely[0] - likely[1], -MOST_SAY, MOST_SAY)
    changed = chance.copy()
    changed[:, _SALT] *= np.exp(odds)
    before, after = (each[:, _FOODS].sum(axis=1) for each in (chance, changed))
    changed[:, _FOODS] *= (before / np.maximum(after, 1e-12))[:, None]
    return changed


def _colours(particles: Particles, ground: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Colour of the light each piece adds to the ground, decades, (K, 2), and whether it shows one, (K,)."""
    density = np.stack([particles[f"{c}_density"] for c in ("red", "green", "blue")], axis=1).astype(float)
    light = ground * 10.0**-density
    added = light - ground
    told = (added.min(axis=1) > FAINTEST) & (light.max(axis=1) < BURNT)
    added = np.log10(np.maximum(added, FAINTEST))
    return added[:, [0, 2]] - added[:, [1]], told


def _spread(colour: np.ndarray, middle: np.ndarray) -> float:
    """Standard deviation of colours about their middle in each direction, whatever a few odd ones do."""
    square = np.median(((colour - middle) ** 2).sum(axis=1))
    return float(np.hypot(np.sqrt(square / _MEDIAN_SQUARE), LEAST_SPREAD))
