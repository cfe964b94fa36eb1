"""Pieces that scatter light: tissue whose grains bend it shows dark and bright lines all through.

Light that a grain bends away is missing in one place and arrives in another, so a piece of such tissue that
absorbs little is crossed everywhere by lines darker and lines brighter than the oil, and there are places of
the oil's tone between them. What takes light away only is nowhere brighter than the oil; a crystal is even
between its edges. Such pieces are filled with one tone up to the outermost dark line, in which the rim of
what bends light lies, and the fringes that lie round it are taken off.

Born & Wolf, Principles of Optics, section 8.6 (phase objects), from memory; the bright line beside an edge is
Becke's.
"""

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np

from measure.field.basics.masks import (
    closed,
    dilated,
    drawn,
    fill_holes,
    hull_mask,
    numbered,
    opened,
    solidity,
)
from measure.field.basics.quick import median, percentile
from measure.field.ground.light import Light
from measure.field.ground.scatter_fill import FRINGES_PX, Place, lay_tone, to_the_rim

_LOW = 3.5  # noise units from which a pixel differs from the oil
_SIGMA_PX = 0.8
# share brighter than the oil: more than what only takes light, less than what shines
_SHINING, _MOSTLY = 0.015, 0.6
_LARGEST = 0.5  # of the picture: more is no piece
_EVERY = 3  # pixels looked at first
_LEAST_PX2, _INSIDE_PX2 = 60, 20  # of a place, and of its inside
# of the usual steepness in a piece, and of that of the oil, up to which a place is even
_EVEN, _EVEN_NOISE = 0.2, 4.0
_FACE, _FACE_PX = 0.35, (2.5, 9.0)  # radius of an even place that is no gap between grains, over the depth
_CORNER = 0.3  # of the largest even face beside it, below which a rough part is a corner of that piece
_GAP, _GAP_PX = 0.12, (2.5, 5.0)  # radius of even places that are larger than most gaps between grains
_CALM = 0.2  # their share in a rough part at most
_RIM_PX = 4.0  # usual width of a rim
_OUTER, _SOFT_PX = 0.6, 1.5  # share of the depth in which the rim is darkest, and how softly it ends
_NOISE = 4.0  # of the oil, that a line must differ
_LINE, _CLEAR = 0.2, 0.25  # of the strongest lines: what is a line, and what is clear
_DARK, _BRIGHT, _GAPS = 0.05, 0.015, 0.2  # least shares of the inside in dark and bright lines and clear
# crossed by dark and bright lines, by so many that they are of grains, and by more than that
_LINES, _GRAINS, _MANY = 1, 2, 3
_MORE = 1.5  # of the fewest grains, from which they are surely no facets
# px round a line; fewest, and fewest for each px of the diameter: facets make 1 to 4, and 0.02 to 0.15
_GRAIN_PX, _FEW_GRAINS, _GRAINS_PX = 4, 5, 0.2
# of the strongest lines: what bends light has less colour than contrast
_COLOURED, _COLOUR_SIGMA_PX = 0.6, 1.5
# colour of dark places over that of bright ones, and over the strongest lines, from which they take light
_OWN_COLOUR, _SOME_COLOUR = 1.6, 0.1
_WITHIN, _WITHIN_PX = 0.45, 5.0  # share of the depth, or px, within which lines are counted
# share with grains that is all of a component; solidity of one piece with a broken rim, and of tissue
_ALL, _FULL_PIECE, _OWN_OUTLINE = 0.9, 0.86, 0.92
# share of the depth beyond which the middle is, and of that which is bright in a crystal seen in bits
_MIDDLE, _LIT = 0.5, 0.3
_ONE, _FRINGED_PX = 0.9, 3.0  # solidity of one piece, without the spikes of its fringes
_MOST = 0.6  # of an outline, from which it is such a piece


