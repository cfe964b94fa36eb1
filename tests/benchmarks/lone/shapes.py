"""Forms of pieces: lobed, ragged, notched, waisted, bent and broken bodies, crystals, and noise in them."""

from collections.abc import Callable

import cv2
import numpy as np

_POINTS = 360
_LEAST_SHARE = 0.35  # of a disc of the diameter, that a form must fill
_OPENING = 0.09  # of the root of the area: what so wide an opening leaves must hang together
_KEPT = 0.8  # share it must leave


def noise(rng: np.random.Generator, side: int, scale: float) -> np.ndarray:
    """Smooth noise of unit spread with lumps of a size, (side, side) of float32."""
    few = rng.normal(size=2 * [max(2, int(np.ceil(side / scale)) + 3)]).astype(np.float32)
    many = cv2.resize(few, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
    top, left = (int(rng.integers(0, max(1, n - side))) for n in many.shape)
    out = many[top : top + side, left : left + side]
    if out.shape != (side, side):
        out = cv2.resize(many, (side, side))
    return (out - out.mean()) / max(float(out.std()), 1e-6)


def fractal(
    rng: np.random.Generator, side: int, coarse: float, octaves: int = 4, fall: float = 0.55
) -> np.ndarray:
    """Noise of several sizes, each half as large and fainter, of unit spread."""
    out, amplitude, scale = np.zeros((side, side), np.float32), 1.0, coarse
    for _ in range(octaves):
        if scale < 1.5:
            break
        out += amplitude * noise(rng, side, scale)
        amplitude, scale = amplitude * fall, scale / 2
    return out / max(float(out.std()), 1e-6)


def filled(points: np.ndarray, side: int) -> np.ndarray:
    """Mask of a polygon about the middle of a crop."""
    mask = np.zeros((side, side), np.uint8)
    cv2.fillPoly(mask, [np.round((points + side / 2) * 16).astype(np.int32)], 1, shift=4)
    return mask > 0


def dot(mask: np.ndarray, x: float, y: float, radius: float) -> None:
    """Draw a disc into a mask or a layer, in place."""
    cv2.circle(mask, (int(x * 16), int(y * 16)), int(radius * 16), 1, -1, shift=4)


def largest(mask: np.ndarray, holes: bool = False) -> np.ndarray | None:
    """Largest part of a mask, its holes filled or left; None for nothing."""
    count, parts, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=4)
    if count < 2:
        return None
    own = parts == 1 + int(stats[1:, 4].argmax())
    if holes:
        return own
    lines, _ = cv2.findContours(own.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return cv2.drawContours(np.zeros(own.shape, np.uint8), lines, -1, 1, -1) > 0


def is_piece(full: np.ndarray, diameter_px: float) -> bool:
    """Whether a form without holes is full enough, within its crop, and no two pieces on a string."""
    size = np.count_nonzero(full)
    cut = full[0].any() or full[-1].any() or full[:, 0].any() or full[:, -1].any()
    if cut or size < _LEAST_SHARE * np.pi / 4 * diameter_px**2:
        return False
    wide = 2 * max(1, int(_OPENING * np.sqrt(size))) + 1
    round_ = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (wide, wide))
    opened = cv2.morphologyEx(full.astype(np.uint8), cv2.MORPH_OPEN, round_)
    count, _, stats, _ = cv2.connectedComponentsWithStats(opened, connectivity=4)
    return bool(count == 2 and stats[1, 4] >= _KEPT * size)


def _turned(points: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    angle = rng.uniform(0, 2 * np.pi)
    return points @ np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])


def _waves(
    rng: np.random.Generator, d: float, power: float, height: float, longer: float, modes: int = 24
) -> np.ndarray:
    """Outline whose radius is a sum of waves, the shorter the lower."""
    turn = np.linspace(0, 2 * np.pi, _POINTS, endpoint=False)
    k = np.arange(2.0, modes)
    heights, phases = k**-power * rng.normal(size=len(k)), rng.uniform(0, 2 * np.pi, len(k))
    wave = (heights[:, None] * np.cos(k[:, None] * turn + phases[:, None])).sum(0)
    radius = d / 2 * (1 + height * wave / max(float(np.abs(wave).max()), 1e-6))
    points = np.stack([radius * np.cos(turn) * np.sqrt(longer), radius * np.sin(turn) / np.sqrt(longer)], 1)
    return _turned(points, rng)


def _lobed(rng: np.random.Generator, d: float, side: int) -> np.ndarray:
    power, height, longer = rng.uniform(1.2, 2.0), rng.uniform(0.15, 0.42), rng.uniform(1, 1.7)
    return filled(_waves(rng, d, power, height, longer), side)


def _smooth(rng: np.random.Generator, d: float, side: int) -> np.ndarray:
    return filled(_waves(rng, d, 2.2, rng.uniform(0.05, 0.25), rng.uniform(1, 1.6), 8), side)


