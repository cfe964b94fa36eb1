"""What the Report station works out on a thread: the report's bytes and its pages as pictures."""

import threading
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtGui import QImage

from measure.output.export import export_study
from measure.output.report import ordered_sections, pdf_of
from measure.progress import SILENT, Progress
from measure.study.study import Study

if TYPE_CHECKING:
    from measure.output.report_facts import ReportFacts

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
    """A report, its pages and what it was made from; of a very long one only the first pages are painted."""

    question: ReportQuestion
    data: bytes
    pages: tuple[QImage, ...]
    count: int
    facts: "ReportFacts"


def make_report(
    question: ReportQuestion, progress: Progress = SILENT, known: ReportAnswer | None = None
) -> ReportAnswer:
    """Make the report from the file, as it stands on disk.

    Parameters
    ----------
    known : ReportAnswer, optional
        Made since the study last changed: its figures are taken over, so that other sections or another title
        need only new pages.

    Raises
    ------
    KnownError
        If nothing is measured, or the file cannot be read.
    """
    from measure.output.report_facts import default_title, gather

    sections = ordered_sections(question.sections)
    with Study.open(question.path, read_only=True) as study:
        if known is not None and _same_figures(known, question):
            title = question.title or default_title(known.facts.batches)
            facts = replace(known.facts, study=study, sections=sections, title=title)
        else:
            facts = gather(
                study, sections=sections, batches=question.batches, title=question.title, progress=progress
            )
        data = pdf_of(facts, progress)
    progress.report(0.95, "pages")
    pages, count = paint_pages(data)
    return ReportAnswer(question, data, pages, count, facts)


def _same_figures(known: ReportAnswer, question: ReportQuestion) -> bool:
    """Whether figures made for one report serve another, comparison included if that one asks for it."""
    facts, asked = known.facts, question.sections
    compared = facts.comparison is not None or bool(facts.why_not_compared)
    same = (known.question.path, known.question.batches) == (question.path, question.batches)
    return same and (compared or (bool(asked) and "compare" not in asked))


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
