"""Pieces of one hue in a field, judged together by form and by how they thicken with size."""

from typing import NamedTuple

import numpy as np

from measure.field.ground.plate_colour import ground_light
from measure.field.kinds.kind_form import densities, hue_of
from measure.field.kinds.kind_groups import (
    SUREST,
    confirmed,
    kernel_odds,
    leans,
    of_pieces,
    over_partings,
    spoken_for,
    with_odds,
)
from measure.field.kinds.kind_model import GROUPS
from measure.field.kinds.kind_structure import lump_odds, structure_of
from measure.field.kinds.kind_sure import of_only_hue, singly, sure_odds, within
from measure.field.kinds.kind_told import LIT_MIDDLE, Lumps, lumps_of, means, shaded
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
    every: bool = True,
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
    every : bool
        Whether these are all pieces of their field: then few of them are doubted for being few.

    Returns
    -------
    (K, G) ndarray
        The same, with kernel and skin weighed anew within their sum.
    """
    core, whole = densities(particles, "core_").mean(axis=1), chance[:, _KERNEL] + chance[:, _SKIN]
    rows = np.flatnonzero((whole > FOOD) & (core > LEAST_DENSITY) & (particles.diameter_px >= LEAST_PX))
    if structure is None:
        structure = structure_of(particles, "colour on bright")
    hues, core, food = hue_of(densities(particles)), core[rows], whole[rows]
    learned = np.zeros(len(rows)) if taught is None else taught[rows]
    lean = (leans(chance)[rows] - learned).clip(-SUREST, SUREST)
    heard = _Heard(hues[rows], lean, learned, lump_odds(structure[rows]), food)
    if len(rows) < FEWEST and not every:
        return chance
    if len(rows) < FEWEST:
        return _few(chance, np.flatnonzero(whole > FOOD), hues, structure, taught)
    lumps = lumps_of(particles.select(rows), food)
    grey = np.zeros(len(rows)) if grey_food is None else grey_food[rows]
    depth = np.log(core + FAINT) / DEPTH_WIDTH
    place = np.c_[heard.hue / HUE_WIDTH, depth, heard.structure / STRUCTURE_WIDTH]

    def is_body(g: np.ndarray) -> bool:
        return _is_body(heard.hue[g], core[g], food[g], grey[g].mean())

    def weighed(groups: list[np.ndarray], rest: list[np.ndarray]) -> np.ndarray:
        changed = chance
        for g, odds in zip(rest, _odds_of_rest(heard, lumps, groups, rest), strict=True):
            changed = with_odds(changed, rows[g], odds)
        for g, odds in zip(groups, _odds_of_hues(heard, lumps, groups), strict=True):
            changed = with_odds(changed, rows[g], odds)
        return _like_groups(changed, particles, rows, groups, taught, hues / HUE_WIDTH)

    return over_partings(place, food, is_body, weighed)


class _Heard(NamedTuple):
    """Pieces of a field that are heard, (n, .): hue, odds so far, what tags added, odds by structure, say."""

    hue: np.ndarray
    lean: np.ndarray
    learned: np.ndarray
    structure: np.ndarray
    food: np.ndarray

    def known(self, groups: list[np.ndarray]) -> np.ndarray:
        return np.array([_known(np.median(self.hue[g], axis=0)) for g in groups])


def _odds_of_hues(heard: _Heard, lumps: Lumps, groups: list[np.ndarray]) -> list[np.ndarray]:
    """Odds of the pieces of each hue of a field."""
    if not groups:
        return []
    known, food = heard.known(groups), heard.food
    lean, told = means(heard.lean, food, groups), means(heard.learned, food, groups)
    prior = (lean * known).clip(-MOST_PRIOR, MOST_PRIOR) + told
    said = kernel_odds(prior, *lumps.deciding(groups))
    sure = sure_odds(lean, known, lumps.bearing_out(groups))
    of_tags, alone, found = np.abs(told) > TAUGHT, len(groups) == 1, []
    left = of_tags | (confirmed(prior, said) & (known == 1.0))
    for k, g in enumerate(groups):
        odds = heard.lean[g] + heard.learned[g]
        if not left[k]:
            own = known[k] * heard.lean[g] + heard.learned[g]
            odds = of_pieces(own, food[g], float(prior[k]), float(said[k]), float(known[k]), alone)
        if not of_tags[k]:
            odds = within(_single(odds, heard.structure[g]) if alone else odds, sure[k])
            if not alone and said[k] * sure[k] > 0.0:
                odds = spoken_for(odds, heard.lean[g], food[g], float(sure[k]), float(known[k]))
        found.append(odds)
    return found


def _odds_of_rest(
    heard: _Heard, lumps: Lumps, groups: list[np.ndarray], rest: list[np.ndarray]
) -> list[np.ndarray]:
    """Odds of the pieces of groups that are no bodies: their own, no surer than all hues bear out."""
    if not rest:
        return []
    every = [*groups, *rest]
    lean, told = means(heard.lean, heard.food, every), means(heard.learned, heard.food, every)
    sure = sure_odds(lean, heard.known(every), lumps.bearing_out(every))
    odds = heard.lean + heard.learned
    return [
        odds[g] if abs(told[k]) > TAUGHT else within(odds[g], sure[k])
        for k, g in enumerate(every)
        if k >= len(groups)
    ]


def _few(
    chance: np.ndarray, rows: np.ndarray, hues: np.ndarray, structure: np.ndarray, taught: np.ndarray | None
) -> np.ndarray:
    """Chances of pieces that are too few to be heard together."""
    if taught is not None:
        rows = rows[np.abs(taught[rows]) <= TAUGHT]
    known = np.array([_known(hue) for hue in hues[rows]])
    return with_odds(
        chance, rows, singly(leans(chance)[rows], known, lump_odds(structure[rows]) - LUMP_MIDDLE)
    )


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
    every: bool = True,
) -> np.ndarray:
    """Weigh kernel against skin by the structure of each hue of a field where light comes from above.

    Size does not deepen what light does not pass, and each lamp makes another thing of colours; but how a
    piece is shaded, mottled and torn is told by the tables of grey pictures. Two clearly different hues of a
    field that would both be its kernels, or both its skins, are doubted.

    Parameters
    ----------
    chance, particles, taught, every
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
        return _few_lit(chance, rows, structure, taught) if every else chance
    food = food[rows]
    light = np.log10(np.maximum(ground_light(particles) * 10.0 ** -densities(particles), DARKEST))
    hue = np.c_[light[:, [0, 2]] - light[:, [1]], light.mean(axis=1)]
    place = hue[rows] / LIT_WIDTH
    lumps = np.zeros(len(rows)) if structure is None else lump_odds(structure[rows])
    if structure is not None:
        place = np.c_[place, lumps / STRUCTURE_WIDTH]
    learned = np.zeros(len(rows)) if taught is None else taught[rows]
    lean = leans(chance)[rows].clip(-SUREST, SUREST)

    def weighed(groups: list[np.ndarray], rest: list[np.ndarray]) -> np.ndarray:
        changed = chance
        for g in rest:
            changed = _few_lit(changed, rows[g], structure, taught)
        if not groups or (structure is None and len(groups) < 2):
            return changed
        told, mean = means(learned, food, groups), means(lean - learned, food, groups)
        prior = mean.clip(-MOST_PRIOR_LIT, MOST_PRIOR_LIT) + told
        evidence = [] if structure is None else [shaded(lumps, food, groups)]
        said = kernel_odds(prior, *evidence)
        sure = sure_odds(mean, np.ones(len(groups)), evidence)
        of_tags, alone = np.abs(told) > TAUGHT, len(groups) == 1
        left = of_tags | confirmed(prior, said)
        for k, g in enumerate(groups):
            odds, most = lean[g], float(sure[k])
            if not left[k]:
                odds = of_pieces(lean[g], food[g], float(prior[k]), float(said[k]), 1.0, False)
            if evidence and not of_tags[k]:
                odds = of_only_hue(odds, most, lumps[g], food[g]) if alone else within(odds, most)
            if evidence or not left[k]:
                changed = with_odds(changed, rows[g], odds)
        return _like_groups(changed, particles, rows, groups, taught, hue / LIT_WIDTH)

    return over_partings(place, food, lambda g: food[g].sum() >= FEWEST_LIT, weighed)


def _few_lit(
    chance: np.ndarray, rows: np.ndarray, structure: np.ndarray | None, taught: np.ndarray | None
) -> np.ndarray:
    """Chances of pieces lit from above that are too few to be heard together."""
    if structure is None:
        return chance
    if taught is not None:
        rows = rows[np.abs(taught[rows]) <= TAUGHT]
    odds = singly(leans(chance)[rows], 0.0, lump_odds(structure[rows]) - LIT_MIDDLE)
    return with_odds(chance, rows, odds)


def _is_body(hue: np.ndarray, core: np.ndarray, food: np.ndarray, grey_food: float) -> bool:
    """Whether a group is more than bits of rims and blurred crystals."""
    if np.hypot(*np.median(hue, axis=0)) >= NEUTRAL or grey_food > 0.5:
        return True
    return bool(food.sum() >= FEWEST_NEUTRAL and np.median(core) >= LEAST_NEUTRAL)


def _known(hue: np.ndarray) -> float:
    """How well a hue is known, 0 to 1."""
    near = [np.exp(-0.5 * (((hue - middle) / spread) ** 2).sum()) for middle, spread in KNOWN]
    return min(1.0, WELL * float(max(near) / (max(near) + UNKNOWN)))
