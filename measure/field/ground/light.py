"""The light of a field: how far each pixel differs from the oil around it."""

from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import cv2
import numpy as np

from measure.errors import InvalidInput
from measure.field.basics.quick import colours_at, length, less, median, median_colour, quantile
from measure.field.basics.strips import Reduced, Room, own_memory, smoothed_strips, strips
from measure.field.basics.tone import light_weight
from measure.field.ground.background import evaluate, fit_surface, follow_oil, sample_places
from measure.field.ground.dark_blank import refuse_dark_blank
from measure.field.ground.light_bands import light_bands
from measure.field.ground.shade_edge import Shade, straight_shade
from measure.field.ground.soft_ground import followed_haze
from measure.model import Picture

_COARSE = 8  # the oil varies slowly: an eighth of the picture's size holds it
_FLOOR = 0.45  # CIELAB; 8-bit steps and compression leave this much doubt even in a flat oil
_FLAT = 0.35  # noise of a colour over that of the lightness, below which compression has flattened it
_HARMFUL, _HARMLESS = 6.0, 3.0  # steps in units of the doubt that reach the level of finding, and that do not
_LARGEST_STEP = 10.0  # CIELAB
_TAIL = 0.98  # share of the oil within its steps
_FIND_SIGMA_PX = 1.0
_FINEST_SIGMA = 13.0  # of a wide smoothing, in the px it is done at
_SUM = np.ones((1, 3), np.float32)
_DISTANCE_ROWS = 128  # worked at once; the library's last digit depends on how many they are
_FEW = 60_000  # pixels the noise is read from


@dataclass(frozen=True)
class Light:
    """A field with its light taken out. Immutable; kept for live preview and hand edits.

    Attributes
    ----------
    delta : (M, N, 3) ndarray of float32
        CIELAB difference of each pixel from the local oil.
    noise : (3,) ndarray of float
        Robust standard deviation of the oil in L, a, b.
    oil_lab : (3,) ndarray of float
        Typical oil colour.
    background_lab : (m, n, 3) ndarray of float32
        Oil colour over the field, coarse.
    solid_distance : (M, N) ndarray of float32
        Distance from the oil in units of its noise after light smoothing, used to find pieces.
    oil_rgb : tuple of float
        Typical oil colour, 0..255.
    clipped : float
        Share of pixels at either end of the range.
    zone_mask : (M, N) ndarray of uint8 or None
        1 inside an excluded zone.
    light_weight : float
        1 where the picture was blurred in linear light, 0 where in its stored values, 0.5 where not told.
    shade : float
        Share of the light that was lost in shade with straight edges, which was taken out; 0 without.
    cast : float
        Share of the picture in shadows that pieces throw, which were taken out; 0 without.
    bands : float
        Share of the light by which bands from frame to frame differ, which were taken out; 0 without.
    contrast : str
        "slopes" where all pieces were filled from flank to flank, "one side" where only clear ones were,
        "glows" where those of phase contrast were taken out, or nothing.
    scatter : (M, N) ndarray of uint8 or None
        1 in pieces that scatter light, which were filled with one tone; None without.
    """

    delta: np.ndarray
    noise: np.ndarray
    oil_lab: np.ndarray
    background_lab: np.ndarray
    solid_distance: np.ndarray
    oil_rgb: tuple[float, float, float]
    clipped: float
    zone_mask: np.ndarray | None = None
    light_weight: float = 1.0
    shade: float = 0.0
    cast: float = 0.0
    bands: float = 0.0
    contrast: str = ""
    scatter: np.ndarray | None = None

    @property
    def unevenness(self) -> float:
        """Peak-to-peak of the background lightness, CIELAB units."""
        lightness = self.background_lab[..., 0]
        return float(lightness.max() - lightness.min())


def zone_mask(shape: tuple[int, int], zones: tuple[np.ndarray, ...]) -> np.ndarray | None:
    """Return a mask with 1 inside the zones, (M, N) uint8, or None when there are none."""
    if not len(zones):
        return None
    mask = np.zeros(shape, np.uint8)
    for zone in zones:
        # corner of the first pixel is 0, 0; cv2 counts from the pixel's centre
        points = np.round((np.asarray(zone, np.float64) - 0.5) * 16).astype(np.int32)
        cv2.fillPoly(mask, [points.reshape(-1, 1, 2)], 1, shift=4)
    return mask


def _unit_rgb(pixels: np.ndarray) -> np.ndarray:
    return pixels.astype(np.float32) * np.float32(1.0 / np.iinfo(pixels.dtype).max)


