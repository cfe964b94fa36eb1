"""Draw pictures of a stage micrometer whose every graduation is known."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise

import cv2
import numpy as np

from measure.render.camera import compressed, encoded
from measure.render.coverage import coverage
from measure.render.digits import digit_strokes
from measure.render.light import lamp
from measure.render.recipe import Camera, Light, Recipe


@dataclass(frozen=True)
class Ruling:
    """How a stage micrometer lies and looks.

    Attributes
    ----------
    division_um : float
        Distance of neighbouring graduations.
    divisions : int
        Number of divisions on the ruling; it has one graduation more.
    first_division : float
        The graduation that lies at ``centre_px``; 0 shows the start of the ruling, half of ``divisions``
        its middle.
    tick_um : (3,) tuple
        Lengths of every, every fifth and every tenth graduation.
    """

    width_px: int = 1600
    height_px: int = 1200
    um_per_px: float = 0.65
    angle_deg: float = 0.0
    division_um: float = 10.0
    divisions: int = 100
    first_division: float = 50.0
    centre_px: tuple[float, float] | None = None  # the middle of the picture by default
    tick_um: tuple[float, float, float] = (60.0, 100.0, 150.0)
    line_um: float = 2.6
    contrast: float = 0.75  # 1: the lines let nothing through
    bright_on_dark: bool = False
    base_line: bool = False  # a long line joining the foot of all graduations
    digits: bool = True
    digits_every: int = 10
    dust: int = 12
    scratches: int = 3
    defects: float = 0.0  # share of graduations that are worn: part of their length is missing
    blur_px: float = 1.0
    bit_depth: int = 8
    grey: bool = False
    ground: tuple[float, float, float] = (228.0, 228.0, 222.0)
    light: Light = field(default_factory=lambda: Light(vignette=0.12, slope=0.05))
    camera: Camera = field(default_factory=Camera)


@dataclass(frozen=True)
class RenderedRuling:
    """The picture and its truth. Unpacks as ``pixels, um_per_px``.

    Attributes
    ----------
    pixels : (M, N, 3) ndarray of uint8 or uint16
        RGB.
    um_per_px : float
        True micrometres per pixel.
    lines : (K, 4) ndarray
        x0, y0, x1, y1 in px of the centre line of each graduation that crosses the picture, foot first.
    index : (K,) ndarray of int
        Which graduation of the ruling it is.
    angle_deg : float
        Direction of the ruling, from x towards y.
    """

    pixels: np.ndarray
    um_per_px: float
    lines: np.ndarray
    index: np.ndarray
    angle_deg: float

    def __iter__(self) -> Iterator[object]:
        """Give the picture and its scale."""
        return iter((self.pixels, self.um_per_px))


def _axes(ruling: Ruling) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the origin (graduation 0, foot) and the unit steps along and across, in px and px per um."""
    angle = np.deg2rad(ruling.angle_deg)
    along = np.array([np.cos(angle), np.sin(angle)]) / ruling.um_per_px
    across = np.array([np.sin(angle), -np.cos(angle)]) / ruling.um_per_px
    middle = ruling.centre_px or (ruling.width_px / 2, ruling.height_px / 2)
    foot = np.asarray(middle, dtype=float) - 0.5 * ruling.tick_um[1] * across
    return foot - ruling.first_division * ruling.division_um * along, along, across


def _graduations(ruling: Ruling) -> tuple[np.ndarray, np.ndarray]:
    """Return the centre lines of all graduations and their numbers, including those out of the picture."""
    origin, along, across = _axes(ruling)
    index = np.arange(ruling.divisions + 1)
    length = np.select(
        [index % 10 == 0, index % 5 == 0], [ruling.tick_um[2], ruling.tick_um[1]], ruling.tick_um[0]
    )
    foot = origin + (index * ruling.division_um)[:, None] * along
    return np.concatenate([foot, foot + length[:, None] * across], axis=1), index


def _crosses(lines: np.ndarray, ruling: Ruling) -> np.ndarray:
    """Return which lines have a quarter of their length or more in the picture."""
    at = np.linspace(0.02, 0.98, 41)[None, :]
    x = lines[:, 0:1] + at * (lines[:, 2:3] - lines[:, 0:1])
    y = lines[:, 1:2] + at * (lines[:, 3:4] - lines[:, 1:2])
    inside = (x > 0) & (x < ruling.width_px) & (y > 0) & (y < ruling.height_px)
    return inside.mean(axis=1) >= 0.25


def _band(line: np.ndarray, width_px: float) -> np.ndarray:
    """Return the rectangle about a centre line."""
    start, end = line[:2], line[2:]
    direction = (end - start) / np.hypot(*(end - start))
    normal = 0.5 * width_px * np.array([-direction[1], direction[0]])
    return np.array([start + normal, end + normal, end - normal, start - normal])


