"""Copies of thousands of outlines are drawn ahead, between frames, and look as if drawn at once."""

import time
from types import SimpleNamespace

import numpy as np
import pytest
from PySide6.QtGui import QImage, QPainter

from app.canvas import outline_item
from app.canvas.outline_item import OutlineItem
from app.canvas.outline_levels import OutlineLevels, OutlineSource
from app.canvas.style import group_style
from app.canvas.view import PictureView
from measure import outlines
from measure.particles import make_particles

SHAPE = (1200, 1600)


def shapes(count: int) -> list[np.ndarray]:
    random = np.random.default_rng(count)
    angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    circle = np.column_stack([np.cos(angle), np.sin(angle)])
    places = random.uniform(20, (SHAPE[1] - 20, SHAPE[0] - 20), (count, 2))
    return [(place + 8 * circle).astype(np.float32) for place in places]


def source(count: int) -> OutlineSource:
    made = shapes(count)
    return OutlineSource(made, outlines.bounds(made), np.arange(count) % 4, group_style)


def painted(levels: OutlineLevels, zoom: float, scene: OutlineSource) -> QImage:
    image = QImage(800, 600, QImage.Format.Format_ARGB32_Premultiplied)
    image.fill(0)
    painter = QPainter(image)
    painter.scale(zoom, zoom)
    levels.paint(painter, zoom, scene)
    painter.end()
    return image


def ahead(levels: OutlineLevels, zoom: float, scene: OutlineSource) -> bool:
    """Draw ahead for three milliseconds."""
    return levels.draw_ahead(zoom, scene, time.perf_counter() + 0.003)


def shown(qtbot) -> PictureView:
    """A view of an even picture on the screen."""
    view = PictureView()
    view.resize(700, 500)
    qtbot.addWidget(view)
    with qtbot.waitExposed(view):
        view.show()
    view.set_picture(np.full((*SHAPE, 3), 200, np.uint8))
    return view


@pytest.mark.usefixtures("qapp")
def test_a_copy_drawn_ahead_is_the_one_drawn_at_once() -> None:
    scene, levels, other = source(600), OutlineLevels(SHAPE), OutlineLevels(SHAPE)
    painted(levels, 0.25, scene)
    slices = 1
    while ahead(levels, 0.25, scene):
        slices += 1
    assert slices > 5
    assert levels.drawn(0.5)
    assert painted(levels, 0.5, scene) == painted(other, 0.5, scene)


@pytest.mark.usefixtures("qapp")
def test_a_frame_takes_the_nearest_copy_instead_of_drawing_another() -> None:
    scene, levels = source(600), OutlineLevels(SHAPE)
    painted(levels, 0.25, scene)
    rough = painted(levels, 0.5, scene)
    assert not levels.drawn(0.5)
    while ahead(levels, 0.5, scene):
        pass
    assert painted(levels, 0.5, scene) != rough


@pytest.mark.usefixtures("qapp")
@pytest.mark.parametrize("change", ["redraw", "clear"])
def test_a_change_while_a_copy_is_being_drawn_is_in_it(change: str) -> None:
    scene, levels, other = source(600), OutlineLevels(SHAPE), OutlineLevels(SHAPE)
    painted(levels, 0.25, scene)
    for _ in range(3):
        assert ahead(levels, 0.5, scene)
    scene.group[:50] = -1
    if change == "clear":
        levels.clear()
        painted(levels, 0.25, scene)
    else:
        levels.redraw(scene.box[:50], scene)
    while ahead(levels, 0.5, scene):
        pass
    painted(other, 0.25, scene)
    while ahead(other, 0.5, scene):
        pass
    assert painted(levels, 0.5, scene) == painted(other, 0.5, scene)


def test_lines_of_many_pieces_are_made_between_frames(qtbot, monkeypatch) -> None:
    made: list[int] = []
    real = OutlineItem._polygon

    def counted(self: OutlineItem, row: int, zoom: float) -> object:
        made.append(row)
        return real(self, row, zoom)

    monkeypatch.setattr(OutlineItem, "_polygon", counted)
    view = shown(qtbot)
    count = 3000
    view.set_particles(
        make_particles(
            shapes(count),
            label=np.arange(1, count + 1),
            area_px2=200.0,
            centre_x_px=np.arange(count),
            centre_y_px=0.0,
        )
    )
    view.viewport().repaint()
    assert not made
    view.zoom_to(1.0)
    view.viewport().repaint()  # several hundred pieces are in view
    assert not made
    qtbot.waitUntil(lambda: len(set(made)) > 300, timeout=20_000)
    qtbot.waitUntil(lambda: not view._outlines._ahead.isActive(), timeout=20_000)
    done = len(made)
    view.viewport().repaint()
    assert len(made) == done
    view.zoom_to(1.4)
    view.viewport().repaint()  # those at hand serve at a zoom near theirs
    assert len(made) == done


def test_lines_are_not_made_for_pieces_that_have_gone_meanwhile(qtbot) -> None:
    view = shown(qtbot)
    count = 40
    view.set_particles(make_particles(shapes(count), label=np.arange(1, count + 1), area_px2=200.0))
    item = view._outlines
    item._zoom, item._waiting = 1.0, np.arange(count)  # as a frame leaves it that could not make all lines
    item.set_outlines(np.zeros(0, dtype=int), (), np.zeros(0, dtype=int))
    item._draw_ahead()
    assert not len(item._waiting)


def test_what_was_made_ready_waits_for_the_next_frame_or_for_rest(qtbot, monkeypatch) -> None:
    view = shown(qtbot)
    count = 40
    view.set_particles(make_particles(shapes(count), label=np.arange(1, count + 1), area_px2=200.0))
    view.grab()
    item = view._outlines
    updates: list[int] = []
    monkeypatch.setattr(OutlineItem, "update", lambda self: updates.append(1))

    def made_ready() -> None:
        item._polygons.clear()
        item._zoom, item._waiting = 1.0, np.arange(count)
        while len(item._waiting):
            item._draw_ahead()

    made_ready()
    assert not updates  # a second frame beside that of a step of zooming would hold it up
    view.grab()
    qtbot.wait(150)
    assert not updates  # the frame has shown it
    made_ready()
    qtbot.waitUntil(lambda: len(updates) == 1, timeout=5_000)


def test_less_is_made_ready_after_a_slow_frame(qtbot, monkeypatch) -> None:
    view = shown(qtbot)
    view.set_particles(make_particles(shapes(40), label=np.arange(1, 41), area_px2=200.0))
    item = view._outlines
    clock = [0.0]  # a busy machine would make any frame a slow one
    monkeypatch.setattr(outline_item, "time", SimpleNamespace(perf_counter=lambda: clock[0]))

    def painting(frame_s: float):
        def paint(*_) -> None:
            clock[0] += frame_s

        return paint

    slices = []
    for frame_s in (0.0, 0.02):
        monkeypatch.setattr(OutlineItem, "_paint_marked", painting(frame_s))
        view.grab()
        slices.append(item._slice_s)
    assert slices[1] < slices[0]
