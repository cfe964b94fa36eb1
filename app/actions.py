"""The one table of everything the user can do: text, keys, where it works, and a tip.

A station adds its rows to its own block and answers them in ``Station.commands()``. An action of a station
works while the station is in view; single letters are left to text fields while one types.
"""

from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtGui import QAction, QKeySequence
from PySide6.QtWidgets import QWidget

from app.action_row import ActionRow
from app.actions_fields import FIELDS

_WINDOW = (
    ActionRow(
        "window.new", "Begin a study…", ("Ctrl+N",), tip="Choose where the study is kept", menu="Study"
    ),
    ActionRow("window.open", "Open a study…", ("Ctrl+O",), tip="Open a study from its file", menu="Study"),
    ActionRow(
        "window.sample", "Try the sample study", tip="Three drawn batches to practise on", menu="Study"
    ),
    ActionRow(
        "window.copy", "Keep a copy…", ("Ctrl+Shift+S",), tip="Write a copy of the study", menu="Study"
    ),
    ActionRow(
        "window.as_opened",
        "Go back to as it was when opened",
        tip="As it is now, it becomes one of the earlier copies first",
        menu="Study",
    ),
    ActionRow("window.copies", "Earlier copies…", tip="Made in the background; bring one back", menu="Study"),
    ActionRow(
        "window.record",
        "Record of changes",
        ("Ctrl+H",),
        tip="When, who, what, from and to",
        menu="Study",
    ),
    ActionRow("window.close", "Close the study", ("Ctrl+W",), menu="Study"),
    ActionRow("window.quit", "Quit", ("Ctrl+Q",), menu="Study"),
    ActionRow("window.undo", "Undo", ("Ctrl+Z",), tip="Take the last step back", menu="Edit", icon="undo"),
    ActionRow("window.redo", "Redo", ("Ctrl+Shift+Z", "Ctrl+Y"), tip="Do it again", menu="Edit", icon="redo"),
    ActionRow("window.go_scale", "Go to Scale", ("Ctrl+1",), menu="View"),
    ActionRow("window.go_fields", "Go to Fields", ("Ctrl+2",), menu="View"),
    ActionRow("window.go_particles", "Go to Particles", ("Ctrl+3",), menu="View"),
    ActionRow("window.go_sizes", "Go to Sizes", ("Ctrl+4",), menu="View"),
    ActionRow("window.go_compare", "Go to Compare", ("Ctrl+5",), menu="View"),
    ActionRow("window.go_tasting", "Go to Tasting", ("Ctrl+6",), menu="View"),
    ActionRow("window.go_report", "Go to Report", ("Ctrl+7",), menu="View"),
    ActionRow("window.theme_system", "Colours as the system", menu="View", checkable=True),
    ActionRow("window.theme_light", "Light colours", menu="View", checkable=True),
    ActionRow("window.theme_dark", "Dark colours", menu="View", checkable=True),
    ActionRow("window.full", "Whole screen", ("F11",), menu="View", checkable=True),
    ActionRow(
        "window.find",
        "Find a command…",
        ("Ctrl+K",),
        tip="Type what you want to do",
        menu="Help",
        icon="find",
    ),
    ActionRow(
        "window.tour",
        "Take the tour",
        tip="Ten stops through the sample study, or the study open",
        menu="Help",
    ),
    ActionRow(
        "window.figures",
        "Figures in plain words",
        ("Shift+F1",),
        tip="What each figure is, why it matters, how it is computed",
        menu="Help",
    ),
    ActionRow(
        "window.keys", "Keys at a glance", ("F1",), tip="Every action and its key", menu="Help", icon="keys"
    ),
)

_SCALE = (
    ActionRow("scale.open", "Open a picture of a ruling…", ("Ctrl+I",), "scale", "A stage micrometer"),
    ActionRow("scale.find", "Find the lines of the ruling", ("F",), "scale", "At any angle, by itself"),
    ActionRow(
        "scale.click",
        "Click lines",
        ("C",),
        "scale",
        "Mark lines one by one; points snap to them",
        checkable=True,
    ),
    ActionRow(
        "scale.drag", "Drag across lines", ("D",), "scale", "Mark every line a stroke crosses", checkable=True
    ),
    ActionRow("scale.back", "Take the last line back", ("Backspace",), "scale", "Of those marked by hand"),
    ActionRow("scale.clear", "Clear the marked lines", ("Shift+X",), "scale"),
    ActionRow("scale.keep", "Keep this scale", ("Ctrl+Return",), "scale", "It becomes part of the study"),
    ActionRow("scale.drop", "Put this ruling away", ("Shift+Delete",), "scale", "Without keeping a scale"),
    ActionRow("scale.remove", "Remove the chosen scale", ("Delete",), "scale", "Undo brings it back"),
    ActionRow("scale.lines", "Lines", ("L",), "scale", "Show the lines found or marked", checkable=True),
    ActionRow("scale.loupe", "Lens", ("Shift+L",), "scale", "Magnify about the pointer.", checkable=True),
    ActionRow("scale.fit", "Whole picture", ("0",), "scale", "Show all of it"),
    ActionRow("scale.one_to_one", "One to one", ("9",), "scale", "One picture pixel on one of the screen"),
    ActionRow("scale.zoom_in", "Zoom in", ("+", "="), "scale"),
    ActionRow("scale.zoom_out", "Zoom out", ("-",), "scale"),
)

