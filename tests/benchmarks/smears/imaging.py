"""How light makes a picture of a body: absorbed, thrown out of the lens, scattered into it, or sent back."""

from dataclasses import dataclass

import cv2
import numpy as np

from .body import Body
from .noise import largest

_STRAY = 0.1  # light that comes from about and within whichever way it is bent


@dataclass(frozen=True)
class Optics:
    """A cheap microscope.

    Attributes
    ----------
    mode : str
        "through" (from below), "dark" (from below, past the lens), "crossed" (polarised), "above".
    lens, condenser : float
        Numerical apertures.
    oblique : tuple of float
        Where the middle of the light lies off the axis, in aperture.
    ring : int
        Lamps of a ring light from above; 0 for a broad one.
    heights_px : float
        Spread of the blur of pieces at their heights, px.
    tilt_px, curved_px : float
        Blur at the sides of a tilted slide and in the corners of a curved field, px.
    colour_px : float
        Blur between red and blue along the axis, px.
    becke : float
        How strongly bright lines show at edges out of focus.
    """

    mode: str = "through"
    lens: float = 0.22
    condenser: float = 0.15
    oblique: tuple[float, float] = (0.0, 0.0)
    ring: int = 0
    heights_px: float = 0.8
    tilt_px: float = 0.0
    curved_px: float = 0.0
    colour_px: float = 0.3
    becke: float = 0.5


def disc_blur(picture: np.ndarray, radius_px: float) -> np.ndarray:
    """Blur of a circular aperture out of focus, its margin softened over one px."""
    if radius_px < 0.35:
        return picture
    half = int(np.ceil(radius_px + 1))
    y, x = np.mgrid[-half : half + 1, -half : half + 1]
    kernel = np.clip(radius_px + 0.5 - np.hypot(x, y), 0, 1).astype(np.float32)
    return cv2.filter2D(picture, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REPLICATE)


def through_lens(path_px: np.ndarray, optics: Optics) -> np.ndarray:
    """Share of the light from below that still goes through the lens where the path has a slope.

    The cone of the condenser is moved by the slope; the share is the part of it within the lens, of the two
    discs taken as a smooth step (Abbe's picture of a facet, from memory).
    """
    gy, gx = np.gradient(path_px)
    a, b = optics.oblique
    low, high = abs(optics.lens - optics.condenser), optics.lens + optics.condenser
    here, full = (_cone(np.asarray(s), low, high) for s in (np.hypot(gx + a, gy + b), np.hypot(a, b)))
    return (here / max(float(full), 0.15)).clip(0, 1.5).astype(np.float32)


def _cone(s: np.ndarray, low: float, high: float) -> np.ndarray:
    """Share of the cone within the lens; half of the light ends at a margin, half fades."""
    v = np.clip((high - s) / max(high - low, 1e-3), 0, 1)
    sharp, wide = v * v * (3 - 2 * v), 1 / (1 + (2 * s / (low + high)) ** 2)
    return _STRAY + (1 - _STRAY) * (0.55 * sharp + 0.45 * wide)


def images(body: Body, optics: Optics, blur_px: float) -> tuple[np.ndarray, np.ndarray]:
    """Light it lets through (M, N, 3) and light it adds, that of clear oil being 1, blurred."""
    passed, added = {"through": _through, "dark": _dark, "crossed": _crossed, "above": _above}[optics.mode](
        body, optics, blur_px
    )
    both = []
    for layer in (passed, added):
        planes = [
            disc_blur(np.ascontiguousarray(layer[..., k]), abs(blur_px + (k - 1) * optics.colour_px))
            for k in range(3)
        ]
        both.append(np.stack(planes, axis=-1))
    return both[0], both[1]


def _through(body: Body, optics: Optics, blur_px: float) -> tuple[np.ndarray, np.ndarray]:
    bent = through_lens(body.path_px, optics)
    flow = cv2.Laplacian(cv2.GaussianBlur(body.path_px, (0, 0), 1.0), cv2.CV_32F)
    line = np.clip(1 - optics.becke * (blur_px + 0.4) * flow, 0.6, 1.5)  # transport of intensity
    passed = np.exp(-body.density) * (bent * line)[..., None]
    veil = 0.06 * (1 - np.exp(-body.density)) * np.array([1.0, 0.9, 0.7], np.float32)
    return passed.astype(np.float32), veil.astype(np.float32)


