"""Where the edge of a piece lies: half way between the oil and the piece's own colour beside the edge.

The half level follows the piece: its plateau just inside the edge against the oil just outside. Blur moves
the half level of a small round piece inwards and lowers its contrast; both are undone with the closed form
for a disc blurred by a Gaussian.
"""

from collections.abc import Callable

import cv2
import numpy as np
from scipy.special import i0e, ndtr

from measure.field.outline import area, trace
from measure.field.rims import dilated, disc, fill_holes, hull_mask
from measure.field.tone import decoded, encoded

_SOBEL_SIGMA2 = (
    0.45  # blur the gradient operator itself adds, px^2 (fitted to drawn edges, sigma 0.8 to 4 px)
)

SMOOTHING_SIGMA_PX = 0.8  # smoothing of the field edges are placed on
_SURE_SIGMA2 = 0.1  # blur up to this cannot be told from pixel steps, px^2
_CALM_SIGMA_PX = 1.0  # further smoothing of the field a plateau is read from
_PLACES = np.linspace(-3.0, 3.0, 31) * SMOOTHING_SIGMA_PX  # across an edge
_PLACE_WEIGHTS = np.exp(-0.5 * (_PLACES / SMOOTHING_SIGMA_PX) ** 2)
_CONVEX = 0.86  # a see-through piece at least this solid is taken as convex


def blurred_disc_level(radius_px: float, sigma_px: float) -> float:
    """Level at the true edge of a blurred disc, as a share of the plateau read from it.

    Parameters
    ----------
    radius_px, sigma_px : float
        Radius of the disc and standard deviation of the Gaussian blur.

    Returns
    -------
    level : float
        0.5 for a straight edge, less for a small disc: (1 - exp(-z) I0(z)) / 2, z = (R/sigma)^2, over the
        height of the smoothed disc's middle.
    """
    z = (radius_px / max(sigma_px, 1e-3)) ** 2
    peak = 1.0 - np.exp(-(radius_px**2) / (2.0 * (sigma_px**2 + _CALM_SIGMA_PX**2)))
    return float(0.5 * (1.0 - i0e(z)) / max(peak, 0.1))


def slope(field: np.ndarray) -> np.ndarray:
    """Gradient magnitude of a field, per px."""
    gx = cv2.Sobel(field, cv2.CV_32F, 1, 0, scale=1 / 8, borderType=cv2.BORDER_REPLICATE)
    gy = cv2.Sobel(field, cv2.CV_32F, 0, 1, scale=1 / 8, borderType=cv2.BORDER_REPLICATE)
    # not the library's magnitude, whose last digit depends on where the array lies in memory
    return np.sqrt(gx * gx + gy * gy)


def local_plateau(field: np.ndarray, reach_px: int) -> np.ndarray:
    """Highest value of a lightly smoothed field within reach."""
    calm = cv2.GaussianBlur(field, (0, 0), _CALM_SIGMA_PX)
    size = 2 * reach_px + 1
    return cv2.dilate(calm, np.ones((size, size), np.uint8))


def own_direction(delta: np.ndarray, inside: np.ndarray) -> np.ndarray | None:
    """Unit colour direction of a piece against the oil, or None when it has no single one."""
    values = delta[inside]
    mean = values.mean(axis=0)
    length = float(np.linalg.norm(mean))
    typical = float(np.linalg.norm(values, axis=1).mean())
    if length < 0.75 * typical or length <= 0:
        return None
    return mean / length


def place_edge(
    delta: np.ndarray,
    piece: np.ndarray,
    others: np.ndarray,
    oil_lab: np.ndarray | float = 80.0,
    light_weight: float = 1.0,
) -> np.ndarray | None:
    """Sub-pixel outline of one body.

    Parameters
    ----------
    delta : (M, N, 3) ndarray of float32
        Lightly smoothed difference from the oil, in a crop.
    piece : (M, N) ndarray of uint8
        The piece as found, 1 inside.
    others : (M, N) ndarray of bool
        Pixels that belong to other pieces.
    oil_lab : (3,) ndarray or float
        CIELAB colour of the oil there, or its L alone.
    light_weight : float
        1 where the picture was blurred in linear light, 0 where in its stored values.

    Returns
    -------
    outline : (P, 2) ndarray of float32 or None
        In crop coordinates; None when nothing is left.
    """
    field = _scalar(delta, piece)
    reach, sigma = _reach(field, piece, piece > 0)
    inner = np.where(piece > 0, field, 0.0).astype(np.float32)
    share = field / np.maximum(local_plateau(inner, reach), 1e-3)
    free = (cv2.dilate(piece, disc(2.0)) > 0) & ~others
    # the edge lies in the flank; a pale streak deeper inside does not open the piece
    core = cv2.distanceTransform(_framed(piece), cv2.DIST_L2, 5)[1:-1, 1:-1] > 2.563 * sigma + 1.0
    half = light_half(delta[piece > 0], oil_lab, sigma, light_weight)
    level, outline = half, None
    for _ in range(3):
        mask = _one_piece(((share >= level) & free) | core, piece)
        if mask is None:
            return outline
        outline = trace(mask, share - level)
        radius = np.sqrt(max(area(outline), 1.0) / np.pi)
        level = 2.0 * half * blurred_disc_level(radius, sigma)
    return outline


