"""Studies changed at random, by bad luck or on purpose: always a clear sentence, never a crash."""

import random
import shutil
import sqlite3
from pathlib import Path

import pytest

from measure.errors import KnownError
from measure.study import schema
from measure.study.study import Study
from tests.measure.study.builders import particles, result

SAMPLE = Path(__file__).parent / "study_files" / "format 1.0.gritline"
_VALUES = (
    "'{'",
    "'[]'",
    "'null'",
    "x'00ff'",
    "-1",
    "1e300",
    "9223372036854775807",
    "'x'",
    "NULL",
    "''",
    "'[[1]]'",
)


def change_bytes(path: Path, chance: random.Random) -> None:
    """Overwrite, cut or repeat parts of a file."""
    data = bytearray(SAMPLE.read_bytes())
    for _ in range(chance.choice((1, 1, 4, 30))):
        start = chance.randrange(len(data))
        length = chance.choice((1, 2, 8, 200, 4096))
        what = chance.randrange(4)
        if what == 0:
            data[start : start + length] = chance.randbytes(length)
        elif what == 1:
            data[start : start + length] = bytes(length)
        elif what == 2:
            data[start] ^= 1 << chance.randrange(8)
        else:
            other = chance.randrange(len(data))
            data[start : start + length] = data[other : other + length]
    if chance.random() < 0.1:
        del data[chance.randrange(len(data)) :]
    path.write_bytes(data)


def change_values(path: Path, chance: random.Random) -> None:
    """Put senseless values into valid tables, as somebody who knows the format could."""
    shutil.copyfile(SAMPLE, path)
    con = sqlite3.connect(path, isolation_level=None)
    for _ in range(chance.choice((1, 3, 10))):
        table = chance.choice(schema.TABLES)
        column = chance.choice(schema.columns_of(con, table))
        try:
            con.execute(
                f'UPDATE {table} SET "{column}" = {chance.choice(_VALUES)} '
                f"WHERE rowid IN (SELECT rowid FROM {table} ORDER BY random() LIMIT {chance.choice((1, 5))})"
            )
        except sqlite3.IntegrityError:
            continue  # the tables themselves refuse it
    con.close()


def use(path: Path) -> list[str]:
    """Do with a study what a window does; return the sentences it gave. Anything else escapes."""
    told: list[str] = []

    def attempt(action: object, *arguments: object) -> object:
        try:
            return action(*arguments)
        except KnownError as error:
            told.append(error.text)
            return None

    study = attempt(Study.open, path)
    if study is None:
        return told
    try:
        for look in (
            study.scales,
            study.batches,
            study.slides,
            study.tastings,
            study.spot_checks,
            study.edit_log,
        ):
            attempt(look)
        attempt(study.setting, "felt_profile")
        for row in attempt(study.fields) or []:
            for read in (study.field_bytes, study.particles, study.revision):
                attempt(read, row.id)
            held = attempt(study.particles, row.id)
            labels = held["label"].tolist()[:1] if held is not None else [1]
            attempt(study.set_kind, row.id, labels, 2)
            attempt(study.replace_particles, row.id, labels, particles(1), "Cut")
            attempt(study.restore_automatic, row.id)
            attempt(study.store_result, row.id, result(2))
        for turn in (*[study.undo] * 9, *[study.redo] * 4):
            attempt(turn)
        attempt(study.integrity_check)
    finally:
        study.close()
    return told


@pytest.mark.parametrize("change", [change_bytes, change_values])
@pytest.mark.parametrize("seed", range(30))
def test_a_study_changed_at_random_is_opened_or_refused(tmp_path: Path, change: object, seed: int) -> None:
    path = tmp_path / "odd.gritline"
    change(path, random.Random(seed))
    assert all(text.strip() for text in use(path))


def test_the_trial_itself_uses_a_sound_study_without_complaint(tmp_path: Path) -> None:
    path = tmp_path / "sound.gritline"
    shutil.copyfile(SAMPLE, path)
    assert use(path) == []


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("UPDATE particle SET kind = 259", "a piece cannot be read"),  # 259 would become 3 in one byte
        ("UPDATE particle SET origin = -1", "a piece cannot be read"),
        ("UPDATE particle SET outline_index = -1", "a piece cannot be read"),
        ("UPDATE field SET zones = '[[[1]]]'", "the field 0.png cannot be read"),
        ("UPDATE scale SET notes = '3'", "a scale cannot be read"),
        ("UPDATE tasting SET batch_ids = '[null]'", "a value in it cannot be read"),
        ("UPDATE setting SET value = '{'", "the setting felt_profile cannot be read"),
        ("UPDATE field_state SET next_label = 4294967297", "a number of pieces cannot be read"),
        ("UPDATE field_state SET next_label = 1", "does not fit together"),
        ("CREATE UNIQUE INDEX trap ON batch (name)", "its batch table is not one of a study"),
        ("ALTER TABLE batch ADD COLUMN more TEXT", "its batch table is not one of a study"),
        (
            "ALTER TABLE particle ADD COLUMN twice INTEGER AS (label * 2)",
            "its particle table is not one of a study",
        ),
        (
            "UPDATE sqlite_schema SET sql = replace(sql, 'outline_pack (id)', 'outline_pacc (id)')",
            "rules of its",
        ),
        ("UPDATE sqlite_schema SET sql = replace(sql, '+ label)', '+ labem)')", "is damaged"),
        ("ALTER TABLE particle RENAME COLUMN texture TO Texture", "its particle table is not one of a study"),
        ("UPDATE field SET id = 9223372036854775807 WHERE id = 2", "is damaged"),
        ("ALTER TABLE particle DROP COLUMN flags", "its particle table is not one of a study"),
    ],
)
def test_what_must_not_be_taken_for_true_is_told(tmp_path: Path, change: str, words: str) -> None:
    path = tmp_path / "odd.gritline"
    shutil.copyfile(SAMPLE, path)
    con = sqlite3.connect(path, isolation_level=None)
    if "flags" in change:
        con.execute("DROP INDEX particle_tally")
    con.execute("PRAGMA foreign_keys = OFF")
    con.execute("PRAGMA writable_schema = ON")
    con.execute(change)
    con.close()
    told = use(path)
    assert any(words in text for text in told), told


def test_a_file_of_an_unknown_make_is_told(tmp_path: Path) -> None:
    data = bytearray(SAMPLE.read_bytes())
    data[44:48] = (9).to_bytes(4, "big")  # schema format number, 1 to 4 (SQLite file format, section 1.3)
    path = tmp_path / "odd.gritline"
    path.write_bytes(data)
    assert "is damaged" in use(path)[0]


def test_names_in_a_log_are_never_run(tmp_path: Path) -> None:
    path = tmp_path / "odd.gritline"
    shutil.copyfile(SAMPLE, path)
    con = sqlite3.connect(path, isolation_level=None)
    body = '{"columns": ["id", "label) SELECT 1, 1; --"], "rows": [[1, 1]]}'
    con.execute("UPDATE edit_row SET new = ? WHERE purpose = 'result'", (body,))
    con.close()
    with Study.open(path) as study:
        before = study.particles(1)
        with pytest.raises(KnownError, match="its log cannot be read"):
            study.restore_automatic(1)
        assert len(study.particles(1)) == len(before)
