"""Overlapping fields of drawn walks: registration error, double counts left, and joining.

Run: python -m tests.benchmarks.overlaps [number of walks]
"""

import sys
import time
from dataclasses import replace
from itertools import pairwise

import cv2
import numpy as np

from measure.field.pipeline import measure_field
from measure.field.repeats import Overlap, find_overlap
from measure.field.shared_pieces import repeats_of, shared_pieces
from measure.field.stitch import join_fields
from measure.flags import bits
from measure.model import FieldResult, FieldSettings, Picture
from measure.render import Recipe, Rendered, render_field
from measure.render.recipe import Arrangement, Sizes
from measure.render.walk import Window, cut_window

SIZE = (900, 700)
RECIPE = Recipe(
    width_px=2300, height_px=1000, sizes=Sizes(40.0, 1.5, 8.0, 120.0), arrangement=Arrangement(cover=0.06)
)


def walk(drawn: Rendered, seed: int) -> list[Window]:
    """Cut three windows that overlap by about a quarter, each turned and lit in its own way."""
    rng = np.random.default_rng(seed)
    return [
        cut_window(
            drawn, (x + rng.uniform(-20, 20), 500 + rng.uniform(-60, 60)), SIZE, rng.uniform(-2, 2),
            light=rng.uniform(0.85, 1.0), slope=rng.uniform(-0.08, 0.08), seed=seed * 10 + place,
        )
        for place, x in enumerate((480, 1150, 1820))
    ]  # fmt: skip


def truth_between(first: Window, second: Window) -> np.ndarray:
    """Return the true matrix from the second window's px to the first's."""
    back = cv2.invertAffineTransform(first.matrix)
    return (np.vstack([back, [0, 0, 1]]) @ np.vstack([second.matrix, [0, 0, 1]]))[:2]


def registration_error_px(overlap: Overlap, truth: np.ndarray, size: tuple[int, int] = SIZE) -> float:
    """Return the largest miss over the overlap's corners."""
    region = overlap.region(*size, *size)
    back = cv2.invertAffineTransform(truth)
    inside = region @ back[:, :2].T + back[:, 2]
    return float(np.hypot(*(overlap.moved(inside) - region).T).max())


def counted(result: FieldResult) -> np.ndarray:
    """Return which pieces are counted."""
    particles = result.particles
    at_edge = particles["flags"] & bits("touches_frame", "meets_zone") > 0
    return (particles["set_aside"] == "") & ~at_edge


def doubles(results: list[FieldResult], windows: list[Window]) -> int:
    """Return how many counted pieces have a counted twin in another field, by the true places."""
    places, sizes, fields = [], [], []
    for field, (result, window) in enumerate(zip(results, windows, strict=True)):
        keep = counted(result)
        here = np.column_stack([result.particles["centre_x_px"], result.particles["centre_y_px"]])[keep]
        places.append(here @ window.matrix[:, :2].T + window.matrix[:, 2])
        sizes.append(result.particles.diameter_px[keep])
        fields.append(np.full(keep.sum(), field))
    where, size, field = np.vstack(places), np.concatenate(sizes), np.concatenate(fields)
    near = np.hypot(*(where[:, None] - where[None]).transpose(2, 0, 1)) < 0.3 * size[:, None]
    return int((near & (field[:, None] < field[None])).sum())


def without_repeats(results: list[FieldResult], links: dict) -> list[FieldResult]:
    """Set aside what another field counts."""
    results = list(results)
    for (i, j), overlap in links.items():
        first, second = results[i].particles, results[j].particles
        labels = repeats_of(shared_pieces(first, second, overlap), first, second)
        for place, gone in zip((i, j), labels, strict=True):
            particles = results[place].particles
            reasons = particles["set_aside"].copy()
            reasons[np.isin(particles["label"], gone)] = "also on another field"
            results[place] = replace(results[place], particles=particles.replaced(set_aside=reasons))
    return results


def main() -> None:
    """Print the tables."""
    cv2.setNumThreads(1)
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    print("walk  pair  error px  residual px  points  corr   s   doubles before  after   joined error px")
    for seed in range(count):
        drawn = render_field(RECIPE, seed)
        windows = walk(drawn, seed)
        pictures = [Picture(w.pixels, name=f"w{i}") for i, w in enumerate(windows)]
        links, lines = {}, []
        for (i, first), (j, second) in pairwise(enumerate(windows)):
            began = time.perf_counter()
            overlap = find_overlap(pictures[i], pictures[j])
            spent = time.perf_counter() - began
            if overlap is None:
                lines.append(f"{seed:4d}  {i}-{j}   NOT FOUND")
                continue
            links[i, j] = overlap
            error = registration_error_px(overlap, truth_between(first, second))
            lines.append(
                f"{seed:4d}  {i}-{j}   {error:7.3f} {overlap.residual_px:11.3f} {overlap.points:8d}"
                f"  {overlap.correlation:5.2f} {spent:5.2f}"
            )
        assert find_overlap(pictures[0], pictures[2]) is None, "fields that share nothing were joined"
        results = [measure_field(p, FieldSettings(), RECIPE.um_per_px) for p in pictures]
        before, after = doubles(results, windows), doubles(without_repeats(results, links), windows)
        wide = join_fields(pictures, links)
        miss = max(
            float(np.hypot(*((m[:, :2] - t[:, :2]) @ [450, 350] + m[:, 2] - t[:, 2])))
            for m, t in zip(
                [compose(cv2.invertAffineTransform(wide.matrices[0]), m) for m in wide.matrices],
                [truth_between(windows[0], w) for w in windows],
                strict=True,
            )
        )
        whole = measure_field(Picture(wide.pixels), FieldSettings(), RECIPE.um_per_px, zones=wide.zones)
        print("\n".join(lines))
        once = sum(counted(r).sum() for r in without_repeats(results, links))
        each = sum(counted(r).sum() for r in results)
        print(
            f"{'':58}{before:5d} {after:10d} {miss:12.3f}   counted: {each} "
            f"in fields, {once} once, {counted(whole).sum()} on the joined field of "
            f"{wide.pixels.shape[1]} x {wide.pixels.shape[0]} px"
        )


def compose(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """Return the matrix that applies ``second``, then ``first``."""
    return (np.vstack([first, [0, 0, 1]]) @ np.vstack([second, [0, 0, 1]]))[:2]


if __name__ == "__main__":
    main()
