"""The whole job in the window by keyboard alone, from a new study to its report.

Only the system's own file pickers are answered for the user; all else is a key sent to whatever has the
focus. The pictures are drawn with known truth, so that the figures at the end can be checked too.
"""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PySide6.QtCore import QCoreApplication, QEvent, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QWidget
from pytestqt.qtbot import QtBot

from app import pickers, theme
from app.window import Window
from measure.model import KINDS, Kind
from measure.render.draw import render_field
from measure.render.recipes import TUNED
from measure.render.ruling import Ruling, render_ruling

UM_PER_PX = 0.65
KEY, CONTROL, SHIFT = Qt.Key, Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.ShiftModifier
PASSES = {"pass 1": 40.0, "pass 6": 24.0}  # volume medians, um


def _write(path: Path, pixels: np.ndarray) -> None:
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(cv2.imencode(".png", pixels[..., ::-1])[1].tobytes())


@pytest.fixture(scope="module")
def pictures(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Draw a ruling and two folders of two fields each."""
    folder = tmp_path_factory.mktemp("pictures")
    _write(folder / "ruling.png", render_ruling(Ruling(900, 300, um_per_px=UM_PER_PX), 4).pixels)
    for place, (name, median) in enumerate(PASSES.items()):
        recipe = TUNED["sparse"]
        sizes = replace(recipe.sizes, volume_median_um=median, sigma_g=1.5)
        recipe = replace(recipe, width_px=640, height_px=480, um_per_px=UM_PER_PX, sizes=sizes)
        for field in (1, 2):
            _write(folder / name / f"{name} {field}.png", render_field(recipe, 10 * place + field).pixels)
    return folder


class Typist:
    """Sends keys to whatever has the focus, as a keyboard does."""

    def __init__(self, window: Window, qtbot: QtBot) -> None:
        self._window, self._qtbot = window, qtbot

    def press(self, key: Qt.Key, modifier: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier) -> None:
        """Press and release one key."""
        QTest.keyClick(self._focus(), key, modifier)

    def type(self, text: str) -> None:
        """Type a text."""
        QTest.keyClicks(self._focus(), text)

    def tab_to(self, name: str) -> None:
        """Press Tab until what a screen reader calls ``name`` has the focus."""
        for _ in range(80):
            focus = self._focus()
            if name in {focus.accessibleName(), getattr(focus, "text", str)().strip()}:
                return
            self.press(KEY.Key_Tab)
        raise AssertionError(f"Tab never came to {name!r}")

    def wait(self, condition) -> None:
        """Wait for the work under way."""
        self._qtbot.waitUntil(condition, timeout=20_000)

    def _focus(self) -> QWidget:
        return QApplication.activePopupWidget() or QApplication.focusWidget() or self._window


@pytest.fixture
def window(qtbot: QtBot) -> Iterator[Window]:
    """Give the window on its start page."""
    theme.choose("light")
    made = Window()
    made.resize(1280, 800)
    with qtbot.waitExposed(made):
        made.show()
    made.activateWindow()
    qtbot.waitUntil(lambda: made.isActiveWindow() and QApplication.focusWidget() is not None)
    yield made
    made.close()
    made.deleteLater()
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete.value)


def test_whole_job_by_keyboard(
    window: Window, qtbot: QtBot, pictures: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    keys = Typist(window, qtbot)
    _begin(keys, window, tmp_path, monkeypatch)
    _scale(keys, window, pictures, monkeypatch)
    _fields(keys, window, pictures, monkeypatch)
    _particles(keys, window)
    _sizes(keys, window)
    _compare(keys, window)
    _report(keys, window, tmp_path, monkeypatch)
    # nothing was left to a mouse: the whole walk can be taken back by one key too
    steps = 0
    while window.action("window.undo").isEnabled() and steps < 60:
        keys.press(KEY.Key_Z, CONTROL)
        steps += 1
    study = window.session.study
    assert (study.scales(), study.batches(), study.fields()) == ([], [], [])


def _begin(keys: Typist, window: Window, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = folder / "spread.gritline"
    monkeypatch.setattr(pickers, "new_study", lambda _parent: path)
    assert QApplication.focusWidget() is window.start.begin
    keys.press(KEY.Key_Return)
    assert window.session.study.path == path
    assert window.current == "scale"


def _scale(keys: Typist, window: Window, pictures: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    station = window.stations["scale"]
    monkeypatch.setattr(pickers, "picture", lambda *_: pictures / "ruling.png")
    keys.press(KEY.Key_I, CONTROL)
    keys.wait(lambda: station.draft is not None and station.draft.fit is not None)
    keys.tab_to("Zoom")
    keys.type("10x")
    keys.press(KEY.Key_Return, CONTROL)
    (row,) = window.session.study.scales()
    assert row.scale.zoom == "10x"
    assert row.scale.um_per_px == pytest.approx(UM_PER_PX, rel=0.004)
    keys.tab_to("Go on to Fields")
    keys.press(KEY.Key_Return)
    assert window.current == "fields"


def _fields(keys: Typist, window: Window, pictures: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    session, station = window.session, window.stations["fields"]
    for count, (name, passes) in enumerate(zip(PASSES, ("1", "6"), strict=True), start=1):
        monkeypatch.setattr(pickers, "folder", lambda _parent, name=name: pictures / name)
        keys.press(KEY.Key_I, CONTROL | SHIFT)
        keys.wait(lambda count=count: len(session.study.fields()) == 2 * count)
        keys.tab_to("Fields by batch")
        keys.press(KEY.Key_Up)  # from the first field of the batch to its heading
        keys.tab_to("Passes")
        keys.type(passes)
        keys.press(KEY.Key_Return)
    assert [row.batch.passes for row in session.study.batches()] == [1.0, 6.0]
    keys.tab_to("Fields by batch")
    keys.press(KEY.Key_M, SHIFT)
    keys.wait(lambda: all(row.measured for row in session.study.fields()))
    assert station.state_text()[0]


def _particles(keys: Typist, window: Window) -> None:
    session = window.session
    keys.press(KEY.Key_3, CONTROL)
    assert window.current == "particles"
    keys.press(KEY.Key_G)
    keys.wait(lambda: len(session.selected) == 1)
    (label,) = session.selected
    field = session.current_field_id
    keys.press(KEY.Key_N)
    after = session.study.particles(field)
    assert after["kind"][after["label"] == label][0] == KINDS.index(Kind.SKIN)


def _sizes(keys: Typist, window: Window) -> None:
    station = window.stations["sizes"]
    keys.press(KEY.Key_4, CONTROL)
    keys.wait(lambda: station.shown is not None and station.shown.final)
    x50 = station.shown.summary.value("volume.x50_um")
    assert 10 < x50 < 80
    keys.press(KEY.Key_F4)
    keys.press(KEY.Key_N)
    keys.wait(lambda: station.r == 0)


def _compare(keys: Typist, window: Window) -> None:
    station = window.stations["compare"]
    keys.press(KEY.Key_5, CONTROL)
    keys.wait(lambda: station.shown is not None and not window.session.tasks.tasks)
    assert {b.name for b in station.batches} == set(PASSES)


def _report(keys: Typist, window: Window, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    station = window.stations["report"]
    monkeypatch.setattr(pickers, "save", lambda *_: folder / "report.pdf")
    keys.press(KEY.Key_7, CONTROL)
    keys.wait(lambda: station.shown is not None and window.action("window.undo") is not None)
    keys.press(KEY.Key_S, CONTROL)
    assert (folder / "report.pdf").read_bytes().startswith(b"%PDF")
