"""Kernels and skins of a grey picture, judged together by how deep they are for their size.

A grey picture shows no hue. Kernels are lumps, which take the more light the larger they are, skins are
sheets; where the pieces of a field lie in groups of clearly different depth, form and thickening say which
are which, as they do of hues. Elsewhere a piece is told by its own structure alone, which is right for seven
of ten in fields of a hand the fit has not seen: then its doubt says so, unless the whole field agrees.
"""

import numpy as np

from measure.field.kinds.kind_form import densities
from measure.field.kinds.kind_groups import (
    SUREST,
    kernel_odds,
    leans,
    of_pieces,
    over_partings,
    spoken_for,
    with_odds,
)
from measure.field.kinds.kind_hues import (
    DEPTH_WIDTH,
    FAINT,
    FEWEST,
    FOOD,
    LEAST_DENSITY,
    LEAST_PX,
    STRUCTURE_WIDTH,
)
from measure.field.kinds.kind_model import GROUPS
from measure.field.kinds.kind_structure import lump_odds
from measure.field.kinds.kind_sure import LEAST, SINGLE_STRUCTURE, sure_odds, within
from measure.field.kinds.kind_told import THICK_MIDDLE, Lumps, lumps_of, means
from measure.particles import Particles

GREY = "grey on bright"  # table of grey fields lit from below
_KERNEL, _SKIN = GROUPS.index("kernel"), GROUPS.index("skin")


def by_depths(chance: np.ndarray, particles: Particles) -> np.ndarray:
    """Weigh kernel against skin by groups of depth in a grey field; be no surer than the field bears out.

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
    core, whole = densities(particles, "core_").mean(axis=1), chance[:, _KERNEL] + chance[:, _SKIN]
    heard = (whole > FOOD) & (core > LEAST_DENSITY) & (particles.diameter_px >= LEAST_PX)
    rows, silent = np.flatnonzero(heard), np.flatnonzero((whole > FOOD) & ~heard)
    if len(rows) < FEWEST:
        silent = np.flatnonzero(whole > FOOD)
    chance = with_odds(chance, silent, _singly(leans(chance)[silent], 0.0))
    if len(rows) < FEWEST:
        return chance
    food, lean = whole[rows], leans(chance)[rows].clip(-SUREST, SUREST)
    lumps = lumps_of(particles.select(rows), food)
    # half-way between sheets, which are as deep whatever their size, and lumps
    depth = np.log(core[rows] + FAINT) - THICK_MIDDLE * np.log(particles.diameter_px[rows])
    place = np.c_[depth / DEPTH_WIDTH, lump_odds(chance[rows]) / STRUCTURE_WIDTH]

    def weighed(groups: list[np.ndarray], _: list[np.ndarray]) -> np.ndarray:
        changed = chance
        for g, odds in zip(groups, _odds(lean, food, lumps, groups), strict=True):
            changed = with_odds(changed, rows[g], odds)
        return changed

    return over_partings(place, food, lambda g: True, weighed)


def _odds(lean: np.ndarray, food: np.ndarray, lumps: Lumps, groups: list[np.ndarray]) -> list[np.ndarray]:
    """Odds of kernel of the pieces of each group of depth, natural logarithm; depth itself tells no kind."""
    none = np.zeros(len(groups))
    sure = sure_odds(means(lean, food, groups), none, lumps.bearing_out(groups))
    if len(groups) == 1:
        return [_singly(lean[groups[0]], float(sure[0]))]
    said, found = kernel_odds(none, *lumps.deciding(groups)), []
    for g, told, most in zip(groups, said, sure, strict=True):
        odds = within(of_pieces(lean[g], food[g], 0.0, float(told), 0.0, False), most)
        found.append(spoken_for(odds, odds, food[g], float(most), 0.0) if told * most > 0.0 else odds)
    return found


def _singly(odds: np.ndarray, field: float) -> np.ndarray:
    """Odds of pieces told by their own structure, (n,), no surer than it is with the odds of their field."""
    side = np.sign(odds)
    return np.asarray(side * np.minimum(np.abs(odds), np.maximum(SINGLE_STRUCTURE + side * field, LEAST)))
