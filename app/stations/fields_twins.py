"""New pictures that show what another field shows already: noticed by their small pictures, offered to go."""

from collections.abc import Callable, Iterable

import numpy as np
from PySide6.QtCore import QObject
from PySide6.QtGui import QImage, QPixmap

from app import capture_jobs, number_text
from app.session import Session
from app.stations.fields_list import FieldList


class TwinWatch(QObject):
    """Waits for the small pictures of new fields and compares them with those of all others."""

    def __init__(self, session: Session, fields: FieldList, remove: Callable[[list[int]], object]) -> None:
        super().__init__(fields)
        self._session, self._list, self._remove = session, fields, remove
        self._new: list[int] = []
        self._looks: dict[str, np.ndarray] = {}
        fields.thumb_made.connect(self._look)
        session.opened.connect(self._new.clear)

    def watch(self, field_ids: Iterable[int]) -> None:
        """Look at these fields as soon as all small pictures are there."""
        self._new += field_ids
        self._look()

    def _look(self) -> None:
        if not self._new or self._session.study is None:
            return
        rows = [row for row in self._session.open_study.fields() if row.role in ("field", "part")]
        if not all(self._list.fields.has_thumb(row.sha256) for row in rows):
            return
        new, self._new = set(self._new), []
        found: list[tuple[int, str, str]] = []
        before = [row for row in rows if row.id not in new]
        for row in (row for row in rows if row.id in new):
            twin = next((one for one in before if self._alike(row.sha256, one.sha256)), None)
            if twin is not None:
                found.append((row.id, row.name, twin.name))
            else:
                before.append(row)
        if found:
            self._offer(found)

    def _alike(self, first: str, second: str) -> bool:
        return capture_jobs.thumbs_alike(self._look_of(first), self._look_of(second))

    def _look_of(self, sha256: str) -> np.ndarray:
        if sha256 not in self._looks:
            self._looks[sha256] = capture_jobs.thumb_look(_pixels(self._list.fields.thumb(sha256)))
        return self._looks[sha256]

    def _offer(self, found: list[tuple[int, str, str]]) -> None:
        ids, (_, name, twin) = [one[0] for one in found], found[0]
        more = f" So do {number_text.count(len(found) - 1, 'other')}." if len(found) > 1 else ""
        text = f"{name} shows the same picture as {twin}; its pieces would be counted twice.{more}"
        button = "Remove the copy" if len(found) == 1 else f"Remove {len(found)} copies"
        self._session.offered.emit(text, button, lambda: self._remove(ids))


def _pixels(pixmap: QPixmap) -> np.ndarray:
    """Return the pixels of a small picture, (m, n, 3) uint8 RGB."""
    image = pixmap.toImage().convertToFormat(QImage.Format.Format_RGB888)
    rows, columns, stride = image.height(), image.width(), image.bytesPerLine()
    flat = np.frombuffer(image.constBits(), np.uint8).reshape(rows, stride)
    return flat[:, : 3 * columns].reshape(rows, columns, 3).copy()