def flake(rng: np.random.Generator, d: float, side: int) -> np.ndarray:
    """A ragged flake: a hill with noise, cut at a height."""
    y, x = np.mgrid[:side, :side].astype(np.float32) - side / 2
    angle, longer = rng.uniform(0, np.pi), np.sqrt(rng.uniform(1, 1.8))
    u, v = x * np.cos(angle) + y * np.sin(angle), y * np.cos(angle) - x * np.sin(angle)
    rough = fractal(rng, side, max(3, d / rng.uniform(1.5, 3)), 5, rng.uniform(0.45, 0.7))
    return 1 - np.hypot(u / longer, v * longer) / (d / 2) + rng.uniform(0.15, 0.35) * rough > 0


def _notched(rng: np.random.Generator, d: float, side: int) -> np.ndarray:
    """A round body with one to three cracks or bites."""
    mask = filled(_waves(rng, d, 2, rng.uniform(0.03, 0.18), rng.uniform(1, 1.6), 12), side)
    lines, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    border = lines[0][:, 0].astype(float)
    for _ in range(rng.integers(1, 4)):
        place = border[rng.integers(len(border))]
        way = side / 2 + rng.normal(0, 0.08 * d, 2) - place
        way /= max(float(np.hypot(*way)), 1.0)
        depth, wide = d * rng.uniform(0.08, 0.38), max(1.0, d * rng.uniform(0.03, 0.2))
        across, bite = np.array([-way[1], way[0]]), np.zeros((side, side), np.uint8)
        if rng.random() < 0.6:
            crack = np.array([place - 3 * way + s * across * wide for s in (1, -1)] + [place + way * depth])
            cv2.fillPoly(bite, [np.round(crack * 16).astype(np.int32)], 1, shift=4)
        else:
            dot(bite, *(place - 0.3 * wide * way), 0.7 * depth)
        mask &= bite == 0
    return mask


def _waisted(rng: np.random.Generator, d: float, side: int) -> np.ndarray:
    turn = np.linspace(0, 2 * np.pi, _POINTS, endpoint=False)
    radius = d / 2 * (1 + rng.uniform(0.12, 0.3) * np.cos(2 * turn))
    for k, most in ((1, 0.12), (3, 0.08)):
        radius += d / 2 * rng.uniform(0, most) * np.cos(k * turn + rng.uniform(0, 2 * np.pi))
    radius = radius * np.hypot(*_waves(rng, 2, 1.5, rng.uniform(0.0, 0.1), 1, 30).T)
    points = np.stack([radius * np.cos(turn), radius * np.sin(turn) / rng.uniform(0.9, 1.2)], 1)
    return filled(_turned(points, rng), side)


def shard(rng: np.random.Generator, d: float, side: int) -> np.ndarray:
    """A broken piece with straight sides, hollow at some corners."""
    count = rng.integers(5, 11)
    turn, radius = np.sort(rng.uniform(0, 2 * np.pi, count)), d / 2 * rng.uniform(0.55, 1.3, count)
    return filled(np.stack([radius * np.cos(turn) * 1.2, radius * np.sin(turn) / 1.1], 1), side)


def _bent(rng: np.random.Generator, d: float, side: int) -> np.ndarray:
    long, wide = d * rng.uniform(1.2, 1.9), d * rng.uniform(0.4, 0.6)
    along = np.linspace(0, 1, 40)
    angle = rng.uniform(0.6, 2.4) * rng.choice([-1, 1]) * (along - 0.5)
    x, y = (np.cumsum(way(angle)) * long / 40 for way in (np.cos, np.sin))
    thick = 1 + 0.25 * np.interp(along, np.linspace(0, 1, 6), rng.normal(size=6))
    mask = np.zeros((side, side), np.uint8)
    for u, v, own in zip(x - x.mean(), y - y.mean(), thick, strict=True):
        dot(mask, u + side / 2, v + side / 2, max(1.5, wide / 2 * own))
    return mask > 0


def crystal(rng: np.random.Generator, d: float, side: int) -> np.ndarray:
    """A brick or a prism, convex."""
    if rng.random() < 0.5:
        wide, high = 0.45 * d * rng.uniform(0.8, 1.2), 0.45 * d * rng.uniform(0.6, 1)
        points = np.array([[-wide, -high], [wide, -high], [wide, high], [-wide, high]])
        points = _turned(points + rng.normal(0, 0.05 * d, points.shape), rng)
    else:
        count = rng.integers(5, 8)
        turn = np.linspace(0, 2 * np.pi, count, endpoint=False) + rng.uniform(-0.25, 0.25, count)
        points = d / 2 * np.stack([np.cos(turn) * rng.uniform(0.9, 1.3), np.sin(turn)], 1)
    return filled(cv2.convexHull(points.astype(np.float32))[:, 0].astype(float), side)


BODIES: dict[str, Callable[[np.random.Generator, float, int], np.ndarray]] = {
    "lobed": _lobed,
    "flake": flake,
    "notched": _notched,
    "waisted": _waisted,
    "shard": shard,
    "bent": _bent,
    "smooth": _smooth,
}
