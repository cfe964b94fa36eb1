"""How the Fields station is laid out: the picture on the left, list and cards on the right."""

from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout, QSplitter, QVBoxLayout, QWidget

from app import parts, theme
from app.flow import flow
from app.stations.sides import side_by_side

if TYPE_CHECKING:
    from app.stations.fields import Station

PANEL_WIDTH = 440


def lay_out(station: "Station") -> None:
    """Put everything in its place."""
    panel = _panel(station)
    splitter = side_by_side(station.stage, panel, (4 * PANEL_WIDTH, PANEL_WIDTH))
    whole = QHBoxLayout(station)
    whole.setContentsMargins(0, 0, 0, 0)
    whole.addWidget(splitter)


def _panel(station: "Station") -> QWidget:
    act = station.action
    panel = QWidget()
    panel.setProperty("look", "panel")
    buttons = flow(
        parts.action_button(act("fields.plan"), text="Plan"),
        parts.action_button(act("fields.add"), text="Add pictures"),
        parts.action_button(act("fields.add_folder"), text="Folder"),
        parts.action_button(act("fields.new_batch"), text="New batch"),
        parts.action_button(act("fields.camera"), text="Camera"),
        spacing=theme.TIGHT,
    )
    split = QSplitter(Qt.Orientation.Vertical)
    split.addWidget(station.list)
    station.cards = parts.scroll(_cards(station))
    split.addWidget(station.cards)
    split.setChildrenCollapsible(False)
    split.setStretchFactor(0, 1)
    split.setStretchFactor(1, 1)
    split.setSizes([240, 400])
    whole = QVBoxLayout(panel)
    whole.setContentsMargins(theme.SMALL, theme.SMALL, theme.SMALL, theme.SMALL)
    whole.setSpacing(theme.SMALL)
    parts.fill(whole, (buttons, split, station.next))
    whole.setStretch(1, 1)
    whole.addStrut(PANEL_WIDTH - 2 * theme.SMALL)  # at least; larger text asks for more
    return panel


def _cards(station: "Station") -> QWidget:
    act = station.action
    station.settings.head.addWidget(
        parts.action_button(act("fields.preview"), look="quiet", icon="eye", text="Preview")
    )
    station.details.lay_out_buttons(
        parts.action_button(act("fields.marks"), text="Burnt-in marks"),
        parts.action_button(act("fields.blank"), text="Blank oil from fields"),
    )
    station.several.lay_out(
        parts.action_button(act("fields.repeats"), text="Repeats"),
        parts.action_button(act("fields.join"), icon="join", text="Join"),
        parts.action_button(act("fields.fuse"), text="Fuse"),
    )
    details = QWidget()
    column = QVBoxLayout(details)
    column.setContentsMargins(0, 0, 0, 0)
    column.setSpacing(theme.SMALL)
    cards = (
        station.count.form,
        station.advice,
        station.batch,
        station.care,
        station.details,
        station.settings,
    )
    parts.fill(column, (*cards, station.several, station.plan, None))
    return details
