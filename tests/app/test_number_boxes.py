"""Numbers stand clear of the border of their box."""

import pytest
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
