"""The table of actions: each can be reached, none takes the keys of another."""

from collections import Counter

import pytest
from PySide6.QtGui import QKeySequence

from app.actions import ACTIONS, keys_text, rows_of, tip_text
from app.icons import ICONS
from app.stations import ORDER
from app.window import Window


def test_each_action_is_there_once_and_says_what_it_does():
    ids = Counter(row.id for row in ACTIONS)
    assert max(ids.values()) == 1
    for row in ACTIONS:
        assert row.id.split(".")[0] == (row.station or "window")
        assert row.text[0].isupper()
        assert row.station in ("", *ORDER)
        assert row.icon in ("", *ICONS)


@pytest.mark.parametrize("station", ORDER)
def test_no_two_actions_share_keys_in_one_place(station: str):
    keys = Counter(key for row in (*rows_of(""), *rows_of(station)) for key in row.keys)
    assert [key for key, times in keys.items() if times > 1] == []


def test_keys_are_keys():
    for row in ACTIONS:
        for key in row.keys:
            assert not QKeySequence.fromString(key).isEmpty(), f"{row.id}: {key}"
        assert (keys_text(row) in tip_text(row)) or not row.keys


def test_every_action_of_a_station_is_answered(window: Window):
    for name, station in window.stations.items():
        missing = {row.id for row in rows_of(name)} - set(station.commands())
        assert not missing, name
    hidden = {row.id for row in rows_of("") if not window.action(row.id).isVisible()}
    assert {row.id for row in rows_of("")} - hidden <= set(window._commands())


def test_window_actions_stand_in_a_menu():
    assert all(row.menu for row in rows_of(""))
