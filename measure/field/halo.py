"""Shadows and halos: slivers that hug a stronger piece are the light's doing, not pieces.

A lamp from the side throws a shadow, a bright edge rings, a lens flares. What they leave lies along a piece,
is thin or hollowed by it, and weaker than it. Such slivers stay listed, set aside with this reason.
"""

import cv2
import numpy as np

from measure.particles import Particles

REASON = "shadow or halo of the piece beside it"
_REACH_PX = (1.5, 3.0, 4.5)  # a gap of some pixels often stays between a piece and its halo
_LEAST_CONTACT = 0.15  # of the sliver's outline
_STRENGTH = 0.6  # a halo is weaker than what it belongs to
_SIZE = 0.35  # and much smaller
_HOLLOW, _THIN = 0.86, 0.5  # bent round its piece, and thin against it
_LESS_HOLLOW, _THINNER = 0.9, 0.35
_RING = 0.8  # solidity of a bright crescent along a dark piece, or the other way round


def set_aside_halos(particles: Particles, shape: tuple[int, int]) -> Particles:
    """Set slivers along stronger pieces aside.

    Parameters
    ----------
    particles : Particles
        K measured particles.
    shape : (M, N)
        Rows and columns of the picture.

    Returns
    -------
    Particles
        The same, with a reason on what is a shadow or halo. Pieces seen by their rims are left alone.
    """
    if len(particles) < 2:
        return particles
    reasons = particles["set_aside"].copy()
    for i in np.flatnonzero(halo_like(particles, shape)):
        if reasons[i] == "":
            reasons[i] = REASON
    return particles.replaced(set_aside=reasons)


def halo_like(particles: Particles, shape: tuple[int, int]) -> np.ndarray:
    """Whether each piece is a sliver along a stronger one, (K,) ndarray of bool."""
    share, beside = contact(particles, shape)
    near = beside >= 0
    strength = contrast(particles)
    other = np.where(near, beside, 0)
    weak = strength < _STRENGTH * strength[other]
    small = particles["area_px2"] < _SIZE * particles["area_px2"][other]
    solidity = particles["area_px2"] / np.maximum(particles["hull_area_px2"], 1e-6)
    thickness = particles["feret_min_px"] / np.maximum(particles["feret_min_px"][other], 1e-6)
    bent = (solidity < _HOLLOW) & (thickness < _THIN)
    bent |= (solidity < _LESS_HOLLOW) & (thickness < _THINNER)
    opposite = particles["lightness_step"] * particles["lightness_step"][other] < 0
    ringing = opposite & (strength < strength[other]) & (solidity < _RING)
    return near & (share > _LEAST_CONTACT) & (weak | ringing) & small & bent


def contrast(particles: Particles) -> np.ndarray:
    """CIELAB distance of each piece from the oil, (K,) ndarray."""
    steps = ("lightness_step", "green_red_step", "blue_yellow_step")
    return np.sqrt(sum(particles[name].astype(float) ** 2 for name in steps))


def contact(particles: Particles, shape: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
    """Share of each outline that runs beside one neighbour, and which, -1 for none.

    Parameters
    ----------
    particles : Particles
    shape : (M, N)

    Returns
    -------
    share : (K,) ndarray of float
    beside : (K,) ndarray of int
    """
    count = len(particles)
    labels = np.zeros(shape, np.int32)
    for i in np.argsort(-particles["area_px2"]):
        points = np.round((particles.outlines[i] - 0.5) * 16).astype(np.int32)
        cv2.fillPoly(labels, [points], int(i) + 1, shift=4)
    share, beside = np.zeros(count), np.full(count, -1)
    if not count:
        return share, beside
    size = np.array([len(outline) for outline in particles.outlines])
    start = np.cumsum(size) - size
    points = np.concatenate(particles.outlines)
    own = np.repeat(np.arange(count), size)
    following, before = np.arange(1, len(points) + 1), np.arange(-1, len(points) - 1)
    following[start + size - 1], before[start] = start, start + size - 1
    step = points[following] - points[before]
    length = np.hypot(step[:, 0], step[:, 1])
    # outlines run either way round; looking both ways costs nothing, since inside is the piece itself
    away = np.column_stack([step[:, 1], -step[:, 0]]) / np.maximum(length, 1e-6)[:, None]
    seen = np.zeros(len(points), np.int32)
    for reach in (r * way for r in _REACH_PX for way in (1, -1)):
        x, y = np.floor(points + reach * away).astype(int).T
        inside = (x >= 0) & (y >= 0) & (x < shape[1]) & (y < shape[0])
        label = np.where(inside, labels[y.clip(0, shape[0] - 1), x.clip(0, shape[1] - 1)], 0)
        seen = np.where((seen == 0) & (label != own + 1), label, seen)
    for i in np.unique(own[seen > 0]).tolist():
        part = slice(start[i], start[i] + size[i])
        met = np.bincount(seen[part], length[part])
        met[0] = 0
        if met.any():
            beside[i] = int(met.argmax()) - 1
            share[i] = met.max() / length[part].sum()
    return share, beside
