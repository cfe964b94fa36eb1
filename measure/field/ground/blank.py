"""Blank oil worked out from several fields of one zoom: what stays in place while the pieces change."""

from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np

from measure.errors import InvalidInput
from measure.field.ground.light import prepare
from measure.model import Picture
from measure.progress import SILENT, Progress

LEAST_FIELDS = 3
_LONG_PX = 480  # light varies slowly: it is worked out on copies about this long
_MASK_PX = 1400  # pieces are looked for on copies no longer than this
_PIECE = 4.0  # noise-normalised distance from the oil beyond which a pixel belongs to a piece
_ROUNDS = 4
_FIXED_SHARE = 0.75  # of the fields: what is there in more of them does not move with the slide
_FIXED_SPREAD = 0.02  # and is equally dark in all of them
_ALIKE = 0.5  # shared over united area of the pieces of two fields: more, and they show one place


@dataclass(frozen=True)
class BlankOil:
    """The oil alone under the lamp, worked out from fields.

    Attributes
    ----------
    pixels : (M, N, 3) ndarray of uint8
        RGB, to be used as a picture of blank oil.
    fields : tuple of str
        Names of the fields it was worked out from.
    spread : float
        Robust relative spread (linear light) of single fields about it, brightness of each field apart.
    seen_share : float
        Share of the picture where at least two fields show bare oil; elsewhere it was filled in smoothly.
    fixed_share : float
        Share of the picture with marks that stay in place, such as dust on the camera, kept in the light.
    unevenness : float
        Range of its brightness, share of the middle value (linear light).
    """

    pixels: np.ndarray
    fields: tuple[str, ...]
    spread: float
    seen_share: float
    fixed_share: float
    unevenness: float


@dataclass(frozen=True)
class _Coarse:
    """One field, reduced: logarithm of linear light (m, n, 3); what is bare oil, pieces, left out (m, n)."""

    name: str
    log_light: np.ndarray
    oil: np.ndarray
    pieces: np.ndarray
    barred: np.ndarray


def blank_from_fields(
    pictures: Iterable[Picture], *, zones: tuple[np.ndarray, ...] = (), progress: Progress = SILENT
) -> BlankOil:
    """Work out the picture of blank oil from several fields of one zoom.

    Each pixel's light is the median over the fields that show bare oil there, after each field was brought
    to the same brightness and colour. Pieces are left out, found first in each field by itself, then by how
    far the field lies from the light found so far. What stays in place in nearly all fields and is equally
    dark in them belongs to the light (dust on the camera). Gaps are filled from around.

    Parameters
    ----------
    pictures : iterable of Picture
        At least three fields of different places, equally large. One is held at a time.
    zones : tuple of (K, 2) ndarray
        Areas left out of all of them, px.
    progress : Progress

    Returns
    -------
    BlankOil

    Raises
    ------
    InvalidInput
        If there are too few, their sizes differ, two show the same place, or hardly any oil is seen.
    """
    shape: tuple[int, ...] | None = None
    fields: list[_Coarse] = []
    for picture in pictures:
        progress.report(min(0.9, 0.1 * len(fields)), f"looking at the oil of {picture.name}")
        if shape is not None and picture.pixels.shape != shape:
            raise InvalidInput(
                f"{picture.name} is {picture.width_px} x {picture.height_px} px, the fields before it "
                f"{shape[1]} x {shape[0]} px; take fields of one camera setting."
            )
        shape = picture.pixels.shape
        fields.append(_coarse(picture, zones))
    if shape is None or len(fields) < LEAST_FIELDS:
        raise InvalidInput(
            f"The light can be worked out from {LEAST_FIELDS} fields or more, better 6; "
            f"{len(fields)} given. Add fields, or take a picture of blank oil."
        )
    _refuse_same_place(fields)
    progress.report(0.95, "working out the light")
    light, spread, seen, fixed = _common_light(fields)
    if seen.mean() < 0.3:
        raise InvalidInput(
            f"Only {100 * seen.mean():.0f} % of the picture shows bare oil in two fields or more; "
            "use more fields, thin the paste more, or take a picture of blank oil."
        )
    linear = np.exp(light)
    low, high = np.quantile(linear.mean(axis=2), [0.005, 0.995])
    return BlankOil(
        pixels=_full_size(light, (shape[1], shape[0])),
        fields=tuple(field.name for field in fields),
        spread=spread,
        seen_share=float(seen.mean()),
        fixed_share=float(fixed.mean()),
        unevenness=float((high - low) / np.median(linear)),
    )


