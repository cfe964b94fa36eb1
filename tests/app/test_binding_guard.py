"""The binding to Qt must not lose references to None.

Some versions did on Python 3.10 and 3.11, and crashed after some thousand calls.
"""

import sys

import pytest
from PySide6.QtGui import QPainterPath
from PySide6.QtWidgets import QWidget
from pytestqt.qtbot import QtBot

CALLS = 500


@pytest.mark.parametrize("which", ["widget", "path"])
def test_calls_that_return_nothing_keep_none_alive(qtbot: QtBot, which: str):
    widget, path = QWidget(), QPainterPath()
    qtbot.addWidget(widget)
    call = widget.update if which == "widget" else path.closeSubpath
    before = sys.getrefcount(None)
    for _ in range(CALLS):
        call()
    assert abs(sys.getrefcount(None) - before) < CALLS / 10
