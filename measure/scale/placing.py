"""From likely rungs to graduations placed to a fraction of a pixel, or the finding that there are none."""

from dataclasses import dataclass, replace

import numpy as np

from measure.scale import doubts
from measure.scale.graduations import Axis, Located, locate
from measure.scale.ladder import LEAST, Ladder
from measure.scale.line_family import LineFamily, parallel_lines


@dataclass(frozen=True)
class Placed:
    """A ruling whose graduations are placed.

    Attributes
    ----------
    axis : Axis
    located : Located
        Of the (K,) places looked at.
    kept : (K,) ndarray of bool
        Where a graduation is.
    used : (J,) ndarray of bool
        Which of those kept keep to the even spacing.
    ends : (J, 2) ndarray
        Where each of those kept begins and ends along itself, px.
    """

    axis: Axis
    located: Located
    kept: np.ndarray
    used: np.ndarray
    ends: np.ndarray


def place_graduations(plane: np.ndarray, axis: Axis) -> Placed | None:
    """Place the graduations of a likely ruling to a fraction of a pixel, or say that it is none."""
    for _ in range(2):
        located = locate(plane, axis)
        axis, kept = _refit(located, axis)
        if kept.sum() < LEAST:
            return None
    used = doubts.on_the_ladder(axis.index[kept], axis.places_px[kept])
    ends = doubts.line_ends(plane, axis, located)[kept]
    if doubts.alternating(plane, axis, kept) or doubts.patchy(plane, axis, kept):
        return None
    if doubts.missing_by_turns(axis, located, kept):
        return None
    if used.sum() < doubts.MANY and doubts.fainter_between(plane, axis)[0] > 1:
        return None  # a few lines among others: a table, a frame
    if doubts.is_no_ruling(plane.shape, axis, located, kept, used, ends):
        return None
    return Placed(axis, located, kept, used, ends)


def finer(plane: np.ndarray, placed: Placed) -> Placed | None:
    """Place the lines seen between the graduations as graduations too; None where there are none or few.

    In a blurred picture the longer lines stand out first, every fifth or tenth of all.
    """
    axis = placed.axis
    gaps, shift = doubts.fainter_between(plane, axis)
    if gaps < 2:
        return None
    index = np.arange(axis.index[0] * gaps, axis.index[-1] * gaps + 1)
    long = axis.high_px - axis.low_px
    more = replace(
        axis,
        spacing_px=axis.spacing_px / gaps,
        low_px=axis.low_px + shift * long,
        high_px=axis.high_px + shift * long,
        index=index,
        offsets_px=np.interp(index, axis.index * gaps, axis.offsets_px),
    )
    found = place_graduations(plane, more)
    return found if found is not None and found.used.sum() >= 1.5 * placed.used.sum() else None


def axis_of(ladder: Ladder, factor: int) -> Axis:
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
        family = parallel_lines(points, index, weights, near=axis.normal)
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


def _moved(axis: Axis, family: LineFamily, offsets: np.ndarray) -> Axis:
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
