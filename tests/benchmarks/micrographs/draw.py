"""Lay bodies on a film, and show them as a transmission or a scanning microscope would."""

from typing import NamedTuple
from zlib import crc32

import cv2
import numpy as np

from . import shapes
from .looks import HELD, LOOKS, Look
from .shapes import Body, lumps

SIDE_PX = 512
_TRIES, _HIDDEN = 40, 0.5


class Piece(NamedTuple):
    """What is to be found: where the piece is seen, and whether anyone is asked for it."""

    mask: np.ndarray
    asked: bool


class _Laid(NamedTuple):
    body: Body
    row: int
    column: int
    turn: float
    base: float

    def placed(self) -> tuple[np.ndarray, np.ndarray]:
        """Lower and upper surface over the whole field."""
        n = len(self.body.low) // 2
        (top, bottom), (left, right) = (
            (max(at - n, 0), max(0, min(at + n + 1, SIDE_PX))) for at in (self.row, self.column)
        )
        out = []
        for own in self.body:
            field = np.zeros((SIDE_PX, SIDE_PX), np.float32)
            field[top:bottom, left:right] = own[
                top - self.row + n : max(0, bottom - self.row + n),
                left - self.column + n : max(0, right - self.column + n),
            ]
            out.append(field)
        return out[0], out[1]


def draw(name: str, seed: int) -> tuple[np.ndarray, list[Piece]]:
    """Draw a micrograph.

    Returns
    -------
    pixels : (512, 512, 3) ndarray of uint8
        Grey.
    pieces : list of Piece
        Whole where electrons go through, what is seen of each where they do not.
    """
    look, rng = (LOOKS | HELD)[name], np.random.default_rng([seed, crc32(name.encode())])
    laid = _lay(rng, look)
    blur = rng.uniform(*look.blur_px)
    surfaces = [one.placed() for one in laid]
    masks = [high > low for low, high in surfaces]
    if look.scanning:
        light, masks_seen = _scanned(rng, laid, surfaces)
        light = cv2.GaussianBlur(light, (0, 0), blur)
    else:
        light, masks_seen = _shone_through(rng, look, surfaces, blur), masks
    pixels = _exposed(rng, light, rng.uniform(*look.dose))
    covered = _label(rng, pixels)
    pieces = []
    for mask, seen in zip(masks, masks_seen, strict=True):
        if seen.any():
            clear = seen & ~covered
            pieces.append(Piece(clear, np.count_nonzero(clear) >= (1 - _HIDDEN) * np.count_nonzero(mask)))
    return np.repeat(pixels[..., None], 3, axis=2), pieces


def _lay(rng: np.random.Generator, look: Look) -> list[_Laid]:
    """Bodies in turn: alone, against one another, over one another, or on heaps."""
    taken = np.zeros((SIDE_PX, SIDE_PX), bool)
    top = np.zeros((SIDE_PX, SIDE_PX), np.float32)
    centre, spread = np.exp(rng.uniform(*np.log(look.sizes_px))), rng.uniform(0.03, 0.3)
    heaps = rng.uniform(0.2, 0.8, (look.heaps, 2)) * SIDE_PX
    wide = rng.uniform(0.09, 0.2) * SIDE_PX
    laid: list[_Laid] = []
    for _ in range(rng.integers(*look.pieces)):
        d = float(np.clip(centre * np.exp(rng.normal(0, spread)), *look.sizes_px))
        one = _next(rng, look, laid, taken, d, heaps, wide)
        if one is None:
            continue
        low, high = one.placed()
        mask = high > low
        if look.scanning and mask.any():
            near = cv2.erode(mask.astype(np.uint8), np.ones((3, 3)), iterations=max(1, int(d / 6))) > 0
            base = float(np.quantile(top[near if near.any() else mask], 0.8)) - float(low[mask].min())
            one = one._replace(base=base)
            top = np.where(mask, np.maximum(top, high + base), top)
        taken |= mask
        laid.append(one)
    return laid


