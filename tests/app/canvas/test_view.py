"""The picture view: zoom, pan, pointing, outlines and what is drawn, through real events."""

import numpy as np
import pytest
from PySide6.QtCore import QPoint, QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QWheelEvent
from PySide6.QtWidgets import QApplication

from app.canvas.marks_item import Marks
from app.canvas.scale_bar import bar_length_um, length_text
from app.canvas.view import PictureView
from app.number_text import THIN
from app.theme import KIND_STYLE
from measure.model import KINDS, Kind
from measure.particles import make_particles


def disc(x, y, radius, points=48):
    angle = np.linspace(0, 2 * np.pi, points, endpoint=False)
    return np.column_stack([x + radius * np.cos(angle), y + radius * np.sin(angle)])


def pieces(count=4, radius=20.0):
    xs = np.arange(count) * 80.0 + 60
    return make_particles(
        [disc(x, 100, radius) for x in xs],
        label=np.arange(1, count + 1),
        kind=np.arange(count) % 4,
        centre_x_px=xs,
        centre_y_px=100,
        area_px2=np.pi * radius**2,
        doubt=0.0,
    )


@pytest.fixture
def view(qtbot):
    made = PictureView()
    made.resize(600, 400)
    qtbot.addWidget(made)
    with qtbot.waitExposed(made):
        made.show()
    made.set_picture(np.full((300, 400, 3), (220, 200, 160), dtype=np.uint8))
    return made


def at(view, x, y):
    return view.to_view(QPointF(x, y)).toPoint()


def colour_at(view, x, y):
    place = at(view, x, y)
    return view.viewport().grab().toImage().pixelColor(place)


def wheel(view, place: QPoint, turn: int):
    position = QPointF(place)
    event = QWheelEvent(
        position, QPointF(view.viewport().mapToGlobal(place)), QPoint(), QPoint(0, turn),
        Qt.MouseButton.NoButton, Qt.KeyboardModifier.NoModifier, Qt.ScrollPhase.NoScrollPhase, False,
    )  # fmt: skip
    QApplication.sendEvent(view.viewport(), event)


def test_a_new_picture_is_shown_whole(view):
    seen = QRectF(view.viewport().rect())
    assert seen.contains(view.to_view(QPointF(0, 0)))
    assert seen.contains(view.to_view(QPointF(400, 300)))
    assert colour_at(view, 200, 150) == QColor(220, 200, 160)


def test_sixteen_bit_pictures_look_like_their_eight_bit_twins(view):
    view.set_picture(np.full((300, 400, 3), (220 << 4, 200 << 4, 160 << 4), dtype=np.uint16), bit_depth=12)
    assert colour_at(view, 200, 150) == QColor(220, 200, 160)


def test_the_wheel_zooms_at_the_pointer(view):
    place = QPoint(150, 120)
    before, zoom = view.to_picture(QPointF(place)), view.zoom
    wheel(view, place, 240)
    after = view.to_picture(QPointF(place))
    assert view.zoom == pytest.approx(zoom * 1.25**2)
    assert (after - before).manhattanLength() < 1.5 / view.zoom


def test_keys_zoom_fit_and_pan(view, qtbot):
    view.setFocus()
    whole = view.zoom
    qtbot.keyClick(view, Qt.Key.Key_Plus)
    assert view.zoom == pytest.approx(whole * 1.25)
    qtbot.keyClick(view, Qt.Key.Key_9)
    assert view.zoom == pytest.approx(1.0)
    x = view.place()[0]
    qtbot.keyClick(view, Qt.Key.Key_Right)
    assert view.place()[0] > x
    qtbot.keyClick(view, Qt.Key.Key_0)
    assert view.zoom == pytest.approx(whole)


def test_the_middle_button_and_the_space_bar_drag_the_picture(view, qtbot):
    view.one_to_one()
    for button, held in ((Qt.MouseButton.MiddleButton, False), (Qt.MouseButton.LeftButton, True)):
        x = view.place()[0]
        if held:
            qtbot.keyPress(view, Qt.Key.Key_Space)
        qtbot.mousePress(view.viewport(), button, pos=QPoint(300, 200))
        qtbot.mouseMove(view.viewport(), QPoint(260, 200))
        qtbot.mouseRelease(view.viewport(), button, pos=QPoint(260, 200))
        assert view.place()[0] == pytest.approx(x + 40, abs=1)
        if held:
            qtbot.keyRelease(view, Qt.Key.Key_Space)


def test_resizing_keeps_the_whole_picture_in_view_until_one_zooms(view, qtbot):
    view.resize(900, 700)
    assert view.zoom > 1.9
    view.one_to_one()
    view.resize(600, 400)
    assert view.zoom == pytest.approx(1.0)


def test_a_click_and_a_drag_without_a_tool_go_to_the_signals(view, qtbot):
    with qtbot.waitSignal(view.clicked) as clicked:
        qtbot.mouseClick(view.viewport(), Qt.MouseButton.LeftButton, pos=at(view, 100, 100))
    assert clicked.args[:2] == pytest.approx([100, 100], abs=1)
    with qtbot.waitSignal(view.dragged) as dragged:
        qtbot.mousePress(view.viewport(), Qt.MouseButton.LeftButton, pos=at(view, 50, 60))
        qtbot.mouseMove(view.viewport(), at(view, 120, 90))
        qtbot.mouseRelease(view.viewport(), Qt.MouseButton.LeftButton, pos=at(view, 150, 100))
    assert dragged.args[:4] == pytest.approx([50, 60, 150, 100], abs=1)