def without_scatter(light: Light) -> Light:
    """Return the light with pieces that scatter filled, or the same light where there are none.

    Parameters
    ----------
    light : Light

    Returns
    -------
    light : Light
        ``delta`` and ``solid_distance`` changed in such pieces and round them.
    """
    few = light.solid_distance[::_EVERY, ::_EVERY] > _LOW
    bright = few & (light.delta[::_EVERY, ::_EVERY, 0] > 0)
    if np.count_nonzero(bright) < _SHINING * np.count_nonzero(few):
        return light
    low = (light.solid_distance > _LOW).view(np.uint8)
    lightness = cv2.GaussianBlur(np.ascontiguousarray(light.delta[..., 0]), (0, 0), _SIGMA_PX)
    count, labels, stats = numbered(closed(low, 1.5), 8)
    bright = (low > 0) & (lightness > 0)
    size = stats[:, cv2.CC_STAT_AREA]
    bright_px = np.bincount(labels[bright], minlength=count)
    asked = (bright_px > _SHINING * size) & (bright_px < _MOSTLY * size) & (size >= _LEAST_PX2)
    asked &= size < _LARGEST * low.size
    asked[0] = False
    oil = lightness[::_EVERY, ::_EVERY][~few]
    noise = _NOISE * 1.4826 * median(np.abs(oil)) if oil.size else 0.0
    even = _EVEN_NOISE * median(_steep(lightness)[::_EVERY, ::_EVERY][~few]) if oil.size else 0.0
    delta, distance = light.delta, light.solid_distance
    scatter = np.zeros(low.shape, np.uint8)
    for k in np.flatnonzero(asked):
        x, y, w, h = stats[k, :4].tolist()
        m = int(FRINGES_PX)
        box = np.s_[max(0, y - m) : y + h + m, max(0, x - m) : x + w + m]
        place = _place(labels[box] == k, lightness[box], light.delta[box], low[box], noise)
        told = _told(place, even)
        if told.any() and _lit_within(place):
            continue
        grains = told >= _GRAINS
        if grains.any():
            filled = to_the_rim(grains.view(np.uint8), place)
            filled *= (told == _MANY).any() or not _beside_even(grains, filled, place)
        else:
            filled = _one_piece(told, place)
        if not filled.any():
            continue
        if delta is light.delta:
            delta, distance = light.delta.copy(), light.solid_distance.copy()
        lay_tone(delta[box], distance[box], place, filled, labels[box])
        if grains.any():
            scatter[box] |= filled
    if delta is light.delta:
        return light
    return replace(light, delta=delta, solid_distance=distance, scatter=scatter)


def scattering(outlines: Sequence[np.ndarray], light: Light) -> np.ndarray:
    """Return which outlines lie mostly in pieces that scatter, (K,) bool.

    Parameters
    ----------
    outlines : sequence of (P, 2) ndarray
        Closed polygons, px.
    light : Light
    """
    told = np.zeros(len(outlines), bool)
    if light.scatter is None:
        return told
    rows, cols = light.scatter.shape
    for i, outline in enumerate(outlines):
        x0, y0 = np.maximum(outline.min(axis=0).astype(int), 0)
        x1, y1 = np.minimum(outline.max(axis=0).astype(int) + 1, (cols, rows))
        crop = light.scatter[y0:y1, x0:x1]
        own = drawn(outline - [x0, y0], (crop.shape[0], crop.shape[1]))
        told[i] = cv2.countNonZero(own & crop) > _MOST * max(cv2.countNonZero(own), 1)
    return told


def _steep(lightness: np.ndarray) -> np.ndarray:
    x = cv2.Sobel(lightness, cv2.CV_32F, 1, 0, scale=0.125, borderType=cv2.BORDER_REPLICATE)
    y = cv2.Sobel(lightness, cv2.CV_32F, 0, 1, scale=0.125, borderType=cv2.BORDER_REPLICATE)
    return np.sqrt(x * x + y * y)


def _place(
    component: np.ndarray, lightness: np.ndarray, delta: np.ndarray, low: np.ndarray, noise: float
) -> Place:
    whole = fill_holes(component.view(np.uint8))
    framed = cv2.copyMakeBorder(whole, 1, 1, 1, 1, cv2.BORDER_REPLICATE)
    # in a crop that it fills nothing ends the depth
    depth = np.minimum(cv2.distanceTransform(framed, cv2.DIST_L2, 5)[1:-1, 1:-1], max(whole.shape))
    colour = cv2.GaussianBlur(np.ascontiguousarray(delta[..., 1:]), (0, 0), _COLOUR_SIGMA_PX)
    return Place(whole, depth, lightness, np.hypot(colour[..., 0], colour[..., 1]), low > 0, noise)


def _told(place: Place, even_oil: float) -> np.ndarray:
    """Where lines cross what scatters, with its fringes, `_LINES`, `_GRAINS` or `_MANY`, (M, N) uint8."""
    nothing = np.zeros_like(place.whole)
    deepest = float(place.depth.max())
    # light that is only bent is not gained
    if deepest < _RIM_PX or float(place.lightness[place.whole > 0].mean()) > 0:
        return nothing
    steep = _steep(place.lightness)
    even = steep < max(even_oil, _EVEN * percentile(steep[place.whole > 0], 80))
    radius = float(np.clip(_FACE * deepest, *_FACE_PX))
    calm = (even & (place.whole > 0)).view(np.uint8)
    faces = opened(calm, radius)
    faces = calm & dilated(faces, radius)  # corners of a face too
    coloured = place.chroma > _COLOURED * percentile(np.abs(place.lightness[place.whole > 0]), 90)
    other = faces | opened(((coloured | ~place.low) & (place.whole > 0)).view(np.uint8), _RIM_PX)
    rough = place.whole
    if other.any():
        rough = opened(place.whole & (1 - dilated(other, 1.0)), max(_RIM_PX, radius))
    if not rough.any():
        return nothing
    largest = numbered(faces, 8)[2][1:, cv2.CC_STAT_AREA].max(initial=0)
    least_px2 = max(_LEAST_PX2, _CORNER * largest)
    count, parts, stats = numbered(rough, 8)
    told = nothing
    for k in range(1, count):
        part = parts == k
        if stats[k, cv2.CC_STAT_AREA] >= least_px2 and _grainy(part.view(np.uint8), even, deepest):
            told[part] = _scatters(part, place)
    return told


