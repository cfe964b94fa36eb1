"""The report: one PDF that stands alone. The same study gives the same bytes."""

import io
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from measure.errors import InvalidInput
from measure.progress import SILENT, Progress
from measure.safe_write import written_beside
from measure.study.study import Study

if TYPE_CHECKING:
    from measure.output.report_facts import ReportFacts

# name -> (words, what it shows)
SECTIONS: dict[str, tuple[str, str]] = {
    "answer": ("Title and answer", "What came out, in one paragraph and one table"),
    "record": ("Batches and slides", "Recipe, grinding, dilution, oil and film"),
    "scale": ("Scale", "Micrometres per pixel with uncertainty, and the ruling"),
    "fields": ("Fields", "A typical and the most doubtful field with outlines, and a list"),
    "sizes": ("Sizes", "Charts and figures with intervals and lower limits"),
    "verdict": ("Verdict", "Felt or not, with the felt profile and its sources"),
    "compare": ("Comparison", "Ratios between batches and the grind curve"),
    "tasting": ("Tasting", "Results of closed sessions, assessors unnamed"),
    "check": ("Spot check", "Agreement with blind outlines by hand"),
    "method": ("Method", "What ISO 13322-1 asks to be reported"),
    "settings": ("Settings", "Everything that was set"),
    "edits": ("Hand edits", "How many and of what sort"),
    "files": ("Picture files", "Fingerprint of each picture"),
    "cautions": ("Cautions", "What this report does not say, and whom to ask"),
}


def report_pdf(
    study: Study,
    *,
    sections: Sequence[str] = (),
    batches: Sequence[str] = (),
    title: str = "",
    progress: Progress = SILENT,
) -> bytes:
    """Return the report as the bytes of a PDF file.

    Parameters
    ----------
    study : Study
        Open study.
    sections : sequence of str
        Any of `SECTIONS`, in whatever order; all without any. The order of the report is its own.
    batches : sequence of str
        Names of batches; all without any.
    title : str
        Heading; made from the recipe when empty.

    Raises
    ------
    InvalidInput
        If a section or batch is not known, or nothing is measured.
    """
    from measure.output.report_facts import gather

    chosen = ordered_sections(sections)
    return pdf_of(gather(study, batches=batches, sections=chosen, title=title, progress=progress), progress)


def ordered_sections(names: Sequence[str]) -> tuple[str, ...]:
    """Return the sections wanted in the order of the report; all without any.

    Raises
    ------
    InvalidInput
        If one is not known.
    """
    for name in names:
        if name not in SECTIONS:
            raise InvalidInput(f"There is no section '{name}' in a report; use {', '.join(SECTIONS)}.")
    return tuple(name for name in SECTIONS if not names or name in names)


def pdf_of(report: "ReportFacts", progress: Progress = SILENT) -> bytes:
    """Return the report of facts that were gathered, its ``sections`` alone, as the bytes of a PDF file."""
    parts: list = []
    writers = _writers()
    for place, name in enumerate(report.sections):
        progress.report(0.7 + 0.15 * place / len(report.sections), SECTIONS[name][0])
        parts += writers[name](report)
    return _built(parts, report.title, progress)


def write_report(path: Path | str, study: Study, **options: Any) -> None:
    """Write the report whole or not at all; options as for `report_pdf`.

    Raises
    ------
    InvalidInput
        As `report_pdf`, or if the file cannot be written.
    """
    data = report_pdf(study, **options)
    with written_beside(path) as beside:
        beside.write_bytes(data)


def _writers() -> dict:
    from measure.output import report_findings, report_method, report_more, report_opening

    return {
        "answer": report_opening.answer,
        "record": report_opening.record,
        "scale": report_opening.scale,
        "fields": report_findings.fields,
        "sizes": report_findings.sizes,
        "verdict": report_findings.verdict,
        "compare": report_more.compare,
        "tasting": report_more.tasting,
        "check": report_more.spot_check,
        "method": report_method.method,
        "settings": report_method.settings,
        "edits": report_method.edits,
        "files": report_method.files,
        "cautions": report_method.cautions,
    }


def _built(parts: list, title: str, progress: Progress) -> bytes:
    from reportlab import rl_config
    from reportlab.lib.pagesizes import A4
    from reportlab.platypus import SimpleDocTemplate

    from measure.output.report_pages import numbered
    from measure.output.report_parts import WIDTH_PT, with_headings

    rl_config.useA85 = 0  # binary streams are smaller, and a fifth of the time went into writing them as text
    side = (A4[0] - WIDTH_PT) / 2 - 6
    file = io.BytesIO()
    document = SimpleDocTemplate(
        file, pagesize=A4, invariant=1, title=title, author="", creator="Gritline",
        leftMargin=side, rightMargin=side, topMargin=46, bottomMargin=48,
    )  # fmt: skip
    document.setProgressCallBack(
        lambda what, value: progress.report(0.9, f"page {value}") if what == "PAGE" else None
    )
    document.build(with_headings(parts), canvasmaker=numbered(title))
    return file.getvalue()
