"""Set what was found against the truth, one to one, by the overlap of outlines."""

from collections import Counter
from dataclasses import dataclass, field, fields

import numpy as np
from scipy.optimize import linear_sum_assignment
from shapely import STRtree, union_all
from shapely.geometry import Polygon

from .body import CLEAR
from .draw import Drawn, Truth

AGREE = 0.5  # least intersection over union
COVERED = 0.5  # a find with this share of its area on pieces nobody is asked about is not false


@dataclass(frozen=True)
class Found:
    """One found piece as the program tells it."""

    outline: np.ndarray
    kind: str
    aside: bool  # set aside, or cut by the frame: kept, not counted


@dataclass
class Score:
    """Sums over pictures of one look; ``errors`` are relative errors of the diameter of matched pieces."""

    true: int = 0
    right: int = 0
    false: int = 0
    kinds_asked: int = 0
    kinds_right: int = 0
    mistaken: Counter = field(default_factory=Counter)
    overlaps: list[float] = field(default_factory=list)  # intersection over union of the matched
    marked: int = 0  # bubbles and fibres that could be judged
    marked_found: int = 0
    marked_aside: int = 0
    marked_counted: int = 0
    errors: list[float] = field(default_factory=list)
    seconds: float = 0.0
    missed: list[int] = field(default_factory=list)  # rows of the truth
    false_rows: list[int] = field(default_factory=list)  # rows of the found

    def add(self, other: "Score") -> None:
        """Take in another picture."""
        for item in fields(self):
            if item.name not in ("missed", "false_rows"):  # rows of one picture
                setattr(self, item.name, getattr(self, item.name) + getattr(other, item.name))

    @property
    def recall(self) -> float:
        """Share of the true pieces that were found."""
        return self.right / self.true if self.true else np.nan

    @property
    def precision(self) -> float:
        """Share of right ones among those found."""
        return self.right / (self.right + self.false) if self.right + self.false else np.nan

    @property
    def f1(self) -> float:
        """Harmonic mean of the two."""
        total = 2 * self.right + self.false + self.true - self.right
        return 2 * self.right / total if total else np.nan


def _valid(outline: np.ndarray) -> Polygon:
    return Polygon(outline).buffer(0)


def pairs(true: list[Polygon], found: list[Polygon]) -> dict[int, tuple[int, float]]:
    """Match one to one so that the sum of the overlaps is largest; row of the truth: row found, overlap."""
    if not true or not found:
        return {}
    tree = STRtree(found)
    table = np.zeros((len(true), len(found)))
    for i, shape in enumerate(true):
        for j in tree.query(shape, "intersects"):
            common = shape.intersection(found[j]).area
            table[i, j] = common / (shape.area + found[j].area - common)
    table[table < AGREE] = 0.0
    rows, cols = linear_sum_assignment(-table)
    return {int(i): (int(j), float(table[i, j])) for i, j in zip(rows, cols, strict=True) if table[i, j] > 0}


def score(drawn: Drawn, found: list[Found]) -> Score:
    """Score one picture.

    Pieces nobody is asked about (``fair`` set), bubbles and fibres are neither missed nor make a find false.
    A find is false when it is counted, at or above the lower limit, unmatched and lies mostly elsewhere; so
    is a bubble or fibre that was counted as a piece.
    """
    result = Score()
    shapes = [_valid(f.outline) for f in found]
    true = [_valid(t.outline) for t in drawn.truth]
    match = pairs(true, shapes)
    owner = {j: i for i, (j, _) in match.items()}
    for i, piece in enumerate(drawn.truth):
        row, overlap = match.get(i, (-1, 0.0))
        got = found[row] if row >= 0 else None
        if piece.mark:
            _mark(result, piece, got)
        elif not piece.fair:
            _piece(result, i, piece, got)
            if got is not None and not got.aside:
                result.overlaps.append(overlap)
                result.errors.append(_diameter(shapes[row]) / piece.diameter_px - 1.0)
    ignored = _not_asked(drawn, true)
    for j, (item, shape) in enumerate(zip(found, shapes, strict=True)):
        if item.aside or _diameter(shape) < drawn.limit_px:
            continue
        alone = j not in owner and shape.intersection(ignored).area < COVERED * shape.area
        wrong = j in owner and bool(drawn.truth[owner[j]].mark) and not drawn.truth[owner[j]].fair
        if alone or wrong:
            result.false += 1
            result.false_rows.append(j)
    return result


def _diameter(shape: Polygon) -> float:
    return float(np.sqrt(4.0 * shape.area / np.pi))


def _not_asked(drawn: Drawn, true: list[Polygon]) -> Polygon:
    """Ground nobody is asked about, as far as its blur reaches."""
    parts = [
        shape.buffer(2.0 * piece.blur_px if piece.fair else 2.0)
        for shape, piece in zip(true, drawn.truth, strict=True)
        if piece.fair or piece.mark
    ]
    return union_all(parts or [Polygon()])


def _piece(result: Score, row: int, piece: Truth, got: Found | None) -> None:
    result.true += 1
    if got is None or got.aside:
        result.missed.append(row)
        return
    result.right += 1
    if piece.kind == CLEAR:
        return
    result.kinds_asked += 1
    result.kinds_right += got.kind == piece.kind
    if got.kind != piece.kind:
        result.mistaken[f"{piece.kind} as {got.kind}"] += 1


def _mark(result: Score, piece: Truth, got: Found | None) -> None:
    if piece.fair:
        return
    result.marked += 1
    if got is not None:
        result.marked_found += 1
        result.marked_aside += got.aside
        result.marked_counted += not got.aside
