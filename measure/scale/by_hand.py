"""A scale set by hand: points on graduations, drawn to the line beneath them, or a typed number."""

from datetime import datetime

import numpy as np

from measure.errors import InvalidInput
from measure.model import Picture, Scale
from measure.scale.fit import RulingFit, check_ruling, fit_positions, make_scale
from measure.scale.flat import brightness_planes
from measure.scale.graduations import sampled
from measure.scale.scale_file import check_um_per_px

POINTING_PX = 0.5  # standard uncertainty of a point set by hand on a line, common practice, no source
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
    x0, y0, plane = _patch(picture, *centre, long / 2 + width_px + 4)
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


def count_divisions(points_px: np.ndarray, normal: np.ndarray | None = None) -> int:
    """Return how many divisions lie between the first and the last of three or more points.

    The smallest gap that repeats is taken for one division. 0 where the points do not tell, as two never do.
    """
    points = np.asarray(points_px, float).reshape(-1, 2)
    if len(points) < 3:
        return 0
    direction = _direction(points) if normal is None else _ahead(np.asarray(normal, float))
    try:
        return int(_steps(np.sort(points @ direction)).sum())
    except InvalidInput:
        return 0


def scale_from_points(
    points_px: np.ndarray,
    *,
    lengths_um: np.ndarray | None = None,
    division_um: float | None = None,
    picture: Picture | None = None,
    normal: np.ndarray | None = None,
    certificate_um: float | None = None,
    coverage_factor: float = 2.0,
    zoom: str = "",
    pointing_px: float = POINTING_PX,
) -> RulingFit:
    """Fit a scale to points set by hand on graduations.

    Parameters
    ----------
    points_px : (N, 2) array_like
        At least two points, in any order.
    lengths_um : (N,) array_like, optional
        Place of each point on the ruling. For two points a single length is their distance.
    division_um : float, optional
        Instead of lengths: the points lie on graduations so far apart, some of which may be left out.
    picture : Picture, optional
        Gives the picture size the scale is for.
    normal : (2,) array_like, optional
        Direction across the graduations; by default that of the points.
    certificate_um, coverage_factor, zoom
        As in `find_scale`.
    pointing_px : float
        Standard uncertainty of one point; the scatter of many points counts when it is larger.

    Returns
    -------
    RulingFit

    Raises
    ------
    InvalidInput
        If the points or numbers do not make a scale.
    """
    points = np.asarray(points_px, float).reshape(-1, 2)
    if len(points) < 2 or not np.isfinite(points).all():
        raise InvalidInput("Set at least two points, on two different graduations.")
    direction = _direction(points) if normal is None else _ahead(np.asarray(normal, float))
    order = np.argsort(points @ direction, kind="stable")
    places = (points @ direction)[order]
    if places[-1] - places[0] < 2:
        raise InvalidInput("The points lie less than two pixels apart; set them on graduations far apart.")
    lengths, division = _lengths(places, order, lengths_um, division_um)
    certificate = check_ruling(division, certificate_um, coverage_factor)
    fit = fit_positions(places, lengths, certificate)
    spread = float(np.sqrt(np.sum((lengths - lengths.mean()) ** 2)))
    fit["u_fit"] = max(fit["u_fit"], pointing_px / spread * fit["um_per_px"])
    warnings = []
    if len(points) < 5:
        warnings.append(f"Only {len(points)} points: more points, or the whole ruling, give a surer scale.")
    if len(points) > 2 and np.std(fit["residuals_px"]) > max(1.0, 0.02 * np.ptp(places) / len(places)):
        warnings.append("The points lie unevenly: one may be on the wrong line.")
    size = (picture.width_px, picture.height_px) if picture is not None else None
    angle = float(np.degrees(np.arctan2(direction[1], direction[0])))
    scale = make_scale(
        fit,
        size,
        zoom=zoom,
        division_um=division if division_um is not None else None,
        angle_deg=float(angle - 180 * np.ceil((angle - 90) / 180)),
        graduations=len(points),
        certificate_um=certificate.expanded_um,
        coverage_factor=coverage_factor if certificate_um is not None else None,
        method="by hand",
        notes=tuple(warnings),
    )
    side = 8.0 * np.array([-direction[1], direction[0]])
    ordered = points[order]
    return RulingFit(
        scale=scale,
        lines=np.hstack([ordered - side, ordered + side]),
        index=np.rint((lengths - lengths[0]) / division).astype(int),
        residuals_px=fit["residuals_px"],
        left_out=np.zeros((0, 4)),
        warnings=tuple(warnings),
        u_fit=fit["u_fit"],
        u_certificate=fit["u_certificate"],
        u_bend=fit["u_bend"],
        freedom=fit["freedom"],
    )


