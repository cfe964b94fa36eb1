"""What all stations share: what is looked at is remembered, and never at the cost of an error."""

import pytest

from app.window import Window
from measure.errors import StudyFileError


def test_leaving_a_station_of_a_lost_study_says_nothing(open_window: Window, monkeypatch: pytest.MonkeyPatch):
    def lost(*_arguments: object) -> None:
        raise StudyFileError("paste.gritline is gone.")

    monkeypatch.setattr(open_window.session.study, "set_setting", lost)
    for name in open_window.stations:
        open_window.go(name)
        assert open_window.current == name
    assert not any("gone" in text for _level, text in open_window.session.told)


def test_what_is_looked_at_is_remembered(open_window: Window):
    station = open_window.stations["sizes"]
    station.keep_view("view.test", {"batch": 3})
    assert open_window.session.study.setting("view.test", None) == {"batch": 3}
