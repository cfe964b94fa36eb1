"""The list of fields: small picture, name, state in words, remarks."""

from PySide6.QtCore import QItemSelectionModel, QModelIndex, QPersistentModelIndex, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QFontMetrics, QPainter, QPixmap
from PySide6.QtWidgets import QListView, QStyle, QStyledItemDelegate, QStyleOptionViewItem, QWidget

from app import icons, theme
from app.models.field_list import BATCH_ROLE, FIELD_ROLE, HEADING_ROLE, STATE_ROLE, FieldListModel
from app.session import NO_FIELD, Session
from app.thumbnails import ThumbnailMaker

THUMB = 46
Index = QModelIndex | QPersistentModelIndex


class _FieldDelegate(QStyledItemDelegate):
    """Paints headings and fields."""

    def sizeHint(self, _option: QStyleOptionViewItem, index: Index) -> QSize:
        """Return the height of a row."""
        body = QFontMetrics(theme.font("body", bold=True)).height()
        small = QFontMetrics(theme.font("small")).height()
        if index.data(FIELD_ROLE) is None:
            return QSize(120, body + 2 * theme.SMALL)
        state = index.data(STATE_ROLE)
        lines = body + small * (2 if state.remarks else 1)
        return QSize(120, max(THUMB, lines) + theme.SMALL)

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        """Paint one row."""
        palette = theme.current()
        painter.save()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        box = QRectF(option.rect)
        chosen = bool(option.state & QStyle.StateFlag.State_Selected)
        if chosen:
            painter.fillRect(box, palette.colour("accent_soft"))
        elif option.state & QStyle.StateFlag.State_MouseOver:
            painter.fillRect(box, palette.colour("raised"))
        if index.data(FIELD_ROLE) is None:
            self._paint_heading(painter, box, index.data(HEADING_ROLE), palette)
        else:
            self._paint_field(painter, box, index, palette)
        if option.state & QStyle.StateFlag.State_HasFocus:
            painter.setPen(palette.colour("accent"))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(box.adjusted(0.5, 0.5, -1.5, -1.5))
        painter.restore()

    @staticmethod
    def _paint_heading(
        painter: QPainter, box: QRectF, heading: tuple[str, str], palette: theme.Palette
    ) -> None:
        title, words = heading
        inner = box.adjusted(theme.SMALL, 0, -theme.SMALL, 0)
        middle = Qt.AlignmentFlag.AlignVCenter
        painter.setFont(theme.font("small"))
        painter.setPen(palette.colour("soft_ink"))
        painter.drawText(inner, middle | Qt.AlignmentFlag.AlignRight, words)
        room = inner.width() - painter.fontMetrics().horizontalAdvance(words) - theme.MEDIUM
        painter.setFont(theme.font("body", bold=True))
        painter.setPen(palette.colour("ink"))
        title = painter.fontMetrics().elidedText(title, Qt.TextElideMode.ElideRight, int(room))
        painter.drawText(inner, middle | Qt.AlignmentFlag.AlignLeft, title)
        painter.setPen(palette.colour("line"))
        painter.drawLine(box.topLeft(), box.topRight())

    @staticmethod
    def _paint_field(painter: QPainter, box: QRectF, index: Index, palette: theme.Palette) -> None:
        state, row = index.data(STATE_ROLE), index.data(FIELD_ROLE)
        spot = QRectF(box.left() + theme.MEDIUM, box.top() + theme.TIGHT, THUMB, THUMB)
        thumb = index.data(Qt.ItemDataRole.DecorationRole)
        if thumb is not None:
            size = thumb.size().scaled(THUMB, THUMB, Qt.AspectRatioMode.KeepAspectRatio)
            target = QRectF(0, 0, size.width(), size.height())
            target.moveCenter(spot.center())
            painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
            painter.drawPixmap(target, thumb, QRectF(thumb.rect()))
        else:
            painter.fillRect(spot, palette.colour("raised"))
        left = spot.right() + theme.SMALL
        width = box.right() - left - theme.SMALL
        y = box.top() + theme.TIGHT
        painter.setFont(theme.font())
        painter.setPen(palette.colour("ink"))
        y = _line(painter, left, y, width, row.name, Qt.TextElideMode.ElideMiddle)
        painter.setFont(theme.font("small"))
        if state.done:
            mark = QRectF(left, y, 14, painter.fontMetrics().height())
            icons.paint(painter, "done", QRectF(left, mark.center().y() - 7, 14, 14), palette.colour("done"))
            painter.setPen(palette.colour("soft_ink"))
            y = _line(painter, left + 18, y, width - 18, state.words)
        else:
            painter.setPen(palette.colour("warning" if "scale" in state.words else "soft_ink"))
            y = _line(painter, left, y, width, state.words)
        if state.remarks:
            painter.setPen(palette.colour("warning"))
            more = f" (+{len(state.remarks) - 1})" if len(state.remarks) > 1 else ""
            _line(painter, left, y, width, f"{state.remarks[0]}{more}")


