"""The light worked out from fields: what error is left in it, and sizes with and without it.

Run: python -m tests.benchmarks.blank_light [fields]
"""

import sys
from dataclasses import replace

import cv2
import numpy as np

from measure.field.ground.blank import blank_from_fields
from measure.field.pipeline import measure_field
from measure.flags import bits
from measure.model import FieldSettings, Picture
from measure.render import Recipe, Rendered, render_blank, render_field
from measure.render.recipe import Arrangement, Camera, Light, Sizes

PLAIN = Recipe(
    width_px=640, height_px=480, sizes=Sizes(40.0, 1.5, 9.0, 110.0), arrangement=Arrangement(cover=0.05)
)
# lamp, cover, and depth of two round shadows that stay in place (dust on the camera)
CASES = {
    "even": (Light(), 0.05, 0.0),
    "vignette": (Light(vignette=0.5, slope=0.2), 0.05, 0.0),
    "slanting, tinted": (Light(vignette=0.35, slope=0.5, tint=0.12), 0.08, 0.0),
    "crowded": (Light(vignette=0.5, slope=0.3), 0.22, 0.0),
    "dust on the camera": (Light(vignette=0.3), 0.06, 0.3),
}


def recipe_of(light: Light, cover: float) -> Recipe:
    """Return the recipe of a case."""
    return replace(PLAIN, light=light, arrangement=Arrangement(cover=cover))


def shadows(depth: float, shape: tuple[int, int]) -> np.ndarray:
    """Return two soft round shadows as a factor (M, N, 1)."""
    y, x = np.mgrid[: shape[0], : shape[1]]
    spots = ((0.3, 0.4, 0.035), (0.7, 0.6, 0.05))
    inside = [np.hypot(x - a * shape[1], y - b * shape[0]) < r * shape[1] for a, b, r in spots]
    factor = 1.0 - depth * np.any(inside, axis=0).astype(np.float32)
    return cv2.GaussianBlur(factor, (0, 0), 4.0)[..., None]


def fields(light: Light, cover: float, depth: float, seeds: range) -> list[Rendered]:
    """Draw fields of one lamp."""
    recipe = recipe_of(light, cover)
    drawn = [render_field(recipe, seed) for seed in seeds]
    factor = shadows(depth, (recipe.height_px, recipe.width_px))
    return [replace(d, pixels=_times(d.pixels, factor)) for d in drawn]


def true_blank(light: Light, cover: float, depth: float) -> np.ndarray:
    """Draw the oil alone, nearly without noise."""
    recipe = replace(recipe_of(light, cover), camera=Camera(full_well=1e8, read_noise=0.0))
    return _times(render_blank(recipe, 0), shadows(depth, (recipe.height_px, recipe.width_px)))


def _times(pixels: np.ndarray, factor: np.ndarray) -> np.ndarray:
    return np.clip(np.rint(pixels * factor), 0, 255).astype(np.uint8)


def light_error(blank: np.ndarray, truth: np.ndarray) -> np.ndarray:
    """Return the relative error of the light in each pixel (linear, worst channel), brightness apart."""
    linear = [(np.maximum(p, 1) / 255.0) ** 2.2 for p in (blank.astype(float), truth.astype(float))]
    off = np.log(linear[0] / linear[1])
    return np.abs(off - np.median(off.reshape(-1, 3), axis=0)).max(axis=2)


def unevenness_left(pixels: np.ndarray, truth: np.ndarray) -> float:
    """Return the 95th percentile of the light's error when no blank is used: the light itself."""
    return float(np.quantile(light_error(np.full_like(truth, 200), truth), 0.95))


def size_errors(drawn: list[Rendered], blank: np.ndarray | None) -> tuple[np.ndarray, int, int]:
    """Return relative errors of matched sizes, missed pieces and pieces that are none."""
    off, missed, false = [], 0, 0
    own = Picture(blank, name="blank") if blank is not None else None
    for one in drawn:
        settings = FieldSettings(smallest_um=12.0 * one.um_per_px)
        found = measure_field(Picture(one.pixels), settings, one.um_per_px, blank=own).particles
        found = found.select((found["flags"] & bits("touches_frame") == 0) & (found["set_aside"] == ""))
        centres = np.column_stack([found["centre_x_px"], found["centre_y_px"]])
        taken: set[int] = set()
        for piece in one.truth:
            gap = np.hypot(*(centres - piece.outline.mean(axis=0)).T) if len(centres) else np.array([np.inf])
            nearest = int(np.argmin(gap))
            hit = gap[nearest] < 0.35 * piece.diameter_px
            if hit:
                taken.add(nearest)
            if piece.touches_frame or piece.hidden_share > 0 or piece.diameter_px < 15:
                continue
            if hit:
                off.append(found.diameter_px[nearest] / piece.diameter_px - 1.0)
            else:
                missed += 1
        false += len(found) - len(taken)
    return np.array(off), missed, false


def main() -> None:
    """Print the table."""
    cv2.setNumThreads(1)
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 8
    print(
        "case                 light before  after %  (95th percentile)   "
        "size bias %, mean |error| %, missed, false"
    )
    print("                                                without a blank | from fields | true blank")
    for name, (light, cover, depth) in CASES.items():
        drawn = fields(light, cover, depth, range(100, 100 + count))
        truth = true_blank(light, cover, depth)
        made = blank_from_fields(Picture(d.pixels, name=f"f{i}") for i, d in enumerate(drawn))
        before = unevenness_left(drawn[0].pixels, truth)
        after = float(np.quantile(light_error(made.pixels, truth), 0.95))
        row = f"{name:20} {100 * before:10.1f} {100 * after:8.2f}      "
        for blank in (None, made.pixels, truth):
            off, missed, false = size_errors(drawn[:4], blank)
            row += f" {100 * np.median(off):+6.2f} {100 * np.abs(off).mean():5.2f} {missed:3d} {false:3d}  |"
        print(row, flush=True)


if __name__ == "__main__":
    main()
