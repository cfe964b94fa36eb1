"""Decoded pictures and their light, made by a worker and kept while they are likely to be asked for again."""

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import QObject, Signal

from app import jobs
from app.tasks import TaskRunner
from measure.errors import KnownError
from measure.model import Picture

# decoded pictures kept: the one in view and its neighbour
KEPT = 2


@dataclass(frozen=True)
class FieldSource:
    """The bytes a field is made of, as they are in the study."""

    name: str
    data: bytes
    blank: bytes | None = None
    zones: tuple = ()
    border: bool = True  # an even border round the view is left out


class PictureShelf(QObject):
    """Keep what is dear to make: decoded pictures and the light of the field in view.

    Signals
    -------
    picture_ready(int), light_ready(int)
        What was asked for that field is there.
    failed(object)
        It could not be made; carries the error.
    """

    picture_ready = Signal(int)
    light_ready = Signal(int)
    failed = Signal(object)

    def __init__(
        self,
        runner: TaskRunner,
        source: Callable[[int], "FieldSource"],
        light_key: Callable[[int], tuple],
        parent: QObject | None = None,
    ) -> None:
        super().__init__(parent)
        self._runner = runner
        self._source, self._light_key = source, light_key
        self._pictures: OrderedDict[int, Picture] = OrderedDict()
        self._light: tuple[tuple, Any] | None = None
        self._waiting: list[tuple[tuple, Callable[[Any], None]]] = []
        self._wanted = 0

    def clear(self) -> None:
        """Forget everything, as another study opens."""
        self._pictures.clear()
        self._waiting.clear()
        self._light = None
        self._wanted = 0

    def picture(self, field_id: int) -> Picture | None:
        """Return the decoded picture if it is there."""
        found = self._pictures.get(field_id)
        if found is not None:
            self._pictures.move_to_end(field_id)
        return found

    def want_picture(self, field_id: int) -> None:
        """Have it decoded; the latest wish wins. `picture_ready` follows, at once if it is there."""
        self._wanted = field_id
        if self.picture(field_id) is not None:
            self.picture_ready.emit(field_id)
            return
        try:
            source = self._source(field_id)
        except KnownError as error:
            self.failed.emit(error)
            return
        self._runner.run(
            lambda _progress: jobs.decode(source.data, source.name),
            lambda picture: self._picture_made(field_id, picture),
            failed=self.failed.emit,
            key="decode picture",
            text="Opening the picture",
        )

    def light(self, field_id: int) -> Any | None:
        """Return the light of a field if it is there and still true."""
        if self._light is not None and self._light[0] == self._light_key(field_id):
            return self._light[1]
        return None

    def with_light(self, field_id: int, then: Callable[[Any], None]) -> None:
        """Call ``then(light)``: at once if the light is there, else when a worker has made it."""
        light = self.light(field_id)
        if light is not None:
            then(light)
            return
        key = self._light_key(field_id)
        under_way = self._runner.busy("light") and any(waiting[0] == key for waiting in self._waiting)
        self._waiting = [(k, t) for k, t in self._waiting if k == key] + [(key, then)]
        if not under_way:
            self._make_light(field_id, key)

    def _make_light(self, field_id: int, key: tuple) -> None:
        picture = self.picture(field_id)
        try:
            source = self._source(field_id)
        except KnownError as error:
            self._light_failed(error)
            return

        def work(_progress: object) -> tuple[Picture, Any]:
            decoded = picture if picture is not None else jobs.decode(source.data, source.name)
            return decoded, jobs.make_light(decoded, source.blank, source.zones, border=source.border)

        def made(both: tuple[Picture, Any]) -> None:
            self._keep(field_id, both[0])
            self._light = (key, both[1])
            calls = [then for wanted, then in self._waiting if wanted == key]
            self._waiting = [pair for pair in self._waiting if pair[0] != key]
            self.light_ready.emit(field_id)
            for then in calls:
                then(both[1])

        self._runner.run(work, made, failed=self._light_failed, key="light", text="Looking at the oil")

    def _light_failed(self, error: Exception) -> None:
        self._waiting.clear()
        self.failed.emit(error)

    def _picture_made(self, field_id: int, picture: Picture) -> None:
        self._keep(field_id, picture)
        if field_id == self._wanted:
            self.picture_ready.emit(field_id)

    def _keep(self, field_id: int, picture: Picture) -> None:
        self._pictures[field_id] = picture
        self._pictures.move_to_end(field_id)
        while len(self._pictures) > KEPT:
            self._pictures.popitem(last=False)
