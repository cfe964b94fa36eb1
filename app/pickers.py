"""The file pickers: the only dialogs there are. Each returns a path, or None when nothing was chosen."""

from pathlib import Path

from PySide6.QtWidgets import QFileDialog, QWidget

from app import preferences
from measure.picture_file import PICTURE_SUFFIXES

STUDY_SUFFIX = ".gritline"
_STUDIES = f"Gritline study (*{STUDY_SUFFIX})"
_PICTURES = f"Pictures ({' '.join('*' + suffix for suffix in PICTURE_SUFFIXES)})"


def new_study(parent: QWidget) -> Path | None:
    """Ask where a new study is kept."""
    return _save(parent, "Where shall the new study be kept?", "study", "paste" + STUDY_SUFFIX, _STUDIES)


def copy_of_study(parent: QWidget, name: str) -> Path | None:
    """Ask where a copy of the study is kept."""
    return _save(parent, "Where shall the copy be kept?", "study", name, _STUDIES)


def study(parent: QWidget) -> Path | None:
    """Ask for a study to open."""
    folder = preferences.last_folder("study")
    name, _ = QFileDialog.getOpenFileName(parent, "Open a study", folder, _STUDIES)
    return _remembered("study", name)


def pictures(parent: QWidget, title: str = "Add pictures") -> list[Path]:
    """Ask for picture files."""
    names, _ = QFileDialog.getOpenFileNames(parent, title, preferences.last_folder("pictures"), _PICTURES)
    if names:
        preferences.remember_folder("pictures", names[0])
    return [Path(name) for name in names]


def picture(parent: QWidget, title: str) -> Path | None:
    """Ask for one picture file."""
    folder = preferences.last_folder("pictures")
    name, _ = QFileDialog.getOpenFileName(parent, title, folder, _PICTURES)
    return _remembered("pictures", name)


def tables(parent: QWidget) -> list[Path]:
    """Ask for particle tables."""
    folder = preferences.last_folder("tables")
    names, _ = QFileDialog.getOpenFileNames(
        parent, "Add tables of pieces", folder, "Tables (*.csv *.xlsx *.parquet)"
    )
    if names:
        preferences.remember_folder("tables", names[0])
    return [Path(name) for name in names]


def folder(
    parent: QWidget, title: str = "Add a folder of pictures", purpose: str = "pictures"
) -> Path | None:
    """Ask for a folder."""
    name = QFileDialog.getExistingDirectory(parent, title, preferences.last_folder(purpose))
    return _remembered(purpose, name)


def save(parent: QWidget, title: str, purpose: str, name: str, kinds: str) -> Path | None:
    """Ask where a file of another kind is written."""
    return _save(parent, title, purpose, name, kinds)


def _save(parent: QWidget, title: str, purpose: str, name: str, kinds: str) -> Path | None:
    start = str(Path(preferences.last_folder(purpose)) / name)
    chosen, _ = QFileDialog.getSaveFileName(parent, title, start, kinds)
    path = _remembered(purpose, chosen)
    if path is not None and not path.suffix and "." in name:
        path = path.with_suffix(Path(name).suffix)
    return path


def _remembered(purpose: str, name: str) -> Path | None:
    if not name:
        return None
    preferences.remember_folder(purpose, name)
    return Path(name)
