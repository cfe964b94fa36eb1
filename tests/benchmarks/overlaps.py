"""Overlapping fields of drawn walks: registration error, double counts left, and joining.

Run: python -m tests.benchmarks.overlaps [number of walks]
"""

import sys
import time
from collections import defaultdict
from dataclasses import replace
from itertools import pairwise

import cv2
import numpy as np
from shapely import union_all
from shapely.geometry import Polygon

from measure.field.pipeline import measure_field
from measure.field.several.repeats import Overlap, find_overlap
from measure.field.several.stitch import join_fields
from measure.flags import bits
from measure.model import FieldResult, FieldSettings, Frame, Picture
from measure.render import Recipe, Rendered, render_field
from measure.render.recipe import Arrangement, Sizes
from measure.render.walk import Window, cut_window
from measure.sizes.count_once import MeasuredField, count_once
from measure.sizes.frame_weight import frame_weight
from measure.sizes.shared_frames import PlacedFrame, united_area_px2

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


def once(results: list[FieldResult], links: dict) -> list[FieldResult]:
    """Count what two fields show once, weighted for the frame they make together."""
    measured = [MeasuredField(f"w{i}", r.frame, r.particles) for i, r in enumerate(results)]
    changed = count_once(measured, links)
    return [replace(r, particles=changed.get(i, r.particles)) for i, r in enumerate(results)]


def weighted(results: list[FieldResult], united: bool) -> tuple[np.ndarray, np.ndarray]:
    """Return sizes and weights of the counted pieces, weights of the united frame or of each frame alone."""
    sizes, weights = [], []
    for result in results:
        particles, keep = result.particles, counted(result)
        own = frame_weight(result.frame, particles["feret_h_px"][keep], particles["feret_v_px"][keep])
        sizes.append(particles.diameter_px[keep])
        weights.append(particles["stated_weight"][keep] if united else own)
    return np.concatenate(sizes), np.concatenate(weights)


def truth_in(drawn: Rendered, windows: list[Window]) -> np.ndarray:
    """Return true sizes of the pieces whose middle lies in what the windows show together."""
    corners = np.array([[0, 0], [SIZE[0], 0], SIZE, [0, SIZE[1]]], float)
    shown = union_all([Polygon(corners @ w.matrix[:, :2].T + w.matrix[:, 2]) for w in windows])
    return np.array([t.diameter_px for t in drawn.truth if shown.contains(Polygon(t.outline).centroid)])


def main() -> None:
    """Print the tables."""
    cv2.setNumThreads(1)
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    print("walk  pair  error px  residual px  points  corr   s   doubles before  after   joined error px")
    sums: dict[str, np.ndarray] = defaultdict(lambda: np.zeros(3))
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
        area_share = union_share(windows)
        single = once(results, links)
        before, after = doubles(results, windows), doubles(single, windows)
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
        each, kept = (sum(int(counted(r).sum()) for r in rs) for rs in (results, single))
        truth = truth_in(drawn, windows)
        truth = truth[truth > 10]
        sums["truth"] += [len(truth), truth.sum(), (truth**3).sum()]
        for name, united, which in (
            ("each field for itself", False, results),
            ("once, own weights", False, single),
            ("once, united weights", True, single),
        ):
            size, weight = weighted(which, united)
            share = area_share if name == "each field for itself" else 1.0
            sums[name] += [w.sum() * share for w in (weight, weight * size, weight * size**3)]
        print(
            f"{'':58}{before:5d} {after:10d} {miss:12.3f}   counted: {each} "
            f"in fields, {kept} once, {counted(whole).sum()} on the joined field of "
            f"{wide.pixels.shape[1]} x {wide.pixels.shape[0]} px"
        )

    print("\nover all walks          count %   mean size %   volume %   (against the truth)")
    true_count, true_length, true_volume = sums.pop("truth")
    for name, (number, length, volume) in sums.items():
        mean = (length / number) / (true_length / true_count) - 1
        print(
            f"{name:22} {100 * (number / true_count - 1):+8.1f} {100 * mean:+12.2f} "
            f"{100 * (volume / true_volume - 1):+11.1f}"
        )


def union_share(windows: list[Window]) -> float:
    """Return the area all windows show together over the sum of theirs."""
    placed = [PlacedFrame(Frame(*SIZE), w.matrix) for w in windows]
    return united_area_px2(placed) / (len(windows) * SIZE[0] * SIZE[1])


def compose(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """Return the matrix that applies ``second``, then ``first``."""
    return (np.vstack([first, [0, 0, 1]]) @ np.vstack([second, [0, 0, 1]]))[:2]


if __name__ == "__main__":
    main()
