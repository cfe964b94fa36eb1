"""What the table of fields says of each field: keep or take again, and whether it agrees with its batch."""

from collections.abc import Sequence

import numpy as np

from measure.field.advice import FieldSummary, advise, fields_agree
from measure.model import FieldQuality
from measure.sizes.particle_table import MEETS_FRAME, Column, Table

ADVICE_COLUMNS: dict[str, Column] = {
    "median_um": Column("f", "µm", "number median of the counted pieces, x50,0"),
    "edge_share": Column("f", "1", "share of the pieces that meet the edge"),
    "advice": Column("s", "", "keep, look or retake"),
    "advice_reason": Column("s", "", "why, in words"),
    "odd_in_batch": Column(
        "s", "", "what is odd against the other fields of its batch; empty where nothing is"
    ),
}


def advice_cells(table: Table, quality: FieldQuality) -> dict:
    """Return the cells of one field; ``odd_in_batch`` stays empty until `with_agreement`.

    Parameters
    ----------
    table : Table
        Its particle table.
    quality : FieldQuality
    """
    reasons = table["set_aside_reason"]
    pieces = int(((reasons == "") | (reasons == MEETS_FRAME)).sum())
    at_frame = int((reasons == MEETS_FRAME).sum())
    advice = advise(quality, pieces, at_frame)
    sizes = np.asarray(table["area_equivalent_diameter_um"], float)[np.asarray(table["counted"]) == 1]
    return {
        "median_um": float(np.median(sizes)) if len(sizes) else float("nan"),
        "edge_share": advice.edge_share,
        "advice": advice.verdict,
        "advice_reason": advice.reason,
        "odd_in_batch": "",
        "log_spread": float(np.std(np.log(sizes))) if len(sizes) > 4 else float("nan"),
        "oil_brightness": float(np.mean(quality.oil_rgb)),
    }


def with_agreement(rows: Sequence[dict]) -> list[dict]:
    """Return the rows of the fields table with ``odd_in_batch`` filled in, batch by batch."""
    rows = [dict(row) for row in rows]
    for batch in dict.fromkeys(row["batch"] for row in rows):
        mine = [row for row in rows if row["batch"] == batch]
        summaries = [
            FieldSummary(
                str(place),
                row["counted"],
                row["median_um"],
                row["cover"],
                row["oil_brightness"],
                row["log_spread"],
            )
            for place, row in enumerate(mine)
        ]
        for place, words in fields_agree(summaries).odd.items():
            mine[int(place)]["odd_in_batch"] = words
    return rows
