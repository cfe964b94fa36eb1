"""The middle of the report: fields with outlines, size distributions, verdict."""

from dataclasses import replace

import numpy as np
from reportlab.platypus import CondPageBreak
from reportlab.platypus import Table as GridTable

from measure.errors import KnownError
from measure.flags import reason_words
from measure.judge.specification import Specification, check
from measure.output.charts_layout import lay_out
from measure.output.charts_shapes import shortened
from measure.output.charts_style import ChartStyle
from measure.output.overlay import KIND_RGB, draw_overlay
from measure.output.report_facts import BatchFacts, FieldFacts, ReportFacts, SizedBatch, finite
from measure.output.report_parts import (
    WIDTH_PT,
    ChartBlock,
    PictureBlock,
    bullets,
    shown,
    table,
    text,
    together,
)
from measure.particles import Particles
from measure.sizes.plan import figure_words
from measure.sizes.rounding import figure_texts

_PICTURE_PX = 1200
_HIGH_PT = 176.0
_STYLE = ChartStyle(size_pt=7.2)
_UNITLESS = ("span", "number.geometric_sd")
_THREE_LINES = (7.5, 170.0)  # size of letters and length, points, of a batch's name beside each of its fields


def fields(report: ReportFacts) -> list:
    """Return a typical and the most doubtful field of each batch, with outlines."""
    # the list first: it fills what the sections before left of the page, and pictures need whole pages
    parts: list = [text("Fields", "heading"), _field_table(report), text("Pictures", "part"), _key()]
    for b in report.batches:
        chosen = _shown(b)
        if chosen:
            parts.append(_pictures(report, b, chosen))
    return parts


def _key() -> object:
    from reportlab.platypus import Paragraph

    from measure.output.report_parts import style

    words = [
        f'<font color="#{r:02x}{g:02x}{b:02x}"><b>{kind.value}</b></font> {line}'
        for (kind, (r, g, b)), line in zip(
            KIND_RGB.items(), ("unbroken", "long dashes", "short dashes", "dots"), strict=True
        )
    ]
    return Paragraph(
        f"Outlines: {', '.join(words)}; sparse dots where a piece is set aside, crossed out where another "
        "field counts it. The typical field is the one whose median size lies nearest to that of the batch, "
        "the most doubtful the one with the highest mean doubt.",
        style("small"),
    )


def _shown(b: BatchFacts) -> list[tuple[str, FieldFacts]]:
    ready = [f for f in b.fields if f.row.role == "field" and f.counted.any()]
    if not ready or not isinstance(b, SizedBatch):
        return []
    medians = [float(np.median(f.table["area_equivalent_diameter_um"][f.counted])) for f in ready]
    whole = float(np.median(b.sample.diameter_um))
    typical = ready[int(np.argmin(np.abs(np.array(medians) - whole)))]
    worst = ready[int(np.argmax([_mean_doubt(f) for f in ready]))]
    if worst is typical:
        return [("typical and most doubtful" if len(ready) > 1 else "the only field", typical)]
    return [("typical", typical), ("most doubtful", worst)]


def _mean_doubt(f: FieldFacts) -> float:
    """Return the mean doubt of the pieces counted; a piece without one, as of a table, has none."""
    return float(np.nan_to_num(f.table["doubt"][f.counted]).mean())


def _pictures(report: ReportFacts, b: BatchFacts, chosen: list[tuple[str, FieldFacts]]) -> object:
    wide = (WIDTH_PT - 10) / 2
    cells = [_picture(report, word, f, wide) for word, f in chosen]
    if len(cells) == 1:
        cells.append([text("", "small")])
    grid = GridTable([cells], colWidths=[wide + 5, wide + 5], hAlign="LEFT")
    grid.setStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0)])
    return together(text(b.batch.name, "part"), grid)


def _picture(report: ReportFacts, word: str, f: FieldFacts, wide: float) -> list:
    from measure.picture_file import read_picture

    caption = (
        f"{f.row.name}: {word}; {int(f.counted.sum())} of {len(f.counted)} pieces counted, "
        f"mean doubt {_mean_doubt(f):.2f}."
    )
    try:
        picture = read_picture(report.study.field_bytes(f.row.id), f.row.name)
    except KnownError as error:
        return [text(f"{caption} {error.text}", "small")]
    small, factor = shown(picture, _PICTURE_PX)
    whole = report.study.particles(f.row.id)
    scaled = Particles(whole.columns, tuple(o * np.float32(factor) for o in whole.outlines))
    drawn = draw_overlay(replace(picture, pixels=small, bit_depth=8), scaled)
    return [PictureBlock(drawn, wide, picture.width_px * f.scale.um_per_px), text(caption, "small")]


