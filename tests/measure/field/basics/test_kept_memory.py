"""Memory that is freed is used again inside, and given back at the end."""

import sys
from pathlib import Path

import numpy as np
import pytest

from measure.field.basics import kept_memory as memory
from measure.field.basics.kept_memory import kept_memory

_BYTES = 200_000_000
needs_library = pytest.mark.skipif(memory._library() is None, reason="the system's library keeps no memory")


def _resident_bytes() -> int:
    return int(Path("/proc/self/statm").read_text().split()[1]) * 4096


def _fill_and_free() -> None:
    np.full(_BYTES, 1, np.uint8)


def _fill_and_fail() -> None:
    _fill_and_free()
    raise ValueError("wrong")


@needs_library
def test_what_is_freed_stays_with_the_process_only_inside() -> None:
    before = _resident_bytes()
    _fill_and_free()
    assert _resident_bytes() - before < _BYTES / 4
    with kept_memory():
        _fill_and_free()
        assert _resident_bytes() - before > _BYTES / 2
    assert _resident_bytes() - before < _BYTES / 4


@needs_library
def test_it_is_given_back_after_an_error() -> None:
    before = _resident_bytes()
    with pytest.raises(ValueError, match="wrong"), kept_memory():
        _fill_and_fail()
    assert _resident_bytes() - before < _BYTES / 4


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads the process's size from /proc")
def test_nothing_is_kept_where_it_is_not_wanted() -> None:
    before = _resident_bytes()
    with kept_memory(False):
        _fill_and_free()
        assert _resident_bytes() - before < _BYTES / 4


def test_other_systems_are_left_as_they_are(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(memory.sys, "platform", "win32")
    assert memory._library() is None
    with kept_memory():
        pass
