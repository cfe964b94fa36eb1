"""How well fields are measured, judged on drawn ones whose truth is known.

    python tests/benchmarks/accuracy.py                        every condition, tuning seeds
    python tests/benchmarks/accuracy.py --only touching        one condition, a few seconds
    python tests/benchmarks/accuracy.py --quick                small pictures, one seed
    python tests/benchmarks/accuracy.py --seeds report         the figures to report, held-out conditions too

Conditions marked with * are held out: drawn with the report seeds only, and nothing is tuned on them.
"""

import argparse
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path
from zlib import crc32

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from accuracy_match import Verdicts, judge
from accuracy_table import HEAD, confusion_text, line_text, reliability_text, summed

from measure.render.recipes import CONDITIONS, HELD_OUT, TUNED, resized

SEED_START = {"tune": 1_000, "report": 900_000}


def _options(argv: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", choices=sorted(SEED_START), default="tune")
    parser.add_argument(
        "--only", nargs="+", choices=sorted(CONDITIONS), metavar="NAME", help="some conditions"
    )
    parser.add_argument("--count", type=int, help="seeds a condition (2 for tuning, 4 to report)")
    parser.add_argument("--size", type=int, help="picture width in px instead of the condition's own")
    parser.add_argument("--smallest", type=float, help="lower size limit in px instead of the default")
    parser.add_argument("--quick", action="store_true", help="width 800 px and one seed")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--show", type=Path, metavar="FOLDER", help="write pictures of what went wrong")
    parser.add_argument("--list", action="store_true", help="list the conditions and stop")
    return parser.parse_args(argv)


def run_one(
    name: str, seed: int, size: int | None, show: Path | None, smallest_px: float | None = None
) -> Verdicts:
    """Draw, measure and judge one field."""
    import cv2

    cv2.setNumThreads(1)
    from measure.field.pipeline import measure_field
    from measure.model import FieldSettings, Picture
    from measure.render import render_field

    recipe = CONDITIONS[name] if size is None else resized(CONDITIONS[name], size)
    rendered = render_field(recipe, seed + crc32(name.encode()) % 100_000 * 1_000_000)
    picture = Picture(pixels=rendered.pixels, name=f"{name}-{seed}")
    start = time.perf_counter()
    smallest_um = None if smallest_px is None else smallest_px * rendered.um_per_px
    result = measure_field(picture, FieldSettings(smallest_um=smallest_um), rendered.um_per_px)
    verdicts = replace(judge(rendered, result), seconds=time.perf_counter() - start)
    if show is not None:
        from accuracy_show import draw

        show.mkdir(parents=True, exist_ok=True)
        cv2.imwrite(str(show / f"{name}-{seed}.png"), draw(rendered, result, verdicts)[..., ::-1])
    return verdicts


def _names(options: argparse.Namespace) -> list[str]:
    if options.only:
        return options.only
    return list(TUNED) if options.seeds == "tune" else list(CONDITIONS)


def _judged(options: argparse.Namespace) -> dict[str, list[Verdicts]]:
    """Run every condition, printing its row as soon as it is there."""
    count = options.count or (1 if options.quick else 2 if options.seeds == "tune" else 4)
    size = options.size or (800 if options.quick else None)
    done: dict[str, list[Verdicts]] = {}
    pool = ProcessPoolExecutor(options.jobs, get_context("spawn")) if options.jobs > 1 else None
    runs = {}
    for name in _names(options):
        seeds = [SEED_START[options.seeds] + i for i in range(1 if name == "large" else count)]
        jobs = [(name, seed, size, options.show, options.smallest) for seed in seeds]
        runs[name] = [pool.submit(run_one, *j) for j in jobs] if pool else jobs
    for name, jobs in runs.items():
        done[name] = [j.result() if pool else run_one(*j) for j in jobs]
        mark = "*" if name in HELD_OUT else ""
        sys.stdout.write(line_text(summed(name + mark, done[name])) + "\n")
        sys.stdout.flush()
    if pool:
        pool.shutdown()
    return done


def main(argv: list[str] | None = None) -> int:
    """Print the tables."""
    options = _options(argv)
    if options.list:
        sys.stdout.write("\n".join(n + ("*" if n in HELD_OUT else "") for n in CONDITIONS) + "\n")
        return 0
    if options.seeds == "tune" and any(n in HELD_OUT for n in options.only or []):
        sys.stderr.write("Held-out conditions are only drawn with --seeds report.\n")
        return 2
    sys.stdout.write(HEAD + "\n")
    judged = [v for fields in _judged(options).values() for v in fields]
    sys.stdout.write("\n" + confusion_text(judged) + "\n\n" + reliability_text(judged) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
