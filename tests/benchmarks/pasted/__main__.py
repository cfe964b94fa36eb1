"""How well the program does on real pieces put together on real grounds.

``GRITLINE_DATA=... python -m tests.benchmarks.pasted --seeds tune --only tune --keep DIR``. Looks marked
held, and the report seeds (which use other cut-outs), are for reporting only: never mend the program by
looking at them.
"""

import argparse
import time
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from shapely import union_all
from shapely.geometry import Polygon

from tests.benchmarks.other_hand.__main__ import measure, overlay
from tests.benchmarks.other_hand.draw import Drawn, Truth
from tests.benchmarks.other_hand.match import Found, Score, score

from .compose import compose
from .looks import HELD, LOOKS, REPORT_SEEDS, TUNE_SEEDS
from .show import faults_sheet
from .sources import data_folder

# "merged": missed within a find that holds another; "split": missed, and most of it in finds that are false.
# "aside": outlined rightly but set aside, as a bubble for instance; "F1 lines" takes those for found
HELD_SHARE = 0.6  # of a piece within a find that holds it
WHOLE = 0.05  # sizes are judged on pieces hidden less than this
HEAD = (
    f"{'look':18}{'fields':>7}{'true':>6}{'found':>7}{'aside':>7}{'missed':>8}{'merged':>8}{'split':>7}{'extra':>7}"
    f"{'F1':>8}{'F1 lines':>10}{'bias %':>8}{'90 % spread':>13}{'overlap':>9}{'s':>6}"
)


@dataclass
class PastedScore(Score):
    """The same with how many missed pieces are ``merged`` with another, and ``split`` into parts."""

    merged: int = 0
    split: int = 0


def judge(drawn: Drawn, found: list[Found]) -> PastedScore:
    """Count all pieces, but take sizes only from those not hidden in part.

    A piece hidden in part may be outlined as far as it is seen, or carried on as a whole: the truth is
    whichever lies nearer to a find. ``marked_aside`` becomes the number of pieces outlined rightly but set
    aside.
    """
    drawn = replace(drawn, truth=_whole_or_seen(drawn.truth, found))
    result = score(drawn, found)
    result.marked_aside = score(drawn, [replace(f, aside=False) for f in found]).right - result.right
    whole = tuple(t if t.hidden < WHOLE or t.fair else replace(t, fair="hidden in part") for t in drawn.truth)
    result.errors = score(replace(drawn, truth=whole), found).errors
    return PastedScore(**vars(result), **_merged_and_split(drawn, found, result))


def _merged_and_split(drawn: Drawn, found: list[Found], result: Score) -> dict[str, int]:
    """Of the missed pieces, how many lie in a find that holds another too, and how many in false parts."""
    true, finds = ([Polygon(p.outline).buffer(0) for p in pieces] for pieces in (drawn.truth, found))
    holds = [[f.intersection(t).area > HELD_SHARE * t.area for t in true] for f in finds]
    merged = [i for i in result.missed if any(row[i] and sum(row) > 1 for row in holds)]
    split = 0
    for i in set(result.missed) - set(merged):
        inside = [finds[j].intersection(true[i]).area for j in result.false_rows
                  if finds[j].intersection(true[i]).area > HELD_SHARE * finds[j].area]  # fmt: skip
        split += sum(inside) > 0.5 * true[i].area
    return {"merged": len(merged), "split": split}


def _whole_or_seen(truth: tuple[Truth, ...], found: list[Found]) -> tuple[Truth, ...]:
    shapes = [Polygon(t.outline).buffer(0) for t in truth]
    finds = [Polygon(f.outline).buffer(0) for f in found]
    result = []
    for i, piece in enumerate(truth):
        whole = shapes[i]
        if piece.hidden >= WHOLE:
            seen = whole.difference(union_all(shapes[i + 1 :]))
            seen = max(getattr(seen, "geoms", [seen]), key=lambda part: part.area)
            near = [f for f in finds if f.intersects(whole)]
            if max((_overlap(seen, f) for f in near), default=0) > max(
                (_overlap(whole, f) for f in near), default=0
            ):
                piece = replace(piece, outline=np.array(seen.exterior.coords)[:-1])
        result.append(piece)
    return tuple(result)


def _overlap(a: Polygon, b: Polygon) -> float:
    common = a.intersection(b).area
    return common / (a.area + b.area - common)


