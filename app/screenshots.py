"""Pictures of every station with the sample study, for the README: ``python -m app.screenshots DIR``.

Without a screen it draws all the same. Each picture is a PNG of few colours, small enough for a repository.
"""

import argparse
import os
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from measure.errors import InvalidInput, KnownError
from measure.safe_write import make_folder, written_beside

if TYPE_CHECKING:
    from PySide6.QtGui import QPixmap

    from app.window import Window

WIDTH, HEIGHT = 1280, 800
LARGEST_BYTES = 150_000  # at that size; a larger window may take as much more
_PATIENCE_MS = 120_000
_COLOURS = (256, 128, 64, 32)


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the pictures and say where they are."""
    parser = argparse.ArgumentParser(prog="python -m app.screenshots", description=__doc__.splitlines()[0])
    parser.add_argument("out", metavar="DIR", help="folder to write to")
    parser.add_argument("--study", help="a study to show instead of the sample study, which is made anew")
    parser.add_argument("--theme", choices=("light", "dark"), default="light")
    parser.add_argument("--size", default=f"{WIDTH}x{HEIGHT}", help="of the window, such as 1920x1080")
    parser.add_argument("--text", type=float, default=1.0, help="how many times larger the text is")
    parsed = parser.parse_args(arguments)
    # nobody shall see the windows come and go
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    from app import preferences

    try:
        folder = Path(parsed.out)
        make_folder(folder)
        # the pictures go to others: no study of this machine's user belongs into them
        with tempfile.TemporaryDirectory() as kept, preferences.kept_in(Path(kept)):
            study = Path(parsed.study) if parsed.study else _sample(Path(kept))
            for path in write_all(study, folder, parsed.theme, _size(parsed.size), parsed.text):
                print(path)  # noqa: T201
    except KnownError as error:
        print(f"screenshots: {error.text}", file=sys.stderr)  # noqa: T201
        return 2
    return 0


def write_all(
    study: Path, folder: Path, theme_name: str, size: tuple[int, int], text: float = 1.0
) -> Iterator[Path]:
    """Write one picture for the start page and for each station, and yield each path.

    Raises
    ------
    KnownError
        If the study cannot be opened or a picture cannot be written.
    """
    from app import theme
    from app.application import make_application
    from app.window import Window

    app = make_application()
    if text != 1.0:
        font = app.font()
        font.setPointSizeF(font.pointSizeF() * text)
        app.setFont(font)
    theme.choose(theme_name)
    window = Window()
    window.resize(*size)
    window.show()
    try:
        yield _write(window, folder / "start.png")
        if not window.session.open(study):
            raise InvalidInput(f"{study} cannot be opened.")
        for name in window.stations:
            window.go(name)
            _settle(window)
            yield _write(window, folder / f"{name}.png")
    finally:
        window.close()
        window.deleteLater()


def _sample(folder: Path) -> Path:
    from app.samples import sample_pictures
    from measure.output.sample_study import build_sample_study

    return build_sample_study(sample_pictures(), folder, tables=False).study


def _size(text: str) -> tuple[int, int]:
    try:
        width, height = (int(part) for part in text.lower().split("x"))
    except ValueError:
        raise InvalidInput(f"--size: “{text}” is no size; write it as 1280x800.") from None
    if not (300 <= width <= 8000 and 200 <= height <= 8000):
        raise InvalidInput(f"--size: {text} is out of range; write a width and height such as 1280x800.")
    return width, height


def _settle(window: "Window") -> None:
    """Wait until nothing is under way and what came of it is on the screen."""
    from PySide6.QtCore import QElapsedTimer, QThread
    from PySide6.QtWidgets import QApplication

    clock, quiet = QElapsedTimer(), QElapsedTimer()
    clock.start()
    quiet.start()
    while (
        quiet.elapsed() < 400 and clock.elapsed() < _PATIENCE_MS
    ):  # longer than the timers that gather edits
        QApplication.processEvents()
        if window.session.tasks.tasks:
            quiet.restart()
        QThread.msleep(10)


def _write(window: "Window", path: Path) -> Path:
    from PySide6.QtWidgets import QApplication

    QApplication.processEvents()
    with written_beside(path) as beside:
        beside.write_bytes(_small_png(window.grab()))
    return path


def _small_png(pixmap: "QPixmap") -> bytes:
    """Return a PNG in the most colours that keep it small; this method keeps the rare colours of kinds."""
    import io

    from PIL import Image
    from PySide6.QtCore import QBuffer, QIODevice

    buffer = QBuffer()
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    pixmap.save(buffer, "PNG")
    picture = Image.open(io.BytesIO(buffer.data().data())).convert("RGB")
    data = b""
    largest = max(LARGEST_BYTES, LARGEST_BYTES * picture.width * picture.height // (WIDTH * HEIGHT))
    for colours in _COLOURS:
        made = io.BytesIO()
        few = picture.quantize(colours, method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE)
        few.save(made, "PNG", optimize=True)
        data = made.getvalue()
        if len(data) <= largest:
            break
    return data


if __name__ == "__main__":
    sys.exit(main())
