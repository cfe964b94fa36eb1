"""The start page on small and large screens."""

import pytest
from pytestqt.qtbot import QtBot

from app import parts
from app.start_page import StartPage
from app.start_pictures import HEIGHT_PX, WIDTH_PX, SampleStrip


def _page(qtbot: QtBot, width: int, height: int) -> StartPage:
    made = StartPage(lambda: None, lambda: None, lambda: None)
    qtbot.addWidget(made)
    made.refresh()
    made.resize(width, height)
    with qtbot.waitExposed(made):
        made.show()
    return made


def test_a_large_screen_shows_fields_that_measure_well(qtbot: QtBot):
    page = _page(qtbot, 1920, 1050)
    assert page.fields.isVisible()
    for picture in page.fields.pictures:
        shape = picture.pixmap().width() / picture.pixmap().height()
        assert shape == pytest.approx(WIDTH_PX / HEIGHT_PX, rel=0.01)
    page.resize(1280, 770)
    assert not page.fields.isVisible()


def test_a_page_that_fits_has_no_scroll_bar(qtbot: QtBot):
    page = _page(qtbot, 1100, 400)
    # as high as it is beside a scroll bar, for one that is there makes it narrower and so higher
    page.resize(1100, page._inner.layout().totalHeightForWidth(1050) + 1)
    area = page.findChild(parts._UpAndDown)
    qtbot.waitUntil(lambda: not area.verticalScrollBar().isVisible())
    assert not page.fields.isVisible()


def test_without_the_sample_pictures_the_strip_stays_away(qtbot: QtBot, monkeypatch, tmp_path):
    monkeypatch.setattr("app.start_pictures.sample_pictures", lambda: tmp_path)
    strip = SampleStrip()
    qtbot.addWidget(strip)
    assert not strip.fill()
