"""What form and structure alone say of a piece, whatever its colour and however deep that is.

Colours of a fit hold for the foods it has seen. A lump is mottled and grows denser inward, a sheet is flat
and torn, a crystal straight and clear within, of any hue. The table `FORM` of `kind_model.json` knows nothing
else: it is fitted with all descriptors of colour and depth left out. It says little of a single piece (seven
of ten kernels and skins are right in fields of a hand it has not seen) but its mean over pieces of one hue
tells much.
"""

import numpy as np

from measure.field.kinds.kind_model import DESCRIPTORS, GROUPS, built_in, descriptors, terms
from measure.particles import Particles

FORM = "form on bright"  # fitted on fields lit from below, in which pieces are darker than the oil
COLOURS = (
    "core tint",
    "whole tint",
    "core green",
    "core density",
    "rim density",
    "rim over core",
    "centre over core",
    "green over red",
    "blue over green",
    "green between red and blue",
)
_BLANK = [DESCRIPTORS.index(name) for name in COLOURS]
MOST_FORM = 5.0  # odds of a single piece that are heard, natural logarithm
FEWEST_DARK, FEWEST_GREY = 3, 5  # pieces that are no odd ones
LIKELY = 0.3  # chance of dust from which a piece is asked
DUST_FORM = -2.0  # mean odds of dust over food by form: 0.8 and more of dust, below -2 of black kernels
SALT_FORM = -3.3  # the same of salt over food: -2.7 and more of cloudy crystals, below -4 of black sheets
DENSE = 0.45  # density of a core that no crystal has all over
PALE, PALE_PX, PALE_FORM = 0.04, 18.0, -4.4  # density and size of paler pieces that are asked, and their form
MOST_SALT = 0.15  # mean chance of salt by their table; blurred crystals, shadows, facets have 0.16 and more
LEAST_COLOUR = 0.06  # of the densities' sum, between two colours, below which a piece is neutral
_FAINT = 0.06
_KERNEL, _SKIN, _SALT, _DUST = (GROUPS.index(name) for name in ("kernel", "skin", "salt", "dust"))


def colourless(values: np.ndarray) -> np.ndarray:
    """Descriptors, (K, F), with those of colour and depth blank."""
    blank = values.copy()
    blank[:, _BLANK] = 0.0
    return blank


def form_scores(particles: Particles) -> np.ndarray:
    """Natural logarithm of how likely each group is by form alone, but for a constant, (K, G)."""
    model = built_in(FORM)
    values = colourless(descriptors(particles))
    return np.asarray(terms((values - model.mean) / model.scale) @ model.weights.T / model.temperature)


def over_food(scores: np.ndarray, name: str) -> np.ndarray:
    """Odds of a group over the likelier of kernel and skin by `form_scores`, bounded, (K,)."""
    food = np.maximum(scores[:, _KERNEL], scores[:, _SKIN])
    return np.clip(scores[:, GROUPS.index(name)] - food, -MOST_FORM, MOST_FORM)


def hue_of(density: np.ndarray) -> np.ndarray:
    """Hue of pieces, (K, 2): red and blue less green as shares of all that they take away, 0 of grey.

    The thickness of a piece hardly changes it, and what is faint has little of it.

    Parameters
    ----------
    density : (K, 3) ndarray
        Of red, green and blue.
    """
    whole = np.abs(density).sum(axis=1, keepdims=True) + _FAINT
    return (density[:, [0, 2]] - density[:, [1]]) / whole


def densities(particles: Particles, part: str = "") -> np.ndarray:
    """Optical densities of red, green and blue of whole pieces, or of their ``core_``, (K, 3)."""
    names = ("red", "green", "blue")
    return np.stack([particles[f"{part}{name}_density"] for name in names], axis=1).astype(float)


def dark_food(chance: np.ndarray, particles: Particles) -> np.ndarray:
    """Take black pieces for food rather than for dust where several of a field have its form.

    Black seeds and their hulls let as little light through as dust, but they are many and compact; dust is
    the odd scrap among other pieces.

    Parameters
    ----------
    chance : (K, G) ndarray
        Probabilities of the groups of all pieces of one field.
    particles : Particles

    Returns
    -------
    (K, G) ndarray
    """
    rows = np.flatnonzero(chance[:, _DUST] > LIKELY)
    if len(rows) < FEWEST_DARK:
        return chance
    if over_food(form_scores(particles.select(rows)), "dust").mean() > DUST_FORM:
        return chance
    changed = chance.copy()
    food = changed[rows][:, [_KERNEL, _SKIN]] + 0.02
    given = changed[rows, _DUST][:, None] * food / food.sum(axis=1, keepdims=True)
    changed[rows, _KERNEL] += given[:, 0]
    changed[rows, _SKIN] += given[:, 1]
    changed[rows, _DUST] = 0.0
    return changed


def food_without_colour(chance: np.ndarray, particles: Particles) -> np.ndarray:
    """Which pieces are food though they have no colour, (K,) ndarray of bool.

    A crystal sends light aside at its sides and lets it through within. Several pieces without the form of
    crystals that are black all over, or as pale at their sides as within, are hulls or kernels without a
    colour of their own.

    Parameters
    ----------
    chance : (K, G) ndarray
        Probabilities of the groups of all pieces of one field.
    particles : Particles
    """
    core = densities(particles, "core_").mean(axis=1)
    neutral = np.hypot(*hue_of(densities(particles)).T) < LEAST_COLOUR
    neutral &= chance[:, _KERNEL] + chance[:, _SKIN] > LIKELY
    found = np.zeros(len(particles), dtype=bool)
    for kind, most_form in (
        (neutral & (core > PALE) & (particles.diameter_px > PALE_PX), PALE_FORM),
        (neutral & (core > DENSE), SALT_FORM),
    ):
        rows = np.flatnonzero(kind)
        if len(rows) < FEWEST_GREY or chance[rows, _SALT].mean() > MOST_SALT:
            continue
        if over_food(form_scores(particles.select(rows)), "salt").mean() < most_form:
            found |= kind
    return found
