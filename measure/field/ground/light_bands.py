"""Bands of more and less light from frame to frame: a lamp that flickers while a camera reads row by row.

No smooth surface follows them, so the darker ones would be taken for pieces. Bands run along all rows, or all
columns of a picture turned on its side, dim all light by the same share, and look the same in every part of
their length; pieces do not.
"""

from dataclasses import dataclass

import numpy as np

_NO_LIGHT = -16.0  # L of the cube root of nothing, towards which less light moves every colour
_BLOCKS = 6  # parts of the length of bands that must agree
_LEAST = 0.005  # standard deviation of the logarithm of the cube root of light: 1.5 % of light
_MOST = 0.25  # between brightest and darkest: half of the light; a bar drawn along a picture takes more
_LIKE = 0.25  # of the deviation, by which parts may differ (0.1 of bands, 0.6 and more of fields without)
_ENDS = (15.0, 85.0)  # percentiles of a row that must both rise and fall
_STEPS = 2  # of a band of shade
_REST = 0.6  # of the deviation, which steps must leave (0.8 of bands, 0.5 at most of shade), and ends have
_TURNS = 4  # times that light goes from more than its mean to less, or back
_ORDER = 4  # of the polynomial that follows light which falls off to the frame
_NEUTRAL = 0.25  # change of a colour over that of the lightness, of light that lost the same share of each
_FEWEST = 40  # rows


@dataclass(frozen=True)
class Bands:
    """Light that comes and goes along one direction of a picture.

    Attributes
    ----------
    axis : int
        0 where it changes from row to row, 1 from column to column.
    place_px, factor : (Q,) ndarray
        Rows or columns, and what the cube root of light is to be multiplied by there.
    swing : float
        Share of light between the darkest and the brightest band.
    """

    axis: int
    place_px: np.ndarray
    factor: np.ndarray
    swing: float

    def evened(self, lab: np.ndarray, first_row: int = 0) -> np.ndarray:
        """Return colours, (M, N, 3) CIELAB, of rows from the one named on, without the bands."""
        places = np.arange(lab.shape[self.axis]) + (first_row if self.axis == 0 else 0)
        factor = np.interp(places, self.place_px, self.factor).astype(np.float32)
        factor = factor[:, None, None] if self.axis == 0 else factor[None, :, None]
        zero = np.array([_NO_LIGHT, 0.0, 0.0], np.float32)
        even: np.ndarray = (lab - zero) * factor + zero
        return even


def light_bands(few: np.ndarray, step: int) -> Bands | None:
    """Find bands of light.

    Parameters
    ----------
    few : (m, n, 3) ndarray of float32
        CIELAB of every ``step``-th pixel of a lightly smoothed picture.
    step : int
        px.

    Returns
    -------
    Bands or None
    """
    for axis in (0, 1):
        turned = few if axis == 0 else few.transpose(1, 0, 2)
        if min(turned.shape[:2]) < _FEWEST:
            continue
        course = _course(turned)
        if course is not None:
            swing = float(1.0 - np.exp(-3.0 * np.ptp(np.percentile(course, (2, 98)))))
            return Bands(axis, np.arange(len(course)) * float(step), np.exp(-course), swing)
    return None


def _course(few: np.ndarray) -> np.ndarray | None:
    """Logarithm of the cube root of light from row to row where all parts of the rows agree, or None."""
    light = np.log(np.maximum(few[..., 0] - _NO_LIGHT, 1.0))
    parts = [_unbent(np.median(part, axis=1)) for part in np.array_split(light, _BLOCKS, axis=1)]
    course = np.median(parts, axis=0)
    swing = float(course.std())
    if swing < _LEAST or np.ptp(course) > _MOST:
        return None
    apart = [1.4826 * float(np.median(np.abs(part - course))) for part in parts]
    if float(np.median(apart)) > _LIKE * swing or _turns(course, swing) < _TURNS:
        return None
    # where pieces lie in rows, what is lightest in a row, or what is darkest, stays as it is
    ends = [_unbent(end) for end in np.percentile(light, _ENDS, axis=1)]
    if min(float(end.std()) for end in ends) < _REST * swing:
        return None
    if float(_without_steps(course).std()) < _REST * swing:
        return None
    middle = np.median(few, axis=1)
    scale = float((middle[:, 0] - _NO_LIGHT).mean())
    for colour in (1, 2):
        off = _unbent(middle[:, colour]) - course * float(np.median(middle[:, colour]))
        if float(off.std()) > _NEUTRAL * swing * scale:
            return None
    return course


def _unbent(course: np.ndarray) -> np.ndarray:
    """A course less the polynomial that follows it best, to which bands are as if they were not there."""
    x = np.linspace(-1.0, 1.0, len(course))
    return np.asarray(course - np.polyval(np.polyfit(x, course, _ORDER), x))


def _without_steps(course: np.ndarray) -> np.ndarray:
    """A course less its steepest steps: shade with straight edges has one or two, and is no flicker."""
    x = np.linspace(-1.0, 1.0, len(course))
    basis = [x**k for k in range(_ORDER + 1)]
    rest = course
    apart = max(2, len(course) // 16)
    for _ in range(_STEPS):
        step = apart + int(np.argmax(np.abs(rest[apart:] - rest[:-apart]))) - apart // 2
        basis.append((np.arange(len(course)) >= step).astype(float))
        columns = np.stack(basis, axis=1)
        rest = course - columns @ np.linalg.lstsq(columns, course, rcond=None)[0]
    return np.asarray(rest)


def _turns(course: np.ndarray, swing: float) -> int:
    """How often a course goes from above its middle to below or back, by more than its noise."""
    clear = np.sign(course)[np.abs(course) > 0.5 * swing]
    return int(np.count_nonzero(np.diff(clear)))
