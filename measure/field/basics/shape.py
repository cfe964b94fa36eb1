"""Size and shape of outlines, from their sub-pixel polygons alone (definitions of ISO 9276-6:2008)."""

from collections.abc import Sequence

import numpy as np

from measure.field.basics.quick import turned

SMOOTHING_PX = 1.2  # arc length over which jaggedness is taken for noise, not for perimeter
HULL_SHARE = 0.4  # from digitised discs and squares, where it leaves both within about 1 %
COARSE_EDGE_PX = 1.6  # polygons with longer sides were drawn, not traced: their length is taken as it is
FEWEST_PX = 14.0  # shorter outlines hold too little to tell jaggedness from shape
TURN_DEG = 7.0  # a tenth of the outline turning less than this is straight (a circle turns 18)
_RUN_POINTS = 64
_BLOCK_POINTS = 250_000  # smoothed at a time


def shape_columns(outlines: Sequence[np.ndarray]) -> dict[str, np.ndarray]:
    """Measure outlines.

    Area is the shoelace area. Feret diameters are exact for the polygon: over all directions, by turning
    its convex hull. The perimeter is that of the outline after jaggedness finer than `SMOOTHING_PX` is
    smoothed away without shrinking, with corners given back from the hull, so that the traced outline of
    a digitised disc or square has the length of the disc or square.

    Parameters
    ----------
    outlines : sequence of (P, 2) ndarray
        Closed polygons, first point not repeated, x and y in px.

    Returns
    -------
    dict of str to (K,) ndarray of float64
        ``centre_x_px, centre_y_px, area_px2, perimeter_px, feret_max_px, feret_min_px, feret_h_px,
        feret_v_px, hull_area_px2, hull_perimeter_px, straightness``.

    References
    ----------
    ISO 9276-6:2008, Descriptive and quantitative representation of particle shape and morphology.

    Examples
    --------
    >>> import numpy as np
    >>> columns = shape_columns([np.array([[0, 0], [20, 0], [20, 10], [0, 10]], float)])
    >>> float(columns["area_px2"][0]), round(float(columns["feret_max_px"][0]), 4)
    (200.0, 22.3607)
    """
    points, start, count = concatenated(outlines)
    following = _following(start, count)
    columns = _moments(points, following, start)
    columns |= _hull_columns([points[s : s + n] for s, n in zip(start, count, strict=True)])
    step = points[following] - points
    length = np.hypot(step[:, 0], step[:, 1])
    raw = _sums(length, start)
    smooth = _smooth_lengths(points, length, raw, start, count)
    columns["perimeter_px"] = _perimeter(raw, smooth, columns)
    columns["straightness"] = _straightness(points, length, raw, start, count)
    return columns


