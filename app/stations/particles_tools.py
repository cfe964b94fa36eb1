"""The row of tools above the picture, and which one is in hand."""

from collections.abc import Callable

import numpy as np
from PySide6.QtCore import QPointF, Signal
from PySide6.QtGui import QAction, QActionGroup
from PySide6.QtWidgets import QToolButton, QWidget

from app import number_text, parts, theme
from app.canvas.tool import Tool
from app.canvas.tools_point import LengthTool, PickTool
from app.canvas.tools_shape import BrushTool, DrawTool, LineTool
from app.canvas.view import PictureView
from app.flow import flow
from app.session import Session
from app.stations.particles_hands import Hands
from app.tool_words import WordyRow
from measure.model import Scale
from measure.sizes.length import length_between

_TOOL_NAMES = ("pick", "cut", "draw", "add", "take", "length")
# name of the tool to its icon and the short words beneath
_ICONS = {
    "pick": ("pick", "Choose"),
    "cut": ("cut", "Cut"),
    "join": ("join", "Join"),
    "draw": ("draw", "Draw"),
    "add": ("brush_add", "Add"),
    "take": ("brush_take", "Wipe"),
    "more": ("cut_more", "More"),
    "fewer": ("cut_fewer", "Fewer"),
    "aside": ("aside", "Aside"),
    "restore": ("restore", "Count"),
    "length": ("length", "Length"),
    "snap": ("snap", "Edge"),
    "hide": ("eye", "Hide"),
    "loupe": ("loupe", "Lens"),
    "fit": ("fit", "Whole"),
}
_ROW = ("pick", "cut", "join", "draw", "add", "take", "more", "fewer", None, "aside", "restore", None)
_ROW_END = ("length", None, "snap", "loupe", "hide", "fit")


class ToolRow(WordyRow):
    """Buttons for the tools; keeps the tool in hand and the action that stands for it in step.

    Signals
    -------
    hint(str)
        What the tool in hand wants next.
    """

    hint = Signal(str)

    def __init__(
        self,
        session: Session,
        view: PictureView,
        hands: Hands,
        action: Callable[[str], QAction],
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._session, self._view, self._hands = session, view, hands
        self.scale: Scale | None = None
        self.setProperty("look", "panel")
        self._action = lambda name: action(f"particles.{name}")
        self._tools: dict[str, Tool] = {
            "pick": PickTool(self._choose),
            "cut": LineTool(self._cut),
            "draw": DrawTool(lambda outline: hands.draw(outline, self._action("snap").isChecked())),
            "add": BrushTool(self._brush, add=True),
            "take": BrushTool(self._brush, add=False),
            "length": LengthTool(self._length_text),
        }
        group = QActionGroup(self)
        for name in _TOOL_NAMES:
            group.addAction(self._action(name))
        self._lay_out()
        self.take_up("pick")

    def _lay_out(self) -> None:
        widgets = [self._button(name) for name in (*_ROW, *_ROW_END)]
        line = flow(*widgets, spacing=1)
        line.setContentsMargins(theme.SMALL, theme.TIGHT, theme.SMALL, theme.TIGHT)
        self.hold(line, [widget for widget in widgets if isinstance(widget, QToolButton)])

    def _button(self, name: str | None) -> QWidget | int:
        if name is None:
            return theme.TIGHT
        icon, words = _ICONS[name]
        return parts.tool_button(self._action(name), icon, words=words)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the tools one takes in hand."""
        return tuple(self._tools)

    @property
    def in_hand(self) -> str:
        """Name of the tool in hand."""
        return self._view.tool.name if self._view.tool is not None else ""

    def take_up(self, name: str) -> None:
        """Take a tool in hand."""
        tool = self._tools[name]
        self._action(name).setChecked(True)
        self._view.set_tool(tool)
        self.hint.emit(tool.hint)

    # -- what the tools do --------------------------------------------------------------------

    def _choose(self, labels: list[int], add: bool) -> None:
        chosen = set(self._session.selected)
        if not add:
            chosen = set(labels)
        elif labels and chosen.issuperset(labels):
            chosen -= set(labels)
        else:
            chosen |= set(labels)
        self._session.select(chosen)

    def _cut(self, line: np.ndarray, exact: bool) -> None:
        met = self._view.labels_crossed(line)
        chosen = [label for label in met if label in self._session.selected]
        self._hands.cut(chosen or met, line, snap=not exact)

    def _brush(self, stroke: np.ndarray, radius_px: float, add: bool) -> None:
        chosen = self._session.selected
        label = next(iter(chosen)) if len(chosen) == 1 else self._view.label_at(*stroke[0])
        self._hands.brush(label, stroke, radius_px, add)

    def _length_text(self, start: QPointF, end: QPointF) -> str:
        if self.scale is None:
            return f"{number_text.number(((end - start).x() ** 2 + (end - start).y() ** 2) ** 0.5)} px"
        found = length_between(
            (start.x(), start.y()), (end.x(), end.y()), self.scale, screen_px_per_px=self._view.zoom
        )
        return number_text.with_uncertainty(found.length_um, found.standard_uncertainty_um)
