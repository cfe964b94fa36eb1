"""What the Report station works out on a thread: the report's bytes and its pages as pictures."""

import threading
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from PySide6.QtGui import QImage

from measure.output.export import export_study
from measure.output.report import report_pdf
from measure.progress import SILENT, Progress
from measure.study.study import Study

PAGE_PX = 1240
_MOST_PAGES = 60
# the library that paints pages works for one thread at a time
_PAINTING = threading.Lock()


@dataclass(frozen=True)
class ReportQuestion:
    """Which report is wanted."""

    path: Path
    sections: tuple[str, ...]
    batches: tuple[str, ...]
    title: str


@dataclass(frozen=True)
class ReportAnswer:
    """A report and its pages; of a very long one only the first pages are painted."""

    question: ReportQuestion
    data: bytes
    pages: tuple[QImage, ...]
    count: int


def make_report(question: ReportQuestion, progress: Progress = SILENT) -> ReportAnswer:
    """Make the report anew from the file, as it stands on disk.

    Raises
    ------
    KnownError
        If nothing is measured, or the file cannot be read.
    """
    with Study.open(question.path, read_only=True) as study:
        data = report_pdf(
            study, sections=question.sections, batches=question.batches, title=question.title,
            progress=progress,
        )  # fmt: skip
    progress.report(0.95, "pages")
    pages, count = paint_pages(data)
    return ReportAnswer(question, data, pages, count)


def paint_pages(data: bytes, width_px: int = PAGE_PX) -> tuple[tuple[QImage, ...], int]:
    """Return the pages of a PDF as pictures, and how many there are."""
    import pypdfium2

    pages = []
    with _PAINTING:
        document = pypdfium2.PdfDocument(data)
        count = len(document)
        for place in range(min(count, _MOST_PAGES)):
            page = document[place]
            bitmap = page.render(scale=width_px / page.get_width(), rev_byteorder=True)
            pixels = bitmap.to_numpy()
            high, wide = pixels.shape[:2]
            form = QImage.Format.Format_RGB888 if pixels.shape[2] == 3 else QImage.Format.Format_RGBX8888
            pages.append(QImage(pixels.tobytes(), wide, high, pixels.shape[2] * wide, form).copy())
            bitmap.close()
            page.close()
        document.close()
    return tuple(pages), count


def write_tables(
    path: Path, folder: Path, formats: Sequence[str], decimal_comma: bool, progress: Progress = SILENT
) -> list[Path]:
    """Write the study's tables to a folder.

    Raises
    ------
    KnownError
        If nothing is measured, or a file cannot be written.
    Cancelled
        If a stop was asked for.
    """
    signs = {"delimiter": ";", "decimal": ","} if decimal_comma else {}
    with Study.open(path, read_only=True) as study:
        return export_study(study, folder, tuple(formats), progress=progress, **signs)
