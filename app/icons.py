"""Our own icons, drawn as paths on a grid of 24 by 24, sharp at any size and coloured by the theme."""

from functools import lru_cache
from pathlib import Path

from PySide6.QtCore import QPointF, QRectF, QSize, QStandardPaths, Qt
from PySide6.QtGui import QAction, QColor, QGuiApplication, QIcon, QPainter, QPainterPath, QPen, QPixmap
from PySide6.QtWidgets import QAbstractButton, QWidget

from app import theme

GRID = 24.0
STROKE = 1.8
_SIZES = (16, 20, 24, 32, 48, 64)

# Path letters: M move, L line, C cubic, Z close, O ellipse (centre, radii), R round box (x y w h r).
# A leading "*" fills what follows in that path instead of stroking it.
ICONS: dict[str, tuple[str, ...]] = {
    # stations
    "scale": ("R 2 8 20 8 1.5", "M 6 8 L 6 11.5 M 10 8 L 10 13 M 14 8 L 14 11.5 M 18 8 L 18 13"),
    "fields": ("R 3 4 18 16 2", "O 8.5 10 2 2", "O 15.5 9 1.2 1.2", "O 14.5 15 2.6 2.2", "*O 7.5 16 0.9 0.9"),
    "particles": (
        "M 4 10 C 3 6 7 3 10.5 5 C 13 6.5 13 10 11 12 C 8.5 14.5 5 13.5 4 10 Z",
        "M 14 13 L 20 11.5 L 21 18 L 15.5 20 Z",
        "*O 17.5 6 1.6 1.6",
        "*O 7 18.5 1.3 1.3",
    ),
    "sizes": (
        "M 3 20 L 21 20",
        "*R 4.5 14 3 5 0.6",
        "*R 8.8 8 3 11 0.6",
        "*R 13.1 5 3 14 0.6",
        "*R 17.4 11 3 8 0.6",
    ),
    "compare": (
        "M 3 20 L 21 20",
        "M 3 18 C 8 18 7 6 10 6 C 13 6 13 18 17 18",
        "M 8 18 C 13 18 13 10 16 10 C 18 10 18.5 18 21 18",
    ),
    "tasting": (
        "O 9 8 4.2 5.2",
        "M 10.8 13 L 17.5 21",
        "M 16 4 C 18 6 18 8 16.5 10",
        "M 19 3 C 21.5 6 21.5 9 19.5 12",
    ),
    "report": (
        "M 6 3 L 14.5 3 L 19 7.5 L 19 21 L 6 21 Z",
        "M 14 3.5 L 14 8 L 18.5 8",
        "M 9 12.5 L 16 12.5 M 9 16.5 L 14 16.5",
    ),
    # things one does
    "add": ("M 12 5 L 12 19 M 5 12 L 19 12",),
    "folder": (
        "M 3 18.5 L 3 6 L 9 6 L 11 8.5 L 21 8.5 L 21 18.5 Z",
        "M 12 11 L 12 16.5 M 9.2 13.7 L 14.8 13.7",
    ),
    "measure": ("O 10 12 6 5", "M 4 3 L 4 21 M 16 3 L 16 21", "M 18.5 12 L 22 12"),
    "undo": ("M 8.5 4.5 L 4 9 L 8.5 13.5", "M 4.5 9 L 14 9 C 22 9 22 19.5 14 19.5 L 9 19.5"),
    "redo": ("M 15.5 4.5 L 20 9 L 15.5 13.5", "M 19.5 9 L 10 9 C 2 9 2 19.5 10 19.5 L 15 19.5"),
    "find": ("O 10.5 10.5 6 6", "M 15 15 L 21 21"),
    "keys": (
        "R 2 6 20 12 2",
        "M 6 10 L 6.2 10 M 10 10 L 10.2 10 M 14 10 L 14.2 10 M 18 10 L 18.2 10",
        "M 8 14.5 L 16 14.5",
    ),
    "remove": ("M 4 7 L 20 7", "M 9 6.5 L 10 4 L 14 4 L 15 6.5", "M 6 7.5 L 7 20.5 L 17 20.5 L 18 7.5"),
    "batch": (
        "M 7 7 L 17 7 L 17 4 L 7 4 Z",
        "M 7 7 C 4.5 9.5 5 10 5 13 L 5 20 L 19 20 L 19 13",
        "M 19 13 C 19 10 19.5 9.5 17 7",
        "M 5 14.5 C 9 12.5 14 16.5 19 14",
    ),
    "blank": (
        "M 12 3.5 C 16 9 18 12 18 15 C 18 18.5 15.5 20.5 12 20.5 C 8.5 20.5 6 18.5 6 15 C 6 12 8 9 12 3.5 Z",
    ),
    "next": ("M 9 5 L 16 12 L 9 19",),
    "previous": ("M 15 5 L 8 12 L 15 19",),
    "down": ("M 4 8 L 12 16 L 20 8",),
    "up": ("M 4 16 L 12 8 L 20 16",),
    "eye": ("M 2 12 C 6 5 18 5 22 12 C 18 19 6 19 2 12 Z", "O 12 12 3 3"),
    "cut": (
        "M 3 12 C 3 7 9 7 12 12 C 15 17 21 17 21 12 C 21 7 15 7 12 12 C 9 17 3 17 3 12 Z",
        "M 12 3 L 12 21",
    ),
    "join": ("O 8 12 5 5", "O 16 12 5 5"),
    "draw": ("M 4 20 L 5.5 15 L 16 4.5 L 19.5 8 L 9 18.5 Z", "M 13.5 7 L 17 10.5"),
    "length": ("M 4 20 L 20 4", "M 2.5 17 L 7 21.5 M 17 2.5 L 21.5 7"),
    "aside": ("O 9 12 5.5 5.5", "M 16.5 12 L 22 12 M 19.5 9 L 22.3 12 L 19.5 15"),
    "pick": ("M 6 3 L 6 18 L 10 14.3 L 12.6 20.5 L 15 19.4 L 12.4 13.4 L 17.5 13 Z",),
    "brush_add": ("O 9.5 13.5 6.5 6.5", "M 19 3 L 19 10 M 15.5 6.5 L 22.5 6.5"),
    "brush_take": ("O 9.5 13.5 6.5 6.5", "M 15.5 6.5 L 22.5 6.5"),
    "cut_more": ("O 8 8 5 5", "O 16 16 5 5", "M 19.5 3 L 19.5 9 M 16.5 6 L 22.5 6"),
    "cut_fewer": ("O 8 8 5 5", "O 16 16 5 5", "M 16.5 6 L 22.5 6"),
    "restore": ("O 9 12 5.5 5.5", "M 16.5 12 L 22 12 M 19.3 9 L 16.5 12 L 19.3 15"),
    "snap": ("M 4 4 C 4 14 8 20 20 20", "*O 4 4 2 2", "*O 20 20 2 2", "*O 8.6 14.6 2 2"),
    "loupe": ("O 10.5 10.5 6.5 6.5", "M 15.5 15.5 L 21 21", "M 7.5 10.5 L 13.5 10.5 M 10.5 7.5 L 10.5 13.5"),
    "fit": ("M 3 9 L 3 4 L 9 4", "M 15 4 L 21 4 L 21 9", "M 21 15 L 21 20 L 15 20", "M 9 20 L 3 20 L 3 15"),
    "more": ("*O 5 12 1.5 1.5", "*O 12 12 1.5 1.5", "*O 19 12 1.5 1.5"),
    # how things are
    "done": ("M 5 12.5 L 10 17.5 L 19.5 6.5",),
    "note": ("O 12 12 9 9", "M 12 11 L 12 17", "*O 12 7.3 1.2 1.2"),
    "warning": ("M 12 3.5 L 22 20.5 L 2 20.5 Z", "M 12 10 L 12 15", "*O 12 17.8 1 1"),
    "error": ("O 12 12 9 9", "M 8.5 8.5 L 15.5 15.5 M 15.5 8.5 L 8.5 15.5"),
    "close": ("M 6 6 L 18 18 M 18 6 L 6 18",),
    "locked": ("R 5 11 14 9 1.5", "M 8 11 L 8 8 C 8 2.5 16 2.5 16 8 L 16 11"),
    # the program: a measured grain between two jaws
    "program": (
        "*O 12 12 4.6 3.9",
        "M 5 3.5 L 5 20.5 M 19 3.5 L 19 20.5",
        "M 2.5 12 L 5 12 M 19 12 L 21.5 12",
    ),
}


