"""How well particles in electron micrographs are found.

    python -m tests.benchmarks.micrographs --seeds tune                  looks for tuning, four seeds each
    python -m tests.benchmarks.micrographs --seeds report                the figures to report, held looks too
    python -m tests.benchmarks.micrographs --seeds tune --only discs,web --show FOLDER

F1 at 1.25 times the lower limit and an overlap (intersection over union) of one half, one to one. Where a
piece hides another, what is seen of it is asked for, if that is half of it or more. "merged": pieces missed
that lie mostly in an outline with most of another; "split": missed, two or more outlines lying mostly in it.
Nobody looks at report seeds or held looks.
"""

import time
from pathlib import Path

import numpy as np
from shapely import union_all
from shapely.geometry import Polygon

from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture
from tests.benchmarks.judging import diameter_px, outline_of_mask, run, why_missed, write_marked
from tests.benchmarks.other_hand.match import COVERED, pairs

from .draw import draw
from .looks import HELD, LOOKS

_LIMIT_FACTOR = 1.25
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
    true = [outline_of_mask(piece.mask) for piece in pieces]
    match = pairs(true, found)
    owner = {j: i for i, (j, _) in match.items()}
    wanted = [piece.asked and diameter_px(shape) >= limit for piece, shape in zip(pieces, true, strict=True)]
    missed = [i for i, asked in enumerate(wanted) if asked and i not in match]
    unasked = union_all(
        [s.buffer(1) for s, asked in zip(true, wanted, strict=True) if not asked] or [Polygon()]
    )
    false = [
        j
        for j, shape in enumerate(found)
        if j not in owner
        and diameter_px(shape) >= limit
        and shape.intersection(unasked).area < COVERED * shape.area
    ]
    whys = [why_missed(true, found, i) for i in missed]
    if show is not None:
        write_marked(
            pixels, [true[i] for i in missed], [found[j] for j in false], found, show / f"{name} {seed}.png"
        )
    return {
        "asked": [sum(wanted)],
        "hit": [sum(asked and i in match for i, asked in enumerate(wanted))],
        "false": [len(false)],
        "merged": [whys.count("merged")],
        "split": [whys.count("split")],
        "errors": [
            100 * (diameter_px(found[j]) / diameter_px(true[i]) - 1)
            for i, (j, _) in match.items()
            if wanted[i]
        ],
        "seconds": [seconds],
    }


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


if __name__ == "__main__":
    run(__doc__, [*LOOKS], [*HELD], _SEEDS, judged, _HEAD, line)
