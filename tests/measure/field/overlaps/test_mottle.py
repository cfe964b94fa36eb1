"""Ragged pieces of uneven thickness stay whole (Beer-Lambert law for their tones, from memory)."""

from functools import partial

import cv2
import numpy as np
import pytest

from measure.field.overlaps import heaps
from measure.field.overlaps.mottle import unlike_mottle
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

OIL = np.array([238.0, 230.0, 204.0])
ABSORBED = np.array([0.35, 0.55, 1.1])
SIDE, CELL = 480, 120
RADII = (38, 30, 24, 34)


def _lumps(rng: np.random.Generator, size_px: float) -> np.ndarray:
    """Even random lumps of one size, of mean 0 and standard deviation 1."""
    few = rng.normal(size=(int(CELL / size_px) + 3,) * 2)
    lumps = cv2.resize(few, (CELL, CELL), interpolation=cv2.INTER_CUBIC)
    return (lumps - lumps.mean()) / lumps.std()


def _kernel(radius: float, rng: np.random.Generator) -> np.ndarray:
    """How much one piece absorbs, thin at its ragged edge and mottled inside."""
    y, x = np.indices((CELL, CELL)) - CELL / 2
    height = (
        1.0 - np.hypot(x, y) / radius + 0.16 * _lumps(rng, radius / 1.75) + 0.05 * _lumps(rng, radius / 4.5)
    )
    body = cv2.connectedComponents((height > 0.05).astype(np.uint8), connectivity=4)[1]
    inside = body == body[CELL // 2, CELL // 2]
    thickness = np.sqrt(np.clip(height, 0, 1))
    return inside * np.clip(thickness * (1 + 0.3 * _lumps(rng, 5) + 0.12 * _lumps(rng, 2)), 0.05, 3)


def _picture() -> Picture:
    """Sixteen pieces, none of which meets another."""
    rng = np.random.default_rng(11)
    absorbed = np.zeros((SIDE, SIDE))
    for n, (top, left) in enumerate(np.ndindex(SIDE // CELL, SIDE // CELL)):
        box = np.s_[top * CELL : (top + 1) * CELL, left * CELL : (left + 1) * CELL]
        absorbed[box] = _kernel(RADII[n % len(RADII)], rng)
    light = cv2.GaussianBlur(OIL * np.exp(-absorbed[..., None] * ABSORBED), (0, 0), 1.2)
    noise = rng.normal(0, 1.5, light.shape)
    return Picture(np.clip(np.rint(light + noise), 0, 255).astype(np.uint8), name="lumps")


def _main_share() -> float:
    """Mean share of the area found in each cell that its largest piece has."""
    particles = measure_field(_picture(), FieldSettings(), 1.0).particles
    areas: dict[tuple[int, int], list[float]] = {}
    for x, y, size in zip(
        particles["centre_x_px"], particles["centre_y_px"], particles["area_px2"], strict=True
    ):
        areas.setdefault((int(x // CELL), int(y // CELL)), []).append(float(size))
    assert len(areas) == 16
    return float(np.mean([max(sizes) / sum(sizes) for sizes in areas.values()]))


def test_mottle_is_no_overlap():
    assert _main_share() > 0.95


def test_mottled_pieces_would_be_taken_for_heaps(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(heaps, "unlike_mottle", lambda areas, lenses, asked, on_dark: asked)
    assert _main_share() < 0.94


def _shining() -> Picture:
    """Four solid pieces on dark ground, lit from above: lumpy, and shining where they rise most."""
    rng = np.random.default_rng(2)
    light = np.full((2 * CELL, 2 * CELL, 3), 0.02)
    for n, (top, left) in enumerate(np.ndindex(2, 2)):
        body, lumps = _kernel(RADII[n % len(RADII)], rng), _lumps(rng, 9)
        own = 0.35 * (body > 0) * np.clip(0.75 + 0.25 * lumps, 0.3, 2)
        shine = 0.3 * (body > 0.3) * np.clip(lumps - 1.2, 0, 0.5)
        sent = own[..., None] * [1.0, 0.8, 0.5] + shine[..., None]
        light[top * CELL : (top + 1) * CELL, left * CELL : (left + 1) * CELL] += sent
    light = cv2.GaussianBlur(light, (0, 0), 1.0)
    coded = 255.0 * (1.055 * light ** (1 / 2.4) - 0.055)  # sRGB, IEC 61966-2-1
    coded += rng.normal(0, 1.2, light.shape)
    return Picture(np.clip(np.rint(coded), 0, 255).astype(np.uint8), name="shining")


def test_on_dark_ground_what_shines_is_no_overlap():
    assert len(measure_field(_shining(), FieldSettings(), 1.0).particles) == 4


def test_what_shines_would_be_taken_for_heaps(monkeypatch: pytest.MonkeyPatch):
    as_on_bright = partial(unlike_mottle, on_dark=False)
    monkeypatch.setattr(heaps, "unlike_mottle", lambda *asked: as_on_bright(*asked[:3]))
    assert len(measure_field(_shining(), FieldSettings(), 1.0).particles) > 4
