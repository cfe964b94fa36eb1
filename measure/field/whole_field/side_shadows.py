"""Shadows of bright pieces, told by that all of them lie on one side.

A lamp at the side throws a shadow beside every piece that stands on a plate or on paper. Where the pieces
are brighter than the ground it is a dark crescent, half as strong as they are or less, and may be nearly as
large, so that it looks like a darker piece that happens to touch. What happens by chance happens on all
sides. A field in which neutral dark slivers hug bright pieces again and again in one direction is lit from
the other.
"""

import numpy as np

from measure.flags import bits
from measure.particles import Particles

_FEW = 5  # slivers that prove no direction; by chance five agree as well as asked in 3 fields of 100
_ONE_WAY = 0.85  # how far they agree, 0..1 (Rayleigh: exp(-n R^2); Mardia and Jupp 2000, from memory)
_BESIDE_WAY = 0.5  # cosine between the way to a sliver and that of the shadows
_NEUTRAL = 0.25  # colour step over lightness step of what only the light made: on grey paper below 0.15
_HUGS = 0.1  # share of a sliver's outline that lies along its piece
_WEAKER, _SMALLER = 0.75, 0.8  # strength and area over those of its piece
_COMPACT = 0.92  # solidity of what does not bend round anything


def side_shadows(particles: Particles, share: np.ndarray, beside: np.ndarray) -> np.ndarray:
    """Whether each piece is a shadow of a brighter one, (K,) ndarray of bool.

    Parameters
    ----------
    particles : Particles
        K measured particles.
    share, beside : (K,) ndarray
        Share of each outline that runs along one neighbour, and which; -1 for none.
    """
    p = particles
    lightness = p["lightness_step"].astype(float)
    colour = np.hypot(p["green_red_step"].astype(float), p["blue_yellow_step"].astype(float))
    piece = np.where(beside >= 0, beside, 0)
    sliver = (beside >= 0) & (share > _HUGS) & (lightness < 0) & (lightness[piece] > 0)
    sliver &= (colour < _NEUTRAL * -lightness) & (-lightness < _WEAKER * lightness[piece])
    sliver &= p["area_px2"] < _SMALLER * p["area_px2"][piece]
    sliver &= p["area_px2"] < _COMPACT * p["hull_area_px2"]
    sliver &= p["flags"] & bits("rim_only") == 0
    if len(np.unique(piece[sliver])) < _FEW:
        return np.zeros(len(p), bool)
    x, y = p["centre_x_px"].astype(float), p["centre_y_px"].astype(float)
    way = np.exp(1j * np.arctan2(y - y[piece], x - x[piece]))
    mean = way[sliver].mean()
    if abs(mean) < _ONE_WAY:
        return np.zeros(len(p), bool)
    return np.asarray(sliver & ((way * np.conj(mean / abs(mean))).real > _BESIDE_WAY))
