"""Which fields are taken with the scale that is chosen, and which of them are of another picture size."""

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QListWidget, QListWidgetItem, QWidget

from app import number_text, parts
from app.roomy import show_where_room
from app.session import Session
from measure.study.records import ScaleRow

_ID = Qt.ItemDataRole.UserRole


class ScaleColumn(QWidget):
    """All cards of the station below one another, the fields of the scale last, where there is room."""

    def __init__(self, fields: "ScaleFields", *cards: QWidget) -> None:
        super().__init__()
        self._fields = fields
        self.wants = False
        column = parts.column(*cards, fields, None)
        column.setStretch(column.indexOf(fields), 1000)  # all that is left
        self.setLayout(column)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Qt: the fields where there is room below all else."""
        super().resizeEvent(event)
        self.suit()

    def suit(self) -> None:
        """Show the fields where they are wanted and there is room."""
        if self.wants:
            show_where_room(self, self._fields, self._fields.least_height())
        else:
            self._fields.hide()


class ScaleFields(QWidget):
    """The list, by batch.

    Signals
    -------
    wanted(int)
        The user wants to see a field.
    """

    wanted = Signal(int)

    def __init__(self, session: Session) -> None:
        super().__init__()
        self._session = session
        self.list = QListWidget()
        self.list.setAccessibleName("Fields of the chosen scale")
        self.list.setToolTip("Return or a double click shows the field")
        self.list.setMinimumHeight(60)
        self.list.itemActivated.connect(lambda item: self.wanted.emit(item.data(_ID)))
        self.words = parts.label("", "soft", wrap=True)
        card = parts.card(self.words, self.list, heading="Fields of this scale")
        parts.box_of(card).setStretch(2, 1)
        self.setLayout(parts.column(card))

    def show_scale(self, row: ScaleRow | None) -> bool:
        """Show the fields of a scale; return whether there is any."""
        study = self._session.study
        self.list.clear()
        if row is None or study is None:
            return False
        names = {entry.id: entry.batch.name for entry in study.batches()}
        size = (row.scale.width_px, row.scale.height_px)
        fields = [one for one in study.fields() if one.scale_id == row.id and one.role == "field"]
        others = 0
        for one in fields:
            of = names.get(one.batch_id or 0, "")
            other = size[0] is not None and (one.width_px, one.height_px) != size
            others += other
            pixels = number_text.picture_size(one.width_px, one.height_px) if other else ""
            item = QListWidgetItem("   ".join(part for part in (one.name, of, pixels) if part))
            item.setData(_ID, one.id)
            self.list.addItem(item)
        said = f"{number_text.count(others, 'field')} of another picture size than it" if others else ""
        self.words.setText(f"{said}: look at it again." if said else "")
        self.words.setVisible(bool(said))
        return bool(fields)

    def least_height(self) -> int:
        """Return the px it takes to show a few fields with the heading."""
        return 6 * self.fontMetrics().lineSpacing() + 24