def _framed(mask: np.ndarray) -> np.ndarray:
    """Repeat the border once, so that a piece cut off there does not look eroded."""
    return cv2.copyMakeBorder(mask, 1, 1, 1, 1, cv2.BORDER_REPLICATE)


def place_rim_edge(
    delta: np.ndarray,
    piece: np.ndarray,
    others: np.ndarray,
    oil_lab: np.ndarray | float = 80.0,
    light_weight: float = 1.0,
) -> np.ndarray | None:
    """Sub-pixel outline of one see-through piece, along the outer flank of its rim.

    Gaps in the rim are bridged straight. Parameters and return value as for `place_edge`.
    """
    field = colour_length(delta)
    inner = np.where(piece > 0, field, 0.0).astype(np.float32)
    band = (piece > 0) & (cv2.erode(piece, disc(3.0), borderValue=1) == 0)
    height = float(np.percentile(inner[band], 85)) if band.any() else float(inner.max())
    rim = (inner >= 0.5 * height).astype(np.uint8)
    reach, sigma = _reach(field, piece, rim > 0)
    # where the rim is missing the plateau must not sink to that of the oil's own noise
    plateau = np.maximum(local_plateau(inner, min(reach, 3)), max(0.25 * height, 1e-3))
    share = field / plateau
    thickness = 2.0 * float(np.percentile(cv2.distanceTransform(rim, cv2.DIST_L2, 3)[rim > 0], 80))
    half = light_half(delta[(rim > 0) & band], oil_lab, sigma, light_weight) if (rim[band] > 0).any() else 0.5
    level = 2.0 * half * blurred_rim_level(thickness, sigma)
    free = (cv2.dilate(piece, disc(2.0)) > 0) & ~others
    rim = ((share >= level) & free).astype(np.uint8)
    # the piece as found is fat by the low level; it only speaks where no rim is near
    depth = cv2.distanceTransform(_framed(piece), cv2.DIST_L2, 5)[1:-1, 1:-1]
    gap = (depth > 1.4 * sigma) & (dilated(rim, 3.0) == 0)
    inside = _bridged((rim > 0) | gap | (depth > 3.0 * sigma + 2.0), piece) & ~others
    mask = _one_piece(inside, piece)
    return None if mask is None else trace(mask, share - level)


def blurred_rim_level(thickness_px: float, sigma_px: float) -> float:
    """Level at the true outer edge of a blurred rim, as a share of the plateau read from it.

    A rim hardly wider than the blur never reaches its full contrast: 0.5 for a wide rim, more for a thin one.
    """
    edge = ndtr(max(thickness_px, 0.5) / max(sigma_px, 1e-3)) - 0.5
    peak = 2.0 * ndtr(max(thickness_px, 0.5) / 2.0 / np.hypot(sigma_px, _CALM_SIGMA_PX)) - 1.0
    return float(min(0.85, edge / peak))


