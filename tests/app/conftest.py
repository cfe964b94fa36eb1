"""What window tests share: a small drawn study, a session and a window on it."""

from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import pytest
from PySide6.QtCore import QCoreApplication, QEvent
from pytestqt.qtbot import QtBot

from app import theme
from app.session import Session
from app.stations.base import BaseStation
from app.window import Window
from measure.model import Scale
from measure.study.records import Batch, NewField
from measure.study.study import Study

OIL, GRAIN = (232, 214, 160), (150, 96, 60)
# centre x, y and radius in px of the grains of every drawn field
GRAINS = ((40, 40, 14), (110, 60, 18), (60, 120, 12), (170, 110, 16))
WIDTH, HEIGHT = 220, 160


def drawn_field(seed: int, grains: tuple = GRAINS, size: tuple[int, int] = (WIDTH, HEIGHT)) -> np.ndarray:
    """Return a small RGB picture of dark grains in pale oil, with noise."""
    rng = np.random.default_rng(seed)
    picture = np.full((size[1], size[0], 3), OIL, np.uint8)
    for x, y, radius in grains:
        cv2.circle(picture, (x, y), radius, GRAIN, -1, cv2.LINE_AA)
    noisy = picture + rng.normal(0, 2, picture.shape)
    return np.clip(noisy, 0, 255).astype(np.uint8)


def png(picture: np.ndarray) -> bytes:
    """Return a picture as the bytes of a PNG file."""
    return cv2.imencode(".png", picture[..., ::-1])[1].tobytes()


def new_field(name: str, seed: int, **more: object) -> NewField:
    """Return a drawn field ready to be added."""
    return NewField(name, png(drawn_field(seed)), width_px=WIDTH, height_px=HEIGHT, **more)


@pytest.fixture(autouse=True)
def nothing_left_over() -> Iterator[None]:
    """Delete what a test closed before the next begins: beside other widgets a window is slow to build."""
    yield
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete.value)


@pytest.fixture
def study_path(tmp_path: Path) -> Path:
    """Return a closed study with a batch, a scale and two fields that are not measured."""
    path = tmp_path / "paste.gritline"
    with Study.create(path) as study:
        batch = study.add_batch(Batch("pass 1", passes=1))
        scale = study.add_scale(Scale(0.5, 0.001, zoom="10x", width_px=WIDTH, height_px=HEIGHT))
        study.add_fields([new_field(f"a{n}.png", n, batch_id=batch, scale_id=scale) for n in (1, 2)])
    return path


@pytest.fixture
def session(qtbot: QtBot) -> Iterator[Session]:
    """Give a session without a study; its messages are in ``session.told``."""
    made = Session()
    made.told = []
    made.message.connect(lambda text, level: made.told.append((level, text)))
    yield made
    made.shut()


@pytest.fixture
def window(qtbot: QtBot) -> Iterator[Window]:
    """Give the window on its start page; its messages are in ``window.session.told``."""
    if theme.chosen() != "light":
        theme.choose("light")
    made = Window()
    made.session.told = []
    made.session.message.connect(lambda text, level: made.session.told.append((level, text)))
    made.resize(1280, 800)
    with qtbot.waitExposed(made):
        made.show()
    yield made
    made.close()
    made.deleteLater()
    # at once: windows that pile up make every change of theme slower
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete.value)


@pytest.fixture
def open_window(window: Window, study_path: Path) -> Window:
    """Return the window with the drawn study open, at Fields."""
    assert window.session.open(study_path)
    window.go("fields")
    return window


@pytest.fixture
def station(open_window: Window, qtbot: QtBot) -> BaseStation:
    """Return the Fields station of the open window, its picture shown."""
    made = open_window.stations["fields"]
    qtbot.waitUntil(lambda: open_window.session.picture() is not None, timeout=5000)
    return made
