"""Seeds laid out on dark ground so that many touch, lit from one side, and photographed."""

from zlib import crc32

import cv2
import numpy as np

from .shapes import FORMS, mottle, seed

LOOKS = {
    "white beans": ["bean"],
    "mixed beans": ["bean", "kidney", "chickpea", "pea"],
    "coffee": ["coffee"],
    "nuts": ["almond", "hazelnut"],
    "rice": ["rice"],
    "lentils": ["lentil"],
    "chickpeas": ["chickpea"],
    "kidney beans": ["kidney"],
    "sunflower": ["sunflower"],
}
_GROUNDS = ((30, 30, 32), (22, 26, 38), (44, 34, 26), (16, 16, 16), (38, 44, 40))
_GAMMA = 2.2


class _Scene:
    """Heights, normals, colours and gloss of all that lies in view, and which seed each pixel shows."""

    def __init__(self, rng: np.random.Generator, shape: tuple[int, int]) -> None:
        self.labels = np.zeros(shape, np.int32)
        self.height_px = np.zeros(shape, np.float32)
        self.normals = np.zeros((*shape, 3), np.float32)
        self.normals[..., 2] = 1
        self.gloss = np.zeros(shape, np.float32)
        ground = np.array(_GROUNDS[int(rng.integers(len(_GROUNDS)))]) / 255
        fine = cv2.GaussianBlur(rng.normal(0, 1, shape).astype(np.float32), (0, 0), 1) / 0.28
        rough = 1 + 0.1 * mottle(rng, shape, float(rng.choice([4, 9, 40]))) + 0.06 * fine
        if rng.random() < 0.3:  # woven
            y, x = np.mgrid[: shape[0], : shape[1]]
            threads = [np.sin(2 * np.pi * axis / rng.uniform(4, 7)) for axis in (x, y)]
            rough *= 1 + 0.15 * threads[0] * threads[1]
        self.albedo = (ground * rough[..., None]).astype(np.float32)


def draw(look: str, number: int) -> tuple[np.ndarray, np.ndarray]:
    """Draw one photograph.

    Returns
    -------
    pixels : (M, N, 3) ndarray of uint8
    labels : (M, N) ndarray of int32
        1.. for each seed, 0 for the ground.
    """
    rng = np.random.default_rng([crc32(look.encode()), number])
    width = int(rng.integers(900, 1500))
    shape = (int(0.72 * width), width)
    size_px = width * rng.uniform(0.05, 0.11)
    count = min(int(rng.integers(25, 90)), int(0.38 * shape[0] * width / (0.75 * size_px**2)))
    scene = _Scene(rng, shape)
    _lay_out(rng, scene, LOOKS[look], size_px, count)
    return _photographed(rng, _lit(rng, scene, size_px)), scene.labels


def _lay_out(rng: np.random.Generator, scene: _Scene, kinds: list[str], size_px: float, count: int) -> None:
    """Lay seeds one after the other, part of them pushed against one that lies there."""
    clumped, over, gloss = rng.uniform(0.3, 0.85), rng.choice([0.0, 0.0, 0.03]), rng.uniform(0, 0.5)
    centres: list[tuple[int, int]] = []
    for _ in range(4000):
        if len(centres) == count:
            return
        kind = kinds[int(rng.integers(len(kinds)))]
        new = seed(rng, kind, size_px)
        if centres and rng.random() < clumped:
            place = _pushed(rng, scene, new.mask, centres, size_px, over)
        else:
            place = _about(new.mask, scene.labels.shape, rng.integers(scene.labels.shape[::-1]))
            around = cv2.dilate(new.mask.view(np.uint8), np.ones((5, 5), np.uint8)) > 0
            if place is not None and scene.labels[place][around].any():
                place = None
        if place is None:
            continue
        reach = new.mask.shape[0] // 2
        centres.append((place[1].start + reach, place[0].start + reach))
        scene.labels[place][new.mask] = len(centres)
        scene.height_px[place][new.mask] = new.height_px[new.mask]
        scene.normals[place][new.mask] = new.normals[new.mask]
        scene.albedo[place][new.mask] = new.albedo[new.mask]
        scene.gloss[place][new.mask] = gloss * FORMS[kind].gloss


def _about(mask: np.ndarray, shape: tuple[int, int], middle: np.ndarray) -> tuple[slice, slice] | None:
    """Where a seed lies about a middle, x and y; None where it does not fit into view."""
    reach = mask.shape[0] // 2
    left, top = int(middle[0]) - reach, int(middle[1]) - reach
    if min(left, top) < 1 or left + 2 * reach + 1 >= shape[1] or top + 2 * reach + 1 >= shape[0]:
        return None
    return np.s_[top : top + 2 * reach + 1, left : left + 2 * reach + 1]


