"""Heaps of a cluster are believed each by itself (Beer-Lambert law for their tones, from memory)."""

import cv2
import numpy as np
import pytest

from measure.field.overlaps import heaps
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

OIL = np.array([226.0, 214.0, 184.0])
DISCS = [(70, 90, 34, 1.0), (118, 90, 28, 1.2), (168, 90, 24, 3.2), (223, 90, 32, 1.0), (271, 90, 28, 1.3)]


def _picture() -> Picture:
    """Two pairs over one another, joined by a dark piece that touches both."""
    absorbed = np.zeros((180, 340, 3))
    y, x = np.mgrid[:180, :340]
    for cx, cy, radius, strength in DISCS:
        cover = np.clip(radius + 0.5 - np.hypot(x + 0.5 - cx, y + 0.5 - cy), 0, 1)
        absorbed += cover[..., None] * strength * np.array([0.15, 0.18, 0.25])
    stored = cv2.GaussianBlur(OIL * np.exp(-absorbed), (0, 0), 0.8)
    noise = np.random.default_rng(5).normal(0, 1.0, stored.shape)
    return Picture(np.clip(np.rint(stored + noise), 0, 255).astype(np.uint8), name="two pairs")


def test_one_heap_that_is_not_believed_leaves_the_other(monkeypatch):
    seen = []
    whole = heaps.less_whole

    def doubted(pieces: list[np.ndarray], parts: list[np.ndarray]) -> bool:
        on_the_left = any(np.nonzero(part)[1].mean() < 110 for part in parts)
        seen.append(on_the_left)
        return on_the_left or whole(pieces, parts)

    monkeypatch.setattr(heaps, "less_whole", doubted)
    monkeypatch.setattr("measure.field.overlaps.overlap.going_on", lambda *_: ({}, set()))
    particles = measure_field(_picture(), FieldSettings(), 1.0).particles
    assert set(seen) == {True, False}
    right = [
        d for o, d in zip(particles.outlines, particles.diameter_px, strict=True) if o[:, 0].mean() > 190
    ]
    assert sorted(right) == pytest.approx([56, 64], rel=0.04)


def test_lenses_with_a_piece_in_common_make_one_heap():
    groups = heaps._together({9: (2, 3), 10: (5, 6), 11: (3, 4), 12: (7, 8)})
    assert sorted(sorted(g) for g in groups) == [[9, 11], [10], [12]]
