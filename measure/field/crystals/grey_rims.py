"""Crystals told apart from the bodies they cross, placed and completed by what is grey alone."""

from dataclasses import replace

import cv2
import numpy as np

from measure.field.basics.found import Found
from measure.field.basics.quick import norm
from measure.field.crystals.grey_layer import grey_density, is_in_grey
from measure.field.edges.edge import SMOOTHING_SIGMA_PX
from measure.field.edges.features import oil_at
from measure.field.ground.absorbance import density, difference
from measure.field.ground.light import Light
from measure.field.ground.plate_shade import part_of
from measure.field.rims.broken_rims import complete_rims
from measure.field.rims.closed_in import closed_in
from measure.field.rims.rim_colour import coloured_places
from measure.flags import bits

_STRONG = 5.0  # noise units from which a place is clear of the oil
_MARGIN_PX = 14
_REACH = 1.2  # of its size, round a crystal that is looked at


def crossing_crystals(found: Found, light: Light, least_px2: float) -> tuple[Found, Found]:
    """Part crystals told apart from bodies from other pieces, and place their outlines.

    Parameters
    ----------
    found : Found
        K pieces.
    light : Light
    least_px2 : float
        Smallest area reported.

    Returns
    -------
    others, crystals : Found
        Together K pieces.
    """
    rows = np.flatnonzero(is_in_grey(found.flags))
    if not len(rows):
        return found, _rows(found, rows)
    crystals = _rows(found, rows)
    placed = [_placed(_rows(found, np.array([row])), light, least_px2) for row in rows]
    flags = crystals.flags | np.array([flag for _, flag in placed], crystals.flags.dtype)
    others = np.setdiff1d(np.arange(len(found.outlines)), rows)
    return _rows(found, others), replace(crystals, outlines=[outline for outline, _ in placed], flags=flags)


def joined(one: Found, other: Found) -> Found:
    """The pieces of both."""
    return replace(
        one,
        outlines=[*one.outlines, *other.outlines],
        parent=np.concatenate([one.parent, other.parent]),
        flags=np.concatenate([one.flags, other.flags]),
        origin=np.concatenate([one.origin, other.origin]),
    )


def _rows(found: Found, rows: np.ndarray) -> Found:
    return Found(
        [found.outlines[row] for row in rows], found.parent[rows], found.flags[rows], found.origin[rows]
    )


def _placed(crystal: Found, light: Light, least_px2: float) -> tuple[np.ndarray, int]:
    """Outline of a crystal by what is grey about it, and whether its rim had gaps, as a flag."""
    outline = crystal.outlines[0]
    low, high = outline.min(axis=0), outline.max(axis=0)
    reach = _MARGIN_PX + _REACH * float((high - low).max())
    corner = np.maximum(np.floor(low - reach), 0).astype(int)
    stop = np.minimum(np.ceil(high + reach).astype(int), light.solid_distance.shape[::-1])
    box = np.s_[corner[1] : stop[1], corner[0] : stop[0]]
    alone = _grey_light(light, box, *(0.5 * (low + high)))
    if alone is None:
        return outline, 0
    inner = outline - corner.astype(outline.dtype)
    moved = replace(crystal, outlines=[closed_in(inner, alone.delta)])
    made = complete_rims(moved, alone, least_px2)
    if len(made.outlines) != 1:
        return outline, 0
    whole = made.outlines[0] + corner
    return whole.astype(outline.dtype), int(made.flags[0]) & bits("broken_rim")


def _grey_light(light: Light, box: tuple[slice, slice], x_px: float, y_px: float) -> Light | None:
    """The light of a crop as far as it is grey."""
    oil = oil_at(light, np.array([x_px]), np.array([y_px]))[0]
    delta = light.delta[box]
    smooth = cv2.GaussianBlur(delta, (0, 0), SMOOTHING_SIGMA_PX, borderType=cv2.BORDER_REPLICATE)
    strong = light.solid_distance[box] > _STRONG
    coloured = coloured_places(smooth, strong, oil, 0.0)
    if coloured is None or norm(oil) == 0:
        return None
    grey = grey_density(density(delta, oil), coloured)[..., None] * np.ones(3, np.float32)
    ground = oil.reshape(1, 1, 3).astype(np.float32)
    return replace(part_of(light, box), delta=difference(grey, oil), background_lab=ground)
