"""Fusing pictures at several heights: error of sizes before and after, on drawn stacks with known truth.

Run: python -m tests.benchmarks.focus_stack [number of fields]
"""

import sys
import time
from dataclasses import replace

import cv2
import numpy as np

from measure.field.pipeline import measure_field
from measure.field.several.fuse import fuse_stack
from measure.flags import bits
from measure.model import FieldSettings, Picture
from measure.render import Recipe, Rendered
from measure.render.recipe import Arrangement, Camera, Sizes
from measure.render.walk import render_stack

HEIGHTS_UM = (-36.0, -18.0, 0.0, 18.0, 36.0)
GROWTH_PER_UM = 1.0e-4
RECIPE = Recipe(
    width_px=1100, height_px=800,
    sizes=Sizes(28.0, 1.5, 7.0, 90.0),
    arrangement=Arrangement(cover=0.04),
    camera=Camera(blur_px=1.0, depth_um=40.0, blur_px_per_um=0.12),
)  # fmt: skip


def errors(pixels: np.ndarray, drawn: Rendered) -> tuple[np.ndarray, np.ndarray, int]:
    """Return relative errors of size and edge widths of matched pieces, and how many were missed."""
    result = measure_field(Picture(pixels), FieldSettings(smallest_um=5.0), drawn.um_per_px)
    found = result.particles
    found = found.select(found["flags"] & bits("touches_frame") == 0)
    centres = np.column_stack([found["centre_x_px"], found["centre_y_px"]])
    off, widths, missed = [], [], 0
    for piece in drawn.truth:
        if piece.touches_frame or piece.hidden_share > 0 or piece.diameter_px < 12:
            continue
        middle = piece.outline.mean(axis=0)
        gap = np.hypot(*(centres - middle).T) if len(centres) else np.array([np.inf])
        nearest = int(np.argmin(gap))
        if gap[nearest] > 0.3 * piece.diameter_px:
            missed += 1
            continue
        off.append(found.diameter_px[nearest] / piece.diameter_px - 1.0)
        widths.append(found["edge_width_px"][nearest])
    return np.array(off), np.array(widths), missed


def line(name: str, off: np.ndarray, widths: np.ndarray, missed: int) -> str:
    """Return one row of the table."""
    words = (
        f"{name:22} pieces {len(off):4d}",
        f"missed {missed:3d}",
        f"size error median {100 * np.median(off):+6.2f} %",
        f"mean |error| {100 * np.abs(off).mean():5.2f} %",
        f"worst tenth {100 * np.quantile(np.abs(off), 0.9):5.2f} %",
        f"edge {np.nanmedian(widths):5.2f} px",
    )
    return "  ".join(words)


def main() -> None:
    """Print the table."""
    cv2.setNumThreads(1)
    gathered: dict[str, list] = {}
    for seed in range(int(sys.argv[1]) if len(sys.argv) > 1 else 2):
        stack = render_stack(RECIPE, seed, HEIGHTS_UM, GROWTH_PER_UM, drift_px=1.5)
        sharp = replace(RECIPE, camera=replace(RECIPE.camera, depth_um=0.0))
        middle = len(stack) // 2
        began = time.perf_counter()
        fused = fuse_stack([Picture(d.pixels, name=f"h{i}") for i, d in enumerate(stack)])
        spent = time.perf_counter() - began
        # truth lies where the reference shows it: its own drift is the only shift left
        shift = 1.5 * middle
        truth = tuple(replace(t, outline=t.outline + shift) for t in stack[middle].truth)
        drawn = replace(stack[middle], truth=truth)
        ideal = render_stack(sharp, seed, (0.0,), drift_px=0.0)[0]
        growths = ", ".join(f"{g - 1:+.4f}" for g in fused.growth)
        print(f"field {seed}: fused in {spent:.2f} s; growth found {growths}")
        print(f"true growth {GROWTH_PER_UM * 18:.4f} a step")
        cases = {
            "middle picture alone": (stack[middle].pixels, drawn),
            "fused": (fused.pixels, drawn),
            "all in focus (ideal)": (ideal.pixels, ideal),
        }
        for name, (pixels, known) in cases.items():
            off, widths, missed = errors(pixels, known)
            kept = gathered.setdefault(name, [[], [], 0])
            kept[0].append(off)
            kept[1].append(widths)
            kept[2] += missed
    for name, (off, widths, missed) in gathered.items():
        print(line(name, np.concatenate(off), np.concatenate(widths), missed))


if __name__ == "__main__":
    main()
