"""Numbers stand clear of the border of their box, and are read the same on every system."""

import pytest
from PySide6.QtCore import QLocale, Qt
from pytestqt.qtbot import QtBot

from app import theme
from app.number_boxes import NumberBox, WholeBox


@pytest.mark.parametrize("make", [NumberBox, WholeBox])
def test_text_does_not_touch_the_border(make: type, qtbot: QtBot):
    box = make()
    qtbot.addWidget(box)
    box.show()
    line = box.lineEdit()
    assert line.mapTo(box, line.rect().topLeft()).x() + line.textMargins().left() >= theme.TIGHT
    assert box.sizeHint().width() >= line.fontMetrics().horizontalAdvance(box.text()) + 2 * theme.TIGHT


@pytest.mark.parametrize("language", ["en_US", "de_DE", "fr_FR"])
@pytest.mark.parametrize("typed", ["30.5", "30,5"])
def test_a_point_and_a_comma_mean_the_same_wherever_one_lives(qtbot: QtBot, language: str, typed: str):
    usual = QLocale()
    QLocale.setDefault(QLocale(language))
    try:
        box = NumberBox()
        qtbot.addWidget(box)
        box.setRange(0.5, 5000.0)
        box.setDecimals(1)
        box.setSuffix("\u2009µm")
        box.show()
        box.selectAll()
        qtbot.keyClicks(box, typed)
        qtbot.keyClick(box, Qt.Key.Key_Return)
        assert box.value() == 30.5
        assert box.text() == "30.5\u2009µm"  # as every figure beside it is written
        box.setValue(1234.5)
        assert box.text() == "1234.5\u2009µm"
    finally:
        QLocale.setDefault(usual)