_PARTICLES = (
    ActionRow(
        "particles.pick",
        "Choose pieces",
        ("P",),
        "particles",
        "Click, or drag round several.",
        checkable=True,
    ),
    ActionRow("particles.cut", "Cut", ("C",), "particles", "Pull a line across a neck.", checkable=True),
    ActionRow("particles.join", "Join the chosen pieces", ("J",), "particles", "Make one piece of them."),
    ActionRow(
        "particles.draw",
        "Draw an outline",
        ("D",),
        "particles",
        "For a piece that was missed.",
        checkable=True,
    ),
    ActionRow(
        "particles.add", "Add with a brush", ("A",), "particles", "Move an edge outwards.", checkable=True
    ),
    ActionRow(
        "particles.take", "Wipe with a brush", ("W",), "particles", "Move an edge inwards.", checkable=True
    ),
    ActionRow(
        "particles.more", "Cut into one more", ("M",), "particles", "Find one more piece in what is chosen."
    ),
    ActionRow(
        "particles.fewer",
        "Cut into one fewer",
        ("Shift+M",),
        "particles",
        "Find one piece fewer in the cluster.",
    ),
    ActionRow("particles.aside", "Set aside", ("Delete",), "particles", "Keep and list it, do not count it."),
    ActionRow("particles.restore", "Count again", ("R",), "particles", "Count what was set aside."),
    ActionRow(
        "particles.length", "Take a length", ("L",), "particles", "Between two places.", checkable=True
    ),
    ActionRow("particles.kernel", "Kernel", ("K", "1"), "particles", "Tag the chosen pieces as kernel."),
    ActionRow("particles.skin", "Skin", ("N", "2"), "particles", "Tag the chosen pieces as skin."),
    ActionRow("particles.salt", "Salt", ("T", "3"), "particles", "Tag the chosen pieces as salt."),
    ActionRow(
        "particles.other", "Other", ("O", "4"), "particles", "A bubble, drop, fibre or dust; not counted."
    ),
    ActionRow(
        "particles.next_doubtful", "Next doubtful piece", ("G",), "particles", "The one most likely wrong."
    ),
    ActionRow(
        "particles.previous_doubtful",
        "Piece before",
        ("Shift+G",),
        "particles",
        "Back to the doubtful one before.",
    ),
    ActionRow(
        "particles.accept", "It is right, go on", ("Y",), "particles", "Mark as looked at, show the next."
    ),
    ActionRow("particles.next_field", "Next field", ("PgDown",), "particles"),
    ActionRow("particles.previous_field", "Previous field", ("PgUp",), "particles"),
    ActionRow("particles.all", "Choose all pieces", ("Ctrl+A",), "particles"),
    ActionRow(
        "particles.hide", "Hide the outlines", ("H",), "particles", "See the picture alone.", checkable=True
    ),
    ActionRow(
        "particles.snap",
        "Follow the edge",
        ("S",),
        "particles",
        "What you draw moves to the edge of the piece beneath.",
        checkable=True,
    ),
    ActionRow(
        "particles.loupe",
        "Lens",
        ("Shift+L",),
        "particles",
        "Magnify about the pointer.",
        checkable=True,
    ),
    ActionRow("particles.fit", "Whole picture", ("0",), "particles", "Show all of it."),
    ActionRow(
        "particles.one_to_one", "One to one", ("9",), "particles", "One picture pixel on one of the screen."
    ),
    ActionRow("particles.zoom_in", "Zoom in", ("+", "="), "particles"),
    ActionRow("particles.zoom_out", "Zoom out", ("-",), "particles"),
    ActionRow("particles.page_piece", "Show the piece", ("F2",), "particles"),
    ActionRow("particles.page_table", "Show all pieces", ("F3",), "particles"),
    ActionRow("particles.page_kinds", "Show learning and checks", ("F4",), "particles"),
    ActionRow(
        "particles.export", "Write the table…", ("Ctrl+E",), "particles", "All fields of the study, as CSV."
    ),
    ActionRow(
        "particles.automatic", "Back to the automatic result", (), "particles", "Undo brings your edits back."
    ),
)

