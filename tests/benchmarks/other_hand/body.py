"""From a silhouette to a body: thickness, density of the stuff and its texture, on a fine local grid."""

from dataclasses import dataclass, field

import cv2
import numpy as np

from .crystal import Crystal, thickness

CLEAR = "clear"  # kind of a pale piece that nobody could name from the picture
SHIFT = 6  # sub-pixel bits of the filling


@dataclass(frozen=True)
class Stuff:
    """What a piece is made of.

    ``absorb`` is the decadic absorbance of red, green, blue at the thickest place; ``step`` the refractive
    index less the oil's; ``flat`` the height of the body as a share of its inscribed diameter; ``lumps`` the
    relative texture; ``albedo`` the colour in reflected light.
    """

    kind: str  # kernel, skin, salt, other or CLEAR
    absorb: tuple[float, float, float]
    step: float
    flat: float = 0.6
    lumps: float = 0.25
    albedo: tuple[float, float, float] = (0.7, 0.6, 0.45)
    mark: str = ""  # bubble, fibre


@dataclass(frozen=True)
class Piece:
    """One placed piece; ``outline`` in px of the frame, ``height_px`` its distance from the focal plane."""

    outline: np.ndarray
    stuff: Stuff
    height_px: float
    seed: int
    crystal: Crystal | None = None
    centre: np.ndarray = field(default_factory=lambda: np.zeros(2))


@dataclass(frozen=True)
class Body:
    """Local maps of a piece, each (h * fine, w * fine); lengths in px of the frame."""

    x0: int
    y0: int
    fine: int
    mask: np.ndarray
    depth: np.ndarray  # distance from the outline, px
    thick: np.ndarray  # px
    density: np.ndarray  # absorbance as a share of the stuff's


def fill(outline: np.ndarray, x0: int, y0: int, width: int, height: int, fine: int) -> np.ndarray:
    """Boolean (height * fine, width * fine) mask of a polygon."""
    mask = np.zeros((height * fine, width * fine), np.uint8)
    local = (outline - [x0, y0]) * fine - 0.5  # the centre of a cell is a whole number there
    cv2.fillPoly(mask, [np.round(local * 2**SHIFT).astype(np.int32)], 1, shift=SHIFT)
    return mask.astype(bool)


def noise(shape: tuple[int, int], scale: float, rng: np.random.Generator) -> np.ndarray:
    """Smooth random field with unit deviation; ``scale`` is its grain in cells."""
    step = max(1.0, scale / 2.0)
    small = rng.normal(size=(int(shape[0] / step) + 6, int(shape[1] / step) + 6)).astype(np.float32)
    small = cv2.GaussianBlur(small, (0, 0), 1.0)
    grown = cv2.resize(small, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return grown / (grown.std() + 1e-6)


def make_body(piece: Piece, margin: int) -> Body:
    """Work out the body of one piece on a patch that leaves ``margin`` px around it."""
    low = np.floor(piece.outline.min(axis=0)).astype(int) - margin
    high = np.ceil(piece.outline.max(axis=0)).astype(int) + margin
    width, height = (high - low).tolist()
    fine = 3 if width * height < 30_000 else 2 if width * height < 300_000 else 1
    mask = fill(piece.outline, low[0], low[1], width, height, fine)
    depth = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5) / fine
    rng = np.random.default_rng(piece.seed)
    if piece.crystal is not None:
        y, x = np.mgrid[: height * fine, : width * fine]
        x = (x + 0.5) / fine + low[0] - piece.centre[0]
        y = (y + 0.5) / fine + low[1] - piece.centre[1]
        thick = thickness(piece.crystal, x, y).astype(np.float32)
        density = thick / (thick.max() + 1e-6)
    else:
        make = {"skin": _skin, "kernel": _kernel, CLEAR: _kernel}.get(piece.stuff.kind, _smooth)
        thick, density = make(piece.stuff, mask, depth, fine, rng)
    return Body(int(low[0]), int(low[1]), fine, mask, depth, thick * mask, density * mask)


def _dome(stuff: Stuff, depth: np.ndarray) -> np.ndarray:
    """Elliptic profile, 0 at the outline, 1 in the middle."""
    reach = max(float(depth.max()), 1e-3) * (1.0 if stuff.flat > 0.5 else 0.6)
    u = np.clip(depth / reach, 0.0, 1.0)
    return np.sqrt(np.maximum(1.0 - (1.0 - u) ** 2, 0.0))


