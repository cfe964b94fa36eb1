"""The pieces behind a size distribution: one frozen record every other module of this room reads."""

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from measure.errors import InvalidInput
from measure.model import KINDS, Kind
from measure.sizes.volume import VolumeModels

DIAMETER = "area_equivalent_diameter_um"


@dataclass(frozen=True)
class ZoomMatch:
    """How the fields of the closer zoom are brought to the number scale of the wider one.

    Attributes
    ----------
    fine_field : (F,) ndarray of bool
        Fields taken at the closer zoom.
    overlap : (F,) ndarray of float
        Weighted pieces of each field in the overlap of sizes, with which the two are matched.
    factor : float
        What each piece of the closer zoom stands for on the wider one's number scale.
    """

    fine_field: np.ndarray
    overlap: np.ndarray
    factor: float


@dataclass(frozen=True)
class SizeSample:
    """K pieces of one batch, or of one kind in it. Never mutated.

    Attributes
    ----------
    diameter_um : (K,) ndarray
        Area-equivalent diameter x_A.
    count : (K,) ndarray
        Pieces each row stands for (1 for single pieces).
    frame_weight : (K,) ndarray
        Frame correction 1/P.
    volume_um3 : (K,) ndarray
        Volume by the model of its kind.
    field : (K,) ndarray of int
        Index into ``field_names``.
    kind : (K,) ndarray of int
        Index into `measure.model.KINDS`.
    size_uncertainty_um : (K,) ndarray
        Standard uncertainty of x_A from the edge alone.
    row : (K,) ndarray of int
        Row of the table each piece came from.
    smallest_um : float
        Lower size limit; nan when unknown.
    field_names : tuple of str
        All fields, those without pieces included.
    scale_relative_uncertainty : float
        Relative standard uncertainty of um per px, shared by all pieces.
    sphere_volumes : bool
        True when every volume is that of the sphere of x_A.
    fields_known : bool
        False when the table named no fields, so all rows were put into one.
    left_out : mapping of str to int
        Rows not in the sample, by reason.
    notes : tuple of str
        What was assumed while reading.
    cautions : tuple of str
        What else should make a reader careful, such as a doubtful scale.
    resolved_um : float
        Size from which the objective tells a diameter; nan where its aperture is not known.
    zoom_match : ZoomMatch or None
        Set by `measure.sizes.merge`.
    """

    diameter_um: np.ndarray
    count: np.ndarray
    frame_weight: np.ndarray
    volume_um3: np.ndarray
    field: np.ndarray
    kind: np.ndarray
    size_uncertainty_um: np.ndarray
    row: np.ndarray
    smallest_um: float
    field_names: tuple[str, ...]
    scale_relative_uncertainty: float = 0.0
    sphere_volumes: bool = True
    fields_known: bool = True
    left_out: Mapping[str, int] = dataclasses.field(default_factory=dict)  # "field" is a column here
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    resolved_um: float = math.nan
    zoom_match: ZoomMatch | None = None

    def __len__(self) -> int:
        return len(self.diameter_um)

    @property
    def weight(self) -> np.ndarray:
        """Number each row stands for: count times frame correction (times the match of zooms), (K,)."""
        plain = self.count * self.frame_weight
        if self.zoom_match is None:
            return plain
        return plain * np.where(self.zoom_match.fine_field[self.field], self.zoom_match.factor, 1.0)

    @property
    def pieces(self) -> float:
        """Number of pieces counted (before the frame correction)."""
        return float(self.count.sum())

    def quantity(self, r: int) -> np.ndarray:
        """Return the quantity each row carries: number, length, area (r = 0, 1, 2) or volume (r = 3)."""
        if r == 3:
            return self.weight * self.volume_um3
        return self.weight * self.diameter_um**r

    def select(self, chosen: np.ndarray) -> "SizeSample":
        """Return the rows chosen by a boolean mask; the fields stay, also those left empty."""
        names = ("diameter_um", "count", "frame_weight", "volume_um3", "field", "kind")
        arrays = {n: getattr(self, n)[chosen] for n in (*names, "size_uncertainty_um", "row")}
        return replace(self, **arrays)

    def of_kind(self, kind: Kind | str) -> "SizeSample":
        """Return the pieces of one kind.

        Raises
        ------
        InvalidInput
            If the kind is not one of `measure.model.KINDS`.
        """
        return self.select(self.kind == kind_code(kind))

    def at_least(self, smallest_um: float) -> "SizeSample":
        """Return the pieces of at least the given size, with that as the lower limit."""
        keep = self.diameter_um >= smallest_um
        left = dict(self.left_out)
        if not keep.all():
            left["below the lower limit"] = left.get("below the lower limit", 0) + int((~keep).sum())
        return replace(self.select(keep), smallest_um=float(smallest_um), left_out=left)


def kind_code(kind: Kind | str) -> int:
    """Return the code of a kind, or say which there are."""
    try:
        return KINDS.index(Kind(str(kind).strip().lower()))
    except ValueError:
        names = ", ".join(k.value for k in KINDS)
        raise InvalidInput(f"There is no kind '{kind}'; the kinds are {names}.") from None


