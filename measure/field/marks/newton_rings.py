"""Newton's rings: light thrown to and fro between two glasses that nearly touch makes rings round that place.

The gap widens as the square of the distance, so the rings get narrower outwards, with colours that follow one
another (R. Hooke, Micrographia, 1665; I. Newton, Opticks, 1704). Their slopes all point to one place, and
all round it the light is the same at the same distance; nothing that lies in the oil by chance is so. They
take or add a share of the light, which is the same over oil and pieces, and that share is undone.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from measure.field.basics.quick import median

_LONG_PX = 640  # side of the picture they are looked for in, about
_FINE_PX = 1.0  # blur with which slopes are read
_POINTS, _PAIRS = 1500, 250
_STRONG = 6.0  # slopes over the usual one, from which they are of pieces
# sine of the angle from a slope to the way to the middle, and share of slopes within it: 0.09 by chance, to
# 0.15 in fields of pieces, a fifth in those of streaks
_SINE, _SHARE = 0.14, 0.25
_ROUNDED = 1.0001  # far more than the last digits that two ways of working out an angle differ in
_FAR = 0.9  # of the longer side, from the middle of the picture to that of the rings
_SECTORS = 36
_AGREE = 0.6  # correlation of the light of odd and even sectors over the distance
_LEAST = 0.004  # of the light that rings take and add
_FEWEST = 40  # pixels at a distance that tell its light
_NARROW = 0.12  # of the longer side: what changes more slowly is none of rings
RINGS = "Newton's rings, light between two glasses that nearly touch,"  # how what is said of them begins


@dataclass(frozen=True)
class Rings:
    """Rings about a place, px from the middle of the first pixel, and their light over that beside them.

    Attributes
    ----------
    x_px, y_px : float
    ratio : (R, 3) ndarray
        By distance in whole px and channel.
    """

    x_px: float
    y_px: float
    ratio: np.ndarray


def rings_note(rings: Rings) -> str:
    """Return what is said of rings taken off a picture."""
    place = f"{rings.x_px:.0f}, {rings.y_px:.0f} px"
    return (
        f"{RINGS} lie over the field round a place at {place}; they were taken off the picture. "
        "Clean the glasses or lay them apart."
    )


def without_rings(pixels: np.ndarray) -> tuple[np.ndarray, Rings | None]:
    """Take Newton's rings off a picture.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8 or uint16
        RGB.

    Returns
    -------
    pixels : (M, N, 3) ndarray
        The same array where there are none.
    rings : Rings or None
    """
    middle = find_middle(pixels)
    if middle is None:
        return pixels, None
    values = pixels.astype(np.float32)
    ratio = values / np.maximum(_usual(values), 1.0)
    x, y = _refined(ratio.mean(axis=2), middle)
    distance, sector = _round(pixels.shape[:2], x, y)
    told = [_profile(ratio[..., i], distance, sector) for i in range(3)]
    if max(agree for _, agree in told) < _AGREE:
        return pixels, None
    light = np.stack([profile for profile, _ in told], axis=1)
    if np.abs(light).mean() < _LEAST:
        return pixels, None
    rings = Rings(x, y, 1.0 + light)
    at = np.arange(len(light))
    for i in range(3):
        values[..., i] /= np.interp(distance, at, rings.ratio[:, i]).astype(np.float32)
    most = np.iinfo(pixels.dtype).max
    return np.clip(np.rint(values), 0, most).astype(pixels.dtype), rings


def find_middle(pixels: np.ndarray) -> tuple[float, float] | None:
    """Place to which the faint slopes of a picture point, x and y in px; None where they point anywhere."""
    whole = pixels if pixels.dtype == np.uint8 else (pixels >> 8).astype(np.uint8)
    scale = max(1, round(max(whole.shape[:2]) / _LONG_PX))
    small = cv2.resize(whole, None, fx=1 / scale, fy=1 / scale, interpolation=cv2.INTER_AREA)
    best: tuple[float, float, float] = (_SHARE, 0.0, 0.0)
    for channel in (1, 2):
        plane = cv2.GaussianBlur(small[..., channel].astype(np.float32), (0, 0), _FINE_PX)
        across, down = cv2.Sobel(plane, cv2.CV_32F, 1, 0), cv2.Sobel(plane, cv2.CV_32F, 0, 1)
        slope = np.hypot(across, down)
        usual = median(slope.ravel())
        at = np.flatnonzero((slope > usual) & (slope < max(_STRONG * usual, 1e-3)))
        if len(at) < _POINTS // 5:
            continue
        rng = np.random.default_rng(0)
        y, x = np.divmod(at[rng.integers(0, len(at), min(_POINTS, len(at)))], slope.shape[1])
        place = np.stack([x, y], axis=1).astype(float)
        way = np.stack([across[y, x], down[y, x]], axis=1)
        best = max(best, _pointed_to(place, way / np.hypot(*way.T)[:, None], small.shape[:2], rng))
    if best[0] <= _SHARE:
        return None
    return best[1] * scale + (scale - 1) / 2, best[2] * scale + (scale - 1) / 2


def _pointed_to(
    place: np.ndarray, way: np.ndarray, shape: tuple[int, ...], rng: np.random.Generator
) -> tuple[float, float, float]:
    """Share of slopes that point to or from one place, and that place."""
    one, two = rng.integers(0, len(place), (2, _PAIRS))
    cross = way[one, 0] * way[two, 1] - way[one, 1] * way[two, 0]
    gap = place[two] - place[one]
    use = np.abs(cross) > 0.05
    reach = (gap[use, 0] * way[two][use, 1] - gap[use, 1] * way[two][use, 0]) / cross[use]
    middles = place[one][use] + reach[:, None] * way[one][use]
    centre = np.array(shape[1::-1]) / 2
    middles = middles[np.hypot(*(middles - centre).T) < _FAR * max(shape)]
    best = (0.0, 0.0, 0.0)
    for x, y in middles[_most(place, way, middles) > _SHARE].tolist():
        off = place - (x, y)
        sine = (off[:, 0] * way[:, 1] - off[:, 1] * way[:, 0]) / np.maximum(np.hypot(*off.T), 1.0)
        best = max(best, (float((np.abs(sine) < _SINE).mean()), x, y))
    return best


def _most(place: np.ndarray, way: np.ndarray, middles: np.ndarray) -> np.ndarray:
    """Share of slopes that point to or from each middle, (K,), rounded up a little: all at once."""
    moment = place[:, 0] * way[:, 1] - place[:, 1] * way[:, 0]
    across = moment - middles @ np.stack([way[:, 1], -way[:, 0]])
    squares = ((place**2).sum(axis=1) - 2.0 * (middles @ place.T)) + (middles**2).sum(axis=1)[:, None]
    return np.asarray((across**2 < (_SINE * _ROUNDED) ** 2 * np.maximum(squares, _ROUNDED)).mean(axis=1))


def _usual(values: np.ndarray) -> np.ndarray:
    """Light about each place, without rings and pieces, (M, N, 3) float32."""
    rows, cols = values.shape[:2]
    part = 96.0 / max(rows, cols)
    small = cv2.resize(values, None, fx=part, fy=part, interpolation=cv2.INTER_AREA)
    reach = 5
    wide = cv2.copyMakeBorder(small, *(reach,) * 4, cv2.BORDER_REFLECT)
    windows = np.lib.stride_tricks.sliding_window_view(wide, (2 * reach + 1,) * 2, axis=(0, 1))
    usual = cv2.GaussianBlur(np.median(windows, axis=(-2, -1)).astype(np.float32), (0, 0), 3.0)
    return cv2.resize(usual, (cols, rows), interpolation=cv2.INTER_LINEAR)


def _round(shape: tuple[int, ...], x: float, y: float) -> tuple[np.ndarray, np.ndarray]:
    """Distance of each pixel from a place, and the sector it lies in, both (M, N)."""
    down, across = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    down, across = down - np.float32(y), across - np.float32(x)
    sector = ((np.arctan2(down, across) / np.float32(2 * np.pi) + 0.5) * _SECTORS).astype(np.int32)
    return np.hypot(down, across), sector


def _refined(ratio: np.ndarray, middle: tuple[float, float]) -> tuple[float, float]:
    """The place round which light changes most with the distance, near one."""
    step = max(1, round(max(ratio.shape) / 900))
    some = ratio[::step, ::step]
    off = np.clip(some - 1.0, -0.1, 0.1)
    rows, cols = np.mgrid[: ratio.shape[0] : step, : ratio.shape[1] : step].astype(np.float32)

    def energy(x: float, y: float) -> float:
        at = np.hypot(rows - np.float32(y), cols - np.float32(x)).astype(np.int32).ravel()
        count = np.bincount(at)
        total = np.bincount(at, off.ravel())
        mean = np.where(count > _FEWEST // step, total / np.maximum(count, 1), 0.0)
        fine = mean - np.convolve(mean, np.ones(31) / 31, mode="same")
        return float((fine**2 * count).sum())

    best, reach = middle, 0.03 * max(ratio.shape)
    steps = [(0.5 * i, 0.5 * j) for i in range(-2, 3) for j in range(-2, 3)]
    while reach > 0.4:
        best = max(
            ((best[0] + i * reach, best[1] + j * reach) for i, j in steps), key=lambda place: energy(*place)
        )
        reach /= 2
    return best


def _profile(ratio: np.ndarray, distance: np.ndarray, sector: np.ndarray) -> tuple[np.ndarray, float]:
    """Share of light that rings add by distance, (R,), and how far odd and even sectors agree on it."""
    oil = np.abs(ratio - 1.0) < 0.15
    at = np.rint(distance[oil]).astype(np.int64)
    off, odd = ratio[oil] - 1.0, sector[oil] % 2
    size = int(distance.max()) + 2
    count = [np.bincount(at[odd == k], minlength=size) for k in (0, 1)]
    mean = [np.bincount(at[odd == k], off[odd == k], size) / np.maximum(count[k], 1) for k in (0, 1)]
    seen = np.minimum(*count) > _FEWEST // 2
    wide = int(_NARROW * max(ratio.shape)) // 2 * 2 + 1
    if seen.sum() < wide:
        return np.zeros(size), 0.0
    places, told = np.arange(size), np.flatnonzero(seen)
    fine = [values - _slow(values, wide) for values in (np.interp(places, told, m[told]) for m in mean)]
    spread = [float(values[told].std()) for values in fine]
    if min(spread) < 1e-6:
        return np.zeros(size), 0.0
    apart = fine[0][told] - fine[0][told].mean(), fine[1][told] - fine[1][told].mean()
    agree = float((apart[0] * apart[1]).mean()) / (spread[0] * spread[1])
    return 0.5 * (fine[0] + fine[1]), agree


def _slow(values: np.ndarray, wide: int) -> np.ndarray:
    """Values smoothed over so many places."""
    ahead = np.pad(values, wide // 2, mode="edge")
    return np.convolve(ahead, np.ones(wide) / wide, mode="valid")
