"""Kernel: clumps of storage cells with oil bodies and aleurone grains, broken, crushed or stuck together.

Sizes from handbooks of food microscopy, from memory: parenchyma of hazelnut, peanut and almond 30-50 um,
aleurone grains 2-10 um, walls 1-3 um.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from .body import Body, ramped, spread
from .noise import Cells, Rng, depth_inside, fractal, fracture, grid, largest, smooth

_FORMS = {"clump": 0.4, "shard": 0.25, "lens": 0.15, "agglomerate": 0.2}


@dataclass(frozen=True)
class Kernel:
    """How the kernel of a look is.

    Attributes
    ----------
    density : tuple of float
        Optical density (natural) of 50 um in red, green, blue.
    colour : tuple of float
        Colour lit from above, linear.
    index : float
        Refractive index above that of the oil.
    grain : float
        How strongly the contents of the cells show.
    feather : float
        How far thin edges reach, share of the diameter.
    forms : dict
        Shares of clump, shard, lens (crushed flat by the rolls) and agglomerate.
    """

    density: tuple[float, float, float] = (0.75, 0.90, 1.30)
    colour: tuple[float, float, float] = (0.72, 0.60, 0.38)
    index: float = 0.025
    grain: float = 0.8
    feather: float = 0.05
    forms: tuple[tuple[str, float], ...] = tuple(_FORMS.items())


def kernel(d_px: float, um_per_px: float, look: Kernel, rng: Rng) -> Body:
    """A piece of kernel about ``d_px`` wide."""
    names, shares = zip(*look.forms, strict=True)
    form = str(rng.choice(names, p=np.array(shares) / sum(shares)))
    if form == "agglomerate" and d_px > 30:
        return _agglomerate(d_px, um_per_px, look, rng)
    return _piece(d_px, um_per_px, look, "clump" if form == "agglomerate" else form, rng)


def _piece(d_px: float, um_per_px: float, look: Kernel, form: str, rng: Rng) -> Body:
    x, y = grid(1.1 * d_px + 4, rng)
    cells = Cells(x, y, rng.uniform(30, 50) / um_per_px, rng, rng.uniform(1, 1.5))
    stretch = rng.uniform(1.0, 1.5) if form != "shard" else rng.uniform(1.3, 2.6)
    cuts = rng.uniform(0.45, 0.85, {"clump": rng.integers(0, 2), "shard": rng.integers(1, 4)}.get(form, 0))
    rough = rng.uniform(0.08, 0.2) if form == "lens" else rng.uniform(0.12, 0.3)
    along = 0.0 if form == "lens" else rng.uniform(0.2, 0.75)
    shape = fracture(x, y, d_px, rng, stretch, rough, cuts, cells, along)
    inside = depth_inside(shape)
    ramp = _ramp(x, y, inside, d_px, look.feather * (0.5 if form == "shard" else 1.0), rng)
    thick = _thickness(inside, d_px, form, rng)
    solid = np.float32(np.mean(look.density)) * (np.maximum(thick * um_per_px, 1) / 50) ** 0.6 * shape
    hue = np.asarray(look.density) / np.mean(look.density) * np.exp(0.035 * rng.standard_normal(3))
    own = solid * ramp * np.exp(0.25 * rng.normal()) * _contents(x.shape, cells, um_per_px, look.grain, rng)
    if form == "lens":
        own = own * (1 - 0.85 * _cracks(x, y, d_px, rng) * (inside > 1))
    soft = cv2.GaussianBlur(thick * ramp, (0, 0), 1.0 + 0.02 * d_px)  # wet tissue has no sharp step
    path = look.index * soft * (1 + 0.5 * look.grain * 0.12 * fractal(x.shape, 8 / um_per_px, rng, 3))
    tone = 1 + 0.18 * (own / np.maximum(solid * ramp, 1e-3) - 1) + 0.07 * fractal(x.shape, d_px / 3, rng)
    return Body(
        "kernel",
        spread(hue, own),
        path.astype(np.float32),
        largest(shape & ramped(solid, ramp)),
        (thick * ramp).astype(np.float32),
        (1 - np.exp(-4.5 * ramp * shape * np.sqrt(np.maximum(solid, 0.02) / 0.5))).astype(np.float32),
        spread(np.asarray(look.colour) * np.exp(0.05 * rng.standard_normal(3)), np.clip(tone, 0.4, 1.6)),
        0.25,
        0.002,
        form,
    )


def _ramp(
    x: np.ndarray, y: np.ndarray, inside: np.ndarray, d_px: float, feather: float, rng: Rng
) -> np.ndarray:
    """From 0 at the outline to 1 within; wide on some sides, steep on others."""
    side = np.cos(np.arctan2(y, x) - rng.uniform(0, 2 * np.pi)) + 0.8 * smooth(x.shape, d_px / 2, rng)
    width = 0.6 + feather * d_px * np.clip(side, 0, 1.5)
    return (1 - np.exp(-inside / width)).astype(np.float32)


def _thickness(inside: np.ndarray, d_px: float, form: str, rng: Rng) -> np.ndarray:
    """Thickness in px: a dome, a slab or a lens, uneven."""
    top = d_px * {"lens": rng.uniform(0.10, 0.22), "shard": rng.uniform(0.2, 0.45)}.get(
        form, rng.uniform(0.3, 0.65)
    )
    rise = {"lens": 0.35, "shard": 0.12}.get(form, rng.uniform(0.15, 0.4)) * d_px
    dome = np.sqrt(np.clip(1 - (1 - np.clip(inside / rise, 0, 1)) ** 2, 0, 1))
    uneven = np.clip(1 + 0.28 * fractal(inside.shape, d_px / 2.5, rng), 0.45, 1.8)
    return (top * (0.15 + 0.85 * dome) * uneven * (inside > 0)).astype(np.float32)


def _contents(shape: tuple[int, ...], cells: Cells, um_per_px: float, grain: float, rng: Rng) -> np.ndarray:
    """Density of the cells about 1: fuller and emptier ones, dark walls, dark grains, clear oil bodies."""
    grains = fractal(shape, max(1.2, 7 / um_per_px), rng, 2, 0.7)
    bodies = smooth(shape, max(1.5, rng.uniform(6, 12) / um_per_px), rng)
    total = 1 + 0.22 * grain * cells.levels(rng) + 0.7 * grain * cells.wall(rng.uniform(2, 5) / um_per_px)
    total += 0.22 * grain * grains - 0.45 * grain * np.clip(bodies - 0.7, 0, 1.2)
    return np.clip(total, 0.2, 2.5)


def _cracks(x: np.ndarray, y: np.ndarray, d_px: float, rng: Rng) -> np.ndarray:
    """Where a crushed piece has come apart and oil has run in."""
    wide = Cells(x, y, d_px / rng.uniform(1.6, 3.0), rng)
    return wide.wall(rng.uniform(0.8, 0.03 * d_px + 1.2)) * (smooth(x.shape, d_px / 2.5, rng) > -0.3)


def _agglomerate(d_px: float, um_per_px: float, look: Kernel, rng: Rng) -> Body:
    """Several small ones pressed together, in part over one another."""
    parts = [
        _piece(d_px * rng.uniform(0.38, 0.68), um_per_px, look, str(rng.choice(["clump", "shard"])), rng)
        for _ in range(rng.integers(3, 6))
    ]
    half = int(1.5 * d_px)
    size = 2 * half + 1
    mask = np.zeros((size, size), bool)
    three, one = (np.zeros((size, size, *tail), np.float32) for tail in ((3,), ()))
    big = Body("kernel", three, one, mask, one.copy(), one.copy(), three.copy(), shine=0.25)
    for number, part in enumerate(parts):
        way = 2 * np.pi * number / (len(parts) - 1) + rng.uniform(-0.4, 0.4)
        far = 0.0 if number == 0 else 0.29 * d_px * rng.uniform(0.6, 1.0)
        reach = part.mask.shape[0] // 2
        row, col = (int(half + far * f(way)) - reach for f in (np.sin, np.cos))
        cut = (slice(row, row + 2 * reach + 1), slice(col, col + 2 * reach + 1))
        under = np.where(part.mask & mask[cut], 0.55, 1.0)  # pressed, not laid, on one another
        big.density[cut] += part.density * under[..., None]
        big.path_px[cut] += part.path_px * under
        big.relief_px[cut] = np.maximum(big.relief_px[cut], part.relief_px)
        over = part.cover[..., None]
        big.colour[cut] = np.where(
            big.cover[cut][..., None] > 0.02, (1 - over) * big.colour[cut] + over * part.colour, part.colour
        )
        big.cover[cut] = 1 - (1 - big.cover[cut]) * (1 - part.cover)
        mask[cut] |= part.mask
    closed = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    big.mask, big.retard, big.name = largest(closed.astype(bool)), 0.002, "agglomerate"
    return big
