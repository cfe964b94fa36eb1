"""Frame correction: a large piece is cut by the frame more often, so each whole one stands for more."""

import numpy as np

from measure.errors import InvalidInput
from measure.model import Frame

# a piece that fits in less than this share of positions says almost nothing about how many there are
SMALLEST_PROBABILITY = 0.05
# a weight above this is worth a warning: the piece spans more than about a fifth of an even-sided frame
LARGE_WEIGHT = 1.5
_GRID = 12


def inclusion_probability(
    frame: Frame, feret_h_px: np.ndarray, feret_v_px: np.ndarray, *, margin_px: float = 0.0
) -> np.ndarray:
    """Return the share of positions at which a piece would lie whole in the frame, clear of the zones.

    Parameters
    ----------
    frame : Frame
        Picture size and excluded zones, px.
    feret_h_px, feret_v_px : (K,) ndarray of float
        Horizontal and vertical Feret diameters, px.
    margin_px : float
        Distance to the frame within which a piece already counts as meeting it.

    Returns
    -------
    (K,) ndarray of float
        P = (W - F_h)(H - F_v) / (W H) without zones, 0 where the piece does not fit. With zones, the area of
        allowed centre positions over the area outside the zones; a piece is then taken as the ellipse of
        its two Feret diameters.

    References
    ----------
    Miles, J. Microscopy 113 (1978) 257; Lantuejoul, Miles-Lantuejoul correction.

    Examples
    --------
    >>> inclusion_probability(Frame(1000, 800), np.array([50.0]), np.array([50.0])).tolist()
    [0.890625]
    """
    width, height = float(frame.width_px), float(frame.height_px)
    if width <= 0 or height <= 0:
        raise InvalidInput(f"A frame of {width:g} x {height:g} px has no area; give the picture's size.")
    feret_h, feret_v = np.asarray(feret_h_px, dtype=float), np.asarray(feret_v_px, dtype=float)
    inner_w, inner_h = width - 2 * margin_px, height - 2 * margin_px
    box = np.clip(inner_w - feret_h, 0.0, None) * np.clip(inner_h - feret_v, 0.0, None) / (inner_w * inner_h)
    if not frame.zones or len(box) == 0:
        return box
    return box * _clear_of_zones(frame, feret_h, feret_v)


def frame_weight(
    frame: Frame, feret_h_px: np.ndarray, feret_v_px: np.ndarray, *, margin_px: float = 0.0
) -> np.ndarray:
    """Return the weight 1/P of each whole piece, at most 1 / `SMALLEST_PROBABILITY`.

    Parameters are those of `inclusion_probability`.

    Returns
    -------
    (K,) ndarray of float
        At least 1. The cap keeps one very large piece from standing for any number of others; see
        `frame_warning`.

    Examples
    --------
    >>> frame_weight(Frame(1000, 800), np.array([200.0]), np.array([200.0])).round(6).tolist()
    [1.666667]
    """
    probability = inclusion_probability(frame, feret_h_px, feret_v_px, margin_px=margin_px)
    return 1.0 / np.clip(probability, SMALLEST_PROBABILITY, 1.0)


def frame_warning(weight: np.ndarray) -> str | None:
    """Return a sentence when the largest pieces are too big for the frame, else None."""
    weight = np.asarray(weight, dtype=float)
    if weight.size == 0 or weight.max() <= LARGE_WEIGHT:
        return None
    number = int((weight > LARGE_WEIGHT).sum())
    what = "1 piece is" if number == 1 else f"{number} pieces are"
    return (
        f"{what} so large for the frame that each stands for up to {weight.max():.1f} pieces; "
        "a lower magnification would make the coarse end surer."
    )


def _clear_of_zones(frame: Frame, feret_h: np.ndarray, feret_v: np.ndarray) -> np.ndarray:
    """Return, for each piece, the ratio of the probability with zones to the one without."""
    axis_h, axis_v = _axis(feret_h), _axis(feret_v)
    table = np.array([[_ratio(frame, h, v) for v in axis_v] for h in axis_h])
    return _bilinear(axis_h, axis_v, table, feret_h, feret_v)


def _axis(values: np.ndarray) -> np.ndarray:
    # the ratio varies smoothly with the Feret diameters, so a coarse table is enough (error below 0.1 %)
    low, high = float(values.min()), float(values.max())
    if high - low < 1e-9:
        return np.array([low, low + 1.0])
    return np.linspace(low, high, _GRID)


def _ratio(frame: Frame, feret_h: float, feret_v: float) -> float:
    from shapely import affinity, box, union_all
    from shapely.geometry import Polygon

    whole = box(0, 0, frame.width_px, frame.height_px)
    zones = union_all([Polygon(z).buffer(0) for z in frame.zones if len(z) >= 3]).intersection(whole)
    free = whole.area - zones.area
    inner = box(feret_h / 2, feret_v / 2, frame.width_px - feret_h / 2, frame.height_px - feret_v / 2)
    if free <= 0 or feret_h >= frame.width_px or feret_v >= frame.height_px:
        return 0.0
    # an ellipse swept round the zone is a circle swept round it where both axes are scaled to one
    scale_h, scale_v = max(feret_h, 1e-6), max(feret_v, 1e-6)
    scaled = affinity.scale(zones, 1 / scale_h, 1 / scale_v, origin=(0, 0)).buffer(0.5)
    swept = affinity.scale(scaled, scale_h, scale_v, origin=(0, 0))
    allowed = inner.area - inner.intersection(swept).area
    return (allowed / free) / (inner.area / whole.area)


def _bilinear(
    axis_h: np.ndarray, axis_v: np.ndarray, table: np.ndarray, feret_h: np.ndarray, feret_v: np.ndarray
) -> np.ndarray:
    i = np.clip(np.searchsorted(axis_h, feret_h) - 1, 0, len(axis_h) - 2)
    j = np.clip(np.searchsorted(axis_v, feret_v) - 1, 0, len(axis_v) - 2)
    s = (feret_h - axis_h[i]) / (axis_h[i + 1] - axis_h[i])
    t = (feret_v - axis_v[j]) / (axis_v[j + 1] - axis_v[j])
    low = table[i, j] * (1 - t) + table[i, j + 1] * t
    high = table[i + 1, j] * (1 - t) + table[i + 1, j + 1] * t
    return low * (1 - s) + high * s
