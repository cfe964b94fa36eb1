"""Icons are drawn, in the colours of the room, and nothing of them leaves the grid."""

import pytest
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QPushButton, QWidget
from pytestqt.qtbot import QtBot

from app import icons, theme
from app.stations import ORDER


@pytest.mark.parametrize("name", icons.ICONS)
def test_each_icon_is_drawn_inside_its_box(name: str, qapp):
    image = icons.pixmap(name, 48).toImage().convertToFormat(QImage.Format.Format_ARGB32)
    opaque = [
        (x, y)
        for x in range(image.width())
        for y in range(image.height())
        if image.pixelColor(x, y).alpha() > 128
    ]
    assert len(opaque) > 20
    edge = {0, image.width() - 1}
    assert not any(x in edge or y in edge for x, y in opaque)


def test_every_station_has_its_icon():
    assert set(ORDER) <= set(icons.ICONS)


def test_icons_follow_the_theme(qtbot: QtBot):
    root = QWidget()
    qtbot.addWidget(root)
    button = QPushButton(root)
    theme.choose("light")
    icons.set_icon(button, "add")
    before = button.icon().cacheKey()
    theme.choose("dark")
    icons.refresh_icons(root)
    assert button.icon().cacheKey() != before
    theme.choose("light")


def test_a_picture_file_is_kept_for_style_sheets(qapp):
    from PySide6.QtGui import QImage

    path = icons.as_file("down", "#123456")
    assert path.endswith("down-123456.png")
    assert not QImage(path).isNull()
    assert icons.as_file("down", "#123456") == path


def test_program_icon_has_many_sizes(qapp):
    assert {size.width() for size in icons.program_icon().availableSizes()} >= {16, 32, 256}
