"""Find the graduations of a ruling in a picture by itself, at any angle, and fit them."""

from collections.abc import Iterator

import numpy as np

from measure.model import Picture
from measure.progress import SILENT, Progress
from measure.scale import doubts
from measure.scale.angles import line_normals
from measure.scale.fit import Certificate, RulingFit, check_ruling, fit_positions, make_scale
from measure.scale.flat import brightness_planes, flatten, light_surface, reduced
from measure.scale.ladder import Ladder, ladders
from measure.scale.placing import Placed, axis_of, finer, place_graduations
from measure.scale.strokes import find_strokes

_PIXELS_AT_ONCE = 6e6
_TRIED = 6
_STRONG, _FAINT = 0.5, 0.25
_SURE = 8  # rungs, less for gaps and unevenness, that are tried before looking further


def find_scale(
    picture: Picture,
    *,
    division_um: float,
    certificate_um: float | None = None,
    coverage_factor: float = 2.0,
    zoom: str = "",
    progress: Progress = SILENT,
) -> RulingFit:
    """Find micrometres per pixel from a picture of a stage micrometer.

    Parameters
    ----------
    picture : Picture
    division_um : float
        Distance between neighbouring graduations, µm.
    certificate_um : float, optional
        Expanded uncertainty of the ruling's length on its certificate, µm.
    coverage_factor : float
        The certificate's k.
    zoom : str
        Name of the zoom setting.
    progress : Progress

    Returns
    -------
    RulingFit

    Raises
    ------
    InvalidInput
        If no ruling is found, or a number given cannot be meant.
    """
    certificate = check_ruling(division_um, certificate_um, coverage_factor)
    progress.report(0.0, "looking for lines")
    best = _best_placed(_likely(brightness_planes(picture), progress), progress)
    if best is None:
        raise doubts.no_ruling(picture.name)
    even, placed = best
    placed = finer(even, placed) or placed
    progress.report(0.9, "fitting the scale")
    fit = _fit(picture, even, placed, certificate, division_um, zoom)
    progress.report(1.0, "done")
    return fit


def _best_placed(
    likely: Iterator[tuple[np.ndarray, Ladder, int]], progress: Progress
) -> tuple[np.ndarray, Placed] | None:
    """Return the first likely ruling that bears a close look, and the evened plane it was placed on.

    Of wide lines and the gaps between them the narrower serve better, so after a wide one the others of that
    size are looked at too.
    """
    wide: tuple[np.ndarray, Placed] | None = None
    at: tuple[int, int] | None = None
    evened: dict[int, np.ndarray] = {}
    for plane, ladder, factor in likely:
        if at is not None and at != (id(plane), factor):
            break
        if id(plane) not in evened:
            evened[id(plane)] = plane / light_surface(plane)
        even = evened[id(plane)]
        progress.check()
        placed = place_graduations(even, axis_of(ladder, factor))
        if placed is None:
            continue
        if placed.located.width_px <= 0.5 * placed.axis.spacing_px:
            return even, placed
        if at is None:
            wide, at = (even, placed), (id(plane), factor)
    return wide


def _likely(planes: list[np.ndarray], progress: Progress) -> Iterator[tuple[np.ndarray, Ladder, int]]:
    """Yield ladders: sure ones as they are found, plane by plane and coarser each time, then others."""
    others = []
    places = [(plane, size, _STRONG) for plane in planes for size in _sizes(plane)]
    # faint lines among strong dirt: directions are told anew, in the best plane only
    places += [(planes[0], size, _FAINT) for size in _sizes(planes[0])[:2]]
    for k, (plane, size, power) in enumerate(places):
        progress.report(0.8 * k / len(places), f"look {k + 1} of {len(places)} for lines")
        level = _look_at(plane, size, power, progress)
        yield from [one for one in level if one[1].score >= _SURE]
        others += [one for one in level if one[1].score < _SURE]
    unsure = sorted(others, key=lambda one: -one[1].score)[:_TRIED]
    for k, one in enumerate(unsure):
        progress.report(0.8 + 0.1 * k / len(unsure), f"trying {k + 1} of {len(unsure)} faint rulings")
        yield one


def _sizes(plane: np.ndarray) -> list[int]:
    """Return the factors by which a plane is made smaller to look at it."""
    first = max(1, int(np.ceil(np.sqrt(plane.size / _PIXELS_AT_ONCE))))
    return [first * f for f in (1, 2, 4) if min(plane.shape) / (first * f) >= 48]


def _look_at(
    plane: np.ndarray, size: int, power: float, progress: Progress
) -> list[tuple[np.ndarray, Ladder, int]]:
    """Look for ladders at one size; the one with the most evidence first."""
    flat = flatten(reduced(plane, size))
    level = []
    for normal in line_normals(flat, power=power):
        progress.check()
        level += [(plane, ladder, size) for ladder in ladders(find_strokes(flat, normal))]
    # strengths compare only within one size
    return sorted(level, key=lambda one: -one[1].score * one[1].strength)


def _fit(
    picture: Picture,
    plane: np.ndarray,
    placed: Placed,
    certificate: Certificate,
    division_um: float,
    zoom: str,
) -> RulingFit:
    """Fit the even graduations and gather the doubts."""
    axis, kept, used, ends = placed.axis, placed.kept, placed.used, placed.ends
    index, places = axis.index[kept], axis.places_px[kept]
    fit = fit_positions(places[used], index[used] * division_um, certificate)
    fit["u_fit"] = float(np.hypot(fit["u_fit"], _placing(placed.located.width_px) / np.ptp(places[used])))
    strays = int((~used).sum())
    parts, _ = doubts.fainter_between(plane, axis)
    warnings = doubts.warnings(axis, placed.located, index[used], fit, ends[used], strays, parts)
    normal, along = axis.normal, axis.along
    lines = np.hstack([places[:, None] * normal + ends[:, [k]] * along for k in (0, 1)])
    angle = float(np.degrees(np.arctan2(normal[1], normal[0])))
    angle = angle - 180 * np.ceil((angle - 90) / 180)
    scale = make_scale(
        fit,
        (picture.width_px, picture.height_px),
        zoom=zoom,
        division_um=float(division_um),
        angle_deg=float(angle),
        graduations=int(used.sum()),
        certificate_um=certificate.expanded_um,
        coverage_factor=certificate.coverage_factor if certificate.expanded_um is not None else None,
        method="ruling",
        notes=warnings,
    )
    return RulingFit(
        scale=scale,
        lines=lines[used],
        index=index[used] - index[used][0],
        residuals_px=fit["residuals_px"],
        left_out=lines[~used],
        warnings=warnings,
        u_fit=fit["u_fit"],
        u_certificate=fit["u_certificate"],
        u_bend=fit["u_bend"],
        freedom=fit["freedom"],
        line_width_px=placed.located.width_px,
        parts_seen=parts,
    )


def _placing(width_px: float) -> float:
    """Return what the scatter cannot show of the distance between two lines, as a standard uncertainty in px.

    Light that changes along the ruling leans all lines a little, more the wider they are: on drawn rulings
    up to 0.003 px in usual light, 0.04 px for lines of 6 px where it falls to a third across the picture.
    """
    return float(np.sqrt(2) * max(0.012, 0.002 * width_px))
