"""The Fields station: pictures of smears, their batches, scales and settings, and measuring them."""

from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path

from PySide6.QtGui import QDragEnterEvent, QDropEvent, QFocusEvent
from PySide6.QtWidgets import QScrollArea, QWidget

from app import parts, pickers
from app.session import NO_FIELD, Session
from app.stations import fields_words
from app.stations.base import BaseStation
from app.stations.capture import CapturePanel
from app.stations.fields_adding import Adder, dropped
from app.stations.fields_advice import advice_card
from app.stations.fields_batch import BatchForm
from app.stations.fields_blank import BlankMaker
from app.stations.fields_care import FieldCare
from app.stations.fields_details import FieldDetails
from app.stations.fields_list import FieldList
from app.stations.fields_next import NextStep, next_step
from app.stations.fields_panel import lay_out
from app.stations.fields_picture import FieldPicture
from app.stations.fields_preview import Preview
from app.stations.fields_settings import SettingsForm
from app.stations.fields_several import SeveralFields
from app.stations.fields_stage import FieldsStage
from app.stations.fields_twins import TwinWatch
from app.stations.plan_count import CountPlan
from app.stations.slide_plan import SlidePlanCard
from measure.model import FieldSettings
from measure.output.borders import borders_counted
from measure.study.records import Batch, Changes, FieldRow