def _pushed(
    rng: np.random.Generator,
    scene: _Scene,
    mask: np.ndarray,
    centres: list[tuple[int, int]],
    size_px: float,
    over: float,
) -> tuple[slice, slice] | None:
    """Where a seed comes to lie that is pushed towards another until it touches, or lies on it a little."""
    target, turn = np.array(centres[int(rng.integers(len(centres)))]), rng.uniform(0, 2 * np.pi)
    way, last = np.array([np.cos(turn), np.sin(turn)]), None
    for far in np.arange(2.4 * size_px, 0, -1.0):
        place = _about(mask, scene.labels.shape, target + far * way)
        if place is None or np.count_nonzero(scene.labels[place][mask]) > over * mask.sum():
            break
        last = place
    return last


def _lit(rng: np.random.Generator, scene: _Scene, size_px: float) -> np.ndarray:
    """Linear light that leaves the scene: one lamp with its shadow, light from all round, gloss."""
    azimuth, elevation = rng.uniform(0, 2 * np.pi), np.deg2rad(rng.uniform(35, 75))
    way = np.array([np.cos(azimuth), np.sin(azimuth)])
    lamp = np.array([*(np.cos(elevation) * way), np.sin(elevation)])
    shadow, rise = np.zeros_like(scene.height_px), 2.0 * np.tan(elevation)
    for step in range(1, int(scene.height_px.max() / rise) + 2):
        shift = np.float32([[1, 0, -2.0 * step * way[0]], [0, 1, -2.0 * step * way[1]]])
        towards = cv2.warpAffine(scene.height_px, shift, shadow.shape[::-1])
        shadow = np.maximum(shadow, np.clip((towards - rise * step - scene.height_px) / 3, 0, 1))
    shadow = cv2.GaussianBlur(shadow, (0, 0), rng.uniform(1, 5))
    ambient = rng.uniform(0.3, 0.7)
    hollow = (cv2.GaussianBlur(scene.height_px, (0, 0), 0.15 * size_px) - scene.height_px) / (0.25 * size_px)
    open_sky = np.clip(1 - 0.5 * np.clip(hollow, 0, 1), 0.3, 1) * (0.75 + 0.25 * scene.normals[..., 2])
    direct = np.clip(scene.normals @ lamp, 0, None) * (1 - shadow)
    light = 1.25 * (1 - ambient) * direct + ambient * open_sky
    halfway = np.add(lamp, (0, 0, 1))
    mirror = np.clip(scene.normals @ (halfway / np.linalg.norm(halfway)), 0, None) ** rng.uniform(20, 80)
    y, x = np.mgrid[: shadow.shape[0], : shadow.shape[1]]
    slope = (x / shadow.shape[1] - 0.5) * way[0] + (y / shadow.shape[0] - 0.5) * way[1]
    tint = np.array([1, rng.uniform(0.93, 1.02), rng.uniform(0.8, 1.05)])
    own = 1.15 * np.clip(scene.albedo, 0, 1) ** _GAMMA * light[..., None]
    shine = (mirror * scene.gloss * (1 - shadow))[..., None]
    return (own + shine) * (1 + rng.uniform(0, 0.3) * slope)[..., None] * tint


def _photographed(rng: np.random.Generator, light: np.ndarray) -> np.ndarray:
    """What a camera makes of the light: blur, noise, tone curve, sharpening and compression."""
    light = cv2.GaussianBlur(light.astype(np.float32), (0, 0), rng.uniform(0.6, 1.5))
    spread = np.sqrt(np.clip(light, 0, None) * rng.uniform(5e-5, 4e-4) + 2e-6)
    light += rng.normal(0, 1, light.shape) * spread
    shown = np.clip(light * rng.uniform(0.9, 1.15), 0, 1) ** (1 / _GAMMA)
    if rng.random() < 0.6:
        shown += rng.uniform(0.3, 0.8) * (shown - cv2.GaussianBlur(shown, (0, 0), 1.2))
    pixels = np.rint(255 * np.clip(shown, 0, 1)).astype(np.uint8)
    quality = [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(70, 96))]
    _, packed = cv2.imencode(".jpg", pixels[..., ::-1], quality)
    return np.ascontiguousarray(cv2.imdecode(packed, cv2.IMREAD_COLOR)[..., ::-1])