def _line(
    painter: QPainter,
    left: float,
    top: float,
    width: float,
    text: str,
    elide: Qt.TextElideMode = Qt.TextElideMode.ElideRight,
) -> float:
    """Draw one line, shortened where it must be, and return where the next begins."""
    height = painter.fontMetrics().height()
    short = painter.fontMetrics().elidedText(text, elide, int(width))
    painter.drawText(QRectF(left, top, width, height), Qt.AlignmentFlag.AlignVCenter, short)
    return top + height


class FieldList(QListView):
    """The list.

    Signals
    -------
    chosen()
        Another set of fields, or a heading, is chosen; ask `field_ids` and `batch_id`.
    thumb_made()
        One more small picture is there.
    """

    chosen = Signal()
    thumb_made = Signal()

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Fields by batch")
        self._session = session
        self.fields = FieldListModel(session, self)
        self._thumbs = ThumbnailMaker(session, self._thumb_made)
        self.setModel(self.fields)
        self.setItemDelegate(_FieldDelegate(self))
        self.setSelectionMode(QListView.SelectionMode.ExtendedSelection)
        self.setMouseTracking(True)
        self.setUniformItemSizes(False)
        self.setVerticalScrollMode(QListView.ScrollMode.ScrollPerPixel)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._quiet = False
        self.selectionModel().selectionChanged.connect(self._selection_changed)

    def _selection_changed(self) -> None:
        if not self._quiet:
            self.chosen.emit()

    def reload(self) -> None:
        """Read the study anew and keep what is chosen."""
        fields, batch = self.field_ids(), self.batch_id()
        self._quiet = True
        self.fields.reload()
        rows = [self.fields.row_of_field(field_id) for field_id in fields]
        if not fields and batch is not None:
            rows = [self.fields.row_of_batch(batch)]
        self._choose_rows([row for row in rows if row >= 0])
        self._quiet = False
        self._want_thumbs()
        self.doItemsLayout()

    def _thumb_made(self, sha256: str, pixmap: QPixmap) -> None:
        self.fields.set_thumb(sha256, pixmap)
        self.thumb_made.emit()

    def forget_thumbs(self) -> None:
        """Stop making small pictures of a study that is closed."""
        self._thumbs.forget()

    def field_ids(self) -> list[int]:
        """Return the chosen fields in the order of the list."""
        rows = sorted(self.selectionModel().selectedIndexes(), key=lambda index: index.row())
        found = [index.data(FIELD_ROLE) for index in rows]
        return [row.id for row in found if row is not None]

    def batch_id(self) -> int | None:
        """Return the batch whose heading is chosen alone; 0 for "no batch yet", None for no heading."""
        indexes = self.selectionModel().selectedIndexes()
        if len(indexes) != 1 or indexes[0].data(FIELD_ROLE) is not None:
            return None
        batch = indexes[0].data(BATCH_ROLE)
        return batch.id if batch is not None else 0

    def choose_field(self, field_id: int) -> None:
        """Choose one field and bring it into view."""
        if field_id == NO_FIELD:
            self.clearSelection()
            return
        if self.field_ids() != [field_id]:
            self.choose_fields([field_id])

    def choose_fields(self, field_ids: list[int]) -> None:
        """Choose these fields and bring the first into view."""
        rows = [self.fields.row_of_field(field_id) for field_id in field_ids]
        self._choose_rows([row for row in rows if row >= 0])

    def choose_batch(self, batch_id: int) -> None:
        """Choose the heading of a batch."""
        row = self.fields.row_of_batch(batch_id)
        if row >= 0:
            self._choose_rows([row])

    def step(self, by: int) -> None:
        """Choose the next or the previous field."""
        ids = self.fields.field_ids()
        if not ids:
            return
        now = self._session.current_field_id
        place = ids.index(now) + by if now in ids else 0
        self.choose_field(ids[max(0, min(len(ids) - 1, place))])

    def _choose_rows(self, rows: list[int]) -> None:
        flag = QItemSelectionModel.SelectionFlag
        model = self.selectionModel()
        model.clearSelection()
        for row in rows:
            model.select(self.fields.index(row), flag.Select)
        if rows:
            model.setCurrentIndex(self.fields.index(rows[0]), flag.NoUpdate)
            self.scrollTo(self.fields.index(rows[0]))

    def _want_thumbs(self) -> None:
        if self._session.study is None:
            return
        for row in range(self.fields.rowCount()):
            field = self.fields.index(row).data(FIELD_ROLE)
            if field is not None and field.sha256 and not self.fields.has_thumb(field.sha256):
                self._thumbs.want(field.sha256, field.id)
