"""What each kind does to the light: transmission inside the piece, and light it sends back on dark ground."""

from dataclasses import dataclass

import cv2
import numpy as np

from measure.render.recipe import Extras, KernelLook, Recipe, SaltLook, SkinLook


@dataclass(frozen=True)
class Window:
    """The pixels around one piece.

    ``cover`` is the covered share of each pixel, ``depth`` the distance inside from the outline in px,
    ``x`` and ``y`` the pixel centres less the piece's own centre.
    """

    cover: np.ndarray
    depth: np.ndarray
    x: np.ndarray
    y: np.ndarray
    diameter_px: float


@dataclass(frozen=True)
class Optics:
    """Transmission and sent-back light of a piece, (h, w, 3) float32 each, valid where it covers."""

    pass_through: np.ndarray
    sent_back: np.ndarray


def depth_of(cover: np.ndarray) -> np.ndarray:
    """Return the distance of each pixel centre from the outline, inside only, to about half a pixel."""
    distance = cv2.distanceTransform((cover >= 0.5).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    return np.maximum(distance - 0.5, 0.0)


def grain_tile(
    rng: np.random.Generator, grain_px: float, stretch: float = 1.0, angle: float = 0.0, size: int = 320
) -> np.ndarray:
    """Return a tile of smooth noise that wraps, zero mean, unit deviation, stretched along an angle."""
    noise = rng.standard_normal((size, size)).astype(np.float32)
    down, right = np.fft.fftfreq(size)[:, None], np.fft.rfftfreq(size)[None, :]
    along = np.cos(angle) * right + np.sin(angle) * down
    across = np.cos(angle) * down - np.sin(angle) * right
    decay = (np.pi * grain_px) ** 2 / 2.0 * ((stretch * along) ** 2 + across**2)
    tile = np.fft.irfft2(np.fft.rfft2(noise) * np.exp(-decay), s=(size, size)).astype(np.float32)
    tile -= tile.mean()
    return tile / tile.std()


def _sample(tile: np.ndarray, shape: tuple[int, int], rng: np.random.Generator) -> np.ndarray:
    rows = (np.arange(shape[0]) + rng.integers(tile.shape[0])) % tile.shape[0]
    columns = (np.arange(shape[1]) + rng.integers(tile.shape[1])) % tile.shape[1]
    return (tile if rng.random() < 0.5 else tile.T)[np.ix_(rows, columns)]


def _absorbed(thickness: np.ndarray, colour: np.ndarray) -> np.ndarray:
    """Return the transmission by the law of Beer and Lambert, (h, w, 3)."""
    return np.exp(-thickness[..., None] * colour.astype(np.float32))


def _sent(amount: np.ndarray, colour: tuple[float, float, float]) -> np.ndarray:
    return amount[..., None] * np.asarray(colour, dtype=np.float32)


def kernel_optics(
    window: Window, look: KernelLook, recipe: Recipe, tiles: dict[str, np.ndarray], rng: np.random.Generator
) -> Optics:
    """Cloudy body: thickness with a dome, grain, and a refracting edge."""
    size_um = window.diameter_px * recipe.um_per_px
    full = look.strength * (size_um / 30.0) ** look.growth * np.exp(look.strength_spread * rng.normal())
    deepest = max(float(window.depth.max()), 1.0)
    dome = np.sqrt(1.0 - (1.0 - np.clip(window.depth / deepest, 0, 1)) ** 2)
    thickness = full * (look.edge_step + (1.0 - look.edge_step) * dome)
    cloud = 0.55 * _sample(tiles["grain"], dome.shape, rng) + _sample(tiles["cloud"], dome.shape, rng)
    thickness = thickness * np.exp(0.85 * look.texture * cloud)
    # denser grains of protein here and there
    grains = np.maximum(_sample(tiles["grain"], dome.shape, rng) - 1.6, 0.0)
    thickness = thickness * (1.0 + 1.5 * look.texture * grains)
    thickness = thickness + full * look.edge_line * np.exp(-((window.depth / look.edge_line_px) ** 2))
    thickness = np.maximum(thickness, 0.0)
    colour = np.array(look.absorbance) * np.exp(0.05 * rng.normal(size=3))
    return Optics(_absorbed(thickness, colour), _sent(1.0 - np.exp(-1.3 * thickness), look.reflect))


def skin_optics(
    window: Window, look: SkinLook, tiles: dict[str, np.ndarray], rng: np.random.Generator
) -> Optics:
    """Thin sheet of even thickness with veins and folds."""
    full = look.strength * np.exp(look.strength_spread * rng.normal())
    streak = _sample(tiles[f"streak{rng.integers(4)}"], window.cover.shape, rng)
    thickness = full * np.maximum(
        1.0 + look.streaks * (0.6 * streak + 0.8 * np.maximum(streak - 0.8, 0)), 0.3
    )
    colour = np.array(look.absorbance) * np.exp(0.06 * rng.normal(size=3))
    return Optics(_absorbed(thickness, colour), _sent(1.0 - np.exp(-1.5 * thickness), look.reflect))


def _rim_left(window: Window, broken: float, rng: np.random.Generator) -> np.ndarray:
    """Return how much of the rim is there in each direction from the centre, 0.08 .. 1."""
    missing = float(np.clip(broken * rng.uniform(0.3, 1.7), 0.0, 0.5))
    angle = np.linspace(0, 2 * np.pi, 256, endpoint=False)
    order = np.arange(1, 5)[:, None]
    wave = (rng.normal(size=(4, 1)) * np.cos(order * angle + rng.uniform(0, 6.28, (4, 1)))).sum(axis=0)
    level = np.quantile(wave, missing)
    kept = np.clip((wave - level) / (0.25 * wave.std()) + 0.5, 0.08, 1.0) if missing > 0.02 else np.ones(256)
    strength = kept * (1.0 + 0.22 * np.cos(angle - rng.uniform(0, 6.28)))
    return np.interp(np.arctan2(window.y, window.x) % (2 * np.pi), angle, strength, period=2 * np.pi)


def _segment_lines(window: Window, edges: np.ndarray, width_px: float) -> np.ndarray:
    """Return soft lines along segments, 0..1."""
    lines = np.zeros_like(window.x)
    for start, end in edges:
        along = end - start
        length2 = float(along @ along) + 1e-9
        t = np.clip(((window.x - start[0]) * along[0] + (window.y - start[1]) * along[1]) / length2, 0, 1)
        distance2 = (window.x - start[0] - t * along[0]) ** 2 + (window.y - start[1] - t * along[1]) ** 2
        lines = np.maximum(lines, np.exp(-distance2 / (2 * width_px**2)))
    return lines


def _convex_depth(window: Window, outline: np.ndarray) -> np.ndarray:
    """Return the exact distance inside a convex outline."""
    following = np.roll(outline, -1, axis=0)
    depth = np.full(window.x.shape, np.inf, dtype=np.float64)
    centre = outline.mean(axis=0)
    for a, b in zip(outline, following, strict=True):
        normal = np.array([a[1] - b[1], b[0] - a[0]])
        length = np.hypot(*normal)
        if length < 1e-9:
            continue
        normal = normal / length * np.sign((centre - a) @ normal)
        depth = np.minimum(depth, (window.x - a[0]) * normal[0] + (window.y - a[1]) * normal[1])
    return depth


def salt_optics(
    window: Window, outline: np.ndarray, edges: np.ndarray, look: SaltLook, rng: np.random.Generator
) -> Optics:
    """Clear crystal: dark refracting rim, bright line inside it, faint cube edges, body like the oil."""
    depth = _convex_depth(window, outline)
    # larger crystals have rounder edges, so a wider rim
    wide = look.rim_px * max(window.diameter_px / 45.0, 0.5) ** 0.35
    rim_px = min(wide * rng.uniform(0.8, 1.25), 0.2 * window.diameter_px)
    left = _rim_left(window, look.broken, rng)
    rim = left / (1.0 + np.exp((depth - rim_px) / (0.18 * rim_px + 0.15)))
    glow = left * np.exp(-(((depth - 1.7 * rim_px) / (0.5 * rim_px)) ** 2))
    facet = _segment_lines(window, edges, 0.45 * rim_px) * np.clip(depth / (2 * rim_px), 0, 1)
    dark = look.rim * np.exp(0.15 * rng.normal()) * (rim + look.facets * rng.uniform(0.2, 1.0) * facet)
    slope = rng.normal(0, 0.025, 2)
    tilt = (slope[0] * window.x + slope[1] * window.y) / max(window.diameter_px, 1.0)
    passing = np.exp(-(dark + look.body + tilt)) + look.glow * glow
    sent = 0.75 * rim + 0.35 * look.facets * facet + 0.35 * look.body + 0.3 * look.glow * glow
    tint = np.asarray(look.tint, dtype=np.float32)
    return Optics(passing[..., None].astype(np.float32) * tint, _sent(sent.astype(np.float32), look.reflect))


def bubble_optics(window: Window, look: Extras) -> Optics:
    """Air in oil: total reflection leaves a thick dark ring, the middle acts as a small lens."""
    radius = window.diameter_px / 2.0
    r = np.hypot(window.x, window.y) / radius
    inner = 1.0 - look.bubble_ring
    ring = 1.0 / (1.0 + np.exp(-(r - inner) / 0.035))
    ring = ring * (1.0 - 0.25 * np.exp(-(((r - 0.93) / 0.03) ** 2)))
    middle = 0.22 * np.exp(-((r / (0.6 * inner)) ** 2)) - 0.12 * np.exp(-(((r - 0.85 * inner) / 0.07) ** 2))
    passing = np.exp(-look.bubble_dark * ring) + middle
    sent = 0.8 * np.exp(-(((r - 0.95) / 0.04) ** 2)) + 0.5 * np.exp(-(((r - inner) / 0.05) ** 2))
    sent = sent + np.exp(-((window.x / radius + 0.35) ** 2 + (window.y / radius + 0.35) ** 2) / 0.006)
    flat = np.repeat(passing[..., None], 3, axis=2).astype(np.float32)
    return Optics(flat, _sent(sent.astype(np.float32), (0.9, 0.9, 0.9)))


def fibre_optics(window: Window, look: Extras, width_px: float, rng: np.random.Generator) -> Optics:
    """Cellulose ribbon: dark edges, lighter middle, an occasional twist."""
    middle = np.clip(window.depth / (0.5 * width_px), 0, 1)
    twist = 1.0 + 0.3 * np.sin(
        2 * np.pi * (window.x * 0.9 + window.y * 0.5) / (9 * width_px) + rng.uniform(0, 6)
    )
    thickness = (1.7 - 1.25 * middle) * twist
    passing = _absorbed(thickness, np.array(look.fibre_absorbance))
    return Optics(passing, _sent(0.5 * (1.3 - middle), (0.85, 0.88, 0.92)))
