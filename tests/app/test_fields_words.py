"""What a field's state is called."""

import dataclasses

import numpy as np
import pytest

from app.number_text import THIN
from app.stations import fields_words
from app.stations.fields_care import left_out_words
from measure.model import FieldQuality, FieldSettings, Scale
from measure.study.records import Batch, FieldCounts, FieldRow
from measure.study.values import NOT_TOLD

SCALE = Scale(0.5, width_px=1600, height_px=1200)
QUALITY = FieldQuality(0.08, 0.27, 1.0, (230, 210, 160), 3.2, 0.001, 4.0, ("Half of it is out of focus.",))


def row(**changes: object) -> FieldRow:
    plain = FieldRow(
        id=1, name="a.png", batch_id=1, scale_id=1, slide_id=None, blank_id=None, sha256="", width_px=1600,
        height_px=1200, role="field", note="", zones=(), measured=False,
    )  # fmt: skip
    return dataclasses.replace(plain, **changes)


def plain(text: str) -> str:
    return text.replace(THIN, " ")


def test_a_field_says_what_it_lacks():
    assert fields_words.field_state(row(scale_id=None), None).words == "needs a scale"
    assert fields_words.field_state(row(), SCALE).words == "not measured yet"
    assert fields_words.field_state(row(), SCALE, measuring=True).words == "being measured…"
    assert fields_words.field_state(row(role="blank"), None) == fields_words.State("blank oil")


def test_a_measured_field_says_how_many_and_what_is_doubtful():
    counts = FieldCounts(50, 3, 7, (30, 5, 5, 0))
    measured = row(measured=True, counts=counts, quality=QUALITY, um_per_px=0.5)
    state = fields_words.field_state(measured, SCALE)
    assert state.words == "40 counted, 7 at the edge"
    assert state.remarks == ("Half of it is out of focus.",)
    assert state.wants_care


def test_another_picture_size_is_alarmed_with_its_effect():
    text = plain(fields_words.size_alarm(row(width_px=800, height_px=600), SCALE))
    assert "This picture is 800 × 600 px, its scale was made at 1 600 × 1 200 px" in text
    assert "2.00 times" in text
    cropped = plain(fields_words.size_alarm(row(width_px=1600, height_px=900), SCALE))
    assert "part of the picture differs" in cropped
    assert fields_words.size_alarm(row(), SCALE) == ""
    assert fields_words.size_alarm(row(), Scale(0.5)) == ""
    assert fields_words.size_alarm(row(), None) == ""


def test_what_changed_since_measuring_is_said():
    measured = row(measured=True, um_per_px=0.5, settings=FieldSettings(smallest_um=5.0))
    assert fields_words.stale_words(measured, SCALE) == ""
    # outlines are in px: without a limit in µm another scale changes nothing that was measured
    free = dataclasses.replace(measured, settings=FieldSettings())
    assert fields_words.stale_words(free, Scale(0.6)) == ""
    assert "scale changed" in fields_words.stale_words(measured, Scale(0.6))
    zone = np.array([[0, 0], [5, 0], [5, 5]])
    assert "areas left out of it changed" in fields_words.stale_words(
        dataclasses.replace(measured, zones=(zone,)), SCALE
    )
    assert fields_words.stale_words(row(), SCALE) == ""


@pytest.mark.parametrize(
    ("claim", "scale", "part", "differs"),
    [
        (None, SCALE, "", False),
        (0.503, SCALE, "the scale agrees", False),
        (0.6, SCALE, "than the scale. A ruling tells which is right. Sizes follow the scale.", True),
        (0.4, SCALE, "20 % less than the scale", True),
        (264.6, SCALE, "529 times the scale. One of the two is wrong", True),
        (5.0, SCALE, "about ten times larger than the scale. One of the two is wrong", True),
        (0.5, None, "make a scale to be sure", False),
    ],
)
def test_what_the_file_claims_is_compared_never_believed(
    claim: float | None, scale: Scale | None, part: str, differs: bool
):
    words, said = fields_words.embedded_words(claim, "OME-XML", scale)
    assert part in plain(words)
    assert said is differs