def light_half(delta: np.ndarray, oil_lab: float, sigma_px: float, light_weight: float = 1.0) -> float:
    """Share of the CIELAB step at the place where the picture is half way between oil and piece.

    Lens and sensor mix light, and CIELAB is not linear in light: on dark ground half of the light lies above
    half of the step, in bright field below it, and colour follows its own way. A picture blurred in its
    stored values has its half level near half of the step, but for very dark ends. The smoothing of this
    program mixes CIELAB evenly again, so the sharper the picture, the nearer the level is to a half.

    Parameters
    ----------
    delta : (K, 3) ndarray of float32
        Difference from the oil of the pixels of a piece.
    oil_lab : (3,) ndarray or float
        CIELAB colour of the oil, or its L alone.
    sigma_px : float
        Standard deviation of the whole blur, smoothing included.
    light_weight : float
        1 where the picture was blurred in linear light, 0 where in its stored values.

    Returns
    -------
    level : float
        0.5 without blur of the picture's own.
    """
    step = np.median(delta, axis=0).astype(np.float64)
    length = float(np.linalg.norm(step))
    own = np.sqrt(max(sigma_px**2 - SMOOTHING_SIGMA_PX**2 - _SURE_SIGMA2, 0.0))
    if length < 1.0 or own < 0.1:
        return 0.5
    oil = np.zeros(3)
    oil[: np.size(oil_lab)] = oil_lab
    ends = np.stack([oil, oil + step]).astype(np.float32)
    ends[:, 0] = np.clip(ends[:, 0], 0.0, 100.0)
    stored = cv2.cvtColor(ends[None], cv2.COLOR_Lab2RGB)[0].astype(np.float64)
    by_light = _half_between(decoded(stored), own, encoded)
    by_stored = _half_between(stored, own, np.asarray)
    return light_weight * by_light + (1.0 - light_weight) * by_stored


def _half_between(
    ends: np.ndarray, own_sigma_px: float, storing: Callable[[np.ndarray], np.ndarray]
) -> float:
    """Share of the CIELAB step half way between two colours that were blurred evenly."""
    mixed = ends[0] + (ends[1] - ends[0]) * ndtr(_PLACES / own_sigma_px)[:, None]
    line = np.concatenate([ends[:1], mixed, ends[1:]])
    lab = cv2.cvtColor(storing(line).astype(np.float32)[None], cv2.COLOR_RGB2Lab)[0].astype(np.float64)
    step = lab[-1] - lab[0]
    square = float(step @ step)
    if square < 1.0:
        return 0.5
    share = (lab[1:-1] - lab[0]) @ step / square
    return float(np.clip(np.average(share, weights=_PLACE_WEIGHTS), 0.25, 0.75))


def _scalar(delta: np.ndarray, piece: np.ndarray) -> np.ndarray:
    inside = piece > 0
    direction = own_direction(delta, inside)
    if direction is None:
        return colour_length(delta)
    return delta @ direction.astype(np.float32)


def colour_length(delta: np.ndarray) -> np.ndarray:
    """Length of the colour difference of each pixel, CIELAB units."""
    return np.sqrt(np.einsum("ijk,ijk->ij", delta, delta))


def _bridged(inside: np.ndarray, piece: np.ndarray) -> np.ndarray:
    """Close the notches a broken rim leaves in a convex piece."""
    mask = cv2.morphologyEx(inside.astype(np.uint8), cv2.MORPH_OPEN, disc(1.0))
    hull = hull_mask(mask)
    if mask.sum() > _CONVEX * hull.sum():
        return hull > 0
    radius = max(2.0, 0.3 * np.sqrt(piece.sum() / np.pi))
    m = int(np.ceil(radius)) + 1
    padded = cv2.copyMakeBorder(mask, m, m, m, m, cv2.BORDER_CONSTANT, value=0)
    return cv2.morphologyEx(padded, cv2.MORPH_CLOSE, disc(radius))[m:-m, m:-m] > 0


def _reach(field: np.ndarray, piece: np.ndarray, typical: np.ndarray) -> tuple[int, float]:
    """How far inside the plateau is looked for, px, and the sigma of the edge's blur.

    ``typical`` are the pixels whose height is that of the piece.
    """
    height = float(np.percentile(field[typical], 80)) if typical.any() else 1.0
    square = np.ones((3, 3), np.uint8)
    border = (piece & ~cv2.erode(piece, square, borderValue=1) & 1) > 0
    steep = float(np.median(cv2.dilate(slope(field), square)[border])) if border.any() else height
    sigma2 = (0.3989 * max(height, 1e-3) / max(steep, 1e-3)) ** 2 - _SOBEL_SIGMA2
    sigma = float(np.sqrt(min(max(sigma2, 0.3), 60.0)))
    radius = float(cv2.distanceTransform(piece, cv2.DIST_L2, 3).max())
    return int(np.clip(round(2.563 * sigma), 2, max(2.0, radius))), sigma


def _one_piece(inside: np.ndarray, piece: np.ndarray) -> np.ndarray | None:
    """The connected part of ``inside`` that holds most of the piece, holes filled."""
    count, labels = cv2.connectedComponents(inside.astype(np.uint8), connectivity=8)
    if count <= 1:
        return None
    overlap = np.bincount(labels[piece > 0], minlength=count)
    overlap[0] = 0
    best = int(overlap.argmax())
    if overlap[best] == 0:
        return None
    return fill_holes((labels == best).astype(np.uint8))