class Station(BaseStation):
    """Pictures of smears, by batch."""

    name, title = "fields", "Fields"
    tip = "Add pictures of your smears, tell which batch each is of, and measure them."
    cards: QScrollArea

    def __init__(self, session: Session) -> None:
        super().__init__(session)
        self.setAcceptDrops(True)
        names = ("previous", "next", "leave_out", "outlines")
        self.picture = FieldPicture(session, *(self.action(f"fields.{name}") for name in names))
        self.list = FieldList(session)
        self.details = FieldDetails(session)
        self.batch = BatchForm(session)
        self.settings = SettingsForm()
        self.care = FieldCare(session, self.picture.view)
        self.several = SeveralFields(session, self.list.field_ids, self.list.choose_field)
        self.twins = TwinWatch(session, self.list, self.several.remove)
        self.blank = BlankMaker(session, self.list.field_ids)
        self.plan = SlidePlanCard(session, self.list.field_ids, self.action("fields.plan"))
        self.count = CountPlan(session, self.action("fields.plan"), self._slides_made)
        self.capture = CapturePanel(session, self.action("fields.take"), self._home, self._camera_took)
        self.stage = FieldsStage(session, self.picture, self.capture, self.count, self.action)
        self.advice = advice_card(self.action("fields.plan"))
        self.next = parts.button("", lambda: self._next.does(), look="primary")
        self._next = NextStep("", "", lambda: None)
        self._stale = False
        self.adder = Adder(session, self._added)
        self.preview = Preview(session, self.picture.view, self.settings.note.setText)
        self.preview.told.connect(self.picture.note.setText)
        lay_out(self)
        self._listen()

    # building -----------------------------------------------------------------------------------------------

    def _listen(self) -> None:
        session = self.session
        self.stage.turned.connect(self._page_turned)
        self.list.chosen.connect(self._chosen)
        session.field_shown.connect(self._field_shown)
        session.picture_ready.connect(self._picture_ready)
        session.measuring.changed.connect(self._reload_list)
        self.settings.trying.connect(self._trying)
        self.settings.settled.connect(self._keep_settings)
        self.action("fields.outlines").setChecked(True)

    def commands(self) -> dict[str, Callable[[], None]]:
        """Return what each action does."""
        return {
            "fields.add": lambda: self._add(pickers.pictures(self)),
            "fields.add_folder": lambda: self._add([p for p in (pickers.folder(self),) if p is not None]),
            "fields.add_table": lambda: self._add(pickers.tables(self)),
            "fields.new_batch": self._new_batch,
            "fields.measure": self._measure_chosen,
            "fields.measure_all": self._measure_rest,
            "fields.remove": self._remove,
            "fields.next": lambda: self.list.step(1),
            "fields.previous": lambda: self.list.step(-1),
            "fields.preview": self._switch_preview,
            "fields.outlines": self.picture.switch_outlines,
            "fields.leave_out": self.picture.switch_tool,
            "fields.leave_out_none": self.picture.leave_out_none,
            "fields.leave_out_all": self.picture.leave_out_all,
            "fields.leave_out_border": self.picture.leave_out_border,
            "fields.plan": self._switch_plan,
            "fields.camera": self.stage.switch_camera,
            "fields.take": self.capture.take,
            "fields.marks": self._look_for_marks,
            "fields.repeats": self.several.find_repeats,
            "fields.join": self.several.join,
            "fields.fuse": self.several.fuse,
            "fields.blank": self.blank.make,
        }

    # what changes -------------------------------------------------------------------------------------------

    def state_text(self) -> tuple[bool, str]:
        """Return how far the step is."""
        study = self.session.study
        if study is None:
            return False, ""
        return fields_words.station_words(study.fields(), {row.id: row.scale for row in study.scales()})

    def study_opened(self) -> None:
        """Show the study from scratch."""
        self.list.forget_thumbs()
        self.count.forget()
        self.settings.show_settings(self.session.measure_settings())
        self._reload()
        ids = self.list.fields.field_ids()
        if ids and self.session.study is not None:
            self.list.choose_field(ids[0])

    def study_changed(self, changes: Changes, initiator: object) -> None:
        """Reload what changed."""
        if "settings" in changes and initiator is not self:
            self.settings.show_settings(self.session.measure_settings())
        if any(word in changes for word in ("fields", "batches", "scales", "particles", "slides")):
            if self.isVisible():
                self._reload()
            else:  # a correction in another station must not wait for a list nobody sees
                self._stale = True
                self.state_changed.emit()
        if "particles" in changes and self.isVisible():
            self.picture.show_particles()
        if self.stage.plan_on and self.isVisible():
            self.count.refresh()

    def entered(self) -> None:
        """Show the field that is current everywhere."""
        if self._stale:
            self._reload()
        self.list.choose_field(self.session.current_field_id)
        self.picture.show_picture()
        self._show_chosen()

    def resting_place(self) -> QWidget:
        """Return the picture, or what stands in its place."""
        if self.stage.plan_on:
            return self.count.form.boxes["median_um"]
        return self.picture.view if self.picture.isVisible() else self.list

    def left(self) -> None:
        """Leave no tool or preview behind."""
        self._end_preview()
        self.action("fields.leave_out").setChecked(False)
        self.picture.switch_tool()
        self.stage.show_pictures()

    def _switch_plan(self) -> None:
        self.stage.switch_plan()
        if not self.stage.plan_on:
            self.setFocus()  # what had the focus is hidden now

    def _page_turned(self) -> None:
        self._show_chosen()
        self.cards.verticalScrollBar().setValue(0)
        if self.stage.plan_on:
            self._end_preview()
            self.count.refresh()

    def _slides_made(self, batch_id: int) -> None:
        self.list.choose_batch(batch_id)
        self.cards.ensureWidgetVisible(self.plan)

    def _camera_took(self, field_id: int) -> None:
        self.list.choose_field(field_id)
        self.twins.watch([field_id])
        self.plan.show_batch(self._home_batch())
        self.plan.field_taken()

    def _reload(self) -> None:
        self._stale = False
        self.list.reload()
        self._show_chosen()
        self.picture.show_marks()
        self.state_changed.emit()

    def _reload_list(self) -> None:
        self.list.reload()
        self._show_next()
        self.state_changed.emit()

    def _chosen(self) -> None:
        ids = self.list.field_ids()
        if ids and self.session.current_field_id not in ids:
            self.session.show_field(ids[0])
        self._show_chosen()

    def _field_shown(self, field_id: int) -> None:
        if field_id not in self.list.field_ids():
            self.list.choose_field(field_id)
        self.picture.show_name()
        if self.preview.on:
            self.picture.view.set_preview([])

    def _picture_ready(self, field_id: int) -> None:
        if field_id == self.session.current_field_id and self.isVisible():
            self.picture.show_picture()
            self.details.show_embedded(self.session.field_row())
            self.several.show_overlaps(self.picture.view)
            if self.preview.on:
                self.preview.try_out(self.settings.settings())

    def _show_chosen(self) -> None:
        study, batch_id = self.session.study, self.list.batch_id()
        rows = self._rows(self.list.field_ids())
        batch = None
        if study is not None and batch_id:
            batch = next((row for row in study.batches() if row.id == batch_id), None)
        self.batch.setVisible(batch is not None)
        if batch is not None:
            self.batch.show_batch(batch)
        empty = self.list.fields.rowCount() == 0
        planning = self.stage.plan_on
        self.advice.setVisible(empty and not planning)
        self.list.setVisible(not empty and not planning)
        self.count.form.setVisible(planning)
        self.details.setVisible(bool(rows))
        self.details.show_fields(rows)
        self.settings.setVisible(any(row.role == "field" for row in rows))
        self.care.show_field(rows[0] if len(rows) == 1 else None)
        self.several.setVisible(len(self.list.fields.field_ids()) > 1)
        home = batch_id or (rows[0].batch_id if rows else None)
        self.plan.setVisible(home is not None and (not empty or self.stage.camera_on or planning))
        self.plan.show_batch(home)
        if self.session.picture() is not None:
            self.several.show_overlaps(self.picture.view)
        if self.stage.camera_on or planning:  # what one needs then is the plan of the slide
            for card in (self.batch, self.care, self.details, self.settings, self.several):
                card.hide()
        self._enable(rows)
        self._show_next()

    def _rows(self, ids: list[int]) -> list[FieldRow]:
        study = self.session.study
        return [row for row in study.fields() if row.id in ids] if study is not None else []

    def _enable(self, rows: list[FieldRow]) -> None:
        writable = self.session.writable
        for name in ("add", "add_folder", "add_table", "new_batch", "measure_all"):
            self.action(f"fields.{name}").setEnabled(writable)
        for name in ("repeats", "join", "fuse", "blank"):
            self.action(f"fields.{name}").setEnabled(writable)
        for name in ("camera", "plan"):
            self.action(f"fields.{name}").setEnabled(self.session.study is not None)
        self.action("fields.take").setEnabled(writable and self.action("fields.camera").isChecked())
        pictured = any(row.role != "table" for row in rows)
        self.action("fields.marks").setEnabled(pictured)
        self.action("fields.remove").setEnabled(writable and bool(rows))
        for name in ("measure", "leave_out"):
            self.action(f"fields.{name}").setEnabled(writable and pictured)
        here = self.session.field_row()
        for name in ("leave_out_none", "leave_out_all"):
            self.action(f"fields.{name}").setEnabled(writable and here is not None and bool(here.zones))
        counted = here is not None and here.id in borders_counted(self.session.open_study)
        self.action("fields.leave_out_border").setEnabled(writable and counted)
        for name in ("next", "previous", "preview", "outlines"):
            self.action(f"fields.{name}").setEnabled(bool(self.list.fields.field_ids()))

    def _show_next(self) -> None:
        self._next = next_step(self)
        self.next.setText(self._next.text)
        self.next.setToolTip(self._next.tip)
        self.next.setEnabled(self._next.enabled)

    # what one does ------------------------------------------------------------------------------------------

    def _add(self, paths: list[Path]) -> None:
        self.adder.add(paths, self._home_batch())

    def _home_batch(self) -> int | None:
        """Return the batch single files go to: the one whose heading or field is chosen."""
        batch_id = self.list.batch_id()
        if batch_id:
            return batch_id
        rows = self._rows(self.list.field_ids())
        return rows[0].batch_id if rows else None

    def _home(self) -> tuple[int | None, int | None]:
        """Return the batch and the slide a field taken now belongs to."""
        batch_id = self._home_batch()
        self.plan.show_batch(batch_id)
        return batch_id, self.plan.slide_id()

    def _added(self, ids: list[int]) -> None:
        self.list.choose_field(ids[0])
        self.twins.watch(ids)

    def _new_batch(self) -> None:
        study = self.session.open_study
        taken = {row.batch.name for row in study.batches()}
        name = next(f"Batch {n}" for n in range(1, len(taken) + 2) if f"Batch {n}" not in taken)
        batch_id = self.session.do(study.add_batch, Batch(name))
        if batch_id is not None:
            self.list.choose_batch(batch_id)
            self.batch.edit_name()

    def _look_for_marks(self) -> None:
        self._end_preview()  # both draw in the same place
        self.care.look_for_marks()

    def _measure_chosen(self) -> None:
        self._end_preview()  # what is measured is looked at next
        self.session.measure(self.list.field_ids() or self.unmeasured(), self.settings.settings())

    def _measure_rest(self) -> None:
        self._end_preview()
        self.session.measure(self.unmeasured(), self.settings.settings())

    def unmeasured(self) -> list[int]:
        """Return the fields still to be measured."""
        rows = self.session.open_study.fields() if self.session.study is not None else []
        return [row.id for row in rows if row.role == "field" and not row.measured]

    def choose_without_scale(self) -> None:
        """Choose every field that has no scale, and open the choice of scales."""
        rows = self.session.open_study.fields()
        self.list.choose_fields([row.id for row in rows if row.role == "field" and row.scale_id is None])
        self.details.scale.setFocus()
        self.details.scale.showPopup()

    def _remove(self) -> None:
        ids = self.list.field_ids()
        if ids and self.several.remove(ids) is not None:
            rest = self.list.fields.field_ids()
            if rest and self.session.current_field_id == NO_FIELD:
                self.list.choose_field(rest[0])

    def _keep_settings(self, settings: FieldSettings) -> None:
        if self.session.writable and settings != self.session.measure_settings():
            self.session.do(
                self.session.open_study.set_setting,
                "measure_settings",
                asdict(settings),
                "Change how fields are measured",
                initiator=self,
            )
        self._show_next()

    def _trying(self, settings: FieldSettings) -> None:
        if not self.preview.on:
            self.action("fields.preview").setChecked(True)
            self._switch_preview()
        else:
            self.preview.try_out(settings)

    def _end_preview(self) -> None:
        self.action("fields.preview").setChecked(False)
        self._switch_preview()

    def _switch_preview(self) -> None:
        on = self.action("fields.preview").isChecked()
        self.preview.switch(on)
        self.picture.switch_outlines(hidden_by_preview=on)
        if on:
            self.preview.try_out(self.settings.settings())

    # events -------------------------------------------------------------------------------------------------

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Hand the focus on; a focus proxy would make Tab leap over all that lies before the list."""
        super().focusInEvent(event)
        (self.list if self.list.isVisible() else self.resting_place()).setFocus()

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        """Accept pictures, folders and tables."""
        if self.session.writable and dropped(event.mimeData()):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        """Add what is dropped."""
        event.acceptProposedAction()
        self._add(dropped(event.mimeData()))
