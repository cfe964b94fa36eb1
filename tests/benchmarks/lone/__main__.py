"""How often lone pieces are cut in parts, and pieces that touch are left whole.

    python -m tests.benchmarks.lone                    the figures to report, seeds 0 to 9
    python -m tests.benchmarks.lone --seeds 100-124    for tuning; seeds below 100 are for reporting only

F1 at 1.25 times the lower limit and an overlap (intersection over union) of one half. "cut": pieces with two
or more counted outlines that lie mostly in them; "merged": pieces most of which lies in an outline with
most of another.
"""

import argparse
from collections import Counter, defaultdict

import cv2
import numpy as np

from measure.field.basics.masks import drawn
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

from .draw import Piece, draw
from .matter import SORTS

_LIMIT_FACTOR, _LEAST_OVERLAP, _MOST = 1.25, 0.5, 0.6
_HEAD = f"{'sort':12}{'':10}{'pieces':>7}{'missed':>8}{'false':>7}{'cut':>5}{'merged':>8}{'F1':>7}"

Counts = dict[tuple[str, bool], Counter]


def judged(seed: int) -> Counts:
    """Draw and measure a field; what was counted of each sort, lone and touching."""
    pixels, pieces = draw(seed)
    result = measure_field(Picture(pixels, name=f"lone {seed}"), FieldSettings(), 1.0)
    particles, limit = result.particles, _LIMIT_FACTOR * result.smallest_px
    owner = np.full(pixels.shape[:2], -1, np.int32)
    for i, piece in enumerate(pieces):
        rows, columns = piece.mask.shape
        owner[piece.top : piece.top + rows, piece.left : piece.left + columns][piece.mask] = i
    area = np.array([np.count_nonzero(piece.mask) for piece in pieces])
    hit, parts, merged = np.zeros(len(pieces), bool), np.zeros(len(pieces), int), np.zeros(len(pieces), bool)
    counts: Counts = defaultdict(Counter)
    counted = (particles["set_aside"] == "") & (particles.diameter_px >= result.smallest_px)
    for k in np.flatnonzero(counted):
        mask = drawn(particles.outlines[k], owner.shape)
        inside = np.bincount(owner[(mask > 0) & (owner >= 0)], minlength=len(pieces))
        i, large = int(inside.argmax()), particles.diameter_px[k] >= limit
        right = 2 * inside[i] >= cv2.countNonZero(mask) + area[i] - inside[i] and not hit[i]
        hit[i] |= right
        counts[_row(pieces[i])]["false"] += bool(large and not right)
        parts[i] += large and 2 * inside[i] > cv2.countNonZero(mask)
        covered = inside > _MOST * area
        merged |= covered & (np.count_nonzero(covered) > 1)
    for i, piece in enumerate(pieces):
        if piece.diameter_px >= limit:
            own = {"asked": 1, "hit": hit[i], "cut": parts[i] > 1, "merged": merged[i]}
            counts[_row(piece)].update({what: int(value) for what, value in own.items()})
    return counts


def _row(piece: Piece) -> tuple[str, bool]:
    return piece.sort, piece.together > 1


def line(name: str, touching: str, counts: Counter) -> str:
    """One line of the table."""
    asked, hit, false = counts["asked"], counts["hit"], counts["false"]
    return (
        f"{name:12}{touching:10}{asked:7d}{asked - hit:8d}{false:7d}{counts['cut']:5d}{counts['merged']:8d}"
        f"{200 * hit / max(1, asked + hit + false):7.1f}"
    )


def main() -> None:
    """Read the options and print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", default="0-9", help="first and last")
    first, last = map(int, parser.parse_args().seeds.split("-"))
    cv2.setNumThreads(1)
    total: Counts = defaultdict(Counter)
    for seed in range(first, last + 1):
        for row, counts in judged(seed).items():
            total[row].update(counts)
    print(_HEAD)
    for touching, words in ((False, "lone"), (True, "touching")):
        for sort in SORTS:
            print(line(sort, words, total[sort, touching]))
        print(line("all", words, sum((total[sort, touching] for sort in SORTS), Counter())))
    print(line("all", "", sum(total.values(), Counter())))


if __name__ == "__main__":
    main()