def _lab(pixels: np.ndarray, blank: Picture | None, room: Room) -> np.ndarray:
    """CIELAB of a picture, the blank divided out of it when there is one, (M, N, 3) float32."""
    if blank is not None:
        return cv2.cvtColor(_without_light(_unit_rgb(pixels), blank).astype(np.float32), cv2.COLOR_RGB2Lab)
    lab = room(pixels.shape)
    for strip in strips(len(pixels)):
        cv2.cvtColor(_unit_rgb(pixels[strip]), cv2.COLOR_RGB2Lab, dst=lab[strip])
    return lab


def _clipped(pixels: np.ndarray) -> float:
    """Share of pixels with a channel at either end of the range."""
    unit = _unit_rgb(np.arange(np.iinfo(pixels.dtype).max + 1).astype(pixels.dtype))
    at_end = ((unit <= 0.004) | (unit >= 0.996)).view(np.uint8)
    low, high = (int(np.flatnonzero(at_end == 0)[i]) for i in (0, -1))
    count = 0
    for strip in strips(len(pixels)):
        count += cv2.countNonZero(cv2.inRange(pixels[strip], (low, low, low), (high, high, high)))
    size = pixels.shape[0] * pixels.shape[1]
    return (size - count) / size


def _without_light(rgb: np.ndarray, blank: Picture) -> np.ndarray:
    """Divide the blank-oil picture out, in linear light."""
    if blank.pixels.shape != rgb.shape:
        raise InvalidInput(
            f"The blank-oil picture {blank.name} is {blank.width_px} x {blank.height_px} px but the field is "
            f"{rgb.shape[1]} x {rgb.shape[0]} px; take both at the same camera setting."
        )
    refuse_dark_blank(blank)
    # noise and specks of the blank must not be stamped on the field
    light = cv2.GaussianBlur(cv2.medianBlur(_as_uint8(blank.pixels), 5), (0, 0), 8).astype(np.float32) / 255.0
    light = np.maximum(light, 0.02) ** 2.2
    even = (rgb**2.2) * (np.median(light.reshape(-1, 3), axis=0) / light)
    return np.clip(even, 0.0, 1.2) ** np.float32(1 / 2.2)


def _as_uint8(pixels: np.ndarray) -> np.ndarray:
    return pixels if pixels.dtype == np.uint8 else (pixels >> 8).astype(np.uint8)


