"""Sub-pixel positions of every graduation: each is compared with the mean shape of them all."""

from dataclasses import dataclass

import numpy as np

_ROWS_MOST = 240
_GROUPS_MOST = 24


@dataclass(frozen=True)
class Axis:
    """A ruling in picture coordinates: graduation ``i`` lies on ``normal . P = first_px + i * spacing_px``.

    Attributes
    ----------
    normal : (2,) ndarray
        Unit vector across the graduations; the direction along them is ``(-normal[1], normal[0])``.
    first_px, spacing_px : float
    low_px, high_px : float
        Stretch along the graduations that all of them share.
    offsets_px : (K,) ndarray
        How far each graduation of `index` lies from its even place, as first seen.
    index : (K,) ndarray of int
    """

    normal: np.ndarray
    first_px: float
    spacing_px: float
    low_px: float
    high_px: float
    index: np.ndarray
    offsets_px: np.ndarray

    @property
    def along(self) -> np.ndarray:
        """Unit vector along the graduations, (2,)."""
        return np.array([-self.normal[1], self.normal[0]])

    @property
    def places_px(self) -> np.ndarray:
        """Place of each graduation along the normal, (K,)."""
        return self.first_px + self.index * self.spacing_px + self.offsets_px


@dataclass(frozen=True)
class Located:
    """Places of graduations in K rows by G groups along them.

    Attributes
    ----------
    points_px : (K, G, 2) ndarray
        Points on the graduations in the picture.
    strength : (K, G) ndarray
        Depth of each relative to the mean shape; nan outside the picture.
    noise : (K, G) ndarray
        What the mean shape leaves unexplained, on the same footing as `strength`.
    width_px : float
        Width of the mean shape at half its depth.
    between : (K, G) ndarray
        Brightness half-way to the next graduation, less this one's own surroundings, in units of the depth.
    """

    points_px: np.ndarray
    strength: np.ndarray
    noise: np.ndarray
    width_px: float


def locate(plane: np.ndarray, axis: Axis) -> Located:
    """Find each graduation's place in groups of rows along it.

    Parameters
    ----------
    plane : (M, N) ndarray of float32
        Brightness at full size.
    axis : Axis
        Good to about a quarter of the spacing.

    Returns
    -------
    Located
    """
    rows = np.linspace(axis.low_px, axis.high_px, _row_count(axis))
    groups = np.array_split(np.arange(len(rows)), min(_GROUPS_MOST, max(2, len(rows) // 8)))
    half = min(0.47 * axis.spacing_px, 40.0)
    steps = np.linspace(-half, half, 2 * int(np.ceil(half * 1.5)) + 1)
    places = np.repeat(axis.places_px[:, None], len(groups), axis=1)
    middle = np.array([rows[g].mean() for g in groups])
    for _ in range(3):
        windows = _windows(plane, axis, places, rows, groups, steps)
        shape = _mean_shape(windows)
        shift, strength, noise = _shifts(windows, shape, steps)
        places = places + np.nan_to_num(np.clip(shift, -0.2 * axis.spacing_px, 0.2 * axis.spacing_px))
    centre, width = _centre_and_width(shape, steps)
    points = (places + centre)[..., None] * axis.normal + middle[None, :, None] * axis.along
    return Located(points, strength, noise, width)


def _row_count(axis: Axis) -> int:
    return int(np.clip(axis.high_px - axis.low_px, 6, _ROWS_MOST))


def sampled(plane: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Sample a plane at places counted from the corner of the first pixel; nan outside.

    A cubic spline without prefilter: a slight, even blur that moves no line.
    """
    from scipy.ndimage import map_coordinates

    values = map_coordinates(plane, [y - 0.5, x - 0.5], order=3, prefilter=False, mode="nearest")
    outside = (x < 0.5) | (y < 0.5) | (x > plane.shape[1] - 0.5) | (y > plane.shape[0] - 0.5)
    values[outside] = np.nan
    return values


def _windows(
    plane: np.ndarray,
    axis: Axis,
    places: np.ndarray,
    rows: np.ndarray,
    groups: list[np.ndarray],
    steps: np.ndarray,
) -> np.ndarray:
    """Return mean profiles across each graduation and group, (K, G, W)."""
    found = []
    for g, members in enumerate(groups):
        across = places[:, g][:, None] + steps
        t = np.broadcast_to(across[:, None, :], (len(places), len(members), len(steps)))
        v = rows[members][None, :, None]
        x = t * axis.normal[0] + v * axis.along[0]
        y = t * axis.normal[1] + v * axis.along[1]
        found.append(sampled(plane, x, y).mean(axis=1))
    return np.stack(found, axis=1)


def _mean_shape(windows: np.ndarray) -> np.ndarray:
    """Return the median profile, (W,), with its ends brought to zero and its depth to one."""
    base = (windows[..., :2].mean(-1) + windows[..., -2:].mean(-1)) / 2
    usable = windows[np.isfinite(windows).all(-1)]
    if not len(usable):
        return np.zeros(windows.shape[-1])
    shape = np.median(usable - base[np.isfinite(windows).all(-1)][:, None], axis=0)
    ends = (shape[:2].mean() + shape[-2:].mean()) / 2
    shape = shape - ends
    depth = shape[np.argmax(np.abs(shape))]
    return shape / depth if depth else shape


def _shifts(windows: np.ndarray, shape: np.ndarray, steps: np.ndarray) -> tuple[np.ndarray, ...]:
    """Fit each profile by a level, a slope, the shape and its derivative: the last gives the shift."""
    derivative = np.gradient(shape, steps)
    design = np.column_stack([np.ones_like(steps), steps, shape, derivative])
    values = np.where(np.isfinite(windows), windows, 0.0)
    parts = values @ np.linalg.pinv(design).T
    rest = values - parts @ design.T
    strength, lean = parts[..., 2], parts[..., 3]
    with np.errstate(divide="ignore", invalid="ignore"):
        shift = -lean / strength
    noise = np.sqrt((rest**2).mean(-1))
    outside = ~np.isfinite(windows).all(-1)
    return tuple(np.where(outside, np.nan, v) for v in (shift, strength, noise))


def _centre_and_width(shape: np.ndarray, steps: np.ndarray) -> tuple[float, float]:
    """Return the middle and the width between the half-depth points of the mean shape."""
    top = int(np.argmax(shape))
    low = top
    while low > 0 and shape[low - 1] > 0.5:
        low -= 1
    high = top
    while high < len(shape) - 1 and shape[high + 1] > 0.5:
        high += 1
    left = steps[low] if low == 0 else np.interp(0.5, shape[low - 1 : low + 1], steps[low - 1 : low + 1])
    right = steps[high]
    if high < len(shape) - 1:
        right = np.interp(0.5, shape[high : high + 2][::-1], steps[high : high + 2][::-1])
    return float((left + right) / 2), float(right - left)
