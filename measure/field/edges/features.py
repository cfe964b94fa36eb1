"""What the picture shows inside each outline: colour against the oil, rim and core, texture, edge, flags."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from measure.field.basics.shape import shape_columns
from measure.field.basics.strips import strips
from measure.field.edges.edge_width import measure_edges
from measure.field.edges.uncertainty import size_uncertainty_px
from measure.field.ground.light import Light
from measure.flags import bits
from measure.model import Picture
from measure.outlines import bounds

BANDS = 8  # equal steps of relative depth, from the outline to the innermost pixel
_SHIFT = 4  # sub-pixel bits of the fill
_DARKEST = 0.002  # linear light below which a camera tells nothing more
SMALL_PX = 10.0
FAINT_CONTRAST = 8.0  # edge step in units of the oil's noise
CLIPPED_SHARE = 0.05


class Bands(NamedTuple):
    """Sums over the pixels of each piece and depth band, each (K, BANDS)."""

    pixels: np.ndarray
    linear: np.ndarray  # (K, BANDS, 3) linear red, green, blue
    lab: np.ndarray  # (K, BANDS, 3) CIELAB difference from the oil
    lightness_squared: np.ndarray


def feature_columns(
    outlines: Sequence[np.ndarray],
    picture: Picture,
    light: Light,
    shape: dict[str, np.ndarray] | None = None,
    flags: np.ndarray | None = None,
) -> dict[str, np.ndarray]:
    """Measure what the picture shows in each outline.

    Optical densities are taken in linear light against the local oil, so neither white balance nor
    brightness changes them. The rim is the outer quarter of the depth, the core the inner half.

    Parameters
    ----------
    outlines : sequence of (P, 2) ndarray
        Closed polygons, x and y in px.
    picture : Picture
    light : Light
    shape : dict, optional
        The result of `shape_columns` for the same outlines, to save measuring them again.
    flags : (K,) ndarray of int, optional
        Flags already known (touching, overlap...); they are kept and widen the size uncertainty.

    Returns
    -------
    dict of str to (K,) ndarray
        Colour, density, structure, ``edge_width_px``, ``size_uncertainty_px`` and ``flags``
        (small, blurred, faint, clipped, rim_only, ragged, touches_frame).
    """
    shape = shape_columns(outlines) if shape is None else shape
    if not len(outlines):
        names = (*_COLOUR, *_DENSITY, "ring_share", "texture", "edge_width_px", "size_uncertainty_px")
        return {name: np.zeros(0) for name in names} | {"flags": np.zeros(0, dtype=np.int64)}
    labels, corner = label_image(outlines, light.delta.shape[:2])
    where, piece, band = _depth_bands(labels, len(outlines))
    height, width = labels.shape
    crop = np.s_[corner[0] : corner[0] + height, corner[1] : corner[1] + width]
    delta = light.delta[crop].reshape(-1, 3)[where]
    pixels = picture.pixels[crop].reshape(-1, 3)[where]
    oil_lab = oil_at(light, shape["centre_x_px"], shape["centre_y_px"])
    bands = _band_sums(delta, oil_lab, piece, band, len(outlines))
    columns = _colour(bands) | _mean_rgb(pixels, piece, band, len(outlines))
    columns |= _densities(bands, oil_lab)
    edges = measure_edges(outlines, light.delta, light.noise, labels, corner, shape["feret_min_px"])
    columns["texture"] = _texture(bands, float(light.noise[0]))
    columns["edge_width_px"] = edges.width_px
    known = np.zeros(len(outlines), dtype=np.int64) if flags is None else np.asarray(flags, dtype=np.int64)
    clipped = _clipped_share(pixels, piece, len(outlines))
    known = known | _flags(shape, columns, edges.contrast, clipped)
    known |= np.where(touches_border(outlines, light.delta.shape[:2]), bits("touches_frame"), 0)
    columns["flags"] = known
    columns["size_uncertainty_px"] = size_uncertainty_px(
        np.sqrt(4.0 * shape["area_px2"] / np.pi),
        shape["perimeter_px"],
        edges.width_px,
        edges.contrast,
        cut=(known & bits("touching")) > 0,
        hidden=(known & bits("overlap", "broken_rim")) > 0,
        rim_only=(known & bits("rim_only")) > 0,
    )
    return columns


_COLOUR: tuple[str, ...] = ("red", "green", "blue", "lightness_step", "green_red_step", "blue_yellow_step")
_COLOUR += ("rim_lightness_step", "core_lightness_step", "core_colour_step")
_DENSITY: tuple[str, ...] = (
    "red_density",
    "green_density",
    "blue_density",
    "core_red_density",
    "core_green_density",
)
_DENSITY += ("core_blue_density", "rim_density", "centre_density")


def label_image(outlines: Sequence[np.ndarray], size: tuple[int, int]) -> tuple[np.ndarray, tuple[int, int]]:
    """Draw outlines into a crop that holds them all, larger first so that nothing is buried.

    Returns
    -------
    labels : (m, n) ndarray of int32
        Row of the outline plus one; 0 in the oil.
    corner : (int, int)
        Row and column of the crop's first pixel in the picture.
    """
    import cv2

    box = bounds(outlines).astype(outlines[0].dtype)
    x0, y0 = (int(max(0, np.floor(v) - 3)) for v in box[:, :2].min(axis=0))
    x1, y1 = (int(min(n, np.ceil(v) + 3)) for v, n in zip(box[:, 2:].max(axis=0), size[::-1], strict=True))
    labels = np.zeros((max(1, y1 - y0), max(1, x1 - x0)), dtype=np.int32)
    extent = (box[:, 2] - box[:, 0]) * (box[:, 3] - box[:, 1])
    for k in np.argsort(-extent, kind="stable"):
        # corner of the first pixel is 0, 0; the library counts from the pixel's centre
        points = np.round((outlines[k] - (x0 + 0.5, y0 + 0.5)) * (1 << _SHIFT)).astype(np.int32)
        cv2.fillPoly(labels, [points.reshape(-1, 1, 2)], int(k) + 1, shift=_SHIFT)
    return labels, (y0, x0)


def oil_at(light: Light, x_px: np.ndarray, y_px: np.ndarray) -> np.ndarray:
    """CIELAB colour of the oil at places of the field, (K, 3)."""
    grid = light.background_lab
    row = (y_px / light.delta.shape[0] * grid.shape[0]).astype(int)
    column = (x_px / light.delta.shape[1] * grid.shape[1]).astype(int)
    rows, columns = grid.shape[0] - 1, grid.shape[1] - 1
    return grid[np.minimum(np.maximum(row, 0), rows), np.minimum(np.maximum(column, 0), columns)]


def touches_border(
    outlines: Sequence[np.ndarray], size: tuple[int, int], margin_px: float = 0.75
) -> np.ndarray:
    """Whether each outline reaches the border of the picture, (K,) ndarray of bool."""
    box = bounds(outlines)
    beyond = box[:, 2:] - size[::-1]
    return (box[:, :2] <= margin_px).any(axis=1) | (beyond >= -margin_px).any(axis=1)


def _depth_bands(labels: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Flat index, piece (from 0) and depth band of every pixel of a piece."""
    import cv2

    rows, cols = labels.shape
    framed = np.zeros((rows + 2, cols + 2), bool)  # what touches the border of the crop has its border there
    for strip in strips(rows):  # a pixel with another piece above it or to its left parts the two
        own, apart = labels[strip], framed[strip.start + 1 : strip.stop + 1, 1:-1]
        apart[:] = own > 0
        apart[:, 1:] &= (own[:, 1:] == own[:, :-1]) | (own[:, :-1] == 0)
        above = labels[max(0, strip.start - 1) : strip.stop - 1]
        apart[len(own) - len(above) :] &= (own[len(own) - len(above) :] == above) | (above == 0)
    depth = cv2.distanceTransform(framed.view(np.uint8), cv2.DIST_L2, 3)
    where = np.flatnonzero(labels > 0)
    piece = labels.ravel()[where] - 1
    depth = depth.ravel()[where + 2 * (where // cols) + cols + 3]
    deepest = np.zeros(count, dtype=np.float32)
    np.maximum.at(deepest, piece, depth)
    share = np.maximum(depth - 0.5, 0.0) / np.maximum(deepest - 0.49, 0.5)[piece]
    return where, piece, np.minimum((share * BANDS).astype(np.int64), BANDS - 1)


def _linear_rgb(lab: np.ndarray) -> np.ndarray:
    """Linear red, green, blue of CIELAB colours, (N, 3)."""
    import cv2

    return cv2.cvtColor(np.ascontiguousarray(lab, dtype=np.float32)[None], cv2.COLOR_Lab2LRGB)[0]


def _band_sums(
    delta: np.ndarray, oil_lab: np.ndarray, piece: np.ndarray, band: np.ndarray, count: int
) -> Bands:
    linear = _linear_rgb(delta + oil_lab[piece])
    cell = piece * BANDS + band

    def sums(values: np.ndarray) -> np.ndarray:
        return np.bincount(cell, weights=values, minlength=count * BANDS).reshape(count, BANDS)

    return Bands(
        np.bincount(cell, minlength=count * BANDS).reshape(count, BANDS),
        np.stack([sums(linear[:, i]) for i in range(3)], axis=-1),
        np.stack([sums(delta[:, i]) for i in range(3)], axis=-1),
        sums(delta[:, 0] ** 2),
    )


# bands of the whole piece less the outermost one, which shares its pixels with the oil; the rim; ...
_WHOLE, _RIM, _CORE, _CENTRE = slice(1, BANDS), slice(0, 2), slice(4, BANDS), slice(6, BANDS)


def _mean(sums: np.ndarray, count: np.ndarray, part: slice) -> np.ndarray:
    """Mean over some bands, or over all where a tiny piece has no pixel there."""
    number = count[:, part].sum(axis=1)
    use = number > 0
    total = np.where(use[:, None], sums[:, part].sum(axis=1), sums.sum(axis=1))
    return total / np.maximum(np.where(use, number, count.sum(axis=1)), 1)[:, None]


def _colour(bands: Bands) -> dict[str, np.ndarray]:
    whole = _mean(bands.lab, bands.pixels, _WHOLE)
    rim, core = _mean(bands.lab, bands.pixels, _RIM), _mean(bands.lab, bands.pixels, _CORE)
    return {
        "lightness_step": whole[:, 0],
        "green_red_step": whole[:, 1],
        "blue_yellow_step": whole[:, 2],
        "rim_lightness_step": rim[:, 0],
        "core_lightness_step": core[:, 0],
        "core_colour_step": np.hypot(core[:, 1], core[:, 2]),
    }


def _mean_rgb(pixels: np.ndarray, piece: np.ndarray, band: np.ndarray, count: int) -> dict[str, np.ndarray]:
    """Mean colour inside, 0..255; like the other means of the whole without the outermost band."""
    inner = np.bincount(piece, weights=band > 0, minlength=count) > 0
    weight = ((band > 0) | ~inner[piece]).astype(float)
    number = np.maximum(np.bincount(piece, weights=weight, minlength=count), 1)
    scale = 255.0 / np.iinfo(pixels.dtype).max
    return {
        name: np.bincount(piece, weights=pixels[:, i] * weight, minlength=count) * scale / number
        for i, name in enumerate(("red", "green", "blue"))
    }


def _density(linear: np.ndarray, oil: np.ndarray) -> np.ndarray:
    return -np.log10(np.maximum(linear, _DARKEST) / np.maximum(oil, _DARKEST))


def _densities(bands: Bands, oil_lab: np.ndarray) -> dict[str, np.ndarray]:
    oil = _linear_rgb(oil_lab)
    whole, core = (_density(_mean(bands.linear, bands.pixels, part), oil) for part in (_WHOLE, _CORE))
    rim, centre = (_density(_mean(bands.linear, bands.pixels, part), oil) for part in (_RIM, _CENTRE))
    columns = {f"{name}_density": whole[:, i] for i, name in enumerate(("red", "green", "blue"))}
    columns |= {f"core_{name}_density": core[:, i] for i, name in enumerate(("red", "green", "blue"))}
    columns["rim_density"], columns["centre_density"] = rim.mean(axis=1), centre.mean(axis=1)
    each = np.stack(
        [
            _density(_mean(bands.linear, bands.pixels, slice(i, i + 1)), oil).mean(axis=1)
            for i in range(BANDS)
        ],
        1,
    )
    columns["ring_share"] = _ring_share(each)
    return columns


def _ring_share(profile: np.ndarray) -> np.ndarray:
    """Relative depth at which a ring along the edge has fallen half way to the middle; 1 without a ring."""
    strength = np.abs(profile)
    peak = strength[:, : BANDS // 2 + 1].argmax(axis=1)
    rows = np.arange(len(profile))
    top, middle = strength[rows, peak], strength[:, -2:].min(axis=1)
    half = (top + middle) / 2.0
    fallen = (strength <= half[:, None]) & (np.arange(BANDS)[None] > peak[:, None])
    first = np.where(fallen.any(axis=1), fallen.argmax(axis=1), BANDS)
    before = strength[rows, np.minimum(first, BANDS) - 1]
    after = strength[rows, np.minimum(first, BANDS - 1)]
    part = np.clip((before - half) / np.where(before == after, 1.0, before - after), 0.0, 1.0)
    share = (first - 0.5 + part) / BANDS
    ring = fallen.any(axis=1) & (top - middle > 0.2 * top + 0.01)
    return np.where(ring, np.clip(share, 0.0, 1.0), 1.0)


def _texture(bands: Bands, noise: float) -> np.ndarray:
    """Spread of lightness about the mean of its depth band, in the core, less the noise."""
    count, total = bands.pixels[:, _CORE], bands.lab[:, _CORE, 0]
    within = bands.lightness_squared[:, _CORE] - total**2 / np.maximum(count, 1)
    free = np.maximum(count - 1, 0).sum(axis=1)
    variance = within.sum(axis=1) / np.maximum(free, 1)
    return np.sqrt(np.maximum(variance - noise**2, 0.0))


def _clipped_share(pixels: np.ndarray, piece: np.ndarray, count: int) -> np.ndarray:
    top = np.iinfo(pixels.dtype).max
    edge = max(1, top // 255)
    red, green, blue = pixels.T
    end = np.maximum(np.maximum(red, green), blue) < edge
    end |= np.minimum(np.minimum(red, green), blue) > top - edge
    return np.bincount(piece, weights=end, minlength=count) / np.maximum(
        np.bincount(piece, minlength=count), 1
    )


def _flags(
    shape: dict[str, np.ndarray], columns: dict[str, np.ndarray], contrast: np.ndarray, clipped: np.ndarray
) -> np.ndarray:
    """Bits of the flags that the picture and the outline alone decide."""
    diameter = np.sqrt(4.0 * shape["area_px2"] / np.pi)
    solidity = shape["area_px2"] / np.maximum(shape["hull_area_px2"], 1e-9)
    circularity = np.sqrt(4.0 * np.pi * shape["area_px2"]) / np.maximum(shape["perimeter_px"], 1e-9)
    core = np.stack([columns[f"core_{c}_density"] for c in ("red", "green", "blue")]).mean(axis=0)
    seen = {
        "small": diameter < SMALL_PX,
        # out of focus beyond 4 px the edge is soft against any sharp lens; on small pieces sooner
        "blurred": np.nan_to_num(columns["edge_width_px"]) > np.clip(0.35 * diameter, 2.5, 6.0),
        "faint": contrast < FAINT_CONTRAST,
        "clipped": clipped > CLIPPED_SHARE,
        "rim_only": (np.abs(columns["rim_density"]) > 0.02)
        & (np.abs(core) < 0.3 * np.abs(columns["rim_density"])),
        "ragged": (solidity < 0.75) | ((circularity < 0.6) & (solidity < 0.85)),
    }
    found = np.zeros(len(diameter), np.int64)
    for name, mask in seen.items():
        found |= np.where(mask, bits(name), 0)
    return found
