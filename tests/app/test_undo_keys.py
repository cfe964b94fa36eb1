"""Undo reaches the study also while a box has the focus, unless something is half typed in it."""

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLineEdit
from pytestqt.qtbot import QtBot

from app.number_boxes import NumberBox
from app.window import Window
from measure.study.records import Batch

CONTROL = Qt.KeyboardModifier.ControlModifier


@pytest.mark.parametrize("make", [NumberBox, QLineEdit])
def test_a_box_keeps_undo_only_for_what_is_half_typed(open_window: Window, qtbot: QtBot, make: type):
    session = open_window.session
    box = make()
    open_window.stations["fields"].layout().addWidget(box)
    open_window.go("fields")
    open_window.activateWindow()
    qtbot.waitUntil(open_window.isActiveWindow)
    session.do(session.study.add_batch, Batch("pass 9"))
    box.setFocus()
    qtbot.waitUntil(box.hasFocus)
    qtbot.keyClicks(box, "4")
    qtbot.keyClick(box, Qt.Key.Key_Z, CONTROL)
    assert len(session.study.batches()) == 2  # what was typed went back
    qtbot.keyClicks(box, "4")
    qtbot.keyClick(box, Qt.Key.Key_Return)
    qtbot.keyClick(box, Qt.Key.Key_Z, CONTROL)
    assert len(session.study.batches()) == 1
