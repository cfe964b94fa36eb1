"""The colour of the oil everywhere in the picture, fitted to the oil itself.

Pieces are outliers of a smooth surface. The fit starts wide from several likely oil colours and narrows
(graduated robust least squares), so it holds when pieces cover half of the field, and it is of low order,
so a piece of a third of the frame cannot pull it up.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from measure.field.basics.quick import length, median

_SAMPLES = 15_000  # pixels the surface is fitted to; more changes nothing that can be seen
# CIELAB units: wide enough that a strong vignette still counts as oil at the start; narrow enough that
# pieces of one colour over half of the field do not pull the fit to themselves
_START_SCALES = (18.0, 6.0)
_DEGREE = 3  # of the surface
_STEEP_DEGREES, _STEEP_SCALE = (4, 5), 2.5  # of one that follows light that falls off steeply to the frame
_STEEP_TURNS, _STEEP_DAMPING = 6, 1e-4
_PROBE = 6  # one sample in so many shows whether it is worth the work
_GAIN, _OUTER, _OUTSIDE = 0.004, 0.6, 0.75  # samples it must explain more, and share of them near the frame
_LEAST_SCALE = 1.2  # CIELAB units; below this, 8-bit steps and compression rule


@dataclass(frozen=True)
class Surface:
    """A polynomial oil surface with the weight each sample had in the end.

    Attributes
    ----------
    coefficients : (Q, 3) ndarray of float
    degree : int
    scale : float
        Robust spread of the oil about the surface, CIELAB units.
    share : float
        Share of the samples that agree with the surface, 0..1.
    """

    coefficients: np.ndarray
    degree: int
    scale: float
    share: float


def _basis(x: np.ndarray, y: np.ndarray, degree: int) -> np.ndarray:
    """Products of Legendre polynomials up to a total degree, for x and y in -1..1."""
    px = np.polynomial.legendre.legvander(x, degree)
    py = np.polynomial.legendre.legvander(y, degree)
    return np.stack([px[..., i] * py[..., j] for i in range(degree + 1) for j in range(degree + 1 - i)], -1)


def _solve(basis: np.ndarray, values: np.ndarray, weight: np.ndarray, damping: float) -> np.ndarray:
    weighted = basis * weight[:, None]
    normal = weighted.T @ basis
    # damp all but the constant: where no oil is seen the surface stays flat instead of running away
    ridge = np.full(len(normal), damping * weight.sum() + 1e-9)
    ridge[0] = 1e-9
    return np.linalg.solve(normal + np.diag(ridge), weighted.T @ values)


def _tukey(distance: np.ndarray, scale: float) -> np.ndarray:
    weight = 1.0 - (distance / (3.0 * scale)) ** 2
    return np.where(weight > 0, weight, 0.0) ** 2


def _narrow(bases: list[np.ndarray], values: np.ndarray, start: np.ndarray, scale: float) -> Surface:
    """Fit a surface from one starting colour, narrowing the tolerance step by step.

    ``bases`` are those of rising degree.
    """
    distance = length(values - start)
    coefficients = np.zeros((1, values.shape[1]))
    for step in range(14):
        basis = bases[min(len(bases) - 1, step // 2)]
        weight = _tukey(distance, scale)
        if weight.sum() < 20:
            break
        coefficients = _solve(basis, values, weight, 1e-4)
        distance = length(values - basis @ coefficients)
        near = distance[distance < 3.0 * scale]
        spread = 0.85 * median(near) if near.size else scale
        scale = max(_LEAST_SCALE, min(scale * 0.75, max(1.5 * spread, 0.55 * scale)))
    share = float(_tukey(distance, max(scale, 2.0)).mean())
    order = round((np.sqrt(8 * len(coefficients) + 1) - 3) / 2)
    return Surface(coefficients, order, scale, share)


def _starts(values: np.ndarray) -> list[np.ndarray]:
    """The fullest places of the colour space: likely colours of the oil."""
    low = values.min(axis=0)
    bins = np.clip(((values - low) / 5.0).astype(int), 0, 47)
    at = np.ravel_multi_index(tuple(bins.T), (48, 48, 48))
    counts = np.bincount(at, minlength=48**3).astype(np.float32).reshape(48, 48, 48)
    for axis in range(3):
        counts = counts + 0.5 * (np.roll(counts, 1, axis) + np.roll(counts, -1, axis))
    starts = []
    for _ in range(4):
        if counts.max() < 0.01 * len(values):
            break
        top = np.array(np.unravel_index(int(counts.argmax()), counts.shape))
        starts.append(low + (top + 0.5) * 5.0)
        counts[tuple(slice(max(0, t - 2), t + 3) for t in top)] = 0.0
    return starts


def sample_places(shape: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
    """Rows and columns of a picture at whose crossings `fit_surface` looks."""
    stride = max(1, int(np.sqrt(shape[0] * shape[1] / _SAMPLES)))
    return np.arange(stride // 2, shape[0], stride), np.arange(stride // 2, shape[1], stride)


def fit_surface(samples: np.ndarray, shape: tuple[int, int], usable: np.ndarray | None = None) -> Surface:
    """Fit the oil surface of a picture.

    Parameters
    ----------
    samples : (m, n, 3) ndarray of float32
        CIELAB of the picture at its `sample_places`.
    shape : (int, int)
        Rows and columns of the picture.
    usable : (m, n) ndarray of bool, optional
        Samples outside the excluded zones.

    Returns
    -------
    surface : Surface
        The surface most pixels agree with.
    """
    rows, cols = shape
    yy, xx = np.meshgrid(*sample_places(shape), indexing="ij")
    keep = np.ones(yy.shape, bool) if usable is None else usable.copy()
    if keep.sum() < 50:
        keep[:] = True
    values = samples[keep].astype(np.float64)
    x, y = _unit(xx[keep], cols), _unit(yy[keep], rows)
    bases = [_basis(x, y, degree) for degree in range(_DEGREE + 1)]
    fits = [_narrow(bases, values, start, scale) for start in _starts(values) for scale in _START_SCALES]
    grid = np.full(keep.shape, -1)
    grid[keep] = np.arange(len(values))
    best = max(fits, key=lambda fit: fit.share * (0.35 + 0.65 * _in_one(fit, bases, values, grid)))
    return _steeper(best, x, y, bases, values) or best


def _steeper(
    fit: Surface, x: np.ndarray, y: np.ndarray, bases: list[np.ndarray], values: np.ndarray
) -> Surface | None:
    """A surface of higher order, where light falls off so steeply that it explains more of the outer field.

    Elsewhere it would only follow large pieces.
    """
    before = length(values - bases[fit.degree] @ fit.coefficients)
    if _rising(fit, before[::_PROBE], x[::_PROBE], y[::_PROBE], values[::_PROBE], _STEEP_DEGREES[:1]) is None:
        return None
    return _rising(fit, before, x, y, values, _STEEP_DEGREES)


def _rising(
    fit: Surface,
    before: np.ndarray,
    x: np.ndarray,
    y: np.ndarray,
    values: np.ndarray,
    degrees: tuple[int, ...],
) -> Surface | None:
    """The surface of the last degree, if it explains enough samples more than one at these distances."""
    distance, coefficients, tolerance = before, fit.coefficients, max(_STEEP_SCALE, fit.scale)
    for degree in degrees:
        basis = _basis(x, y, degree)
        for _ in range(_STEEP_TURNS):
            weight = _tukey(distance, tolerance)
            if weight.sum() < len(basis[0]):
                return None
            coefficients = _solve(basis, values, weight, _STEEP_DAMPING)
            distance = length(values - basis @ coefficients)
    near = 3.0 * max(fit.scale, 2.0)
    won, lost = (distance < near) & (before >= near), (before < near) & (distance >= near)
    outer = np.maximum(np.abs(x), np.abs(y)) > _OUTER
    if won.sum() - 2 * lost.sum() <= _GAIN * len(values) or outer[won].mean() < _OUTSIDE:
        return None
    share = float(_tukey(distance, max(fit.scale, 2.0)).mean())
    return Surface(coefficients, degrees[-1], fit.scale, share)


def _in_one(fit: Surface, bases: list[np.ndarray], values: np.ndarray, grid: np.ndarray) -> float:
    """Share of the agreeing samples that hang together: the oil runs between the pieces, pieces lie apart."""
    distance = length(values - bases[fit.degree] @ fit.coefficients)
    agree = np.append(distance < 3.0 * max(fit.scale, 2.0), False)[grid].astype(np.uint8)
    _, _, stats, _ = cv2.connectedComponentsWithStats(agree, connectivity=4)
    areas = stats[1:, cv2.CC_STAT_AREA]
    return float(areas.max() / areas.sum()) if areas.size else 0.0


def _unit(position: np.ndarray, count: int) -> np.ndarray:
    return 2.0 * (position + 0.5) / count - 1.0


def evaluate(surface: Surface, shape: tuple[int, int]) -> np.ndarray:
    """Return the surface on a grid of the given shape that spans the picture, (M, N, 3) float32."""
    rows, cols = shape
    x, y = _unit(np.arange(cols), cols), _unit(np.arange(rows), rows)
    degree = surface.degree
    px = np.polynomial.legendre.legvander(x, degree)
    py = np.polynomial.legendre.legvander(y, degree)
    planes = np.zeros((3, rows, cols))  # channel by channel, for the library goes round for each colour
    pairs = [(i, j) for i in range(degree + 1) for j in range(degree + 1 - i)]
    for (i, j), c in zip(pairs, surface.coefficients, strict=True):
        form = py[:, j][:, None] * px[:, i][None, :]
        for plane, part in zip(planes, c, strict=True):
            plane += form * part
    return np.ascontiguousarray(np.moveaxis(planes.astype(np.float32), 0, -1))


def follow_oil(residual: np.ndarray, oil: np.ndarray, sigma: float) -> np.ndarray:
    """Smooth what the surface left over, looking at the oil only.

    Parameters
    ----------
    residual : (M, N, 3) ndarray of float32
        Coarse picture less the surface.
    oil : (M, N) ndarray of float32
        1 where a coarse pixel is surely oil, 0 where pieces are.
    sigma : float
        Reach in coarse pixels.

    Returns
    -------
    correction : (M, N, 3) ndarray of float32
        Fades to nothing where no oil is near.
    """
    weight = cv2.GaussianBlur(oil, (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
    total = cv2.GaussianBlur(residual * oil[..., None], (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
    return total / (weight + 0.05)[..., None]
