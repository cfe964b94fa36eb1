"""Pieces of one hue in a field, judged together by form and by how they thicken with size."""

from itertools import product

import numpy as np

from measure.field.kind_clouds import parted_at
from measure.field.kind_form import MOST_FORM, densities, form_scores, hue_of
from measure.field.kind_model import GROUPS
from measure.particles import Particles

FEWEST = 6  # bodies that make a field
FEWEST_ALIKE, FEWEST_NEUTRAL = 3.0, 5.0  # pieces that make a group; of no colour, which bits of rims have too
FOOD, LEAST_DENSITY, LEAST_PX = (
    0.3,
    0.04,
    11.0,
)  # chance of food, density and size from which a piece is heard
NEUTRAL, LEAST_NEUTRAL = 0.06, 0.15  # hue below which a group has none, and density from which it is a body
APART = 4.0  # middles of two hues over their spread; one cloud cut in two has 2.7 if normal, 3.5 if even
MOST_PARTS = 3  # times a field is parted
# what pieces of one kind in one field differ by: hue, and natural logarithm of density
HUE_WIDTH, DEPTH_WIDTH = (0.025, 0.03), 0.3
FAINT = 0.03
# odds of kernel over skin by form, natural logarithm: middle of both, between them, and what single pieces,
# hues of one kind and fields as a whole lie from that. In 87 fields of five hands kernels always stood above
# skins, by 0.04 to 4.7, half of them by 1.5; what both together had was worth little
FORM_MIDDLE, FORM_APART, FORM_PIECE, FORM_HUE, FORM_FIELD = -0.3, 1.5, 1.5, 0.4, 0.8
# the same of the power of size with which density grows: of kernels 0.2 to 0.55, of sheets -0.25 to 0.2
THICK_MIDDLE, THICK_APART, THICK_PIECE, THICK_HUE, THICK_FIELD = 0.15, 0.35, 0.25, 0.12, 0.15
THICK_SEEN = 0.6  # error of that power up to which it is heard
OWN_SIZES = 0.02  # sum of squares of sizes below which they tell no power
OTHER_KIND = 2.0  # odds that clearly different hues of one field are not all of one kind, natural logarithm
MOST_PRIOR = 3.0  # of what a group is taken for so far
MOST_SAID = 3.5  # odds of a group after it was heard
SUREST = 5.0
# hues that tables know: middle and spread of kernels and of skins, as `hue_of` tells them, of the pieces of
# the fit; a hue far from both says nothing of its kind
KNOWN = (((-0.085, 0.12), (0.06, 0.14)), ((-0.22, 0.06), (0.09, 0.13)))
UNKNOWN = 0.1  # nearness at which a hue is half known
_KERNEL, _SKIN = GROUPS.index("kernel"), GROUPS.index("skin")
_WAYS = np.array([way for way in product((-1, 0, 1), repeat=3) if way > (0, 0, 0)], dtype=float)
_SPREAD_APART = 0.5  # of either side of a gap, in widths