def _add(layer: np.ndarray, outline: np.ndarray, strength: float = 1.0) -> None:
    """Raise the layer to the coverage of a polygon."""
    height, width = layer.shape
    left, top = np.clip(np.floor(outline.min(axis=0)).astype(int) - 1, 0, (width, height)).tolist()
    right, bottom = np.clip(np.ceil(outline.max(axis=0)).astype(int) + 1, 0, (width, height)).tolist()
    if right <= left or bottom <= top:
        return
    part = layer[top:bottom, left:right]
    np.maximum(part, strength * coverage(outline, left, top, right - left, bottom - top), out=part)


def _draw_lines(layer: np.ndarray, ruling: Ruling, lines: np.ndarray, rng: np.random.Generator) -> None:
    width = ruling.line_um / ruling.um_per_px
    for line in lines:
        if rng.random() >= ruling.defects:
            _add(layer, _band(line, width))
            continue
        start, end = np.sort(rng.uniform(0.2, 0.8, 2))
        step = line[2:] - line[:2]
        _add(layer, _band(np.concatenate([line[:2], line[:2] + start * step]), width))
        _add(layer, _band(np.concatenate([line[:2] + end * step, line[2:]]), width))
    if ruling.base_line:
        origin, along, _ = _axes(ruling)
        stop = origin + ruling.divisions * ruling.division_um * along
        _add(layer, _band(np.concatenate([origin, stop]), width))


def _draw_digits(layer: np.ndarray, ruling: Ruling) -> None:
    """Write the number of tens of divisions beyond the long graduations."""
    origin, along, across = _axes(ruling)
    size = 0.4 * ruling.tick_um[2]
    for index in range(0, ruling.divisions + 1, ruling.digits_every):
        at = origin + index * ruling.division_um * along + 1.12 * ruling.tick_um[2] * across
        for stroke in digit_strokes(str(index // ruling.digits_every)):
            points = at + size * (stroke[:, :1] * along + stroke[:, 1:] * across)
            for a, b in pairwise(points):
                _add(layer, _band(np.concatenate([a, b]), 1.2 * ruling.line_um / ruling.um_per_px))


def _draw_dirt(layer: np.ndarray, ruling: Ruling, rng: np.random.Generator) -> None:
    size = np.array([ruling.width_px, ruling.height_px])
    for _ in range(ruling.dust):
        angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
        radius = rng.uniform(1.5, 9.0) * (1 + 0.3 * np.cos(2 * angle + rng.uniform(0, 6)) * rng.uniform(0, 1))
        blob = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
        _add(layer, blob + rng.uniform(0, 1, 2) * size, rng.uniform(0.3, 1.0))
    for _ in range(ruling.scratches):
        start, end = rng.uniform(-0.1, 1.1, (2, 2)) * size
        _add(layer, _band(np.concatenate([start, end]), rng.uniform(0.8, 2.0)), rng.uniform(0.15, 0.5))


def _to_pixels(linear: np.ndarray, ruling: Ruling, rng: np.random.Generator) -> np.ndarray:
    camera = ruling.camera
    electrons = np.maximum(linear, 0) * camera.full_well
    electrons = electrons + np.sqrt(electrons + camera.read_noise**2) * rng.standard_normal(linear.shape)
    value = encoded(electrons / camera.full_well)
    if ruling.grey:
        value = np.repeat(value.mean(axis=2, keepdims=True), 3, axis=2)
    if ruling.bit_depth == 16:
        return np.rint(value * 65535).astype(np.uint16)
    pixels = np.rint(value * 255).astype(np.uint8)
    return pixels if camera.jpeg_quality is None else compressed(pixels, camera.jpeg_quality)


def render_ruling(ruling: Ruling | None = None, seed: int = 0) -> RenderedRuling:
    """Draw a stage micrometer.

    Parameters
    ----------
    ruling : Ruling, optional
        How it lies and looks.
    seed : int
        The same ruling and seed give the same picture.

    Returns
    -------
    RenderedRuling
        Picture, true scale, and the exact line of each graduation in view.

    Examples
    --------
    >>> pixels, um_per_px = render_ruling(Ruling(width_px=320, height_px=240), seed=1)
    >>> pixels.shape, um_per_px
    ((240, 320, 3), 0.65)
    """
    ruling = ruling or Ruling()
    rng = np.random.default_rng(seed)
    lines, index = _graduations(ruling)
    layer = np.zeros((ruling.height_px, ruling.width_px), dtype=np.float32)
    _draw_lines(layer, ruling, lines, rng)
    if ruling.digits:
        _draw_digits(layer, ruling)
    _draw_dirt(layer, ruling, rng)
    opaque = cv2.GaussianBlur(layer, (0, 0), max(ruling.blur_px, 0.3))[..., None] * np.float32(
        ruling.contrast
    )
    passing = opaque + np.float32(0.04) if ruling.bright_on_dark else 1.0 - opaque
    recipe = Recipe(width_px=ruling.width_px, height_px=ruling.height_px, light=ruling.light)
    level = (np.asarray(ruling.ground) / 255.0) ** 2.2
    pixels = _to_pixels(lamp(recipe) * level * passing, ruling, rng)
    seen = _crosses(lines, ruling)
    return RenderedRuling(pixels, ruling.um_per_px, lines[seen], index[seen], ruling.angle_deg)
