"""The oil with its lamp: shading, tint, veil and specks below the limit. Linear light, 0..1."""

import cv2
import numpy as np

from measure.render.recipe import Light, Recipe


def linear_of(rgb: tuple[float, float, float] | np.ndarray) -> np.ndarray:
    """Return linear light of sRGB values 0..255 (IEC 61966-2-1)."""
    value = np.asarray(rgb, dtype=np.float64) / 255.0
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def lamp(recipe: Recipe) -> np.ndarray:
    """Return the lamp's light over the frame, (M, N, 3) float32, 1 in the middle of an even lamp.

    It depends on the recipe alone, so that fields and the blank of one recipe share it.
    """
    light: Light = recipe.light
    x = np.linspace(-1, 1, recipe.width_px, dtype=np.float32)[None, :]
    y = np.linspace(-1, 1, recipe.height_px, dtype=np.float32)[:, None]
    angle = np.deg2rad(light.slope_deg)
    along = np.float32(np.cos(angle)) * x + np.float32(np.sin(angle)) * y
    fall = (x - 0.12) ** 2 + (y + 0.08) ** 2
    base = 1.0 - light.vignette * 0.5 * fall + light.slope * 0.5 * along
    channels = [base * (1.0 + side * light.tint * along) for side in (1.0, 0.0, -1.0)]
    return np.stack(channels, axis=2).astype(np.float32)


def _specks(recipe: Recipe, rng: np.random.Generator) -> np.ndarray:
    """Return the absorbance of the haze of fines, (M, N) float32."""
    light = recipe.light
    height, width = recipe.height_px, recipe.width_px
    layer = np.zeros((height, width), dtype=np.float32)
    for sigma, share in ((0.7, 0.6), (1.2, 0.3), (2.0, 0.1)):
        count = int(light.haze * share * height * width / 100.0)
        if count == 0:
            continue
        size = sigma * light.haze_px
        strength = light.haze_contrast * rng.gamma(2.0, 0.5, count) * rng.choice([1.0, 1.0, 1.0, -0.6], count)
        cell = rng.integers(0, height * width, count)
        points = np.bincount(cell, strength * 2 * np.pi * size**2, height * width)
        layer += cv2.GaussianBlur(points.reshape(height, width).astype(np.float32), (0, 0), size)
    return layer


def _veil(recipe: Recipe, rng: np.random.Generator) -> np.ndarray:
    """Return the slow fluctuation of the oil, zero mean."""
    light = recipe.light
    rows = max(3, int(recipe.height_px / light.veil_px * 2))
    columns = max(3, int(recipe.width_px / light.veil_px * 2))
    coarse = cv2.GaussianBlur(rng.standard_normal((rows, columns)).astype(np.float32), (0, 0), 1.0)
    coarse = (coarse - coarse.mean()) / (coarse.std() + 1e-9)
    fine = cv2.resize(coarse, (recipe.width_px, recipe.height_px), interpolation=cv2.INTER_CUBIC)
    return light.veil * fine


def oil_light(recipe: Recipe, rng: np.random.Generator, haze: bool = True) -> np.ndarray:
    """Return the light that leaves the oil without pieces, (M, N, 3) float32 linear."""
    picture = lamp(recipe) * linear_of(recipe.light.oil).astype(np.float32)
    if haze:
        darker = _specks(recipe, rng) + _veil(recipe, rng)
        # specks scatter: they darken a bright oil and brighten a dark one
        factor = np.exp((1.0 if recipe.light.dark_ground else -1.0) * darker)
        picture *= factor[..., None]
    return picture
