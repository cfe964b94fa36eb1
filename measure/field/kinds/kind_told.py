"""What pieces of one hue tell of being lumps or sheets: form, how they thicken, how deep their middle is."""

from typing import NamedTuple

import numpy as np

from measure.field.kinds.kind_form import MOST_FORM, densities, form_scores
from measure.field.kinds.kind_groups import Told
from measure.field.kinds.kind_model import GROUPS
from measure.particles import Particles

# `lump_odds` of a hue lit from above: kernels of 34 fields had 2.5, skins -0.2
LIT_MIDDLE, LIT_APART, LIT_PIECE, LIT_HUE, LIT_FIELD = 1.1, 2.6, 0.8, 0.8, 1.0
# odds of kernel over skin by form, natural logarithm: middle of both, between them, and what single pieces,
# hues of one kind and fields as a whole lie from that. In 87 fields of five hands kernels always stood above
# skins, by 0.04 to 4.7, half of them by 1.5; what both together had was worth little
FORM_MIDDLE, FORM_APART, FORM_PIECE, FORM_HUE, FORM_FIELD = -0.3, 1.5, 1.5, 0.4, 0.8
FORM_APARTS = (0.0, 0.75, 1.5, 2.25, 3.0)
# the same of the power of size with which density grows: of kernels 0.2 to 0.55, of sheets -0.25 to 0.2
THICK_MIDDLE, THICK_APART, THICK_PIECE, THICK_HUE, THICK_FIELD = 0.15, 0.35, 0.25, 0.12, 0.15
THICK_APARTS = (0.0, 0.35, 0.7)
# the same of how much denser the middle of a piece is than its core, as a share: of lumps 0 to 0.05, of
# sheets within 0.02 of 0; more is a glint or a hole
INWARD_MIDDLE, INWARD_APART, INWARD_PIECE, INWARD_HUE, INWARD_FIELD = 0.01, 0.03, 0.04, 0.02, 0.02
INWARD_APARTS = (0.0, 0.03, 0.06)
MOST_INWARD = 0.1
OWN_SIZES = 0.02  # sum of squares of sizes below which they tell no power
_FAINT = 0.04
_KERNEL, _SKIN = GROUPS.index("kernel"), GROUPS.index("skin")


class Lumps(NamedTuple):
    """What each piece of a field tells, lit from below, (n,) ndarrays.

    Attributes
    ----------
    form : ndarray
        Odds of kernel over skin by form, natural logarithm.
    size, depth : ndarray
        Natural logarithms of diameter, px, and density of the core.
    inward : ndarray
        How much denser the middle is than the core, as a share.
    weight : ndarray
        Say of each.
    """

    form: np.ndarray
    size: np.ndarray
    depth: np.ndarray
    inward: np.ndarray
    weight: np.ndarray

    def deciding(self, groups: list[np.ndarray]) -> list[Told]:
        """What tells which of a field's hues are kernels."""
        return [_formed(self, groups), _thickened(self, groups)]

    def bearing_out(self, groups: list[np.ndarray]) -> list[Told]:
        """What tells how sure that is: also what differs too little from kind to kind to decide."""
        return [*self.deciding(groups), _inward(self, groups)]


def lumps_of(particles: Particles, weight: np.ndarray) -> Lumps:
    """What pieces tell by form, thickness and the depth of their middles."""
    scores, core = form_scores(particles), densities(particles, "core_").mean(axis=1)
    form = np.clip(scores[:, _KERNEL] - scores[:, _SKIN], -MOST_FORM, MOST_FORM)
    inward = (particles["centre_density"].astype(float) - core) / (np.abs(core) + _FAINT)
    size, depth = np.log(particles.diameter_px), np.log(np.maximum(core, 0.0) + 0.01)
    return Lumps(form, size, depth, np.clip(inward, -MOST_INWARD, MOST_INWARD), weight)


def means(values: np.ndarray, weight: np.ndarray, groups: list[np.ndarray]) -> np.ndarray:
    """Weighted mean of the values of each group, (h,)."""
    return np.array([np.average(values[g], weights=weight[g]) for g in groups])


def shaded(lumps: np.ndarray, weight: np.ndarray, groups: list[np.ndarray]) -> Told:
    """What structure tells of hues lit from above, (n,) as `lump_odds` gives it."""
    error = [np.hypot(LIT_HUE, LIT_PIECE / np.sqrt(weight[g].sum())) for g in groups]
    mean = means(lumps, weight, groups)
    return Told(mean, np.array(error), LIT_MIDDLE, LIT_APART, LIT_FIELD)


def _formed(lumps: Lumps, groups: list[np.ndarray]) -> Told:
    error = [np.hypot(FORM_HUE, FORM_PIECE / np.sqrt(lumps.weight[g].sum())) for g in groups]
    mean = means(lumps.form, lumps.weight, groups)
    return Told(mean, np.array(error), FORM_MIDDLE, FORM_APART, FORM_FIELD, FORM_APARTS)


def _thickened(lumps: Lumps, groups: list[np.ndarray]) -> Told:
    each = [thickening(lumps.size[g], lumps.depth[g], lumps.weight[g]) for g in groups]
    power, error = np.array(each).T
    return Told(power, np.hypot(THICK_HUE, error), THICK_MIDDLE, THICK_APART, THICK_FIELD, THICK_APARTS)


def _inward(lumps: Lumps, groups: list[np.ndarray]) -> Told:
    error = [np.hypot(INWARD_HUE, INWARD_PIECE / np.sqrt(lumps.weight[g].sum())) for g in groups]
    mean = means(lumps.inward, lumps.weight, groups)
    return Told(mean, np.array(error), INWARD_MIDDLE, INWARD_APART, INWARD_FIELD, INWARD_APARTS)


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
