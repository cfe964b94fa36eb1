"""Real grounds: the light of a real picture between its pieces, and the grain of its free parts."""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from scipy import ndimage

from .sources import FREE_STEP, far_from_median, picture, smooth_over, to_linear

SPECK_PX2 = 25.0  # what is smaller belongs to the ground
KEEP_OFF_PX = 9  # from anything larger


@dataclass(frozen=True)
class GroundSource:
    """Where a ground comes from. ``patch_px`` is the side of the squares its grain is laid from."""

    file: str
    reduced: float = 1.0
    window: tuple[int, int, int, int] | None = None  # x0, y0, x1, y1 px after reduction
    patch_px: int = 64
    light_sd_px: float = 60.0
    step: float = FREE_STEP


GROUNDS: dict[str, GroundSource] = {
    "film_grey": GroundSource("blood_film_scalebar/94.jpg", step=6.0, patch_px=48),
    "film_pale": GroundSource("blood_film_scalebar/314.jpg", step=4.0),
    "film_teal": GroundSource("blood_film_scalebar/331.jpg", step=4.0, patch_px=56),
    "film_mint": GroundSource("blood_film_scalebar/530.jpg", step=4.0),
    "film_white": GroundSource("blood_film_scalebar/721.jpg", step=4.0, patch_px=48),
    "board_dark": GroundSource("lentils_mm_paper/1.jpg", 0.62, (0, 1950, 1300, 2850), 160, 120.0, step=5.0),
    "board_green": GroundSource("lentils_mm_paper/40.jpg", 0.40, (0, 1250, 840, 1840), 120, 80.0, step=5.0),
    "paper": GroundSource(
        "marbles_and_colonies/beads.jpg", 1.0, (40, 1750, 1500, 3040), 128, 160.0, step=6.0
    ),
    "agar": GroundSource("marbles_and_colonies/colonies-01.tif", 1.0, (60, 40, 250, 260), 40, 30.0, step=9.0),
    "glass": GroundSource(
        "glass_with_sand_and_bubbles/MV_HFV_012.jpg", 1.0, (0, 0, 1024, 860), 24, 60.0, step=7.0
    ),
    "micrograph": GroundSource("electron_micrograph_with_mask/image.png", 1.0, None, 64, 80.0, step=9.0),
}


@lru_cache(maxsize=8)
def _parts(name: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Smooth light, grain (share of it) and the mask of what is free."""
    source = GROUNDS[name]
    pixels = picture(source.file, source.reduced)
    if source.window is not None:
        x0, y0, x1, y1 = source.window
        pixels = np.ascontiguousarray(pixels[y0:y1, x0:x1])
    busy = far_from_median(pixels, source.light_sd_px) > source.step
    numbers, _ = ndimage.label(busy)
    large = np.bincount(numbers.ravel()) > SPECK_PX2
    large[0] = False
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * KEEP_OFF_PX + 1, 2 * KEEP_OFF_PX + 1))
    free = cv2.dilate(large[numbers].astype(np.uint8), disc) == 0
    light = to_linear(pixels / 255.0)
    smooth = np.maximum(smooth_over(light, free, source.light_sd_px), 1e-3)
    return smooth, light / smooth, free


def ground(name: str, size: tuple[int, int], rng: np.random.Generator) -> np.ndarray:
    """Linear light of an empty ground, (M, N, 3) float32; where it comes from is in `GROUNDS`."""
    smooth, grain, free = _parts(name)
    turned = smooth[:: rng.choice([-1, 1]), :: rng.choice([-1, 1])]
    light = cv2.resize(np.ascontiguousarray(turned), size[::-1], interpolation=cv2.INTER_CUBIC)
    return light * _grain(grain, free, GROUNDS[name].patch_px, size, rng)


def _grain(grain, free, side: int, size, rng) -> np.ndarray:
    """Lay squares of free grain half over one another, so that its strength stays the same."""
    corners = _free_corners(free, side)
    ramp = np.sin(np.pi * (np.arange(side) + 0.5) / side).astype(np.float32)
    window = np.outer(ramp, ramp)[..., None] ** 2
    total = np.zeros((size[0] + 2 * side, size[1] + 2 * side, 3), np.float32)
    power = np.zeros((*total.shape[:2], 1), np.float32)
    for y in range(0, size[0] + side, side // 2):
        for x in range(0, size[1] + side, side // 2):
            r, c = corners[rng.integers(len(corners))]
            square = grain[r : r + side, c : c + side][:: rng.choice([-1, 1]), :: rng.choice([-1, 1])]
            total[y : y + side, x : x + side] += window * (square - square.mean(axis=(0, 1)))
            power[y : y + side, x : x + side] += window**2
    inner = np.s_[side // 2 : side // 2 + size[0], side // 2 : side // 2 + size[1]]
    return np.maximum(1.0 + total[inner] / np.sqrt(power[inner]), 0.02)


def _free_corners(free: np.ndarray, side: int) -> np.ndarray:
    """Upper left corners of squares wholly free, (K, 2) row and column."""
    full = cv2.boxFilter(free.astype(np.float32), -1, (side, side), normalize=True, anchor=(0, 0),
                         borderType=cv2.BORDER_CONSTANT) > 0.999  # fmt: skip
    full[free.shape[0] - side + 1 :] = False
    full[:, free.shape[1] - side + 1 :] = False
    found = np.argwhere(full)
    if not len(found):
        raise ValueError(f"the ground has no free square of {side} px")
    return found
