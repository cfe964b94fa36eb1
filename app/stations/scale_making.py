"""Making a scale: opening a ruling, looking for its lines in the background, marking them by hand."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
from PySide6.QtCore import QObject, Signal

from app.messages import explain
from app.session import Session
from app.stations import scale_draft
from app.stations.scale_draft import Draft, Ruling
from app.stations.scale_form import RulingForm
from measure.errors import InvalidInput

KEY = "ruling"
_NO_LINE = "No clear line lies under that stroke; zoom in and drag straight across the lines."


class Making(QObject):
    """Holds the scale being made, None while there is none.

    Signals
    -------
    opened()
        Another picture is there.
    changed()
        Lines, numbers or the whole draft changed.
    missed()
        The search found no ruling.
    """

    opened = Signal()
    changed = Signal()
    missed = Signal()

    def __init__(self, session: Session, form: RulingForm) -> None:
        super().__init__()
        self._session, self._form = session, form
        self.draft: Draft | None = None
        form.settled.connect(self._ruling_changed)

    def ruling(self) -> Ruling | None:
        """Return what is typed of the ruling; None, said in the form, when it cannot be read."""
        try:
            return self._form.ruling()
        except InvalidInput as error:
            self._form.show_trouble(error.text)
            return None

    def open(self, path: Path | None) -> None:
        """Read a picture and look for its ruling."""
        if path is not None:
            self._run(lambda progress: scale_draft.load(path, progress), self._loaded, "Opening the ruling")

    def search(self) -> None:
        """Look for the ruling in the picture."""
        draft, ruling = self.draft, self.ruling()
        if draft is None or ruling is None:
            return
        self.set_points(np.zeros((0, 2)))
        self._run(
            lambda progress: scale_draft.search(draft, ruling, progress),
            self._searched,
            "Looking for the ruling",
        )

    def mark_point(self, x: float, y: float, reach_px: float) -> None:
        """Mark the line near a place."""
        self._stop_search()  # what it finds would not be taken any more
        self._with_ruling(lambda draft, ruling: draft.with_line_near(x, y, reach_px, ruling))

    def mark_stroke(self, start: tuple, end: tuple, width_px: float) -> None:
        """Mark every line a stroke crosses."""
        self._stop_search()
        self._with_ruling(lambda draft, ruling: draft.with_lines_across(start, end, width_px, ruling))
        if self.draft is not None and not self.draft.by_hand:
            self._session.tell(_NO_LINE)

    def set_points(self, points_px: np.ndarray) -> None:
        """Have these points marked in place of the last ones."""
        self._with_ruling(lambda draft, ruling: draft.with_points(points_px, ruling))

    def take_one_back(self) -> None:
        """Drop the line marked last."""
        if self.draft is not None:
            self.set_points(self.draft.points_px[:-1])

    def set_length(self, length_um: float | None) -> None:
        """Take the length from the first to the last point."""
        self._with_ruling(lambda draft, ruling: draft.with_length(length_um, ruling))

    def drop(self) -> None:
        """Put the ruling away and stop looking for it."""
        self._stop_search()
        self._set(None)

    def _stop_search(self) -> None:
        for task in tuple(self._session.tasks.tasks):
            if task.key == KEY:
                task.cancel()

    def _ruling_changed(self) -> None:
        self._with_ruling(lambda draft, ruling: draft.fitted(ruling))

    def _with_ruling(self, change: Callable[[Draft, Ruling], Draft]) -> None:
        if self.draft is None:
            return
        ruling = self.ruling()
        if ruling is not None:
            self._set(change(self.draft, ruling))

    def _run(self, work: Callable, done: Callable[[Draft], None], text: str) -> None:
        def failed(error: Exception) -> None:
            self._session.tell(*explain(error, text))

        self._session.tasks.run(work, done, failed=failed, text=text, key=KEY)

    def _loaded(self, draft: Draft) -> None:
        self.draft = draft
        self.opened.emit()
        self.changed.emit()
        self.search()

    def _searched(self, found: Draft) -> None:
        if self.draft is None or self.draft.by_hand:
            return  # put away, or lines were marked meanwhile
        self._set(found)
        self._ruling_changed()  # in case the numbers were changed meanwhile
        if found.fit is None:
            self._set(found)
            self.missed.emit()

    def _set(self, draft: Draft | None) -> None:
        self.draft = draft
        self.changed.emit()
