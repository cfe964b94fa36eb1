"""How well particles in electron micrographs are found.

    python -m tests.benchmarks.micrographs --seeds tune                  looks for tuning, four seeds each
    python -m tests.benchmarks.micrographs --seeds report                the figures to report, held looks too
    python -m tests.benchmarks.micrographs --seeds tune --only discs,web --show FOLDER

F1 at 1.25 times the lower limit and an overlap (intersection over union) of one half, one to one. Where a
piece hides another, what is seen of it is asked for, if that is half of it or more. "merged": pieces missed
that lie mostly in an outline with most of another; "split": missed, two or more outlines lying mostly in it.
Nobody looks at report seeds or held looks.
"""

import argparse
import time
from pathlib import Path

import cv2
import numpy as np
from shapely import STRtree, union_all
from shapely.geometry import Polygon
from skimage.measure import find_contours

from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture
from tests.benchmarks.other_hand.match import COVERED, pairs

from .draw import Piece, draw
from .looks import HELD, LOOKS

_LIMIT_FACTOR, _MOST = 1.25, 0.6
_SEEDS = {"tune": range(100, 104), "report": range(4)}
_HEAD = (
    f"{'look':16}{'fields':>7}{'asked':>7}{'missed':>8}{'false':>7}{'F1':>7}{'merged':>8}{'split':>7}"
    f"{'bias %':>8}{'s':>6}"
)


def judged(name: str, seed: int, show: Path | None = None) -> dict[str, list]:
    """Draw and measure a field; what was asked, hit, false, merged, split, size errors in %, seconds."""
    pixels, pieces = draw(name, seed)
    start = time.process_time()
    result = measure_field(Picture(pixels, name=f"{name} {seed}", grey=True), FieldSettings(), 1.0)
    seconds = time.process_time() - start
    particles, limit = result.particles, _LIMIT_FACTOR * result.smallest_px
    kept = (particles["set_aside"] == "") & (particles.diameter_px >= result.smallest_px)
    found = [Polygon(particles.outlines[k]).buffer(0) for k in np.flatnonzero(kept)]
    true = [_outline(piece) for piece in pieces]
    match = pairs(true, found)
    owner = {j: i for i, (j, _) in match.items()}
    wanted = [piece.asked and _wide(shape) >= limit for piece, shape in zip(pieces, true, strict=True)]
    missed = [i for i, asked in enumerate(wanted) if asked and i not in match]
    unasked = union_all(
        [s.buffer(1) for s, asked in zip(true, wanted, strict=True) if not asked] or [Polygon()]
    )
    false = [
        j
        for j, shape in enumerate(found)
        if j not in owner
        and _wide(shape) >= limit
        and shape.intersection(unasked).area < COVERED * shape.area
    ]
    whys = [_why(true, found, i) for i in missed]
    if show is not None:
        _shown(
            pixels, [true[i] for i in missed], [found[j] for j in false], found, show / f"{name} {seed}.png"
        )
    return {
        "asked": [sum(wanted)],
        "hit": [sum(asked and i in match for i, asked in enumerate(wanted))],
        "false": [len(false)],
        "merged": [whys.count("merged")],
        "split": [whys.count("split")],
        "errors": [100 * (_wide(found[j]) / _wide(true[i]) - 1) for i, (j, _) in match.items() if wanted[i]],
        "seconds": [seconds],
    }


def _outline(piece: Piece) -> Polygon:
    """The largest part of a mask, with holes filled."""
    lines = find_contours(np.pad(piece.mask, 1).astype(float), 0.5)
    parts = [Polygon(line[:, ::-1] - 0.5).buffer(0) for line in lines if len(line) > 3]
    return max(parts, key=lambda part: part.area, default=Polygon())


def _wide(shape: Polygon) -> float:
    return float(np.sqrt(4 * shape.area / np.pi))


def _why(true: list[Polygon], found: list[Polygon], i: int) -> str:
    """Why a piece was missed, as far as outlines tell it."""
    if not found:
        return ""
    near = [found[j] for j in STRtree(found).query(true[i], "intersects")]
    for shape in near:
        held = [t.intersection(shape).area > _MOST * t.area for t in true]
        if held[i] and sum(held) > 1:
            return "merged"
    inside = [s for s in near if s.intersection(true[i]).area > _MOST * s.area]
    return "split" if len(inside) > 1 else ""


def _shown(pixels: np.ndarray, missed: list, false: list, found: list, file: Path) -> None:
    """Twice the size; found green, missed red, false purple."""
    big = cv2.resize(pixels, None, fx=2, fy=2, interpolation=cv2.INTER_LINEAR)
    for shapes, colour in ((found, (0, 160, 0)), (false, (255, 0, 255)), (missed, (0, 0, 255))):
        for shape in shapes:
            for part in getattr(shape, "geoms", [shape]):
                points = [np.round(2 * np.array(part.exterior.coords)).astype(np.int32)]
                cv2.polylines(big, points, True, colour, 1, cv2.LINE_AA)
    file.parent.mkdir(parents=True, exist_ok=True)
    cv2.imwrite(str(file), big)


def line(name: str, fields: list[dict[str, list]]) -> str:
    """One line of the table."""
    total = {key: [value for field in fields for value in field[key]] for key in fields[0]}
    asked, hit, false, merged, split = (sum(total[k]) for k in ("asked", "hit", "false", "merged", "split"))
    bias = np.median(total["errors"]) if total["errors"] else np.nan
    return (
        f"{name:16}{len(fields):7d}{asked:7d}{asked - hit:8d}{false:7d}"
        f"{200 * hit / max(1, asked + hit + false):7.1f}{merged:8d}{split:7d}{bias:8.1f}"
        f"{np.mean(total['seconds']):6.1f}"
    )


def main() -> None:
    """Read the options and print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", choices=_SEEDS, default="tune")
    parser.add_argument("--only", help="look or looks with commas")
    parser.add_argument("--show", type=Path, help="folder for pictures of the faults, tune seeds only")
    options = parser.parse_args()
    report = options.seeds == "report"
    if report and options.show:
        parser.error("Report seeds are not looked at: leave out --show, or take --seeds tune.")
    names = options.only.split(",") if options.only else [*LOOKS, *(HELD if report else ())]
    if wrong := [n for n in names if n not in (LOOKS | HELD if report else LOOKS)]:
        parser.error(f"No look {', '.join(wrong)} with these seeds; there are {', '.join(LOOKS)}.")
    cv2.setNumThreads(1)
    print(_HEAD)
    every: dict[str, list[dict[str, list]]] = {"tuned": [], "held": []}
    for name in names:
        fields = [judged(name, seed, options.show) for seed in _SEEDS[options.seeds]]
        every["held" if name in HELD else "tuned"] += fields
        print(line(name, fields), flush=True)
    for words, fields in every.items():
        if fields:
            print(line(f"all {words}", fields))


if __name__ == "__main__":
    main()
