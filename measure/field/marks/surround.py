"""The border round a round or narrowed view: a black field stop, black bars, a white tray.

An eyepiece camera often sees the whole round view with black corners, and some programs draw black bars under
a picture. Both are one even tone from a corner on, far darker (or lighter) than the picture, and what they
leave of it bulges towards them: pieces cut by the frame bulge the other way.
"""

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, dilated, fill_holes, hull_mask
from measure.field.ground.light import zone_mask
from measure.model import Picture

_LONG_PX = 480  # side the border is looked for at
_DARKER, _LEAST_USUAL = 0.3, 0.2  # of the usual tone; that tone over white, from which a border is told
_LIGHTER, _WHITE = 1.2, 0.96
_EVEN = 0.04  # standard deviation within it, over white
_LEAST_SHARE = 0.003  # of the picture
_BULGE = 0.2  # what the view's hull has more than the view, over the border
_WHOLE_LIGHT, _BLURRED_PX = 0.97, 14  # share of the light from which the view counts; farthest it is sought
BORDER = "The even border round the view"  # how what is said of it begins
COVERED = 0.8  # share of a border already left out, from which nothing is to be added


def border_zones(picture: Picture, zones: tuple[np.ndarray, ...] = ()) -> tuple[np.ndarray, ...]:
    """Polygons of the border round the view of a picture.

    Parameters
    ----------
    picture : Picture
    zones : tuple of (K, 2) ndarray
        What is left out already, x and y in px.

    Returns
    -------
    zones : tuple of (K, 2) ndarray of float
        x and y in px, corner of the first pixel at 0, 0; empty where the view fills the picture.
    """
    rows, cols = picture.pixels.shape[:2]
    step = max(1, round(max(rows, cols) / _LONG_PX))
    few, white = picture.pixels[::step, ::step], np.iinfo(picture.pixels.dtype).max
    if not _reaches_corner(few[np.ix_((0, -1), (0, -1))].astype(np.float32) / white):
        return ()
    small = few.astype(np.float32) / white
    known = zone_mask((rows, cols), zones)
    left_out = None if known is None else known[::step, ::step]
    border = np.zeros(small.shape[:2], np.uint8)
    for part in _parts(small):
        if left_out is None or left_out[part > 0].mean() < COVERED:
            border |= dilated(part, _blurred_px(part, small))
    return polygons(border, (rows, cols)) if border.any() else ()


def border_note(added: tuple[np.ndarray, ...], shape: tuple[int, int], *, counted: bool = False) -> str:
    """Return what is said of a border left out of a picture of so many rows and columns, or counted."""
    mask = zone_mask(shape, added)
    share = 0.0 if mask is None else float(mask.mean())
    if counted:
        return f"{BORDER}, {100 * share:.0f} % of the picture, counts as part of the field, as was asked for."
    return (
        f"{BORDER}, {100 * share:.0f} % of the picture, is left out: "
        "nothing is counted in it, and its area is none of the field's."
    )


def _reaches_corner(corners: np.ndarray) -> bool:
    """Whether a corner is as dark as a border of the lightest view, or white enough for one, (2, 2, 3)."""
    return bool(corners.max(axis=2).min() < _DARKER or corners.min(axis=2).max() > _WHITE)


def _parts(small: np.ndarray) -> list[np.ndarray]:
    """Parts of the border, each (M, N) uint8, in a small picture of shares of white."""
    rows, cols = small.shape[:2]
    light = small.max(axis=2)
    usual = float(np.median(light[rows // 4 : -(rows // 4) or None, cols // 4 : -(cols // 4) or None]))
    if usual < _LEAST_USUAL:
        return []
    found = []
    dark = light < _DARKER * usual
    white = small.min(axis=2) > max(_WHITE, _LIGHTER * usual)
    for tone in (dark, white):
        count, labels = cv2.connectedComponents(tone.view(np.uint8), connectivity=4)
        corners = {int(labels[y, x]) for y in (0, -1) for x in (0, -1)} - {0}
        for n in sorted(corners) if count > 1 else ():
            part = _whole((labels == n).view(np.uint8))
            if _is_border(part, light):
                found.append(part)
    return found


def _whole(part: np.ndarray) -> np.ndarray:
    """The part with the specks and words inside it, but not with the view a ring goes round."""
    filled = fill_holes(part)
    holes = filled & ~part & 1
    _, labels, stats, _ = cv2.connectedComponentsWithStats(holes, connectivity=4)
    small = stats[:, cv2.CC_STAT_AREA] < 0.1 * part.size
    small[0] = False
    return part | small[labels].view(np.uint8)


def _is_border(part: np.ndarray, light: np.ndarray) -> bool:
    area = cv2.countNonZero(part)
    inner = cv2.erode(part, SQUARE)
    if area < _LEAST_SHARE * part.size or not inner.any() or light[inner > 0].std() > _EVEN:
        return False
    view = 1 - part
    return bool(cv2.countNonZero(hull_mask(view)) - cv2.countNonZero(view) <= _BULGE * area)


def _blurred_px(part: np.ndarray, small: np.ndarray) -> float:
    """How far from the border its blurred edge reaches into the view."""
    light = small.mean(axis=2)
    away = cv2.distanceTransform(1 - part, cv2.DIST_L2, 5)
    rings = [light[(away > d) & (away <= d + 1)] for d in range(2 * _BLURRED_PX)]
    tones = [float(np.median(ring)) for ring in rings if ring.size]
    edge = float(np.median(light[part > 0]))
    beyond = float(np.median(tones[_BLURRED_PX:])) if len(tones) > _BLURRED_PX else tones[-1]
    whole = [d for d, tone in enumerate(tones) if abs(tone - edge) >= _WHOLE_LIGHT * abs(beyond - edge)]
    return float(min(whole[0] if whole else _BLURRED_PX, _BLURRED_PX)) + 1.0


def polygons(border: np.ndarray, shape: tuple[int, int]) -> tuple[np.ndarray, ...]:
    """Outlines of a border, without holes, in px of a picture of so many rows and columns."""
    rows, cols = border.shape
    middle = round(float(np.nonzero(1 - border)[1].mean())) if (border == 0).any() else cols // 2
    scale = np.array([shape[1] / cols, shape[0] / rows])
    zones = []
    for half in (np.s_[:, :middle], np.s_[:, middle:]):  # a ring is no polygon, its halves are
        if not border[half].any():  # or no columns at all
            continue
        fine = cv2.resize(border[half], None, fx=2, fy=2, interpolation=cv2.INTER_NEAREST)
        framed = cv2.copyMakeBorder(fine, 1, 1, 1, 1, cv2.BORDER_CONSTANT)
        contours, _ = cv2.findContours(framed, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        for contour in contours:
            points = cv2.approxPolyDP(contour, 1.0, True)[:, 0].astype(float) - 1.0
            low, high = points.min(axis=0), points.max(axis=0)
            if len(points) < 3:
                continue
            # from pixel centres to pixel corners, outwards
            points = np.where(points >= (low + high) / 2, points + 1.0, points) / 2.0
            points[:, 0] += half[1].start or 0
            zones.append(np.clip(points, 0, [cols, rows]) * scale)
    return tuple(zones)
