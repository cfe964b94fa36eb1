"""The figures of each batch as a table: one row a figure, with its interval and lower limit."""

import math

import numpy as np

from measure.output.run_sizes import Sizes
from measure.sizes.particle_table import Column, Table

SIZES_COLUMNS: dict[str, Column] = {
    "batch": Column("s", "", "name of the batch"),
    "figure": Column("s", "", "name of the figure"),
    "value": Column("f", "", "its value, in the unit beside"),
    "low": Column("f", "", "lower end of the 95 % interval"),
    "high": Column("f", "", "upper end of the 95 % interval"),
    "unit": Column("s", "", "µm, or 1 for a ratio or share"),
    "pieces": Column("f", "", "pieces counted"),
    "fields": Column("i", "", "fields looked at"),
    "smallest_um": Column("f", "µm", "lower size limit the figure holds for"),
    "interval_basis": Column("s", "", "what the interval compares"),
    "verdict": Column("s", "", "not felt, borderline, felt or undecided"),
}
_UNITLESS = ("span", "number.geometric_sd", "felt.share")


def sizes_table(sizes: dict[str, Sizes]) -> Table:
    """Return every figure of every batch."""
    rows = []
    for batch, found in sizes.items():
        s = found.summary
        for name, value in s.values.items():
            low, high = s.interval(name)
            unit = "1" if name in _UNITLESS else "µm"
            rows.append(
                (batch, name, value, low, high, unit, s.pieces, s.fields, s.smallest_um, s.basis,
                 found.verdict.word)
            )  # fmt: skip
    return {
        name: np.array(
            [_cell(row[place], column.type) for row in rows],
            dtype={"s": object, "i": np.int64, "f": np.float64}[column.type],
        )
        for place, (name, column) in enumerate(SIZES_COLUMNS.items())
    }


def _cell(value: object, letter: str) -> object:
    return math.nan if letter == "f" and value is None else value
