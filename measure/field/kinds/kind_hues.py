"""Pieces of one hue in a field, judged together by form and by how they thicken with size."""

import numpy as np

from measure.field.ground.plate_colour import ground_light
from measure.field.kinds.kind_form import MOST_FORM, densities, form_scores, hue_of
from measure.field.kinds.kind_groups import (
    SUREST,
    Told,
    confirmed,
    kernel_odds,
    leans,
    of_pieces,
    over_partings,
    with_odds,
)
from measure.field.kinds.kind_model import GROUPS
from measure.field.kinds.kind_structure import lump_odds, structure_of
from measure.particles import Particles

FEWEST = 6  # bodies that make a field
FEWEST_NEUTRAL = 5.0  # pieces that make a group without colour, which bits of rims are too
FEWEST_LIT = 4.0  # pieces that make a group where light comes from above
FOOD, LEAST_DENSITY, LEAST_PX = 0.3, 0.04, 11.0  # chance, density and size from which a piece is heard
NEUTRAL, LEAST_NEUTRAL = 0.06, 0.15  # hue below which a group has none, and density from which it is a body
# what pieces of one kind in one field differ by: hue, and natural logarithm of density
HUE_WIDTH, DEPTH_WIDTH = (0.025, 0.03), 0.3
STRUCTURE_WIDTH = 1.2  # the same of `lump_odds`: 0.8 of kernels, 1.2 of skins
SMALL_WIDER = 2.0  # the same of hue of small and faint pieces
ALONE = 0.05  # nearness to a group at which a small piece is as well judged by itself
# of the only hue of a field: odds that a piece is of the kind of the others whatever its structure, natural
# logarithm, and odds by structure that say nothing (kernels have 2.2, skins -1.2 in the mean of 36 fields)
MIXED, LUMP_MIDDLE = 3.0, 0.7
FAINT = 0.03
LIT_WIDTH = (
    0.05,
    0.05,
    0.35,
)  # the same of light a piece gives back: red and blue to green, and all, decades
DARKEST = 1e-3  # of it
# `lump_odds` of a hue lit from above: kernels of 34 fields had 2.5, skins -0.2
LIT_MIDDLE, LIT_APART, LIT_PIECE, LIT_HUE, LIT_FIELD = 1.1, 2.6, 0.8, 0.8, 1.0
# odds of kernel over skin by form, natural logarithm: middle of both, between them, and what single pieces,
# hues of one kind and fields as a whole lie from that. In 87 fields of five hands kernels always stood above
# skins, by 0.04 to 4.7, half of them by 1.5; what both together had was worth little
FORM_MIDDLE, FORM_APART, FORM_PIECE, FORM_HUE, FORM_FIELD = -0.3, 1.5, 1.5, 0.4, 0.8
# the same of the power of size with which density grows: of kernels 0.2 to 0.55, of sheets -0.25 to 0.2
THICK_MIDDLE, THICK_APART, THICK_PIECE, THICK_HUE, THICK_FIELD = 0.15, 0.35, 0.25, 0.12, 0.15
OWN_SIZES = 0.02  # sum of squares of sizes below which they tell no power
MOST_PRIOR, MOST_PRIOR_LIT = 2.0, 3.0  # odds of what a group is taken for so far
TAUGHT = 1.0  # odds a user's tags added to a hue, from which it is theirs to say
# hues that tables know: middle and spread of kernels and of skins, as `hue_of` tells them, of the pieces of
# the fit; a hue far from both says nothing of its kind
KNOWN = (((-0.085, 0.12), (0.06, 0.14)), ((-0.22, 0.06), (0.09, 0.13)))
UNKNOWN = 0.1  # nearness at which a hue is half known
WELL = 1.25  # so much of it that all of four fifths is enough
_KERNEL, _SKIN = GROUPS.index("kernel"), GROUPS.index("skin")


