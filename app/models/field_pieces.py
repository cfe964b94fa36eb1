"""The pieces of the field in view, in px and in um, ready for picture, table, details and histogram."""

import json
from typing import Any

import numpy as np

from measure.model import Frame, Scale
from measure.particles import Particles, make_particles
from measure.sizes.particle_table import BELOW_LIMIT, Table, join_tables, particle_table
from measure.sizes.volume import VolumeModels


class FieldPieces:
    """What is known of the pieces of one field. Replaced as a whole by `load`, never changed in part.

    Attributes
    ----------
    field_id : int
        0 for none.
    particles : Particles
    table : dict of str to (K,) ndarray
        The particle table of `measure.sizes.particle_table`, same rows as ``particles``.
    scale : Scale or None
    smallest_um : float
        Lower limit in force; nan without a field.
    """

    def __init__(self) -> None:
        self.clear()

    def clear(self) -> None:
        """Hold no field."""
        self.field_id = 0
        self.name = ""
        self.particles: Particles = make_particles([])
        self.table: Table = join_tables([])
        self.scale: Scale | None = None
        self.smallest_um = float("nan")
        self._row_of: dict[int, int] = {}

    def load(self, session: Any, field_id: int) -> None:
        """Read a field anew from the study that is open."""
        row = session.field_row(field_id)
        scale = session.scale_of(row)
        if row is None or scale is None or not row.measured:
            self.clear()
            return
        self.field_id, self.name, self.scale = field_id, row.name, scale
        self.particles = session.particles(field_id)
        self.smallest_um = (row.smallest_px or 0.0) * scale.um_per_px
        batches = {entry.id: entry.batch.name for entry in session.study.batches()}
        self.table = particle_table(
            self.particles,
            frame=Frame(row.width_px, row.height_px, tuple(row.zones)),
            scale=scale,
            smallest_um=self.smallest_um,
            models=volume_models(session.study.setting("volume_models", None)),
            batch=batches.get(row.batch_id, ""),
            field=row.name,
        )
        labels = self.particles["label"].tolist()
        self._row_of = dict(zip(labels, range(len(labels)), strict=True))

    def __len__(self) -> int:
        return len(self.particles)

    def row_of(self, label: int) -> int:
        """Return the row of a piece, -1 where it is not there."""
        return self._row_of.get(label, -1)

    def rows_of(self, labels: Any) -> np.ndarray:
        """Return the rows of the pieces that are there."""
        return np.array([self._row_of[i] for i in labels if i in self._row_of], dtype=int)

    @property
    def counted(self) -> np.ndarray:
        """Which pieces are in the size figures, (K,) ndarray of bool."""
        return self.table["counted"] == 1

    @property
    def too_small(self) -> np.ndarray:
        """Which pieces lie below the lower limit, (K,) ndarray of bool."""
        return self.table["set_aside_reason"] == BELOW_LIMIT


def volume_models(kept: object) -> VolumeModels:
    """Return the volume models a study keeps (JSON text or plain values), else the defaults."""
    if not kept:
        return VolumeModels()
    return VolumeModels.from_json(kept if isinstance(kept, str) else json.dumps(kept))