def make_sample(
    diameter_um: np.ndarray,
    *,
    count: np.ndarray | None = None,
    frame_weight: np.ndarray | None = None,
    volume_um3: np.ndarray | None = None,
    field: np.ndarray | None = None,
    kind: np.ndarray | None = None,
    size_uncertainty_um: np.ndarray | None = None,
    row: np.ndarray | None = None,
    smallest_um: float = math.nan,
    field_names: Sequence[str] | None = None,
    scale_relative_uncertainty: float = 0.0,
    models: VolumeModels | None = None,
    left_out: Mapping[str, int] | None = None,
    notes: Sequence[str] = (),
) -> SizeSample:
    """Build a sample; what is not given takes its plain default (count 1, weight 1, one field, kernel).

    Volumes not given follow the volume models where ``kind`` is given, else the sphere.
    """
    d = np.asarray(diameter_um, dtype=float)
    n = len(d)
    kinds = np.zeros(n, dtype=int) if kind is None else np.asarray(kind, dtype=int)
    codes = np.zeros(n, dtype=int) if field is None else np.asarray(field, dtype=int)
    names = tuple(field_names) if field_names is not None else _names(codes)
    sphere = np.pi / 6 * d**3
    volume = sphere
    if kind is not None:
        volume = (models or VolumeModels()).volume_um3(kinds, np.pi / 4 * d * d)
    if volume_um3 is not None:
        given = np.asarray(volume_um3, dtype=float)
        volume = np.where(np.isfinite(given), given, volume)
    edge = np.zeros(n) if size_uncertainty_um is None else np.asarray(size_uncertainty_um, dtype=float)
    return SizeSample(
        diameter_um=d,
        count=np.ones(n) if count is None else np.asarray(count, dtype=float),
        frame_weight=np.ones(n) if frame_weight is None else np.asarray(frame_weight, dtype=float),
        volume_um3=volume,
        field=codes,
        kind=kinds,
        size_uncertainty_um=np.nan_to_num(edge, nan=0.0, posinf=0.0),
        row=np.arange(n) if row is None else np.asarray(row, dtype=int),
        smallest_um=float(smallest_um),
        field_names=names,
        scale_relative_uncertainty=float(scale_relative_uncertainty),
        sphere_volumes=bool(np.allclose(volume, sphere, rtol=1e-4)),
        fields_known=field is not None,
        left_out=dict(left_out or {}),
        notes=tuple(notes),
    )


def _names(codes: np.ndarray) -> tuple[str, ...]:
    return tuple(f"field {i + 1}" for i in range(int(codes.max()) + 1 if len(codes) else 1))


def sample_from_table(
    columns: Mapping[str, np.ndarray],
    *,
    smallest_um: float | None = None,
    kind: Kind | str | None = None,
    models: VolumeModels | None = None,
    scale_relative_uncertainty: float | None = None,
    field_names: Sequence[str] | None = None,
) -> SizeSample:
    """Build the sample of the counted rows of a particle table.

    Parameters
    ----------
    columns : mapping of str to (N,) ndarray
        ``area_equivalent_diameter_um``; and, where there, ``count``, ``counted``, ``touches_frame``,
        ``frame_weight``, ``volume_um3``, ``batch``, ``field``, ``kind``, ``size_uncertainty_um``,
        ``smallest_um``, ``scale_relative_uncertainty``.
    smallest_um : float, optional
        Lower limit; by default the table's own, else its smallest size.
    kind : Kind or str, optional
        Take this kind only.
    models : VolumeModels, optional
        Used where the table has kinds but no volumes.
    scale_relative_uncertainty : float, optional
        Overrides the table's.
    field_names : sequence of str, optional
        All fields measured, so that empty ones count as fields too.

    Returns
    -------
    SizeSample
    """
    from measure.sizes.sample_parts import (
        batch_note,
        counted_rows,
        field_codes,
        kind_codes,
        table_limit,
        table_scale,
    )

    keep, left_out = counted_rows(columns)
    codes, kind_notes = kind_codes(columns, keep)
    fields, names, known = field_codes(columns, keep, field_names)
    picked = {n: np.asarray(columns[n])[keep] for n in _NUMBERS if n in columns}
    weight = picked.get("frame_weight")
    scale = table_scale(columns) if scale_relative_uncertainty is None else scale_relative_uncertainty
    sample = make_sample(
        picked[DIAMETER],
        count=picked.get("count"),
        frame_weight=None if weight is None else np.where(np.isfinite(weight), weight, 1.0),
        volume_um3=picked.get("volume_um3"),
        field=fields,
        kind=codes,
        size_uncertainty_um=picked.get("size_uncertainty_um"),
        row=np.flatnonzero(keep),
        field_names=names,
        scale_relative_uncertainty=scale,
        models=models,
        left_out=left_out,
        notes=(*batch_note(columns, keep), *kind_notes),
    )
    sample = replace(sample, fields_known=known)
    if kind is not None:
        sample = sample.of_kind(kind)
    limit, note = table_limit(columns, sample.diameter_um, smallest_um)
    if math.isfinite(limit):
        sample = sample.at_least(limit)
    return replace(sample, notes=(*sample.notes, note)) if note else sample


_NUMBERS = (DIAMETER, "count", "frame_weight", "volume_um3", "size_uncertainty_um")
