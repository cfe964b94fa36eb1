"""How well ragged, mottled pieces and faint crystals are found, none of which lies over another.

    python -m tests.benchmarks.ragged                    every look, two seeds each
    python -m tests.benchmarks.ragged --only "plain,dark plate" --seeds 3,4

Light comes from below, and with the looks of `plate.py` from above on a dark, grey or white plate.

F1 at 1.25 times the lower limit and an overlap (intersection over union) of one half. Kernels are drawn thin
towards their edge, which lies at half contrast by the program's rule, so they come out smaller than drawn.
"""

import argparse
import time

import cv2
import numpy as np

from measure.field.pipeline import measure_field
from measure.model import KINDS, FieldSettings, Picture

from .draw import LOOKS, draw
from .plate import PLATES, draw_plate

_HEAD = (
    f"{'look':16}{'seeds':>6}{'asked':>7}{'missed':>8}{'false':>7}{'F1':>7}"
    f"{'kernels %':>11}{'skins %':>9}{'salt %':>8}{'kinds %':>9}{'s':>6}"
)
_LIMIT_FACTOR, _LEAST_OVERLAP = 1.25, 0.5


def judged(name: str, seed: int) -> dict[str, list]:
    """Draw and measure a field; what was asked, missed, false, size errors by kind, kinds right, seconds."""
    from_above = name in PLATES
    grey = (PLATES if from_above else LOOKS)[name].grey
    pixels, pieces = draw_plate(PLATES[name], seed) if from_above else draw(LOOKS[name], seed)
    start = time.process_time()
    result = measure_field(Picture(pixels, name=name, grey=grey), FieldSettings(), 1.0)
    seconds = time.process_time() - start
    owner = np.full(pixels.shape[:2], -1, np.int32)
    for i, piece in enumerate(pieces):
        rows, cols = piece.mask.shape
        owner[piece.top : piece.top + rows, piece.left : piece.left + cols][piece.mask] = i
    area = np.array([piece.mask.sum() for piece in pieces])
    limit = _LIMIT_FACTOR * result.smallest_px
    asked = np.sqrt(4 * area / np.pi) >= limit
    hit = np.zeros(len(pieces), bool)
    out: dict[str, list] = {key: [] for key in ("false", "kinds", *map(str, KINDS))}
    particles = result.particles
    for k in np.flatnonzero((particles["set_aside"] == "") & (particles.diameter_px >= result.smallest_px)):
        i, overlap = _best(particles.outlines[k], owner, area)
        if overlap >= _LEAST_OVERLAP:
            hit[i] = True
            true_px = float(np.sqrt(4 * area[i] / np.pi))
            out[pieces[i].kind].append(100 * (particles.diameter_px[k] / true_px - 1))
            out["kinds"].append(str(KINDS[particles["kind"][k]]) == pieces[i].kind)
        elif particles.diameter_px[k] >= limit:
            out["false"].append(k)
    return out | {"asked": [int(asked.sum())], "hit": [int((hit & asked).sum())], "seconds": [seconds]}


def _best(outline: np.ndarray, owner: np.ndarray, area: np.ndarray) -> tuple[int, float]:
    """The piece an outline covers most, and their intersection over union."""
    mask = np.zeros(owner.shape, np.uint8)
    cv2.fillPoly(mask, [np.round((outline - 0.5) * 16).astype(np.int32)], 1, shift=4)
    under = owner[mask > 0]
    shared = np.bincount(under[under >= 0], minlength=len(area))
    i = int(shared.argmax())
    return i, float(shared[i] / (cv2.countNonZero(mask) + area[i] - shared[i]))


def line(name: str, fields: list[dict[str, list]]) -> str:
    """One line of the table."""
    total = {key: [value for field in fields for value in field[key]] for key in fields[0]}
    asked, hit, false = sum(total["asked"]), sum(total["hit"]), len(total["false"])
    f1 = 100 * 2 * hit / max(1, asked + hit + false)
    sizes = "".join(
        f"{np.median(total[kind]) if total[kind] else np.nan:{wide}.1f}"
        for kind, wide in (("kernel", 11), ("skin", 9), ("salt", 8))
    )
    return (
        f"{name:16}{len(fields):6d}{asked:7d}{asked - hit:8d}{false:7d}{f1:7.1f}{sizes}"
        f"{100 * np.mean(total['kinds']):9.1f}{np.mean(total['seconds']):6.1f}"
    )


def main() -> None:
    """Read the options and print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", default="1,7", help="numbers with commas")
    parser.add_argument("--only", default=",".join((*LOOKS, *PLATES)), help="look or looks with commas")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    print(_HEAD)
    for name in options.only.split(","):
        print(line(name, [judged(name, int(seed)) for seed in options.seeds.split(",")]), flush=True)


if __name__ == "__main__":
    main()
