"""How picture, table and histogram follow each other: pointing, choosing and lighting up."""

import numpy as np
from PySide6.QtWidgets import QLabel

from app import number_text
from app.canvas.view import PictureView
from app.histogram import Histogram, histogram_data
from app.models.field_pieces import FieldPieces
from app.session import Session
from app.stations.particles_list import PieceList
from measure.flags import reason_words


class Links:
    """Carries what is pointed at or chosen in one place to the others.

    Attributes
    ----------
    under : QLabel
        Says in words what is under the pointer.
    quiet : bool
        Nothing is said of what is pointed at, while pieces are outlined blind.
    """

    def __init__(
        self, session: Session, pieces: FieldPieces, view: PictureView, table: PieceList, histogram: Histogram
    ) -> None:
        self.session, self.pieces, self.view = session, pieces, view
        self.table, self.histogram = table, histogram
        self.under = QLabel()
        self.quiet = False
        view.hovered.connect(self._show_pointed)
        table.chosen.connect(self._choose_from_list)
        table.pointed.connect(view.set_pointed)
        histogram.pointed.connect(self._light_class)
        histogram.chosen.connect(lambda low, high: session.select(self._in_class(low, high)))
        session.lit_changed.connect(self._show_lit)

    def say_nothing(self) -> None:
        """Forget what was pointed at."""
        self._show_pointed(0)

    def show_histogram(self) -> None:
        """Draw the sizes of the field again, what is chosen lit."""
        pieces = self.pieces
        rows = np.flatnonzero(pieces.counted)
        columns = ("area_equivalent_diameter_um", "frame_weight", "volume_um3")
        lit = np.zeros(len(pieces), dtype=bool)
        lit[pieces.rows_of(self.session.selected)] = True
        size, weight, volume = (pieces.table[name][rows] for name in columns)
        self.histogram.show_data(histogram_data(size, weight, volume, lit[rows], pieces.smallest_um))

    def _show_pointed(self, label: int) -> None:
        if self.quiet:
            label = 0
        self.table.model.set_pointed(label)
        row, table = self.pieces.row_of(label), self.pieces.table
        size = float(table["area_equivalent_diameter_um"][row]) if row >= 0 else float("nan")
        self.histogram.mark(size)
        reason = (
            f", not counted: {reason_words(table['set_aside_reason'][row])}"
            if row >= 0 and not table["counted"][row]
            else ""
        )
        words = (
            f"Piece {label}: {table['kind'][row]}, {number_text.quantity(size)}{reason}" if row >= 0 else ""
        )
        self.under.setText(words)

    def _show_lit(self) -> None:
        self.view.set_lit(label for field, label in self.session.lit if field == self.pieces.field_id)

    def _in_class(self, low_um: float, high_um: float) -> list[int]:
        size = self.pieces.table["area_equivalent_diameter_um"]
        inside = self.pieces.counted & (size >= low_um) & (size < high_um)
        return self.pieces.table["particle"][inside].tolist()

    def _light_class(self, low_um: float, high_um: float) -> None:
        self.session.light_up((self.pieces.field_id, label) for label in self._in_class(low_um, high_um))

    def _choose_from_list(self, labels: list[int]) -> None:
        self.session.select(labels)
        if len(labels) == 1:
            self.view.reveal(labels[0])
