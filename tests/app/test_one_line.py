"""Long names of pictures and batches ask for no wide window, and nothing of them is lost."""

from pathlib import Path

from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from app import parts
from app.number_text import MAY_END
from app.one_line import OneLine
from app.window import Window
from measure.model import Scale
from measure.study.records import Batch
from measure.study.study import Study
from tests.app.conftest import HEIGHT, WIDTH, new_field

LONG = "a picture of the third smear of the second jar, taken on a Wednesday before noon, number seven.png"
UNBROKEN = "smear-of-the-second-jar-" * 8


def test_the_middle_of_a_long_name_gives_way(qtbot: QtBot):
    line = OneLine(LONG, "soft")
    qtbot.addWidget(line)
    line.resize(200, 20)
    line.show()
    assert line.minimumSizeHint().width() < 200 < line.sizeHint().width()
    assert line.shown.startswith("a picture")
    assert line.shown.endswith(".png")
    assert "…" in line.shown
    assert line.text() == LONG == line.accessibleName()
    assert line.toolTip() == LONG
    line.resize(line.sizeHint())
    assert line.shown == LONG
    assert line.toolTip() == ""
    assert not line.grab().isNull()


def test_a_word_longer_than_a_line_may_end_in_it_where_words_wrap(qtbot: QtBot):
    wrapped, plain = parts.label(UNBROKEN, wrap=True), parts.label(UNBROKEN)
    for label in (wrapped, plain):
        qtbot.addWidget(label)
        assert label.text() == UNBROKEN
    assert wrapped.minimumSizeHint().width() < plain.minimumSizeHint().width() / 2
    wrapped.setText("pass 3")
    assert MAY_END not in super(parts.Words, wrapped).text()


def test_the_window_keeps_its_width_with_long_names(window: Window, tmp_path: Path, qtbot: QtBot):
    path = tmp_path / "paste.gritline"
    with Study.create(path) as study:
        batch = study.add_batch(Batch(UNBROKEN))
        scale = study.add_scale(Scale(0.5, 0.001, zoom=LONG, width_px=WIDTH, height_px=HEIGHT))
        study.add_fields(
            [new_field(n, i, batch_id=batch, scale_id=scale) for i, n in enumerate((LONG, UNBROKEN))]
        )
    width = window.width()
    assert window.session.open(path)
    for name in window.stations:
        window.go(name)
        QApplication.processEvents()
        assert window.minimumSizeHint().width() <= width, name
    window.go("fields")
    qtbot.waitUntil(lambda: window.session.picture() is not None, timeout=5000)
    assert window.width() == width
