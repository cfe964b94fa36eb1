"""Real pieces cut out of real pictures: outlines stored here, pixels read where GRITLINE_DATA points.

Each ``outlines/NAME.json`` holds polygons in the coordinates of its picture (corner of the first pixel is
0, 0), traced with thresholds of our own or, for marbles and scanned coins, drawn as ellipses and circles,
then looked at one by one; doubtful ones were dropped. Sources and licences are those of ``SOURCE.md`` beside
each picture: blood films (MIT), lentils (MIT), candies and coins (CC0, public domain, Apache-2.0), marbles
and colonies (CC BY 4.0, The Carpentries), grains and bubbles in glass (CC BY 4.0, scipy lecture notes), round
particles (CC BY 4.0, EMPS set, Yildirim and Cole 2021).
"""

import json
import os
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
from scipy import ndimage
from shapely.geometry import Polygon

HERE = Path(__file__).parent / "outlines"
MARGIN_PX = 12  # of a cut-out round its outline
TRUST_PX = 2.5  # pixels nearer to the outline still hold light of the ground they were taken on
GLOW_PX = (3.0, 7.0)  # from the outline: as far as a glow is whole, and as far as it goes
FREE_STEP = 3.0  # CIELAB; less from the local median of the ground counts as ground


@dataclass(frozen=True)
class Cut:
    """One real piece.

    ``colour`` (M, N, 3) is linear light, carried on past the outline; ``clear`` (M, N, 3) the same as a
    share of the light of the ground it lay on. ``dense`` (M, N, 3) is the natural density against that
    ground as it was taken, with the edge and the glow beside it, 0 farther away. ``outline`` (P, 2) px in
    the coordinates of the cut-out.
    """

    source: str
    colour: np.ndarray
    clear: np.ndarray
    dense: np.ndarray
    outline: np.ndarray
    diameter_px: float


def data_folder() -> Path | None:
    """Folder of the real pictures, None when it is not there."""
    named = os.environ.get("GRITLINE_DATA")
    folder = Path(named) if named else None
    return folder if folder is not None and folder.is_dir() else None


def to_linear(values: np.ndarray) -> np.ndarray:
    """sRGB 0..1 to linear light (IEC 61966-2-1)."""
    values = np.asarray(values, np.float32)
    return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4).astype(np.float32)


def to_srgb(light: np.ndarray) -> np.ndarray:
    """Linear light to sRGB 0..1."""
    light = np.clip(light, 0.0, 1.0)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055).astype(np.float32)


@lru_cache(maxsize=16)
def picture(file: str, reduced: float) -> np.ndarray:
    """Read a picture, (M, N, 3) uint8 RGB, made smaller by a factor."""
    folder = data_folder()
    pixels = cv2.imread(str(folder / file), cv2.IMREAD_COLOR) if folder else None
    if pixels is None:
        raise FileNotFoundError(f"{file}: set GRITLINE_DATA to the folder of real pictures")
    if reduced != 1:
        pixels = cv2.resize(pixels, None, fx=reduced, fy=reduced, interpolation=cv2.INTER_AREA)
    return np.ascontiguousarray(pixels[..., ::-1])


