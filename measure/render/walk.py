"""Several pictures of one drawn field: a walk of overlapping windows, and a stack at several heights."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from measure.render.draw import render_field
from measure.render.recipe import Recipe, Rendered


@dataclass(frozen=True)
class Window:
    """One picture of a walk.

    Attributes
    ----------
    pixels : (M, N, 3) ndarray of uint8
    matrix : (2, 3) ndarray
        Takes x, y px of the window to px of the drawn field.
    """

    pixels: np.ndarray
    matrix: np.ndarray


def cut_window(
    drawn: Rendered,
    middle_px: tuple[float, float],
    size_px: tuple[int, int],
    angle_deg: float = 0.0,
    *,
    noise: float = 2.0,
    light: float = 1.0,
    slope: float = 0.05,
    seed: int = 0,
) -> Window:
    """Cut a turned window out of a drawn field, as another picture of the same slide would show it.

    Parameters
    ----------
    drawn : Rendered
    middle_px : (float, float)
        Where the middle of the window lies.
    size_px : (int, int)
        Width and height.
    angle_deg : float
        Turn of the window.
    noise : float
        Standard deviation of new noise, 0..255.
    light, slope : float
        Gain, and change of light over the window: fixed to the camera, not to the slide.
    seed : int
        Of the noise.
    """
    width, height = size_px
    turn = np.radians(angle_deg)
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    shift = np.asarray(middle_px, float) - rotation @ [width / 2, height / 2]
    matrix = np.column_stack([rotation, shift])
    centred = matrix.copy()
    centred[:, 2] += rotation @ [0.5, 0.5] - 0.5
    flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    cut = cv2.warpAffine(drawn.pixels, centred, (width, height), flags=flags, borderMode=cv2.BORDER_REFLECT)
    ramp = light * (1.0 + slope * np.linspace(-1, 1, width, dtype=np.float32))[None, :, None]
    rng = np.random.default_rng(seed)
    noisy = cut * ramp + np.asarray(rng.normal(0.0, noise, cut.shape), np.float32)
    return Window(np.clip(np.rint(noisy), 0, 255).astype(np.uint8), matrix)


def render_stack(
    recipe: Recipe, seed: int, heights_um: Sequence[float], growth_per_um: float = 0.0, drift_px: float = 0.0
) -> list[Rendered]:
    """Draw the same field in focus at several heights.

    Parameters
    ----------
    recipe : Recipe
        Its camera says how deep the film is and how blur grows.
    seed : int
    heights_um : sequence of float
        Of the focal plane above the middle of the film.
    growth_per_um : float
        Relative change of magnification a micrometre of height.
    drift_px : float
        Sideways shift between one picture and the next.

    Returns
    -------
    list of Rendered
        Truth is that of the undistorted field, with the blur of each piece at that height.
    """
    stack = []
    for place, height in enumerate(heights_um):
        drawn = render_field(replace(recipe, camera=replace(recipe.camera, focus_um=float(height))), seed)
        if growth_per_um or drift_px:
            grown = 1.0 + growth_per_um * height
            middle = np.array([recipe.width_px, recipe.height_px]) / 2 - 0.5
            matrix = np.column_stack([np.eye(2) * grown, middle * (1 - grown) + drift_px * place])
            size = (recipe.width_px, recipe.height_px)
            moved = cv2.warpAffine(
                drawn.pixels, matrix, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT
            )
            drawn = replace(drawn, pixels=moved)
        stack.append(drawn)
    return stack
