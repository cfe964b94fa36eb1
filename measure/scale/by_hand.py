"""A scale set by hand: points on graduations, or a typed number."""

from datetime import datetime

import numpy as np
from numpy.typing import ArrayLike

from measure.errors import InvalidInput
from measure.model import Picture, Scale
from measure.scale.fit import RulingFit, check_ruling, fit_positions, make_scale
from measure.scale.scale_file import check_um_per_px

POINTING_PX = 0.5  # standard uncertainty of a point set by hand on a line, common practice, no source


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
    points_px: ArrayLike,
    *,
    lengths_um: ArrayLike | None = None,
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


def _lengths(
    places: np.ndarray, order: np.ndarray, lengths_um: ArrayLike | None, division_um: float | None
) -> tuple[np.ndarray, float]:
    """Return the place of each point on the ruling, in the order of ``places``, and the division."""
    if (lengths_um is None) == (division_um is None):
        raise InvalidInput("Give either the length between the points or the division of the ruling.")
    if division_um is not None:
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