def _next(rng, look, laid, taken, d, heaps, wide) -> _Laid | None:
    """Where the next body comes to lie; None where there is no room."""
    against = bool(laid) and rng.random() < look.touching
    near = laid[int(rng.integers(len(laid)))] if against else None
    alike = near is not None and rng.random() < look.rows
    turn = near.turn if alike and near is not None else rng.uniform(0, 2 * np.pi)
    body: Body = getattr(shapes, str(rng.choice(look.shapes)))(rng, d, turn)
    if len(heaps):
        row, column = (int(v) for v in heaps[rng.integers(len(heaps))] + rng.normal(0, wide, 2))
        return _Laid(body, row, column, turn, 0.0)
    if near is not None:
        return _slid_out(rng, body, near, taken, turn, alike)
    may_cross = rng.random() < look.over
    for _ in range(_TRIES):
        row, column = (int(v) for v in rng.uniform(-0.02 * SIDE_PX, 1.02 * SIDE_PX, 2))
        one = _Laid(body, row, column, turn, 0.0)
        low, high = one.placed()
        own = cv2.dilate((high > low).astype(np.uint8), np.ones((5, 5))) > 0
        share = np.count_nonzero(own & taken) / max(1, np.count_nonzero(own))
        if own.any() and (share == 0 or (may_cross and 0.02 < share < 0.4)):
            return one
    return None


def _slid_out(rng, body: Body, near: _Laid, taken: np.ndarray, turn: float, alike: bool) -> _Laid | None:
    """The body moved away from the middle of another until it lies over nothing."""
    way = rng.uniform(0, 2 * np.pi)
    if alike:
        way = turn + rng.choice([0.5, 0.5, 1.5, 1.5, 0, 1]) * np.pi + rng.normal(0, 0.12)
    for away in range(2, 2 * len(body.low)):
        row, column = round(near.row + away * np.sin(way)), round(near.column + away * np.cos(way))
        if not (0 <= row < SIDE_PX and 0 <= column < SIDE_PX):
            return None
        one = _Laid(body, row, column, turn, 0.0)
        low, high = one.placed()
        if not (taken & (high > low)).any():
            return one
    return None


def _shone_through(rng, look: Look, surfaces, blur: float) -> np.ndarray:
    """Mass thickness: exp(-mu t), film included; out of focus light moves along slopes of the phase.

    In the small-angle limit defocus adds c div(I grad t), the transport of intensity (Teague 1983, from
    memory), which gives the fringe at edges.
    """
    thick = sum((high - low for low, high in surfaces), np.zeros((SIDE_PX, SIDE_PX), np.float32))
    usual = np.median([float((high - low).max()) for low, high in surfaces if (high > low).any()])
    absorbed = rng.uniform(*look.contrast) * np.tanh(0.5 * thick / usual) / np.tanh(0.5)
    shape = thick.shape
    film = look.film * lumps(rng, shape, rng.uniform(90, 250)) + 0.25 * look.film * lumps(rng, shape, 25)
    film += 0.02 * lumps(rng, shape, 2.5)  # the grain of an amorphous film
    if look.web:
        film += rng.uniform(0.15, 0.4) * _web(rng, shape)
    total = cv2.GaussianBlur(absorbed + film, (0, 0), max(blur, 0.8))
    light = np.exp(-total)
    if look.dark_field:
        light = 0.08 + 0.9 * (1 - np.exp(-cv2.GaussianBlur(absorbed, (0, 0), blur) - 0.3 * np.abs(film)))
    else:
        down, across = np.gradient(cv2.GaussianBlur(total, (0, 0), 1.0))
        fringe = np.gradient(light * down, axis=0) + np.gradient(light * across, axis=1)
        light = light + rng.uniform(*look.defocus) * fringe
    return light.astype(np.float32)


def _web(rng, shape) -> np.ndarray:
    """Threads of film round holes of all sizes, thicker where they meet."""
    points = rng.uniform(-40, SIDE_PX + 40, (int(rng.integers(14, 40)), 2))
    y, x = np.mgrid[: shape[0], : shape[1]]
    bend = [9 * lumps(rng, shape, 60) for _ in range(2)]
    away = [np.hypot(y + bend[0] - p, x + bend[1] - q) for p, q in points]
    nearest = np.partition(np.stack(away), 1, axis=0)
    wide = rng.uniform(5, 16) * (1 + 0.3 * lumps(rng, shape, 40))
    return 1 / (1 + np.exp((nearest[1] - nearest[0] - wide) / 1.2))


