"""What a particle table says about which rows count, their fields, kinds and limits."""

import math
from collections.abc import Mapping, Sequence

import numpy as np

from measure.model import KINDS

Columns = Mapping[str, np.ndarray]
DIAMETER = "area_equivalent_diameter_um"


def counted_rows(columns: Columns) -> tuple[np.ndarray, dict[str, int]]:
    """Return the mask of rows in the figures and the number left out by reason."""
    keep = np.ones(len(columns[DIAMETER]), dtype=bool)
    left: dict[str, int] = {}
    if "counted" in columns:
        keep &= np.asarray(columns["counted"], dtype=float) > 0
        left = _reasons(columns, ~keep)
    elif "touches_frame" in columns:
        on_frame = np.asarray(columns["touches_frame"], dtype=float) > 0
        keep &= ~on_frame
        left["meets the frame"] = int(on_frame.sum())
    for name, reason in (("count", "with a count of 0"), ("frame_weight", "with a frame weight of 0")):
        if name in columns:
            empty = keep & (np.asarray(columns[name], dtype=float) == 0)
            left[reason] = int(empty.sum())
            keep &= ~empty
    return keep, {reason: number for reason, number in left.items() if number}


def _reasons(columns: Columns, out: np.ndarray) -> dict[str, int]:
    if "set_aside_reason" not in columns:
        return {"marked as not counted": int(out.sum())}
    words, numbers = np.unique(np.asarray(columns["set_aside_reason"])[out].astype(str), return_counts=True)
    return {(w or "marked as not counted"): int(n) for w, n in zip(words, numbers, strict=True)}


def field_codes(
    columns: Columns, keep: np.ndarray, field_names: Sequence[str] | None
) -> tuple[np.ndarray, tuple[str, ...], bool]:
    """Return field codes of the kept rows, all field names, and whether the table named fields.

    Fields of different batches are different even where their names agree.
    """
    if "field" not in columns:
        return np.zeros(int(keep.sum()), dtype=int), tuple(field_names or ("all rows",)), False
    # fields all of whose rows are left out were still looked at, so they stay fields
    labels = np.asarray(columns["field"]).astype(str)
    if "batch" in columns:
        batch = np.asarray(columns["batch"]).astype(str)
        if len(set(batch.tolist())) > 1:
            labels = np.char.add(np.char.add(batch, " / "), labels)
    names, codes = np.unique(labels, return_inverse=True)
    every = list(names.tolist())
    if field_names is not None:
        every += [n for n in field_names if n not in set(every)]
    return codes[keep].astype(int), tuple(every), True


def kind_codes(columns: Columns, keep: np.ndarray) -> tuple[np.ndarray | None, tuple[str, ...]]:
    """Return kind codes of the kept rows (None without such a column) and notes about unknown kinds."""
    if "kind" not in columns:
        return None, ()
    words, codes = np.unique(np.asarray(columns["kind"])[keep].astype(str), return_inverse=True)
    known = {k.value: i for i, k in enumerate(KINDS)}
    other = len(KINDS) - 1
    table = np.array([known.get(w.strip().lower(), other) for w in words.tolist()], dtype=int)
    strange = [w for w in words.tolist() if w.strip().lower() not in known]
    if not strange:
        return (table[codes] if len(table) else np.zeros(0, dtype=int)), ()
    named = ", ".join(f"'{w}'" for w in strange[:5])
    return table[codes], (f"Kinds this program does not know ({named}) are taken as 'other'.",)


def batch_note(columns: Columns, keep: np.ndarray) -> tuple[str, ...]:
    """Return a note when the kept rows come from several batches."""
    if "batch" not in columns:
        return ()
    names = np.unique(np.asarray(columns["batch"])[keep].astype(str)).tolist()
    if len(names) < 2:
        return ()
    shown = ", ".join(names[:5]) + (", ..." if len(names) > 5 else "")
    return (f"The table holds {len(names)} batches ({shown}), taken together here as if they were one.",)


def table_scale(columns: Columns) -> float:
    """Return the relative standard uncertainty of the scale the table carries, the largest where several."""
    values = np.asarray(columns.get("scale_relative_uncertainty", ()), dtype=float)
    values = values[np.isfinite(values)]
    return float(values.max()) if values.size else 0.0


def table_limit(columns: Columns, diameter_um: np.ndarray, smallest_um: float | None) -> tuple[float, str]:
    """Return the lower limit to use (nan without rows) and a note where it had to be guessed."""
    own = np.asarray(columns.get("smallest_um", ()), dtype=float)
    own = own[np.isfinite(own) & (own > 0)]
    table = float(own.max()) if own.size else math.nan
    if smallest_um is not None:
        if math.isfinite(table) and smallest_um < table:
            return table, (
                f"The table was measured down to {table:g} µm, so the lower limit is that, not "
                f"{smallest_um:g} µm."
            )
        return float(smallest_um), ""
    if math.isfinite(table):
        return table, ""
    if len(diameter_um) == 0:
        return math.nan, ""
    low = float(diameter_um.min())
    return (
        low,
        f"No lower limit was given; the smallest size in the table, {low:.3g} µm, is taken as the limit.",
    )