def _smooth(stuff: Stuff, mask, depth, fine, rng):
    reach = float(depth.max())
    profile = _dome(stuff, depth)
    thick = 2.0 * reach * stuff.flat * profile
    if stuff.mark == "fibre":  # a hollow thread: the wall is thick at its sides, the lumen thin
        u = np.clip(depth / reach, 0.0, 1.0)
        lumen = np.sqrt(np.clip((u - 0.55) / 0.45, 0.0, 1.0) * (2.0 - np.clip((u - 0.55) / 0.45, 0.0, 1.0)))
        thick = thick - 2.0 * reach * 0.45 * lumen
    return thick, np.maximum(thick / (thick.max() + 1e-6), 0.0)


def _kernel(stuff: Stuff, mask, depth, fine, rng):
    """Clump of cells: coarse lumps, fine granules, lens-like oil droplets."""
    reach = float(depth.max())
    profile = _dome(stuff, depth)
    coarse = noise(mask.shape, np.clip(reach * 0.55, 4.0, 22.0) * fine, rng)
    grain = noise(mask.shape, 2.6 * fine, rng)
    lumpy = np.clip(1.0 + stuff.lumps * (0.75 * coarse + 0.45 * grain), 0.25, 2.0)
    thick = 2.0 * reach * stuff.flat * profile * np.clip(1.0 + 0.10 * coarse + 0.015 * grain, 0.5, 1.6)
    if reach > 30:  # large enough to show its cells
        walls = np.exp(-((noise(mask.shape, 26.0 * fine, rng) / 0.12) ** 2))
        lumpy = lumpy + 0.22 * walls
    # a larger piece is thicker, yet the film under the cover glass squashes it
    density = profile * lumpy * np.clip((reach / 14.0) ** 0.6, 0.55, 2.0)
    area = mask.sum() / fine**2
    for _ in range(int(rng.poisson(min(area / 700.0, 60.0)) if stuff.lumps > 0.1 else 0)):
        _droplet(density, thick, mask, fine, rng)
    return thick, density


def _droplet(density, thick, mask, fine, rng) -> None:
    """Thin the stuff within a small disc: a droplet of oil shut in a cell."""
    radius = float(rng.uniform(1.2, 3.8)) * fine
    rows, cols = np.nonzero(mask)
    pick = int(rng.integers(len(rows)))
    r, c, n = rows[pick], cols[pick], int(radius + 2)
    win = np.s_[max(r - n, 0) : r + n + 1, max(c - n, 0) : c + n + 1]
    height, width = density[win].shape
    y, x = np.ogrid[win[0].start : win[0].start + height, win[1].start : win[1].start + width]
    inside = np.sqrt(np.clip(1.0 - ((y - r) ** 2 + (x - c) ** 2) / radius**2, 0.0, 1.0))
    density[win] *= 1.0 - 0.55 * inside
    thick[win] -= np.minimum(0.6 * thick[win], 1.6 * radius / fine * inside)


def _skin(stuff: Stuff, mask, depth, fine, rng):
    """Thin sheet: nearly even, with veins, a mottle, one or two folds where it lies double, curled edges."""
    sheet = np.clip(depth / 1.5, 0.0, 1.0)
    mottle = noise(mask.shape, 9.0 * fine, rng)
    veins = np.exp(-((noise(mask.shape, 16.0 * fine, rng) / 0.10) ** 2))
    fibrils = noise(mask.shape, 2.4 * fine, rng)
    density = np.clip(0.8 + stuff.lumps * (0.55 * mottle + 0.3 * fibrils) + 0.22 * veins, 0.2, 2.0)
    rows, cols = np.nonzero(mask)
    y, x = np.ogrid[: mask.shape[0], : mask.shape[1]]
    angle, half = rng.uniform(0, 2 * np.pi), 0.25 * (np.ptp(rows) + np.ptp(cols)) + 1.0
    side = ((x - cols.mean()) * np.cos(angle) + (y - rows.mean()) * np.sin(angle)) / half
    side = side + 0.12 * noise(mask.shape, max(30.0, float(depth.max()) * 3) * fine, rng)
    density += 0.55 * np.exp(-depth / 2.5) * (side > 0.1)  # the edge curls up there
    fold = rng.uniform(-0.9, 0.9)
    density += 0.5 * np.exp(-(((side - fold) * half / fine / 1.6) ** 2))  # fold line
    density *= np.where(side > rng.uniform(0.35, 1.6), 1.5, 1.0)  # lies double
    density = density * sheet
    thick = stuff.flat * 12.0 * sheet * (1.0 + 0.15 * mottle)
    return thick, density
