"""Uncertainty budget of a figure: how much comes from where, after JCGM 100."""

import math
from typing import NamedTuple

from measure.sizes.intervals import Uncertainty


class BudgetRow(NamedTuple):
    """One source of uncertainty.

    Attributes
    ----------
    source : str
        In plain words.
    relative : float
        Relative standard uncertainty it gives the figure (a share's: on its angle).
    share : float
        Its part of the variance, 0..1.
    remedy : str
        What makes it smaller.
    """

    source: str
    relative: float
    share: float
    remedy: str


def budget(u: Uncertainty, *, between_fields: bool = True) -> tuple[BudgetRow, ...]:
    """Return the budget of one figure, largest part first; empty where the figure has no interval.

    Examples
    --------
    >>> rows = budget(Uncertainty(9.0, 11.0, fields=0.04, unseen=0.0, scale=0.03, edge=0.0))
    >>> [(row.source, round(row.share, 2)) for row in rows][:2]
    [('differences between fields', 0.64), ('scale', 0.36)]
    """
    if not math.isfinite(u.fields):
        return ()
    drawn = "differences between fields" if between_fields else "chance of the pieces in the field"
    parts: tuple[tuple[str, float, str], ...] = (
        (drawn, u.fields, "more fields" if between_fields else "more fields, and more pieces"),
        ("coarse pieces not seen", u.unseen, "more pieces"),
        ("scale", u.scale, "a better calibrated stage micrometer, or more of its length"),
        ("edge of each piece", u.edge, "sharper pictures, or a higher magnification"),
    )
    if u.limit > 0:
        parts += (("limit of the panel", u.limit, "more answers of the panel near its limit"),)
    total = sum(value**2 for _, value, _ in parts)
    rows = [BudgetRow(s, v, v**2 / total if total > 0 else 0.0, remedy) for s, v, remedy in parts]
    return tuple(sorted(rows, key=lambda row: -row.share))


def combined(u: Uncertainty) -> float:
    """Return the combined relative standard uncertainty of a figure; nan without an interval."""
    return math.sqrt(u.fields**2 + u.unseen**2 + u.scale**2 + u.edge**2 + u.limit**2)
