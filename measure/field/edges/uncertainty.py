"""How well the size of a single piece is known."""

import numpy as np

PLACE_SHARE = 0.06  # of the edge width: how far a half-contrast edge may lie from the true one
CORRELATION_PX = 2.0  # noise of neighbouring edge points is shared over this length
TYPICAL_WIDTH_PX = 2.0  # taken where the width cannot be told
CUT_SHARE = 0.02  # of the diameter, for a shared edge that was estimated
RIM_SHARE = 0.035  # of the diameter, for a see-through piece that shows only its rim
HIDDEN_SHARE = 0.05  # of the diameter, for a hidden part that was estimated


def size_uncertainty_px(
    diameter_px: np.ndarray,
    perimeter_px: np.ndarray,
    edge_width_px: np.ndarray,
    contrast: np.ndarray,
    *,
    cut: np.ndarray | bool = False,
    hidden: np.ndarray | bool = False,
    rim_only: np.ndarray | bool = False,
) -> np.ndarray:
    """Return the standard uncertainty of the area-equivalent diameter, without the scale's.

    Four parts, added in quadrature as in JCGM 100:2008, 5.1:

    - placing: half-contrast lies off the true edge by up to a small share of the edge width w, all round
      alike, 2 x 0.06 w on the diameter;
    - noise: an edge point is uncertain by w / (0.8 C), C the step in units of the noise, and the outline
      averages one such point for every 2 px of its length;
    - digitisation: 0.28 / sqrt(d) px for a hard edge (standard deviation of digitised discs by the
      pixel-centre rule is 0.09 px at 10 px, 0.04 at 50), fading as the edge spreads over pixels;
    - sharing: 2 % of the diameter for an edge cut between touching pieces, 5 % for a hidden part, and
      3.5 % for a see-through piece, whose outer edge is a step to dark and back.

    The shares are such that on drawn fields of known truth about two thirds of the errors lie within one
    standard uncertainty.

    Parameters
    ----------
    diameter_px, perimeter_px, edge_width_px, contrast : (K,) ndarray
        ``contrast`` is the edge step in units of the oil's noise; ``edge_width_px`` may be nan.
    cut, hidden, rim_only : (K,) ndarray of bool, optional

    Returns
    -------
    (K,) ndarray of float
    """
    width = np.where(np.isfinite(edge_width_px), edge_width_px, TYPICAL_WIDTH_PX)
    width = np.clip(width, 0.8, None)
    per_radius = perimeter_px / np.maximum(np.pi * diameter_px, 1e-9)  # 1 for a disc
    place = 2.0 * PLACE_SHARE * width * per_radius
    points = np.maximum(perimeter_px / CORRELATION_PX, 1.0)
    noise = 2.0 * width / (0.8 * np.maximum(contrast, 1.0)) / np.sqrt(points) * per_radius
    hard = np.clip(1.0 / width**2, 0.1, 1.0)
    digits = 0.28 / np.sqrt(np.maximum(diameter_px, 1.0)) * hard
    shares = ((CUT_SHARE, cut), (HIDDEN_SHARE, hidden), (RIM_SHARE, rim_only))
    shared = diameter_px * np.sqrt(
        sum((share * np.asarray(there, dtype=float)) ** 2 for share, there in shares)
    )
    return np.sqrt(place**2 + noise**2 + digits**2 + shared**2)
