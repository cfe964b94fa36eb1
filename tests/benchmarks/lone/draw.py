"""Draw a field: lone pieces and pieces laid against one another, lens, camera and compression."""

from typing import NamedTuple

import cv2
import numpy as np

from .matter import SORTS, Look, look_of, piece_of

_SIZES_PX, _LARGEST_TOUCHING_PX, _LEAST_PX = (14.0, 140.0), 90.0, 12.0
_UNITS, _TOGETHER = 90, (0.62, 0.28, 0.10)  # tried a field; chance of one, two and three pieces
_GAP_PX, _FRAME_PX, _PLACES = 9, 12, 40
_ONE_SORT, _ONE_TONE = 0.6, 0.6  # chance that touching pieces are of one sort, and of nearly one tone


class Piece(NamedTuple):
    """A piece: its sort, how many lie together, its mask and the corner of that in the field."""

    sort: str
    together: int
    mask: np.ndarray
    top: int
    left: int

    @property
    def diameter_px(self) -> float:
        """Area-equivalent diameter."""
        return float(np.sqrt(4 * np.count_nonzero(self.mask) / np.pi))


class _Unit(NamedTuple):
    covered: np.ndarray
    absorbed: np.ndarray
    pieces: list[Piece]


def draw(seed: int, side: int = 1100) -> tuple[np.ndarray, list[Piece]]:
    """Draw a field.

    Returns
    -------
    pixels : (side, side, 3) ndarray of uint8
    pieces : list of Piece
        None of them over another.
    """
    rng = np.random.default_rng(seed)
    look = look_of(rng)
    absorbed, taken = np.zeros((side, side, 3), np.float32), np.zeros((side, side), bool)
    pieces: list[Piece] = []
    for _ in range(_UNITS):
        unit = _unit(rng, look)
        corner = None if unit is None else _place(rng, unit.covered.shape, taken)
        if unit is None or corner is None:
            continue
        (top, left), (rows, columns) = corner, unit.covered.shape
        box = np.s_[top : top + rows, left : left + columns]
        taken[box] |= unit.covered
        absorbed[box] += unit.absorbed
        pieces += [piece._replace(top=piece.top + top, left=piece.left + left) for piece in unit.pieces]
    return _photographed(rng, absorbed, look), pieces


def _place(rng: np.random.Generator, shape: tuple[int, ...], taken: np.ndarray) -> tuple[int, int] | None:
    rows, columns = shape
    if max(rows, columns) + 2 * _FRAME_PX >= len(taken):
        return None
    for _ in range(_PLACES):
        top, left = (int(rng.integers(_FRAME_PX, len(taken) - n - _FRAME_PX)) for n in (rows, columns))
        if not taken[top - _GAP_PX : top + rows + _GAP_PX, left - _GAP_PX : left + columns + _GAP_PX].any():
            return top, left
    return None


def _unit(rng: np.random.Generator, look: Look) -> _Unit | None:
    """One to three pieces, each after the first moved in until it touches; None where that fails."""
    d = float(np.exp(rng.uniform(*np.log(_SIZES_PX))))
    together = int(rng.choice([1, 2, 3], p=_TOGETHER))
    d = d if together == 1 else min(d, _LARGEST_TOUCHING_PX)
    sort = str(rng.choice(SORTS)) if together == 1 or rng.random() < _ONE_SORT else ""
    side = int(5.5 * d) + 60
    covered, absorbed = np.zeros((side, side), bool), np.zeros((side, side, 3), np.float32)
    tone = rng.uniform(0.6, 1.2) if rng.random() < _ONE_TONE else None
    pieces = []
    for k in range(together):
        own_sort, own_d = (
            sort or str(rng.choice(SORTS)),
            max(_LEAST_PX, d * rng.uniform(0.55, 1.2)) if k else d,
        )
        own_tone = None if tone is None or together == 1 else tone * rng.uniform(0.92, 1.08)
        drawn = piece_of(rng, own_sort, own_d, look, own_tone)
        at = None if drawn is None else _moved_in(rng, covered, drawn[0])
        if drawn is None or at is None:
            return None
        box = np.s_[at[0] : at[0] + len(drawn[0]), at[1] : at[1] + len(drawn[0])]
        covered[box] |= drawn[0]
        absorbed[box] += drawn[1] * drawn[0][..., None]
        pieces.append(Piece(own_sort, together, drawn[0], *at))
    return _trimmed(covered, absorbed, pieces)


def _moved_in(rng: np.random.Generator, covered: np.ndarray, mask: np.ndarray) -> tuple[int, int] | None:
    """Corner of a mask that lies alone, or is moved in from a side until it touches what lies there."""
    middle, angle, last = (len(covered) - len(mask)) / 2, rng.uniform(0, 2 * np.pi), None
    if not covered.any():
        return round(middle), round(middle)
    for away in np.arange(0.45 * len(covered), 0, -1.0):
        top, left = (round(middle + away * way(angle)) for way in (np.sin, np.cos))
        part = covered[max(top, 0) : top + len(mask), max(left, 0) : left + len(mask)]
        if min(top, left) < 0 or part.shape != mask.shape:
            continue
        if (part & mask).any():
            return last
        last = top, left
    return None


def _trimmed(covered: np.ndarray, absorbed: np.ndarray, pieces: list[Piece]) -> _Unit:
    x, y, wide, high = cv2.boundingRect(covered.astype(np.uint8))
    own = []
    for piece in pieces:
        u, v, w, h = cv2.boundingRect(piece.mask.astype(np.uint8))
        mask = piece.mask[v : v + h, u : u + w]
        own.append(piece._replace(mask=mask, top=piece.top + v - y, left=piece.left + u - x))
    box = np.s_[y : y + high, x : x + wide]
    return _Unit(covered[box], absorbed[box], own)


def _photographed(rng: np.random.Generator, absorbed: np.ndarray, look: Look) -> np.ndarray:
    """Lamp, blur, noise, tone curve, sharpening and compression."""
    y, x = np.mgrid[: len(absorbed), : len(absorbed)].astype(np.float32) / len(absorbed) - 0.5
    lamp = (1 - 0.25 * (x * x + y * y) + 0.06 * rng.normal() * x)[..., None] * look.lamp
    light = cv2.GaussianBlur((lamp * np.exp(-absorbed)).astype(np.float32), (0, 0), look.blur_px)
    counted = rng.poisson(np.clip(light, 0, 1.1) * look.full_well) / look.full_well
    seen = np.clip(counted + rng.normal(0, 0.003, light.shape), 0, 1).astype(np.float32) ** (1 / 2.2)
    seen = seen + look.sharpened * (seen - cv2.GaussianBlur(seen, (0, 0), 1.6))
    pixels = np.clip(seen * 255, 0, 255).astype(np.uint8)
    stored = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, look.quality])[1]
    return np.ascontiguousarray(cv2.imdecode(stored, cv2.IMREAD_COLOR)[..., ::-1])
