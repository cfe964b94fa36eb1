"""The window: it puts the start page, the rail, the stations and the strip together, and nothing else."""

import contextlib
from collections.abc import Callable
from functools import partial
from pathlib import Path

from PySide6.QtCore import QEvent, Qt
from PySide6.QtGui import QAction, QCloseEvent, QDragEnterEvent, QDropEvent, QResizeEvent
from PySide6.QtWidgets import (
    QHBoxLayout,
    QLabel,
    QMainWindow,
    QSizePolicy,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from app import icons, parts, pickers, preferences, theme
from app.actions import ACTIONS, keys_text, make_action, rows_of
from app.finder import Finder
from app.focus_keeper import FocusKeeper
from app.help_page import HelpPage
from app.keys_page import KeysPage
from app.rail import Rail
from app.sample import SampleBuilder
from app.session import Session
from app.start_page import StartPage
from app.stations import load_stations
from app.stations.base import BaseStation
from app.strip import Strip
from app.study_pages import StudyPages
from app.tour import TAKEN, Tour
from app.undo_keys import UndoKeys
from measure.errors import KnownError


class Window(QMainWindow):
    """The one window of the program."""

    def __init__(self, session: Session | None = None) -> None:
        with theme.undressed():
            super().__init__()
            self.session = session or Session()
            self.session.setParent(self)
            self.setAcceptDrops(True)
            self.setWindowTitle("Gritline")
            self.resize(1280, 800)
            self._make()
        self._listen()
        self._opened()

    def _make(self) -> None:
        self._actions = {row.id: make_action(row, self, self._perform) for row in rows_of("")}
        self.sample = SampleBuilder(self.session)
        self.start = StartPage(self.new_study, self.open_study, self._open_sample)
        self.start.recent_chosen.connect(self.session.open)
        self.keys, self.help = KeysPage(), HelpPage()
        self.keys.left.connect(self._leave_sheet)
        self.help.left.connect(self._leave_sheet)
        self._tour_after = ""  # "start" or "offer" a tour once the sample study is open
        self.rail = Rail()
        self.pages = QStackedWidget()
        self.stations: dict[str, BaseStation] = {}
        self.current = ""
        self.strip = Strip(self.session.tasks)
        self.kept = QLabel()
        self._build()
        self.file_pages = StudyPages(self)
        self.finder = Finder(self, self._live_actions)
        self.tour = Tour(self)
        FocusKeeper(self, lambda: self.stations.get(self.current) if self._working() else None)
        UndoKeys(self)

    def _build(self) -> None:
        for station_class in load_stations():
            self._add_station(station_class(self.session))
        self.kept.setProperty("look", "soft")
        self.kept.setContentsMargins(theme.MEDIUM, 0, theme.SMALL, 0)
        self.kept.setWordWrap(True)
        self.kept.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Minimum)  # the rail may narrow
        self.rail.add_foot(self.kept)
        work = QWidget()
        line = QHBoxLayout(work)
        line.setContentsMargins(0, 0, 0, 0)
        line.setSpacing(0)
        line.addWidget(self.rail)
        line.addWidget(self.pages, 1)
        self._work = work
        self.whole = QStackedWidget()
        for page in (self.start, work, self.keys, self.help):
            self.whole.addWidget(page)
        centre = QWidget()
        column = QVBoxLayout(centre)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.whole, 1)
        column.addWidget(self.strip)
        self.setCentralWidget(centre)
        self._build_menus()

    def _add_station(self, station: BaseStation) -> None:
        self.stations[station.name] = station
        self.pages.addWidget(station)
        row = next(row for row in ACTIONS if row.id == f"window.go_{station.name}")
        self.rail.add_station(station.name, station.title, station.tip, keys_text(row))
        station.state_changed.connect(lambda: self._show_state(station))
        station.wants_station.connect(self.go)

    def _build_menus(self) -> None:
        menus = {name: self.menuBar().addMenu(name) for name in ("Study", "Edit", "View")}
        self.station_menu = self.menuBar().addMenu("Station")
        menus["Help"] = self.menuBar().addMenu("Help")
        for row in rows_of(""):
            place = row.id.removeprefix("window.go_")
            if row.id.startswith("window.go_") and place not in self.stations:
                self._actions[row.id].setVisible(False)
                self._actions[row.id].setEnabled(False)
            menus[row.menu].addAction(self._actions[row.id])
            if row.id in {"window.sample", "window.record", "window.go_report", "window.theme_dark"}:
                menus[row.menu].addSeparator()
        corner = self._corner = QWidget()
        buttons = [
            tool_for(self._actions[f"window.{name}"], name) for name in ("undo", "redo", "find", "keys")
        ]
        corner.setLayout(parts.row(*buttons, theme.SMALL, spacing=2))
        self.menuBar().setCornerWidget(corner)

    def _listen(self) -> None:
        session = self.session
        self.whole.currentChanged.connect(self._page_shown)
        session.opened.connect(self._opened)
        session.closing.connect(self._keep_place)
        session.changed.connect(lambda _changes, _initiator: self._show_study_state())
        session.measuring.changed.connect(self._show_study_state)
        session.message.connect(self.strip.show_message)
        session.offered.connect(self.strip.show_offer)
        self.rail.chosen.connect(lambda name: self.go(name, keep_focus=True))

    def _commands(self) -> dict[str, Callable[[], object]]:
        commands: dict[str, Callable[[], object]] = {
            "window.new": self.new_study,
            "window.open": self.open_study,
            "window.sample": self._open_sample,
            "window.copy": lambda: self.file_pages.care.keep_copy(),
            "window.close": self.session.leave,
            "window.quit": self.close,
            "window.undo": self.session.undo,
            "window.redo": self.session.redo,
            "window.find": self.finder.open,
            "window.keys": self.toggle_keys,
            "window.figures": self.toggle_figures,
            "window.tour": self.take_tour,
            "window.full": self._toggle_full,
        }
        commands |= self.file_pages.commands()
        for choice in ("system", "light", "dark"):
            commands[f"window.theme_{choice}"] = partial(self.choose_theme, choice)
        for name in self.stations:
            commands[f"window.go_{name}"] = partial(self.go, name)
        return commands

    def _perform(self, action_id: str) -> None:
        self._commands()[action_id]()

    def action(self, action_id: str) -> QAction:
        """Return the action that works everywhere of that id."""
        return self._actions[action_id]

    def _live_actions(self) -> list[QAction]:
        station = self.stations.get(self.current)
        here = station.all_actions() if station is not None and self._working() else ()
        return [action for action in (*here, *self._actions.values()) if action.isVisible()]

    # studies ------------------------------------------------------------------------------------------------

    def new_study(self) -> None:
        """Ask for a place and begin a study there."""
        path = pickers.new_study(self)
        if path is not None:
            self.session.create(path)

    def _open_sample(self) -> None:
        self._tour_after = "offer"
        self.sample.open()

    def take_tour(self) -> None:
        """Show what is where, on the study that is open or else on the sample study."""
        if self.session.study is not None:
            self.tour.start()
        else:
            self._tour_after = "start"
            self.sample.open()

    def open_study(self) -> None:
        """Ask for a study and open it."""
        path = pickers.study(self)
        if path is not None:
            self.session.open(path)

    def _opened(self) -> None:
        study = self.session.study
        if study is not None:
            preferences.remember_study(study.path)
        for station in self.stations.values():
            self.session.attempt(station.study_opened)  # one damaged part shall not take the rest away
        self._show_study_state()
        if study is None:
            self.tour.stop()
            self._leave_station()
            self.start.refresh()
            self.whole.setCurrentWidget(self.start)
            self.start.begin.setFocus()
            self.strip.set_resting("")
        else:
            self.whole.setCurrentWidget(self._work)
            self._go_to_place()
            self._begin_tour()

    def _begin_tour(self) -> None:
        wanted, self._tour_after = self._tour_after, ""
        if wanted == "start":
            self.tour.start()
        elif wanted == "offer" and not preferences.read(TAKEN):
            words = "New here? Ten short stops show the way."
            self.session.offered.emit(words, "Take the tour", self.tour.start)

    def _keep_place(self) -> None:
        """Keep where one was, so that the study opens there again."""
        if self.session.writable:
            place = {"station": self.current, "field": self.session.current_field_id}
            with contextlib.suppress(KnownError):  # not worth a word as one leaves
                self.session.open_study.set_setting("view.place", place)

    def _go_to_place(self) -> None:
        kept: object = None
        with contextlib.suppress(KnownError):
            kept = self.session.open_study.setting("view.place", None)
        place = kept if isinstance(kept, dict) else {}
        if self.session.field_row(place.get("field", 0)) is not None:
            self.session.show_field(place["field"])
        name = place.get("station")
        self.go(name if name in self.stations else self._first_open_station())

    def _first_open_station(self) -> str:
        """Return the first step that is not done yet, the last of all when everything is."""
        names = list(self.stations)
        return next((name for name in names if not self.stations[name].state_text()[0]), names[-1])

    # stations -----------------------------------------------------------------------------------------------

    def go(self, name: str, *, keep_focus: bool = False) -> None:
        """Bring a station into view, and the focus with it unless it shall stay where it is."""
        if name not in self.stations or self.session.study is None:
            return
        self.whole.setCurrentWidget(self._work)
        if name == self.current:
            self.rail.show_current(name)
            return
        self._leave_station()
        self.strip.leave_place()
        self.current = name
        station = self.stations[name]
        self.pages.setCurrentWidget(station)
        self.rail.show_current(name)
        self.strip.set_resting(station.tip)
        self.strip.follow(station.work_keys, in_page=station.shows_work)
        self.station_menu.setTitle(station.title)
        self.station_menu.clear()
        self.station_menu.addActions(station.all_actions())
        station.entered()
        if not keep_focus:
            station.setFocus(Qt.FocusReason.OtherFocusReason)

    def _leave_station(self) -> None:
        if self.current:
            self.stations[self.current].left()
        self.current = ""

    def _page_shown(self) -> None:
        if not self._working():
            self.tour.stop()

    def _working(self) -> bool:
        return self.whole.currentWidget() is self._work

    def _show_state(self, station: BaseStation) -> None:
        done, words = station.state_text() if self.session.study is not None else (False, "")
        self.rail.buttons[station.name].show_state(done, words)

    def _show_study_state(self) -> None:
        study = self.session.study
        for station in self.stations.values():
            self._show_state(station)
        undo = redo = None
        if study is not None and self.session.writable:
            undo, redo = self.session.step_text("undo"), self.session.step_text("redo")
        for which, text in (("undo", undo), ("redo", redo)):
            action = self._actions[f"window.{which}"]
            verb = which.capitalize()
            action.setText(f"{verb}: {text}" if text else verb)
            key = keys_text(next(row for row in ACTIONS if row.id == f"window.{which}"))
            action.setToolTip(f"{action.text()}  ({key})")
            action.setEnabled(bool(text))
        for name in ("copy", "close", *(f"go_{station}" for station in self.stations)):
            self._actions[f"window.{name}"].setEnabled(study is not None)
        self.station_menu.menuAction().setVisible(study is not None)
        name = Path(study.path).stem if study is not None else ""
        self.setWindowTitle(f"{name} – Gritline" if name else "Gritline")
        self.kept.setText("All changes kept" if self.session.writable else "For reading only")
        self.kept.setToolTip(str(study.path) if study is not None else "")

    # looks --------------------------------------------------------------------------------------------------

    def choose_theme(self, choice: str) -> None:
        """Dress the program and remember the choice."""
        theme.choose(choice)
        preferences.write("theme", choice)
        self._show_theme()

    def _show_theme(self) -> None:
        for choice in ("system", "light", "dark"):
            self._actions[f"window.theme_{choice}"].setChecked(theme.chosen() == choice)
        icons.refresh_icons(self)
        self.start.refresh()

    def _toggle_full(self) -> None:
        self.setWindowState(self.windowState() ^ Qt.WindowState.WindowFullScreen)

    def toggle_keys(self) -> None:
        """Show the keys at a glance, or go back."""
        if self.whole.currentWidget() is self.keys:
            self._leave_sheet()
            return
        everywhere = [row for row in rows_of("") if self._actions[row.id].isVisible()]
        places = [("Everywhere", everywhere)]
        places += [(s.title, list(rows_of(s.name))) for s in self.stations.values()]
        self.keys.show_places(places)
        self.whole.setCurrentWidget(self.keys)
        self.keys.back.setFocus()

    def toggle_figures(self) -> None:
        """Show what the figures are, or go back."""
        if self.whole.currentWidget() is self.help:
            self._leave_sheet()
            return
        self.whole.setCurrentWidget(self.help)
        self.help.line.setFocus()

    def _leave_sheet(self) -> None:
        self.whole.setCurrentWidget(self.start if self.session.study is None else self._work)

    # events -------------------------------------------------------------------------------------------------

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Leave the work its width, and let the tour's card keep its place."""
        super().resizeEvent(event)
        self.rail.suit(event.size().width())
        self.tour.follow()

    def changeEvent(self, event: QEvent) -> None:
        """Follow the colours of the system."""
        if event.type() == QEvent.Type.ThemeChange and theme.chosen() == "system":
            theme.choose("system")
            self._show_theme()
        super().changeEvent(event)

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        """Accept a study file anywhere."""
        if _dropped_study(event) is not None:
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        """Open a study that is dropped."""
        path = _dropped_study(event)
        if path is not None:
            event.acceptProposedAction()
            self.session.open(path)

    def closeEvent(self, event: QCloseEvent) -> None:
        """Remember the window and close the study; everything is on disk already."""
        if not (self.session.may_close() and self.file_pages.care.may_quit()):
            event.ignore()
            return
        preferences.write("geometry", self.saveGeometry())
        self.session.shut()
        event.accept()


def tool_for(action: QAction, icon: str) -> QWidget:
    """Return the small button of an action for the corner of the menu bar."""
    return parts.tool_button(action, icon)


def _dropped_study(event: QDragEnterEvent | QDropEvent) -> Path | None:
    urls = event.mimeData().urls()
    if len(urls) == 1 and urls[0].toLocalFile().lower().endswith(pickers.STUDY_SUFFIX):
        return Path(urls[0].toLocalFile())
    return None