def _one_piece(told: np.ndarray, place: Place) -> np.ndarray:
    """A full piece crossed by a few lines: of tissue or with facets, it is one, (M, N) uint8; or nothing."""
    size = cv2.countNonZero(place.whole)
    if cv2.countNonZero(told) == size and solidity(opened(place.whole, _FRINGED_PX)) >= _ONE:
        filled = to_the_rim(told, place)
        if cv2.countNonZero(filled) >= _MOSTLY * size and solidity(filled) >= _ONE:
            return filled
    return np.zeros_like(told)


def _beside_even(grains: np.ndarray, filled: np.ndarray, place: Place) -> bool:
    """Whether one full piece has few grains, on one side only: lines of its facets, beside an even face.

    Tissue that lies against an even piece has a full outline of its own.
    """
    if np.count_nonzero(grains) > _ALL * cv2.countNonZero(place.whole):
        return False
    return solidity(place.whole) > _FULL_PIECE and solidity(filled) < _OWN_OUTLINE


def _lit_within(place: Place) -> bool:
    """Whether light lies in the middle of a ragged place, bent inwards by sides of a crystal seen in bits.

    Tissue is as bright anywhere, and where an outline is ragged its pieces lie apart, with dark rims between.
    """
    if solidity(place.whole) > _FULL_PIECE:
        return False
    depth = cv2.distanceTransform(hull_mask(place.whole), cv2.DIST_L2, 5)
    middle = place.lightness[depth > _MIDDLE * depth.max()]
    line = _LINE * percentile(np.abs(place.lightness[place.whole > 0]), 90)
    bright, dark = np.count_nonzero(middle > line), np.count_nonzero(middle < -line)
    return bright > max(_LIT * middle.size, dark)


def _grainy(part: np.ndarray, even: np.ndarray, deepest: float) -> bool:
    """Whether even places in a rough part are no larger than the gaps between grains."""
    radius = float(np.clip(_GAP * deepest, *_GAP_PX))
    calm = cv2.countNonZero(opened(part & even.view(np.uint8), radius))
    return calm < _CALM * cv2.countNonZero(part)


def _scatters(part: np.ndarray, place: Place) -> int:
    """Whether a rough place is both darker and brighter than usual further in than its rim, and has grains.

    The more grains the larger it is; facets are few, whatever their size.
    """
    # oil that pieces lie round is no gap between grains
    holes = opened((part & ~place.low).view(np.uint8), _GAP_PX[0])
    solid = part & (dilated(holes, _RIM_PX) == 0) if holes.any() else part
    inside = solid & (place.depth > _rim_px(part, place))
    size = np.count_nonzero(inside)
    if size < _INSIDE_PX2:
        return 0
    strong = percentile(np.abs(place.lightness[part]), 90)
    usual, step = median(place.lightness[inside]), max(_LINE * strong, place.noise)
    dark, bright = place.lightness < usual - step, place.lightness > usual + step
    shares = [np.count_nonzero(told & inside) for told in (dark, bright, place.lightness > -_CLEAR * strong)]
    if (np.array(shares) < np.array([_DARK, _BRIGHT, _GAPS]) * size).any():
        return 0
    if _takes_light(dark & inside, bright & inside, place.chroma, strong):
        return 0
    within = solid & (place.depth > min(_WITHIN_PX, _WITHIN * float(place.depth[part].max())))
    grains = sum(_lines_and_gaps(told & within) for told in (dark, bright))
    wide = float(np.sqrt(4 / np.pi * np.count_nonzero(part)))
    fewest = max(_FEW_GRAINS, _GRAINS_PX * wide)
    return _MANY if grains >= _MORE * fewest else _GRAINS if grains >= fewest else _LINES


def _takes_light(dark: np.ndarray, bright: np.ndarray, chroma: np.ndarray, strong: float) -> bool:
    """Whether what is dark has a colour that what is bright has not: grains that absorb, with oil between.

    Light that is bent away is missing in all colours alike, so tissue is no more coloured where it is dark.
    """
    own, beside = median(chroma[dark]), median(chroma[bright])
    return own > max(_OWN_COLOUR * beside, _SOME_COLOUR * strong)


def _lines_and_gaps(told: np.ndarray) -> int:
    """How many lines there are, and gaps that they close round where they run together to a net."""
    contours, _ = cv2.findContours(told.view(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    return sum(len(contour) >= _GRAIN_PX for contour in contours)


def _rim_px(part: np.ndarray, place: Place) -> float:
    """How far in a rim reaches: to where the mean lightness has come half way back from its darkest."""
    depth = place.depth[part].astype(int)
    count = np.maximum(np.bincount(depth), 1)
    mean = np.bincount(depth, place.lightness[part]) / count
    darkest = int(np.argmin(mean[: max(2, round(_OUTER * len(mean)))]))
    inner = float(np.average(mean[darkest:], weights=count[darkest:]))
    back = np.flatnonzero(mean[darkest:] >= 0.5 * (mean[darkest] + inner))
    return darkest + float(back[0] if len(back) else len(mean)) + _SOFT_PX