_SIZES = (
    ActionRow("sizes.number", "By number", ("N",), "sizes", "Every piece counts alike.", checkable=True),
    ActionRow(
        "sizes.volume", "By volume", ("V",), "sizes", "Pieces count by what they hold.", checkable=True
    ),
    ActionRow(
        "sizes.coarse", "Show the coarsest pieces", ("B",), "sizes", "Go to the largest ones in the picture."
    ),
    ActionRow("sizes.previous", "Previous batch", ("PgUp",), "sizes"),
    ActionRow("sizes.next", "Next batch", ("PgDown",), "sizes"),
    ActionRow("sizes.page_figures", "Show the figures", ("F2",), "sizes"),
    ActionRow("sizes.page_limits", "Show the limits", ("F3",), "sizes", "What size is felt; what you allow."),
    ActionRow("sizes.page_sure", "Show how sure it is", ("F4",), "sizes", "And how many more to measure."),
    ActionRow(
        "sizes.copy_picture", "Copy the chart", ("Ctrl+Shift+C",), "sizes", "As a picture, for any program."
    ),
    ActionRow(
        "sizes.copy_numbers", "Copy the figures", ("Ctrl+C",), "sizes", "As text, for a table or a message."
    ),
)

_COMPARE = (
    ActionRow("compare.page_curves", "Show the comparison", ("F2",), "compare", "Curves and ratios."),
    ActionRow("compare.page_grind", "Show the grind curve", ("F3",), "compare", "And the forecast."),
    ActionRow("compare.previous", "Previous figure", ("PgUp",), "compare"),
    ActionRow("compare.next", "Next figure", ("PgDown",), "compare"),
    ActionRow(
        "compare.common",
        "Compare the common range",
        ("R",),
        "compare",
        "Leave out pieces below the largest lower limit of all.",
        checkable=True,
    ),
    ActionRow("compare.target", "Enter a target", ("T",), "compare", "A size or felt share to reach."),
    ActionRow(
        "compare.copy_picture",
        "Copy the chart",
        ("Ctrl+Shift+C",),
        "compare",
        "As a picture, for any program.",
    ),
    ActionRow(
        "compare.copy_numbers",
        "Copy the ratios",
        ("Ctrl+C",),
        "compare",
        "As text, for a table or a message.",
    ),
)

_TASTING = (
    ActionRow(
        "tasting.new", "Plan a session", ("Ctrl+B",), "tasting", "Choose a test, samples and assessors."
    ),
    ActionRow(
        "tasting.keep", "Keep this plan", ("Ctrl+Return",), "tasting", "Codes and orders are then drawn."
    ),
    ActionRow(
        "tasting.worksheets", "Print the worksheets…", ("Ctrl+P",), "tasting", "One for each assessor, PDF."
    ),
    ActionRow(
        "tasting.key", "Print the key…", ("Ctrl+Shift+P",), "tasting", "For the person who serves, PDF."
    ),
    ActionRow("tasting.enter", "Enter answers", ("E",), "tasting", "Return goes on to the next plate."),
    ActionRow(
        "tasting.close", "Close the session", ("Ctrl+L",), "tasting", "No more answers; the result is shown."
    ),
    ActionRow(
        "tasting.use", "Use as this study's limit", ("U",), "tasting", "The verdict then follows this panel."
    ),
    ActionRow("tasting.remove", "Remove the session", ("Ctrl+Delete",), "tasting", "Undo brings it back."),
)

_REPORT = (
    ActionRow("report.save", "Save the report…", ("Ctrl+S",), "report", "A PDF, as the pages show it."),
    ActionRow(
        "report.tables",
        "Write tables and files…",
        ("Ctrl+E",),
        "report",
        "Into a folder, in the formats ticked.",
    ),
    ActionRow("report.whole", "Tick all sections", ("A",), "report", "The whole report."),
    ActionRow("report.next", "Next page", ("PgDown",), "report"),
    ActionRow("report.previous", "Page before", ("PgUp",), "report"),
)

ACTIONS: tuple[ActionRow, ...] = (
    *_WINDOW,
    *_SCALE,
    *FIELDS,
    *_PARTICLES,
    *_SIZES,
    *_COMPARE,
    *_TASTING,
    *_REPORT,
)


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
