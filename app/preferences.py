"""What the program remembers of its user between days: recent studies, colours, size of the window."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from PySide6.QtCore import QSettings, QStandardPaths

RECENT = 8
_elsewhere: list[Path] = []


@contextmanager
def kept_in(folder: Path) -> Iterator[None]:
    """Remember in another folder for a while; what the user has is neither shown nor changed."""
    _elsewhere.append(folder)
    try:
        yield
    finally:
        _elsewhere.pop()


def settings() -> QSettings:
    """Return the settings file, looked up anew so that tests can send it elsewhere."""
    usual = QStandardPaths.writableLocation(QStandardPaths.StandardLocation.AppConfigLocation)
    location = _elsewhere[-1] if _elsewhere else Path(usual)
    return QSettings(str(location / "gritline.ini"), QSettings.Format.IniFormat)


def read(key: str, default: str = "") -> str:
    """Return a remembered text."""
    value = settings().value(key, default)
    return value if isinstance(value, str) else default


def write(key: str, value: object) -> None:
    """Remember a value."""
    kept = settings()
    kept.setValue(key, value)
    kept.sync()


def recent_studies() -> list[Path]:
    """Return the studies opened last that still exist, newest first."""
    value = settings().value("recent", [])
    names = [value] if isinstance(value, str) else value if isinstance(value, list) else []
    return [Path(name) for name in names if Path(name).is_file()]


def remember_study(path: Path | str) -> None:
    """Put a study first among the recent ones."""
    path = Path(path).absolute()
    names = [str(path), *(str(other) for other in recent_studies() if other != path)]
    write("recent", names[:RECENT])


def last_folder(purpose: str) -> str:
    """Return the folder used last for that purpose, the user's documents at first."""
    kept = read(f"folder/{purpose}")
    if kept and Path(kept).is_dir():
        return kept
    return QStandardPaths.writableLocation(QStandardPaths.StandardLocation.DocumentsLocation)


def remember_folder(purpose: str, path: Path | str) -> None:
    """Remember the folder of a chosen file."""
    path = Path(path)
    write(f"folder/{purpose}", str(path if path.is_dir() else path.parent))
