"""Solid bodies as maps of how thick they are along the light: chips, flakes, crystals, balls, fibres.

Lengths are in um. Refractive indices, from memory: nut oils 1.47, rock salt 1.544, sucrose 1.54 to 1.57, dry
kernel solids 1.50 to 1.54, cellulose about 1.55, water 1.33, air 1.00.
"""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from scipy import ndimage
from skimage.measure import find_contours

from .imaging import OIL

KERNEL, SKIN, SALT, SUGAR, FIBRE, AIR = (n - OIL for n in (1.52, 1.53, 1.544, 1.555, 1.55, 1.0))
KERNEL_LOSS = np.array([0.004, 0.008, 0.0165])  # optical depth (natural) a um, red, green, blue
SKIN_LOSS = np.array([0.045, 0.105, 0.19])
_GRAINS, _ACROSS = 56, 34  # voxels along a side of the cube a chip is made in, and across the chip
_VOLUME = 128


@dataclass(frozen=True)
class Body:
    """One body. Maps and outline share their corner; the outline is that of the projection, fine px."""

    kind: str
    mark: str
    outline: np.ndarray  # (P, 2)
    path_um: np.ndarray  # (h, w) optical path beyond that of oil
    depth: np.ndarray  # (h, w, 3) optical depth
    height_um: float  # from its lowest to its highest point, about


def make(name: str, d_um: float, px_um: float, roast: float, rng: np.random.Generator) -> Body:
    """Return a body of about this diameter, sampled every ``px_um``."""
    if name == "kernel":
        return _chip(d_um, px_um, roast, rng)
    if name == "skin":
        return _flake(d_um, px_um, rng)
    if name in ("salt", "sugar"):
        return _crystal(name, d_um, px_um, rng)
    if name == "bubble":
        return _ball(d_um, px_um)
    if name == "fibre":
        return _fibre(d_um, px_um, rng)
    raise KeyError(name)


@lru_cache(maxsize=16)
def _noise(grain: int) -> np.ndarray:
    """Periodic noise of mean 0 and sd 1, smooth over ``grain`` voxels."""
    raw = np.random.default_rng(grain).normal(size=(_VOLUME,) * 3).astype(np.float32)
    raw = ndimage.gaussian_filter(raw, 0.5 * grain, mode="wrap")
    return raw / raw.std()


def _piece_of_noise(grain: float, shape: tuple[int, ...], rng: np.random.Generator) -> np.ndarray:
    steps = np.array([1, 2, 3, 4, 6, 8, 12, 16, 24])
    volume = _noise(int(steps[np.argmin(np.abs(np.log(steps / max(grain, 1.0))))]))
    picks = [(np.arange(n) + rng.integers(_VOLUME)) % _VOLUME for n in shape]
    return volume[np.ix_(*picks)]


def _outline(silhouette: np.ndarray, level: float) -> np.ndarray:
    lines = find_contours(np.pad(silhouette, 1, constant_values=-1.0), level)
    line = max(lines, key=lambda c: abs(np.sum(c[:-1, 0] * c[1:, 1] - c[1:, 0] * c[:-1, 1])))
    return line[:-1, ::-1] - 0.5


def _only(outline: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    """Mask that leaves out crumbs beside the outline, with a px to spare."""
    mask = np.zeros(shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(outline - 0.5).astype(np.int32)], 1)
    return cv2.dilate(mask, np.ones((3, 3), np.uint8)).astype(np.float32)