def icon(name: str, role: str = "ink") -> QIcon:
    """Return an icon in the theme's colour of that role; switched off it is paler."""
    palette = theme.current()
    made = QIcon()
    ratio = _ratio()
    for size in _SIZES:
        made.addPixmap(_drawn(name, size, getattr(palette, role), ratio), QIcon.Mode.Normal)
        made.addPixmap(_drawn(name, size, palette.faint_ink, ratio), QIcon.Mode.Disabled)
    return made


def pixmap(name: str, size: int, role: str = "ink") -> QPixmap:
    """Return one picture of an icon, ``size`` px wide at a scale of 1."""
    return _drawn(name, size, getattr(theme.current(), role), _ratio())


def paint(painter: QPainter, name: str, box: QRectF, colour: QColor) -> None:
    """Paint an icon into a box."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.translate(box.topLeft())
    painter.scale(box.width() / GRID, box.height() / GRID)
    pen = QPen(colour, STROKE, Qt.PenStyle.SolidLine, Qt.PenCapStyle.RoundCap, Qt.PenJoinStyle.RoundJoin)
    for text in ICONS[name]:
        filled = text.startswith("*")
        painter.setPen(Qt.PenStyle.NoPen if filled else pen)
        painter.setBrush(colour if filled else Qt.BrushStyle.NoBrush)
        painter.drawPath(_path(text.removeprefix("*")))
    painter.restore()


def set_icon(target: QAbstractButton | QAction, name: str, role: str = "ink") -> None:
    """Give a button or action an icon that `refresh_icons` recolours when the theme changes."""
    target.setProperty("icon_name", name)
    target.setProperty("icon_role", role)
    target.setIcon(icon(name, role))


def refresh_icons(root: QWidget) -> None:
    """Recolour every icon set by `set_icon` below ``root``."""
    targets: list[QAbstractButton | QAction] = [
        *root.findChildren(QAbstractButton),
        *root.findChildren(QAction),
    ]
    for target in targets:
        name = target.property("icon_name")
        if name:
            target.setIcon(icon(name, target.property("icon_role")))


def as_file(name: str, colour: str) -> str:
    """Return the path of a picture file of an icon, for style sheets; empty where none can be kept."""
    place = QStandardPaths.writableLocation(QStandardPaths.StandardLocation.CacheLocation)
    path = Path(place) / f"{name}-{colour.removeprefix('#')}.png"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError:
        return ""
    if not path.is_file() and not _drawn(name, 48, colour, 1.0).save(str(path)):
        return ""
    return path.as_posix()


def program_icon() -> QIcon:
    """Return the icon of the program: the grain between jaws on a plum ground."""
    made = QIcon()
    for size in (16, 24, 32, 48, 64, 128, 256):
        ground = QPixmap(size, size)
        ground.fill(Qt.GlobalColor.transparent)
        painter = QPainter(ground)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(theme.LIGHT.accent))
        painter.drawRoundedRect(QRectF(0, 0, size, size), size * 0.2, size * 0.2)
        inset = size * 0.14
        paint(painter, "program", QRectF(inset, inset, size - 2 * inset, size - 2 * inset), QColor("#f6e3b4"))
        painter.end()
        made.addPixmap(ground)
    return made


def _ratio() -> float:
    app = QGuiApplication.instance()
    return app.devicePixelRatio() if isinstance(app, QGuiApplication) else 1.0


@lru_cache(maxsize=1024)
def _drawn(name: str, size: int, colour: str, ratio: float) -> QPixmap:
    made = QPixmap(QSize(round(size * ratio), round(size * ratio)))
    made.setDevicePixelRatio(ratio)
    made.fill(Qt.GlobalColor.transparent)
    painter = QPainter(made)
    paint(painter, name, QRectF(0, 0, size, size), QColor(colour))
    painter.end()
    return made


_COUNTS = {"M": 2, "L": 2, "C": 6, "Z": 0, "O": 4, "R": 5}


@lru_cache(maxsize=256)
def _path(text: str) -> QPainterPath:
    path = QPainterPath()
    words = text.split()
    while words:
        letter, count = words[0], _COUNTS[words[0]]
        values = [float(word) for word in words[1 : count + 1]]
        words = words[count + 1 :]
        if letter == "M":
            path.moveTo(*values)
        elif letter == "L":
            path.lineTo(*values)
        elif letter == "C":
            path.cubicTo(*values)
        elif letter == "O":
            path.addEllipse(QPointF(values[0], values[1]), values[2], values[3])
        elif letter == "R":
            path.addRoundedRect(QRectF(*values[:4]), values[4], values[4])
        else:
            path.closeSubpath()
    return path
