"""What the window offers about the file of a study: its copies, its record of changes, and its care."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject
from PySide6.QtWidgets import QWidget

from app.copies_keeper import CopiesKeeper
from app.copies_page import CopiesPage
from app.record_page import RecordPage
from app.study_care import StudyCare
from measure.errors import LostStudy, StudyFileError

if TYPE_CHECKING:
    from app.window import Window


class StudyPages(QObject):
    """Two pages of the window and what stands behind them."""

    def __init__(self, window: "Window") -> None:
        super().__init__(window)
        self._window, self._session = window, window.session
        self._before: QWidget | None = None
        self.keeper = CopiesKeeper(self._session)
        self.care = StudyCare(self._session, self.keeper, window)
        self.record = RecordPage(self._session)
        self.copies = CopiesPage(self._session, self.keeper)
        for page in (self.record, self.copies):
            window.whole.addWidget(page)
            page.left.connect(self.leave)
        self.copies.wanted.connect(self.care.take_out)
        self.record.field_wanted.connect(self._show_field)
        self.record.automatic_wanted.connect(self._bring_automatic)
        for signal in (self._session.opened, self._session.hurt, self.keeper.made):
            signal.connect(self._show_state)
        self._session.hurt.connect(self._say_if_lost)
        self._show_state()

    def _say_if_lost(self, error: StudyFileError, path: Path) -> None:
        study = self._session.study
        if isinstance(error, LostStudy) and study is not None and Path(study.path) == path:
            self._window.kept.setText("Its file cannot be reached")  # until the next step is kept

    def commands(self) -> dict[str, Callable[[], object]]:
        """Return what each action of these pages does."""
        return {
            "window.as_opened": self.care.ask_back,
            "window.copies": self.toggle_copies,
            "window.record": self.toggle_record,
        }

    def toggle_record(self) -> None:
        """Show the record of changes, or go back."""
        if self._session.study is not None and self._come(self.record):
            self.record.open()

    def toggle_copies(self) -> None:
        """Show the earlier copies, or go back."""
        path = self.care.study_path()
        if path is not None and self._come(self.copies):
            self.copies.show_copies(path)

    def leave(self) -> None:
        """Go back to where one was."""
        whole = self._window.whole
        if whole.currentWidget() in (self.record, self.copies) and self._before is not None:
            whole.setCurrentWidget(self._before)
            station = self._window.stations.get(self._window.current)
            if station is not None:
                station.setFocus()

    def _come(self, page: QWidget) -> bool:
        whole = self._window.whole
        if whole.currentWidget() is page:
            self.leave()
            return False
        if whole.currentWidget() not in (self.record, self.copies):
            self._before = whole.currentWidget()
        whole.setCurrentWidget(page)
        return True

    def _show_field(self, field_id: int) -> None:
        self._session.show_field(field_id)
        self._window.go("particles")

    def _bring_automatic(self, field_id: int) -> None:
        self._show_field(field_id)
        self._window.stations["particles"].action("particles.automatic").trigger()

    def _show_state(self) -> None:
        action = self._window.action
        action("window.as_opened").setEnabled(self._session.writable)
        action("window.copies").setEnabled(self.care.study_path() is not None)
        action("window.record").setEnabled(self._session.study is not None)