def _coarse(picture: Picture, zones: tuple[np.ndarray, ...]) -> _Coarse:
    long = max(picture.pixels.shape[:2])
    factor = min(1.0, _MASK_PX / long)
    top = np.iinfo(picture.pixels.dtype).max
    pixels = picture.pixels
    if factor < 1.0:
        pixels = cv2.resize(pixels, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    own = tuple(np.asarray(zone, float) * factor for zone in zones)
    light = prepare(Picture(pixels, name=picture.name), zones=own)
    over = (light.solid_distance > _PIECE).astype(np.uint8)
    reach = max(3, round(0.006 * max(over.shape))) | 1  # soft edges and halos are no oil either
    pieces: np.ndarray = cv2.dilate(over, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach)))
    barred = np.zeros_like(pieces) if light.zone_mask is None else light.zone_mask
    clear = ((pieces | barred) == 0).astype(np.float32)
    share = min(1.0, _LONG_PX / max(pieces.shape))
    size = tuple(max(8, round(share * side)) for side in pieces.shape[::-1])
    linear = np.maximum(pixels.astype(np.float32) / np.float32(top), np.float32(0.004)) ** np.float32(2.2)
    cover = cv2.resize(clear, size, interpolation=cv2.INTER_AREA)
    whole = cv2.resize(linear, size, interpolation=cv2.INTER_AREA)
    oil = cv2.resize(linear * clear[..., None], size, interpolation=cv2.INTER_AREA)
    seen = cover > 0.3
    mean = np.where(seen[..., None], oil / np.maximum(cover, 1e-3)[..., None], whole)
    dark = cv2.resize(pieces.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.5
    out = cv2.resize(barred.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0
    return _Coarse(picture.name, np.log(np.maximum(mean, 1e-4)), seen & ~out, dark & ~out, out)


def _refuse_same_place(fields: list[_Coarse]) -> None:
    for place, first in enumerate(fields):
        for second in fields[place + 1 :]:
            both = np.count_nonzero(first.pieces & second.pieces)
            either = np.count_nonzero(first.pieces | second.pieces)
            if either > 0.002 * first.pieces.size and both > _ALIKE * either and _same_oil(first, second):
                raise InvalidInput(
                    f"{first.name} and {second.name} show the same place, so pieces cannot be told from the "
                    "light; take fields of different places."
                )


def _same_oil(first: _Coarse, second: _Coarse) -> bool:
    """Whether what both take for pieces also looks the same: a mark of the camera alone is too small."""
    both = first.pieces & second.pieces
    off = np.abs(first.log_light - second.log_light).mean(axis=2)[both]
    return bool(both.mean() > 0.01 and np.median(off) < 0.1)


def _common_light(fields: list[_Coarse]) -> tuple[np.ndarray, float, np.ndarray, np.ndarray]:
    """Logarithm of the light, spread of fields about it, where it was seen, and marks that stay in place."""
    values = np.stack([field.log_light for field in fields])
    oil = np.stack([field.oil for field in fields])
    open_ = ~fields[0].barred
    light = np.zeros_like(values[0])
    gain = np.zeros((len(fields), 1, 1, 3), np.float32)
    spread, fixed, usable = 0.0, np.zeros(oil.shape[1:], bool), oil
    for turn in range(_ROUNDS):
        for place in range(len(fields)):
            off = (values[place] - light)[usable[place]]
            gain[place] = np.median(off, axis=0) if len(off) else 0.0
        gain -= gain.mean(axis=0)
        even = values - gain
        fixed = _stays(even, oil) & open_
        kept = np.where((usable | fixed)[..., None], even, np.nan)
        seen = (usable | fixed).sum(axis=0)
        light = _filled(_median(kept), seen, fixed)
        off = np.abs(even - light).max(axis=3)
        spread = 1.4826 * float(np.median(off[usable])) if usable.any() else 0.0
        # what lies off the light found so far is a piece, also a faint one
        usable = oil & (off < max(3.5 * spread, 0.01 if turn > 1 else 0.03))
    return light, spread, (usable | fixed).sum(axis=0) >= 2, fixed


def _median(values: np.ndarray) -> np.ndarray:
    """Median over the fields where any shows it, else nan."""
    rows = np.sort(values, axis=0)  # nan comes last
    count = np.isfinite(values).sum(axis=0)
    low, high = np.maximum(count - 1, 0) // 2, count // 2
    high = np.minimum(high, len(values) - 1)
    pick = [np.take_along_axis(rows, place[None], axis=0)[0] for place in (low, high)]
    return np.where(count > 0, (pick[0] + pick[1]) / 2, np.nan)


def _stays(even: np.ndarray, oil: np.ndarray) -> np.ndarray:
    """Marks of the camera: taken for a piece in nearly all fields, and equally dark in them."""
    if len(even) < 4:
        return np.zeros(oil.shape[1:], bool)
    often = (~oil).mean(axis=0) >= _FIXED_SHARE
    middle = np.median(even, axis=0)
    return often & (np.median(np.abs(even - middle), axis=0).max(axis=2) < _FIXED_SPREAD)


def _filled(light: np.ndarray, seen: np.ndarray, fixed: np.ndarray) -> np.ndarray:
    """Smooth, and fill what no field shows from ever further away; marks that stay keep their shape."""
    known = np.isfinite(light).all(axis=2)
    weight = np.where(known, np.minimum(seen, 8), 0).astype(np.float32)
    clean = np.where(known[..., None], light, 0.0).astype(np.float32)
    sigma = 0.012 * max(seen.shape)
    out = _surface(clean, weight)
    for reach in (9.0, 3.0, 1.0):  # from far to near: the nearest that says enough has the last word
        total = cv2.GaussianBlur(weight, (0, 0), reach * sigma)
        mean = cv2.GaussianBlur(weight[..., None] * (clean - out), (0, 0), reach * sigma)
        trust = np.clip(total / 1.5, 0.0, 1.0)[..., None]
        out += trust * mean / np.maximum(total, 1e-6)[..., None]
    sharp = cv2.GaussianBlur(np.where(known[..., None], clean, out), (0, 0), 1.0)
    own = cv2.GaussianBlur(cv2.dilate(fixed.astype(np.float32), np.ones((5, 5), np.uint8)), (0, 0), 1.0)[
        ..., None
    ]
    return out * (1 - own) + sharp * own


def _surface(light: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Fit a surface of third degree by least squares; it goes on where nothing is known."""
    rows, columns = weight.shape
    y, x = np.linspace(-1, 1, rows)[::3], np.linspace(-1, 1, columns)[::3]
    root = np.sqrt(weight[::3, ::3]).reshape(-1, 1)
    basis = _products(x, y).reshape(len(root), -1)
    fit = np.linalg.lstsq(root * basis, root * light[::3, ::3].reshape(len(root), -1), rcond=1e-4)[0]
    return (_products(np.linspace(-1, 1, columns), np.linspace(-1, 1, rows)) @ fit).astype(np.float32)


def _products(x: np.ndarray, y: np.ndarray, degree: int = 3) -> np.ndarray:
    px = np.polynomial.legendre.legvander(x, degree)
    py = np.polynomial.legendre.legvander(y, degree)
    pairs = [(i, j) for i in range(degree + 1) for j in range(degree + 1 - i)]
    return np.stack([py[:, None, j] * px[None, :, i] for i, j in pairs], axis=-1)


def _full_size(log_light: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    """Encode the light as a picture (M, N, 3) uint8, as bright as the fields are in the middle."""
    value = 255.0 * np.exp(log_light / 2.2)
    value *= min(1.0, 254.0 / float(value.max()))
    full = cv2.resize(value.astype(np.float32), size, interpolation=cv2.INTER_CUBIC)
    return np.clip(np.rint(full), 0, 255).astype(np.uint8)
