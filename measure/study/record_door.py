"""Scales, batches, slides, tastings and spot checks of a study."""

import dataclasses
import hashlib
import sqlite3

from measure.errors import InvalidInput
from measure.model import Scale
from measure.study.connection import new_row
from measure.study.door import Door
from measure.study.journal import now
from measure.study.records import (
    Batch,
    BatchRow,
    Changes,
    ScaleRow,
    Slide,
    SlideRow,
    SpotCheck,
    SpotCheckRow,
    Tasting,
    TastingRow,
)
from measure.study.values import (
    SCALE_COLUMNS,
    clean_text,
    from_json,
    number,
    scale_from,
    scale_values,
    to_json,
)

_JSON = {"plan", "results", "batch_ids"}
Record = Batch | Slide | Tasting | SpotCheck


def keep_picture(con: sqlite3.Connection, data: bytes) -> int:
    """Store the bytes of a picture once and return its id."""
    digest = hashlib.sha256(data).hexdigest()
    found = con.execute("SELECT id FROM picture WHERE sha256 = ?", (digest,)).fetchone()
    if found is None:
        return new_row(con, "INSERT INTO picture (sha256, data) VALUES (?, ?)", (digest, bytes(data)))
    return int(found[0])


def _values(record: Record) -> tuple:
    return tuple(
        to_json(value) if name in _JSON else int(value) if name == "closed" else number(value)
        for name, value in ((f.name, getattr(record, f.name)) for f in dataclasses.fields(record))
    )


def _names(record: type) -> tuple[str, ...]:
    return tuple(f.name for f in dataclasses.fields(record))


