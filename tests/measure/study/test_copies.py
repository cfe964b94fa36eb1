import datetime
import os
import random
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from measure.errors import DamagedStudy, StudyFileError
from measure.study import connection, copies
from measure.study.copies import Contents, Copy
from measure.study.records import Batch
from measure.study.study import Study
from tests.measure.study.builders import contents, fill, picture, result

NOON = datetime.datetime(2024, 5, 17, 12, 0)


@pytest.fixture
def data(tmp_path: Path) -> Path:
    return tmp_path / "data" / "copies"


def _after(minutes: float) -> datetime.datetime:
    return NOON + datetime.timedelta(minutes=minutes)


def test_copies_are_made_when_something_changed_and_open_as_studies(
    study: Study, path: Path, data: Path
) -> None:
    fill(study)
    first = copies.make_copy(path, data, opened=True, at=NOON)
    assert copies.make_copy(path, data, at=_after(5)) is None
    before = contents(study)
    study.add_batch(Batch("later"))
    second = copies.make_copy(path, data, at=_after(20))
    assert copies.make_copy(path, data, at=_after(25)) is None
    assert copies.copies_of(path, data) == [first, second]
    assert (first.opened, second.opened) == (True, False)
    assert first.path.name == "2024-05-17 120000 opened.gritline"
    with Study.open(first.path) as copy:
        assert contents(copy) == before


def test_studies_of_one_name_have_folders_of_their_own(tmp_path: Path, data: Path) -> None:
    one, other = tmp_path / "a" / "x.gritline", tmp_path / "b" / "x.gritline"
    assert copies.folder_of(one, data) != copies.folder_of(other, data)
    assert copies.copies_of(one, data) == []


def test_a_study_comes_back_as_it_was_when_opened(study: Study, path: Path, data: Path) -> None:
    fill(study)
    before = contents(study)
    first = copies.make_copy(path, data, opened=True, at=NOON)
    study.remove_fields([1])
    with pytest.raises(StudyFileError, match="is open in another window"):
        copies.bring_back(first.path, path, data)
    later = contents(study)
    study.close()
    copies.bring_back(first.path, path, data)
    with Study.open(path) as again:
        assert contents(again) == before
    with Study.open(copies.copies_of(path, data)[-1].path) as replaced:
        assert contents(replaced) == later
    path.unlink()
    copies.bring_back(first.path, path, data)
    with Study.open(path) as again:
        assert contents(again) == before


def test_what_cannot_be_copied_is_told(study: Study, path: Path, data: Path) -> None:
    with pytest.raises(StudyFileError, match=r"No copy of missing\.gritline was made"):
        copies.make_copy(path.with_name("missing.gritline"), data)
    data.parent.mkdir()
    data.write_text("a file where the folder should be")
    with pytest.raises(StudyFileError, match="No copy of"):
        copies.make_copy(path, data)
    junk = path.with_name("junk.gritline")
    junk.write_bytes(b"junk" * 500)
    data.unlink()
    with pytest.raises(StudyFileError, match="is not a study"):
        copies.make_copy(junk, data)
    assert os.listdir(copies.folder_of(junk, data)) == []


def _thinned(at: datetime.datetime, made: list[Copy]) -> list[Copy]:
    gone = copies.to_thin(made, at)
    return [copy for copy in made if copy not in gone]


def test_copies_grow_sparser_with_age() -> None:
    made: list[Copy] = []
    for day in range(120):
        for quarter in range(0, 8 * 60, 15):
            at = NOON + datetime.timedelta(days=day, minutes=quarter)
            made = _thinned(
                at, [*made, Copy(at, Path(f"{day} {quarter}"), opened=quarter == 0, size_bytes=1)]
            )
    ages = [made[-1].when - copy.when for copy in made]
    hours = [age / datetime.timedelta(hours=1) for age in ages]
    assert sum(age <= 4 for age in hours) in (16, 17)
    assert sum(4 < age <= 24 for age in hours) <= 20
    assert sum(24 < age <= 14 * 24 for age in hours) <= 15
    assert 9 <= sum(age > 14 * 24 for age in hours) <= 13
    assert max(hours) <= 90 * 24
    assert len(made) <= 66


def test_the_newest_and_the_one_made_at_opening_always_stay() -> None:
    old = [
        Copy(NOON + datetime.timedelta(days=d), Path(str(d)), opened=d == 3, size_bytes=10) for d in range(6)
    ]
    later = NOON + datetime.timedelta(days=500)
    assert [c.path.name for c in _thinned(later, old)] == ["3", "4", "5"]
    assert copies.to_thin([], later) == []


def test_too_much_is_thinned_from_the_oldest(study: Study) -> None:
    made = [Copy(_after(60 * i), Path(str(i)), size_bytes=100) for i in range(10)]
    gone = copies.to_thin(made, _after(600), most_bytes=450)
    assert sorted(int(c.path.name) for c in gone) == [0, 1, 2, 3, 4, 5]


def test_a_copy_can_be_made_in_another_thread(study: Study, path: Path, data: Path) -> None:
    from concurrent.futures import ThreadPoolExecutor

    fill(study, 30)
    work: Callable[[], Copy | None] = lambda: copies.make_copy(path, data, at=NOON)  # noqa: E731
    with ThreadPoolExecutor(1) as pool:
        made = pool.submit(work).result()
    study.add_batch(Batch("goes on"))
    with Study.open(made.path) as copy:
        assert copy.integrity_check() == []


def test_a_copy_tells_what_it_holds_and_comes_out_as_a_new_study(
    study: Study, path: Path, data: Path, tmp_path: Path
) -> None:
    study.add_batch(Batch("pass 1"))
    field_id = study.add_fields([picture("one.png")])[0]
    study.store_result(field_id, result(40))
    made = copies.make_copy(path, data)
    assert copies.contents_of(made.path) == Contents(fields=1, particles=40, actions=3)
    copies.take_out(made.path, tmp_path / "out.gritline")
    with Study.open(tmp_path / "out.gritline") as out:
        assert len(out.particles(field_id)) == 40
    with pytest.raises(StudyFileError, match=r"out\.gritline exists already"):
        copies.take_out(made.path, tmp_path / "out.gritline")
    made.path.write_bytes(b"no study at all" * 100)
    with pytest.raises(DamagedStudy):
        copies.contents_of(made.path)


@pytest.mark.parametrize("pause_s", [0.0, 0.03])
def test_a_copy_of_a_study_under_change_is_whole(
    study: Study, path: Path, data: Path, monkeypatch: pytest.MonkeyPatch, pause_s: float
) -> None:
    monkeypatch.setattr(connection, "_GENTLE_PAGES", 8)
    study.add_fields([picture("one.png", data=random.Random(1).randbytes(1_000_000))])
    made = []
    thread = threading.Thread(target=lambda: made.append(copies.make_copy(path, data)))
    thread.start()
    steps = 0
    while thread.is_alive() or not steps:
        study.set_setting("felt", steps)
        steps += 1
        time.sleep(pause_s)
    thread.join()
    with Study.open(made[0].path) as copy:
        assert copy.integrity_check() == []
        assert 0 <= (copy.setting("felt", 0)) < steps
