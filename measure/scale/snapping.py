"""Lines of a ruling near a point or under a stroke, to a fraction of a pixel."""

import numpy as np

from measure.model import Picture
from measure.scale.flat import brightness_planes
from measure.scale.graduations import sampled

_CLEAR = 6.0  # a line must stand out of its surroundings by this many times the noise


def snap_to_line(picture: Picture, x_px: float, y_px: float, reach_px: float = 12.0) -> tuple[float, float]:
    """Move a point to the middle of the nearest line, to a fraction of a pixel.

    Parameters
    ----------
    picture : Picture
    x_px, y_px : float
        The corner of the first pixel is 0, 0.
    reach_px : float
        How far the line may be.

    Returns
    -------
    tuple of float
        The point on the line; the point given where no line is clear.
    """
    x0, y0, plane = _patch(picture, x_px, y_px, 2 * reach_px + 4)
    if min(plane.shape) < 8:
        return float(x_px), float(y_px)
    here = np.array([x_px - x0, y_px - y0])
    normal = _normal(plane)
    along = np.array([-normal[1], normal[0]])
    steps = np.arange(-reach_px - 3, reach_px + 3.1, 0.5)
    rows = np.linspace(-reach_px, reach_px, int(2 * reach_px) + 1)
    x = here[0] + steps[:, None] * normal[0] + rows * along[0]
    y = here[1] + steps[:, None] * normal[1] + rows * along[1]
    profile, noise = _profile(plane, x, y)
    crests = _crests(profile, noise, steps)
    sign = _sign_of_lines(profile)
    crests = [c for c in crests if abs(c[0]) <= reach_px and c[2] == sign]
    if not crests:
        return float(x_px), float(y_px)
    # near and clear beats far, but a faint ripple beside the point does not beat the line itself
    shift = max(crests, key=lambda c: c[1] / (1 + (c[0] / (0.5 * reach_px)) ** 2))[0]
    return float(x_px + shift * normal[0]), float(y_px + shift * normal[1])


def lines_between(
    picture: Picture, start_px: tuple[float, float], end_px: tuple[float, float], width_px: float = 10.0
) -> np.ndarray:
    """Find the lines that a stroke from one point to another crosses.

    Parameters
    ----------
    picture : Picture
    start_px, end_px : (x, y)
    width_px : float
        Brightness is averaged over this width along the lines.

    Returns
    -------
    (K, 2) ndarray
        A point on each line, in order; empty where none is clear.
    """
    start, end = np.asarray(start_px, float), np.asarray(end_px, float)
    long = float(np.hypot(*(end - start)))
    if long < 4:
        return np.zeros((0, 2))
    centre = (start + end) / 2
    x0, y0, plane = _patch(picture, centre[0], centre[1], long / 2 + width_px + 4)
    way = (end - start) / long
    normal = _normal(plane)
    # lines cross the stroke: along them, but never along the stroke itself
    along = np.array([-normal[1], normal[0]]) if abs(normal @ way) > 0.5 else np.array([-way[1], way[0]])
    steps = np.arange(0.0, long + 0.25, 0.5)
    rows = np.linspace(-width_px / 2, width_px / 2, int(width_px) + 1)
    x = start[0] - x0 + steps[:, None] * way[0] + rows * along[0]
    y = start[1] - y0 + steps[:, None] * way[1] + rows * along[1]
    profile, noise = _profile(plane, x, y)
    sign = _sign_of_lines(profile)
    crests = sorted(c[0] for c in _crests(profile, noise, steps) if c[2] == sign)
    return np.array([start + t * way for t in crests]).reshape(-1, 2)