def _dark(body: Body, optics: Optics, blur_px: float) -> tuple[np.ndarray, np.ndarray]:
    gy, gx = np.gradient(body.path_px)
    slope = (
        np.hypot(gx + 0.3 * optics.oblique[0], gy + 0.3 * optics.oblique[1]) - np.hypot(*optics.oblique) * 0.3
    )
    caught = np.clip(slope / (optics.lens + optics.condenser), 0, 1.2) * np.exp(-np.clip(slope - 0.6, 0, 3))
    own = np.mean(body.density, axis=-1)
    scatter = (1 - np.exp(-1.2 * own))[..., None] * np.clip(body.colour * 1.1, 0, 1)
    return np.exp(-0.7 * body.density).astype(np.float32), (
        scatter * 0.8 + 1.3 * caught[..., None] * np.exp(-body.density)
    ).astype(np.float32)


def _crossed(body: Body, optics: Optics, blur_px: float) -> tuple[np.ndarray, np.ndarray]:
    passed, veil = _through(body, optics, blur_px)
    bright = _turned_light(body)
    glow = 8 * veil * body.colour  # tissue turns light every way
    return passed, (1.6 * bright * np.exp(-body.density) + glow).astype(np.float32)


def _turned_light(body: Body) -> np.ndarray:
    """Light between crossed polars of a body that splits it, by its thickness and how it lies."""
    turn = float(np.sum(body.path_px[::7, ::5])) % np.pi
    waves = np.array([540 / 620, 1.0, 540 / 460], np.float32)
    return np.sin(np.pi * body.retard * body.relief_px[..., None] * waves) ** 2 * np.sin(2 * turn) ** 2


def lit_area(body: Body) -> np.ndarray:
    """Its true area between crossed polars: thin margins stay dark, it ends at half of its light."""
    light = _turned_light(body).mean(axis=-1) * body.mask
    usual = float(np.percentile(light[body.mask], 75)) if body.mask.any() else 0.0
    if usual < 0.06:  # no lighter than the ground: it is seen by its rim, as in plain light
        return body.mask
    return largest(light > 0.5 * usual)


def _above(body: Body, optics: Optics, blur_px: float) -> tuple[np.ndarray, np.ndarray]:
    relief = cv2.GaussianBlur(body.relief_px, (0, 0), 1.2)
    gy, gx = np.gradient(relief)
    up = 1 / np.sqrt(1 + gx**2 + gy**2)
    side = (gx * optics.oblique[0] + gy * optics.oblique[1]) * up
    shade = np.clip(0.35 + 0.65 * up - 1.6 * side, 0.12, 1.6)
    added = body.cover[..., None] * body.colour * shade[..., None]
    added += (body.shine * _glints(gx, gy, optics) * (body.relief_px > 0.3))[..., None]
    return np.repeat((1 - body.cover)[..., None], 3, axis=-1), added.astype(np.float32)


def _glints(gx: np.ndarray, gy: np.ndarray, optics: Optics) -> np.ndarray:
    """Mirror images of the lamps in slopes that face half-way between lamp and lens."""
    if not optics.ring:
        return 0.25 * np.exp(-((gx - 0.35) ** 2 + (gy + 0.35) ** 2) / 0.02)
    ways = 2 * np.pi * np.arange(optics.ring) / optics.ring + 0.3
    total = np.zeros_like(gx)
    for way in ways[1:]:  # the first lamp of the ring has failed
        total += np.exp(-((gx - 0.45 * np.cos(way)) ** 2 + (gy - 0.45 * np.sin(way)) ** 2) / 0.008)
    return 0.6 * total


def shadow(body: Body, optics: Optics) -> np.ndarray:
    """Light left beside a body lit from above, (M, N)."""
    far = 0.25 * float(np.percentile(body.relief_px[body.mask], 80)) if body.mask.any() else 0.0
    move = np.array([[1, 0, 8 * optics.oblique[0] * far], [0, 1, 8 * optics.oblique[1] * far]], np.float32)
    moved = cv2.warpAffine(body.cover, move, body.cover.shape[::-1])
    return 1 - 0.45 * cv2.GaussianBlur(moved, (0, 0), 1.5 + 0.35 * far)
