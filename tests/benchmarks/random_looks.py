"""Accuracy on fields each of which has a look drawn at random: light, oil, pieces, how they lie, camera.

    python tests/benchmarks/random_looks.py                       twenty looks for tuning
    python tests/benchmarks/random_looks.py --seeds report        twenty others, whose pictures are not shown
    python tests/benchmarks/random_looks.py --show FOLDER         with pictures of what went wrong

The conditions of `accuracy.py` change one or two things at a time. Here everything the project's own renderer
can vary is varied at once, so what goes wrong where two things meet shows too.
"""

import argparse
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from accuracy_match import Verdicts, judge
from accuracy_table import HEAD, confusion_text, line_text, reliability_text, summed

from measure.render.recipe import (
    Arrangement,
    Camera,
    Extras,
    KernelLook,
    Light,
    Recipe,
    SaltLook,
    Sizes,
    SkinLook,
)

SEED_START = {"tune": 0, "report": 9_000}
_OILS = (
    (226, 217, 188),
    (235, 232, 225),
    (200, 190, 150),
    (170, 140, 95),
    (188, 206, 214),
    (214, 190, 190),
    (150, 150, 150),
)
_KERNELS = ((0.28, 0.44, 0.66), (0.35, 0.40, 0.48), (0.2, 0.4, 0.8), (0.4, 0.5, 0.6))
_DARK = 0.15  # share of fields on dark ground


def random_look(number: int) -> Recipe:
    """Return the recipe with this number."""
    rng = np.random.default_rng(77_000 + number)

    def some(low: float, high: float) -> float:
        return float(rng.uniform(low, high))

    def one(*of: float) -> float:
        return of[rng.integers(len(of))]

    dark = bool(rng.random() < _DARK)
    oil = np.clip(np.array(_OILS[rng.integers(len(_OILS))]) + rng.normal(0, 6, 3), 20, 245)
    oil = np.full(3, some(25, 45)) if dark else oil
    return Recipe(
        name=f"look {number}",
        width_px=1100,
        height_px=825,
        um_per_px=some(0.5, 0.9),
        kernel_share=0.55,
        skin_share=0.25,
        salt_share=0.2,
        sizes=Sizes(some(26, 60), some(1.4, 1.8), 5.0, 160.0),
        arrangement=Arrangement(
            cover=some(0.04, 0.22),
            gap_px=some(3, 7),
            touch_share=one(0.0, 0.2, 0.4, 0.6),
            press_px=some(0.5, 2),
            overlap_share=one(0.0, 0.0, 0.1, 0.2),
        ),
        kernel=KernelLook(
            absorbance=_KERNELS[rng.integers(len(_KERNELS))],
            strength=some(0.4, 1.8),
            edge_step=some(0.5, 1),
            edge_line=some(-0.1, 0.5),
            edge_line_px=some(1.2, 3),
            softness_px=some(0, 1.8),
            texture=some(0.08, 0.45),
            texture_px=some(2.5, 10),
            roughness=some(0.05, 0.18),
        ),
        skin=SkinLook(
            strength=some(0.6, 1.2), streaks=some(0.1, 0.5), streak_px=some(2, 7), tear=some(0.1, 0.3)
        ),
        salt=SaltLook(
            rim=some(0.35, 0.95),
            rim_px=some(1.6, 7),
            glow=some(0.05, 0.4),
            body=some(-0.03, 0.06),
            facets=some(0.1, 0.5),
            broken=some(0, 0.3),
        ),
        extras=Extras(
            bubbles=int(rng.integers(0, 4)),
            bubble_ring=some(0.2, 0.5),
            bubble_dark=some(1, 2.4),
            fibres=int(rng.integers(0, 2)),
        ),
        light=_light(tuple(oil.tolist()), dark, some),
        camera=Camera(
            blur_px=some(0.7, 1.6),
            depth_um=some(5, 30),
            blur_px_per_um=some(0.02, 0.07),
            fringe=some(0, 0.12),
            full_well=some(4000, 14000),
            read_noise=some(8, 20),
            sharpen=some(0, 0.6),
            jpeg_quality=(None, None, 60, 80, 90)[rng.integers(5)],
        ),
    )


def _light(oil, dark, some) -> Light:
    return Light(
        oil=oil,
        dark_ground=dark,
        vignette=some(0.05, 0.35),
        slope=some(0, 0.3),
        slope_deg=some(0, 360),
        tint=some(0, 0.08),
        haze=some(0.2, 2),
        haze_contrast=some(0.02, 0.08),
        veil=some(0.005, 0.03),
        veil_px=some(25, 80),
    )


def run_one(number: int, show: Path | None) -> Verdicts:
    """Draw, measure and judge one field."""
    import time

    import cv2

    cv2.setNumThreads(1)
    from measure.field.pipeline import measure_field
    from measure.model import FieldSettings, Picture
    from measure.render import render_field

    rendered = render_field(random_look(number), number)
    start = time.perf_counter()
    result = measure_field(
        Picture(pixels=rendered.pixels, name=f"look-{number}"), FieldSettings(), rendered.um_per_px
    )
    verdicts = replace(judge(rendered, result), seconds=time.perf_counter() - start)
    if show is not None:
        from accuracy_show import draw

        show.mkdir(parents=True, exist_ok=True)
        cv2.imwrite(str(show / f"look-{number}.png"), draw(rendered, result, verdicts)[..., ::-1])
    return verdicts


def main(argv: list[str] | None = None) -> int:
    """Print the tables."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", choices=sorted(SEED_START), default="tune")
    parser.add_argument("--first", type=int, default=0, help="number of looks that are left out")
    parser.add_argument("--count", type=int, default=20, help="number of looks")
    parser.add_argument("--show", type=Path, metavar="FOLDER", help="write pictures of what went wrong")
    options = parser.parse_args(argv)
    if options.show is not None and options.seeds == "report":
        sys.stderr.write("Pictures of the report seeds are not shown: what is looked at is tuned on.\n")
        return 2
    sys.stdout.write(HEAD + "\n")
    judged = []
    first = SEED_START[options.seeds] + options.first
    for number in range(first, first + options.count):
        judged.append(run_one(number, options.show))
        sys.stdout.write(line_text(summed(f"look {number}", judged[-1:])) + "\n")
        sys.stdout.flush()
    sys.stdout.write(line_text(summed("all", judged)) + "\n\n")
    sys.stdout.write(confusion_text(judged) + "\n\n" + reliability_text(judged) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
