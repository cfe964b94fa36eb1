"""A row that goes on in the next line where the width ends, so that large text needs no wide window."""

from PySide6.QtCore import QPoint, QRect, QSize, Qt
from PySide6.QtWidgets import QBoxLayout, QLayout, QLayoutItem, QSizePolicy, QSpacerItem, QWidget

from app import theme

Part = QWidget | QLayout | int | None


class Flow(QLayout):
    """Items from left to right, then in the next line.

    What comes after a stretch stands at the right as long as all fit in one line.
    """

    def __init__(self, spacing: int = theme.SMALL) -> None:
        super().__init__()
        self._items: list[QLayoutItem] = []
        self.setContentsMargins(0, 0, 0, 0)
        self.setSpacing(spacing)

    def add(self, part: Part) -> None:
        """Add a widget, a layout, a gap in px, or a stretch (None)."""
        if isinstance(part, QWidget):
            self.addWidget(part)
        elif isinstance(part, QLayout):
            self.addChildLayout(part)
            self.addItem(part)
        else:
            policy = QSizePolicy.Policy.Expanding if part is None else QSizePolicy.Policy.Fixed
            self.addItem(QSpacerItem(part or 0, 0, policy, QSizePolicy.Policy.Fixed))

    def addItem(self, item: QLayoutItem) -> None:  # noqa: N802 - Qt's name
        """Qt: take an item."""
        self._items.append(item)

    def count(self) -> int:
        """Qt: the number of items."""
        return len(self._items)

    def itemAt(self, index: int) -> QLayoutItem | None:  # noqa: N802
        """Qt: one item."""
        return self._items[index] if 0 <= index < len(self._items) else None

    def takeAt(self, index: int) -> QLayoutItem | None:  # noqa: N802
        """Qt: let go of one item."""
        return self._items.pop(index) if 0 <= index < len(self._items) else None

    def expandingDirections(self) -> Qt.Orientation:  # noqa: N802
        """Qt: asks for no more room than it needs."""
        return Qt.Orientation(0)

    def hasHeightForWidth(self) -> bool:  # noqa: N802
        """Qt: the height follows from the width."""
        return True

    def heightForWidth(self, width: int) -> int:  # noqa: N802
        """Qt: the height of all lines."""
        return self._arrange(QRect(0, 0, width, 0), move=False)

    def sizeHint(self) -> QSize:
        """Qt: everything in one line."""
        around = self.contentsMargins()
        sizes = [item.sizeHint() for item in self._items if not item.isEmpty() or _gap(item)]
        width = sum(s.width() for s in sizes) + self.spacing() * max(len(sizes) - 1, 0)
        height = max((s.height() for s in sizes), default=0)
        return QSize(width + around.left() + around.right(), height + around.top() + around.bottom())

    def minimumSize(self) -> QSize:  # noqa: N802
        """Qt: as wide as the widest item."""
        around = self.contentsMargins()
        sizes = [item.minimumSize() for item in self._items if not item.isEmpty()]
        width = max((s.width() for s in sizes), default=0)
        height = max((s.height() for s in sizes), default=0)
        return QSize(width + around.left() + around.right(), height + around.top() + around.bottom())

    def setGeometry(self, rect: QRect) -> None:  # noqa: N802
        """Qt: put every item in its place."""
        super().setGeometry(rect)
        self._arrange(rect, move=True)

    def _arrange(self, rect: QRect, *, move: bool) -> int:
        inner = rect.marginsRemoved(self.contentsMargins())
        shown = [item for item in self._items if not item.isEmpty() or _gap(item)]
        lines: list[list[QLayoutItem]] = [[]]
        used = 0
        for item in shown:
            wide = item.sizeHint().width() + (self.spacing() if lines[-1] else 0)
            if lines[-1] and used + wide > inner.width() and not _gap(item):
                lines.append([])
                used, wide = 0, item.sizeHint().width()
            lines[-1].append(item)
            used += wide
        y = inner.top()
        for line in lines:
            height = max((item.sizeHint().height() for item in line), default=0)
            if move:
                self._place(line, QRect(inner.left(), y, inner.width(), height))
            y += height + theme.TIGHT
        return y - theme.TIGHT - rect.top() + self.contentsMargins().bottom()

    def _place(self, line: list[QLayoutItem], rect: QRect) -> None:
        needed = sum(i.sizeHint().width() for i in line) + self.spacing() * (len(line) - 1)
        springs = sum(_stretches(item) for item in line)
        spare, x = max(rect.width() - needed, 0), rect.left()
        for item in line:
            size = item.sizeHint()
            if _stretches(item):
                size.setWidth(spare // springs)
            size.setWidth(min(size.width(), rect.width()))
            item.setGeometry(QRect(QPoint(x, rect.top() + (rect.height() - size.height()) // 2), size))
            x += size.width() + self.spacing()


def flow(*parts: Part, spacing: int = theme.SMALL) -> Flow:
    """Return parts side by side, in as many lines as needed; None stretches, a number is a gap in px."""
    made = Flow(spacing)
    for part in parts:
        made.add(part)
    return made


def above(line: QLayout, below: QWidget, margin: int = 0, *between: QWidget) -> QWidget:
    """Return a page with a line of tools over a widget that takes the rest."""
    page = QWidget()
    column = QBoxLayout(QBoxLayout.Direction.TopToBottom, page)
    column.setContentsMargins(margin, margin, margin, margin)
    column.setSpacing(theme.SMALL)
    column.addLayout(line)
    for widget in between:
        column.addWidget(widget)
    column.addWidget(below, 1)
    return page


def _gap(item: QLayoutItem) -> bool:
    return item.spacerItem() is not None


def _stretches(item: QLayoutItem) -> bool:
    return _gap(item) and bool(item.expandingDirections() & Qt.Orientation.Horizontal)
