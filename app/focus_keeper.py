"""Keeps the keyboard where the work is: a button switched off or hidden hands its focus to the picture."""

from collections.abc import Callable

from PySide6.QtCore import QObject
from PySide6.QtWidgets import QApplication, QWidget

from app.stations.base import BaseStation


class FocusKeeper(QObject):
    """Watches the focus. Without it the focus would leap to whatever comes next, even to another corner.

    Parameters
    ----------
    parent : QObject
    station : callable
        Gives the station in view, None while there is none.
    """

    def __init__(self, parent: QObject, station: Callable[[], BaseStation | None]) -> None:
        super().__init__(parent)
        self._station = station
        app = QApplication.instance()
        if isinstance(app, QApplication):
            app.focusChanged.connect(self._moved)

    def _moved(self, old: QWidget | None, new: QWidget | None) -> None:
        try:
            station = self._station()
        except RuntimeError:  # the window is going, and its widgets are gone already
            return
        if station is None or old is None or new is None:
            return
        window = station.window()
        if old.window() is not window or new.window() is not window or station.isAncestorOf(new):
            return
        gone = not old.isEnabled() or old.isHidden() or not old.isVisible()
        if gone and new is not station:
            station.resting_place().setFocus()