def normal_across(picture: Picture, points_px: np.ndarray, reach_px: float = 16.0) -> np.ndarray | None:
    """Return the direction across the lines that the points lie on, as the picture shows them.

    Two points set at different heights along their lines lie further apart than the lines do; this direction
    lets `scale_from_points` take the distance of the lines.

    Parameters
    ----------
    points_px : (N, 2) array_like

    Returns
    -------
    (2,) ndarray or None
        None where the lines at the points do not agree on a direction.
    """
    double = []
    for x, y in np.asarray(points_px, float).reshape(-1, 2):
        _, _, plane = _patch(picture, x, y, reach_px)
        if min(plane.shape) >= 8:
            normal = _normal(plane)
            angle = 2 * np.arctan2(normal[1], normal[0])
            double.append((np.cos(angle), np.sin(angle)))
    if not double:
        return None
    middle = np.median(double, axis=0)
    # agreeing directions give a vector of length 1; 0.98 is about 6 degrees of scatter
    if np.hypot(*np.mean(double, axis=0)) < 0.98:
        return None
    angle = np.arctan2(middle[1], middle[0]) / 2
    return np.array([np.cos(angle), np.sin(angle)])


def _patch(picture: Picture, x_px: float, y_px: float, half: float) -> tuple[int, int, np.ndarray]:
    x0, y0 = max(0, int(x_px - half)), max(0, int(y_px - half))
    x1, y1 = int(x_px + half) + 1, int(y_px + half) + 1
    part = picture.pixels[y0 : max(y1, y0), x0 : max(x1, x0)]
    if 0 in part.shape:
        return x0, y0, np.zeros((0, 0), np.float32)
    return x0, y0, brightness_planes(Picture(part, grey=picture.grey))[0]


def _normal(plane: np.ndarray) -> np.ndarray:
    """Return the direction that brightness changes along most in a small piece of picture."""
    import cv2

    smooth = cv2.GaussianBlur(plane, (0, 0), 1.0)
    gx, gy = cv2.Scharr(smooth, cv2.CV_32F, 1, 0), cv2.Scharr(smooth, cv2.CV_32F, 0, 1)
    tensor = np.array([[np.sum(gx * gx), np.sum(gx * gy)], [np.sum(gx * gy), np.sum(gy * gy)]], float)
    return np.linalg.eigh(tensor)[1][:, 1]


def _profile(plane: np.ndarray, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, float]:
    """Mean brightness over the rows of places inside the picture (nan where none is), and its noise."""
    values = sampled(plane, x, y)
    inside = np.isfinite(values)
    count = np.maximum(inside.sum(-1), 1)
    mean = np.where(inside, values, 0).sum(-1) / count
    rest = np.where(inside, values - mean[:, None], 0)
    # neighbouring samples share pixels: about half of them are independent
    noise = np.sqrt((rest**2).sum(-1) / count / np.maximum(count / 2, 1))
    some = inside.any(-1)
    return np.where(some, mean, np.nan), float(np.median(noise[some])) if some.any() else 0.0


def _crests(profile: np.ndarray, noise: float, steps: np.ndarray) -> list[tuple[float, float, int]]:
    """Return (place, prominence, sign) of the clear bright and dark crests of a profile."""
    from scipy.signal import find_peaks

    usable = np.isfinite(profile)
    if usable.sum() < 8:
        return []
    profile, steps = profile[usable], steps[usable]
    smooth = np.convolve(np.pad(profile, 2, mode="edge"), [0.1, 0.2, 0.4, 0.2, 0.1], "valid")
    least = max(_CLEAR * noise, 1e-6, 0.25 * float(np.ptp(smooth)))
    found = []
    for sign in (1, -1):
        peaks, facts = find_peaks(sign * smooth, prominence=least)
        for k, high in zip(peaks, facts["prominences"], strict=True):
            left, here, right = smooth[k - 1 : k + 2]
            bend = left - 2 * here + right
            shift = 0.5 * (left - right) / bend if bend else 0.0
            found.append((float(steps[k] + shift * (steps[1] - steps[0])), float(high), sign))
    return found


def _sign_of_lines(profile: np.ndarray) -> int:
    """Tell bright lines (+1) from dark ones (-1): lines take up less of a profile than the gaps do."""
    values = profile[np.isfinite(profile)]
    if not len(values):
        return -1
    middle = (values.max() + values.min()) / 2
    return 1 if (values > middle).mean() < 0.5 else -1
