"""What makes a chosen picture of blank oil doubtful, found out in the background and said in the card."""

from PySide6.QtWidgets import QLabel

from app import capture_jobs
from app.messages import explain
from app.session import Session
from measure.errors import KnownError
from measure.study.records import FieldRow

KEY = "blank-oil check"


class BlankCheck:
    """Looks at each picture of blank oil once and keeps what was found.

    Parameters
    ----------
    session : Session
        Whose study holds the pictures.
    label : QLabel
        Where the doubt is said; hidden where there is none.
    """

    def __init__(self, session: Session, label: QLabel) -> None:
        self._session, self._label = session, label
        self._known: dict[str, str] = {}  # by SHA-256: the same picture is the same oil
        self._asked: list[FieldRow] = []

    def show(self, rows: list[FieldRow]) -> None:
        """Say what is doubtful about the blank oil that these pictures are or use."""
        ids = {row.id if row.role == "blank" else row.blank_id for row in rows} - {None}
        study = self._session.study
        self._asked = [row for row in study.fields() if row.id in ids] if study is not None and ids else []
        self._say()
        self._look()

    def _say(self) -> None:
        found = [self._known[row.sha256] for row in self._asked if self._known.get(row.sha256)]
        self._label.setText("\n".join(found))
        self._label.setVisible(bool(found))

    def _look(self) -> None:
        """Look at the next picture that is asked for; one at a time, for each may take a second."""
        waiting = [row for row in self._asked if row.sha256 not in self._known]
        study = self._session.study
        if not waiting or study is None or self._session.tasks.busy(KEY):
            return
        row = waiting[0]
        try:
            source = capture_jobs.Source(row.id, row.name, study.field_bytes(row.id))
        except KnownError as error:
            self._keep(row, error.text)
            return
        self._session.tasks.run(
            lambda progress: capture_jobs.blank_doubt(source, progress),
            lambda doubt: self._keep(row, doubt),
            failed=lambda error: self._keep(row, explain(error, "Looking at the blank oil")[0]),
            text="Looking whether the blank oil is free of pieces",
            key=KEY,
        )

    def _keep(self, row: FieldRow, doubt: str) -> None:
        self._known[row.sha256] = doubt
        self._say()
        self._look()
