"""What a field's state, size and quality are called: plain words from plain values."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from app import number_text
from measure.model import FieldQuality, Scale
from measure.scale.cross_check import check_tag
from measure.scale.optics import smallest_resolved_um
from measure.study.records import JOINED, Batch, FieldRow
from measure.study.values import NOT_TOLD

ROLE_WORDS = {
    "field": "field of a smear",
    "blank": "blank oil",
    "part": "part of a joined or fused field",
    "ruling": "picture of a ruling",
    "table": "table, no picture",
}


@dataclass(frozen=True)
class State:
    """The state of a field: a few words, whether they want attention, and whether all is well."""

    words: str
    wants_care: bool = False
    remarks: tuple[str, ...] = ()
    done: bool = False


def field_state(row: FieldRow, scale: Scale | None, *, measuring: bool = False) -> State:
    """Return the state of a field in words."""
    remarks = tuple(remarks_of(row, scale))
    if row.role == "table":
        words = f"{ROLE_WORDS['table']}, {number_text.fixed(row.counts.counted, 0)} counted"
        return State(words, bool(remarks), remarks, done=not remarks)
    if row.role != "field":
        return State(ROLE_WORDS[row.role], bool(remarks), remarks)
    if measuring:
        return State("being measured…", remarks=remarks)
    if not row.measured:
        words = "needs a scale" if scale is None else "not measured yet"
        return State(words, scale is None or bool(remarks), remarks)
    words = f"{number_text.fixed(row.counts.counted, 0)} counted"
    if row.counts.at_frame:
        words += f", {number_text.fixed(row.counts.at_frame, 0)} at the edge"
    return State(words, bool(remarks), remarks, done=not remarks)


def remarks_of(row: FieldRow, scale: Scale | None) -> list[str]:
    """Return what is doubtful about a field, a sentence each."""
    if row.role == "table":
        return []
    found = [size_alarm(row, scale)]
    if row.role == "field":  # parts of a joined field are not measured again
        found.append(stale_words(row, scale))
        found += [note.replace(" um", " µm") for note in row.result_notes] if row.measured else []
        found += row.quality.warnings if row.measured and row.quality is not None else ()
    return [text for text in found if text]


def size_alarm(row: FieldRow, scale: Scale | None) -> str:
    """Return the alarm when a picture is not of the size its scale was made at, else empty text."""
    if scale is None or scale.width_px is None or scale.height_px is None or row.note.startswith(JOINED):
        return ""
    if (row.width_px, row.height_px) == (scale.width_px, scale.height_px):
        return ""
    here = number_text.picture_size(row.width_px, row.height_px)
    there = number_text.picture_size(scale.width_px, scale.height_px)
    text = f"This picture is {here}, its scale was made at {there}."
    ratio = scale.width_px / row.width_px
    if math.isclose(ratio, scale.height_px / row.height_px, rel_tol=0.01):
        return (
            f"{text} If only the camera's picture size changed, every length comes out "
            f"{number_text.number(ratio, 3)} times its true value. Choose or make a scale at this size."
        )
    return f"{text} The part of the picture differs too: choose or make a scale for this camera setting."


def stale_words(row: FieldRow, scale: Scale | None) -> str:
    """Return what changed since a field was measured and asks for measuring it again, else empty text.

    Outlines are in pixels and sizes follow the scale of today; only a lower limit set in micrometres was
    applied with the scale of then.
    """
    if not row.measured or scale is None:
        return ""
    limited = row.settings is not None and row.settings.smallest_um is not None
    if limited and row.um_per_px and not math.isclose(row.um_per_px, scale.um_per_px, rel_tol=1e-9):
        return "Its scale changed after it was measured. Measure it again for the right lower limit."
    before = [zone.tolist() for zone in row.result_zones]
    if before != [zone.tolist() for zone in row.zones]:
        return "The areas left out of it changed after it was measured. Measure it again."
    if row.result_blank_id not in (NOT_TOLD, row.blank_id):
        return "Its blank oil changed after it was measured. Measure it again."
    return ""


def fine_limit(row: FieldRow, scale: Scale | None, na: float | None) -> str:
    """Return that a field's lower limit is finer than its objective resolves, else empty text."""
    if na is None or scale is None or not row.measured or row.role != "field":
        return ""
    limit, resolved = (row.smallest_px or 0.0) * scale.um_per_px, smallest_resolved_um(na)
    if limit >= resolved:
        return ""
    return (
        f"Its lower limit of {number_text.quantity(limit)} is finer than the objective resolves; sizes hold "
        f"from {number_text.quantity(resolved)} on."
    )


