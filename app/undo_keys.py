"""Lets the keys of undo reach the study from a box in which nothing is half typed."""

from PySide6.QtCore import QEvent, QObject, Qt
from PySide6.QtGui import QKeyEvent, QKeySequence
from PySide6.QtWidgets import QAbstractSpinBox, QApplication, QLineEdit, QWidget

_RETURN = (Qt.Key.Key_Return, Qt.Key.Key_Enter)


class UndoKeys(QObject):
    """Watches which box has the focus. Qt's boxes keep these keys also when they have nothing to undo.

    What is typed and not yet taken over is undone in its box, as everywhere.
    """

    def __init__(self, parent: QObject) -> None:
        super().__init__(parent)
        app = QApplication.instance()
        if isinstance(app, QApplication):
            app.focusChanged.connect(self._moved)

    def _moved(self, _old: QWidget | None, new: QWidget | None) -> None:
        line = _line_of(new)
        if new is not None and line is not None:
            line.setModified(False)
            new.installEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802 - Qt's name
        """Qt: let go of a key that is the study's."""
        if event.type() == QEvent.Type.ShortcutOverride and isinstance(event, QKeyEvent):
            undoes = event.matches(QKeySequence.StandardKey.Undo)
            line = _line_of(watched)
            if (undoes or event.matches(QKeySequence.StandardKey.Redo)) and line and not line.isModified():
                event.ignore()
                return True
        elif event.type() == QEvent.Type.KeyRelease and isinstance(event, QKeyEvent):
            line = _line_of(watched)
            if event.key() in _RETURN and line is not None:
                line.setModified(False)  # it is taken over
        return False


def _line_of(widget: QObject | None) -> QLineEdit | None:
    if isinstance(widget, QLineEdit):
        return widget
    return widget.lineEdit() if isinstance(widget, QAbstractSpinBox) else None