def by_hues(
    chance: np.ndarray,
    particles: Particles,
    grey_food: np.ndarray | None = None,
    taught: np.ndarray | None = None,
    structure: np.ndarray | None = None,
) -> np.ndarray:
    """Weigh kernel against skin by which of a field's hues has the form of lumps and which that of sheets.

    Within a field pieces of one kind share a hue, and those of clearly different hues are mostly of different
    kinds. Which is which no hue tells for sure: pistachio kernels are green as some hulls are, a sesame hull
    is white or black, a reddish kernel has the colour of skins. But lumps take away the more light the larger
    they are, and sheets do not; lumps are mottled and thicker within. Single pieces tell that badly, all
    pieces of a hue together well, and best beside another hue of the same field. Where table and form
    contradict each other, the odds are small and the doubt is high. For light from below.

    Parameters
    ----------
    chance : (K, G) ndarray
        Probabilities of the groups of all pieces of one field.
    particles : Particles
    grey_food : (K,) ndarray of bool, optional
        As `measure.field.kinds.kind_form.food_without_colour` tells.
    taught : (K,) ndarray, optional
        What a user's tags added to the odds of kernel, natural logarithm; it is believed of any hue.
    structure : (K, G) ndarray, optional
        `measure.field.kinds.kind_structure.structure_of` the pieces, where that is known.

    Returns
    -------
    (K, G) ndarray
        The same, with kernel and skin weighed anew within their sum.
    """
    core, food = densities(particles, "core_").mean(axis=1), chance[:, _KERNEL] + chance[:, _SKIN]
    rows = np.flatnonzero((food > FOOD) & (core > LEAST_DENSITY) & (particles.diameter_px >= LEAST_PX))
    if len(rows) < FEWEST:
        return chance
    hue, core, food = hue_of(densities(particles)[rows]), core[rows], food[rows]
    grey = np.zeros(len(rows)) if grey_food is None else grey_food[rows]
    if structure is None:
        structure = structure_of(particles, "colour on bright")
    lumps = lump_odds(structure[rows])
    place = np.c_[hue / HUE_WIDTH, np.log(core + FAINT) / DEPTH_WIDTH, lumps / STRUCTURE_WIDTH]
    learned = np.zeros(len(rows)) if taught is None else taught[rows]
    lean = (leans(chance)[rows] - learned).clip(-SUREST, SUREST)
    size, depth = np.log(particles.diameter_px[rows]), np.log(core + 0.01)
    form, whole = _form(particles.select(rows)), hue_of(densities(particles)) / HUE_WIDTH

    def is_body(g: np.ndarray) -> bool:
        return _is_body(hue[g], core[g], food[g], grey[g].mean())

    def weighed(groups: list[np.ndarray]) -> np.ndarray:
        known = np.array([_known(np.median(hue[g], axis=0)) for g in groups])
        told = _means(learned, food, groups)
        prior = (_means(lean, food, groups) * known).clip(-MOST_PRIOR, MOST_PRIOR) + told
        said = kernel_odds(prior, _formed(form, food, groups), _thickening(size, depth, food, groups))
        of_tags, changed = np.abs(told) > TAUGHT, chance
        left = of_tags | (confirmed(prior, said) & (known == 1.0))
        alone = len(groups) == 1
        for k, g in enumerate(groups):
            odds = lean[g] + learned[g]
            if not left[k]:
                own = known[k] * lean[g] + learned[g]
                odds = of_pieces(own, food[g], float(prior[k]), float(said[k]), float(known[k]), alone)
            changed = with_odds(
                changed, rows[g], _single(odds, lumps[g]) if alone and not of_tags[k] else odds
            )
        return _like_groups(changed, particles, rows, groups, taught, whole)

    return over_partings(place, food, chance, is_body, weighed)


def _single(odds: np.ndarray, lumps: np.ndarray) -> np.ndarray:
    """Odds of pieces of the only hue of a field, (n,), which may still hold both kinds.

    What looks like a sheet among kernels of its own hue is in doubt, or is one.
    """
    side = np.sign(odds)
    return np.asarray(side * np.minimum(np.abs(odds), MIXED + side * (lumps - LUMP_MIDDLE)))


def _like_groups(
    chance: np.ndarray,
    particles: Particles,
    rows: np.ndarray,
    groups: list[np.ndarray],
    taught: np.ndarray | None,
    hue: np.ndarray,
) -> np.ndarray:
    """Give small and faint pieces, which tell nothing themselves, the odds of the groups of their hue.

    What is far from all groups keeps its own odds, so far as its hue is known. Hues, (K, .), are taken over
    what pieces of one kind differ by.
    """
    silent = chance[:, _KERNEL] + chance[:, _SKIN] > FOOD
    silent[rows] = False
    if taught is not None:
        silent &= np.abs(taught) <= TAUGHT
    rest = np.flatnonzero(silent)
    if not len(rest):
        return chance
    density, odds = densities(particles)[rest], leans(chance).clip(-SUREST, SUREST)
    wider = SMALL_WIDER * (1.0 + FAINT / np.maximum(np.abs(density).mean(axis=1), 1e-3))[:, None]
    away = [(hue[rest] - np.median(hue[rows[g]], axis=0)) / wider for g in groups]
    near = [np.exp(-0.5 * (each**2).sum(axis=1)) for each in away]
    weight = np.array([*near, np.full(len(rest), ALONE)])
    known = np.array([_known(h) for h in hue_of(density)])
    said = [np.full(len(rest), odds[rows[g]].mean()) for g in groups]
    own = np.array([*said, known * odds[rest]])
    return with_odds(chance, rest, (weight * own).sum(axis=0) / weight.sum(axis=0))