def embedded_words(embedded_um_per_px: float | None, source: str, scale: Scale | None) -> tuple[str, bool]:
    """Return how the size a file claims compares with the scale, and whether they disagree.

    Parameters
    ----------
    embedded_um_per_px : float or None
        What the file says of itself.
    source : str
        Where in the file it stands.
    """
    if embedded_um_per_px is None:
        return "", False
    where = f" ({source})" if source else ""
    claim = f"The file says {number_text.quantity(embedded_um_per_px, 'µm', 4)} a pixel{where}"
    if scale is None:
        return f"{claim}. Gritline does not rely on that; make a scale to be sure.", False
    check = check_tag(embedded_um_per_px, source, scale.um_per_px)
    if check.verdict == "agrees":
        return check.words, False
    return f"{check.words} Sizes follow the scale.", check.verdict != "print"


def quality_rows(quality: FieldQuality) -> list[tuple[str, str, str]]:
    """Return the figures of a field as (name, value, what it is and why it matters)."""
    focus = (
        f"{number_text.fixed(quality.focus, 1)} px" if math.isfinite(quality.focus) else number_text.MISSING
    )
    return [
        (
            "Cover",
            number_text.percent(quality.cover),
            "Share of the picture covered by pieces. Above about a tenth many touch by chance: thin the "
            "paste with more oil.",
        ),
        (
            "Chance contacts",
            number_text.percent(quality.contacts_expected),
            "Share of pieces expected to touch another by mere chance, 1 − exp(−4 × cover). Each contact "
            "has to be cut, and each cut is an estimate.",
        ),
        (
            "Edge width",
            focus,
            "Half of the pieces have a softer edge than this. A wide edge means out of focus, and blur makes "
            "pieces look larger.",
        ),
        (
            "Uneven light",
            f"{number_text.fixed(quality.unevenness, 1)} L*",
            "How much the brightness of the oil varies over the picture, in CIELAB lightness (0 to 100). "
            "It is taken out; with blank oil it is surer.",
        ),
        (
            "Burnt out",
            number_text.percent(quality.clipped),
            "Share of the picture at the darkest or brightest value the camera can give. Nothing can be "
            "measured there: change the exposure.",
        ),
    ]


def batch_words(batch: Batch, fields: int) -> str:
    """Return a batch in a few words for its heading."""
    found = [number_text.count(fields, "field")]
    if batch.passes is not None:
        found.append(number_text.count_value(batch.passes, "pass", "passes"))
    if batch.minutes is not None:
        found.append(number_text.count_value(batch.minutes, "minute"))
    return " · ".join(found)


def station_words(rows: list[FieldRow], scales: Mapping[int | None, Scale]) -> tuple[bool, str]:
    """Return whether the Fields step is done, and its state in a few words."""
    fields = [row for row in rows if row.role == "field"]
    if not fields:
        tables = sum(row.role == "table" for row in rows)
        return bool(tables), number_text.count(tables, "table field") if tables else "no pictures yet"
    without = sum(row.scale_id is None for row in fields)
    unmeasured = sum(not row.measured for row in fields)
    again = sum(bool(stale_words(row, scales.get(row.scale_id))) for row in fields)
    alarmed = sum(bool(size_alarm(row, scales.get(row.scale_id))) for row in fields)
    total = number_text.count(len(fields), "field")
    if without:
        return False, f"{total}, {without} without a scale"
    if alarmed:
        return unmeasured == 0, f"{total}, {alarmed} of another size than the scale"
    if unmeasured or again:
        return False, f"{total}, {unmeasured + again} to measure"
    return True, f"{total} measured"