def test_leaving_out_says_which_fields_ask_to_be_measured_again():
    assert "next measuring" in left_out_words([row()])
    assert "again" not in left_out_words([row(), row()])
    assert "measured already: measure it again" in left_out_words([row(measured=True)])
    words = plain(left_out_words([row(measured=True), row(measured=True), row()]))
    assert "each of 3 fields" in words
    assert "2 fields were measured already: measure them again" in words


def test_a_print_resolution_is_no_alarm():
    words, differs = fields_words.embedded_words(
        25400 / 300, "PNG pHYs, a print resolution of 300 dots per inch, not the size in the object", SCALE
    )
    assert "without knowing the zoom" in words
    assert not differs


def test_another_blank_oil_than_it_was_measured_with_is_told():
    measured = row(measured=True, um_per_px=0.5, settings=FieldSettings())
    now = dataclasses.replace(measured, result_blank_id=None, blank_id=7)
    assert "blank oil changed" in fields_words.stale_words(now, SCALE)
    untold = dataclasses.replace(measured, result_blank_id=NOT_TOLD, blank_id=7)
    assert fields_words.stale_words(untold, SCALE) == ""


def test_quality_carries_a_plain_word_for_each_figure():
    rows = fields_words.quality_rows(QUALITY)
    assert [(name, plain(value)) for name, value, _ in rows] == [
        ("Cover", "8.0 %"),
        ("Chance contacts", "27 %"),
        ("Edge width", "3.2 px"),
        ("Uneven light", "4.0 L*"),
        ("Burnt out", "0.1 %"),
    ]
    assert all(len(tip) > 40 for _, _, tip in rows)
    # 1 - exp(-4 phi) at 8 % cover: check of the figure shown beside its formula
    assert 1 - np.exp(-4 * QUALITY.cover) == pytest.approx(QUALITY.contacts_expected, abs=0.005)
    blurless = dataclasses.replace(QUALITY, focus=float("nan"))
    assert fields_words.quality_rows(blurless)[2][1] == "–"


def test_batch_in_words():
    assert (
        plain(fields_words.batch_words(Batch("x", passes=3, minutes=17.5), 3))
        == "3 fields · 3 passes · 17.5 minutes"
    )
    assert fields_words.batch_words(Batch("x"), 0) == "no fields"


def test_station_counts_what_is_left():
    scales = {1: SCALE}
    assert fields_words.station_words([], scales) == (False, "no pictures yet")
    assert fields_words.station_words([row(role="blank")], scales) == (False, "no pictures yet")
    assert fields_words.station_words([row(), row(scale_id=None)], scales) == (
        False,
        "2 fields, 1 without a scale",
    )
    assert fields_words.station_words([row()], scales) == (False, "1 field, 1 to measure")
    assert fields_words.station_words([row(measured=True)], scales) == (True, "1 field measured")
    zone = np.array([[0, 0], [5, 0], [5, 5]])
    late = row(measured=True, zones=(zone,))
    assert fields_words.station_words([late], scales) == (False, "1 field, 1 to measure")
    other = row(measured=True, width_px=800)
    assert fields_words.station_words([other], scales) == (True, "1 field, 1 of another size than the scale")


def test_a_limit_finer_than_the_objective_is_said():
    measured = row(measured=True, smallest_px=10.0, um_per_px=0.5)
    # twice 0.61 lambda / NA (Rayleigh) at 0.55 µm
    assert plain(fields_words.fine_limit(measured, SCALE, 0.05)) == (
        "Its lower limit of 5.00 µm is finer than the objective resolves; sizes hold from 13.4 µm on."
    )
    assert fields_words.fine_limit(measured, SCALE, 0.25) == ""
    assert fields_words.fine_limit(measured, SCALE, None) == ""
    assert fields_words.fine_limit(row(), SCALE, 0.05) == ""
