"""The picture side of the Fields station: the field in view, its outlines, areas left out."""

import numpy as np
from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QAction
from PySide6.QtWidgets import QVBoxLayout, QWidget

from app import jobs, number_text, parts, theme
from app.canvas.tools_point import RectangleTool
from app.canvas.view import PictureView
from app.flow import flow
from app.messages import DONE, NOTE
from app.one_line import OneLine
from app.session import Session
from measure.model import Picture
from measure.outlines import contains
from measure.output.borders import borders_counted, count_border
from measure.study.records import FieldRow

EMPTY = (
    "Drop pictures of your smears here, or choose Add pictures.\n\n"
    "Three or more fields a batch, taken without looking for good places. "
    "A folder becomes a batch of its name."
)
TABLE = "This field came from a table: its pieces count in the sizes, but there is no picture to show."


class FieldPicture(QWidget):
    """Shows the current field of the session.

    Parameters
    ----------
    previous, next_, leave_out, outlines : QAction
        Of the station; the last two switch.
    """

    def __init__(
        self, session: Session, previous: QAction, next_: QAction, leave_out: QAction, outlines: QAction
    ) -> None:
        super().__init__()
        self._session = session
        self._leave_out_action, self._outlines_action = leave_out, outlines
        self.view = PictureView()
        self.view.set_empty_text(EMPTY)
        self.field_name, self.note = OneLine(), parts.label("", "soft")
        self._tool = RectangleTool(self._leave_out, self._take_back)
        self._hidden_by_preview = False
        line = flow()
        line.setContentsMargins(theme.SMALL, theme.TIGHT, theme.SMALL, theme.TIGHT)
        for part in (
            parts.tool_button(previous, "previous"),
            parts.tool_button(next_, "next"),
            self.field_name,
            None,
            self.note,
            parts.action_button(leave_out, look="quiet", icon="aside"),
            parts.action_button(outlines, look="quiet", icon="eye"),
        ):
            line.add(part)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        parts.fill(column, (line, self.view))
        column.setStretch(1, 1)

    def show_name(self) -> None:
        """Show the name of the current field; without one there is no picture either."""
        row = self._session.field_row()
        self.field_name.setText(row.name if row is not None else "")
        table = row is not None and row.role == "table"
        self.view.set_empty_text(TABLE if table else EMPTY)
        if row is None or table:
            self.view.set_picture(None)

    def show_picture(self) -> None:
        """Show picture, scale bar, areas left out and outlines of the current field."""
        picture, row = self._session.picture(), self._session.field_row()
        if picture is None or row is None:
            self.view.set_picture(None)
            return
        self.view.set_picture(picture.pixels, picture.bit_depth)
        self.show_marks()
        self.show_particles()

    def show_marks(self) -> None:
        """Show the scale bar and the areas left out."""
        row = self._session.field_row()
        scale = self._session.scale_of(row)
        self.view.set_scale(scale.um_per_px if scale is not None else None)
        self.view.set_zones(row.zones if row is not None else ())

    def show_particles(self) -> None:
        """Show the outlines as they are in the study."""
        if self._session.picture() is not None:
            self.view.set_particles(self._session.particles())

    def switch_outlines(self, *, hidden_by_preview: bool | None = None) -> None:
        """Show or hide the outlines as the action says, and never under a preview."""
        if hidden_by_preview is not None:
            self._hidden_by_preview = hidden_by_preview
        self.view.set_outlines_visible(self._outlines_action.isChecked() and not self._hidden_by_preview)

    def switch_tool(self) -> None:
        """Take or put down the tool that leaves out an area."""
        on = self._leave_out_action.isChecked()
        self.view.set_tool(self._tool if on else None)
        row = self._session.field_row()
        back = " Click an area left out to count it again." if row is not None and row.zones else ""
        self.note.setText(f"Drag over a bar, a label, dirt.{back}" if on else "")

    def _leave_out(self, rect: QRectF) -> None:
        row = self._session.field_row()
        if row is None:
            return
        box = rect.intersected(QRectF(0, 0, row.width_px, row.height_px))
        corners = (box.topLeft(), box.topRight(), box.bottomRight(), box.bottomLeft())
        zone = np.array([[corner.x(), corner.y()] for corner in corners])
        text = f"Leave out an area of {row.name}"
        self._session.do(self._session.open_study.update_field, row.id, zones=(*row.zones, zone), text=text)
        self._leave_out_action.setChecked(False)
        self.switch_tool()

    def leave_out_all(self) -> None:
        """Leave the areas of the current field out of every field of its scale and size."""
        row = self._session.field_row()
        if row is None or not row.zones:
            self._session.tell("This field has no area left out yet; drag over one first.", NOTE)
            return
        same = self._same_zoom(row)
        if self._session.do(self._leave_out_of, same, row.zones) is not None:
            text = f"Left out of {number_text.count(len(same), 'field')} of this zoom."
            self._session.tell(text, DONE)

    def _leave_out_of(self, rows: list[FieldRow], zones: tuple) -> int:
        study = self._session.open_study
        with study.one_step(f"Leave the same areas out of {number_text.count(len(rows), 'field')}"):
            for row in rows:
                known = {zone.tobytes() for zone in row.zones}
                new = [zone for zone in zones if zone.tobytes() not in known]
                if new:
                    study.update_field(row.id, zones=(*row.zones, *new))
        return len(rows)

    def leave_out_none(self) -> None:
        """Count the whole picture again."""
        row = self._session.field_row()
        if row is not None and row.zones:
            self._count_again(row, set(range(len(row.zones))), f"Count all of {row.name} again")

    def _take_back(self, at: QPointF) -> None:
        """Count the area again that lies at a place; the border round the view is one area."""
        row = self._session.field_row()
        hit = [i for i, zone in enumerate(row.zones) if contains(zone, at.x(), at.y())] if row else []
        if row is None or not hit:
            self._session.tell("Nothing is left out there. Drag to leave an area out.", NOTE)
        elif self._count_again(row, {hit[-1]}, f"Count an area of {row.name} again"):
            self._leave_out_action.setChecked(False)
            self.switch_tool()

    def _count_again(self, row: FieldRow, places: set[int], text: str) -> bool:
        """Take areas back for good: a border among them is not left out by itself any more."""
        picture = self._session.picture()
        if picture is None:
            self._session.tell("The picture is still being read. Try again in a moment.", NOTE)
            return False
        border = {i for i, is_border in enumerate(jobs.are_border(picture, row.zones)) if is_border}
        back = places | border if places & border else places
        if self._session.do(self._keep_counted, row, back, bool(places & border), text) is None:
            return False
        if places & border:
            words = f"What was left out of {row.name} by itself counts from now on, also when measured again."
            self._session.tell(words, DONE)
            self._offer_zoom(row, picture, words)
        return True

    def _offer_zoom(self, row: FieldRow, picture: Picture, words: str) -> None:
        """Offer the same for the other fields of the zoom: their border lies where this one does."""
        study = self._session.open_study
        counted = borders_counted(study)
        others = [one for one in self._same_zoom(row) if one.id != row.id and one.id not in counted]
        if not others:
            return
        fields = number_text.count(len(others), "other field")

        def count_all() -> None:
            if self._session.do(self._count_borders_of, others, picture) is not None:
                self._session.tell(
                    f"What was left out of {fields} by itself counts too. Measure them again.", DONE
                )

        self._session.offered.emit(words, f"Count it in {fields} of this zoom too", count_all)

    def _count_borders_of(self, rows: list[FieldRow], picture: Picture) -> int:
        study = self._session.open_study
        with study.one_step(f"Count the border of {number_text.count(len(rows), 'field')}"):
            for row in rows:
                flags = jobs.are_border(picture, row.zones)
                zones = tuple(zone for zone, border in zip(row.zones, flags, strict=True) if not border)
                if len(zones) < len(row.zones):
                    study.update_field(row.id, zones=zones)
                count_border(study, row.id)
        return len(rows)

    def _same_zoom(self, row: FieldRow) -> list[FieldRow]:
        zoom = (row.scale_id, row.width_px, row.height_px, "field")
        rows = self._session.open_study.fields()
        return [one for one in rows if (one.scale_id, one.width_px, one.height_px, one.role) == zoom]

    def _keep_counted(self, row: FieldRow, places: set[int], border: bool, text: str) -> bool:
        study = self._session.open_study
        with study.one_step(text):
            zones = tuple(zone for i, zone in enumerate(row.zones) if i not in places)
            study.update_field(row.id, zones=zones)
            if border:
                count_border(study, row.id)
        return True

    def leave_out_border(self) -> None:
        """Leave the even border round the view out again, where it was counted."""
        picture, row = self._session.picture(), self._session.field_row()
        if picture is None or row is None:
            return
        border = jobs.border_of(picture, row.zones)
        if self._session.do(self._keep_border, row, border) is not None:
            words = "" if border else " There is none in this picture."
            self._session.tell(f"An even border of {row.name} is left out by itself again.{words}", DONE)

    def _keep_border(self, row: FieldRow, border: tuple) -> bool:
        study = self._session.open_study
        with study.one_step(f"Leave out the border of {row.name}"):
            count_border(study, row.id, False)
            if border:
                study.update_field(row.id, zones=(*row.zones, *border))
        return True