def far_from_median(pixels: np.ndarray, sd_px: float) -> np.ndarray:
    """CIELAB distance of each pixel from a smooth surface through what lies flat, (M, N)."""
    lab = cv2.cvtColor(pixels.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    lab = cv2.GaussianBlur(lab, (0, 0), 1.0)
    middle = np.median(lab.reshape(-1, 3), axis=0)
    flat = np.linalg.norm(lab - middle, axis=2)
    flat = flat < np.percentile(flat, 60)
    for _ in range(3):
        surface = smooth_over(lab, flat, sd_px)
        far = np.linalg.norm(lab - surface, axis=2)
        flat = far < max(FREE_STEP, 4 * 1.4826 * float(np.median(far[flat])))
    return far


def smooth_over(values: np.ndarray, where: np.ndarray, sd_px: float) -> np.ndarray:
    """Gaussian mean of values over the pixels in ``where``, carried on over the others."""
    step = max(1, int(sd_px / 6))
    weight = where.astype(np.float32)
    small = [cv2.resize(a, None, fx=1 / step, fy=1 / step, interpolation=cv2.INTER_AREA)
             for a in (values * weight[..., None], weight)]  # fmt: skip
    total = cv2.GaussianBlur(small[0], (0, 0), sd_px / step)
    share = cv2.GaussianBlur(small[1], (0, 0), sd_px / step)[..., None]
    mean = total / np.maximum(share, 1e-4)
    return cv2.resize(mean, values.shape[1::-1], interpolation=cv2.INTER_CUBIC)


@lru_cache(maxsize=32)
def cuts(name: str) -> tuple[Cut, ...]:
    """All pieces of one source."""
    stored = json.loads((HERE / f"{name}.json").read_text())
    reduced = float(stored["reduced"])
    pixels = picture(stored["picture"], reduced)
    light = to_linear(pixels / 255.0)
    outlines = [np.array(o, float) * reduced for o in stored["outlines_px"]]
    free = far_from_median(pixels, 80.0) < 2 * FREE_STEP
    found = tuple(_cut(name, light, free, outline) for outline in outlines)
    return tuple(_levelled(cut) for cut in found) if stored.get("level") else found


def _levelled(cut: Cut) -> Cut:
    """Take out a slope of the light across a piece that was lit from one side, which hides its lit edge."""
    inside = filled(cut.outline, cut.clear.shape[:2]) > 0.5
    y, x = np.indices(inside.shape) - np.array(inside.shape)[:, None, None] / 2
    slope = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
    log = np.log(np.maximum(cut.clear, 0.02))
    fit = np.linalg.lstsq(slope[inside], log[inside], rcond=None)[0]
    clear = np.exp(log - np.clip(slope @ fit - log[inside].mean(axis=0), -0.7, 0.7)).astype(np.float32)
    return replace(cut, clear=clear)


def _cut(name: str, light: np.ndarray, free: np.ndarray, outline: np.ndarray) -> Cut:
    low = np.maximum(np.floor(outline.min(axis=0)).astype(int) - MARGIN_PX, 0)
    high = np.ceil(outline.max(axis=0)).astype(int) + MARGIN_PX
    here = np.s_[low[1] : high[1], low[0] : high[0]]
    patch, own = light[here], outline - low
    mask = filled(own, patch.shape[:2]) > 0.5
    beside = free[here] & ~mask
    ground = np.median(patch[beside if beside.sum() > 30 else ~mask], axis=0)
    inside = ndimage.distance_transform_edt(mask)
    trust = inside > min(TRUST_PX, 0.4 * float(inside.max()))
    rows, cols = ndimage.distance_transform_edt(~trust, return_distances=False, return_indices=True)
    colour = patch[rows, cols]
    # where it is carried on, streaks are smoothed away
    soft = cv2.GaussianBlur(colour, (0, 0), 2.0)
    colour = np.where(trust[..., None], colour, soft)
    clear = np.clip(colour / np.maximum(ground, 1e-3), 0.0, 1.15)
    x, y = own.T
    area = 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))
    dense = -np.log(np.maximum(patch / np.maximum(ground, 1e-3), 0.02))
    dense = (dense * _own_share(mask, free[here])[..., None]).astype(np.float32)
    return Cut(name, colour, clear, dense, own, float(np.sqrt(4 * area / np.pi)))


def _own_share(mask: np.ndarray, free: np.ndarray) -> np.ndarray:
    """How much of what is seen at each pixel is a piece's own: all within its glow, nothing at neighbours."""
    away = ndimage.distance_transform_edt(~mask)
    others = cv2.dilate((~free & (away > GLOW_PX[0])).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    share = np.clip((GLOW_PX[1] - away) / (GLOW_PX[1] - GLOW_PX[0]), 0.0, 1.0)
    return np.where(others & ~mask, 0.0, share).astype(np.float32)


def filled(outline: np.ndarray, size: tuple[int, int], fine: int = 4) -> np.ndarray:
    """Share of each pixel inside a polygon, (M, N) float32."""
    big = np.zeros((size[0] * fine, size[1] * fine), np.uint8)
    # fillPoly also takes the pixels its line runs through, half of them too many
    inner = Polygon(outline).buffer(0).buffer(-0.5 / fine)
    for part in getattr(inner, "geoms", [inner]):
        points = np.round((np.array(part.exterior.coords) * fine - 0.5) * 16).astype(np.int32)
        cv2.fillPoly(big, [points], 255, cv2.LINE_8, 4)
    return cv2.resize(big.astype(np.float32) / 255, size[::-1], interpolation=cv2.INTER_AREA)
