"""Sum up judged fields of a condition and lay the sums out as text."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from accuracy_match import PASTE, Verdicts, volume_quantile

DOUBT_EDGES = np.array([0.0, 0.02, 0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 1.0001])
TRUTH_KINDS = (*PASTE, "bubble", "fibre")
FOUND_KINDS = (*PASTE, "other", "missed")
SIZE_RIGHT = 0.10  # a particle counts as right when kind and place are and the size within this


@dataclass(frozen=True)
class Line:
    """Figures of one condition; shares in %, errors in %."""

    name: str
    asked: int
    f1: float
    precision: float
    recall: float
    bias: float
    spread: float
    x50: float
    x90: float
    kinds: float
    aside: float
    seconds: float


def _percent(part: float, whole: float) -> float:
    return 100.0 * part / whole if whole else float("nan")


def _size_errors(fields: list[Verdicts]) -> np.ndarray:
    parts = [v.found_um[v.partner[v.hit]] / v.truth_um[v.hit] - 1.0 for v in fields]
    return 100.0 * np.concatenate(parts)


def _quantile_error(fields: list[Verdicts], share: float) -> float:
    """Error of x_{share,3} over all whole pieces above the limit, each side with its own kinds."""
    paste = [v.truth_inside & np.isin(v.truth_kind, PASTE) & (v.truth_um >= v.um_limit) for v in fields]
    kept = [v.counted & (v.found_um >= v.um_limit) for v in fields]
    true = volume_quantile(
        np.concatenate([v.truth_kind[p] for v, p in zip(fields, paste, strict=True)]),
        np.concatenate([v.truth_um[p] for v, p in zip(fields, paste, strict=True)]),
        share,
    )
    seen = volume_quantile(
        np.concatenate([v.found_kind[k] for v, k in zip(fields, kept, strict=True)]),
        np.concatenate([v.found_um[k] for v, k in zip(fields, kept, strict=True)]),
        share,
    )
    return 100.0 * (seen / true - 1.0)


def summed(name: str, fields: list[Verdicts]) -> Line:
    """Sum up the fields of a condition.

    The spread is the half width, about the median, that holds 90 % of the single-piece size errors.
    ``aside`` is the share of whole bubbles and fibres above the limit that are not counted as paste.
    """
    hits = sum(int(v.hit.sum()) for v in fields)
    asked = sum(int(v.asked.sum()) for v in fields)
    false = sum(int(v.false.sum()) for v in fields)
    errors = _size_errors(fields)
    bias = float(np.median(errors)) if errors.size else float("nan")
    spread = float(np.quantile(np.abs(errors - bias), 0.9)) if errors.size else float("nan")
    right = sum(int((v.found_kind[v.partner[v.hit]] == v.truth_kind[v.hit]).sum()) for v in fields)
    foreign = [v.truth_inside & ~np.isin(v.truth_kind, PASTE) & (v.truth_um >= v.um_limit) for v in fields]
    counted = [
        ((v.partner >= 0) & v.counted[v.partner])[f].sum() for v, f in zip(fields, foreign, strict=True)
    ]
    total = sum(int(f.sum()) for f in foreign)
    return Line(
        name=name,
        asked=asked,
        f1=_percent(2 * hits, asked + hits + false),
        precision=_percent(hits, hits + false),
        recall=_percent(hits, asked),
        bias=bias,
        spread=spread,
        x50=_quantile_error(fields, 0.5),
        x90=_quantile_error(fields, 0.9),
        kinds=_percent(right, hits),
        aside=_percent(total - sum(counted), total),
        seconds=float(np.mean([v.seconds for v in fields])),
    )


HEAD = (
    f"{'condition':<18}{'pieces':>7}{'F1':>7}{'prec.':>7}{'recall':>7}{'bias%':>7}{'spread':>7}"
    f"{'x50,3%':>8}{'x90,3%':>8}{'kinds%':>7}{'aside%':>7}{'s/field':>8}"
)


def line_text(line: Line) -> str:
    """Return one row of the table."""
    return (
        f"{line.name:<18}{line.asked:>7d}{line.f1:>7.1f}{line.precision:>7.1f}{line.recall:>7.1f}{line.bias:>7.2f}"
        f"{line.spread:>7.2f}{line.x50:>8.2f}{line.x90:>8.2f}{line.kinds:>7.1f}{line.aside:>7.1f}{line.seconds:>8.2f}"
    )


def confusion_text(fields: list[Verdicts]) -> str:
    """Return how each true kind was tagged; pieces asked for, and whole bubbles and fibres."""
    table = np.zeros((len(TRUTH_KINDS), len(FOUND_KINDS)), dtype=int)
    for v in fields:
        wanted = v.asked | (v.truth_inside & ~np.isin(v.truth_kind, PASTE) & (v.truth_um >= v.um_limit))
        for i in np.flatnonzero(wanted):
            tag = v.found_kind[v.partner[i]] if v.partner[i] >= 0 else "missed"
            table[TRUTH_KINDS.index(v.truth_kind[i]), FOUND_KINDS.index(tag)] += 1
    rows = [f"{'true kind':<12}" + "".join(f"{k:>8}" for k in FOUND_KINDS)]
    rows += [f"{k:<12}" + "".join(f"{n:>8d}" for n in row) for k, row in zip(TRUTH_KINDS, table, strict=True)]
    return "\n".join(rows)


def _rightness(v: Verdicts) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return which found ones are judged, which are right as a whole, which have the right kind."""
    judged = v.counted & v.large
    owned = v.found_owner >= 0
    owner = np.maximum(v.found_owner, 0)
    kind_right = owned & (v.truth_kind[owner] == v.found_kind) if len(v.truth_kind) else owned
    whole = owned & v.truth_inside[owner] if len(v.truth_kind) else owned
    size_right = np.abs(v.found_um / v.truth_um[owner] - 1.0) <= SIZE_RIGHT if len(v.truth_kind) else owned
    return judged, kind_right & whole & size_right, kind_right


def reliability_text(fields: list[Verdicts]) -> str:
    """Return, for bins of doubt, how many counted particles were right (place, kind, size within 10 %)."""
    parts = [_rightness(v) for v in fields]
    judged = np.concatenate([p[0] for p in parts])
    right = np.concatenate([p[1] for p in parts])[judged]
    kind_right = np.concatenate([p[2] for p in parts])[judged]
    owned = np.concatenate([v.found_owner >= 0 for v in fields])[judged]
    doubt = np.concatenate([v.doubt for v in fields])[judged]
    kind_doubt = np.concatenate([v.kind_doubt for v in fields])[judged]
    rows = [f"{'doubt':<14}{'particles':>10}{'right %':>9}   {'kind doubt':<14}{'matched':>9}{'kind %':>9}"]
    spans = [(a, b, f"{a:.2f} - {min(b, 1):.2f}") for a, b in pairwise(DOUBT_EDGES)]
    for low, high, text in [*spans, (0.0, 0.1, "below 0.10")]:
        here = (doubt >= low) & (doubt < high)
        kinds = (kind_doubt >= low) & (kind_doubt < high) & owned
        rows.append(
            f"{text:<14}{here.sum():>10d}{_percent(right[here].sum(), here.sum()):>9.1f}   "
            f"{text:<14}{kinds.sum():>9d}{_percent(kind_right[kinds].sum(), kinds.sum()):>9.1f}"
        )
    return "\n".join(rows)
