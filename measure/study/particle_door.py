"""Particles of a study: measuring results, hand edits, and the automatic result again."""

import sqlite3
from collections import OrderedDict
from collections.abc import Iterable
from pathlib import Path

import numpy as np

from measure.errors import InvalidInput, StudyFileError
from measure.flags import reason_words
from measure.model import FieldResult
from measure.particles import COLUMNS, Particles
from measure.study.connection import new_row, plain_faults
from measure.study.field_door import FieldDoor
from measure.study.journal import LABEL_BITS, particle_id
from measure.study.opening import Opened
from measure.study.particle_rows import NAMES, STORED, column_values, from_rows, merge, to_rows
from measure.study.records import Changes, StaleResult
from measure.study.row_codec import decode
from measure.study.schema import add_particle_columns, columns_of
from measure.study.values import result_json

_CACHED_FIELDS = 8
_FEW = 400
_LAST_LABEL = 2**31 - 2**20  # labels are 32-bit numbers


class ParticleDoor(FieldDoor):
    """The part of a study about particles. Sets read are kept; after an edit only its rows are read again."""

    def __init__(self, path: Path, opened: Opened) -> None:
        super().__init__(path, opened)
        self._sets: OrderedDict[int, Particles] = OrderedDict()

    def particles(self, field_id: int) -> Particles:
        """Return the particles of a field in the order of their labels; empty where it is not measured."""
        field_id = int(field_id)
        if self._depth:  # half an action is nothing to keep
            return self._read_field(field_id)
        self._forget_if_changed_elsewhere()
        if field_id not in self._sets:
            self._sets[field_id] = self._read_field(field_id)
            while len(self._sets) > _CACHED_FIELDS:
                self._sets.popitem(last=False)
        self._sets.move_to_end(field_id)
        return self._sets[field_id]

    def store_result(
        self, field_id: int, result: FieldResult, expected_revision: int | None = None, text: str = ""
    ) -> Changes:
        """Put the result of measuring a field in place of what was there; undo brings the old one back.

        Labels used in this field before are not used again: a second result is numbered on.

        Parameters
        ----------
        expected_revision : int, optional
            `revision` when the measuring began.

        Raises
        ------
        StaleResult
            If the field has changed since; nothing is stored.
        """
        name = self._field_name(field_id)
        if expected_revision is not None and self.revision(field_id) != expected_revision:
            raise StaleResult(
                f"{name} was changed while it was measured, so that result was not kept. Measure it again."
            )
        field_id, particles = int(field_id), self._numbered(field_id, result.particles)
        with self._action(text or f"Measure {name}"):
            self._journal.delete("particle", self._particle_ids(field_id), field_id=field_id)
            self._insert(field_id, particles, purpose="result")
            told = result_json(result, self.field(field_id).blank_id)
            self._journal.update("field", [field_id], ("result",), [(told,)], field_id=field_id)
        return self.last_changes

    def replace_particles(
        self, field_id: int, removed_labels: Iterable[int], added: Particles, text: str
    ) -> list[int]:
        """Take some particles out and put others in, as one hand edit; return the labels of the new ones."""
        field_id = int(field_id)
        self._refuse_table(field_id, "no outline can be changed")
        removed = self._check_labels(field_id, removed_labels)
        start = self._next_label(field_id)
        labels = list(range(start, start + len(added)))
        with self._action(text):
            self._journal.delete("particle", [particle_id(field_id, i) for i in removed], field_id=field_id)
            self._insert(field_id, added.replaced(label=np.array(labels, dtype=int)))
        return labels

    def update_particles(self, field_id: int, labels: Iterable[int], text: str, **columns: object) -> Changes:
        """Set columns of some particles (one value for all, or one each); outlines stay.

        Raises
        ------
        InvalidInput
            If a label is not there.
        """
        field_id = int(field_id)
        wanted = self._check_labels(field_id, labels)
        if set(columns) - set(COLUMNS) or "label" in columns:
            raise TypeError(f"particles have no columns {', '.join(columns)} to change")
        with self._action(text):
            lists = [column_values(name, values, len(wanted)) for name, values in columns.items()]
            rows = list(zip(*lists, strict=True))
            ids = [particle_id(field_id, label) for label in wanted]
            self._journal.update("particle", ids, tuple(columns), rows, field_id=field_id)
        return self.last_changes

    def set_kind(
        self, field_id: int, labels: Iterable[int], kind_codes: object, text: str = "", by_hand: bool = True
    ) -> Changes:
        """Give particles a kind (code, or one each). A kind given by hand is not in doubt."""
        labels = list(labels)
        text = text or f"Change kind of {_few(labels)}"
        if by_hand:
            return self.update_particles(
                field_id, labels, text, kind=kind_codes, kind_by_hand=True, kind_doubt=0.0
            )
        return self.update_particles(field_id, labels, text, kind=kind_codes, kind_by_hand=False)

    def set_aside(self, field_id: int, labels: Iterable[int], reason: str, text: str = "") -> Changes:
        """Set particles aside with a reason: kept and listed, not counted."""
        labels, reason = list(labels), str(reason).strip()
        if not reason:
            raise InvalidInput("Give a reason for setting pieces aside.")
        return self.update_particles(
            field_id, labels, text or f"Set aside {_few(labels)}: {reason_words(reason)}", set_aside=reason
        )

    def restore(self, field_id: int, labels: Iterable[int], text: str = "") -> Changes:
        """Count particles again that were set aside."""
        labels = list(labels)
        return self.update_particles(field_id, labels, text or f"Count {_few(labels)} again", set_aside="")

    def hand_edits(self, field_id: int) -> int:
        """Return how many actions in force changed particles of a field since it was measured last."""
        found = self._row(
            "SELECT COUNT(DISTINCT edit_id) FROM edit_row JOIN edit ON edit.id = edit_id WHERE field_id = ? "
            "AND table_name = 'particle' AND state IN ('done', 'rescued') AND edit_id > "
            "COALESCE((SELECT MAX(edit_id) FROM edit_row JOIN edit ON edit.id = edit_id WHERE field_id = ? "
            "AND purpose = 'result' AND state IN ('done', 'rescued')), 0)",
            (int(field_id), int(field_id)),
        )
        return int(found[0]) if found else 0

    def restore_automatic(self, field_id: int) -> Changes:
        """Bring back the particles of a field as the last measuring gave them, before any hand edit.

        Raises
        ------
        InvalidInput
            If the field was never measured.
        """
        field_id, name = int(field_id), self._field_name(field_id)
        found = self._row(
            "SELECT new FROM edit_row JOIN edit ON edit.id = edit_id WHERE field_id = ? "
            "AND purpose = 'result' AND state IN ('done', 'rescued') ORDER BY edit_row.id DESC LIMIT 1",
            (field_id,),
        )
        if found is None:
            raise InvalidInput(f"{name} has no automatic result to go back to. Measure it first.")
        with self._readable("its log"):
            rows = decode(found[0])
        with self._action(f"Back to the automatic result of {name}"), self._readable("its log"):
            self._journal.delete("particle", self._particle_ids(field_id), field_id=field_id)
            if rows is not None:
                self._journal.check_log("particle", rows)
                self._journal.insert("particle", rows.columns, rows.values, field_id=field_id)
        return self.last_changes

    def _query(self) -> str:
        """Return the query for particles; a column this file has not got yet is blank."""
        with plain_faults(self.path):
            there = columns_of(self._con, "particle")
        names = [name if name in there else f"NULL AS {name}" for name in NAMES]
        return f"SELECT {', '.join(names)}, outline_pack, outline_index FROM particle"

    def _insert(self, field_id: int, particles: Particles, purpose: str = "") -> None:
        add_particle_columns(self._con)
        rows = to_rows(field_id, particles, self._new_pack)
        self._journal.insert("particle", STORED, rows, field_id=field_id, purpose=purpose)

    def _new_pack(self, data: bytes) -> int:
        return new_row(self._con, "INSERT INTO outline_pack (data) VALUES (?)", (data,))

    def _read_pack(self, pack_id: int) -> bytes:
        found = self._row("SELECT data FROM outline_pack WHERE id = ?", (pack_id,))
        if found is None:
            raise ValueError("an outline pack is missing")
        return found[0]

    def _read_field(self, field_id: int) -> Particles:
        first, last = field_id << LABEL_BITS, (field_id + 1 << LABEL_BITS) - 1
        return self._read(f"{self._query()} WHERE id BETWEEN ? AND ? ORDER BY id", (first, last))

    def _read(self, query: str, values: tuple) -> Particles:
        rows = self._rows(query, values)
        with self._readable("an outline or a piece"):
            return from_rows(rows, self._read_pack)

    def _next_label(self, field_id: int) -> int:
        found = self._row("SELECT next_label FROM field_state WHERE field_id = ?", (int(field_id),))
        label = found[0] if found else 1
        with self._readable("a number of pieces"):
            if not 1 <= label < _LAST_LABEL:
                raise ValueError(label)
        return label

    def _numbered(self, field_id: int, particles: Particles) -> Particles:
        """Return particles with labels never used in this field: their own where those are new."""
        start, labels = self._next_label(field_id), particles["label"]
        if len(labels) and (labels.min() < start or len(np.unique(labels)) < len(labels)):
            return particles.replaced(label=np.arange(start, start + len(labels)))
        return particles

    def _check_labels(self, field_id: int, labels: Iterable[int]) -> list[int]:
        name, wanted = self._field_name(field_id), [int(label) for label in labels]
        if len(wanted) > _FEW:
            there = set(self._particle_ids(field_id))
        else:
            ids = ", ".join(str(particle_id(field_id, label)) for label in wanted)
            there = {row[0] for row in self._rows(f"SELECT id FROM particle WHERE id IN ({ids})")}
        missing = [label for label in wanted if particle_id(field_id, label) not in there]
        if missing:
            raise InvalidInput(f"{name} has no piece {missing[0]} any more.")
        if len(set(wanted)) < len(wanted):
            raise InvalidInput(f"Piece {max(wanted, key=wanted.count)} of {name} is named twice.")
        return wanted

    def _after_change(self, changes: Changes) -> None:
        for field_id, labels in changes.labels.items():
            kept = self._sets.pop(field_id, None)
            if kept is None or len(labels) > _FEW:
                continue
            ids = ", ".join(str(particle_id(field_id, label)) for label in labels)
            try:
                fresh = self._read(f"{self._query()} WHERE id IN ({ids})", ())
            except (StudyFileError, sqlite3.Error):
                continue  # the action is done; whoever reads next hears of the fault
            stay = ~np.isin(kept["label"], np.fromiter(labels, dtype=np.int64))
            self._sets[field_id] = merge(kept.select(stay), fresh)

    def _forget_if_changed_elsewhere(self) -> None:
        """Drop kept sets when another process wrote to the file this window only reads."""
        if self.read_only:
            version = self._the_row("PRAGMA data_version")[0]
            if version != getattr(self, "_data_version", version):
                self._sets.clear()
            self._data_version = version


def _few(labels: list) -> str:
    return f"piece {int(labels[0])}" if len(labels) == 1 else f"{len(labels)} pieces"
