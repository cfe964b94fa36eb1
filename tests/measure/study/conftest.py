"""Fixtures for the tests of the study file."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from measure.study import connection
from measure.study.study import Study


@pytest.fixture(autouse=True)
def _no_waiting_for_the_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """Durable writing is tested in processes of their own, and that it is asked for in test_study.py."""
    monkeypatch.setattr(connection, "synchronous", "OFF")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "spread.gritline"


@pytest.fixture
def study(path: Path) -> Iterator[Study]:
    study = Study.create(path)
    yield study
    study.close()


@pytest.fixture
def opened() -> Iterator[Callable[..., Study]]:
    """Open studies that are closed after the test."""
    studies: list[Study] = []

    def open_one(path: Path, read_only: bool = False) -> Study:
        studies.append(Study.open(path, read_only))
        return studies[-1]

    yield open_one
    for study in studies:
        study.close()
