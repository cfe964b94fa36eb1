"""The sample study: built once into the program's own folder, opened at once from then on."""

from pathlib import Path

from PySide6.QtCore import QObject, QStandardPaths

from app import jobs
from app.messages import NOTE, explain
from app.samples import made_sample
from app.session import Session

KEY = "sample study"
MAKING = "Eighteen drawn fields are measured into a study. That takes about a minute, this once."


def sample_folder() -> Path:
    """Return the folder the sample study lives in."""
    location = QStandardPaths.StandardLocation.AppDataLocation
    return Path(QStandardPaths.writableLocation(location)) / "sample"


class SampleBuilder(QObject):
    """Opens the sample study, building it first when it is not there."""

    def __init__(self, session: Session) -> None:
        super().__init__(session)
        self._session = session

    def open(self) -> None:
        """Open the sample study."""
        if self._session.tasks.busy(KEY):
            self._session.tell("The sample study is being made.", NOTE)
            return
        folder = sample_folder()
        found = made_sample(folder)
        if found is not None:
            self._session.open(found)
            return
        self._session.tell(MAKING, NOTE)
        self._session.tasks.run(
            lambda progress: jobs.build_sample(folder, progress),
            self._session.open,
            failed=lambda error: self._session.tell(*explain(error, "Making the sample study")),
            text="Making the sample study",
            key=KEY,
        )