def by_hues(chance: np.ndarray, particles: Particles, taught: np.ndarray | None = None) -> np.ndarray:
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
    taught : (K,) ndarray, optional
        What a user's tags added to the odds of kernel, natural logarithm; it is believed of any hue.

    Returns
    -------
    (K, G) ndarray
        The same, with kernel and skin weighed anew within their sum.
    """
    density, core = densities(particles), densities(particles, "core_").mean(axis=1)
    food = chance[:, _KERNEL] + chance[:, _SKIN]
    rows = np.flatnonzero((food > FOOD) & (core > LEAST_DENSITY) & (particles.diameter_px >= LEAST_PX))
    if len(rows) < FEWEST:
        return chance
    hue, core, food = hue_of(density[rows]), core[rows], food[rows]
    place = np.c_[hue / HUE_WIDTH, np.log(core + FAINT) / DEPTH_WIDTH]
    groups = [g for g in hue_groups(place, food) if _is_body(hue[g], core[g], food[g])]
    if not groups:
        return chance
    learned = np.zeros(len(rows)) if taught is None else taught[rows]
    lean = np.log((chance[rows, _KERNEL] + 1e-4) / (chance[rows, _SKIN] + 1e-4)) - learned
    lean = lean.clip(-SUREST, SUREST)
    scores = form_scores(particles.select(rows))
    form = np.clip(scores[:, _KERNEL] - scores[:, _SKIN], -MOST_FORM, MOST_FORM)
    size = np.log(particles.diameter_px[rows])
    known = np.array([_known(np.median(hue[g], axis=0)) for g in groups])
    so_far = np.array([np.average(lean[g], weights=food[g]) for g in groups]) * known
    prior = so_far.clip(-MOST_PRIOR, MOST_PRIOR)
    prior += np.array([np.average(learned[g], weights=food[g]) for g in groups])
    said = kernel_odds(
        np.array([food[g].sum() for g in groups]),
        np.array([np.average(form[g], weights=food[g]) for g in groups]),
        np.array([thickening(size[g], np.log(core[g] + 0.01), food[g]) for g in groups]),
        prior,
    )
    changed = chance.copy()
    for g, how_known, before, after in zip(groups, known, prior, said, strict=True):
        own = how_known * lean[g] + learned[g]
        odds = _of_pieces(own, food[g], before, after, how_known, len(groups) == 1)
        changed[rows[g], _KERNEL] = food[g] / (1.0 + np.exp(-odds))
        changed[rows[g], _SKIN] = food[g] / (1.0 + np.exp(odds))
    return changed


def _of_pieces(
    own: np.ndarray, food: np.ndarray, before: float, after: float, known: float, alone: bool
) -> np.ndarray:
    """Odds of the pieces of a group, (n,), from their own and what the group was and is taken for."""
    most = float(np.clip(after, -MOST_SAID, MOST_SAID))
    mean = float(np.average(own, weights=food))
    less = 1.0
    if alone:
        # without another hue beside it form says nothing for sure, but may raise a doubt
        odds = own + (1.0 - known) * most
        against = (before - after) * np.sign(mean)
        less = max(0.1, 1.0 - max(against, 0.0) / 2.0 / max(abs(mean), 1e-6))
    elif most * mean > 0.0:
        odds, less = own, min(1.0, abs(after) / max(abs(before), 1e-6))
        if less == 1.0 and known < 0.8:
            odds = np.where(
                own * most > 0.0, np.sign(most) * np.maximum(np.abs(own), np.abs(own - mean + most)), own
            )
    else:
        odds = own - mean + most
    return np.clip(less * odds, -SUREST, SUREST)


def _is_body(hue: np.ndarray, core: np.ndarray, food: np.ndarray) -> bool:
    """Whether a group is more than bits of rims and blurred crystals."""
    if np.hypot(*np.median(hue, axis=0)) >= NEUTRAL:
        return True
    return bool(food.sum() >= FEWEST_NEUTRAL and np.median(core) >= LEAST_NEUTRAL)


def _known(hue: np.ndarray) -> float:
    """How well a hue is known, 0 to 1."""
    near = [np.exp(-0.5 * (((hue - middle) / spread) ** 2).sum()) for middle, spread in KNOWN]
    return float(max(near) / (max(near) + UNKNOWN) * (1.0 + UNKNOWN))


def hue_groups(place: np.ndarray, weight: np.ndarray, parts: int = MOST_PARTS) -> list[np.ndarray]:
    """Rows of each hue of a field, parted where clear gaps lie between them.

    Parameters
    ----------
    place : (n, 3) ndarray
        Hue and depth, over what pieces of one kind differ by.
    weight : (n,) ndarray
        Say of each.
    parts : int
        How often sides may be parted again.

    Returns
    -------
    list of ndarray of int
    """
    every = np.arange(len(place))
    if len(place) < 2 * FEWEST_ALIKE or parts == 0:
        return [every]
    spread = np.linalg.eigh(np.cov(place.T) + 0.1 * np.eye(3))[1].T
    best, side = 0.0, np.zeros(len(place), dtype=bool)
    for way in (*(_WAYS / np.linalg.norm(_WAYS, axis=1, keepdims=True)), *spread):
        found, apart = parted_at(place @ way, weight, weight, FEWEST_ALIKE, _SPREAD_APART)
        if apart > best:
            best, side = apart, found
    if best < APART:
        return [every]
    sides = (every[side], every[~side])
    return [rows[g] for rows in sides for g in hue_groups(place[rows], weight[rows], parts - 1)]


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


def kernel_odds(count: np.ndarray, form: np.ndarray, thick: np.ndarray, prior: np.ndarray) -> np.ndarray:
    """Odds of kernel of each of a field's hues, natural logarithm, (h,).

    All ways in which the hues may be kernels or skins are weighed (Bayes' rule). Form and thickening are
    normal about what each kind usually has; what a lens, a camera or a mill does to all pieces of a field
    moves all hues alike and so says little.

    Parameters
    ----------
    count, form : (h,) ndarray
        Pieces of each hue and the mean of their odds by form.
    thick : (h, 2) ndarray
        `thickening` of each.
    prior : (h,) ndarray
        Odds so far.
    """
    heard = thick[:, 1] < THICK_SEEN
    power, error = thick[heard].T
    off_form = np.linalg.inv(np.diag(FORM_HUE**2 + FORM_PIECE**2 / count) + FORM_FIELD**2)
    off_thick = np.linalg.inv(np.diag(THICK_HUE**2 + error**2) + THICK_FIELD**2)
    ways = np.array(list(product((0.5, -0.5), repeat=len(count))))  # of kernels and of skins
    rest = form - FORM_MIDDLE - FORM_APART * ways
    likely = -0.5 * np.einsum("wi,ij,wj->w", rest, off_form, rest) + ways @ prior
    rest = power - THICK_MIDDLE - THICK_APART * ways[:, heard]
    likely -= 0.5 * np.einsum("wi,ij,wj->w", rest, off_thick, rest)
    likely -= OTHER_KIND * ((np.ptp(ways, axis=1) == 0.0) & (len(count) > 1))
    chance = np.exp(likely - likely.max())
    kernel = (chance[:, None] * (ways > 0.0)).sum(axis=0) / chance.sum()
    return np.asarray(np.log((kernel + 1e-3) / (1.0 - kernel + 1e-3)))
