"""The Particles station on a small drawn study, and how to press and pull in it."""

import shutil

import pytest
from PySide6.QtCore import QPointF, Qt

from app.session import Session
from app.stations.particles import Station
from tests.app.particle_study import make_study

LEFT, NONE = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier
SHIFT = Qt.KeyboardModifier.ShiftModifier


@pytest.fixture(scope="session")
def particles_template(tmp_path_factory):
    path = tmp_path_factory.mktemp("study") / "paste.gritline"
    make_study(path)
    return path


@pytest.fixture
def station(qtbot, tmp_path, particles_template):
    path = shutil.copy(particles_template, tmp_path / "paste.gritline")
    session = Session()
    made = Station(session)
    made.resize(1200, 760)
    qtbot.addWidget(made)
    session.opened.connect(made.study_opened)
    with qtbot.waitExposed(made):
        made.show()
    assert session.open(path)
    made.entered()
    qtbot.waitUntil(lambda: made.view.image is not None, timeout=20_000)
    made.said = []
    session.message.connect(lambda text, _level: made.said.append(text))
    yield made
    session.shut()


@pytest.fixture
def hand(station, qtbot):
    """Wait for what hand edits need: the light of the field."""
    qtbot.waitUntil(lambda: station.session.light() is not None, timeout=20_000)


@pytest.fixture
def mouse(station, qtbot):
    view = station.view

    def drag(*places, modifiers=NONE):
        on = [view.to_view(QPointF(x, y)).toPoint() for x, y in places]
        qtbot.mousePress(view.viewport(), LEFT, modifiers, on[0])
        for place in on[1:]:
            qtbot.mouseMove(view.viewport(), place)
        qtbot.mouseRelease(view.viewport(), LEFT, modifiers, on[-1])

    return drag


@pytest.fixture
def press(station, qtbot):
    def key(*keys):
        station.view.setFocus()
        for which in keys:
            modifiers = SHIFT if which < 0 else NONE
            qtbot.keyClick(station.view, Qt.Key(abs(which)), modifiers)

    return key
