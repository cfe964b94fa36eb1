"""Fields of a study: their pictures and what is known of each."""

import hashlib
from collections.abc import Iterable, Sequence
from typing import Any

from measure.errors import InvalidInput, StudyFileError
from measure.study.door import Door
from measure.study.journal import LABEL_BITS
from measure.study.record_door import keep_picture
from measure.study.records import ROLES, Changes, FieldCounts, FieldRow, NewField
from measure.study.values import clean_text, from_json, result_from, zones_from, zones_json

_COLUMNS: tuple[str, ...] = ("id", "name", "batch_id", "scale_id", "slide_id", "blank_id", "width_px")
_COLUMNS += ("height_px", "role", "note", "zones", "result")
_QUERY = (
    f"SELECT {', '.join('field.' + c for c in _COLUMNS)}, coalesce(sha256, ''), coalesce(revision, 0), tally "
    "FROM field LEFT JOIN picture ON picture.id = field.picture_id "
    "LEFT JOIN field_state ON field_state.field_id = field.id"
)
_NEW_COLUMNS: tuple[str, ...] = ("name", "role", "picture_id", "batch_id", "scale_id", "slide_id")
_NEW_COLUMNS += ("width_px", "height_px", "note", "zones")
_MAY_CHANGE = ("name", "batch_id", "scale_id", "slide_id", "blank_id", "role", "note", "zones")
_WORDS = {"batch_id": "batch", "scale_id": "scale", "slide_id": "slide", "blank_id": "blank"}