def typed_scale(
    um_per_px: object, standard_uncertainty: float = 0.0, zoom: str = "", picture_size: tuple | None = None
) -> Scale:
    """Make a scale of a typed number.

    Raises
    ------
    InvalidInput
        If the number or its uncertainty cannot be meant.
    """
    value = check_um_per_px(um_per_px, "The scale")
    if not np.isfinite(standard_uncertainty) or not 0 <= standard_uncertainty < value:
        raise InvalidInput("The standard uncertainty must lie between 0 and the scale itself, in µm per px.")
    width, height = picture_size or (None, None)
    made = datetime.now().astimezone().isoformat(timespec="seconds")
    notes = () if standard_uncertainty else ("Typed without an uncertainty: none is carried into the sizes.",)
    return Scale(
        value, float(standard_uncertainty), zoom, width, height, made=made, method="typed", notes=notes
    )


def _lengths(places, order, lengths_um, division_um) -> tuple[np.ndarray, float]:
    """Return the place of each point on the ruling, in the order of ``places``, and the division."""
    if (lengths_um is None) == (division_um is None):
        raise InvalidInput("Give either the length between the points or the division of the ruling.")
    if lengths_um is None:
        check_ruling(division_um, None, 2.0)
        return np.concatenate([[0], np.cumsum(_steps(places))]) * division_um, float(division_um)
    lengths = np.atleast_1d(np.asarray(lengths_um, float))
    if len(lengths) == 1 and len(places) == 2:
        lengths = np.array([0.0, lengths[0]])
    elif len(lengths) != len(places):
        raise InvalidInput(f"{len(places)} points but {len(lengths)} lengths; give one length a point.")
    else:
        lengths = lengths[order]
        lengths = -lengths if lengths[-1] < lengths[0] else lengths
    steps = np.diff(lengths)
    if not np.isfinite(lengths).all() or (steps <= 0).any():
        raise InvalidInput("The lengths must be numbers above zero that grow from point to point.")
    return lengths, float(steps.min())


def _steps(places: np.ndarray) -> np.ndarray:
    """Return the number of divisions between each point and the next."""
    return np.maximum(np.rint(np.diff(places) / _smallest_step(places)), 1)


def _smallest_step(places: np.ndarray) -> float:
    """Return the spacing of the graduations: the smallest gap that all gaps are about multiples of."""
    gaps = np.diff(places)
    gaps = gaps[gaps > 0.5]
    if not len(gaps):
        raise InvalidInput("Several points lie on the same graduation; set each on another one.")
    smallest = float(np.percentile(gaps, 10))
    near = gaps[np.abs(gaps / smallest - 1) < 0.25]
    return float(np.median(near)) if len(near) else float(gaps.min())


def _direction(points: np.ndarray) -> np.ndarray:
    centred = points - points.mean(0)
    return _ahead(np.linalg.svd(centred, full_matrices=False)[2][0])


def _ahead(way: np.ndarray) -> np.ndarray:
    """Return the unit vector of a direction, pointing right or, if it is steep, down."""
    way = way / np.hypot(*way)
    return way if way[np.argmax(np.abs(way))] > 0 else -way


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
