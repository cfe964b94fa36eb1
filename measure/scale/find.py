"""Find the graduations of a ruling in a picture by itself, at any angle, and fit them."""

from dataclasses import dataclass, replace

import numpy as np

from measure.model import Picture
from measure.progress import SILENT, Progress
from measure.scale import doubts
from measure.scale.angles import line_normals
from measure.scale.fit import RulingFit, check_ruling, fit_positions, make_scale
from measure.scale.flat import brightness_planes, flatten, reduced
from measure.scale.graduations import Axis, Located, locate
from measure.scale.ladder import LEAST, Ladder, ladders
from measure.scale.line_family import parallel_lines
from measure.scale.strokes import find_strokes

_PIXELS_AT_ONCE = 6e6
_TRIED = 6
_SURE = 8  # rungs, less for gaps and unevenness, that need no second look at coarser size


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
    for plane, ladder, factor in _look(brightness_planes(picture), progress)[:_TRIED]:
        progress.report(0.7, "placing the graduations")
        placed = _placed(plane, _axis(ladder, factor))
        if placed is not None:
            fit = _fit(picture, plane, placed, certificate, division_um, zoom)
            progress.report(1.0, "done")
            return fit
    raise doubts.no_ruling(picture.name)


def _look(planes: list[np.ndarray], progress: Progress) -> list[tuple[np.ndarray, Ladder, int]]:
    """Look for ladders of strokes, plane by plane and coarser each time, until one is sure; likely first."""
    found = []
    for k, plane in enumerate(planes):
        factor = max(1, int(np.ceil(np.sqrt(plane.size / _PIXELS_AT_ONCE))))
        for step in range(3):
            if min(plane.shape) / (factor * 2**step) < 48:
                break
            progress.report(0.7 * (k + step / 3) / len(planes), "looking for lines")
            level = _look_at(plane, factor * 2**step)
            found += level
            if level and level[0][1].score >= _SURE:
                return level + found
    return sorted(found, key=lambda one: -one[1].score)


def _look_at(plane: np.ndarray, size: int) -> list[tuple[np.ndarray, Ladder, int]]:
    """Look for ladders at one size; the one with the most evidence first."""
    flat = flatten(reduced(plane, size))
    level = []
    for normal in line_normals(flat):
        level += [(plane, ladder, size) for ladder in ladders(find_strokes(flat, normal))]
    # strengths compare only within one size
    return sorted(level, key=lambda one: -one[1].score * one[1].strength)


@dataclass(frozen=True)
class _Placed:
    """A ruling whose graduations are placed: `kept` and `used` tell which are there, and which are even."""

    axis: Axis
    located: Located
    kept: np.ndarray
    used: np.ndarray
    ends: np.ndarray


def _placed(plane: np.ndarray, axis: Axis) -> _Placed | None:
    """Place the graduations of a likely ruling to a fraction of a pixel, or say that it is none."""
    for _ in range(2):
        located = locate(plane, axis)
        axis, kept = _refit(located, axis)
        if kept.sum() < LEAST:
            return None
    used = doubts.on_the_ladder(axis.index[kept], axis.places_px[kept])
    ends = doubts.line_ends(plane, axis, located)[kept]
    placed = _Placed(axis, located, kept, used, ends)
    if doubts.alternating(plane, axis, kept) or doubts.patchy(plane, axis, kept):
        return None
    if doubts.is_no_ruling(plane.shape, axis, located, kept, used, ends):
        return None
    return placed


def _axis(ladder: Ladder, factor: int) -> Axis:
    """Turn the rungs back into picture coordinates at full size."""
    s = ladder.strokes
    half = (s.bottom_px - s.top_px) / 2
    ends = [np.column_stack([s.x_px + k * s.slope * half, s.middle_px + k * half]) for k in (-1, 1)]
    rotation, origin = s.to_frame[:, :2], s.to_frame[:, 2]
    points = [((e - origin) @ rotation) * factor for e in ends]
    family = parallel_lines(np.concatenate(points), np.tile(ladder.index, 2))
    along = np.array([-family.normal[1], family.normal[0]])
    v = np.sort(np.column_stack([p @ along for p in points]), axis=1)
    low, high = float(np.percentile(v[:, 0], 70)), float(np.percentile(v[:, 1], 30))
    blurred = 6.5 * factor  # strokes were averaged along, which lengthens them
    if high - low < 2 * blurred + 8 * factor:
        blurred = max(0.0, (high - low - 8 * factor) / 2)
    found = sum(p @ family.normal for p in points) / 2 - family.first_px - ladder.index * family.spacing_px
    # places between and just beyond the rungs found are looked at as well
    index = np.arange(-3, ladder.index[-1] + 4)
    return Axis(
        normal=family.normal,
        first_px=family.first_px,
        spacing_px=family.spacing_px,
        low_px=low + blurred,
        high_px=high - blurred,
        index=index,
        offsets_px=np.interp(index, ladder.index, found),
    )