class FieldDoor(Door):
    """The part of a study about fields."""

    _fields_kept: tuple[tuple, list[FieldRow]] | None = None

    def add_fields(self, new: Sequence[NewField]) -> list[int]:
        """Add pictures as one undo step; return their ids.

        Raises
        ------
        InvalidInput
            If a picture is there already (the sentence names its twin), or one cannot be used.
        """
        new = list(new)
        if not new:
            return []
        self._check_new(new)
        text = f"Add {new[0].name}" if len(new) == 1 else f"Add {len(new)} pictures"
        with self._action(text):
            return self._journal.insert("field", _NEW_COLUMNS, [self._new_values(item) for item in new])

    def _new_values(self, item: NewField) -> tuple:
        used = (None if i is None else int(i) for i in (item.batch_id, item.scale_id, item.slide_id))
        size = (int(item.width_px), int(item.height_px))
        picture = keep_picture(self._con, item.data) if item.data else None
        return (clean_text(item.name), item.role, picture, *used, *size, clean_text(item.note), "[]")

    def _check_new(self, new: list[NewField]) -> None:
        seen: dict[str, str] = {}
        for item in new:
            if bool(item.data) == (item.role == "table"):
                what = "is a table, so it has no picture" if item.data else "is empty"
                raise InvalidInput(f"{item.name} {what}.")
            if item.width_px < 1 or item.height_px < 1:
                raise InvalidInput(f"{item.name} has no size: {item.width_px} x {item.height_px} px.")
            if item.role not in ROLES:
                raise InvalidInput(f"{item.name}: a picture is one of {', '.join(ROLES)}, not {item.role}.")
            for table, row_id in (
                ("batch", item.batch_id),
                ("scale", item.scale_id),
                ("slide", item.slide_id),
            ):
                self._refuse_missing(table, row_id)
            if not item.data:
                continue
            digest = hashlib.sha256(item.data).hexdigest()
            twin = seen.get(digest) or self.twin_of(digest)
            if twin:
                raise InvalidInput(f"{item.name} is the same picture as {twin}, so it was not added again.")
            seen[digest] = item.name

    def twin_of(self, picture: bytes | str) -> str | None:
        """Return the name of the field with this picture (bytes, or its SHA-256); None if there is none."""
        digest = picture if isinstance(picture, str) else hashlib.sha256(picture).hexdigest()
        query = "SELECT name FROM field JOIN picture ON picture.id = field.picture_id WHERE sha256 = ?"
        found = self._row(query, (digest,))
        return found[0] if found else None

    def remove_fields(self, field_ids: Iterable[int]) -> Changes:
        """Remove fields with their particles; undo brings both back.

        Raises
        ------
        InvalidInput
            If one is the blank of a field that stays.
        """
        ids = [int(i) for i in field_ids]
        names = [self._field_name(i) for i in ids]
        for field_id, name in zip(ids, names, strict=True):
            query = f"SELECT name FROM field WHERE blank_id = ? AND id NOT IN ({', '.join(map(str, ids))})"
            self._refuse_used(query, field_id, name)
        with self._action(f"Remove {names[0]}" if len(ids) == 1 else f"Remove {len(ids)} pictures"):
            self._journal.update("field", ids, ("blank_id",), [(None,)] * len(ids))
            for field_id in ids:
                self._journal.delete("particle", self._particle_ids(field_id), field_id=field_id)
            self._journal.delete("field", ids)
        return self.last_changes

    def fields(self) -> list[FieldRow]:
        """Return every field, in the order they were added; no picture and no particle is read."""
        query = f"{_QUERY} ORDER BY field.id"
        elsewhere = self._row("PRAGMA data_version")  # changes when another window changes the file
        if self._con.in_transaction:  # half an action is nothing to keep
            return [self._field_row(row) for row in self._rows(query)]
        # the window asks many times between two changes
        state = (self._con.total_changes, elsewhere)
        if self._fields_kept is None or self._fields_kept[0] != state:
            self._fields_kept = (state, [self._field_row(row) for row in self._rows(query)])
        return list(self._fields_kept[1])

    def field(self, field_id: int) -> FieldRow:
        """Return one field.

        Raises
        ------
        InvalidInput
            If it is not there.
        """
        found = self._row(f"{_QUERY} WHERE field.id = ?", (int(field_id),))
        if found is None:
            raise InvalidInput(f"There is no field {int(field_id)} in {self.path.name} any more.")
        return self._field_row(found)

    def _field_row(self, row: tuple) -> FieldRow:
        named: dict[str, Any] = dict(zip((*_COLUMNS, "sha256", "revision", "tally"), row, strict=True))
        result, tally = named.pop("result"), named.pop("tally")
        with self._readable(f"the field {named['name']}"):
            named["zones"] = zones_from(from_json(named["zones"]))
            if tally:
                total, aside, at_frame, by_kind = from_json(tally)
                counts = FieldCounts(int(total), int(aside), int(at_frame), tuple(int(n) for n in by_kind))
                named["counts"] = counts
            more = result_from(result) if result else {}
        return FieldRow(measured=bool(result), **named, **more)

    def field_bytes(self, field_id: int) -> bytes:
        """Return the picture of a field exactly as it came.

        Raises
        ------
        StudyFileError
            If it has none: it came from a table, or its picture was lost when the file was damaged.
        """
        name = self._field_name(field_id)
        query = "SELECT data FROM picture JOIN field ON picture.id = field.picture_id WHERE field.id = ?"
        found = self._row(query, (int(field_id),))
        if found is None:
            raise StudyFileError(f"{name} has no picture in this study: there never was one, or it was lost.")
        return found[0]

    def revision(self, field_id: int) -> int:
        """Return a number that rises with every change to a field's particles, scale, blank or zones."""
        found = self._row("SELECT revision FROM field_state WHERE field_id = ?", (int(field_id),))
        return found[0] if found else 0

    def update_field(self, field_id: int, *, text: str = "", **changes: object) -> Changes:
        """Change name, batch_id, scale_id, slide_id, blank_id, role, note or zones of one field."""
        return self.update_fields([field_id], text=text, **changes)

    def update_fields(self, field_ids: Iterable[int], *, text: str = "", **changes: object) -> Changes:
        """Change the same things of several fields as one undo step.

        Parameters
        ----------
        **changes
            name, batch_id, scale_id, slide_id, blank_id, role, note, zones (polygons, each (K, 2) px).
        """
        ids = [int(i) for i in field_ids]
        if not ids or not changes:
            return Changes()
        names = [self._field_name(i) for i in ids]
        columns, values = tuple(changes), tuple(self._checked(*item) for item in changes.items())
        if changes.get("blank_id") in ids and "blank_id" in changes:
            raise InvalidInput("A picture cannot be its own blank.")
        if set(changes) & {"role", "scale_id", "blank_id", "zones"}:
            for i in ids:
                self._refuse_table(i, "its pieces stay as the table has them")
        what = " and ".join(_WORDS.get(c, c) for c in columns)
        whom = names[0] if len(ids) == 1 else f"{len(ids)} pictures"
        with self._action(text or f"Change {what} of {whom}"):
            self._journal.update("field", ids, columns, [values] * len(ids))
        return self.last_changes

    def _checked(self, name: str, value: Any) -> str | int | None:
        if name not in _MAY_CHANGE:
            raise TypeError(f"a field has no {name} to change")
        if name == "zones":
            return zones_json(value)
        if name in _WORDS:
            self._refuse_missing("field" if name == "blank_id" else _WORDS[name], value)
            return None if value is None else int(value)
        if name == "role" and value not in ROLES:
            raise InvalidInput(f"A picture is one of {', '.join(ROLES)}, not {value}.")
        if name == "role" and value == "table":
            raise InvalidInput("A picture cannot become a table.")
        return clean_text(value)

    def _refuse_table(self, field_id: int, so: str) -> None:
        found = self._row("SELECT name FROM field WHERE id = ? AND role = 'table'", (int(field_id),))
        if found is not None:
            raise InvalidInput(f"{found[0]} came from a table and has no picture, so {so}.")

    def _field_name(self, field_id: int) -> str:
        found = self._row("SELECT name FROM field WHERE id = ?", (int(field_id),))
        if found is None:
            raise InvalidInput(f"There is no field {int(field_id)} in {self.path.name} any more.")
        return found[0]

    def _particle_ids(self, field_id: int) -> list[int]:
        first, last = int(field_id) << LABEL_BITS, (int(field_id) + 1 << LABEL_BITS) - 1
        return [
            row[0] for row in self._rows("SELECT id FROM particle WHERE id BETWEEN ? AND ?", (first, last))
        ]