def by_lit_hues(
    chance: np.ndarray,
    particles: Particles,
    taught: np.ndarray | None = None,
    structure: np.ndarray | None = None,
) -> np.ndarray:
    """Weigh kernel against skin by the structure of each hue of a field where light comes from above.

    Size does not deepen what light does not pass, and each lamp makes another thing of colours; but how a
    piece is shaded, mottled and torn is told by the tables of grey pictures. Two clearly different hues of a
    field that would both be its kernels, or both its skins, are doubted.

    Parameters
    ----------
    chance, particles, taught
        As for `by_hues`.
    structure : (K, G) ndarray, optional
        `measure.field.kinds.kind_structure.structure_of` the pieces; without it only doubt is raised.

    Returns
    -------
    (K, G) ndarray
    """
    food = chance[:, _KERNEL] + chance[:, _SKIN]
    rows = np.flatnonzero((food > FOOD) & (particles.diameter_px >= LEAST_PX))
    if len(rows) < FEWEST:
        return chance
    food = food[rows]
    light = np.log10(np.maximum(ground_light(particles) * 10.0 ** -densities(particles), DARKEST))
    hue = np.c_[light[:, [0, 2]] - light[:, [1]], light.mean(axis=1)]
    place = hue[rows] / LIT_WIDTH
    if structure is not None:
        place = np.c_[place, lump_odds(structure[rows]) / STRUCTURE_WIDTH]
    learned = np.zeros(len(rows)) if taught is None else taught[rows]
    lean = leans(chance)[rows].clip(-SUREST, SUREST)

    def weighed(groups: list[np.ndarray]) -> np.ndarray:
        if structure is None and len(groups) < 2:
            return chance
        told, changed = _means(learned, food, groups), chance
        prior = _means(lean - learned, food, groups).clip(-MOST_PRIOR_LIT, MOST_PRIOR_LIT) + told
        said = kernel_odds(prior, *([] if structure is None else [_shaded(structure[rows], food, groups)]))
        left = (np.abs(told) > TAUGHT) | confirmed(prior, said)
        for k, g in enumerate(groups):
            if not left[k]:
                odds = of_pieces(lean[g], food[g], float(prior[k]), float(said[k]), 1.0, False)
                changed = with_odds(changed, rows[g], odds)
        return _like_groups(changed, particles, rows, groups, taught, hue / LIT_WIDTH)

    return over_partings(place, food, chance, lambda g: food[g].sum() >= FEWEST_LIT, weighed)


def _means(values: np.ndarray, food: np.ndarray, groups: list[np.ndarray]) -> np.ndarray:
    return np.array([np.average(values[g], weights=food[g]) for g in groups])


def _form(particles: Particles) -> np.ndarray:
    scores = form_scores(particles)
    return np.asarray(np.clip(scores[:, _KERNEL] - scores[:, _SKIN], -MOST_FORM, MOST_FORM))


def _formed(form: np.ndarray, food: np.ndarray, groups: list[np.ndarray]) -> Told:
    error = [np.hypot(FORM_HUE, FORM_PIECE / np.sqrt(food[g].sum())) for g in groups]
    return Told(_means(form, food, groups), np.array(error), FORM_MIDDLE, FORM_APART, FORM_FIELD)


def _shaded(structure: np.ndarray, food: np.ndarray, groups: list[np.ndarray]) -> Told:
    error = [np.hypot(LIT_HUE, LIT_PIECE / np.sqrt(food[g].sum())) for g in groups]
    means = _means(lump_odds(structure), food, groups)
    return Told(means, np.array(error), LIT_MIDDLE, LIT_APART, LIT_FIELD)


def _thickening(size: np.ndarray, depth: np.ndarray, food: np.ndarray, groups: list[np.ndarray]) -> Told:
    power, error = np.array([thickening(size[g], depth[g], food[g]) for g in groups]).T
    return Told(power, np.hypot(THICK_HUE, error), THICK_MIDDLE, THICK_APART, THICK_FIELD)


def _is_body(hue: np.ndarray, core: np.ndarray, food: np.ndarray, grey_food: float) -> bool:
    """Whether a group is more than bits of rims and blurred crystals."""
    if np.hypot(*np.median(hue, axis=0)) >= NEUTRAL or grey_food > 0.5:
        return True
    return bool(food.sum() >= FEWEST_NEUTRAL and np.median(core) >= LEAST_NEUTRAL)


def _known(hue: np.ndarray) -> float:
    """How well a hue is known, 0 to 1."""
    near = [np.exp(-0.5 * (((hue - middle) / spread) ** 2).sum()) for middle, spread in KNOWN]
    return min(1.0, WELL * float(max(near) / (max(near) + UNKNOWN)))


def thickening(size: np.ndarray, depth: np.ndarray, weight: np.ndarray) -> tuple[float, float]:
    """Power of size with which density grows among pieces, and its standard error.

    Parameters
    ----------
    size, depth, weight : (n,) ndarray
        Natural logarithms of diameter and density, and the say of each piece.
    """
    across = size - np.average(size, weights=weight)
    up = depth - np.average(depth, weights=weight)
    squares = float((weight * across**2).sum())
    power = float((weight * across * up).sum()) / (squares + OWN_SIZES)
    rest = float((weight * (up - power * across) ** 2).sum()) / max(float(weight.sum()) - 2.0, 1.0)
    return power, max(THICK_PIECE, np.sqrt(rest)) / np.sqrt(squares + 1e-6)