def _oil_noise(delta: np.ndarray, oil: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Robust spread of the oil per channel, and the (K, 3) samples it comes from."""
    sample = delta[oil]
    if len(sample) < 30:
        sample = delta.reshape(-1, 3)
    noise = 1.4826 * median_colour(np.abs(less(sample, median_colour(sample))))
    return np.maximum(noise, 1e-3), sample


def _colour_steps(smooth: np.ndarray, noise: np.ndarray) -> np.ndarray:
    """Doubt that compression leaves in each channel of the oil, (3,); the usual floor where noise is left.

    Compression keeps the colour of most blocks flat and moves that of the others by whole steps, which no
    median shows.
    """
    flattened, floor = (noise < _FLAT * noise[0]) & (np.arange(3) > 0), np.full(3, _FLOOR)
    if not flattened.any():
        return floor
    oil = np.abs(smooth[:, 0]) < 2.0 * max(float(noise[0]), _FLOOR)
    oil &= np.abs(smooth[:, 1:]).max(axis=1) < _LARGEST_STEP
    if oil.sum() >= 30:
        tail = np.quantile(np.abs(smooth[oil]), _TAIL, axis=0)
        steps = flattened & (tail > _HARMFUL * _FLOOR)
        floor[steps] = tail[steps] / _HARMLESS
    return floor


def _whitening(sample: np.ndarray, noise: np.ndarray, floor: np.ndarray) -> np.ndarray:
    scale = np.maximum(noise, floor)
    if len(sample) < 2:  # a picture of one pixel varies by nothing
        return np.diag(1 / scale)
    clipped = np.clip(sample, -3 * scale, 3 * scale)
    covariance = np.cov(clipped.T) + np.diag(floor**2)
    values, vectors = np.linalg.eigh(covariance)
    return (vectors / np.sqrt(np.maximum(values, 1e-6))) @ vectors.T


def _coarse_size(shape: tuple[int, int]) -> tuple[int, int]:
    return max(16, -(-shape[0] // _COARSE)), max(16, -(-shape[1] // _COARSE))


def prepare(
    picture: Picture,
    blank: Picture | None = None,
    zones: tuple[np.ndarray, ...] = (),
    room: Room = own_memory,
) -> Light:
    """Take the light out of a picture.

    Parameters
    ----------
    picture : Picture
        The field.
    blank : Picture, optional
        A picture of the oil alone at the same setting; it is divided out first.
    zones : tuple of (K, 2) ndarray
        Excluded polygons, x and y in px.
    room : callable, optional
        Gives an array of a shape to be filled with float32; by default in memory of its own.

    Returns
    -------
    light : Light

    Raises
    ------
    InvalidInput
        If the blank has another size or is nearly black.
    """
    clipped = _clipped(picture.pixels)
    lab = _lab(picture.pixels, blank, room)
    mask = zone_mask(lab.shape[:2], zones)
    seen = _seen(lab)
    bands = light_bands(seen.few_smooth, seen.step)
    if bands is not None:
        for strip in strips(len(lab)):
            lab[strip] = bands.evened(lab[strip], strip.start)
        seen = _seen(lab)
    shade = straight_shade(lab, seen.coarse, seen.samples, _usable(mask, lab.shape[:2]))
    if shade is not None:
        _raise(lab, shade)
        seen = _seen(lab)
    even, background = _background(seen, lab.shape[:2], mask)
    oil = _Oil(background, lab.shape[:2])
    # where there is haze, nothing fainter than its own unevenness tells a piece
    noise, whitening = _noise(seen, oil if background is even else _Oil(even, lab.shape[:2]), mask)
    distance = _taken_out(lab, oil, whitening, room)
    if mask is not None:
        distance[mask > 0] = 0.0
    oil_lab = median_colour(background.reshape(-1, 3))
    oil_rgb = cv2.cvtColor(oil_lab.reshape(1, 1, 3).astype(np.float32), cv2.COLOR_Lab2RGB)[0, 0] * 255
    for array in (lab, distance):
        array.setflags(write=False)
    oil_rgb = tuple(float(v) for v in oil_rgb)
    weight = light_weight(picture.pixels, distance)
    return Light(
        lab,
        noise,
        oil_lab,
        background,
        distance,
        oil_rgb,
        clipped,
        mask,
        weight,
        shade.lost if shade else 0.0,
        bands=bands.swing if bands else 0.0,
    )


def _usable(mask: np.ndarray | None, shape: tuple[int, int]) -> np.ndarray | None:
    """Places of `sample_places` outside the excluded zones."""
    return None if mask is None else mask[np.ix_(*sample_places(shape))] == 0


def _raise(lab: np.ndarray, shade: Shade) -> None:
    """Raise the light of the shaded side of a picture, in place."""
    x = np.arange(lab.shape[1])[None, :]
    for strip in strips(len(lab)):
        lab[strip] = shade.raised(lab[strip], x, np.arange(strip.start, strip.stop)[:, None])


class _Seen(NamedTuple):
    """What is read from a picture and from its smoothed copy, which is too large to be kept."""

    samples: np.ndarray  # smoothed, where the surface is fitted
    coarse: np.ndarray  # smoothed, reduced to the coarse size
    few: np.ndarray  # some pixels
    few_smooth: np.ndarray  # the same, smoothed
    step: int  # rows and columns from one of these to the next


def _seen(lab: np.ndarray) -> _Seen:
    shape = lab.shape[:2]
    rows, cols = sample_places(shape)
    step = max(1, int(np.sqrt(shape[0] * shape[1] / _FEW)))
    reduced = Reduced(shape, _coarse_size(shape))
    samples, few = [], []
    for strip, smooth in smoothed_strips(lab, _FIND_SIGMA_PX):
        reduced.add(smooth)
        here = rows[(rows >= strip.start) & (rows < strip.stop)] - strip.start
        samples.append(smooth[here[:, None], cols])
        few.append(smooth[-strip.start % step :: step, ::step].copy())
    kept = lab[::step, ::step].copy()
    return _Seen(np.concatenate(samples), reduced.whole(), kept, np.concatenate(few), step)


class _Oil:
    """Rows of the oil's colour, linear between the coarse pixels' centres.

    Parameters
    ----------
    background : (m, n, 3) ndarray of float32
    shape : (int, int)
        Rows and columns of the picture.
    """

    def __init__(self, background: np.ndarray, shape: tuple[int, int]) -> None:
        rows, cols = shape
        coarse = len(background)
        self._across = cv2.resize(background, (cols, coarse), interpolation=cv2.INTER_LINEAR)
        place = np.clip((np.arange(rows) + 0.5) * (coarse / rows) - 0.5, 0.0, coarse - 1.0)
        self._above = np.minimum(place.astype(int), coarse - 2)
        self._part = (place - self._above).astype(np.float32)

    def runs(self, strip: slice) -> list[slice]:
        """Cut rows into those between the same two coarse rows."""
        ends = np.flatnonzero(np.diff(self._above[strip])) + strip.start + 1
        return [slice(*pair) for pair in pairwise([strip.start, *ends.tolist(), strip.stop])]

    def colours(self, rows: slice) -> np.ndarray:
        """Return the colours of rows between the same two coarse rows, (R, N, 3) ndarray of float32."""
        above = int(self._above[rows.start])
        slope = self._across[above + 1] - self._across[above]
        return self._across[above] + self._part[rows, None, None] * slope

    def row(self, row: int) -> np.ndarray:
        """Return the colours of one row, (N, 3) ndarray of float32."""
        return self.colours(slice(row, row + 1))[0]


def _taken_out(lab: np.ndarray, oil: _Oil, whitening: np.ndarray, room: Room) -> np.ndarray:
    """Subtract the oil from a picture, in place; return its noise-normalised distance from the oil."""
    distance = room(lab.shape[:2])
    white = np.empty((_DISTANCE_ROWS, *lab.shape[1:]), np.float32)
    for strip, smooth in smoothed_strips(lab, _FIND_SIGMA_PX, _DISTANCE_ROWS):
        # the background is so smooth that it may be taken out after the smoothing as well as before
        for rows in oil.runs(strip):
            colours = oil.colours(rows)
            lab[rows] -= colours
            smooth[rows.start - strip.start : rows.stop - strip.start] -= colours
        own = cv2.transform(smooth, whitening, dst=white[: len(smooth)])
        np.sqrt(cv2.transform(np.square(own, out=own), _SUM), out=distance[strip])
    return distance


def _background(
    seen: _Seen, shape: tuple[int, int], mask: np.ndarray | None
) -> tuple[np.ndarray, np.ndarray]:
    """Oil colour over the field at coarse size: a smooth surface and what the oil shows beyond it.

    First without haze, then with it; the same array where there is none.
    """
    surface = fit_surface(seen.samples, shape, _usable(mask, shape))
    size = _coarse_size(shape)
    background = evaluate(surface, size)
    sigma = 0.06 * max(size)
    for reach in (4.0, 3.0):
        residual = seen.coarse - background
        far = length(residual) > reach * surface.scale
        off: np.ndarray = cv2.dilate(far.astype(np.uint8), np.ones((3, 3), np.uint8))
        if mask is not None:
            off |= cv2.resize(mask, size[::-1], interpolation=cv2.INTER_NEAREST)
        background = background + _followed(residual, (1 - off).astype(np.float32), sigma)
    excluded = None if mask is None else cv2.resize(mask, size[::-1], interpolation=cv2.INTER_NEAREST)
    return background, followed_haze(seen.coarse, background, surface.scale, sigma, excluded)


def _followed(residual: np.ndarray, oil: np.ndarray, sigma: float) -> np.ndarray:
    """`follow_oil` at a size that suits its reach: a wide smoothing shows no detail."""
    reduce = int(sigma / _FINEST_SIGMA)
    if reduce < 2:
        return follow_oil(residual, oil, sigma)
    rows, cols = oil.shape
    size = (-(-cols // reduce), -(-rows // reduce))
    share = cv2.resize(oil, size, interpolation=cv2.INTER_AREA)
    total = cv2.resize(residual * oil[..., None], size, interpolation=cv2.INTER_AREA)
    mean = total / np.maximum(share, 1e-6)[..., None]
    return cv2.resize(follow_oil(mean, share, sigma * size[0] / cols), (cols, rows))


def _noise(seen: _Seen, oil: _Oil, mask: np.ndarray | None) -> tuple[np.ndarray, np.ndarray]:
    """Noise of the unsmoothed oil, (3,), and what turns smoothed differences into units of it, (3, 3)."""
    step = seen.step
    colours = np.stack([oil.row(row * step)[::step] for row in range(len(seen.few))])
    some, some_smooth = ((few - colours).reshape(-1, 3) for few in (seen.few, seen.few_smooth))
    inside = np.ones(len(some), bool) if mask is None else mask[::step, ::step].ravel() == 0
    away = length(some_smooth)
    # the oil lies about zero: narrow on it from the pixels nearest to zero
    limit = max(3.0, 3.0 * quantile(away[inside], 0.25)) if inside.any() else 3.0
    for _ in range(6):
        near = inside & (away < limit)
        if near.sum() < 50:
            break
        limit = max(2.0, 3.0 * 0.85 * median(away[near]))
    noise, _ = _oil_noise(some, near)
    smooth_noise, sample = _oil_noise(some_smooth, near)
    floor = _colour_steps(colours_at(some_smooth, inside), noise)
    return noise, _whitening(sample, smooth_noise, floor).astype(np.float32)
