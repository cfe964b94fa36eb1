"""How many pieces of packed heaps one layer thick are told apart.

    python tests/benchmarks/packed_heaps.py            heaps of ovals of many sizes, colours and blurs
    python tests/benchmarks/packed_heaps.py --discs    heaps of 14 discs by width and by gap

Pieces slide one after the other from a random side towards the middle of their heap until they touch the
first. All seeds are for tuning.
"""

import argparse
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import cv2
import numpy as np
import shapely
from accuracy_match import match

from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

_SIDE_PX, _FINE, _GAMMA = 500, 6, 2.2
_TRIES, _POINTS = 14, 48
_DARK_GROUND, _PALE_PIECES = 0.25, 0.3  # shares of fields
_OIL, _GROUND = np.array([232.0, 215.0, 170.0]), np.array([40.0, 38.0, 36.0])
_TISSUE, _PALE = np.array([120.0, 80.0, 50.0]), np.array([180.0, 165.0, 130.0])


class Heaps(NamedTuple):
    """A drawn field: its picture, true outlines, and the usual width of its pieces, px."""

    pixels: np.ndarray
    truth: list[np.ndarray]
    usual_px: float


def draw_heaps(seed: int) -> Heaps:
    """Some heaps of 4 to 21 ovals, of a size, form, tone, blur and noise of their own field."""
    rng = np.random.default_rng(seed)
    usual = float(np.exp(rng.uniform(np.log(9), np.log(40))))
    spread, form = rng.uniform(0.05, 0.35), rng.choice([0.0, 0.05, 0.12])
    press = rng.uniform(-0.03, 0.09) * usual
    truth: list[np.ndarray] = []
    for _ in range(rng.integers(5, 9)):
        middle = rng.uniform(0.15, 0.85, 2) * _SIDE_PX
        forms = [
            _oval(rng, usual / 2 * np.exp(rng.normal(0, spread)), form) for _ in range(rng.integers(4, 22))
        ]
        truth += _heap(rng, forms, middle, press, truth)
    dark = rng.random() < _DARK_GROUND
    pale = rng.random() < _PALE_PIECES
    oil = _GROUND if dark else _OIL * rng.uniform(0.75, 1.05)
    tone = (_PALE if pale else _TISSUE * rng.uniform(0.6, 1.4)) + (60.0 if dark else 0.0)
    differ = rng.uniform(0, 0.12)
    tones = [tone * np.exp(rng.normal(0, differ) + rng.normal(0, differ / 3, 3)) for _ in truth]
    blur = float(np.clip(rng.uniform(0.6, 1.8), 0, usual / 9))
    return Heaps(_picture(rng, truth, tones, oil, blur, rng.uniform(0.5, 3.0)), truth, usual)


def draw_discs(width_px: float, gap_px: float, seed: int) -> Heaps:
    """A heap of 14 discs of one tone, blurred by 1 px."""
    rng = np.random.default_rng(seed)
    forms = [_oval(rng, width_px / 2 * np.exp(rng.normal(0, 0.15)), 0.0, stretch=0.0) for _ in range(14)]
    truth = _heap(rng, forms, np.full(2, _SIDE_PX / 2), -gap_px, [])
    return Heaps(_picture(rng, truth, [_TISSUE] * len(truth), _OIL, 1.0, 1.5), truth, width_px)


def _oval(rng: np.random.Generator, radius: float, form: float, stretch: float = 0.25) -> np.ndarray:
    """Outline of an oval about 0, 0, bulging here and there."""
    way = np.linspace(0, 2 * np.pi, _POINTS, endpoint=False)
    reach = np.ones(_POINTS)
    for waves in range(2, 6):
        reach += rng.normal(0, form / waves**1.2) * np.cos(waves * way + rng.uniform(0, 2 * np.pi))
    longer, turn = np.sqrt(1 + abs(rng.normal(0, stretch))), rng.uniform(0, np.pi)
    x, y = reach * np.cos(way) * longer, reach * np.sin(way) / longer
    return radius * np.stack([x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)], 1)


