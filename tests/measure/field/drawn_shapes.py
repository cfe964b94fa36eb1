"""Plain shapes drawn for the tests: exact cover by oversampling, blur in linear light, noise."""

import cv2
import numpy as np

from measure.model import Picture

OVER = 8


def cover_of(inside, size: tuple[int, int]) -> np.ndarray:
    """Covered share of each pixel of a (rows, columns) picture for a test of points x, y in px."""
    rows, cols = size
    y, x = np.mgrid[: rows * OVER, : cols * OVER].astype(np.float32)
    fine = inside((x + 0.5) / OVER, (y + 0.5) / OVER).astype(np.float32)
    return cv2.resize(fine, (cols, rows), interpolation=cv2.INTER_AREA)


def picture_of(
    cover: np.ndarray,
    oil: tuple[float, float, float] = (210, 200, 180),
    piece: tuple[float, float, float] = (150, 130, 100),
    blur_px: float = 1.0,
    noise: float = 1.5,
    light: np.ndarray | None = None,
    seed: int = 0,
    dtype: type = np.uint8,
) -> Picture:
    """Picture of pieces of one colour in oil."""
    cover = cv2.GaussianBlur(cover, (0, 0), blur_px) if blur_px else cover
    oil_light = (np.array(oil) / 255.0) ** 2.2
    piece_light = (np.array(piece) / 255.0) ** 2.2
    mixed = oil_light + cover[..., None] * (piece_light - oil_light)
    if light is not None:
        mixed = mixed * light[..., None]
    top = np.iinfo(dtype).max
    rng = np.random.default_rng(seed)
    values = np.clip(mixed, 0, 1) ** (1 / 2.2) * 255 + rng.normal(0, noise, mixed.shape)
    return Picture(np.clip(np.round(values / 255 * top), 0, top).astype(dtype), name="drawn.png")


def discs_of(places, size: tuple[int, int]) -> np.ndarray:
    """Share of each pixel covered by discs, each an x, a y and a radius in px."""

    def inside(x, y):
        hit = np.zeros(x.shape, bool)
        for cx, cy, radius in places:
            near = np.s_[_about(cy, radius), _about(cx, radius)]
            hit[near] |= (x[near] - cx) ** 2 + (y[near] - cy) ** 2 < radius**2
        return hit

    return cover_of(inside, size)


def _about(centre: float, radius: float) -> slice:
    """Fine rows or columns that a disc may reach."""
    return slice(max(0, int(OVER * (centre - radius - 1))), max(0, int(OVER * (centre + radius + 1))))


def grid_of_discs(diameter: float, columns: int = 4, rows: int = 3) -> np.ndarray:
    """Discs on a grid, off the pixel raster by varying amounts."""
    step = diameter + 24
    size = (int(rows * step), int(columns * step))
    rng = np.random.default_rng(int(diameter))
    centres = [
        ((i + 0.5) * step + rng.uniform(-1, 1), (j + 0.5) * step + rng.uniform(-1, 1))
        for j in range(rows)
        for i in range(columns)
    ]
    return discs_of([(cx, cy, diameter / 2) for cx, cy in centres], size)
