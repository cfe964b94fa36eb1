"""What a piece is by all but its hue: the tables of grey pictures, asked of pictures in colour.

A hue tells a kind only where the food is one that the tables know: kernels may be white, green or pink, and
skins beige. How density runs from rim to middle, mottle, edge and outline tell lumps, sheets and crystals of
any hue, and the tables for grey cameras were fitted on nothing else.
"""

import numpy as np

from measure.field.kinds.kind_colourless import lacks_colour
from measure.field.kinds.kind_model import DESCRIPTORS, GROUPS, built_in, descriptors, probabilities
from measure.flags import bits
from measure.particles import Particles

HUES = (
    "core tint",
    "whole tint",
    "core green",
    "green over red",
    "blue over green",
    "green between red and blue",
)
_BLANK = [DESCRIPTORS.index(name) for name in HUES]
ASKED = 0.2  # chance of salt from which a piece is asked whether it is cloudy
FOREIGN = 0.5  # chance of bubble, fibre and dust together from which it is none of both
CRYSTALS = 4.0  # as many pieces as are taken for crystals beforehand
LUMPS = 0.2  # the same of lumps and sheets
LEAST_PX, SMALL_SAY = 13.0, 0.6  # size below which a side of a crystal fills it, and what is said there still
ROUNDS = 8
MOST, MOST_SALT = (
    5.0,
    3.0,
)  # odds of a single piece, natural logarithm: of kernel over skin, of food over salt
SHINES, BRIGHTER = 0.7, 0.25  # density, 0.9 and more on dark ground, up to 0.4 on dim plates; share of pieces
_FEW = 1e-3  # chance added to both sides of odds
_KERNEL, _SKIN, _SALT = (GROUPS.index(name) for name in ("kernel", "skin", "salt"))
_FOREIGN = [GROUPS.index(name) for name in ("bubble", "fibre", "dust")]


def structure_of(particles: Particles, table: str) -> np.ndarray:
    """Probabilities of the groups by all but hue, (K, G).

    Parameters
    ----------
    particles : Particles
        As `measure.field.ground.plate_colour.against_grey` returns them.
    table : str
        `measure.field.kinds.kinds.table_of` the field.
    """
    values = descriptors(particles)
    values[:, _BLANK] = 0.0  # as of a piece that takes all colours alike
    return probabilities(built_in(table.replace("colour", "grey")), values)


def lump_odds(structure: np.ndarray) -> np.ndarray:
    """Odds of kernel over skin by `structure_of`, natural logarithm, (K,)."""
    odds = np.log((structure[:, _KERNEL] + _FEW) / (structure[:, _SKIN] + _FEW))
    return np.asarray(np.clip(odds, -MOST, MOST))


def cloudy(chance: np.ndarray, structure: np.ndarray, particles: Particles) -> tuple[np.ndarray, np.ndarray]:
    """Take pieces back from salt that are lumps or sheets by their structure, where a field has several.

    White kernels and grey hulls have no more colour than crystals. But a crystal turns light at its sides and
    is clear within, and a lump is as cloudy in its middle. Single crystals look like lumps now and then, so
    how many of those taken for salt are none is asked of the field first.

    Parameters
    ----------
    chance, structure : (K, G) ndarray
        Probabilities so far and those of `structure_of`, of all pieces of one field.

    Returns
    -------
    changed : (K, G) ndarray
        The same with salt weighed anew.
    food : (K,) ndarray
        How surely a piece is kernel or skin for all that it may lack colour; 0 where nobody asked.
    """
    darker = sum(particles[f"{name}_density"] for name in ("red", "green", "blue")) > 0.0
    asked = (chance[:, _SALT] > ASKED) | (lacks_colour(chance, particles) & darker)
    asked &= structure[:, _FOREIGN].sum(axis=1) < FOREIGN
    asked &= (particles["flags"] & bits("rim_only")) == 0
    food, rows = np.zeros(len(chance)), np.flatnonzero(asked)
    if not len(rows):
        return chance, food
    both = structure[rows][:, [_KERNEL, _SKIN]].sum(axis=1)
    odds = np.clip(np.log((both + _FEW) / (structure[rows, _SALT] + _FEW)), -MOST_SALT, MOST_SALT)
    large = particles.diameter_px[rows] >= LEAST_PX
    odds[~large] *= SMALL_SAY
    share = np.full(len(rows), LUMPS / (LUMPS + CRYSTALS))
    for _ in range(ROUNDS):
        likely = 1.0 / (1.0 + np.exp(-odds) * (1.0 - share) / share)
        others, count = (each.sum() - each for each in (likely * large, large.astype(float)))
        share = (others + LUMPS) / (count + LUMPS + CRYSTALS)
    food[rows] = likely
    changed = chance.copy()
    lost = likely * chance[rows, _SALT]
    changed[rows, _SALT] -= lost
    kernel = structure[rows, _KERNEL] / np.maximum(both, 1e-9)
    changed[rows, _KERNEL] += lost * kernel
    changed[rows, _SKIN] += lost * (1.0 - kernel)
    return changed, food


def shines(particles: Particles) -> bool:
    """Whether the brighter pieces of a dark ground give back several times its light.

    They do where the ground is dark because nothing scatters there, as the tables have it. Where they do not,
    it is a plate in too little light, and their depth means another thing.
    """
    core = sum(particles[f"core_{name}_density"].astype(float) for name in ("red", "green", "blue")) / 3.0
    return bool(np.quantile(core, BRIGHTER) < -SHINES)