def _heap(
    rng: np.random.Generator,
    forms: list[np.ndarray],
    middle: np.ndarray,
    press: float,
    others: list[np.ndarray],
) -> list[np.ndarray]:
    """Outlines of one heap, pressed together by so many px, clear of others and of the frame."""
    heap: list[np.ndarray] = []
    taken = shapely.union_all([shapely.Polygon(outline) for outline in others])
    for form in forms:
        placed = [form + middle] if not heap else list(_slid(rng, form, middle, heap, press))
        if not placed:
            continue
        best = min(placed, key=lambda outline: float(np.hypot(*(outline.mean(axis=0) - middle))))
        inside = best.min() > 3 and best.max() < _SIDE_PX - 3
        if inside and (not others or shapely.Polygon(best).distance(taken) > 2.0):
            heap.append(best)
    return heap


def _slid(
    rng: np.random.Generator, form: np.ndarray, middle: np.ndarray, heap: list[np.ndarray], press: float
) -> Iterator[np.ndarray]:
    """Places where a form comes to lie against a heap, from some random sides."""
    shapes = [shapely.Polygon(outline) for outline in heap]
    far = max(float(np.hypot(*(outline - middle).T).max()) for outline in heap) + 2 * np.abs(form).max()
    for _ in range(_TRIES):
        turn, away = rng.uniform(0, 2 * np.pi), far
        way = np.array([np.cos(turn), np.sin(turn)])
        while away > 0:
            gap = float(shapely.distance(shapes, shapely.Polygon(form + middle + way * away)).min())
            if gap < 0.1:
                yield form + middle + way * (away - press)
                break
            away -= gap


def _picture(
    rng: np.random.Generator,
    truth: list[np.ndarray],
    tones: list[np.ndarray],
    oil: np.ndarray,
    blur: float,
    noise: float,
) -> np.ndarray:
    """Pixels, (M, N, 3) uint8: pieces side by side in light that is mixed and blurred before it is stored."""
    light = np.tile(_light(oil), (_SIDE_PX, _SIDE_PX, 1))
    free = np.ones((_SIDE_PX, _SIDE_PX))
    for outline, tone in zip(truth, tones, strict=True):
        fine = np.zeros((_SIDE_PX * _FINE, _SIDE_PX * _FINE), np.uint8)
        cv2.fillPoly(fine, [np.rint(outline * _FINE).astype(np.int32)], 255)
        cover = np.minimum(cv2.resize(fine, free.shape, interpolation=cv2.INTER_AREA) / 255.0, free)
        light += cover[..., None] * (_light(tone) - _light(oil))
        free -= cover
    light = cv2.GaussianBlur(light, (0, 0), blur)
    stored = 255.0 * np.clip(light, 0, 1) ** (1 / _GAMMA) + rng.normal(0, noise, light.shape)
    return np.clip(np.rint(stored), 0, 255).astype(np.uint8)


def _light(tone: np.ndarray) -> np.ndarray:
    return (np.clip(tone, 0, 255) / 255.0) ** _GAMMA


def judged(heaps: Heaps) -> tuple[int, int, int]:
    """Pieces found, drawn, and false."""
    settings = FieldSettings(smallest_um=max(4.0, 0.4 * heaps.usual_px))
    particles = measure_field(Picture(heaps.pixels, name="heaps"), settings, 1.0).particles
    counted = [o for o, why in zip(particles.outlines, particles["set_aside"], strict=True) if why == ""]
    found = int((match(heaps.truth, counted)[0] >= 0).sum())
    return found, len(heaps.truth), len(counted) - found


def _row(name: str, fields: list[tuple[int, int, int]]) -> None:
    found, drawn, false = np.sum(fields, axis=0).tolist()
    print(f"{name:22s} {drawn:6d} {found:6d} {false:6d} {200 * found / (found + drawn + false):7.1f}")


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--discs", action="store_true", help="heaps of discs by width and gap")
    parser.add_argument("--count", type=int, default=14, help="fields of ovals")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    print(f"{'heaps':22s} {'drawn':>6s} {'found':>6s} {'false':>6s} {'F1':>7s}")
    if options.discs:
        for width in (10, 14, 18, 25):
            for gap in (-0.5, 0.0, 0.5):
                _row(f"{width} px, gap {gap:g}", [judged(draw_discs(width, gap, seed)) for seed in range(3)])
        return
    fields = []
    for seed in range(options.count):
        heaps = draw_heaps(seed)
        fields.append(judged(heaps))
        _row(f"seed {seed}, {heaps.usual_px:.0f} px", fields[-1:])
    _row("all", fields)


if __name__ == "__main__":
    main()
