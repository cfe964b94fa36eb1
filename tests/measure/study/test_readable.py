"""Fields of a damaged study that cannot be read are found without touching the file, and quickly."""

import random
import shutil
import time
from pathlib import Path

import pytest

from measure.errors import Cancelled, StudyFileError
from measure.progress import Progress
from measure.study.readable import unreadable_fields, unreadable_words
from measure.study.study import Study
from tests.measure.study.builders import picture, result


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A study of six fields with 1,200 particles, closed."""
    path = tmp_path_factory.mktemp("sound") / "spread.gritline"
    with Study.create(path) as study:
        for number in range(6):
            data = random.Random(number).randbytes(30_000)
            field_id = study.add_fields([picture(f"{number}.png", data=data)])[0]
            study.store_result(field_id, result(200, number))
    return path


@pytest.fixture
def copied(sound: Path, tmp_path: Path) -> Path:
    return Path(shutil.copyfile(sound, tmp_path / "spread.gritline"))


def test_a_sound_study_is_read_whole_also_while_it_is_open(copied: Path) -> None:
    assert unreadable_fields(copied) == ()
    with Study.open(copied) as study, study.one_step("Two things"):
        study.update_field(1, note="half done")  # its journal is on disk now
        assert unreadable_fields(copied) == ()


@pytest.mark.parametrize("seed", range(8))
def test_what_it_names_is_what_cannot_be_read(copied: Path, seed: int) -> None:
    chance = random.Random(seed)
    with copied.open("r+b") as file:
        for page in chance.sample(range(40, copied.stat().st_size // 4096), 5):
            file.seek(page * 4096)
            file.write(chance.randbytes(4096))
    before = copied.read_bytes()
    try:
        found = {one.name: one for one in unreadable_fields(copied)}
    except StudyFileError:  # not even the list of fields
        return
    assert copied.read_bytes() == before
    with Study.open(copied, read_only=True) as study:
        try:
            rows = study.fields()
        except StudyFileError:  # what the list says cannot be read, which the window tells at once
            return
        for row in rows:
            lost = found.get(row.name)
            try:
                study.particles(row.id)
                read = True
            except StudyFileError:
                read = False
            assert read == (lost is None or not lost.pieces), row.name
        faults = study.integrity_check()
    pictures = sum("is not what it was" in fault for fault in faults)
    assert pictures == 0 or any(one.picture for one in found.values())
    assert found
    assert all(word in unreadable_words(copied, tuple(found.values())) for word in ("is damaged", "Rescue"))


def test_a_changed_picture_is_named_in_one_sentence(copied: Path) -> None:
    data = random.Random(2).randbytes(30_000)
    content = bytearray(copied.read_bytes())
    place = content.index(data[8000:8100])
    content[place] ^= 255
    copied.write_bytes(content)
    (one,) = found = unreadable_fields(copied)
    assert (one.name, one.pieces, one.picture) == ("2.png", False, True)
    assert unreadable_words(copied, found) == (
        "spread.gritline is damaged: 1 field cannot be read whole, 2.png (picture). Rescue what can be read "
        "into a new study, or open an earlier copy; this file was not changed."
    )
    many = unreadable_words(copied, found * 5)
    assert (
        "5 fields cannot be read whole, 2.png (picture), 2.png (picture), 2.png (picture) and 2 more." in many
    )


def test_it_stops_when_asked(copied: Path) -> None:
    progress = Progress()
    progress.cancel()
    with pytest.raises(Cancelled):
        unreadable_fields(copied, progress)


def test_two_hundred_fields_are_looked_through_soon(tmp_path: Path) -> None:
    path = tmp_path / "many.gritline"
    with Study.create(path) as study:
        study.add_fields([picture(f"{n}.png", data=random.Random(n).randbytes(20_000)) for n in range(200)])
        for row in study.fields():
            study.store_result(row.id, result(40, row.id))
    start = time.perf_counter()
    assert unreadable_fields(path) == ()
    assert time.perf_counter() - start < 5.0  # beside the window; opening itself does not wait for it
