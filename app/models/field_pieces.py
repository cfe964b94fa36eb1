"""The pieces of the field in view, in px and in um, ready for picture, table, details and histogram."""

from collections.abc import Iterable
from typing import Any

import numpy as np

from measure.model import Scale
from measure.output.study_tables import field_table
from measure.particles import Particles, make_particles
from measure.sizes.particle_table import BELOW_LIMIT, Table, join_tables


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
        if row is None or scale is None or not row.measured or row.role == "table":
            self.clear()
            return
        self.field_id, self.name, self.scale = field_id, row.name, scale
        self.particles = session.particles(field_id)
        batches = {entry.id: entry.batch.name for entry in session.open_study.batches()}
        self.table = field_table(session.study, row, scale, batches.get(row.batch_id, ""))
        limits = self.table["smallest_um"]
        self.smallest_um = float(limits[0]) if len(limits) else (row.smallest_px or 0.0) * scale.um_per_px
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

    def any_aside(self, labels: Iterable[int]) -> bool:
        """Whether any of these pieces is set aside."""
        return bool((self.particles["set_aside"][self.rows_of(labels)] != "").any())

    @property
    def too_small(self) -> np.ndarray:
        """Which pieces lie below the lower limit, (K,) ndarray of bool."""
        return self.table["set_aside_reason"] == BELOW_LIMIT
