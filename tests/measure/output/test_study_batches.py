"""Batches of a study and of files, ready to be compared."""

from dataclasses import replace

import pytest

from measure.errors import InvalidInput
from measure.judge.agreement import slide_repeatability
from measure.output.study_batches import by_grinding, read_batches, slide_of_field, study_batches
from measure.output.study_tables import field_tables, sized_field, study_tables
from measure.output.tables import write_csv
from measure.study.study import Study
from tests.app.compare_study import FIELDS, make_compare_study


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    return make_compare_study(tmp_path_factory.mktemp("batches") / "s.gritline")


def test_a_study_gives_its_batches_with_scale_passes_and_slides(path):
    with Study.open(path, read_only=True) as study:
        found = study_batches(study)
        slides = slide_of_field(study)
    assert [(b.name, b.passes) for b in found] == [("pass 1", 1.0), ("pass 3", 3.0), ("pass 6", 6.0)]
    assert len({b.scale for b in found}) == 1
    assert all(len(b.sample.field_names) == FIELDS for b in found)
    assert found[0].sample.scale_relative_uncertainty == pytest.approx(0.002)
    assert slide_repeatability(found[0].sample, slides).slides == 2


def test_a_scale_of_another_picture_size_is_told_with_the_sizes_and_a_joined_field_is_excused(path):
    with Study.open(path, read_only=True) as study:
        row, scale, table = next(iter(field_tables(study)))
    here = replace(scale, width_px=row.width_px, height_px=row.height_px)
    assert not sized_field(row, here, table).other_size
    assert not sized_field(row, replace(here, width_px=None, height_px=None), table).other_size
    other = replace(here, width_px=2 * row.width_px)
    assert sized_field(row, other, table).other_size
    assert not sized_field(replace(row, note="Joined from a.png, b.png"), other, table).other_size
    assert not sized_field(replace(row, role="table"), other, table).other_size


def test_batches_are_put_in_order_of_grinding_where_it_is_known(path):
    with Study.open(path, read_only=True) as study:
        found = list(study_batches(study))
    assert by_grinding(found[::-1]) == found


def test_study_and_tables_can_be_read_together(path, tmp_path):
    with Study.open(path, read_only=True) as study:
        table = study_tables(study)["particles"][0]
    for folder in ("one", "two"):
        (tmp_path / folder).mkdir()
        write_csv(tmp_path / folder / "particles.csv", table)
    found = read_batches([path, tmp_path / "one" / "particles.csv", tmp_path / "two" / "particles.csv"])
    assert [b.name for b in found][:4] == ["pass 1", "pass 3", "pass 6", "one/pass 1"]
    assert len({b.name for b in found}) == 9
    assert len(found[0].sample) == len(found[3].sample)


def test_a_study_without_two_batches_is_refused(tmp_path):
    bare = tmp_path / "bare.gritline"
    Study.create(bare).close()
    with pytest.raises(InvalidInput, match=r"'bare.gritline' holds 0"):
        read_batches([bare])
