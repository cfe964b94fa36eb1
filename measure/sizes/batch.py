"""The fields of one batch as one sample, two zooms merged where it was photographed at two."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from measure.errors import InvalidInput
from measure.model import Scale
from measure.scale.optics import smallest_resolved_um
from measure.sizes.merge import merge_zooms
from measure.sizes.sample import SizeSample, sample_from_table

# two scales nearer than this are one zoom calibrated twice
ZOOM_RATIO = 1.25


@dataclass(frozen=True)
class FieldTable:
    """One measured field: its particle table, its scale and its name.

    ``other_size`` says that its picture is not of the size its scale was made at; ``na`` is the numerical
    aperture of its objective, where known.
    """

    name: str
    table: Mapping[str, np.ndarray]
    scale: Scale
    other_size: bool = False
    na: float | None = None


def batch_sample(fields: Sequence[FieldTable]) -> SizeSample:
    """Return the counted pieces of a batch.

    Parameters
    ----------
    fields : sequence of FieldTable
        Measured fields, those without pieces included; their names must differ.

    Returns
    -------
    SizeSample
        ``row`` counts on over the fields' tables put after one another. Two clearly different scales are
        merged
        (`measure.sizes.merge`); where that cannot be done, all pieces are taken together and a note says why.
    """
    sample = _sample(fields)
    doubted = [field.name.rsplit(" (", 1)[0] for field in fields if field.other_size]
    if not doubted or not len(sample):
        return sample
    names = ", ".join(doubted[:3]) + (f" and {len(doubted) - 3} more" if len(doubted) > 3 else "")
    are = "1 field is" if len(doubted) == 1 else f"{len(doubted)} fields are"
    caution = (
        f"{are} not of the picture size the scale was made at, so every length there may be wrong: {names}. "
        "Give a scale made at that size."
    )
    return replace(sample, cautions=(*sample.cautions, caution))


def _sample(fields: Sequence[FieldTable]) -> SizeSample:
    zooms = _zooms(fields)
    if len(zooms) == 2:
        fine, coarse = (_together(fields, places) for places in zooms)
        try:
            return merge_zooms(fine, coarse).sample
        except InvalidInput as error:
            note = f"The two zooms are taken together as they are. {error.text}"
            whole = _together(fields, range(len(fields)))
            return replace(whole, notes=(*whole.notes, note))
    whole = _together(fields, range(len(fields)))
    if len(zooms) > 2:
        note = "More than two zooms are taken together as they are; only two can be matched."
        return replace(whole, notes=(*whole.notes, note))
    return whole


def _zooms(fields: Sequence[FieldTable]) -> list[list[int]]:
    """Return the places of the fields of each zoom, the closest first."""
    order = sorted(range(len(fields)), key=lambda i: fields[i].scale.um_per_px)
    groups: list[list[int]] = []
    for place in order:
        first = fields[groups[-1][0]].scale.um_per_px if groups else 0.0
        if groups and fields[place].scale.um_per_px < ZOOM_RATIO * first:
            groups[-1].append(place)
        else:
            groups.append([place])
    return [sorted(group) for group in groups]


def _together(fields: Sequence[FieldTable], places: Sequence[int]) -> SizeSample:
    names = [fields[i].name for i in places]
    starts = np.cumsum([0, *(len(f.table["particle"]) for f in fields)])
    columns = {
        name: np.concatenate([np.asarray(fields[i].table[name]) for i in places])
        for name in (fields[0].table if fields else ())
        if name not in ("batch", "field")
    }
    if not columns:
        return sample_from_table({"area_equivalent_diameter_um": np.zeros(0)}, field_names=names)
    columns["field"] = np.concatenate(
        [np.full(len(fields[i].table["particle"]), fields[i].name, dtype=object) for i in places]
    )
    rows = np.concatenate([np.arange(starts[i], starts[i + 1]) for i in places])
    uncertainty = max((fields[i].scale.relative_uncertainty for i in places), default=0.0)
    sample = sample_from_table(columns, scale_relative_uncertainty=uncertainty, field_names=names)
    resolved = [smallest_resolved_um(na) for na in {fields[i].na for i in places} if na is not None]
    return replace(
        sample, row=rows[sample.row], fields_known=True, resolved_um=max(resolved, default=math.nan)
    )
