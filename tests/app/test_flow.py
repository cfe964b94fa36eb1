"""A row that goes on in the next line: nothing lost, nothing over another, no wider than its widest part."""

import itertools

import pytest
from PySide6.QtWidgets import QApplication, QPushButton, QWidget
from pytestqt.qtbot import QtBot

from app.flow import flow
from app.window import Window


def _row(qtbot: QtBot, width: int) -> tuple[QWidget, list[QPushButton]]:
    buttons = [QPushButton(f"Button {k}") for k in range(6)]
    page = QWidget()
    page.setLayout(flow(*buttons[:4], None, *buttons[4:]))
    qtbot.addWidget(page)
    page.resize(width, page.heightForWidth(width))
    page.show()
    QApplication.processEvents()
    return page, buttons


@pytest.mark.parametrize("width", [110, 250, 400, 900])
def test_all_stay_inside_and_apart(qtbot: QtBot, width: int):
    page, buttons = _row(qtbot, width)
    for button in buttons:
        assert page.rect().contains(button.geometry())
        assert button.width() >= button.minimumSizeHint().width()
    for one, other in itertools.combinations(buttons, 2):
        assert not one.geometry().intersects(other.geometry())


def test_one_line_where_there_is_room_with_the_last_at_the_right(qtbot: QtBot):
    _page, buttons = _row(qtbot, 900)
    assert len({button.y() for button in buttons}) == 1
    assert buttons[-1].geometry().right() >= 890
    assert buttons[4].x() - buttons[3].geometry().right() > 100  # the stretch


def test_a_hidden_part_takes_no_room(qtbot: QtBot):
    _page, buttons = _row(qtbot, 900)
    before = buttons[1].x()
    buttons[0].hide()
    QApplication.processEvents()
    assert buttons[1].x() < before


def test_the_window_fits_a_small_screen_with_large_text(qtbot: QtBot):
    app = QApplication.instance()
    plain = app.font()
    large = app.font()
    large.setPointSizeF(plain.pointSizeF() * 1.5)
    try:
        app.setFont(large)
        window = Window()
        qtbot.addWidget(window)
        assert window.minimumSizeHint().width() <= 1280
        assert window.minimumSizeHint().height() <= 800
        window.session.shut()
    finally:
        app.setFont(plain)
