"""What report and export say of pieces that were taken from a table: nothing that nobody here knows."""

import re

import numpy as np
import pypdfium2
import pytest

from app.__main__ import main
from measure.errors import InvalidInput
from measure.output.export import safe_name
from measure.output.report import report_pdf
from measure.output.table_import import take_in
from measure.output.table_source import read_table
from measure.output.tables import write_csv
from measure.study.study import Study

HEAD = "area_equivalent_diameter_um"


@pytest.fixture
def imported(tmp_path):
    """A study of three fields of one table that tells sizes alone, and the table's folder."""
    d = np.random.default_rng(2).lognormal(3, 0.4, 90) + 5
    fields = [f"f{i % 3}.png" for i in range(90)]
    write_csv(tmp_path / "t.csv", {"batch": ["long " * 40] * 90, "field": fields, HEAD: d})
    with Study.create(tmp_path / "s.gritline") as study:
        take_in(study, read_table(tmp_path / "t.csv"))
        yield study


def _words(study: Study) -> str:
    document = pypdfium2.PdfDocument(report_pdf(study))
    text = " ".join(page.get_textpage().get_text_range() for page in document)
    document.close()
    return re.sub(r"\s+", " ", text)


def test_the_report_claims_no_scale_frame_or_threshold_of_a_table(imported):
    said = _words(imported)
    assert "Scale not stated by the table; its sizes are in µm already" in said
    assert "Measurement frame of 3 fields taken from tables it is not known" in said
    assert "as their maker did it, not known here" in said
    assert "as the tables state it; figures by number" in said
    for claim in (
        "1 × 1 px",
        "1 µm per px",
        "mm² altogether",
        "half of its own contrast",
        "10 px where none",
    ):
        assert claim not in said
    assert "Take in a table 1 0" in said
    assert "Take with a camera" not in said


def test_a_table_with_its_fields_keeps_frame_and_scale(tmp_path):
    d = np.random.default_rng(2).lognormal(3, 0.4, 40) + 5
    write_csv(tmp_path / "t.csv", {"field": ["a.png"] * 40, HEAD: d, "um_per_px": [0.5] * 40})
    write_csv(tmp_path / "fields.csv", {"field": ["a.png"], "width_px": [640], "height_px": [480]})
    with Study.create(tmp_path / "s.gritline") as study:
        take_in(study, read_table(tmp_path / "t.csv"))
        said = _words(study)
    assert "640 × 480 px (1 field)" in said
    assert "0.5 µm per px" in said


def test_charts_of_long_names_still_tell_their_weighting(imported, tmp_path, capsys):
    path = imported.path
    imported.close()
    out = tmp_path / "out"
    assert main(["export", str(path), "--out", str(out), "--format", "svg", "--format", "labels"]) == 0
    names = sorted(p.stem for p in (out / "charts").iterdir())
    assert len(names) == 2
    assert names[0].endswith(" by number")
    assert names[1].endswith(" by volume")
    # formats that have nothing to hold are named instead of passed over
    assert "--format labels: nothing is written, for no field of this study has a picture." in (
        capsys.readouterr().err
    )
    assert safe_name("..", set(), " by number") == "batch by number"


@pytest.fixture
def tasted(tmp_path):
    """A study with an open tasting, one closed and one nobody answered, and no measured field."""
    from measure.judge.panel_session import PanelSample, make_plan
    from measure.study.records import Tasting

    plan = make_plan("triangle", [PanelSample("a"), PanelSample("b")], ["Ana", "Bea"], seed=1)
    answers = {"answers": {str(i): s.answer for i, s in enumerate(plan.servings)}}
    with Study.create(tmp_path / "t.gritline") as study:
        study.add_tasting(Tasting("triangle", (), "open one", plan.to_json(), {"answers": {}}))
        study.add_tasting(Tasting("triangle", (), "spring", plan.to_json(), answers, True))
        study.add_tasting(Tasting("triangle", (), "nobody came", plan.to_json(), {"answers": {}}, True))
        yield study


def test_tastings_are_reported_before_anything_is_measured(tasted):
    said = _words(tasted)
    assert said.startswith("Tasting Study t")
    assert (
        "0 of 2 plates answered; the session is still open. • The result is shown once it is closed." in said
    )
    assert "2 of 2 right" in said
    assert "Nobody answered, so there is no result." in said
    assert "cannot be read" not in said
    assert "Taste only plain paste" in said
    for words in ("Sizes are area-equivalent", "Felt profile", "ISO 13322-1"):
        assert words not in said


def test_too_few_answers_are_said_and_no_interval_is_made_of_them(tmp_path):
    from measure.judge.panel_session import PanelSample, make_plan, with_answer
    from measure.study.records import Tasting

    with Study.create(tmp_path / "t.gritline") as study:
        for method, names in (("ranking", "abc"), ("scale", "a")):
            plan = make_plan(method, [PanelSample(n) for n in names], ["Ana", "Bea"], seed=1)
            codes = plan.servings[0].codes
            one = with_answer({}, plan, 0, list(codes) if method == "ranking" else "5")
            study.add_tasting(Tasting(method, (), method, plan.to_json(), {"answers": one}, True))
        said = _words(study)
    assert "ranking: A ranking needs the answers of at least two assessors." in said
    assert "a: grittiness 5 of 10 (one assessor, no interval), felt by 1 of 1." in said
    assert "nan" not in said


def test_a_section_that_needs_fields_is_refused_without_any(tasted):
    with pytest.raises(InvalidInput, match="nothing to report"):
        report_pdf(tasted, sections=["sizes"])
