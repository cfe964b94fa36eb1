"""Tools of the picture, by mouse and by keyboard alone."""

import numpy as np
import pytest
from PySide6.QtCore import QPointF, Qt

from app.canvas.tools_point import LengthTool, PickTool, RectangleTool
from app.canvas.tools_shape import BrushTool, DrawTool, LineTool
from app.canvas.view import PictureView
from measure.particles import make_particles

LEFT, NONE = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier


@pytest.fixture
def view(qtbot):
    made = PictureView()
    made.resize(600, 460)
    qtbot.addWidget(made)
    with qtbot.waitExposed(made):
        made.show()
    made.set_picture(np.full((300, 400, 3), 200, dtype=np.uint8))
    squares = [np.array([[0, 0], [20, 0], [20, 20], [0, 20]]) + c for c in ([50, 50], [120, 50])]
    made.set_particles(make_particles(squares, label=[7, 9], kind=0, area_px2=400, doubt=0))
    return made


@pytest.fixture
def mouse(view, qtbot):
    def drag(*places, modifiers=NONE):
        on = [view.to_view(QPointF(x, y)).toPoint() for x, y in places]
        qtbot.mousePress(view.viewport(), LEFT, modifiers, on[0])
        for place in on[1:]:
            qtbot.mouseMove(view.viewport(), place)
        qtbot.mouseRelease(view.viewport(), LEFT, modifiers, on[-1])

    return drag


def test_pick_by_click_shift_click_and_rectangle(view, mouse):
    heard = []
    view.set_tool(PickTool(lambda labels, add: heard.append((labels, add))))
    mouse((60, 60))
    mouse((130, 60), modifiers=Qt.KeyboardModifier.ShiftModifier)
    mouse((300, 200))
    mouse((40, 40), (100, 60), (150, 80))
    assert heard == [([7], False), ([9], True), ([], False), ([7, 9], False)]


def test_escape_drops_what_is_under_way_and_then_speaks_up(view, qtbot):
    heard = []
    view.set_tool(LineTool(lambda line, exact: heard.append(line)))
    place = view.to_view(QPointF(60, 60)).toPoint()
    qtbot.mousePress(view.viewport(), LEFT, NONE, place)
    qtbot.mouseMove(view.viewport(), place + place)
    qtbot.keyClick(view, Qt.Key.Key_Escape)
    qtbot.mouseRelease(view.viewport(), LEFT, NONE, place + place)
    assert heard == []
    with qtbot.waitSignal(view.escaped):
        qtbot.keyClick(view, Qt.Key.Key_Escape)


def test_a_line_keeps_its_ends(view, mouse):
    heard = []
    view.set_tool(LineTool(lambda line, exact: heard.append(line)))
    mouse((40, 60), (60, 62), (90, 65))
    assert heard[0][0] == pytest.approx([40, 60], abs=0.6)
    assert heard[0][-1] == pytest.approx([90, 65], abs=0.6)


def test_shift_asks_for_the_line_itself(view, mouse):
    heard = []
    view.set_tool(LineTool(lambda line, exact: heard.append(exact)))
    mouse((40, 60), (90, 65), modifiers=Qt.KeyboardModifier.ShiftModifier)
    mouse((40, 60), (90, 65))
    assert heard == [True, False]


def test_a_shaking_hand_pulls_a_straight_line_and_a_bend_stays(view, mouse):
    heard = []
    view.set_tool(LineTool(lambda line, exact: heard.append(line)))
    mouse((40, 60), (60, 61), (90, 60))
    mouse((40, 60), (60, 90), (90, 60))
    assert [len(line) for line in heard] == [2, 3]


def test_an_outline_pulled_freely_and_one_set_by_corners(view, mouse, qtbot):
    heard = []
    view.set_tool(DrawTool(heard.append))
    mouse((200, 100), (250, 100), (250, 150), (200, 150), (201, 104))
    assert len(heard[0]) >= 4
    for corner in ((200, 200), (260, 200), (260, 260)):
        mouse(corner)
    mouse((320, 320))
    qtbot.keyClick(view, Qt.Key.Key_Backspace)
    qtbot.keyClick(view, Qt.Key.Key_Return)
    assert heard[1] == pytest.approx(np.array([[200, 200], [260, 200], [260, 260]]), abs=0.6)


def test_clicking_the_first_corner_closes_the_outline(view, mouse):
    heard = []
    view.set_tool(DrawTool(heard.append))
    for corner in ((200, 200), (260, 200), (260, 260), (201, 201)):
        mouse(corner)
    assert len(heard) == 1
    assert len(heard[0]) == 3


def test_a_double_click_closes_the_outline(view, mouse, qtbot):
    heard = []
    view.set_tool(DrawTool(heard.append))
    for corner in ((200, 200), (260, 200), (260, 260)):
        mouse(corner)
    qtbot.mouseDClick(view.viewport(), LEFT, NONE, view.to_view(QPointF(260, 260)).toPoint())
    assert len(heard) == 1


def test_the_brush_hands_over_its_way_and_radius(view, mouse, qtbot):
    heard = []
    tool = BrushTool(lambda *sweep: heard.append(sweep), add=True, radius_px=5)
    view.set_tool(tool)
    qtbot.keyClick(view, Qt.Key.Key_Period)
    mouse((60, 60), (75, 60), (80, 60))
    stroke, radius, add = heard[0]
    assert stroke[0] == pytest.approx([60, 60], abs=0.6)
    assert radius == pytest.approx(6.25)
    assert add
    qtbot.keyClick(view, Qt.Key.Key_Comma)
    assert tool.radius_px == pytest.approx(5)


def test_a_length_by_drag_and_by_two_clicks(view, mouse):
    heard = []
    tool = LengthTool(lambda a, b: f"{(b - a).x():.0f}", lambda a, b: heard.append((a, b)))
    view.set_tool(tool)
    mouse((50, 50), (100, 50), (150, 50))
    mouse((10, 200))
    mouse((110, 200))
    assert [(b - a).x() for a, b in heard] == pytest.approx([100, 100], abs=1)
    view.viewport().grab()
    assert tool.cancel()


def test_a_rectangle(view, mouse):
    heard = []
    view.set_tool(RectangleTool(heard.append))
    mouse((200, 150), (100, 90), (50, 60))
    rect = heard[0]
    assert [rect.left(), rect.top(), rect.right(), rect.bottom()] == pytest.approx([50, 60, 200, 150], abs=1)


def test_without_a_mouse_return_presses_and_arrows_pull(view, qtbot):
    heard = []
    view.set_tool(LineTool(lambda line, exact: heard.append(line)))
    view.one_to_one()
    view.setFocus()
    start = view.place()
    qtbot.keyClick(view, Qt.Key.Key_Return)
    for _ in range(2):
        qtbot.keyClick(view, Qt.Key.Key_Right)
    qtbot.keyClick(view, Qt.Key.Key_Return)
    assert heard[0][0] == pytest.approx(start[:2], abs=1)
    assert heard[0][-1][0] > start[0] + 50
