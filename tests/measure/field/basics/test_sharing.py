"""One field shared by processes: the same result with any number of them, also when one is lost."""

import os
import time
from collections.abc import Iterator
from concurrent.futures import wait
from dataclasses import dataclass

import numpy as np
import pytest

from measure.errors import Cancelled
from measure.field import pipeline
from measure.field.basics import helper_pool, sharing
from measure.field.basics.sharing import Helpers, parts_of
from measure.model import FieldSettings, Picture
from measure.output.field_pool import helpers_for
from measure.particles import COLUMNS, Particles
from measure.progress import Progress
from measure.render import render_field
from measure.render.recipes import CONDITIONS, resized


@dataclass(frozen=True)
class _Numbers:
    large: np.ndarray
    factor: int


@dataclass(frozen=True)
class _Nested:
    numbers: _Numbers


def _summed(common: _Nested, run: range) -> float:
    return float(common.numbers.large[run.start : run.stop].sum()) * common.numbers.factor


def _lost(common: _Numbers, number: int) -> int:
    if os.getpid() != common.factor:
        os._exit(3)  # as when the system ends it
    return number


def _loans() -> int:
    return len(sharing._kept)


def _numbers() -> _Nested:
    return _Nested(_Numbers(np.arange(400_000, dtype=np.float64), 2))


def _first_row(common: _Numbers, row: int) -> list[float]:
    return common.large[row, :3].tolist()


def test_room_for_an_array_is_read_by_helpers_without_a_copy():
    with Helpers(1) as crew:
        room = crew.room((700, 900))
        room[:] = np.arange(700, dtype=np.float32)[:, None]
        files = len(crew._files)
        lent = crew.lend(_Numbers(room, 1))
        assert len(crew._files) <= files + 1  # read back from the same file, not written again
        assert crew.map(_first_row, lent, range(700)) == [[row] * 3 for row in map(float, range(700))]
        assert crew.room((3, 4)).shape == (3, 4)
    assert np.array_equal(room[:, 0], np.arange(700))  # still there once the helpers are gone
    with Helpers(0) as alone:
        assert alone.room((5, 2)).dtype == np.float32


def test_without_room_for_a_file_an_array_has_memory_of_its_own(monkeypatch: pytest.MonkeyPatch):
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with Helpers(1) as crew:
        monkeypatch.setattr(os, "posix_fallocate", full, raising=False)
        room = crew.room((700, 900))
        room[:] = 1.0
        assert not crew._files


def test_parts_cover_everything_once():
    assert [list(run) for run in parts_of(5, 2)] == [[0, 1], [2, 3], [4]]
    assert parts_of(0, 2) == []


def test_parts_come_back_in_order_whoever_did_them():
    runs = parts_of(400_000, 9_000)
    with Helpers(0) as alone:
        expected = alone.map(_summed, _numbers(), runs)
    with Helpers(1) as crew:
        lent = crew.lend(_numbers())
        assert np.array_equal(lent.numbers.large, _numbers().numbers.large)
        assert crew.map(_summed, lent, runs) == expected
        assert crew.map(_summed, _numbers(), runs) == expected  # lent on the way


def test_a_helper_that_is_lost_costs_only_time():
    with Helpers(1) as crew:
        common = _Numbers(np.zeros(1), os.getpid())
        assert crew.map(_lost, common, list(range(6))) == list(range(6))
        assert crew.map(_lost, common, list(range(3))) == list(range(3))


def _same(one: Particles, other: Particles) -> bool:
    return all(map(np.array_equal, one.outlines, other.outlines)) and all(
        np.array_equal(one[name], other[name], equal_nan=one[name].dtype.kind == "f") for name in COLUMNS
    )


@pytest.fixture
def kept() -> Iterator[helper_pool.KeptPool]:
    """A helper that stays, ready to work."""
    helper_pool.keep_helpers(1)
    pool = helper_pool.kept_pool()
    wait(pool.starting)
    yield pool
    helper_pool.end_kept()


def test_a_field_comes_out_the_same_to_the_last_digit(monkeypatch: pytest.MonkeyPatch):
    drawn = render_field(resized(CONDITIONS["overlapping"], 700), 5)
    picture = Picture(pixels=drawn.pixels, name="shared")
    alone = pipeline.measure_field(picture, FieldSettings(), drawn.um_per_px).particles
    monkeypatch.setattr(sharing, "LEAST_PIXELS", 0)
    shared = pipeline.measure_field(picture, FieldSettings(), drawn.um_per_px, helpers=1).particles
    assert len(alone) == len(shared) > 10
    assert _same(alone, shared)


def test_helpers_that_are_kept_share_smaller_fields_and_stay(kept, monkeypatch: pytest.MonkeyPatch):
    assert sharing.worth_sharing(sharing.LEAST_FOR_KEPT)
    assert not sharing.worth_sharing(sharing.LEAST_FOR_KEPT - 1)
    done: list[float] = []
    for _ in range(2):
        with Helpers(3) as crew:
            assert crew.count == 1
            done.append(sum(crew.map(_summed, _numbers(), parts_of(400_000, 50_000))))
    assert done == [2 * np.arange(400_000.0).sum()] * 2
    assert helper_pool.kept_pool() is kept
    assert kept.pool.submit(os.getpid).result(timeout=60) != os.getpid()
    drawn = render_field(resized(CONDITIONS["sparse"], 400), 5)
    alone = pipeline.measure_field(Picture(drawn.pixels), FieldSettings(), drawn.um_per_px).particles
    monkeypatch.setattr(sharing, "LEAST_FOR_KEPT", 0)
    shared = pipeline.measure_field(Picture(drawn.pixels), FieldSettings(), drawn.um_per_px, helpers=1)
    assert len(alone) > 2
    assert _same(alone, shared.particles)


def test_a_helper_that_is_kept_forgets_a_field_that_is_done(kept):
    with Helpers(1) as crew:
        assert crew.map(_first_row, _Numbers(np.zeros((700, 900)), 1), [0, 1, 2]) == [[0.0] * 3] * 3
        assert kept.pool.submit(_loans).result(timeout=60) == 1
    until = time.monotonic() + 60
    while kept.pool.submit(_loans).result(timeout=60):
        assert time.monotonic() < until
        time.sleep(0.1)


def test_a_helper_that_is_kept_and_lost_loses_nothing(kept):
    common = _Numbers(np.zeros(1), os.getpid())
    with Helpers(1) as crew:
        assert crew.map(_lost, common, list(range(6))) == list(range(6))
    assert helper_pool.kept_pool() is None  # the next field starts others
    helper_pool.keep_helpers(1)
    with Helpers(1) as crew:
        helper_pool.end_kept()  # the window closes
        assert crew.map(_lost, common, list(range(6))) == list(range(6))


def test_shared_work_can_be_stopped(monkeypatch: pytest.MonkeyPatch):
    drawn = render_field(resized(CONDITIONS["sparse"], 400), 5)
    monkeypatch.setattr(sharing, "LEAST_PIXELS", 0)
    progress = Progress(lambda share, stage: progress.cancel() if share > 0.3 else None)
    with pytest.raises(Cancelled):
        pipeline.measure_field(
            Picture(pixels=drawn.pixels), FieldSettings(), drawn.um_per_px, progress=progress, helpers=1
        )


def test_only_a_single_field_is_shared():
    assert helpers_for(2) == 0
    assert helpers_for(1, wanted=1) == 0
    assert 0 <= helpers_for(1) <= 3
