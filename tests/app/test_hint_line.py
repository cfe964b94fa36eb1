"""The line below a picture wraps, and keeps its height while the pointer moves."""

from PySide6.QtWidgets import QLabel, QVBoxLayout, QWidget

from app.hint_line import HintLine

LONG = "Click a piece. Shift adds or takes away; drag a rectangle round several. " * 2


def test_a_long_hint_wraps_and_the_height_stays_while_something_is_pointed_at(qtbot):
    under, holder = QLabel(), QWidget()
    line = HintLine(under)
    column = QVBoxLayout(holder)
    column.addWidget(QWidget(), 1)
    column.addWidget(line)
    qtbot.addWidget(holder)
    holder.resize(420, 300)
    with qtbot.waitExposed(holder):
        holder.show()
    line.setText("Short.")
    one = line.height()
    line.setText(LONG)
    qtbot.waitUntil(lambda: line.height() > one)
    needed = line.hint.heightForWidth(line.hint.width())
    assert line.hint.height() >= needed  # no word is lost
    tall = line.height()
    under.setText("Piece 12: kernel, 34.1 µm, not counted: air bubble")
    qtbot.waitUntil(lambda: not line.hint.isVisible())  # no room for both
    assert line.height() == tall
    under.setText("")
    qtbot.waitUntil(line.hint.isVisible)
    holder.resize(2400, 300)
    qtbot.waitUntil(lambda: line.height() == one)
    under.setText("Piece 12: kernel, 34.1 µm")
    qtbot.wait(20)
    assert line.hint.isVisible()
    assert line.text() == LONG