def line(name: str, fields: int, s: PastedScore) -> str:
    """One line of the table; the spread is half the range of the middle nine tenths of the size errors."""
    low, mid, high = np.percentile(100 * np.array(s.errors or [np.nan]), [5, 50, 95])
    overlap = float(np.median(s.overlaps or [np.nan]))
    outlined = s.right + s.marked_aside
    seconds = s.seconds / max(fields, 1)
    lines = 2 * outlined / max(outlined + s.false + s.true, 1)
    return (
        f"{name:18}{fields:7d}{s.true:6d}{s.right:7d}{s.marked_aside:7d}{s.true - outlined:8d}"
        f"{s.merged:8d}{s.split:7d}{s.false:7d}"
        f"{s.f1:8.3f}{lines:10.3f}{mid:8.2f}{(high - low) / 2:13.2f}{overlap:9.3f}{seconds:6.1f}"
        + (" held" if name in HELD else "")
    )


def one(name: str, seed: int, width: int, keep: Path | None) -> PastedScore:
    """Compose, measure and judge one picture."""
    drawn = compose(name, seed, width)
    start = time.process_time()
    found = measure(drawn)
    result = judge(drawn, found)
    result.seconds = time.process_time() - start
    if keep is not None:
        _keep(str(keep / f"{name}_{seed}"), drawn, found, result)
    return result


def _keep(stem: str, drawn: Drawn, found: list[Found], result: Score) -> None:
    """Write the picture, the overlay, and a sheet and a list of the faults, px of the picture."""
    marked = overlay(drawn, found, result)
    cv2.imwrite(f"{stem}.png", drawn.pixels[..., ::-1])
    cv2.imwrite(f"{stem}_overlay.png", marked[..., ::-1])
    rows, places = [], []
    lost = set(score(drawn, [replace(f, aside=False) for f in found]).missed)
    for i in result.missed:
        t = drawn.truth[i]
        places.append(("missed" if i in lost else "aside", *t.outline.mean(axis=0)))
        rows.append(f"  {t.diameter_px:6.1f} px  hidden {t.hidden:.2f}  seen {t.seen:.2f}")
    for j in result.false_rows:
        places.append(("extra", *np.asarray(found[j].outline).mean(axis=0)))
        rows.append("")
    lines = [f"{what:7}{x:6.0f}{y:6.0f}{row}" for (what, x, y), row in zip(places, rows, strict=True)]
    Path(f"{stem}.txt").write_text("\n".join([*lines, ""]))
    if places:
        cv2.imwrite(f"{stem}_faults.png", faults_sheet(drawn.pixels, marked, places)[..., ::-1])


def run(names: list[str], seeds: tuple[int, ...], width: int, keep: Path | None) -> None:
    """Print the table."""
    print(HEAD)
    totals = {"all tune": PastedScore(), "all held": PastedScore()}
    for name in names:
        total = PastedScore()
        for seed in seeds:
            total.add(one(name, seed, width, keep))
        totals["all held" if name in HELD else "all tune"].add(total)
        print(line(name, len(seeds), total), flush=True)
    for name, total in totals.items():
        if total.true:
            print(line(name, sum((n in HELD) == (name == "all held") for n in names) * len(seeds), total))


def main() -> None:
    """Read the options."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", default="tune", help="tune, report, or numbers with commas")
    parser.add_argument("--count", type=int, default=0, help="only the first of the seeds")
    parser.add_argument("--only", default="", help="look or looks with commas; 'tune' or 'held' for a half")
    parser.add_argument("--size", type=int, default=1200, help="width of the pictures, px")
    parser.add_argument("--keep", type=Path, help="folder for the pictures, overlays and lists of faults")
    args = parser.parse_args()
    if data_folder() is None:
        parser.error("set GRITLINE_DATA to the folder of real pictures")
    cv2.setNumThreads(1)
    sets = {"tune": TUNE_SEEDS, "report": REPORT_SEEDS}
    seeds = sets.get(args.seeds) or tuple(int(s) for s in args.seeds.split(","))
    halves = {"tune": [n for n in LOOKS if n not in HELD], "held": list(HELD), "": list(LOOKS)}
    names = halves.get(args.only) or args.only.split(",")
    if not set(names) <= set(LOOKS):
        parser.error(f"--only takes tune, held or some of {', '.join(LOOKS)}")
    if args.keep:
        args.keep.mkdir(parents=True, exist_ok=True)
    run(names, seeds[: args.count or None], args.size, args.keep)


if __name__ == "__main__":
    main()