def _chip(d_um: float, px_um: float, roast: float, rng: np.random.Generator) -> Body:
    """A bit of kernel: a lump with broken faces, rough, of tissue whose index varies from cell to cell."""
    voxel = d_um / _ACROSS
    z, y, x = (np.indices((_GRAINS,) * 3, np.float32) - (_GRAINS - 1) / 2) / (0.5 * d_um / voxel)
    long = rng.uniform(1.0, 1.35)
    flat = rng.uniform(0.55, 0.95)
    form = 1.0 - np.sqrt((x / long) ** 2 + (y * long) ** 2 + (z / flat) ** 2)
    form += rng.uniform(0.06, 0.16) * _piece_of_noise(12, form.shape, rng)
    for _ in range(rng.integers(1, 6)):
        way = rng.normal(size=3)
        way /= np.linalg.norm(way)
        np.minimum(form, rng.uniform(0.6, 1.0) - way[0] * x - way[1] * y - way[2] * z, out=form)
    form += rng.uniform(0.015, 0.04) * _piece_of_noise(3, form.shape, rng)
    inside = np.clip(0.5 * d_um / voxel * form + 0.5, 0, 1)
    cells = inside * _piece_of_noise(max(rng.uniform(2.0, 5.0) / voxel, 2.0), form.shape, rng)
    scale = voxel / px_um
    thick, cells, shown = (
        cv2.resize(
            a, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC if scale > 1 else cv2.INTER_AREA
        )
        for a in (inside.sum(0) * voxel, cells.sum(0) * voxel, inside.max(0))
    )
    outline = _outline(shown, 0.5)
    kept = _only(outline, thick.shape)
    thick = np.clip(thick, 0, None) * kept
    path = (KERNEL * rng.uniform(0.7, 1.2)) * thick + rng.uniform(0.007, 0.024) * cells * kept
    loss = KERNEL_LOSS * roast * rng.uniform(0.75, 1.3)
    return Body("kernel", "", outline, path, thick[..., None] * loss, float(thick.max()))


def _flake(d_um: float, px_um: float, rng: np.random.Generator) -> Body:
    """A torn bit of skin, bent about an axis: towards its sides the light goes a longer way through it."""
    n = int(2.2 * d_um / px_um) + 12
    y, x = (np.indices((n, n), np.float32) - (n - 1) / 2) * px_um
    turn = rng.uniform(0, 2 * np.pi)
    u, v = np.cos(turn) * x + np.sin(turn) * y, np.cos(turn) * y - np.sin(turn) * x
    long = rng.uniform(1.0, 1.7)
    half = 0.5 * d_um / np.sqrt(long)
    bent = rng.uniform(0.2, 1.2)  # radians from the middle to the side
    radius = half / bent
    sine = np.clip(v / radius, -np.sin(bent) * 1.3, np.sin(bent) * 1.3)
    slant = np.arcsin(np.clip(sine, -0.97, 0.97))
    unrolled = radius * slant
    angle = np.arctan2(unrolled / half, u / (half * long))
    waves = sum(rng.normal(0, 0.2 / k) * np.cos(k * angle + rng.uniform(0, 2 * np.pi)) for k in range(2, 14))
    torn = 0.05 * _piece_of_noise(rng.uniform(4, 8) / px_um / 3, (n, n, 1), rng)[..., 0]
    shown = 1.0 + 0.6 * waves + torn - np.hypot(unrolled / half, u / (half * long))
    outline = _outline(shown, 0.0)
    cover = np.clip(shown * half / px_um + 0.5, 0, 1) * _only(outline, shown.shape)
    cells = _piece_of_noise(min(rng.uniform(6, 14) / px_um / 2, 24), (n, n, 1), rng)[..., 0]
    thick = cover * rng.uniform(5, 11) / np.cos(slant) * np.clip(1 + 0.12 * cells, 0.5, 1.6)
    loss = SKIN_LOSS * rng.uniform(0.7, 1.2)
    return Body(
        "skin", "", outline, SKIN * thick, thick[..., None] * loss, float(radius * (1 - np.cos(bent))) + 8
    )


