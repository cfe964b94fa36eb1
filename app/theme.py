"""How everything looks: colours for a light and a dark room, spacing, type sizes, and the marks of each kind.

Text keeps a contrast of at least 4.5 to 1 to what it stands on (WCAG 2.2, 1.4.3); a test measures it.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QFont, QGuiApplication, QPalette
from PySide6.QtWidgets import QApplication

from measure.model import Kind

# the steps of white space, px at a scale of 1
TIGHT, SMALL, MEDIUM, LARGE, HUGE = 4, 8, 12, 20, 36
RADIUS = 6

# type sizes as multiples of the size the user's system asks for
SIZES = {"small": 0.88, "body": 1.0, "heading": 1.2, "title": 1.6, "figure": 2.1}


@dataclass(frozen=True)
class Palette:
    """The named colours of one room; each a ``#rrggbb`` text."""

    name: str
    window: str  # behind everything
    surface: str  # cards, lists, fields of a form
    raised: str  # buttons, headers
    rail: str
    picture: str  # around a picture
    line: str  # hairlines between things
    edge: str  # outline of things one can operate
    ink: str
    soft_ink: str
    faint_ink: str  # switched off
    accent: str
    accent_ink: str  # on accent
    accent_soft: str  # selected, lit from behind
    done: str
    warning: str
    warning_soft: str
    error: str
    error_soft: str

    def colour(self, role: str) -> QColor:
        """Return the colour of that name."""
        return QColor(getattr(self, role))


LIGHT = Palette(
    name="light",
    window="#f4f1ec",
    surface="#fdfcfa",
    raised="#eae5dd",
    rail="#e9e4db",
    picture="#d9d4cb",
    line="#d8d1c5",
    edge="#776f63",
    ink="#26221d",
    soft_ink="#5c554b",
    faint_ink="#8d867a",
    accent="#7a3b69",
    accent_ink="#ffffff",
    accent_soft="#ecdde7",
    done="#2a6235",
    warning="#80500a",
    warning_soft="#f6e7c8",
    error="#a12a22",
    error_soft="#f7ddd8",
)

DARK = Palette(
    name="dark",
    window="#211e1b",
    surface="#2a2622",
    raised="#3a352f",
    rail="#1a1816",
    picture="#131110",
    line="#403a33",
    edge="#9b9184",
    ink="#f1ece4",
    soft_ink="#bfb6a8",
    faint_ink="#7d766b",
    accent="#d79ac4",
    accent_ink="#2a1124",
    accent_soft="#4b3444",
    done="#8fcf98",
    warning="#eec173",
    warning_soft="#46371c",
    error="#f2a097",
    error_soft="#4d2a26",
)


@dataclass(frozen=True)
class KindStyle:
    """How a kind is told apart: by colour, by line and by letter, any one of which would do.

    Attributes
    ----------
    colour : str
        Over a picture.
    on_light, on_dark : str
        In charts in a light and in a dark room.
    casing : str
        A thin halo on both sides of the line. Line and halo are so far apart in lightness that one of them
        has a contrast of 3 to 1 to whatever the picture shows.
    dashes : tuple of float
        Dash and gap lengths in units of the line's width; empty for an unbroken line.
    letter : str
        One letter, taken from the word.
    word, many : str
        The name in the window.
    """

    colour: str
    on_light: str
    on_dark: str
    casing: str
    dashes: tuple[float, ...]
    letter: str
    word: str
    many: str

    def in_room(self, palette: Palette) -> str:
        """Return the chart colour for that room."""
        return self.on_dark if palette.name == "dark" else self.on_light


# the colours differ by at least 20 (CIEDE2000) for full, red-, green- and blue-blind eyes; a test measures it
KIND_STYLE: dict[Kind, KindStyle] = {
    Kind.KERNEL: KindStyle("#3333b6", "#3333b6", "#7378e8", "#ffffff", (), "K", "kernel", "kernels"),
    Kind.SKIN: KindStyle("#ff8c42", "#e06020", "#f7a03a", "#000000", (5.0, 2.5), "N", "skin", "skins"),
    Kind.SALT: KindStyle("#2fc3b0", "#16a08f", "#80e7e0", "#000000", (1.5, 2.0), "T", "salt", "salt"),
    Kind.OTHER: KindStyle(
        "#4a4743", "#4a4743", "#8a8478", "#ffffff", (7.0, 2.5, 1.5, 2.5), "O", "other", "other"
    ),
}

_CHOICES = ("system", "light", "dark")
_chosen = {"theme": "system"}


def choose(theme: str) -> None:
    """Choose "light", "dark" or "system" and dress the application."""
    _chosen["theme"] = theme if theme in _CHOICES else "system"
    app = QApplication.instance()
    dress(app if isinstance(app, QApplication) else None)


def chosen() -> str:
    """Return the choice: "light", "dark" or "system"."""
    return _chosen["theme"]


def current() -> Palette:
    """Return the colours in use."""
    if _chosen["theme"] == "dark":
        return DARK
    if _chosen["theme"] == "light":
        return LIGHT
    hints = QGuiApplication.styleHints()
    return DARK if hints is not None and hints.colorScheme() == Qt.ColorScheme.Dark else LIGHT


def font(role: str = "body", *, bold: bool = False) -> QFont:
    """Return a font of that role, after the size the system asks for."""
    made = QFont(QApplication.font())
    made.setPointSizeF(max(6.0, made.pointSizeF() * SIZES[role]))
    if bold or role in {"heading", "title", "figure"}:
        made.setWeight(QFont.Weight.DemiBold)
    return made


def dress(app: QApplication | None) -> None:
    """Give the application its style, colours and style sheet."""
    if app is None:
        return
    from app.style_sheet import style_sheet

    palette = current()
    if app.style().objectName().lower() not in {"fusion", ""}:  # under a style sheet the name is empty
        app.setStyle("Fusion")
    app.setPalette(_qt_palette(palette))
    app.setStyleSheet(style_sheet(palette))


@contextmanager
def undressed() -> Iterator[None]:
    """Take the style sheet off while many widgets are put together.

    Under a style sheet all that a widget holds is styled anew whenever it is put into another one: the
    window took five times as long to build. Where there are widgets already the sheet stays on: of one that
    was measured under the old sheet and never shown Qt does not hear the end, and a change of theme after it
    would reach for it and end the program.
    """
    app = QApplication.instance()
    if not isinstance(app, QApplication) or not app.styleSheet() or app.allWidgets():
        yield
        return
    sheet = app.styleSheet()
    app.setStyleSheet("")
    try:
        yield
    finally:
        app.setStyleSheet(sheet)


def _qt_palette(palette: Palette) -> QPalette:
    made = QPalette()
    role = QPalette.ColorRole
    pairs = {
        role.Window: "window",
        role.WindowText: "ink",
        role.Base: "surface",
        role.AlternateBase: "window",
        role.Text: "ink",
        role.Button: "raised",
        role.ButtonText: "ink",
        role.BrightText: "error",
        role.Highlight: "accent",
        role.HighlightedText: "accent_ink",
        role.ToolTipBase: "surface",
        role.ToolTipText: "ink",
        role.PlaceholderText: "soft_ink",
        role.Link: "accent",
        role.LinkVisited: "accent",
        role.Light: "surface",
        role.Midlight: "raised",
        role.Mid: "line",
        role.Dark: "edge",
        role.Shadow: "edge",
    }
    for which, name in pairs.items():
        made.setColor(which, palette.colour(name))
    for which in (role.WindowText, role.Text, role.ButtonText):
        made.setColor(QPalette.ColorGroup.Disabled, which, palette.colour("faint_ink"))
    return made
