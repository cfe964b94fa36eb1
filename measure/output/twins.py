"""The same picture twice in one run or study, also stored anew or scaled: found, and never counted twice."""

import base64
import contextlib
from collections.abc import Callable

import numpy as np

from measure.model import Picture
from measure.study.records import FieldRow

# a copy covers about as much and shows about the same oil; only such fields are worth decoding
_COVER_RATIO, _OIL_LEVELS, _SHAPE = 1.5, 12.0, 0.02


def packed_look(picture: Picture) -> str:
    """Return a small copy of a picture as text, to be kept with its results."""
    from measure.field.several.repeats import small_copy

    small = small_copy(picture)
    most = max(float(np.abs(small).max()), 1e-9)
    return base64.b64encode(np.rint(small * (127.0 / most)).astype(np.int8).tobytes()).decode("ascii")


def unpacked_look(text: str) -> np.ndarray:
    """Return the small copy as (64, 64) float32 of unit length, for `several.repeats.same_picture`."""
    small = np.frombuffer(base64.b64decode(text), np.int8).astype(np.float32).reshape(64, 64)
    return small / max(float(np.linalg.norm(small)), 1e-6)


class Twins:
    """Knows the pictures counted so far, and those a study holds.

    Parameters
    ----------
    rows : sequence of FieldRow
        Fields of the study, if there is one.
    data : callable
        Returns the bytes of a field by its id.
    """

    def __init__(
        self, rows: tuple[FieldRow, ...] | list[FieldRow] = (), data: Callable[[int], bytes] | None = None
    ) -> None:
        self._rows = [row for row in rows if row.role in ("field", "part") and row.sha256]
        self._data = data
        self._names: list[str] = []
        self._looks: list[np.ndarray] = []
        self._known: dict[int, np.ndarray | None] = {}

    def add(self, name: str, look: str) -> None:
        """Count a picture."""
        self._names.append(name)
        self._looks.append(unpacked_look(look))

    def twin_of(self, row: dict) -> str:
        """Return the name of a picture counted before that shows the same; empty text when there is none.

        Parameters
        ----------
        row : dict
            Row of the fields table with ``look``, ``sha256``, ``cover``, ``width_px`` and ``height_px``.
        """
        from measure.field.several.repeats import same_picture

        own = unpacked_look(row["look"])
        for name, look in zip(self._names, self._looks, strict=True):
            if same_picture(own, look):
                return name
        for other in self._rows:
            if other.sha256 != row["sha256"] and _could_be(other, row):
                kept = self._look_of(other)
                if kept is not None and same_picture(own, kept):
                    return other.name
        return ""

    def _look_of(self, row: FieldRow) -> np.ndarray | None:
        if self._data is None:
            return None
        if row.id not in self._known:
            from measure.errors import KnownError
            from measure.field.several.repeats import small_copy
            from measure.picture_file import read_picture

            look: np.ndarray | None = None
            # one that cannot be read is no twin of one that can
            with contextlib.suppress(KnownError):
                look = small_copy(read_picture(self._data(row.id), row.name))
            self._known[row.id] = look
        return self._known[row.id]


def _could_be(row: FieldRow, new: dict) -> bool:
    shape = (row.width_px / row.height_px) / (new["width_px"] / new["height_px"])
    if abs(shape - 1.0) > _SHAPE:
        return False
    if row.quality is None:
        return True
    covers = sorted((row.quality.cover + 1e-3, new["cover"] + 1e-3))
    off = abs(float(np.mean(row.quality.oil_rgb)) - new["oil_brightness"])
    return covers[1] <= _COVER_RATIO * covers[0] and off <= _OIL_LEVELS


def twin_words(name: str, twin: str) -> str:
    """Return the sentence about a picture that is left out because its twin is counted."""
    return f"{name} shows the same picture as {twin}, stored anew; it is not counted a second time."