def _refit(located: Located, axis: Axis) -> tuple[Axis, np.ndarray]:
    """Fit the family of lines to the points; also tell which graduations are really there."""
    usual = float(np.nanmedian(located.strength[(axis.index >= 0) & (axis.index <= axis.index[-1] - 3)]))
    with np.errstate(invalid="ignore"):
        good = (
            (located.strength / usual > 0.35) & (located.strength / usual < 3)
            if usual
            else located.strength > 1e9
        )
    there = good.mean(1) >= 0.5
    there = _joined(there, axis.index)
    use = good & there[:, None]
    if there.sum() < LEAST:
        return axis, there
    index = np.repeat(axis.index[:, None], use.shape[1], axis=1)[use]
    points = located.points_px[use]
    base = 1.0 / (np.nan_to_num(located.noise[use]) ** 2 + (0.1 * usual) ** 2)
    weights = base
    for _ in range(5):
        family = parallel_lines(points, index, weights)
        off = points @ family.normal - family.first_px - index * family.spacing_px
        limit = 5 * 1.4826 * float(np.median(np.abs(off))) + 1e-6
        weights = base * np.clip(1 - (off / limit) ** 2, 0, None) ** 2 + 1e-9
    places = _places(located, use, family.normal)
    offsets = places - family.first_px - axis.index * family.spacing_px
    offsets = np.interp(axis.index, axis.index[there], offsets[there])
    return _moved(axis, family, offsets), there


def _joined(there: np.ndarray, index: np.ndarray) -> np.ndarray:
    """Drop what stands alone beyond the ends found first (indices below 0 or past the last rung)."""
    there = there.copy()
    inner = np.flatnonzero(there)
    if not len(inner):
        return there
    start = np.searchsorted(index, 0)
    stop = len(index) - 4
    for k in range(start - 1, -1, -1):
        there[k] &= there[k + 1]
    for k in range(stop + 1, len(index)):
        there[k] &= there[k - 1]
    return there


def _places(located: Located, use: np.ndarray, normal: np.ndarray) -> np.ndarray:
    """Return each graduation's place along the normal: the median of its groups, nan without any."""
    t = np.where(use, located.points_px @ normal, np.nan)
    places = np.full(len(t), np.nan)
    some = use.any(1)
    middle = np.nanmedian(t[some], axis=1)
    # mean of the groups near the median: less noise than the median, as robust
    spread = 1.4826 * np.nanmedian(np.abs(t[some] - middle[:, None])) * 3 + 1e-6
    near = np.abs(t[some] - middle[:, None]) <= spread
    places[some] = np.nansum(np.where(near, t[some], 0), axis=1) / np.maximum(near.sum(1), 1)
    return places


def _moved(axis: Axis, family, offsets: np.ndarray) -> Axis:
    """Return the axis with the family's direction, its stretch along the graduations kept in place."""
    middle = axis.normal * (axis.first_px + axis.index.mean() * axis.spacing_px)
    middle = middle + axis.along * (axis.low_px + axis.high_px) / 2
    along = np.array([-family.normal[1], family.normal[0]])
    half = (axis.high_px - axis.low_px) / 2
    v = float(middle @ along)
    return replace(
        axis,
        normal=family.normal,
        first_px=family.first_px,
        spacing_px=family.spacing_px,
        low_px=v - half,
        high_px=v + half,
        offsets_px=offsets,
    )


def _fit(picture, plane, placed, certificate, division_um, zoom) -> RulingFit:
    """Fit the even graduations and gather the doubts."""
    axis, kept, used, ends = placed.axis, placed.kept, placed.used, placed.ends
    index, places = axis.index[kept], axis.places_px[kept]
    fit = fit_positions(places[used], index[used] * division_um, certificate)
    fit["u_fit"] = float(np.hypot(fit["u_fit"], _placing(placed.located.width_px) / np.ptp(places[used])))
    strays = int((~used).sum())
    warnings = doubts.warnings(plane, axis, placed.located, index[used], fit, ends[used], strays)
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
    )


def _placing(width_px: float) -> float:
    """Return what the scatter cannot show of the distance between two lines, as a standard uncertainty in px.

    Light that changes along the ruling leans all lines a little: on drawn rulings up to 0.003 px for lines of
    4 px, in proportion to their width.
    """
    return float(np.sqrt(2) * max(0.005, 0.001 * width_px))
