"""Printable tasting papers: a worksheet for each assessor and, apart from them, the key.

The same plan always gives the same bytes.
"""

from functools import cache
from pathlib import Path
from xml.sax.saxutils import escape

from measure.judge.panel_session import METHODS, PanelPlan, PanelSample
from measure.judge.serving import CAUTIONS, Serving
from measure.output.fonts import font_folder, with_east_asian
from measure.safe_write import written_beside

_FONT, _BOLD = "GritlineText", "GritlineTextBold"
_GAP = "\u00a0" * 8
_ANSWER_WIDTH_MM = {"ranking": 70, "scale": 25}


def write_worksheets(path: Path | str, plan: PanelPlan, name: str = "") -> None:
    """Write one worksheet an assessor, each on a page of its own, without anything of the key.

    Parameters
    ----------
    path : path
        PDF file to write.
    plan : PanelPlan
    name : str
        Of the session, for the heading.

    Raises
    ------
    InvalidInput
        If the file cannot be written.
    """
    from reportlab.platypus import PageBreak

    parts: list = []
    for place, assessor in enumerate(plan.assessors):
        if place:
            parts.append(PageBreak())
        parts += _worksheet(plan, assessor, name)
    _write(path, parts, f"Tasting worksheets {name}".strip())


def write_key(path: Path | str, plan: PanelPlan, name: str = "") -> None:
    """Write the key: which sample stands behind which code, and the right answers.

    Raises
    ------
    InvalidInput
        If the file cannot be written.
    """
    _write(path, _key(plan, name), f"Tasting key {name}".strip())


def _write(path: Path | str, parts: list, title: str) -> None:
    from reportlab.lib.pagesizes import A4
    from reportlab.lib.units import mm
    from reportlab.platypus import SimpleDocTemplate

    _fonts()
    with written_beside(path) as beside:
        SimpleDocTemplate(
            str(beside), pagesize=A4, invariant=1, title=title, author="Gritline",
            leftMargin=20 * mm, rightMargin=20 * mm, topMargin=16 * mm, bottomMargin=16 * mm,
        ).build(parts)  # fmt: skip


@cache
def _fonts() -> None:
    """Register a font that holds the names of people of any Latin, Greek or Cyrillic spelling."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    folder = font_folder()
    pdfmetrics.registerFont(TTFont(_FONT, str(folder / "DejaVuSans.ttf")))
    pdfmetrics.registerFont(TTFont(_BOLD, str(folder / "DejaVuSans-Bold.ttf")))


def _text(words: str, size: float = 10, *, bold: bool = False, after: float = 6) -> object:
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Paragraph

    _fonts()
    style = ParagraphStyle(
        f"{size}{bold}{after}", fontName=_BOLD if bold else _FONT, fontSize=size, leading=size * 1.35,
        spaceAfter=after,
    )  # fmt: skip
    return Paragraph(with_east_asian(escape(words)), style)


def _worksheet(plan: PanelPlan, assessor: str, name: str) -> list:
    method = METHODS[plan.method]
    plates = [s for _, s in plan.plates_of(assessor)]
    head = f"{name}: {method.title[0].lower()}{method.title[1:]}" if name else method.title
    parts = [
        _text(head, 16, bold=True, after=2),
        _text(f"{method.title}, {method.standard}", 9, after=8),
        _text(f"Assessor: {assessor}{_GAP}Date: ____________{_GAP}Time: ________", 11, after=8),
        _text(method.task, 11, after=10),
        _answers(plan, plates),
        _text("Remarks: ______________________________________________________________", 10, after=12),
        _text("Before you taste", 11, bold=True, after=3),
        *(_text(f"• {caution}", 8.5, after=2) for caution in CAUTIONS),
    ]
    consent = (
        "I have read this, none of what is served is something I must avoid, and I taste of my own will. "
        "I can stop at any time." + _GAP + "Signature: ______________________"
    )
    return [*parts, _text("", 6), _text(consent, 9.5)]


def _answers(plan: PanelPlan, plates: list[Serving]) -> object:
    method = METHODS[plan.method]
    width = len(plates[0].codes)
    if plan.method == "scale":
        rows = [["round", "code", "0 = not gritty at all, 10 = as gritty as can be"]]
        rows += [[str(s.round), code, ""] for s in plates for code in s.codes]
        return _table(rows, [20, 30, 105])
    heads = ["row" if plan.method == "series" else "round"]
    rows = [[*heads, "taste from left to right", *[""] * (width - 1), method.answer]]
    rows += [[str(i), *s.codes, ""] for i, s in enumerate(plates, start=1)]
    answer = _ANSWER_WIDTH_MM.get(plan.method, 45)
    each = min(25.0, (155.0 - answer) / width)
    return _table(rows, [15, *[each] * width, answer], span=width)


def _table(rows: list[list], widths_mm: list[float], span: int = 1, size: float = 11) -> object:
    from reportlab.lib import colors
    from reportlab.lib.units import mm
    from reportlab.platypus import Table, TableStyle

    style = [
        ("FONT", (0, 0), (-1, 0), _BOLD, size - 2),
        ("FONT", (0, 1), (-1, -1), _FONT, size),
        ("GRID", (0, 0), (-1, -1), 0.5, colors.grey),
        ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("TOPPADDING", (0, 1), (-1, -1), size * 0.55),
        ("BOTTOMPADDING", (0, 1), (-1, -1), size * 0.55),
    ]
    if span > 1:
        style.append(("SPAN", (1, 0), (span, 0)))
    table = Table(rows, [w * mm for w in widths_mm], repeatRows=1, spaceAfter=12, hAlign="LEFT", splitInRow=1)
    table.setStyle(TableStyle(style))
    return table


def _key(plan: PanelPlan, name: str) -> list:
    method = METHODS[plan.method]
    parts = [
        _text(f"Key: {name or method.title}", 16, bold=True, after=2),
        _text("Keep this away from assessors and from whoever enters the answers.", 11, bold=True, after=6),
        _text(
            f"{method.title}, {method.standard}; {len(plan.assessors)} assessors, "
            f"{plan.rounds} {'round' if plan.rounds == 1 else 'rounds'}, seed {plan.seed}.",
            9,
        ),
        _text("Samples: " + "; ".join(_sample_words(s) for s in plan.samples), 9, after=8),
    ]
    rows: list[list] = [["assessor", "round", "codes and samples, left to right", "right answer"]]
    for serving in plan.servings:
        plate = "; ".join(f"{c} = {n}" for c, n in zip(serving.codes, serving.samples, strict=True))
        rows.append([
            _text(serving.assessor, 8, after=0), str(serving.round), _text(plate, 8, after=0),
            serving.answer or "none",
        ])  # fmt: skip
    parts.append(_table(rows, [32, 15, 98, 25], size=8.5))
    parts.append(_text("Before tasting", 11, bold=True, after=3))
    return [*parts, *(_text(f"• {caution}", 8.5, after=2) for caution in CAUTIONS)]


def _sample_words(sample: PanelSample) -> str:
    size = f", x_90,3 = {sample.size_um:.3g} µm" if sample.size_um > 0 else ""
    return f"{sample.name}{size}"


def write_pages(path: Path | str, parts: list, title: str) -> None:
    """Write parts of a page one below the other into a PDF, in the look of the worksheets.

    Raises
    ------
    InvalidInput
        If the file cannot be written.
    """
    _write(path, parts, title)


def page_text(words: str, size: float = 10, *, bold: bool = False) -> object:
    """Return a paragraph for `write_pages`."""
    return _text(words, size, bold=bold)
