import numpy as np
import pytest

from measure.errors import InvalidInput, StudyFileError
from measure.model import FieldQuality, FieldSettings
from measure.study.records import FieldCounts
from measure.study.study import Study
from tests.measure.study.builders import fill, picture, result


def test_pictures_come_back_byte_for_byte(study: Study) -> None:
    data = bytes(range(256)) * 50
    first, second = study.add_fields([picture("a", data=data), picture("b", role="blank", note="bare oil")])
    assert study.field_bytes(first) == data
    assert [(row.name, row.role, row.note, row.measured) for row in study.fields()] == [
        ("a", "field", "", False),
        ("b", "blank", "bare oil", False),
    ]
    assert study.undo_text() == "Add 2 pictures"
    assert study.field(second).width_px == 600


def test_the_same_picture_is_refused_and_its_twin_named(study: Study) -> None:
    study.add_fields([picture("a", data=b"same")])
    with pytest.raises(InvalidInput, match="c is the same picture as a"):
        study.add_fields([picture("b"), picture("c", data=b"same")])
    with pytest.raises(InvalidInput, match="e is the same picture as d"):
        study.add_fields([picture("d", data=b"new"), picture("e", data=b"new")])
    assert [row.name for row in study.fields()] == ["a"]
    assert study.twin_of(b"same") == "a"
    assert study.twin_of(b"new") is None


def test_a_picture_taken_back_may_be_added_again(study: Study) -> None:
    study.add_fields([picture("a")])
    study.undo()
    study.add_fields([picture("a")])
    assert [row.name for row in study.fields()] == ["a"]
    assert study._rows("SELECT count(*) FROM picture") == [(1,)]


def test_a_field_may_come_from_a_table_and_have_no_picture(study: Study) -> None:
    first, second = study.add_fields([picture(n, data=b"", role="table") for n in ("a", "b")])
    study.store_result(first, result(4))
    assert study.field(first).sha256 == ""
    assert study.field(first).counts.particles == 4
    with pytest.raises(StudyFileError, match="b has no picture"):
        study.field_bytes(second)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"data": b""}, "empty"),
        ({"role": "table"}, "is a table, so"),
        ({"width_px": 0}, "no size"),
        ({"role": "photo"}, "is one of field, blank"),
    ],
)
def test_a_useless_picture_is_refused(study: Study, change: dict, words: str) -> None:
    with pytest.raises(InvalidInput, match=words):
        study.add_fields([picture(**change)])
    assert study.fields() == []


def test_a_row_tells_how_the_field_was_measured(study: Study) -> None:
    field_id = fill(study, 50)
    row = study.field(field_id)
    assert row.measured
    assert row.settings == FieldSettings(4.0, 0.25)
    assert row.quality == FieldQuality(0.12, 0.3, 1.5, (210.0, 200.0, 180.0), 2.5, 0.0, 3.0, ("thick smear",))
    assert (row.um_per_px, row.smallest_px, row.result_notes) == (0.25, 10.0, ("cut strongly",))
    assert row.result_zones[0].tolist() == [[0, 0], [9, 0], [9, 9]]
    assert row.zones == ()
    found = study.particles(field_id)
    inside = (found["set_aside"] == "") & (found["flags"] & 1 == 0)
    assert row.counts == FieldCounts(
        50,
        int((found["set_aside"] != "").sum()),
        int(((found["set_aside"] == "") & (found["flags"] & 1 != 0)).sum()),
        tuple(int((inside & (found["kind"] == code)).sum()) for code in range(4)),
    )
    assert row.counts.counted == inside.sum()


def test_several_fields_change_as_one_step(study: Study) -> None:
    fill(study)
    ids = study.add_fields([picture("b"), picture("c")])
    study.update_fields(ids, batch_id=np.int64(1), scale_id=1)
    assert [row.batch_id for row in study.fields()] == [1, 1, 1]
    assert study.undo_text() == "Change batch and scale of 2 pictures"
    study.undo()
    assert [row.batch_id for row in study.fields()] == [1, None, None]


def test_zones_and_blank_come_back(study: Study) -> None:
    first, blank = study.add_fields([picture("a"), picture("b", role="blank")])
    zone = np.array([[1.5, 2], [30, 2], [30, 40]], dtype="f4")
    study.update_field(first, zones=[zone], blank_id=blank, note="label masked", name="A")
    row = study.field(first)
    assert np.array_equal(row.zones[0], zone)
    assert (row.blank_id, row.note, row.name) == (blank, "label masked", "A")
    with pytest.raises(InvalidInput, match="b is used by A"):
        study.remove_fields([blank])
    with pytest.raises(InvalidInput, match="its own blank"):
        study.update_field(first, blank_id=first)
    study.remove_fields([first, blank])
    assert study.fields() == []
    study.undo()
    assert study.field(first).blank_id == blank


@pytest.mark.parametrize("change", [{"role": "photo"}, {"batch_id": 7}, {"blank_id": 7}])
def test_a_senseless_change_of_a_field_is_refused(study: Study, change: dict) -> None:
    field_id = fill(study)
    with pytest.raises(InvalidInput, match=r"is one of|any more"):
        study.update_field(field_id, **change)
    with pytest.raises(TypeError, match="no sha256"):
        study.update_field(field_id, sha256="0")


def test_what_a_result_depends_on_raises_the_revision(study: Study) -> None:
    field_id = fill(study)
    before = study.revision(field_id)
    study.update_field(field_id, name="renamed", note="x", batch_id=None)
    assert study.revision(field_id) == before
    for change in ({"zones": [np.zeros((3, 2))]}, {"scale_id": None}):
        study.update_field(field_id, **change)
        assert study.revision(field_id) > before
        before = study.revision(field_id)
    study.undo()
    assert study.revision(field_id) > before
    assert study.field(field_id).revision == study.revision(field_id)


def test_nan_in_a_quality_comes_back(study: Study) -> None:
    field_id = fill(study)
    quality = FieldQuality(0.0, 0.0, 1.0, (1.0, 1.0, 1.0), float("nan"), 0.0, 0.0)
    study.store_result(field_id, result(0, quality=quality))
    assert np.isnan(study.field(field_id).quality.focus)
    assert study.field(field_id).counts == FieldCounts()
    assert len(study.particles(field_id)) == 0


def test_the_list_of_fields_follows_every_change_also_one_taken_back(study: Study) -> None:
    ids = study.add_fields([picture("a"), picture("b", data=b"other")])
    assert [row.name for row in study.fields()] == ["a", "b"]

    def half_done() -> None:
        with study.one_step("half done"):
            study.update_field(ids[0], name="c")
            assert [row.name for row in study.fields()] == ["c", "b"]
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        half_done()
    assert [row.name for row in study.fields()] == ["a", "b"]
    study.update_field(ids[0], name="d")
    assert [row.name for row in study.fields()] == ["d", "b"]
    study.undo()
    assert [row.name for row in study.fields()] == ["a", "b"]