def test_pointing_at_a_piece_names_it(view, qtbot):
    view.set_particles(pieces())
    with qtbot.waitSignal(view.hovered) as hovered:
        qtbot.mouseMove(view.viewport(), at(view, 140, 100))
    assert hovered.args == [2]
    assert view.label_at(60, 100) == 1
    assert view.label_at(100, 200) == 0
    assert sorted(view.labels_in(QRectF(0, 0, 180, 300))) == [1, 2]


def test_an_outline_is_drawn_in_the_colour_of_its_kind(view):
    view.set_particles(pieces())
    view.show_place(60, 100, 8.0)
    image = view.viewport().grab().toImage()
    left = view.to_view(QPointF(40, 100)).toPoint()
    seen = np.array([image.pixelColor(left.x() + dx, left.y()).getRgb()[:3] for dx in range(-4, 5)])
    wanted = QColor(KIND_STYLE[KINDS[0]].colour).getRgb()[:3]
    assert np.abs(seen - wanted).max(axis=1).min() < 45  # the line is smoothed


def test_thousands_of_pieces_show_from_a_drawn_copy_and_follow_a_change(view):
    rng = np.random.default_rng(3)
    many = 3000
    xy = rng.uniform((10, 10), (1990, 1490), (many, 2))
    particles = make_particles(
        [disc(x, y, 6, 12) for x, y in xy],
        label=np.arange(1, many + 1),
        kind=0,
        area_px2=113.0,
        centre_x_px=xy[:, 0],
        centre_y_px=xy[:, 1],
        doubt=0,
    )
    view.set_picture(np.full((1500, 2000, 3), 255, dtype=np.uint8))
    view.set_particles(particles)
    before = view.viewport().grab().toImage()
    kind = particles["kind"].copy()
    kind[:30] = KINDS.index(Kind.SKIN)
    view.set_particles(particles.replaced(kind=kind))
    partly = view.viewport().grab().toImage()
    view.set_picture(np.full((1500, 2000, 3), 255, dtype=np.uint8))
    view.set_particles(particles.replaced(kind=kind))
    anew = view.viewport().grab().toImage()
    assert partly != before
    # the copy mended in places is the copy drawn anew (neighbours may overlap in another order)
    a, b = (np.frombuffer(i.constBits(), np.uint8).astype(int) for i in (partly, anew))
    assert (np.abs(a - b) > 40).mean() < 0.001


def test_removed_and_hidden_pieces_are_gone(view):
    particles = pieces()
    view.set_particles(particles)
    view.set_particles(particles.select(np.array([1, 2, 3])))
    assert view.label_at(60, 100) == 0
    view.set_particles(particles, shown=np.array([True, False, True, True]))
    assert view.label_at(140, 100) == 0
    assert view.label_at(60, 100) == 1


def test_marks_zones_preview_and_scale_bar_leave_their_colours(view):
    plain = view.viewport().grab().toImage()
    for show in (
        lambda: view.set_marks(
            Marks(np.array([[10, 10, 390, 10]]), np.array([[200, 200]]), ((200, 200, "20 µm"),))
        ),
        lambda: view.set_zones([np.array([[300, 200], [380, 200], [380, 280]])]),
        lambda: view.set_preview([disc(200, 150, 40)]),
        lambda: view.set_scale(0.5),
    ):
        show()
        now = view.viewport().grab().toImage()
        assert now != plain
        plain = now


def test_the_loupe_follows_the_pointer_and_leaves_with_it(view, qtbot):
    view.set_loupe(True)
    qtbot.mouseMove(view.viewport(), at(view, 100, 100))
    loupe = view.findChild(object, "loupe")
    assert loupe.isVisible()
    view.set_loupe(False)
    assert not loupe.isVisible()


@pytest.mark.parametrize(("um_per_px", "expected"), [(1.0, 200.0), (0.1, 20.0), (0.33, 50.0), (10.0, 2000.0)])
def test_the_scale_bar_is_the_longest_round_length_that_fits(um_per_px, expected):
    assert bar_length_um(um_per_px, 1200) == pytest.approx(expected)


def test_scale_bar_text():
    assert length_text(50.0) == f"50{THIN}µm"
    assert length_text(2000.0) == f"2{THIN}mm"


@pytest.mark.parametrize("light_up", ["set_chosen", "set_lit"])
@pytest.mark.parametrize("count", [3, 900])
def test_chosen_and_lit_pieces_stand_out_few_or_many(view, light_up, count):
    rng = np.random.default_rng(4)
    xy = rng.uniform((10, 10), (390, 290), (count, 2))
    view.set_particles(
        make_particles([disc(x, y, 4, 12) for x, y in xy], label=np.arange(1, count + 1), kind=0, doubt=0)
    )
    plain = view.viewport().grab().toImage()
    getattr(view, light_up)(range(1, count + 1))
    lit = view.viewport().grab().toImage()
    assert lit != plain
    getattr(view, light_up)([])
    assert view.viewport().grab().toImage() == plain
