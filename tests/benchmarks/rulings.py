"""How well scales are found, judged on drawn rulings whose truth is known.

    python tests/benchmarks/rulings.py                 every condition once, about a minute
    python tests/benchmarks/rulings.py --seeds 5       five of each, other phases and noise
    python tests/benchmarks/rulings.py --only faint    conditions whose name holds a word

Two drawers that share no code with each other or with the tool: the tests' own (analytic lines), and the
renderer of the sample pictures (camera, lamp, dirt, JPEG). Targets: within 0.1 % of truth, and the truth
inside 3 standard uncertainties.
"""

import argparse
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from measure.errors import InvalidInput
from measure.model import Picture
from measure.render.recipe import Camera, Light
from measure.render.ruling import Ruling, render_ruling
from measure.scale import find_scale
from tests.measure.scale.drawn_rulings import CONDITIONS, draw

RENDERED = {
    "plain": Ruling(angle_deg=2.0),
    "turned 45": Ruling(angle_deg=45.0, um_per_px=0.81),
    "turned 97": Ruling(angle_deg=97.0),
    "bright on dark": Ruling(angle_deg=-6.0, bright_on_dark=True),
    "faint": Ruling(angle_deg=5.0, contrast=0.06),
    "faint, few electrons": Ruling(
        angle_deg=5.0, contrast=0.15, camera=Camera(full_well=600.0, read_noise=10.0)
    ),
    "worn lines, base line": Ruling(angle_deg=-3.0, defects=0.4, base_line=True),
    "dirty": Ruling(angle_deg=8.0, dust=150, scratches=25),
    "uneven light": Ruling(angle_deg=1.0, light=Light(vignette=0.6, slope=0.4)),
    "JPEG 60": Ruling(angle_deg=3.3, camera=Camera(jpeg_quality=60)),
    "blurred": Ruling(angle_deg=3.3, blur_px=3.5),
    "high zoom": Ruling(angle_deg=11.0, um_per_px=0.08, line_um=1.5),
    "low zoom": Ruling(angle_deg=0.7, um_per_px=1.6, line_um=3.0),
    "end in view, 16 bit": Ruling(angle_deg=-14.0, first_division=2.0, bit_depth=16),
    "coarse, 50 um": Ruling(angle_deg=4.0, division_um=50.0, divisions=20, first_division=10, um_per_px=0.7),
    "small picture": Ruling(width_px=640, height_px=480, angle_deg=4.0),
}


def _drawn(seed: int) -> Iterator[tuple[str, float, float, Callable[[], tuple[np.ndarray, int]]]]:
    """Yield name, true um per px, division and a maker of (pixels, bits)."""
    rng = np.random.default_rng(seed)
    for d in CONDITIONS:
        d = replace(d, seed=d.seed + 100 * seed)
        if seed:
            shift = (d.centre_um[0] + rng.uniform(-5, 5), d.centre_um[1] + rng.uniform(-5, 5))
            d = replace(d, centre_um=shift, angle_deg=d.angle_deg + rng.uniform(-2, 2))
        yield d.name, d.um_per_px, d.division_um, lambda d=d: (draw(d), d.bits)
    for name, r in RENDERED.items():
        angle = r.angle_deg + (rng.uniform(-2, 2) if seed else 0)
        r = replace(r, angle_deg=float(angle))
        yield (
            f"rendered: {name}",
            r.um_per_px,
            r.division_um,
            lambda r=r: (
                render_ruling(r, seed).pixels,
                r.bit_depth,
            ),
        )


def _row(name: str, truth: float, division: float, make: Callable) -> tuple[float, float] | None:
    pixels, bits = make()
    start = time.perf_counter()
    try:
        fit = find_scale(Picture(pixels, bit_depth=bits, name=name), division_um=division)
    except InvalidInput as error:
        print(f"{name:34s} {truth:9.5f}   {error.text[:60]}")
        return None
    seconds = time.perf_counter() - start
    scale = fit.scale
    error, u = scale.um_per_px / truth - 1, scale.relative_uncertainty
    print(f"{name:34s} {truth:9.5f} {scale.um_per_px:10.6f} {100 * error:+9.5f} {100 * u:9.5f}", end=" ")
    print(f"{abs(error) / u:7.2f} {scale.graduations:5d} {scale.residual_px:8.4f} {seconds:6.2f}", end="  ")
    print(" ".join(w[:40] for w in fit.warnings))
    return abs(error), abs(error) / u


def main(argv: list[str] | None = None) -> int:
    """Print the table; exit 1 when a condition misses its target."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=1)
    parser.add_argument("--only", default="")
    args = parser.parse_args(argv)
    cv2.setNumThreads(1)
    print(
        f"{'condition':34s} {'true':>9s} {'found':>10s} {'error %':>9s} {'u %':>9s} {'|err|/u':>7s}", end=""
    )
    print(f" {'lines':>5s} {'sd px':>8s} {'s':>6s}  warnings")
    rows = [
        _row(*condition)
        for seed in range(args.seeds)
        for condition in _drawn(seed)
        if args.only in condition[0]
    ]
    found = np.array([r for r in rows if r is not None]).reshape(-1, 2)
    good = (found[:, 0] < 1e-3) & (found[:, 1] < 3)
    ratio = np.sqrt((found[:, 1] ** 2).mean())
    print(f"\n{len(rows)} rulings, {len(found)} found, {int(good.sum())} within 0.1 % and 3 u;", end=" ")
    print(f"largest error {100 * found[:, 0].max():.4f} %, root mean square of error/u {ratio:.2f}")
    return int(good.sum() < len(rows))


if __name__ == "__main__":
    sys.exit(main())
