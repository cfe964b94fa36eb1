"""The first part of the report: title, answer, record of batches and slides, scale."""

from measure import __version__
from measure.judge.compare_words import sentences
from measure.model import Scale
from measure.output.report_facts import (
    COMPARED,
    BatchFacts,
    ReportFacts,
    SizedBatch,
    finite,
    scale_unstated,
)
from measure.output.report_parts import WIDTH_PT, PictureBlock, facts, shown, table, text, together
from measure.sizes.rounding import figure_texts, short_number
from measure.study.records import TABLE_METHOD, ScaleRow

_RULING_PX = 1400


def answer(report: ReportFacts) -> list:
    """Return title and answer, in one paragraph."""
    when = report.as_of[:10]
    head = f"Study {report.study.path.stem}, as it stood on {when}" if when else report.study.path.stem
    parts = [text(report.title, "title"), text(f"{head}  ·  Gritline {__version__}", "small")]
    parts += [text("Answer", "heading"), *(text(words, "lead") for words in _answer_sentences(report))]
    if report.sized:
        parts.append(_overview(report))
    if report.left_out:
        parts.append(text(f"Batches not in this report: {', '.join(report.left_out)}.", "small"))
    return parts


def _answer_sentences(report: ReportFacts) -> list[str]:
    if not report.sized:
        return ["No piece is counted in any field, so nothing can be said about sizes."]
    said = [f"{b.batch.name}: {b.verdict.sentence[0].lower()}{b.verdict.sentence[1:]}" for b in report.sized]
    if report.comparison is not None:
        names = [b.name for b in report.comparison.batches]
        first_last = {names[0], names[-1]}
        rows = [r for r in report.comparison.ratios if r.figure == COMPARED and not r.kind]
        texts = sentences(report.comparison, COMPARED)
        said += [t for r, t in zip(rows, texts, strict=True) if {r.first, r.second} == first_last]
    said.append("A verdict on size is no proof that a food is safe to eat.")
    return said


def _overview(report: ReportFacts) -> object:
    rows = []
    for b in report.sized:
        s = b.summary
        cells = [_with_interval(b, name) for name in ("volume.x50_um", "volume.x90_um")]
        rows.append([b.batch.name, f"{s.pieces:,.0f}", finite(s.smallest_um), *cells, b.verdict.word])
    head = ("batch", "pieces", "counted from, µm", "x_{50,3}, µm", "x_{90,3}, µm", "verdict")
    return table(head, rows, (3, 1.3, 1.6, 3, 3, 1.8))


def _with_interval(batch: SizedBatch, name: str) -> str:
    value, low, high = figure_texts(batch.summary.value(name), *batch.summary.interval(name))
    return f"{value} ({low} to {high})" if low else value


def record(report: ReportFacts) -> list:
    """Return what is known of each batch and its slides."""
    parts = [text("Batches and slides", "heading")]
    for b in report.batches:
        batch = b.batch
        grams = b.grams if isinstance(b, SizedBatch) else None
        rows = [
            ("Recipe", batch.recipe),
            ("Mill setting", batch.mill_setting),
            ("Passes", finite(batch.passes, "g")),
            ("Grinding time", f"{batch.minutes:g} min" if batch.minutes is not None else ""),
            ("Notes", batch.notes),
            ("Fields", _fields_words(b)),
            ("Paste looked at", f"{short_number(1e6 * grams)} µg" if grams else ""),
        ]
        parts.append(together(text(batch.name, "part"), facts(rows)))
        if b.slides:
            parts.append(_slides(b))
        else:
            parts.append(text("No slide is on record, so dilution, oil and film are not known.", "small"))
    return parts


def _fields_words(b: BatchFacts) -> str:
    pictures = sum(f.row.role == "field" for f in b.fields)
    tables = len(b.fields) - pictures
    return f"{pictures} measured" + (f", {tables} from imported tables" if tables else "")


def _slides(b: BatchFacts) -> object:
    rows = [[s.name, s.oil, finite(s.dilution, "g"), finite(s.film_um, "g"), s.notes] for s in b.slides]
    head = ("slide", "oil", "oil for one part of paste", "film, µm", "notes")
    return table(head, rows, (2, 2, 2, 1, 3), right_from=9)


def scale(report: ReportFacts) -> list:
    """Return each scale in use with its uncertainty and the picture of its ruling."""
    parts = [text("Scale", "heading")]
    for row in report.scales:
        s = row.scale
        name = s.zoom or f"scale {row.id}"
        u = s.standard_uncertainty_um_per_px
        value = f"{s.um_per_px:.6g} µm per px"
        share = f"{100 * s.relative_uncertainty:.2g} %"
        value += f", standard uncertainty {u:.2g} µm per px ({share})" if u else ", uncertainty not known"
        if scale_unstated(s):
            value = "not stated by the table; its sizes are in µm already"
        rows = [
            ("Scale", value),
            ("Method", {"ruling": "fit of the whole ruling of a stage micrometer"}.get(s.method, s.method)),
            ("Graduations", _graduations(s)),
            ("Certificate", _certificate(s)),
            ("Picture size", f"{s.width_px} × {s.height_px} px" if s.width_px else ""),
            ("Made", s.made[:10]),
            ("Remarks", " ".join(s.notes)),
        ]
        picture = _ruling(report, row)
        parts.append(together(text(name, "part"), facts(rows), *picture))
    return parts


def _graduations(s: Scale) -> str:
    if not s.graduations:
        return ""
    words = f"{s.graduations}"
    if s.division_um:
        words += f", {s.division_um:g} µm apart"
    if s.residual_px is not None:
        words += f", scatter about the fit {s.residual_px:.2g} px"
    return words


def _certificate(s: Scale) -> str:
    if s.method == TABLE_METHOD:
        return "not known"
    if s.certificate_um is None:
        return "none given; the ruling's own error is not in the uncertainty" if s.method != "typed" else ""
    k = f" (k = {s.coverage_factor:g})" if s.coverage_factor else ""
    return f"expanded uncertainty of the ruling's length {s.certificate_um:g} µm{k}"


def _ruling(report: ReportFacts, row: ScaleRow) -> list:
    """Return the picture of the ruling with the graduations found drawn in."""
    import cv2

    from measure.errors import KnownError
    from measure.picture_file import read_picture
    from measure.scale.fit import fit_from_plain

    data = report.study.scale_picture(row.id)
    if data is None:
        return []
    try:
        picture = read_picture(data, row.picture_name)
    except KnownError as error:
        return [text(f"The picture of the ruling cannot be shown: {error.text}", "small")]
    small, factor = shown(picture, _RULING_PX)
    fit = fit_from_plain(row.fit, row.scale) if row.fit else None
    for x0, y0, x1, y1 in fit.lines * factor if fit is not None else ():
        start, end = ((round(float(x) * 16), round(float(y) * 16)) for x, y in ((x0, y0), (x1, y1)))
        cv2.line(small, start, end, (122, 59, 105), 2, cv2.LINE_AA, 4)
    found = f"; {len(fit.lines)} graduations found are marked" if fit is not None else ""
    across = picture.width_px * row.scale.um_per_px
    return [
        PictureBlock(small, min(0.62 * WIDTH_PT, 270.0 * small.shape[1] / small.shape[0]), across),
        text(f"{row.picture_name}{found}.", "small"),
    ]