class RecordDoor(Door):
    """The part of a study about scales, batches, slides, tastings and spot checks."""

    # --- scales

    def add_scale(
        self,
        scale: Scale,
        picture_bytes: bytes | None = None,
        picture_name: str = "",
        fit: dict | None = None,
    ) -> int:
        """Add a scale, with the picture of its ruling where there is one; return its id."""
        _check_scale(scale)
        if not scale.made:
            scale = dataclasses.replace(scale, made=now())
        with self._action(f"Add scale {scale.zoom or f'{scale.um_per_px:.4g} µm per px'}"):
            picture = keep_picture(self._con, picture_bytes) if picture_bytes else None
            values = (
                *scale_values(scale),
                picture,
                clean_text(picture_name),
                None if fit is None else to_json(fit),
            )
            columns = (*SCALE_COLUMNS, "picture_id", "picture_name", "fit")
            return self._journal.insert("scale", columns, [values])[0]

    def update_scale(self, scale_id: int, scale: Scale) -> Changes:
        """Replace the numbers of a scale; its fields follow."""
        _check_scale(scale)
        self._refuse_missing("scale", scale_id)
        # the sizes of a table are those it states: they must not follow a scale
        query = "SELECT name FROM field WHERE scale_id = ? AND role = 'table'"
        found = self._row(query, (int(scale_id),))
        if found is not None:
            raise InvalidInput(f"This scale came with the table of {found[0]}, so it cannot be changed.")
        with self._action(f"Change scale {scale.zoom}".rstrip()):
            self._journal.update("scale", [int(scale_id)], SCALE_COLUMNS, [scale_values(scale)])
        return self.last_changes

    def remove_scale(self, scale_id: int) -> Changes:
        """Remove a scale no field uses.

        Raises
        ------
        InvalidInput
            If a field uses it; the sentence names some.
        """
        self._refuse_missing("scale", scale_id)
        self._refuse_used("SELECT name FROM field WHERE scale_id = ? ORDER BY id", scale_id, "This scale")
        with self._action("Remove scale"):
            self._journal.delete("scale", [int(scale_id)])
        return self.last_changes

    def scales(self) -> list[ScaleRow]:
        """Return every scale, in the order they were added."""
        columns = ", ".join(SCALE_COLUMNS)
        rows = self._rows(f"SELECT id, picture_name, picture_id, fit, {columns} FROM scale ORDER BY id")
        with self._readable("a scale"):
            return [
                ScaleRow(
                    row[0], scale_from(row[4:]), row[1], row[2] is not None, row[3] and from_json(row[3])
                )
                for row in rows
            ]

    def scale_picture(self, scale_id: int) -> bytes | None:
        """Return the bytes of the picture a scale was made from; None where there is none."""
        found = self._row(
            "SELECT data FROM picture JOIN scale ON picture.id = scale.picture_id WHERE scale.id = ?",
            (int(scale_id),),
        )
        return found[0] if found else None

    # --- batches

    def add_batch(self, batch: Batch) -> int:
        """Add a batch; return its id."""
        return self._add("batch", batch, f"Add batch {batch.name}")

    def update_batch(self, batch_id: int, batch: Batch) -> Changes:
        """Replace what is known of a batch."""
        return self._update("batch", batch_id, batch, f"Change batch {batch.name}")

    def remove_batch(self, batch_id: int) -> Changes:
        """Remove a batch without fields and slides; refused with a sentence while it has some."""
        query = (
            "SELECT name FROM field WHERE batch_id = ?1 "
            "UNION ALL SELECT 'slide ' || name FROM slide WHERE batch_id = ?1"
        )
        return self._remove("batch", batch_id, query)

    def batches(self) -> list[BatchRow]:
        """Return every batch, in the order they were added."""
        return [BatchRow(row[0], Batch(*row[1:])) for row in self._all("batch", Batch)]

    # --- slides

    def add_slide(self, slide: Slide) -> int:
        """Add a slide of a batch; return its id."""
        self._refuse_missing("batch", slide.batch_id)
        return self._add("slide", slide, f"Add slide {slide.name}")

    def update_slide(self, slide_id: int, slide: Slide) -> Changes:
        """Replace what is known of a slide."""
        self._refuse_missing("batch", slide.batch_id)
        return self._update("slide", slide_id, slide, f"Change slide {slide.name}")

    def remove_slide(self, slide_id: int) -> Changes:
        """Remove a slide without fields; refused with a sentence while it has some."""
        return self._remove("slide", slide_id, "SELECT name FROM field WHERE slide_id = ? ORDER BY id")

    def slides(self) -> list[SlideRow]:
        """Return every slide, in the order they were added."""
        return [SlideRow(row[0], Slide(*row[1:])) for row in self._all("slide", Slide)]

    # --- tastings and spot checks

    def add_tasting(self, tasting: Tasting) -> int:
        """Add a tasting session; return its id."""
        tasting = tasting if tasting.made else dataclasses.replace(tasting, made=now())
        return self._add("tasting", tasting, f"Add tasting {tasting.name or tasting.kind}")

    def update_tasting(self, tasting_id: int, tasting: Tasting, text: str = "") -> Changes:
        """Replace the plan, the answers or the state of a tasting session."""
        return self._update(
            "tasting", tasting_id, tasting, text or f"Change tasting {tasting.name or tasting.kind}"
        )

    def remove_tasting(self, tasting_id: int) -> Changes:
        """Remove a tasting session."""
        return self._remove("tasting", tasting_id)

    def tastings(self) -> list[TastingRow]:
        """Return every tasting session, in the order they were added."""
        return [
            TastingRow(row[0], Tasting(**self._session(Tasting, row[1:])))
            for row in self._all("tasting", Tasting)
        ]

    def add_spot_check(self, check: SpotCheck) -> int:
        """Add a spot check; return its id."""
        check = check if check.made else dataclasses.replace(check, made=now())
        return self._add("spot_check", check, f"Add spot check {check.name}".rstrip())

    def update_spot_check(self, check_id: int, check: SpotCheck, text: str = "") -> Changes:
        """Replace the plan, the outlines or the state of a spot check."""
        return self._update("spot_check", check_id, check, text or f"Change spot check {check.name}".rstrip())

    def remove_spot_check(self, check_id: int) -> Changes:
        """Remove a spot check."""
        return self._remove("spot_check", check_id)

    def spot_checks(self) -> list[SpotCheckRow]:
        """Return every spot check, in the order they were added."""
        rows = self._all("spot_check", SpotCheck)
        return [SpotCheckRow(row[0], SpotCheck(**self._session(SpotCheck, row[1:]))) for row in rows]

    # --- shared

    def _session(self, record: type, values: tuple) -> dict:
        named = dict(zip(_names(record), values, strict=True))
        with self._readable():
            for name in _JSON:
                named[name] = from_json(named[name])
            named["batch_ids"] = tuple(int(i) for i in named["batch_ids"])
        return {**named, "closed": bool(named["closed"])}

    def _all(self, table: str, record: type) -> list[tuple]:
        return self._rows(f"SELECT id, {', '.join(_names(record))} FROM {table} ORDER BY id")

    def _add(self, table: str, record: Record, text: str) -> int:
        with self._action(text):
            return self._journal.insert(table, _names(type(record)), [_values(record)])[0]

    def _update(self, table: str, row_id: int, record: Record, text: str) -> Changes:
        self._refuse_missing(table, row_id)
        new = dict(zip(_names(type(record)), _values(record), strict=True))
        if new.get("made") == "":
            del new["made"]  # it stays as it was
        with self._action(text):
            self._journal.update(table, [int(row_id)], tuple(new), [tuple(new.values())])
        return self.last_changes

    def _remove(self, table: str, row_id: int, users: str = "") -> Changes:
        self._refuse_missing(table, row_id)
        name = self._the_row(f"SELECT name FROM {table} WHERE id = ?", (int(row_id),))[0]
        word = f"{table.replace('_', ' ')} {name}".rstrip()
        if users:
            self._refuse_used(
                users, row_id, word.capitalize() if not name else f"{table.capitalize()} {name}"
            )
        with self._action(f"Remove {word}"):
            self._journal.delete(table, [int(row_id)])
        return self.last_changes


def _check_scale(scale: Scale) -> None:
    if not 0 < scale.um_per_px < float("inf"):
        raise InvalidInput(f"A scale must be more than 0 µm per px, not {scale.um_per_px}.")
