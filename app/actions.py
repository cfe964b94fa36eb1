"""The one table of everything the user can do: text, keys, where it works, and a tip.

A station adds its rows to its own block and answers them in ``Station.commands()``. An action of a station
works while the station is in view; single letters are left to text fields while one types.
"""

from collections.abc import Callable
from typing import NamedTuple

from PySide6.QtCore import Qt
from PySide6.QtGui import QAction, QKeySequence
from PySide6.QtWidgets import QWidget


class ActionRow(NamedTuple):
    """One action.

    Attributes
    ----------
    id : str
        ``station.verb``, or ``window.verb`` when it works everywhere.
    text : str
        What it does, as in a menu.
    keys : tuple of str
        Shortcuts in Qt's portable text; the first is shown.
    station : str
        Name of the station, or "" for everywhere.
    tip : str
        One sentence more.
    menu : str
        Menu of the window it stands in, "" for none.
    icon : str
        Name in `app.icons`, "" for none.
    checkable : bool
        It switches something on and off.
    """

    id: str
    text: str
    keys: tuple[str, ...] = ()
    station: str = ""
    tip: str = ""
    menu: str = ""
    icon: str = ""
    checkable: bool = False


_WINDOW = (
    ActionRow(
        "window.new", "New study…", ("Ctrl+N",), tip="Choose where the new study is kept.", menu="Study"
    ),
    ActionRow("window.open", "Open a study…", ("Ctrl+O",), tip="Open a study from its file.", menu="Study"),
    ActionRow(
        "window.sample", "Open the sample study", (), tip="Three drawn batches to try on.", menu="Study"
    ),
    ActionRow(
        "window.copy", "Keep a copy…", ("Ctrl+Shift+S",), tip="Write a copy beside the study.", menu="Study"
    ),
    ActionRow("window.close", "Close the study", ("Ctrl+W",), menu="Study"),
    ActionRow("window.quit", "Quit", ("Ctrl+Q",), menu="Study"),
    ActionRow("window.undo", "Undo", ("Ctrl+Z",), tip="Take back the last step.", menu="Edit", icon="undo"),
    ActionRow("window.redo", "Redo", ("Ctrl+Shift+Z", "Ctrl+Y"), menu="Edit", icon="redo"),
    ActionRow(
        "window.find",
        "Find a command…",
        ("Ctrl+K",),
        tip="Type what you want to do.",
        menu="Help",
        icon="find",
    ),
    ActionRow("window.keys", "Keys at a glance", ("F1",), tip="Every action and its key.", menu="Help"),
    ActionRow("window.theme_system", "Colours as the system", menu="View", checkable=True),
    ActionRow("window.theme_light", "Light colours", menu="View", checkable=True),
    ActionRow("window.theme_dark", "Dark colours", menu="View", checkable=True),
    ActionRow("window.full", "Whole screen", ("F11",), menu="View", checkable=True),
)

_SCALE: tuple[ActionRow, ...] = ()

_FIELDS = (
    ActionRow("fields.add", "Add pictures…", ("Ctrl+I",), "fields", "Choose picture files.", icon="add"),
    ActionRow("fields.add_folder", "Add a folder of pictures…", ("Ctrl+Shift+I",), "fields", icon="folder"),
    ActionRow(
        "fields.new_batch", "New batch", ("Ctrl+B",), "fields", "One batch for each grind you compare."
    ),
    ActionRow("fields.measure", "Measure chosen fields", ("M",), "fields", icon="measure"),
    ActionRow("fields.measure_all", "Measure all fields not yet measured", ("Shift+M",), "fields"),
    ActionRow("fields.remove", "Remove chosen fields", ("Delete",), "fields", "Undo brings them back."),
    ActionRow("fields.next", "Next field", ("PgDown",), "fields"),
    ActionRow("fields.previous", "Previous field", ("PgUp",), "fields"),
    ActionRow("fields.preview", "Show the outlines while setting", ("P",), "fields", checkable=True),
)

_PARTICLES: tuple[ActionRow, ...] = ()

_SIZES: tuple[ActionRow, ...] = ()

_LATER: tuple[ActionRow, ...] = ()

ACTIONS: tuple[ActionRow, ...] = (*_WINDOW, *_SCALE, *_FIELDS, *_PARTICLES, *_SIZES, *_LATER)


def make_action(row: ActionRow, owner: QWidget, perform: Callable[[str], None]) -> QAction:
    """Make the action of a row on ``owner``; it calls ``perform(row.id)``.

    The keys work in the whole window, as long as the owner is in view.
    """
    action = QAction(row.text, owner)
    action.setObjectName(row.id)
    action.setCheckable(row.checkable)
    action.setShortcuts([QKeySequence.fromString(key) for key in row.keys])
    action.setShortcutContext(Qt.ShortcutContext.WindowShortcut)
    action.setToolTip(tip_text(row))
    action.triggered.connect(lambda _checked=False, name=row.id: perform(name))
    owner.addAction(action)
    return action


def tip_text(row: ActionRow) -> str:
    """Return the tip with the key at its end."""
    text = row.tip or row.text.rstrip("…")
    return f"{text}  ({keys_text(row)})" if row.keys else text


def keys_text(row: ActionRow) -> str:
    """Return the first key as this system writes it."""
    if not row.keys:
        return ""
    return QKeySequence.fromString(row.keys[0]).toString(QKeySequence.SequenceFormat.NativeText)


def rows_of(station: str) -> tuple[ActionRow, ...]:
    """Return the rows that work in that station ("" for everywhere)."""
    return tuple(row for row in ACTIONS if row.station == station)