def _field_table(report: ReportFacts) -> object:
    rows = []
    for b in report.batches:
        for f in b.fields:
            q = f.row.quality
            remarks = [*(q.warnings if q is not None else ()), *f.row.result_notes]
            rows.append(
                [
                    shortened(b.batch.name, *_THREE_LINES), f.row.name,
                    str(len(f.counted)), str(int(f.counted.sum())),
                    f"{100 * q.cover:.1f}" if q is not None else "",
                    finite(q.focus, ".1f") if q is not None else "", " ".join(remarks),
                ]
            )  # fmt: skip
    head = ("batch", "field", "found", "counted", "cover, %", "edge, px", "remarks")
    return table(head, rows, (1.5, 3, 1, 1.2, 1.1, 1.1, 4), right_from=2, words_last=True)


def sizes(report: ReportFacts) -> list:
    """Return the distributions by volume and by number with every figure and its interval."""
    # of several batches the charts and the head of the table of each stand on one page, for leafing through;
    # a single one fills what the fields left of theirs
    charts_together = 2 if len(report.sized) > 1 else 1
    parts: list = [CondPageBreak(charts_together * _HIGH_PT + 110), text("Sizes", "heading")]
    if not report.sized:
        return [*parts, text("No piece is counted, so there are no sizes.")]
    parts.append(
        text(
            "Sizes are area-equivalent diameters x_A. Every figure holds for pieces from the lower limit on; "
            "finer ones are not counted. Brackets and bands are 95 % intervals.",
        )
    )
    for b in report.sized:
        charts = [ChartBlock(lay_out(c, WIDTH_PT, _HIGH_PT, _STYLE), WIDTH_PT, _HIGH_PT) for c in b.charts]
        room = 2 * _HIGH_PT + 120 if len(report.sized) > 1 else _HIGH_PT + 30
        parts += [CondPageBreak(room), text(b.batch.name, "part"), *charts]
        parts.append(_figures(b))
        left = ", ".join(f"{n} {reason_words(reason)}" for reason, n in b.summary.left_out.items())
        parts.append(text(f"Intervals {b.summary.basis}. Not counted: {left or 'none'}.", "small"))
        if b.summary.warnings:
            parts.append(together(text(f"Careful with {b.batch.name}", "part"), *bullets(b.summary.warnings)))
    # what was left out stands with each batch already; what holds for all is said once
    notes = dict.fromkeys(n for b in report.sized for n in b.summary.notes if not n.startswith("Left out"))
    return [*parts, *bullets(tuple(notes), "small")]


def _figures(b: SizedBatch) -> object:
    s, rows = b.summary, []
    for name in s.values:
        if name.startswith("felt"):
            continue
        value, low, high = figure_texts(s.value(name), *s.interval(name))
        unit, range_ = "" if name in _UNITLESS else "µm", f"{low} to {high}" if low else "none"
        rows.append([figure_words(name), value, unit, range_, finite(s.smallest_um)])
    head = ("figure", "value", "unit", "95 % interval", "lower limit, µm")
    return table(head, rows, (4, 1.5, 1, 3, 1.8))


def verdict(report: ReportFacts) -> list:
    """Return the verdict on each batch, with the profile it rests on and its sources."""
    parts: list = [text("Verdict", "heading")]
    kept = report.study.setting("specification", None)
    specification = Specification.from_json(kept) if kept else None
    for b in report.sized:
        v = b.verdict
        points = [*v.reasons, *([f"What would decide: {v.decides}"] if v.decides else [])]
        parts.append(together(text(b.batch.name, "part"), text(v.sentence), *bullets(points)))
        if specification is not None and specification.clauses:
            parts += _specification(specification, b)
    parts.append(text(f"Felt profile: {report.profile.name}", "part"))
    parts += bullets(report.profile.describe())
    return parts


def _specification(specification: Specification, b: SizedBatch) -> list:
    outcome, results = check(specification, b.sample, b.summary, grams=b.grams)
    name = specification.name[:1].upper() + specification.name[1:] or "Specification"
    reasons = [f"{r.outcome}: {r.reason} {r.decides}".strip() for r in results]
    return [text(f"{name}: {outcome}."), *bullets(reasons)]
