"""The Particles station: look at what was found, doubtful pieces first, and put it right by hand."""

from collections.abc import Callable
from functools import partial

from PySide6.QtWidgets import QWidget

from app import number_text, parts, pickers
from app.canvas.view import PictureView
from app.hint_line import HintLine
from app.histogram import Histogram
from app.messages import DONE, explain
from app.models.field_pieces import FieldPieces
from app.session import NO_FIELD, Session
from app.stations.base import BaseStation
from app.stations.particles_check import BlindCheck
from app.stations.particles_check_card import CheckCard
from app.stations.particles_hands import Hands
from app.stations.particles_learn import LearnCard
from app.stations.particles_links import Links
from app.stations.particles_panel import Panel
from app.stations.particles_queue import doubtful_count, step
from app.stations.particles_tools import ToolRow
from app.stations.sides import or_empty, side_by_side
from measure.model import KINDS, Kind
from measure.study.records import Changes, FieldRow

_VIEW = "view.particles"
_EMPTY = (
    "Nothing is measured yet.\n\nAdd pictures of your smears in Fields, choose their scale and measure them. "
    "Their outlines then appear here, the doubtful ones first."
)


class Station(BaseStation):
    """Correct the pieces of a field; picture, table, details and histogram follow each other."""

    name, title = "particles", "Particles"
    tip = "Look at the pieces most likely wrong, and put right what is wrong."
    work_keys = ("decode picture", "light", "learn kinds")

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(session, parent)
        self.pieces = FieldPieces()
        self.view = PictureView()
        self.hands = Hands(session)
        self.tools = ToolRow(session, self.view, self.hands, self.action)
        self.histogram = Histogram()
        self.check = BlindCheck(session, self.view)
        self.check_card, self.learn_card = CheckCard(session, self.check), LearnCard(session)
        learning = QWidget()
        cards = ((self.learn_card, "Learn the kinds"), (self.check_card, "Spot check"))
        learning.setLayout(parts.column(*(parts.card(card, heading=text) for card, text in cards), None))
        self.panel = Panel(session, self.pieces, self.action, self.hands, self.histogram, learning)
        self.links = Links(session, self.pieces, self.view, self.panel.list, self.histogram)
        self._picture_of = NO_FIELD  # the field whose picture the view shows
        self._place: dict | None = None  # where the user was when the study was closed
        self._lay_out()
        self._listen()

    def _lay_out(self) -> None:
        work = QWidget()
        work.setLayout(parts.column(self.tools, self.view, self.hint_line(), spacing=0))
        split = side_by_side(work, self.panel, (900, 372))
        split.setCollapsible(1, True)
        self._whole = or_empty(_EMPTY, split, self.wants_station.emit)
        self.setLayout(parts.column(self._whole))
        self.setTabOrder(self.tools, self.view)

    def hint_line(self) -> HintLine:
        """Return the line below the picture that says what the tool in hand wants."""
        line = HintLine(self.links.under)
        self.tools.hint.connect(line.setText)
        line.setText(self.view.tool.hint if self.view.tool is not None else "")
        return line

    def _listen(self) -> None:
        session, panel = self.session, self.panel
        session.field_shown.connect(lambda _field: self._refresh_if_seen())
        session.picture_ready.connect(self._show_picture)
        session.selection_changed.connect(self._show_selection)
        self.view.escaped.connect(self._step_back)
        self.check.changed.connect(self._check_changed)
        panel.list.wanted.connect(self._go_to)
        panel.next_ones.wanted.connect(self._go_to)
        panel.list.filtered.connect(self._show_outlines)
        panel.field_wanted.connect(session.show_field)

    def commands(self) -> dict[str, Callable[[], object]]:
        """Return what each action does."""
        hands, session, view = self.hands, self.session, self.view
        chosen = lambda: session.selected  # noqa: E731 - read when the action runs
        simple: dict[str, Callable[[], object]] = {
            "join": lambda: hands.join(chosen()),
            "more": lambda: hands.recut(chosen(), True),
            "fewer": lambda: hands.recut(chosen(), False),
            "aside": lambda: hands.set_aside(chosen()),
            "restore": lambda: hands.restore(chosen()),
            "next_doubtful": lambda: self._step_doubtful(True),
            "previous_doubtful": lambda: self._step_doubtful(False),
            "accept": self._accept,
            "next_field": lambda: self.panel.step_field(1),
            "previous_field": lambda: self.panel.step_field(-1),
            "all": lambda: session.select(self.panel.list.passing()),
            "hide": lambda: view.set_outlines_visible(not self.action("particles.hide").isChecked()),
            "snap": lambda: None,
            "loupe": lambda: view.set_loupe(self.action("particles.loupe").isChecked()),
            "fit": view.fit,
            "one_to_one": view.one_to_one,
            "zoom_in": view.zoom_in,
            "zoom_out": view.zoom_out,
            "export": self._export,
            "automatic": hands.automatic,
        }
        simple |= {name: partial(self._take_up, name) for name in self.tools.names}

        def tag(kind: Kind) -> None:
            hands.set_kind(chosen(), kind)

        simple |= {kind.value: partial(tag, kind) for kind in KINDS}
        simple |= {f"page_{page}": partial(self._show_page, page) for page in self.panel.pages}
        return {f"particles.{name}": call for name, call in simple.items()}

    def state_text(self) -> tuple[bool, str]:
        """Say how many pieces are counted, and how many doubtful ones wait on the field in view."""
        rows = self._measured()
        if not rows:
            return False, "nothing measured yet"
        waiting = doubtful_count(self.pieces)
        counted = number_text.count(sum(row.counts.counted for row in rows), "piece")
        if waiting and self.pieces.field_id:
            return False, f"{counted}, {waiting} doubtful here"
        if not self.pieces.field_id:
            return False, f"{counted}, to be looked at"
        return True, counted

    # -- coming and going ---------------------------------------------------------------------

    def entered(self) -> None:
        """Show a measured field, where the user was last."""
        rows = self._measured()
        ids = [row.id for row in rows]
        if rows and self.session.current_field_id not in ids:
            kept = self.session.open_study.setting(_VIEW, {}) or {}
            self._place = kept if kept.get("field") in ids else None
            self.session.show_field(kept["field"] if self._place else ids[0])
        self._refresh()
        if self.session.selected and self.panel.page == "kinds" and not self.check.under_way:
            self.panel.show_page("piece")  # chosen elsewhere, to be looked at here
        self._want_light()
        self.view.setFocus()

    def resting_place(self) -> QWidget:
        """Return the picture."""
        return self.view

    def _want_light(self) -> None:
        """Have the light made when the picture is seen, so that the first correction need not wait."""
        if self.isVisible() and self.session.picture() is not None:
            self.session.with_light(lambda _light: None)

    def left(self) -> None:
        """Remember the field in view; drop what a tool had under way."""
        self._take_up("pick")
        if self.session.study is not None and self.pieces.field_id:
            x, y, zoom = self.view.place()
            place = {"field": self.pieces.field_id, "whole": self.view.fitting, "x": x, "y": y, "zoom": zoom}
            self.keep_view(_VIEW, place)

    def study_opened(self) -> None:
        """Forget the last study."""
        self.pieces.clear()
        self.check.stop()
        self.learn_card.study_opened()
        self._picture_of = NO_FIELD
        self.view.set_picture(None)
        self._refresh()

    def study_changed(self, changes: Changes, initiator: object) -> None:
        """Follow every correction."""
        mine = self.pieces.field_id in changes.ids.get("particles", ())
        if mine or {"fields", "scales", "batches", "settings"} & changes.what or not self.pieces.field_id:
            self._refresh_if_seen()
        if "spot_checks" in changes:
            if initiator is not self.check:
                self.check.follow()
            self.check_card.refresh()

    def _refresh_if_seen(self) -> None:
        if self.isVisible():
            self._refresh()
        else:
            self.state_changed.emit()

    def _measured(self) -> list[FieldRow]:
        study = self.session.study
        return [row for row in study.fields() if row.measured and row.role == "field"] if study else []

    # -- showing ------------------------------------------------------------------------------

    def _refresh(self) -> None:
        """Show the field in view as it is now."""
        rows = self._measured()
        self._whole.setCurrentIndex(1 if rows else 0)
        self.pieces.load(self.session, self.session.current_field_id)
        self.tools.scale = self.pieces.scale
        self.view.set_scale(self.pieces.scale.um_per_px if self.pieces.scale else None)
        self._show_picture(self.session.current_field_id)
        self._show_outlines()
        self.panel.refresh(rows)
        if self.panel.page == "kinds":
            self._refresh_cards()
        self._show_selection()
        self.state_changed.emit()

    def _show_page(self, page: str) -> None:
        self.panel.show_page(page)
        if page == "kinds":
            self._refresh_cards()

    def _refresh_cards(self) -> None:
        self.learn_card.refresh()
        self.check_card.refresh()

    def _show_picture(self, field_id: int) -> None:
        picture = self.session.picture()
        if not self.pieces.field_id:
            self.view.set_picture(None)
            self.view.set_empty_text(
                "This field is not measured yet. Measure it in Fields, or choose another."
            )
            self._picture_of = NO_FIELD
        elif picture is None:
            self.view.set_empty_text("Opening the picture…")
            if self._picture_of != field_id:
                self.view.set_picture(None)
                self._picture_of = NO_FIELD
        elif self._picture_of != field_id and field_id == self.pieces.field_id:
            self.view.set_picture(picture.pixels, picture.bit_depth)
            self._picture_of = field_id
            if self._place and self._place["field"] == field_id and not self._place["whole"]:
                self.view.show_place(self._place["x"], self._place["y"], self._place["zoom"])
            self._place = None
            self._show_outlines()
            self._show_selection()
            self.check.picture_shown(field_id)
            self._want_light()

    def _show_outlines(self) -> None:
        if self._picture_of == self.pieces.field_id != NO_FIELD:
            row = self.session.field_row()
            self.view.set_zones(row.zones if row is not None else ())
            shown = self.panel.list.row_filter().mask(self.pieces)
            pieces = self.pieces
            self.view.set_particles(pieces.particles, shown, pieces.counted, pieces.too_small)

    def _show_selection(self) -> None:
        chosen = self.session.selected
        self.view.set_chosen(chosen)
        self.panel.show_chosen(chosen, self.view.image)
        self.action("particles.restore").setEnabled(self.pieces.any_aside(chosen))
        self.view.setAccessibleDescription(self.panel.piece.in_words())
        self.links.show_histogram()

    # -- acting -------------------------------------------------------------------------------

    def _go_to(self, label: int) -> None:
        self.session.select([label])
        self.view.show_piece(label)

    def _step_doubtful(self, forward: bool) -> None:
        chosen = self.session.selected
        label = step(self.pieces, next(iter(chosen)) if len(chosen) == 1 else 0, forward)
        if label:
            self.panel.show_page("piece")
            self._go_to(label)
        else:
            none_here = "There is no piece on this field; go on to the next one."
            all_seen = "Every piece of this field has been looked at."
            self.session.tell(all_seen if len(self.pieces) else none_here, DONE)

    def _accept(self) -> None:
        chosen = self.session.selected
        if not chosen:
            self._step_doubtful(True)
            return
        after = step(self.pieces, max(chosen), True) if len(chosen) == 1 else 0
        if self.hands.accept(chosen) and after and after not in chosen:
            self._go_to(after)
        elif len(chosen) == 1:
            self._step_doubtful(True)

    def _take_up(self, name: str) -> None:
        self.check.stop()
        self.tools.take_up(name)

    def _check_changed(self) -> None:
        """Put the usual tool in hand when a spot check ends; nothing may be chosen while one runs."""
        blind = self.check.under_way
        self.links.quiet = blind
        self.links.say_nothing()
        if blind:
            self.view.setFocus()  # the keys are its own now, Escape among them
            self.session.select([])
            self.tools.hint.emit("Spot check: pull all the way round the piece under the mark. Escape stops.")
            for name in self.tools.names:
                self.action(f"particles.{name}").setChecked(name == "draw")
        else:
            self.view.set_outlines_visible(not self.action("particles.hide").isChecked())
            self.tools.take_up("pick")

    def _step_back(self) -> None:
        if self.check.under_way:
            self.check.stop()
        elif self.tools.in_hand != "pick":
            self.tools.take_up("pick")
        else:
            self.session.select([])

    def _export(self) -> None:
        folder = pickers.folder(self, "Where shall the tables be written?", "tables")
        if folder is None or self.session.study is None:
            return
        from app.stations.report_work import write_tables

        path = self.session.open_study.path
        self.session.tasks.run(
            lambda progress: write_tables(path, folder, ("csv",), False, progress),
            lambda _files: self.session.tell(f"The tables of the study are in {folder}.", DONE),
            failed=lambda error: self.session.tell(*explain(error, "Writing the tables")),
            text="Writing the tables",
            key="particles.export",
        )
