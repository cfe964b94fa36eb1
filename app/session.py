"""The study that is open, what is looked at and what is chosen: the one thing all stations share."""

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject, Signal

from app.measuring import Measuring, settings_from_json
from app.messages import ERROR, LEVELS, NOTE, WARNING, explain
from app.pictures import FieldSource, PictureShelf
from app.tasks import TaskRunner
from measure.errors import InvalidInput, KnownError, StudyFileError
from measure.model import FieldSettings, Picture, Scale
from measure.output.borders import borders_counted
from measure.particles import Particles, make_particles
from measure.study.records import Changes, FieldRow
from measure.study.study import Study

CARE = "care of the study"  # key of the work on files of studies: rescues, copies brought back
NO_FIELD = 0


class Session(QObject):
    """Holds the open study; every change of it goes through `do`.

    Attributes
    ----------
    study : Study or None
    tasks : TaskRunner
        Work in the background.
    pictures : PictureShelf
        Decoded pictures and light.
    measuring : Measuring

    Signals
    -------
    opened()
        Another study is open, or none. `changed` does not follow; stations reload everything.
    closing()
        The study is about to be closed; the last moment to keep where one was.
    changed(Changes, initiator)
        The study changed. ``initiator`` is who did it, or None.
    field_shown(int)
        Another field is in view; `NO_FIELD` for none. `picture_ready` follows once it is decoded.
    selection_changed(), lit_changed()
        `selected` or `lit` is another set now.
    picture_ready(int), light_ready(int)
        The picture or light of the field in view can be had.
    hurt(StudyFileError, Path)
        Something is wrong with the file of a study, the open one or one that could not be opened; the user
        has been told.
    message(str, str)
        A sentence for the user and its level: note, done, warning or error.
    offered(str, str, callable)
        A sentence, the text of a button, and what the button does.
    """

    opened = Signal()
    closing = Signal()
    changed = Signal(object, object)
    field_shown = Signal(int)
    selection_changed = Signal()
    lit_changed = Signal()
    picture_ready = Signal(int)
    light_ready = Signal(int)
    hurt = Signal(object, object)
    message = Signal(str, str)
    offered = Signal(str, str, object)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.study: Study | None = None
        self.current_field_id = NO_FIELD
        self.selected: frozenset[int] = frozenset()
        self.lit: frozenset[tuple[int, int]] = frozenset()
        self.tasks = TaskRunner(self)
        self.tasks.unexpected = self.tell_error
        self.pictures = PictureShelf(self.tasks, self.field_source, self._light_key, self)
        self.pictures.picture_ready.connect(self.picture_ready)
        self.pictures.light_ready.connect(self.light_ready)
        self.pictures.failed.connect(lambda error: self.tell_error(error, "Opening the picture"))
        self.measuring = Measuring(self)
        # asked before another study takes the place of the open one; False keeps it
        self.may_close: Callable[[], bool] = lambda: True

    # the study ----------------------------------------------------------------------------------------------

    def create(self, path: Path | str) -> bool:
        """Make a new study and open it; False, with a message, when it cannot be made."""
        return self._open(path, Study.create)

    def open(self, path: Path | str) -> bool:
        """Open a study; False, with a message, when it cannot be opened. The one open before stays then."""
        if self.study is not None and Path(path).resolve() == Path(self.study.path).resolve():
            self.tell("That study is open already.", NOTE)
            return True
        return self._open(path, Study.open)

    def leave(self) -> None:
        """Close the study as the user asked, unless something of it would be lost."""
        if self.may_close():
            self.close()

    def close(self) -> None:
        """Stop all work and close the study."""
        self.tasks.cancel_all(keep=CARE)  # that is of the file, and may be of another study
        if self.study is not None:
            self._replace(None)

    def shut(self) -> None:
        """Close for good, as the window goes."""
        from measure.field.basics.helper_pool import end_kept

        self.close()
        self.tasks.close()
        end_kept()

    @property
    def open_study(self) -> Study:
        """The study that is open.

        Raises
        ------
        InvalidInput
            If none is.
        """
        if self.study is None:
            raise InvalidInput("No study is open. Begin a new one or open one first.")
        return self.study

    @property
    def writable(self) -> bool:
        """Whether the study can be changed."""
        return self.study is not None and not self.study.read_only

    def need_writable(self) -> None:
        """Raise InvalidInput, with the sentence, when the study cannot be changed."""
        if self.open_study.read_only:
            why = self.open_study.read_only_reason
            raise InvalidInput(f"Nothing in this study can be changed here, because {why}.")

    def do(self, method: Callable[..., Any], *arguments: Any, initiator: object = None, **named: Any) -> Any:
        """Run one changing method of the study and tell everyone.

        Parameters
        ----------
        method : callable
            A bound method of `study`, such as ``session.study.set_kind``.
        *arguments, **named
            Given to it.
        initiator : object
            The view that did it, so that it can skip its own reload.

        Returns
        -------
        object or None
            What the method returned; None when it failed, and the user was told why.
        """
        try:
            self.need_writable()
            outcome = method(*arguments, **named)
        except Exception as error:
            self.tell_error(error, "That step")
            return None
        self._announce(outcome, initiator)
        return True if outcome is None else outcome

    def attempt(self, method: Callable[..., Any], *arguments: Any) -> bool:
        """Call something that changes nothing in the study but may fail; tell the user why when it does."""
        try:
            method(*arguments)
        except Exception as error:
            self.tell_error(error)
            return False
        return True

    def undo(self) -> None:
        """Take the last step back."""
        self._step("undo", "There is nothing to undo.")

    def redo(self) -> None:
        """Do again what was taken back."""
        self._step("redo", "There is nothing to redo.")

    def _step(self, which: str, nothing: str) -> None:
        if self.study is None:
            return
        text = self.step_text(which)
        if text is None:
            return
        if not text:
            self.tell(nothing, NOTE)
        elif self.do(getattr(self.study, which)) is not None:
            self.tell(f"{'Undone' if which == 'undo' else 'Done again'}: {text}", NOTE)

    def step_text(self, which: str) -> str | None:
        """Return what "undo" or "redo" would do, "" for nothing; None, with a message, if the log fails."""
        try:
            return getattr(self.open_study, f"{which}_text")() or ""
        except Exception as error:
            self.tell_error(error, "Reading the log")
            return None

    def tell_error(self, error: BaseException, doing: str = "", path: Path | str | None = None) -> None:
        """Tell the user what failed; where a study file is at fault, `hurt` follows.

        Parameters
        ----------
        path : Path, optional
            The study at fault; the open one by default.
        """
        self.tell(*explain(error, doing))
        if path is None and self.study is not None:
            path = self.study.path
        if isinstance(error, StudyFileError) and path is not None:
            self.hurt.emit(error, Path(path))

    def tell(self, text: str, level: str = NOTE) -> None:
        """Show the user a sentence in place."""
        assert level in LEVELS, level
        self.message.emit(text, level)

    # what is looked at and chosen ---------------------------------------------------------------------------

    def show_field(self, field_id: int) -> None:
        """Bring a field into view and have its picture decoded."""
        if field_id == self.current_field_id:
            return
        self.current_field_id = field_id
        self._set_selected(frozenset())
        self.field_shown.emit(field_id)
        row = self.field_row()
        if row is not None and row.role != "table":  # a table has no picture to decode
            self.pictures.want_picture(field_id)

    def select(self, labels: Iterable[int]) -> None:
        """Choose particles of the field in view."""
        self._set_selected(frozenset(int(label) for label in labels))

    def light_up(self, pairs: Iterable[tuple[int, int]]) -> None:
        """Mark particles, as (field id, label), that a chart points at."""
        lit = frozenset((int(field), int(label)) for field, label in pairs)
        if lit != self.lit:
            self.lit = lit
            self.lit_changed.emit()

    def picture(self) -> Picture | None:
        """Return the decoded picture of the field in view, None until `picture_ready`."""
        return self.pictures.picture(self.current_field_id)

    def light(self) -> Any | None:
        """Return the light of the field in view, None until `light_ready`."""
        return self.pictures.light(self.current_field_id) if self.current_field_id else None

    def with_light(self, then: Callable[[Any], None]) -> None:
        """Call ``then(light)`` for the field in view, now or when a worker has made it."""
        if self.current_field_id != NO_FIELD:
            self.pictures.with_light(self.current_field_id, then)

    def particles(self, field_id: int | None = None) -> Particles:
        """Return the particles of a field (the one in view by default); the study keeps the last few."""
        field_id = self.current_field_id if field_id is None else field_id
        if self.study is None or field_id == NO_FIELD:
            return make_particles([])
        return self.open_study.particles(field_id)

    # fields -------------------------------------------------------------------------------------------------

    def measure(self, field_ids: Iterable[int], settings: FieldSettings | None = None) -> bool:
        """Measure fields in the background; see `app.measuring`."""
        return self.measuring.start(field_ids, settings)

    def measure_settings(self) -> FieldSettings:
        """Return how fields of this study are measured."""
        kept = self.study.setting("measure_settings", None) if self.study is not None else None
        return settings_from_json(kept if isinstance(kept, dict) else None)

    def field_row(self, field_id: int | None = None) -> FieldRow | None:
        """Return the row of a field (the one in view by default), None where there is none."""
        field_id = self.current_field_id if field_id is None else field_id
        if self.study is None or field_id == NO_FIELD:
            return None
        try:
            return self.open_study.field(field_id)
        except InvalidInput:
            return None

    def scale_of(self, row: FieldRow | None) -> Scale | None:
        """Return the scale of a field's row."""
        if row is None or row.scale_id is None:
            return None
        return next(entry.scale for entry in self.open_study.scales() if entry.id == row.scale_id)

    def field_source(self, field_id: int) -> FieldSource:
        """Return the bytes of a field and of its blank (GUI thread).

        Raises
        ------
        InvalidInput
            If the field is no longer there.
        """
        row = self.field_row(field_id)
        if row is None:
            raise InvalidInput("That field is no longer in the study.")
        blank = self.open_study.field_bytes(row.blank_id) if row.blank_id is not None else None
        border = field_id not in borders_counted(self.open_study)
        return FieldSource(row.name, self.open_study.field_bytes(field_id), blank, tuple(row.zones), border)

    def _light_key(self, field_id: int) -> tuple:
        row = self.field_row(field_id)
        if row is None:
            return (field_id,)
        border = field_id in borders_counted(self.open_study)
        return (field_id, row.blank_id, border, tuple(zone.tobytes() for zone in row.zones))

    # inner --------------------------------------------------------------------------------------------------

    def _open(self, path: Path | str, make: Callable[[Path], Study]) -> bool:
        if not self.may_close():
            return False
        try:
            study = make(Path(path))
        except Exception as error:
            self.tell_error(error, "Opening the study", path)
            return False
        self.close()
        self._replace(study)
        if study.read_only:
            self.tell(f"You can look but not change anything, because {study.read_only_reason}.", WARNING)
        elif study.migrated_from:
            self.tell(
                f"This study was of the older format {study.migrated_from} and is of the present one now. "
                "The file as it was is kept beside it.",
                NOTE,
            )
        return True

    def _replace(self, study: Study | None) -> None:
        if self.study is not None:
            self.closing.emit()
        old, self.study = self.study, study
        self.pictures.clear()
        self.current_field_id = NO_FIELD
        self.selected, self.lit = frozenset(), frozenset()
        if old is not None:
            try:
                old.close()
            except KnownError as error:
                self.tell(error.text, ERROR)
        self.field_shown.emit(NO_FIELD)
        self.selection_changed.emit()
        self.opened.emit()

    def _announce(self, outcome: Any, initiator: object) -> None:
        changes = outcome if isinstance(outcome, Changes) else self.open_study.last_changes
        try:
            self._let_go_of_what_is_gone()
        except Exception as error:  # the step itself is on disk
            self.tell_error(error, "Looking at the study again")
        self.changed.emit(changes, initiator)

    def _let_go_of_what_is_gone(self) -> None:
        if self.current_field_id and self.field_row() is None:
            self.show_field(NO_FIELD)
        if self.selected:
            present = set(self.particles()["label"].tolist())
            self._set_selected(self.selected & present)

    def _set_selected(self, labels: frozenset[int]) -> None:
        if labels != self.selected:
            self.selected = labels
            self.selection_changed.emit()
