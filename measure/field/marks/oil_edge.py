"""The edge of the oil or of the cover glass: beyond it lies dry glass, whose tone is another and even.

The edge runs from frame to frame as one smooth line, over which the ground steps by the same amount all
along, in most cases with a dark or bright line where the surface of the oil bends the light. Dry glass takes
no light away, so it is lighter or less coloured than the oil, and hardly anything stands on it. Pieces that
the frame cuts are darker than what lies round them, or textured, or turn corners.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from measure.field.basics.masks import fill_holes
from measure.field.basics.quick import median
from measure.field.ground.light import zone_mask
from measure.field.marks.surround import COVERED, polygons
from measure.model import Picture

_LONG_PX = 480  # side of the picture it is looked for at
_FINE_PX, _GAP_PX = 1.0, 5  # blur with which slopes are read; gaps of a line that are closed
_SLOPE, _OVER_USUAL = 0.5, 3.0  # CIELAB a px, below which a place is even; and over the usual slope
_MEDIAN_PX = 15  # pieces smaller than half of it vanish
_LEAST, _MOST = 0.04, 0.75  # of the picture that lies beyond
_FRAME_PX = 4  # from the frame, within which an edge is not followed
_LENGTH = 0.5  # of the shorter side, that an edge is long
_WHOLE = 0.85  # of the edge that hangs together
_CROOKED, _WAVY_PX = 1.25, 1.5  # length of an edge over the way from end to end; off a smooth line
_SMOOTH_PX = 6.0  # along the edge
_BESIDE_PX = (
    -16,
    -15,
    -14,
    -13,
    -12,
    5,
    6,
    7,
    8,
    9,
)  # from where the even part ends, beyond its line and within
_REACH_PX = 16  # to either side, over which it is looked at
_STEP, _OVER_SPREAD = 2.5, 4.0  # CIELAB, from side to side; and over what either side varies along the edge
_ALONG, _EVEN, _LIKE = 0.5, 0.8, 0.5  # of the edge that shows the step, and an even tone beyond; within which
_LIGHTER, _PALER = 1.0, 1.5  # CIELAB: dry glass is so much lighter, or so much less coloured, than oil
_BUSY = 3.0  # CIELAB from the ground: a piece
_EMPTY, _FILLED = 0.2, 0.004  # of what stands on the oil, on dry glass; and of the oil at least
_LINE, _LINED = 0.5, 0.7  # depth of the line at the edge over the step, and share of the edge that shows it
# share of the line, and CIELAB, below which its foot is ground again: what is found differs by 2 and more
_FOOT, _AS_GROUND = 0.15, 1.0
_BRIGHT = 50.0  # CIELAB L of oil lit from below; on a dark ground pieces are lighter, and have lines of shade
_SHADE = 0.25  # change of colour over that of lightness, below which it may be shade
OIL_EDGE = "The edge of the oil or of the cover glass runs through the field"  # how what is said begins


@dataclass(frozen=True)
class _Edge:
    """Places along an edge, x and y, (P, 2), and the unit ways to the glass beyond, (P, 2)."""

    places: np.ndarray
    beyond: np.ndarray


def oil_edge_zones(picture: Picture, zones: tuple[np.ndarray, ...] = ()) -> tuple[np.ndarray, ...]:
    """Polygons of what lies beyond the edge of the oil.

    Parameters
    ----------
    picture : Picture
    zones : tuple of (K, 2) ndarray
        What is left out already, x and y in px.

    Returns
    -------
    zones : tuple of (K, 2) ndarray of float
        x and y in px, corner of the first pixel at 0, 0; empty where oil is all over the field.
    """
    rows, cols = picture.pixels.shape[:2]
    part = _LONG_PX / max(rows, cols)
    if min(rows, cols) < 100 or part > 1.5:
        return ()
    whole = picture.pixels if picture.pixels.dtype == np.uint8 else (picture.pixels >> 8).astype(np.uint8)
    size = (max(1, round(cols * part)), max(1, round(rows * part)))
    small = cv2.resize(whole, size, interpolation=cv2.INTER_AREA)
    known = zone_mask((rows, cols), zones)
    left_out = None if known is None else cv2.resize(known, size, interpolation=cv2.INTER_NEAREST)
    beyond = _beyond(small, left_out)
    if beyond is None or (left_out is not None and left_out[beyond > 0].mean() >= COVERED):
        return ()
    return polygons(beyond, (rows, cols))


def oil_edge_note(added: tuple[np.ndarray, ...], shape: tuple[int, int], *, counted: bool = False) -> str:
    """Return what is said of glass left out of a picture of so many rows and columns, or counted."""
    mask = zone_mask(shape, added)
    share = 0.0 if mask is None else float(mask.mean())
    if counted:
        return f"{OIL_EDGE}; what lies beyond, {100 * share:.0f} % of the picture, counts, as was asked for."
    return (
        f"{OIL_EDGE}; what lies beyond, {100 * share:.0f} % of the picture, is left out: "
        "nothing is counted there, and its area is none of the field's."
    )


def _beyond(small: np.ndarray, left_out: np.ndarray | None) -> np.ndarray | None:
    """Mask of what lies beyond the edge in a small picture, (M, N) uint8; None where there is no edge."""
    lab = _lab(small)
    use = np.ones(small.shape[:2], bool) if left_out is None else left_out == 0
    if use.mean() < _LEAST:
        return None
    edges = ((part, edge) for part in _parts(lab, use) if (edge := _edge(part)) is not None)
    ground: np.ndarray | None = None
    for part, edge in edges:
        if ground is None:  # most fields have no such line, and need no look at what stands in them
            ground = _lab(cv2.medianBlur(small, _MEDIAN_PX))
            busy = (np.sqrt(((lab - ground) ** 2).sum(axis=2)) > _BUSY) & use
        if _is_oil_edge(lab, ground, part, edge, busy):
            return _with_line(part, lab, edge)
    return None


def _lab(small: np.ndarray) -> np.ndarray:
    """CIELAB of a small picture, (M, N, 3) float32."""
    lab: np.ndarray = cv2.cvtColor(small.astype(np.float32) / np.float32(255.0), cv2.COLOR_RGB2LAB)
    return lab


def _parts(lab: np.ndarray, use: np.ndarray) -> list[np.ndarray]:
    """Large even parts that reach the frame, up to about the middle of the line round them, (M, N) uint8."""
    smooth = cv2.GaussianBlur(lab, (0, 0), _FINE_PX)
    slope = np.zeros(use.shape, np.float32)
    for channel in cv2.split(smooth):
        across, down = (
            cv2.Sobel(channel, cv2.CV_32F, 1, 0, scale=0.125),
            cv2.Sobel(channel, cv2.CV_32F, 0, 1, scale=0.125),
        )
        slope = np.maximum(slope, np.hypot(across, down))
    flat = (slope < max(_SLOPE, _OVER_USUAL * median(slope[use]))) & use
    mask = cv2.erode(flat.view(np.uint8), np.ones((_GAP_PX, _GAP_PX), np.uint8), borderValue=1)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=4)
    found = []
    for n in (np.argsort(-stats[1:, cv2.CC_STAT_AREA])[:3] + 1).tolist():
        part = cv2.dilate(fill_holes((labels == n).view(np.uint8)), np.ones((_GAP_PX + 4,) * 2, np.uint8))
        if _LEAST * part.size < cv2.countNonZero(part) < _MOST * part.size:
            found.append(fill_holes(part))
    return found


def _edge(part: np.ndarray) -> _Edge | None:
    """The smooth line from frame to frame along which a part ends; None where it ends otherwise."""
    rows, cols = part.shape
    contours, _ = cv2.findContours(part, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    line = max(contours, key=len)[:, 0].astype(np.float64)
    inner = (line >= _FRAME_PX).all(axis=1) & (line < np.array([cols, rows]) - _FRAME_PX).all(axis=1)
    if inner.all() or not inner.any():
        return None
    turned = np.roll(inner, -int(np.flatnonzero(~inner)[0]))
    line = np.roll(line, -int(np.flatnonzero(~inner)[0]), axis=0)
    starts = np.flatnonzero(turned & ~np.roll(turned, 1))
    ends = np.flatnonzero(turned & ~np.roll(turned, -1)) + 1
    k = int(np.argmax(ends - starts))
    run = line[starts[k] : ends[k]]
    way = float(np.hypot(*(run[-1] - run[0])))
    if len(run) < _WHOLE * turned.sum() or way < _LENGTH * min(rows, cols):
        return None
    even = np.stack([_smoothed(run[:, 0]), _smoothed(run[:, 1])], axis=1)
    step = np.gradient(even, axis=0)
    pace = np.maximum(np.hypot(step[:, 0], step[:, 1]), 1e-6)
    if pace.sum() > _CROOKED * way or np.hypot(*(run - even).T).mean() > _WAVY_PX:
        return None
    across = np.stack([step[:, 1], -step[:, 0]], axis=1) / pace[:, None]
    x, y = np.clip(np.rint(even + 5 * across), 0, [cols - 1, rows - 1]).astype(int).T
    return _Edge(even, across if part[y, x].mean() > 0.5 else -across)


def _smoothed(values: np.ndarray) -> np.ndarray:
    """Values along a line without their steps, ends kept in place."""
    reach = int(3 * _SMOOTH_PX)
    ahead, after = 2 * values[0] - values[reach:0:-1], 2 * values[-1] - values[-2 : -reach - 2 : -1]
    if len(values) <= reach + 1:
        return values
    kernel = cv2.getGaussianKernel(2 * reach + 1, _SMOOTH_PX)[:, 0]
    return np.convolve(np.r_[ahead, values, after], kernel, mode="valid")


def _is_oil_edge(
    lab: np.ndarray, ground: np.ndarray, part: np.ndarray, edge: _Edge, busy: np.ndarray
) -> bool:
    """Whether the ground steps to dry glass all along an edge."""
    away = np.array(_BESIDE_PX, float)
    sides = _across(ground, edge, away)
    near, far = (np.median(sides[:, half], axis=1) for half in (away < 0, away > 0))
    step = np.median(far - near, axis=0)
    size = float(np.sqrt((step**2).sum()))
    spread = min(float(np.median(np.abs(side - np.median(side, axis=0)).max(axis=1))) for side in (near, far))
    like = np.sqrt(((far - near - step) ** 2).sum(axis=1)) < _LIKE * size
    even = np.sqrt(((far - np.median(far, axis=0)) ** 2).sum(axis=1)) < _LIKE * size
    if size < max(_STEP, _OVER_SPREAD * spread) or like.mean() < _ALONG or even.mean() < _EVEN:
        return False
    colour = [float(np.hypot(*np.median(side[:, 1:], axis=0))) for side in (near, far)]
    if not (step[0] > _LIGHTER or (colour[1] < colour[0] - _PALER and step[0] > -_LIGHTER)):
        return False
    lined = _lined(lab, edge, size)
    inner = cv2.erode(part, np.ones((17, 17), np.uint8), borderValue=1) > 0
    outer = cv2.dilate(part, np.ones((17, 17), np.uint8)) == 0
    if not inner.any() or not outer.any():
        return False
    stands, oil = float(busy[inner].mean()), float(busy[outer].mean())
    empty = oil > _FILLED and stands < _EMPTY * oil
    if lined and float(np.median(near[:, 0])) > _BRIGHT:
        return True
    return empty and abs(colour[1] - colour[0]) > _SHADE * abs(float(step[0]))


def _lined(lab: np.ndarray, edge: _Edge, size: float) -> bool:
    """Whether a line darker or lighter than both sides runs along an edge."""
    away = np.arange(-_REACH_PX, _REACH_PX + 1.0)
    light = _across(lab, edge, away)[..., 0]
    light = cv2.blur(light.astype(np.float32), (1, 9))
    sides = np.stack([light[:, :4].mean(axis=1), light[:, -4:].mean(axis=1)])
    middle = light[:, np.abs(away) <= 7]
    dark, bright = sides.min(axis=0) - middle.min(axis=1), middle.max(axis=1) - sides.max(axis=0)
    return bool(max((dark > _LINE * size).mean(), (bright > _LINE * size).mean()) > _LINED)


def _with_line(part: np.ndarray, lab: np.ndarray, edge: _Edge) -> np.ndarray:
    """The part beyond an edge with what its line and blur take of the oil."""
    away = np.arange(-_REACH_PX, _REACH_PX + 1.0)
    light = np.median(_across(lab, edge, away), axis=0)
    off = np.sqrt(((light - light[:4].mean(axis=0)) ** 2).sum(axis=1))
    # faint as its foot may be against the line, slivers of it would be found as pieces
    even = np.flatnonzero((off < min(_FOOT * off.max(), _AS_GROUND)) & (away <= 0))
    reach = int(-away[even[-1]]) if len(even) else _REACH_PX
    wide = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    grown: np.ndarray = cv2.dilate(part, wide)
    return grown


def _across(values: np.ndarray, edge: _Edge, away: np.ndarray) -> np.ndarray:
    """Values across an edge, (P, Q, ...), from the oil to beyond."""
    x = edge.places[:, :1] + edge.beyond[:, :1] * away
    y = edge.places[:, 1:] + edge.beyond[:, 1:] * away
    read: np.ndarray = cv2.remap(
        values, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return read
