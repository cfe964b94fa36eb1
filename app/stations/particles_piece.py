"""What is known of the chosen piece: its picture, sizes, kind, how sure the tool is and why."""

from collections.abc import Callable

import numpy as np
from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QAction, QImage, QPainter, QPaintEvent
from PySide6.QtWidgets import QLayout, QSizePolicy, QToolButton, QWidget

from app import number_text, parts, theme
from app.canvas.badge import kind_badge
from app.canvas.outline_item import polygon
from app.canvas.style import cosmetic_pen, group_of, group_style
from app.help_words import HELP, narrow
from app.models.field_pieces import FieldPieces
from app.theme import KIND_STYLE
from measure.flags import FLAGS, decode, reason_words
from measure.model import KINDS, ORIGINS, Kind

_CROP = 116
_UNSAID = {"by_hand", "looked_at"}  # said elsewhere
_CAME = {
    "found": "Found automatically.",
    "cut": "Cut from a cluster.",
    "joined": "Joined by hand.",
    "drawn": "Drawn by hand.",
    "reshaped": "Its edge was changed by hand.",
}


class Crop(QWidget):
    """The picture close about one piece, with its outline."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._image: QImage | None = None
        self._outline: np.ndarray | None = None
        self._group = 0
        self.setFixedSize(_CROP, _CROP)
        self.setAccessibleName("The piece close up")

    def look(self, image: QImage | None, outline: np.ndarray | None, group: int) -> None:
        """Show a piece, or nothing."""
        self._image, self._outline, self._group = image, outline, group
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Qt: the piece and a fifth of its size about it."""
        painter = QPainter(self)
        painter.fillRect(self.rect(), theme.current().colour("picture"))
        if self._image is None or self._outline is None:
            return
        low, high = self._outline.min(axis=0).astype(float), self._outline.max(axis=0).astype(float)
        side = float((high - low).max()) * 1.4 + 4
        middle = (low + high) / 2
        scale = _CROP / side
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform, scale < 6)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
        painter.scale(scale, scale)
        painter.translate(-(middle[0] - side / 2), -(middle[1] - side / 2))
        seen = QRectF(middle[0] - side / 2, middle[1] - side / 2, side, side)
        part = seen.intersected(QRectF(self._image.rect()))
        painter.drawImage(part, self._image, part)
        style = group_style(self._group)
        shape = polygon(self._outline)
        for pen in (cosmetic_pen(style.casing, 3.4), style.pen(1.7)):
            painter.setPen(pen)
            painter.drawPolygon(shape)


