"""The live preview: what trial settings would find, drawn over the part of the picture in view."""

from collections.abc import Callable

from PySide6.QtCore import QObject, QRectF, QTimer, Signal

from app import number_text, preview_work
from app.canvas.view import PictureView
from app.messages import explain
from app.session import Session
from measure.model import FieldSettings

KEY = "preview"
# a view moved by no more than this share of its length shows as good as the same
SAME_VIEW = 0.05


class Preview(QObject):
    """Runs the newest trial in a worker and draws it; an older one is dropped unheard.

    Signals
    -------
    told(str)
        What is drawn, for the line over the picture; empty once there is no preview.
    """

    told = Signal(str)

    def __init__(self, session: Session, view: PictureView, say: Callable[[str], None]) -> None:
        super().__init__(view)
        self._session, self._view, self._say = session, view, say
        self._settings: FieldSettings | None = None
        self._shown: FieldSettings | None = None  # what was drawn to the full last
        self._looked_at: tuple[int, FieldSettings, QRectF] | None = None  # the newest trial
        self.on = False
        self._moved = QTimer(self)
        self._moved.setSingleShot(True)
        self._moved.setInterval(250)
        self._moved.timeout.connect(self._again)
        moves = (
            view.zoomed,
            view.horizontalScrollBar().valueChanged,
            view.verticalScrollBar().valueChanged,
        )
        for moved in moves:
            moved.connect(lambda _value: self.on and self._moved.start())

    def switch(self, on: bool) -> None:
        """Begin or end previewing."""
        self.on = on
        self._shown = self._looked_at = None
        if not on:
            self._view.set_preview([])
            self._say("")
            self.told.emit("")

    def try_out(self, settings: FieldSettings, *, quick: bool = True) -> None:
        """Show what these settings find, at first only in the middle when it should be quick."""
        self._settings = settings
        row = self._session.field_row()
        scale = self._session.scale_of(row)
        if not self.on or row is None or row.role != "field":
            return
        if scale is None:
            self._say("The preview needs a scale for this field.")
            return
        self._say("Looking…")
        field_id = row.id
        self._looked_at = (field_id, settings, self._seen())

        def with_light(light: object) -> None:
            if self.on and self._session.current_field_id == field_id:
                looks = preview_work.looks_mpx(light, self._wanted())
                self._run(light, settings, scale.um_per_px, field_id, looks if quick else looks[-1:])

        self._session.with_light(with_light)

    def _run(
        self,
        light: object,
        settings: FieldSettings,
        um_per_px: float,
        field_id: int,
        looks_mpx: tuple[float, ...],
    ) -> None:
        wanted = self._wanted()

        def show(found: preview_work.Preview) -> None:
            if not self.on or self._session.current_field_id != field_id:
                return
            more = not found.whole and len(looks_mpx) > 1
            self._show(found, more=more)
            if not more:
                self._shown = settings
            else:
                self._run(light, settings, um_per_px, field_id, looks_mpx[1:])

        self._session.tasks.run(
            lambda progress: preview_work.preview(light, settings, um_per_px, wanted, looks_mpx[0], progress),
            show,
            failed=lambda error: self._say(explain(error, "The preview")[0]),
            key=KEY,
            text="Trying the settings",
        )

    def _show(self, found: preview_work.Preview, *, more: bool) -> None:
        self._view.set_preview(found.outlines)
        pieces = number_text.count(len(found.outlines), "piece")
        words = f"These settings find {pieces}"
        self.told.emit(f"Preview: {pieces}" if found.whole else f"Middle: {pieces}")
        if more:
            self._say(f"{words} in the middle; looking on…")
        elif found.whole:
            self._say(f"{words} in view.")
        else:
            self._say(f"{words} in the middle of the view; zoom in to see another part.")

    def _again(self) -> None:
        # the page around the picture moves a little as its words and bars change: were that taken for a
        # move of the picture, the trial would begin anew for ever
        if self.on and self._settings is not None and not self._looked_at_this():
            self.try_out(self._settings, quick=self._shown != self._settings)

    def _looked_at_this(self) -> bool:
        """Tell whether the newest trial was of these settings and of as good as this view."""
        if self._looked_at is None or self._looked_at[:2] != (self._session.current_field_id, self._settings):
            return False
        before, now = self._looked_at[2], self._seen()
        moved = (before.topLeft() - now.topLeft(), before.bottomRight() - now.bottomRight())
        return max(shift.manhattanLength() for shift in moved) <= SAME_VIEW * max(now.width(), now.height())

    def _wanted(self) -> preview_work.Box:
        seen = self._seen()
        return seen.left(), seen.top(), seen.right(), seen.bottom()

    def _seen(self) -> QRectF:
        viewport = self._view.viewport().rect()
        return self._view.mapToScene(viewport).boundingRect()
