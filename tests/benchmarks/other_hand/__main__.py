"""How well the program does on pictures drawn by another hand.

``python -m tests.benchmarks.other_hand --seeds tune --only tune --keep DIR``. Looks marked held, and the
report seeds, are for reporting only: never mend the program by looking at them.
"""

import argparse
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

from measure.field.pipeline import measure_field
from measure.flags import bits
from measure.model import KINDS, FieldSettings, Picture

from .draw import Drawn, draw
from .looks import HELD, LIMIT_PX, LOOKS, REPORT_SEEDS, TUNE_SEEDS, UM_PER_PX
from .match import Found, Score, score

HEAD = (
    f"{'look':16}{'seeds':>6}{'true':>6}{'F1':>8}{'prec':>8}{'recall':>8}{'bias %':>8}"
    f"{'5..95 % of errors':>20}{'overlap':>9}{'kinds %':>9}{'aside':>8}{'s':>6}"
)


def measure(drawn: Drawn) -> list[Found]:
    """Run the program on a picture, at its standard settings."""
    settings = FieldSettings(smallest_um=LIMIT_PX * UM_PER_PX)
    grey = bool(np.all(drawn.pixels == drawn.pixels[..., :1]))
    picture = Picture(drawn.pixels, name=drawn.look, grey=grey)
    particles = measure_field(picture, settings, drawn.um_per_px).particles
    cut = bits("touches_frame")
    return [
        Found(outline, str(KINDS[kind]), bool(reason) or bool(flags & cut))
        for outline, kind, reason, flags in zip(
            particles.outlines, particles["kind"], particles["set_aside"], particles["flags"], strict=True
        )
    ]


def line(name: str, seeds: int, s: Score) -> str:
    """One line of the table."""
    errors = 100 * np.array(s.errors or [np.nan])
    low, mid, high = np.percentile(errors, [5, 50, 95])
    kinds = 100 * s.kinds_right / s.kinds_asked if s.kinds_asked else np.nan
    overlap = float(np.median(s.overlaps or [np.nan]))
    aside = f"{s.marked_aside}/{s.marked}" if s.marked else "-"
    held = " held" if name in HELD else ""
    return (
        f"{name:16}{seeds:6d}{s.true:6d}{s.f1:8.3f}{s.precision:8.3f}{s.recall:8.3f}{mid:8.2f}"
        f"{low:10.1f}{high:10.1f}{overlap:9.3f}{kinds:9.1f}{aside:>8}{s.seconds / seeds:6.1f}{held}"
    )


def overlay(drawn: Drawn, found: list[Found], result: Score) -> np.ndarray:
    """Picture at twice its size with outlines.

    True ones green (missed red, not asked grey), found ones blue (false magenta, set aside pale).
    """
    big = cv2.resize(drawn.pixels, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    for i, piece in enumerate(drawn.truth):
        colour = (230, 20, 20) if i in result.missed else (150, 150, 150) if piece.fair else (20, 170, 20)
        _draw(big, piece.outline, colour, 3)
    for j, item in enumerate(found):
        colour = (255, 0, 220) if j in result.false_rows else (90, 200, 255) if item.aside else (0, 60, 255)
        _draw(big, item.outline, colour, 1)
    return big


def _draw(big: np.ndarray, outline: np.ndarray, colour: tuple[int, int, int], wide: int) -> None:
    points = np.round((2.0 * np.asarray(outline) - 0.5) * 16).astype(np.int32)
    cv2.polylines(big, [points], True, colour, wide, cv2.LINE_AA, 4)


def one(name: str, seed: int, width: int, keep: Path | None) -> Score:
    """Draw, measure and score one picture."""
    drawn = draw(name, seed, width)
    start = time.perf_counter()
    found = measure(drawn)
    result = score(drawn, found)
    result.seconds = time.perf_counter() - start
    if keep is not None:
        cv2.imwrite(str(keep / f"{name}_{seed}.png"), drawn.pixels[..., ::-1])
        cv2.imwrite(str(keep / f"{name}_{seed}_overlay.png"), overlay(drawn, found, result)[..., ::-1])
    return result


def run(
    names: list[str], seeds: tuple[int, ...], width: int, keep: Path | None, say: Callable = print
) -> None:
    """Print the table."""
    say(HEAD)
    totals = {"tune": Score(), "held": Score()}
    for name in names:
        total = Score()
        for seed in seeds:
            total.add(one(name, seed, width, keep))
        totals["held" if name in HELD else "tune"].add(total)
        say(line(name, len(seeds), total), flush=True)
    for name, total in totals.items():
        if total.true:
            say(line(f"all {name}", len(seeds), total))
            say(
                "  kinds mistaken: "
                + (", ".join(f"{k} {n}" for k, n in total.mistaken.most_common(8)) or "none")
            )


def main() -> None:
    """Read the options."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", default="tune", help="tune, report, or numbers with commas")
    parser.add_argument("--only", default="", help="look or looks with commas; 'tune' or 'held' for a half")
    parser.add_argument("--size", type=int, default=1200, help="width of the pictures, px")
    parser.add_argument("--keep", type=Path, help="folder for the pictures and overlays")
    args = parser.parse_args()
    cv2.setNumThreads(1)
    sets = {"tune": TUNE_SEEDS, "report": REPORT_SEEDS}
    seeds = sets.get(args.seeds) or tuple(int(s) for s in args.seeds.split(","))
    halves = {"tune": [n for n in LOOKS if n not in HELD], "held": list(HELD), "": list(LOOKS)}
    names = halves.get(args.only) or args.only.split(",")
    if args.keep:
        args.keep.mkdir(parents=True, exist_ok=True)
    run(names, seeds, args.size, args.keep)


if __name__ == "__main__":
    main()