def concatenated(outlines: Sequence[np.ndarray]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Put outlines after one another.

    Returns
    -------
    points : (sum of P, 2) ndarray of float64
    start, count : (K,) ndarray of int
        Where each outline begins, and how many points it has.
    """
    count = np.array([len(o) for o in outlines], dtype=np.int64)
    start = np.cumsum(count) - count
    points = np.concatenate(outlines).astype(np.float64) if len(outlines) else np.zeros((0, 2))
    return points, start, count


def resampled(outlines: Sequence[np.ndarray], points: int) -> np.ndarray:
    """Spread ``points`` points evenly along each outline.

    Returns
    -------
    (K, points, 2) ndarray of float64
    """
    flat, start, count = concatenated(outlines)
    following = _following(start, count)
    length = np.hypot(*(flat[following] - flat).T)
    return _spread(flat, length, _sums(length, start), start, count, np.arange(len(count)), points)


def _following(start: np.ndarray, count: np.ndarray) -> np.ndarray:
    """Index of the next point of the same outline."""
    following = np.arange(1, count.sum() + 1)
    following[start + count - 1] = start
    return following


def _sums(values: np.ndarray, start: np.ndarray) -> np.ndarray:
    return np.add.reduceat(values, start) if len(start) else np.zeros(0)


def _moments(points: np.ndarray, following: np.ndarray, start: np.ndarray) -> dict[str, np.ndarray]:
    """Shoelace area and centroid, each about the outline's own first point to keep all digits."""
    if not len(start):
        return {name: np.zeros(0) for name in ("area_px2", "centre_x_px", "centre_y_px")}
    outline = np.zeros(len(points), dtype=np.int64)
    outline[start[1:]] = 1
    origin = points[start]
    local = points - origin[np.cumsum(outline)]
    after = local[following]
    cross = local[:, 0] * after[:, 1] - local[:, 1] * after[:, 0]
    twice = _sums(cross, start)
    safe = np.where(twice == 0, 1.0, twice) * 3.0
    centre = [_sums((local[:, i] + after[:, i]) * cross, start) / safe for i in (0, 1)]
    return {
        "area_px2": np.abs(twice) / 2.0,
        "centre_x_px": origin[:, 0] + centre[0],
        "centre_y_px": origin[:, 1] + centre[1],
    }


def _hull_columns(outlines: list[np.ndarray]) -> dict[str, np.ndarray]:
    """Hull area and perimeter and all Feret diameters, in batches of hulls of like size."""
    import cv2

    names = ("feret_max_px", "feret_min_px", "feret_h_px", "feret_v_px", "hull_area_px2", "hull_perimeter_px")
    columns = {name: np.zeros(len(outlines)) for name in names}
    hulls = []
    for outline in outlines:
        origin = outline[0]  # float32 keeps its digits near zero
        index = cv2.convexHull((outline - origin).astype(np.float32), returnPoints=False)
        hulls.append((outline - origin)[index.ravel()])
    sizes = np.array([len(h) for h in hulls], dtype=np.int64)
    for low, high in ((1, 8), (8, 16), (16, 24), (24, 32), (32, 64), (64, 128), (128, 1 << 30)):
        chosen = np.flatnonzero((sizes >= low) & (sizes < high))
        widest = int(sizes[chosen].max(initial=1))
        block = max(1, 100_000 // widest**2)
        for i in range(0, len(chosen), block):
            part = chosen[i : i + block]
            padded = np.stack([_padded(hulls[k], widest) for k in part])
            for name, values in zip(names, _feret(padded), strict=True):
                columns[name][part] = values
    return columns


def _padded(hull: np.ndarray, length: int) -> np.ndarray:
    """Repeat the last point: sides of no length change nothing."""
    out = np.empty((length, 2))
    out[: len(hull)] = hull
    out[len(hull) :] = hull[-1]
    return out


def _feret(hulls: np.ndarray) -> tuple[np.ndarray, ...]:
    """Feret diameters, area and perimeter of (K, H, 2) convex polygons.

    The largest lies between two corners; the smallest stands on a side (rotating calipers).
    """
    x, y = hulls[..., 0], hulls[..., 1]
    side = np.roll(hulls, -1, axis=1) - hulls
    length = np.hypot(side[..., 0], side[..., 1])
    dx, dy = x[:, :, None] - x[:, None, :], y[:, :, None] - y[:, None, :]
    largest = np.sqrt((dx * dx + dy * dy).max(axis=(1, 2)))
    unit = side / np.where(length > 0, length, 1.0)[..., None]
    # distance of corner j from the line through side i, over all j
    away = unit[..., 0][:, :, None] * -dy - unit[..., 1][:, :, None] * -dx
    width = away.max(axis=2) - away.min(axis=2)
    smallest = np.where(length > 0, width, np.inf).min(axis=1)
    area = np.abs((x * np.roll(y, -1, axis=1) - y * np.roll(x, -1, axis=1)).sum(axis=1)) / 2.0
    smallest = np.where(np.isfinite(smallest), smallest, 0.0)
    return largest, smallest, np.ptp(x, axis=1), np.ptp(y, axis=1), area, length.sum(axis=1)


def _spread(
    points: np.ndarray,
    length: np.ndarray,
    total: np.ndarray,
    start: np.ndarray,
    count: np.ndarray,
    chosen: np.ndarray,
    wanted: int,
) -> np.ndarray:
    """Points evenly spread along the chosen outlines, (C, wanted, 2), by one interpolation for all."""
    if not len(chosen):
        return np.zeros((0, wanted, 2))
    # one running arc length for all outlines; each closes on its own first point, with a gap after it
    closed = count[chosen] + 1
    first = np.cumsum(closed) - closed
    rows = np.arange(closed.sum()) + np.repeat(start[chosen] - first, closed)
    rows[first + count[chosen]] = start[chosen]
    sides = turned(length[rows], 1)
    sides[first] = 1.0
    arc = np.cumsum(sides)
    sample = arc[first][:, None] + total[chosen][:, None] * (np.arange(wanted) / wanted)
    corners = points[rows]
    return np.stack([np.interp(sample, arc, corners[:, i]) for i in (0, 1)], axis=-1)


def _smooth_lengths(
    points: np.ndarray, length: np.ndarray, raw: np.ndarray, start: np.ndarray, count: np.ndarray
) -> np.ndarray:
    """Length of each outline after jaggedness is filtered out in arc length.

    The filter 1 - (1 - g)^2, g Gaussian, has no second moment, so it does not shrink curves.
    """
    smooth = raw.copy()
    traced = raw / np.maximum(count, 1) <= COARSE_EDGE_PX
    traced &= raw >= FEWEST_PX
    size = 1 << np.ceil(np.log2(np.clip(raw / 0.8, 32, 4096))).astype(int)
    blocks = []
    for wanted in np.unique(size[traced]):
        alike, most = np.flatnonzero(traced & (size == wanted)), max(1, _BLOCK_POINTS // int(wanted))
        blocks += [(wanted, alike[i : i + most]) for i in range(0, len(alike), most)]
    for wanted, chosen in blocks:
        curve = _spread(points, length, raw, start, count, chosen, int(wanted))
        spectrum = np.fft.fft(curve[..., 0] + 1j * curve[..., 1], axis=1)
        sigma = np.full(len(chosen), SMOOTHING_PX)
        turns = np.fft.fftfreq(int(wanted), 1.0 / wanted)
        gauss = np.exp(-0.5 * (2 * np.pi * turns * (sigma / raw[chosen])[:, None]) ** 2)
        curve = np.fft.ifft(spectrum * (1.0 - (1.0 - gauss) ** 2), axis=1)
        smooth[chosen] = np.abs(np.roll(curve, -1, axis=1) - curve).sum(axis=1)
    return smooth


def _perimeter(raw: np.ndarray, smooth: np.ndarray, columns: dict[str, np.ndarray]) -> np.ndarray:
    """Length without jaggedness, but not shorter than the hull or the circle of the same area.

    The hull gives corners back that smoothing rounded. It rests on the outermost teeth of a jagged
    outline, so it is first brought in by a share of the jaggedness taken off.
    """
    hull = columns["hull_perimeter_px"] - HULL_SHARE * (raw - smooth)
    circle = np.sqrt(4.0 * np.pi * columns["area_px2"])
    return np.maximum(np.minimum(np.maximum(smooth, hull), raw), circle)


def _straightness(
    points: np.ndarray, length: np.ndarray, raw: np.ndarray, start: np.ndarray, count: np.ndarray
) -> np.ndarray:
    """Share of the outline on runs a tenth of it long that turn by less than `TURN_DEG`."""
    curve = _spread(points, length, raw, start, count, np.arange(len(count)), _RUN_POINTS)
    z = curve[..., 0] + 1j * curve[..., 1]
    z = (np.roll(z, 1, axis=1) + 2.0 * z + np.roll(z, -1, axis=1)) / 4.0
    half = 3  # of 64 points: the run is six steps long
    ahead, behind = np.roll(z, -half, axis=1) - z, z - np.roll(z, half, axis=1)
    turn = np.abs(np.angle(ahead * np.conj(np.where(behind == 0, 1.0, behind))))
    straight = turn < np.radians(TURN_DEG)
    run = straight.copy()
    for shift in range(1, half + 1):
        run |= np.roll(straight, shift, axis=1) | np.roll(straight, -shift, axis=1)
    return run.mean(axis=1) if len(count) else np.zeros(0)