def _between_planes(ways: np.ndarray, offsets: np.ndarray, px_um: float) -> tuple[np.ndarray, np.ndarray]:
    """How thick the body ``ways @ p <= offsets`` is along z; its silhouette is where that is above 0."""
    reach = 1.9 * np.max(offsets[:6])
    n = int(2 * reach / px_um)
    y, x = (np.indices((n, n), np.float64) - (n - 1) / 2) * px_um
    top, low = np.full((n, n), np.inf), np.full((n, n), -np.inf)
    for (wx, wy, wz), offset in zip(ways, offsets, strict=True):
        wz = wz if abs(wz) > 0.02 else np.copysign(0.02, wz)  # no wall stands quite upright
        level = (offset - wx * x - wy * y) / wz
        if wz > 0:
            np.minimum(top, level, out=top)
        else:
            np.maximum(low, level, out=low)
    return np.clip(top - low, 0, None).astype(np.float32), (top - low).astype(np.float32)


def _crystal(name: str, d_um: float, px_um: float, rng: np.random.Generator) -> Body:
    """A cuboid of salt, or sugar with faces at other angles, more or less tilted and broken."""
    size = 0.44 * d_um * np.exp(rng.normal(0, 0.12, 3))
    ways = np.vstack([np.eye(3), -np.eye(3)])
    if name == "sugar":
        ways = ways + rng.normal(0, 0.22, ways.shape)
    offsets = np.r_[size, size]
    for _ in range(rng.integers(0, 4 if name == "salt" else 6)):
        way = rng.normal(size=3)
        ways = np.vstack([ways, way / np.linalg.norm(way)])
        offsets = np.append(offsets, rng.uniform(0.75, 1.25) * size.mean())
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    tilt = rng.normal(0, 0.09) if rng.random() < 0.65 else rng.uniform(0.2, 0.8)
    ways = ways @ _turned(2, rng.uniform(0, np.pi)) @ _turned(0, tilt) @ _turned(2, rng.uniform(0, 2 * np.pi))
    thick, shown = _between_planes(ways, offsets, px_um)
    outline = _outline(np.maximum(shown, -1.0), 0.0)
    path = (SALT if name == "salt" else SUGAR) * thick
    return Body("salt", "", outline, path, thick[..., None] * np.full(3, 2e-4), float(thick.max()))


def _turned(axis: int, angle: float) -> np.ndarray:
    a, b = (i for i in range(3) if i != axis)
    turn = np.eye(3)
    turn[a, a] = turn[b, b] = np.cos(angle)
    turn[a, b], turn[b, a] = np.sin(angle), -np.sin(angle)
    return turn


def _ball(d_um: float, px_um: float) -> Body:
    n = int(d_um / px_um) + 8
    y, x = (np.indices((n, n), np.float32) - (n - 1) / 2) * px_um
    square = 0.25 * d_um**2 - x**2 - y**2
    thick = 2 * np.sqrt(np.clip(square, 0, None))
    outline = _outline(np.maximum(square, -1.0), 0.0)
    return Body("other", "bubble", outline, AIR * thick, np.zeros((n, n, 3), np.float32), d_um)


def _fibre(wide_um: float, px_um: float, rng: np.random.Generator) -> Body:
    """A bent thread of even width."""
    long = wide_um * rng.uniform(10, 20)
    turn = np.cumsum(rng.normal(0, 0.12, 40)) + rng.uniform(0, 2 * np.pi)
    line = np.cumsum(np.column_stack([np.cos(turn), np.sin(turn)]) * long / 40, axis=0) / px_um
    line -= line.min(axis=0) - wide_um / px_um - 4
    n = np.ceil(line.max(axis=0) + wide_um / px_um + 4).astype(int)
    off = np.ones((n[1], n[0]), np.uint8)
    cv2.polylines(off, [np.round(line * 16).astype(np.int32)], False, 0, 1, cv2.LINE_8, 4)
    away = ndimage.gaussian_filter(ndimage.distance_transform_edt(off), 1.0) * px_um
    square = (0.25 * wide_um**2 - away**2).astype(np.float32)
    thick = 2 * np.sqrt(np.clip(square, 0, None))
    outline = _outline(np.maximum(square, -1.0), 0.0)
    return Body("other", "fibre", outline, FIBRE * thick, thick[..., None] * np.full(3, 1e-3), wide_um)
