"""Small pictures for lists, made one after the other by a worker."""

from collections.abc import Callable

import numpy as np
from PySide6.QtCore import QObject
from PySide6.QtGui import QImage, QPixmap

from app import jobs
from app.session import Session
from measure.errors import KnownError

KEY = "small pictures"


class ThumbnailMaker(QObject):
    """Make small pictures of fields and hand each to ``made(sha256, pixmap)``."""

    def __init__(self, session: Session, made: Callable[[str, QPixmap], None]) -> None:
        super().__init__(session)
        self._session, self._made = session, made
        self._wanted: dict[str, int] = {}

    def want(self, sha256: str, field_id: int) -> None:
        """Ask for the small picture of a field."""
        if sha256 not in self._wanted:
            self._wanted[sha256] = field_id
            if len(self._wanted) == 1:
                self._next()

    def forget(self) -> None:
        """Drop what was asked for, as another study opens."""
        self._wanted.clear()

    def _next(self) -> None:
        while self._wanted and self._session.study is not None:
            sha256, field_id = next(iter(self._wanted.items()))
            try:
                data = self._session.open_study.field_bytes(field_id)
            except KnownError:
                del self._wanted[sha256]
                continue
            self._read(sha256, data)
            return

    def _read(self, sha256: str, data: bytes) -> None:
        task = self._session.tasks.run(
            lambda _progress: jobs.small_picture(data),
            lambda pixels: self._done(sha256, pixels),
            failed=lambda _error: self._done(sha256, None),
            key=KEY,
        )
        task.on_cancel = self.forget

    def _done(self, sha256: str, pixels: np.ndarray | None) -> None:
        self._wanted.pop(sha256, None)
        if pixels is not None:
            rows, columns = pixels.shape[:2]
            image = QImage(pixels.data, columns, rows, pixels.strides[0], QImage.Format.Format_RGB888)
            self._made(sha256, QPixmap.fromImage(image.copy()))
        self._next()
