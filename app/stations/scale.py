"""The Scale station: a picture of a stage micrometer in, micrometres per pixel with uncertainty out."""

import contextlib
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from PySide6.QtGui import QDragEnterEvent, QDropEvent
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from app import number_text, parts, pickers, theme
from app.messages import DONE
from app.session import Session
from app.stations.base import BaseStation
from app.stations.fields_adding import dropped_pictures
from app.stations.scale_draft import Draft
from app.stations.scale_fields import ScaleColumn, ScaleFields
from app.stations.scale_form import RulingForm, TypedForm
from app.stations.scale_list import ScaleList
from app.stations.scale_making import KEY, Making
from app.stations.scale_next import NextStep, next_step
from app.stations.scale_picture import RulingPicture
from app.stations.scale_result import MarkedCard, ResultCard
from app.stations.sides import side_by_side
from app.work_line import WorkLine
from measure.errors import InvalidInput
from measure.model import Scale
from measure.picture_file import read_picture
from measure.scale import fit_from_plain, fit_to_plain
from measure.study.records import Changes

PANEL_WIDTH = 356
_BAR = (
    "Is there only a bar drawn into the picture? Press C, click both ends of the bar, and type the length it "
    "names."
)


class Station(BaseStation):
    """Make scales and see which there are."""

    name, title = "scale", "Scale"
    tip = "Tell how many micrometres a pixel is, from a picture of a stage micrometer."
    work_keys, shows_work = (KEY,), True

    def __init__(self, session: Session) -> None:
        super().__init__(session)
        self.setAcceptDrops(True)
        self.form, self.typed = RulingForm(), TypedForm()
        self.making = Making(session, self.form)
        self.picture = RulingPicture(self.action, self.making.mark_point, self.making.mark_stroke)
        self.scales = ScaleList(session, self.action("scale.remove"))
        self.marked = MarkedCard(self.action("scale.back"), self.action("scale.clear"))
        self.result, self.fields = ResultCard(), ScaleFields(session)
        self.next = parts.button("", lambda: self._next.does(), look="primary")
        self._next = NextStep("", "", lambda: None)
        self._lay_out()
        self._listen()
        self._show()

    # building -----------------------------------------------------------------------------------------------

    def _lay_out(self) -> None:
        cards = (self.scales, self.form, self.marked, self.result, self.typed)
        self.column = inner = ScaleColumn(self.fields, *cards)
        panel = QWidget()
        panel.setProperty("look", "panel")
        buttons = parts.row(
            parts.action_button(self.action("scale.open"), icon="add", text="Open a ruling"),
            parts.action_button(self.action("scale.find"), icon="find", text="Find its lines"),
            None,
        )
        whole = QVBoxLayout(panel)
        whole.setContentsMargins(theme.SMALL, theme.SMALL, theme.SMALL, theme.SMALL)
        whole.setSpacing(theme.SMALL)
        parts.fill(whole, (buttons, WorkLine(self.session.tasks, KEY), parts.scroll(inner), self.next))
        panel.setMinimumWidth(max(PANEL_WIDTH, panel.sizeHint().width()))
        splitter = side_by_side(self.picture, panel, (4 * PANEL_WIDTH, panel.minimumWidth()))
        outer = QHBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.addWidget(splitter)

    def _listen(self) -> None:
        self.scales.chosen.connect(self._show_kept)
        self.making.opened.connect(self._draft_opened)
        self.making.changed.connect(self._draft_changed)
        self.making.missed.connect(self._offer_tool)
        self.typed.typed.connect(lambda scale: self._store(scale, None))
        self.fields.wanted.connect(self._show_field)
        self.marked.length_typed.connect(self.making.set_length)
        self.session.tasks.changed.connect(self._show_next)
        self.action("scale.lines").setChecked(True)

    def commands(self) -> dict[str, Callable[[], None]]:
        """Return what each action does."""
        view = self.picture.view
        return {
            "scale.open": lambda: self.making.open(pickers.picture(self, "Open a picture of a ruling")),
            "scale.find": self._search,
            "scale.click": lambda: self._take("click"),
            "scale.drag": lambda: self._take("drag"),
            "scale.back": self.making.take_one_back,
            "scale.clear": lambda: self.making.set_points(np.zeros((0, 2))),
            "scale.keep": self._keep,
            "scale.drop": self._drop,
            "scale.remove": self._remove,
            "scale.lines": lambda: self.picture.switch_lines(self.action("scale.lines").isChecked()),
            "scale.loupe": lambda: view.set_loupe(self.action("scale.loupe").isChecked()),
            "scale.fit": view.fit,
            "scale.one_to_one": view.one_to_one,
            "scale.zoom_in": view.zoom_in,
            "scale.zoom_out": view.zoom_out,
        }

    # what changes -------------------------------------------------------------------------------------------

    def state_text(self) -> tuple[bool, str]:
        """Return how far the step is."""
        study = self.session.study
        if study is None:
            return False, ""
        scales = study.scales()
        if not scales:
            return False, "no scale yet"
        if len(scales) == 1:
            return True, number_text.quantity(scales[0].scale.um_per_px, "µm per px", 4)
        return True, number_text.count(len(scales), "scale")

    def study_opened(self) -> None:
        """Show the study from scratch."""
        self._put_tools_down()
        self.making.drop()
        self.picture.show_picture(None)
        self.scales.reload()
        study = self.session.study
        known = [row.scale for row in study.scales() if row.scale.division_um] if study is not None else []
        if known:
            self.form.show_scale(known[-1])
        self._show()
        if self.isVisible():
            self.entered()

    def entered(self) -> None:
        """Show the chosen scale's picture when there is nothing else to show."""
        chosen = self.scales.chosen_id()
        if self.draft is None and chosen is not None and self.picture.view.image is None:
            self._show_kept(chosen)

    def resting_place(self) -> QWidget:
        """Return the picture."""
        return self.picture.view

    def left(self) -> None:
        """Leave no tool behind."""
        self._put_tools_down()

    def study_changed(self, changes: Changes, initiator: object) -> None:
        """Reload what changed."""
        if any(word in changes for word in ("scales", "fields", "settings")):
            self.scales.reload()
            if self.draft is None:
                self._show_kept(self.scales.chosen_id())
            self._show()

    # a ruling -----------------------------------------------------------------------------------------------

    @property
    def draft(self) -> Draft | None:
        """The scale being made, None while there is none."""
        return self.making.draft

    def _draft_opened(self) -> None:
        if self.draft is not None:
            self.picture.show_picture(self.draft.picture, self.draft.picture.name)

    def _draft_changed(self) -> None:
        if self.draft is not None:
            self.picture.show_lines(self.draft.fit, self.draft.points_px)
        self._show()

    def _search(self) -> None:
        self._put_tools_down()
        self.making.search()

    def _drop(self) -> None:
        self._put_tools_down()
        self.making.drop()
        self._show_kept(self.scales.chosen_id())

    # the study ----------------------------------------------------------------------------------------------

    def _keep(self) -> None:
        draft = self.draft
        if draft is not None and draft.fit is not None:
            zoom = self.form.zoom.text().strip()
            self._store(replace(draft.fit.scale, zoom=zoom), draft)

    def _store(self, scale: Scale, draft: Draft | None) -> None:
        study = self.session.study
        if study is None:
            return
        if draft is None:
            made = self.session.do(study.add_scale, scale)
        else:
            plain = fit_to_plain(draft.fit) if draft.fit is not None else None
            made = self.session.do(study.add_scale, scale, draft.data, draft.picture.name, plain)
        if made is None:
            return
        self._put_tools_down()
        self.making.drop()
        self.scales.choose(made)
        self._show_kept(made)
        self.session.tell("The scale is kept in the study.", DONE)
        self._show()

    def _remove(self) -> None:
        chosen = self.scales.chosen_id()
        if chosen is not None:
            self.session.do(self.session.open_study.remove_scale, chosen)

    def _show_kept(self, scale_id: int | None) -> None:
        """Show a scale of the study with its picture and lines, unless one is being made."""
        if self.draft is not None:
            return
        row = self.scales.chosen_row() if scale_id is not None else None
        data = self.session.open_study.scale_picture(row.id) if row is not None and row.has_picture else None
        if data is None or row is None:
            self.picture.show_picture(None)
        else:
            picture = read_picture(data, row.picture_name)
            self.picture.show_picture(picture, row.picture_name)
            self.picture.show_lines(fit_from_plain(row.fit or {}, row.scale))
        self._show()

    # showing ------------------------------------------------------------------------------------------------

    def _take(self, which: str, *, on: bool | None = None) -> None:
        """Take or put down a tool for marking lines; the actions follow."""
        if on is not None:
            self.action(f"scale.{which}").setChecked(on)
        other = "drag" if which == "click" else "click"
        self.action(f"scale.{other}").setChecked(False)
        taken = self.action(f"scale.{which}").isChecked()
        self.picture.take(which if taken else "")
        if taken:
            self.action("scale.loupe").setChecked(True)
            self.picture.view.set_loupe(True)
            self.picture.view.setFocus()
        self._show_next()

    def _offer_tool(self) -> None:
        """Hand over what marks lines, unless a tool is in hand or the ends of a bar wait for a click."""
        in_hand = any(self.action(f"scale.{name}").isChecked() for name in ("click", "drag"))
        if not in_hand and self.draft is not None and not self.draft.has_bar:
            self._take("drag", on=True)

    def _put_tools_down(self) -> None:
        for which in ("click", "drag", "loupe"):
            self.action(f"scale.{which}").setChecked(False)
        self.picture.take("")
        self.picture.view.set_loupe(False)

    def _show(self) -> None:
        draft, ruling = self.draft, None
        with contextlib.suppress(InvalidInput):  # the form says so itself
            ruling = self.form.ruling()
        self.marked.show_draft(draft, ruling.division_um if ruling is not None else 0.0)
        self.form.setVisible(draft is not None or self.scales.chosen_id() is None)
        if draft is not None:
            # said while the search is under way too: nobody with a bar need wait for its end
            hint = _BAR if draft.fit is None and not draft.by_hand else ""
            self.result.show_fit(draft.fit, draft.trouble, _claim(draft), hint)
        else:
            self._show_chosen_result()
        row = self.scales.chosen_row() if draft is None else None
        self.column.wants = self.fields.show_scale(row)
        self.column.suit()
        self._enable()
        self._show_next()
        self.state_changed.emit()

    def _show_field(self, field_id: int) -> None:
        self.session.show_field(field_id)
        self.wants_station.emit("fields")

    def _show_chosen_result(self) -> None:
        row = self.scales.chosen_row()
        fit = fit_from_plain(row.fit, row.scale) if row is not None and row.fit else None
        if fit is not None:
            self.result.show_fit(fit)
        else:
            self.result.show_scale(row.scale if row is not None else None)

    def _enable(self) -> None:
        draft, writable = self.draft, self.session.writable
        for name in ("find", "click", "drag", "drop"):
            self.action(f"scale.{name}").setEnabled(draft is not None)
        for name in ("back", "clear"):
            self.action(f"scale.{name}").setEnabled(draft is not None and draft.by_hand)
        self.action("scale.open").setEnabled(writable)
        self.action("scale.keep").setEnabled(writable and draft is not None and draft.fit is not None)
        self.action("scale.remove").setEnabled(writable and self.scales.chosen_id() is not None)
        self.typed.setEnabled(writable)

    def _show_next(self) -> None:
        self._next = next_step(self)
        self.next.setText(self._next.text)
        self.next.setToolTip(self._next.tip)
        self.next.setEnabled(self._next.enabled)

    # events -------------------------------------------------------------------------------------------------

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        """Accept a picture."""
        if self.session.writable and any(p.is_file() for p in dropped_pictures(event.mimeData())):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        """Open what is dropped."""
        files = [p for p in dropped_pictures(event.mimeData()) if p.is_file()]
        if files:
            event.acceptProposedAction()
            self.making.open(files[0])


def _claim(draft: Draft) -> str:
    """Return what the file says of its own pixel size, as a hint."""
    picture = draft.picture
    if not picture.embedded_um_per_px:
        return ""
    value = number_text.quantity(picture.embedded_um_per_px, "µm per px", 4)
    return f"The file itself claims {value} ({picture.embedded_source}); that is only a hint."