class PieceCard(QWidget):
    """Details of what is chosen, with a button for each kind, and a row of further buttons below them."""

    def __init__(
        self, pieces: FieldPieces, action: Callable[[str], QAction], below: QLayout | None = None
    ) -> None:
        super().__init__()
        self._pieces = pieces
        self.crop = Crop()
        self.heading = parts.label("", "heading")
        self.sizes = parts.label("", wrap=True)
        self.state = parts.label("", wrap=True)
        self.why = parts.label("", "soft", wrap=True)
        shape = ("size", "feret", "circularity", "solidity")
        self.sizes.setToolTip("\n\n".join(f"{HELP[name].title}: {narrow(HELP[name].what)}" for name in shape))
        self.why.setToolTip(HELP["doubt"].tip())
        self.kinds = {kind: _kind_button(kind, action(f"particles.{kind.value}")) for kind in KINDS}
        self._buttons = parts.row(*self.kinds.values(), None, spacing=theme.TIGHT)
        top = parts.row(self.crop, parts.column(self.heading, self.sizes, None, spacing=theme.TIGHT))
        rows = (top, self._buttons) if below is None else (top, self._buttons, below)
        self.setLayout(parts.column(*rows, self.state, self.why, spacing=theme.SMALL))
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Preferred)

    def show_pieces(self, labels: frozenset[int], image: QImage | None) -> None:
        """Show one piece, several, or how to choose one."""
        rows = self._pieces.rows_of(sorted(labels))
        kinds = {KINDS[code] for code in self._pieces.particles["kind"][rows]} if len(rows) else set()
        for kind, button in self.kinds.items():
            button.setChecked(kinds == {kind})
            button.setEnabled(bool(len(rows)))
        self.crop.setVisible(len(rows) == 1)
        if len(rows) == 1:
            self._show_one(int(rows[0]), image)
        elif len(rows):
            self._show_many(rows)
        else:
            self._show_none()
        for line in (self.sizes, self.state, self.why):
            line.setVisible(bool(line.text()))

    def in_words(self) -> str:
        """Return what is shown, for those who hear it."""
        texts = (self.heading.text(), self.sizes.text(), self.state.text(), self.why.text())
        return ". ".join(text.replace("\n", ", ") for text in texts if text)

    def _show_one(self, row: int, image: QImage | None) -> None:
        pieces, table = self._pieces, self._pieces.table
        particles = pieces.particles
        self.crop.look(image, particles.outlines[row], int(group_of(particles.select(np.array([row])))[0]))
        self.heading.setText(f"Piece {table['particle'][row]}")
        size = number_text.with_uncertainty(
            float(table["area_equivalent_diameter_um"][row]), float(table["size_uncertainty_um"][row])
        )
        longest, narrowest = (float(table[f"feret_{which}_um"][row]) for which in ("max", "min"))
        self.sizes.setText(
            f"Size  {size}\n"
            f"{number_text.number(longest)} × {number_text.quantity(narrowest)} (Feret)\n"
            f"Circularity {number_text.fixed(float(table['circularity'][row]), 2)}, "
            f"solidity {number_text.fixed(float(table['solidity'][row]), 2)}"
        )
        self.state.setText(self._state_of(row))
        self.why.setText("\n".join(f"• {reason}" for reason in reasons(pieces, row)))

    def _state_of(self, row: int) -> str:
        table = self._pieces.table
        reason = table["set_aside_reason"][row]
        counted = f"Not counted: {reason_words(reason)}." if reason else "Counted."
        return f"{counted} {_CAME[ORIGINS[self._pieces.particles['origin'][row]]]}"

    def _show_many(self, rows: np.ndarray) -> None:
        table = self._pieces.table
        self.heading.setText(f"{len(rows)} pieces chosen")
        sizes = table["area_equivalent_diameter_um"][rows]
        self.sizes.setText(f"Sizes {number_text.number(sizes.min())} to {number_text.quantity(sizes.max())}")
        tally = [
            number_text.count(
                int((table["kind"][rows] == kind).sum()), KIND_STYLE[kind].word, KIND_STYLE[kind].many
            )
            for kind in KINDS
            if (table["kind"][rows] == kind).any()
        ]
        counted = int(table["counted"][rows].sum())
        self.state.setText(f"{', '.join(tally)}. {counted} of {len(rows)} counted.")
        self.why.setText("")

    def _show_none(self) -> None:
        self.heading.setText("No piece chosen")
        self.sizes.setText("")
        self.state.setText("")
        self.why.setText(
            "Click a piece in the picture, a row of the table or a bar of the histogram. "
            "Or press G: the pieces most likely wrong come one by one."
        )


def reasons(pieces: FieldPieces, row: int) -> list[str]:
    """Return in plain words what makes a piece doubtful."""
    particles = pieces.particles
    said = [f"Doubt {number_text.percent(float(particles['doubt'][row]))}."]
    looked = particles["flags"][row] & FLAGS["looked_at"].bit
    if looked:
        said = ["Looked at and found right."]
    if particles["kind_by_hand"][row]:
        said.append("Its kind was given by hand.")
    elif particles["kind_doubt"][row] >= 0.05:
        said.append(f"Its kind may be wrong: {number_text.percent(float(particles['kind_doubt'][row]))}.")
    return said + [FLAGS[name].text for name in decode(particles["flags"][row]) if name not in _UNSAID]


def _kind_button(kind: Kind, action: QAction) -> QToolButton:
    made = QToolButton()
    made.setText(KIND_STYLE[kind].word.capitalize())
    made.setIcon(kind_badge(kind))
    made.setIconSize(QSize(17, 17))
    made.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
    made.setCheckable(True)
    made.setToolTip(action.toolTip())
    made.setAccessibleName(f"Tag as {kind.value}")
    made.clicked.connect(lambda _checked=False: action.trigger())
    return made
