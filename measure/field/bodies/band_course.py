"""The course of a fibre beyond where it is free: along what it touches and through what it crosses.

Across a fibre the tone is the same all along: two dark sides and a pale middle, or one dark line. From the
middle of a free stretch the line on which this profile goes on is followed both ways. Where something lies
beside the fibre, one of the two halves of the profile is enough; where it is crossed, the line goes on as it
was bent before, and must be met again behind.
"""

from typing import NamedTuple

import cv2
import numpy as np

_BEYOND_PX = 2.5  # of the profile, outside of the fibre
_OFFSETS_PX = np.linspace(-1.0, 1.0, 5)  # sideways, tried at each step
_FOLLOW, _TURN = 0.5, 0.06  # share of the best of them taken, and turn for each px of it, rad
_BENT = 6.0  # steps over half width, over which the bend is known
_OWN = 4.0  # steps over half width, each way, over which the profile is read
_UNLIKE = 0.25  # mean difference from half of the profile over its span, below which it goes on
_HIDDEN, _AGAIN = 6.0, 2.0  # steps over half width without the profile, and with it behind them
_MOST_STEPS = 3000


class Course(NamedTuple):
    """Middle line of a fibre.

    Attributes
    ----------
    points : (P, 2) ndarray of float
        x, y in px of pixel centres at whole numbers, one px apart.
    seen : (P,) ndarray of bool
        Where its profile is seen.
    """

    points: np.ndarray
    seen: np.ndarray


def course_of(stretch: np.ndarray, field: np.ndarray) -> Course | None:
    """Follow a fibre from a free stretch of it.

    Parameters
    ----------
    stretch : (M, N) ndarray of uint8
        An even band.
    field : (M, N) ndarray of float32
        Colour difference from the oil.

    Returns
    -------
    course : Course, or None where the stretch has no profile of its own
    """
    depth = cv2.distanceTransform(stretch, cv2.DIST_L2, 5)
    half = float(depth.max())
    middle = np.argwhere(depth > 0.8 * half)[:, ::-1].astype(float)
    start = middle[np.hypot(*(middle - middle.mean(axis=0)).T).argmin()]
    near = middle[np.hypot(*(middle - start).T) < 3.0 * half]
    start = near.mean(axis=0)
    way = np.linalg.svd(near - start, full_matrices=False)[2][0]
    across = np.arange(-np.ceil(half + _BEYOND_PX), np.ceil(half + _BEYOND_PX) + 1)
    own = _profile(field, start, way, across, int(_OWN * half))
    span = float(own.max() - own[np.abs(across) > half + 1.0].mean())
    if span <= 0:
        return None
    ahead = _followed(field, start, way, across, own, span, half)
    back = _followed(field, start, -way, across, own[::-1], span, half)
    points = np.concatenate([back.points[::-1], ahead.points])
    return Course(points, np.concatenate([back.seen[::-1], ahead.seen]))


def _profile(
    field: np.ndarray, start: np.ndarray, way: np.ndarray, across: np.ndarray, reach: int
) -> np.ndarray:
    """Tone across a line, the median along it."""
    along = np.arange(-reach, reach + 1.0)
    x = start[0] + along[:, None] * way[0] - across * way[1]
    y = start[1] + along[:, None] * way[1] + across * way[0]
    own: np.ndarray = np.median(_read(field, x, y), axis=0)
    return own


def _read(field: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return cv2.remap(
        field, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )


def _followed(
    field: np.ndarray,
    start: np.ndarray,
    way: np.ndarray,
    across: np.ndarray,
    own: np.ndarray,
    span: float,
    half: float,
) -> Course:
    """Points of the way a profile goes on from a start, in one direction."""
    place, angle = start.copy(), float(np.arctan2(way[1], way[0]))
    sideways = across + _OFFSETS_PX[:, None]
    halves = np.stack([across <= 1.0, across >= -1.0]).astype(float)
    halves /= halves.sum(axis=1, keepdims=True)
    points, seen, angles = [], [], [angle]
    lost, known = 0, 0
    for _ in range(_MOST_STEPS):
        way = np.array([np.cos(angle), np.sin(angle)])
        place = place + way
        if not (0 <= place[0] < field.shape[1] and 0 <= place[1] < field.shape[0]):
            break
        tones = _read(field, place[0] - sideways * way[1], place[1] + sideways * way[0])
        unlike = (np.abs(tones - own) @ halves.T) / span
        best = int(unlike.min(axis=1).argmin())
        sees = bool(unlike[best].min() < _UNLIKE)
        lost = 0 if sees else lost + 1
        if sees:
            known += 1
            off = _FOLLOW * _OFFSETS_PX[best]
            place = place + off * np.array([-way[1], way[0]])
            angle += _TURN * off / _FOLLOW
        else:
            steps = min(len(angles) - 1, int(_BENT * half))
            angle += (angles[-1] - angles[-1 - steps]) / steps if steps else 0.0
        angles.append(angle)
        points.append(place)
        seen.append(sees)
        if lost > _HIDDEN * half:
            break
    return _ended(np.array(points).reshape(-1, 2), np.array(seen, bool), half)


def _ended(points: np.ndarray, seen: np.ndarray, half: float) -> Course:
    """Without the end that is not seen, or only for a few steps behind where it was hidden."""
    again = int(_AGAIN * half)
    last = len(seen)
    while last > 0:
        run = np.flatnonzero(~seen[:last])
        after = last - 1 - (run[-1] if len(run) else -1)
        if after >= again or not len(run):
            break
        last = int(run[-1])
        while last > 0 and not seen[last - 1]:
            last -= 1
    return Course(points[:last], seen[:last])
