"""How well particles are found in fields imaged by partially coherent light.

    python -m tests.benchmarks.wave_fields --seeds tune                   conditions for tuning
    python -m tests.benchmarks.wave_fields --seeds report                 the same conditions, other fields
    python -m tests.benchmarks.wave_fields --seeds held                   conditions held out
    python -m tests.benchmarks.wave_fields --seeds tune --only closed,sugar --keep DIR

Nobody looks at report seeds or held conditions, nor tunes on them. Sizes are judged against the projection
of the solid body, wherever the light shows its edge.
"""

import argparse
import time
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from measure.field.pipeline import measure_field
from measure.flags import bits
from measure.model import KINDS, FieldSettings, Picture
from tests.benchmarks.other_hand.__main__ import overlay
from tests.benchmarks.other_hand.draw import Drawn
from tests.benchmarks.other_hand.match import Found, score
from tests.benchmarks.pasted.__main__ import PastedScore, judge

from .draw import draw
from .looks import HELD, LOOKS, REPORT_SEEDS, TUNE_SEEDS

_SETS = {"tune": TUNE_SEEDS, "report": REPORT_SEEDS, "held": REPORT_SEEDS}
_HEAD = (
    f"{'condition':14}{'fields':>7}{'asked':>7}{'missed':>8}{'aside':>7}{'false':>7}{'merged':>8}{'split':>7}"
    f"{'F1':>7}{'bias %':>8}{'spread':>8}{'kinds %':>9}{'marks':>9}{'s':>6}"
)


@dataclass
class WaveScore(PastedScore):
    """The same with the bubbles and fibres asked about, and how many of them were counted as pieces."""

    foreign: int = 0
    counted: int = 0


def measure(drawn: Drawn) -> list[Found]:
    """Run the program on a field, at its standard settings."""
    grey = bool(np.all(drawn.pixels == drawn.pixels[..., :1]))
    settings = FieldSettings(smallest_um=drawn.limit_px * drawn.um_per_px)
    picture = Picture(drawn.pixels, name=f"{drawn.look} {drawn.seed}", grey=grey)
    particles = measure_field(picture, settings, drawn.um_per_px).particles
    cut = bits("touches_frame")
    return [
        Found(outline, str(KINDS[kind]), bool(reason) or bool(flags & cut))
        for outline, kind, reason, flags in zip(
            particles.outlines, particles["kind"], particles["set_aside"], particles["flags"], strict=True
        )
    ]


def judged(drawn: Drawn, keep: Path | None = None) -> WaveScore:
    """Measure and judge one field."""
    start = time.process_time()
    found = measure(drawn)
    seconds = time.process_time() - start
    result = WaveScore(**vars(judge(drawn, found)))
    marks = score(drawn, found)
    result.foreign, result.counted, result.seconds = marks.marked, marks.marked_counted, seconds
    if keep is not None:
        keep.mkdir(parents=True, exist_ok=True)
        stem = str(keep / f"{drawn.look}_{drawn.seed}")
        cv2.imwrite(f"{stem}.png", drawn.pixels[..., ::-1])
        cv2.imwrite(f"{stem}_overlay.png", overlay(drawn, found, result)[..., ::-1])
    return result


def line(name: str, fields: int, s: WaveScore) -> str:
    """One line of the table; the spread is the half width about the bias that holds nine tenths."""
    errors = 100 * np.array(s.errors or [np.nan])
    bias = np.median(errors)
    spread = np.quantile(np.abs(errors - bias), 0.9)
    kinds = 100 * s.kinds_right / s.kinds_asked if s.kinds_asked else np.nan
    marks = f"{s.foreign - s.counted}/{s.foreign}" if s.foreign else "-"
    missed = s.true - s.right - s.marked_aside
    return (
        f"{name:14}{fields:7d}{s.true:7d}{missed:8d}{s.marked_aside:7d}{s.false:7d}"
        f"{s.merged:8d}{s.split:7d}{100 * s.f1:7.1f}{bias:8.2f}{spread:8.2f}{kinds:9.1f}{marks:>9}"
        f"{s.seconds / fields:6.1f}"
    )


def main() -> None:
    """Read the options and print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", choices=_SETS, default="tune")
    parser.add_argument("--only", help="condition or conditions with commas")
    parser.add_argument("--size", type=int, default=1100, help="width of the fields, px")
    parser.add_argument("--keep", type=Path, help="folder for pictures and overlays, tune seeds only")
    options = parser.parse_args()
    if options.seeds != "tune" and options.keep:
        parser.error("Only tune seeds are looked at: leave out --keep, or take --seeds tune.")
    there = [n for n in LOOKS if (n in HELD) == (options.seeds == "held")]
    names = options.only.split(",") if options.only else there
    if wrong := [n for n in names if n not in there]:
        parser.error(f"No condition {', '.join(wrong)} with these seeds; there are {', '.join(there)}.")
    cv2.setNumThreads(1)
    print(_HEAD)
    whole, seeds = WaveScore(), _SETS[options.seeds]
    for name in names:
        total = WaveScore()
        for seed in seeds:
            total.add(judged(draw(name, seed, options.size), options.keep))
        whole.add(total)
        print(line(name, len(seeds), total), flush=True)
    print(line("all", len(seeds) * len(names), whole))
    print("kinds mistaken: " + (", ".join(f"{k} {n}" for k, n in whole.mistaken.most_common()) or "none"))


if __name__ == "__main__":
    main()
