"""How well smears of ground food in oil are measured in photographs by cheap digital microscopes and phones.

    python -m tests.benchmarks.smears --seeds tune                       tuned looks, two seeds each
    python -m tests.benchmarks.smears --seeds report                     the figures to report, held looks too
    python -m tests.benchmarks.smears --seeds tune --only ring_dark,usb_plain --show FOLDER

Asked for is a piece within the frame, of 1.25 times the lower limit, of which half or more is seen, not too
soft and with an outline above the noise. A find is matched one to one at an overlap (intersection over union)
of one half. Dust of the grinding below the limit is neither missed nor false. "foreign": bubbles, droplets,
fibres, scratches, dust, words counted as pieces, which are false too. "merged": missed, mostly in an outline
with most of another; "split": missed, two or more outlines mostly in it. Kinds are asked of kernel, skin and
salt (sugar counts as salt). Nobody looks at report seeds or held looks.
"""

import time
import traceback
from pathlib import Path

import cv2
import numpy as np
from shapely.geometry import Polygon

from measure.field.pipeline import measure_field
from measure.model import KINDS, FieldSettings, Picture
from tests.benchmarks.judging import diameter_px, outline_of_mask, run, why_missed, write_marked
from tests.benchmarks.other_hand.match import COVERED, pairs

from .draw import LIMIT_PX, Drawn, draw
from .held import HELD
from .looks import LOOKS, REPORT_SEEDS, TUNE_SEEDS

_LIMIT_FACTOR = 1.25
_SEEDS = {"tune": TUNE_SEEDS, "report": REPORT_SEEDS}
_HEAD = (
    f"{'look':20}{'fields':>7}{'asked':>7}{'missed':>8}{'false':>7}{'F1':>7}{'merged':>8}{'split':>7}"
    f"{'bias %':>8}{'90 % spread':>14}{'kinds %':>9}{'foreign':>9}{'s':>6}"
)


def judged(name: str, seed: int, show: Path | None = None) -> dict[str, list]:
    """Draw and measure a field; what was asked, hit, false and so on, as sums and lists."""
    drawn = draw(name, seed)
    grey = bool((np.ptp(drawn.pixels.astype(int), axis=-1) == 0).all())
    start = time.process_time()
    found, codes, broken = _measured(Picture(drawn.pixels, name=f"{name} {seed}", grey=grey))
    seconds = time.process_time() - start
    limit = _LIMIT_FACTOR * LIMIT_PX
    true = [outline_of_mask(piece.mask, piece.col, piece.row) for piece in drawn.pieces]
    match = pairs(true, found)
    wanted = [p.asked and diameter_px(shape) >= limit for p, shape in zip(drawn.pieces, true, strict=True)]
    missed = [i for i, asked in enumerate(wanted) if asked and i not in match]
    false, foreign = _false(drawn, wanted, found, {j for j, _ in match.values()}, limit)
    if show is not None:
        write_marked(
            drawn.pixels[..., ::-1],
            [true[i] for i in missed],
            [found[j] for j in false],
            found,
            show / f"{name} {seed}.png",
        )
    hits = [(i, j) for i, (j, _) in match.items() if wanted[i]]
    kinds = [str(KINDS[codes[j]]) == drawn.pieces[i].kind for i, j in hits if drawn.pieces[i].kind != "other"]
    whys = [why_missed(true, found, i) for i in missed]
    return {
        "asked": [sum(wanted)],
        "hit": [len(hits)],
        "false": [len(false)],
        "merged": [whys.count("merged")],
        "split": [whys.count("split")],
        "errors": [100 * (diameter_px(found[j]) / diameter_px(true[i]) - 1) for i, j in hits],
        "kinds": kinds,
        "foreign": [foreign],
        "seconds": [seconds],
        "broken": [broken],
    }


def _measured(picture: Picture) -> tuple[list[Polygon], list[int], bool]:
    """Outlines and codes of kind of the pieces that are counted; a field that breaks off has none."""
    try:
        result = measure_field(picture, FieldSettings(), 1.0)
    except Exception:  # the table goes on, and says so
        traceback.print_exc()
        return [], [], True
    particles = result.particles
    kept = np.flatnonzero((particles["set_aside"] == "") & (particles.diameter_px >= LIMIT_PX))
    found = [Polygon(particles.outlines[k]).buffer(0) for k in kept]
    return found, [int(code) for code in particles["kind"][kept]], False


def _false(
    drawn: Drawn, wanted: list[bool], found: list[Polygon], owned: set[int], limit: float
) -> tuple[list[int], int]:
    """Finds that are false, and how many of them lie mostly on what is no piece."""
    free = cv2.dilate(drawn.fines.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    pieces = np.zeros_like(free)
    for piece, asked in zip(drawn.pieces, wanted, strict=True):
        pieces[piece.window()] |= piece.mask
        if not asked:
            reach = 2 * int(1 + abs(piece.blur_px)) + 1
            soft = cv2.dilate(np.pad(piece.mask, reach).astype(np.uint8), np.ones((reach, reach), np.uint8))
            window = piece.window()
            free[window] |= soft[reach:-reach, reach:-reach].astype(bool)
    alien = drawn.foreign & ~pieces
    false, foreign = [], 0
    for j, shape in enumerate(found):
        if j in owned or diameter_px(shape) < limit:
            continue
        inside = _filled(shape, free.shape)
        area = max(1, int(np.count_nonzero(inside)))
        if np.count_nonzero(free & inside) < COVERED * area:
            false.append(j)
            foreign += int(np.count_nonzero(alien & inside) >= COVERED * area)
    return false, foreign


def _filled(shape: Polygon, size: tuple[int, ...]) -> np.ndarray:
    mask = np.zeros(size, np.uint8)
    for part in getattr(shape, "geoms", [shape]):
        points = np.round((np.array(part.exterior.coords) - 0.5) * 16).astype(np.int32)
        cv2.fillPoly(mask, [points], 1, cv2.LINE_8, 4)
    return mask.astype(bool)


def line(name: str, fields: list[dict[str, list]]) -> str:
    """One line of the table."""
    total = {key: [value for one in fields for value in one[key]] for key in fields[0]}
    asked, hit, false, merged, split = (sum(total[k]) for k in ("asked", "hit", "false", "merged", "split"))
    low, bias, high = np.percentile(total["errors"], (5, 50, 95)) if total["errors"] else (np.nan,) * 3
    kinds = 100 * np.mean(total["kinds"]) if total["kinds"] else np.nan
    between = f"{low:.1f}..{high:.1f}"
    return (
        f"{name:20}{len(fields):7d}{asked:7d}{asked - hit:8d}{false:7d}"
        f"{200 * hit / max(1, asked + hit + false):7.1f}{merged:8d}{split:7d}{bias:8.1f}"
        f"{between:>14}{kinds:9.1f}{sum(total['foreign']):9d}{np.mean(total['seconds']):6.1f}"
        + (f"  broke off: {broken}" if (broken := sum(total["broken"])) else "")
    )


if __name__ == "__main__":
    run(__doc__, [*LOOKS], [*HELD], _SEEDS, judged, _HEAD, line)
