"""Words of the size there is room for."""

from pytestqt.qtbot import QtBot

from app import parts
from app.roomy import suit_words
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
