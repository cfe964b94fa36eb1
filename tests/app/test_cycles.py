"""Collecting by hand takes what the interpreter would, and no more."""

import gc

import pytest

from app import cycles


@pytest.mark.parametrize(
    ("made", "expected"),
    [((10, 3, 2), []), ((701, 3, 2), [0]), ((701, 11, 2), [1]), ((0, 11, 11), [2])],
    ids=["nothing", "young", "older", "all"],
)
def test_the_oldest_that_are_due_are_collected(
    monkeypatch: pytest.MonkeyPatch, made: tuple[int, int, int], expected: list[int]
):
    collected: list[int] = []
    monkeypatch.setattr(gc, "get_count", lambda: made)
    monkeypatch.setattr(gc, "get_threshold", lambda: (700, 10, 10))
    monkeypatch.setattr(gc, "collect", collected.append)
    cycles.collect_due()
    assert collected == expected