def _scanned(rng, laid, surfaces) -> tuple[np.ndarray, list[np.ndarray]]:
    """Secondary electrons: more where the surface leans (1 / cos) or faces the detector, fewer in hollows."""
    top, owner = np.zeros((SIDE_PX, SIDE_PX), np.float32), np.full((SIDE_PX, SIDE_PX), -1)
    for i, (one, (low, high)) in enumerate(zip(laid, surfaces, strict=True)):
        upper = (high > low) & (high + one.base > top)
        top, owner = np.where(upper, high + one.base, top), np.where(upper, i, owner)
    down, across = np.gradient(cv2.GaussianBlur(top, (0, 0), 0.7))
    steep = np.sqrt(1 + down**2 + across**2)
    way, share = rng.uniform(0, 2 * np.pi), rng.uniform(0.0, 0.35)
    toward = -(np.cos(way) * across + np.sin(way) * down) / steep
    yielded = 1 + rng.uniform(0.25, 0.6) * (np.minimum(steep, 4.0) - 1)
    hollow = sum(np.clip(cv2.GaussianBlur(top, (0, 0), s) - top, 0, None) / s for s in (3, 8, 18))
    light = yielded * (1 + share * toward) * np.exp(-rng.uniform(0.5, 1.1) * hollow)
    ground = rng.uniform(0.2, 0.6) * (1 + 0.05 * lumps(rng, top.shape, 120) + 0.03 * lumps(rng, top.shape, 6))
    light = np.where(owner >= 0, light, ground * np.exp(-0.6 * hollow))
    return light.astype(np.float32), [owner == i for i in range(len(laid))]


def _exposed(rng, light: np.ndarray, dose: float) -> np.ndarray:
    """Count electrons, spread by the detector, at times drawn from another size, stretched to 8 bits."""
    light = light / np.quantile(light, 0.95)
    seen = rng.poisson(np.clip(light, 0, 4) * dose).astype(np.float32) / dose
    seen = cv2.GaussianBlur(seen, (0, 0), rng.uniform(0.4, 0.9))
    if rng.random() < 0.4:
        other = int(SIDE_PX * rng.uniform(0.7, 0.95))
        seen = cv2.resize(seen, (other, other), interpolation=cv2.INTER_AREA)
        seen = cv2.resize(seen, (SIDE_PX, SIDE_PX), interpolation=cv2.INTER_CUBIC)
    low, high = np.quantile(seen, (0.002, 0.998))
    black, white = rng.uniform(0, 50), rng.uniform(200, 255)
    return np.clip(black + (seen - low) / (high - low) * (white - black), 0, 255).astype(np.uint8)


def _label(rng, pixels: np.ndarray) -> np.ndarray:
    """A bar with its length, a strip of words, or nothing; where it covers the picture."""
    covered, sort = np.zeros(pixels.shape, bool), rng.choice(["bar", "box", "strip", "none"])
    long_px, words = int(rng.integers(50, 130)), f"{rng.choice([20, 50, 100, 200, 500])} nm"
    ink, corner = int(rng.choice([0, 255])), bool(rng.random() < 0.5)
    if sort == "none":
        return covered
    left, bottom = (20 if corner else SIDE_PX - long_px - 20), SIDE_PX - 14
    if sort == "strip":
        pixels[-34:], ink, bottom = 255 - ink, ink, SIDE_PX - 6
        covered[-34:] = True
        text = f"{rng.uniform(1, 30):.1f} kV  {int(rng.integers(5, 90))}000 x  {words}"
        cv2.putText(pixels, text, (8, bottom - 6), cv2.FONT_HERSHEY_SIMPLEX, 0.5, ink, 1, cv2.LINE_AA)
        left = SIDE_PX - long_px - 8
    elif sort == "box":
        pixels[bottom - 38 : bottom + 8, left - 8 : left + long_px + 9] = 255 - ink
    if sort != "strip":
        covered[bottom - 38 : bottom + 8, left - 8 : left + long_px + 9] = True
        cv2.putText(pixels, words, (left, bottom - 12), cv2.FONT_HERSHEY_SIMPLEX, 0.6, ink, 2, cv2.LINE_AA)
    pixels[bottom - 6 : bottom, left : left + long_px] = ink
    return covered
