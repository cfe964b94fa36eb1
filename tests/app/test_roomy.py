"""Words of the size there is room for."""

from pytestqt.qtbot import QtBot

from app import parts
from app.roomy import show_where_room, suit_words
from app.window import Window


def test_words_are_small_only_where_the_page_would_scroll(open_window: Window, qtbot: QtBot):
    from PySide6.QtWidgets import QWidget

    words = parts.label("A sentence that explains something to its reader. " * 12, "small", wrap=True)
    page = QWidget()
    page.setLayout(parts.column(words, None))
    area = parts.scroll(page)
    area.setParent(open_window)
    area.resize(300, 600)
    area.show()
    qtbot.wait(20)
    assert suit_words(page, [words])
    assert words.property("look") == "soft"
    roomy = page.heightForWidth(area.viewport().width())
    area.resize(300, roomy - 10)
    qtbot.wait(20)
    assert suit_words(page, [words])
    assert words.property("look") == "small"
    area.resize(300, 80)
    qtbot.wait(20)
    assert not suit_words(page, [words])
    assert words.property("look") == "small"


def test_a_page_that_lies_nowhere_yet_is_left_alone():
    from PySide6.QtWidgets import QWidget

    assert suit_words(QWidget(), [])


def test_what_is_not_needed_fills_the_rest_of_a_page_where_that_is_high_enough(
    open_window: Window, qtbot: QtBot
):
    from PySide6.QtWidgets import QLabel, QSizePolicy, QWidget

    words, more = parts.label("What must be said. " * 20, wrap=True), QLabel("more")
    more.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
    page = QWidget()
    column = parts.column(words, more, None)
    column.setStretch(1, 1000)
    page.setLayout(column)
    area = parts.scroll(page)
    area.setParent(open_window)
    area.resize(300, 600)
    area.show()
    qtbot.wait(20)
    assert show_where_room(page, more, 100)
    qtbot.wait(20)
    assert more.geometry().bottom() > page.height() - 30  # to the foot, but for a little
    area.resize(300, words.heightForWidth(area.viewport().width()) + 60)
    qtbot.wait(20)
    assert not show_where_room(page, more, 100)
    assert more.isHidden()
    assert area.verticalScrollBar().maximum() == 0
    assert not show_where_room(QWidget(), more, 100)  # a page that lies nowhere yet
