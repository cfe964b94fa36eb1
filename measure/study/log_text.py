"""The audit trail in words: what each action changed, from what, to what."""

from collections.abc import Callable

from measure.study.journal import LABEL_BITS
from measure.study.log_words import (
    Names,
    column_words,
    names_of_rows,
    setting_words,
    table_words,
    value_words,
)
from measure.study.records import EditEntry
from measure.study.row_codec import Rows, decode

_LABEL_MASK = (1 << LABEL_BITS) - 1
_SHOWN_ROWS = 3
# many rows added or removed are told by their number: unpacking them all would take seconds
_ROWS = (
    "SELECT table_name, operation, field_id, count, "
    "CASE WHEN operation = 'update' OR typeof(old) = 'text' THEN old END, "
    "CASE WHEN operation = 'update' OR typeof(new) = 'text' THEN new END "
    "FROM edit_row WHERE edit_id = ? ORDER BY id"
)


def entries(
    read: Callable[..., list[tuple]], field_id: int | None = None, limit: int | None = None
) -> list[EditEntry]:
    """Return entries of the log, newest first.

    Parameters
    ----------
    read : callable
        Runs a query and returns its rows.
    field_id : int, optional
        Only actions that touched this field.
    """
    where, values = "", []
    if field_id is not None:
        where, values = (
            "WHERE coalesce(refers_to, id) IN (SELECT edit_id FROM edit_row WHERE field_id = ?)",
            [field_id],
        )
    query = f"SELECT id, made, who, text, state, refers_to FROM edit {where} ORDER BY id DESC LIMIT ?"
    found = read(query, [*values, -1 if limit is None else limit])
    names = names_of_rows(read)
    return [_entry(read, names, *row) for row in found]


def _entry(
    read: Callable[..., list[tuple]],
    names: Names,
    edit_id: int,
    made: str,
    who: str,
    text: str,
    state: str,
    refers_to: int | None,
) -> EditEntry:
    made, who, text, state = (str(part or "") for part in (made, who, text, state))
    rows = read(_ROWS, (refers_to or edit_id,))
    was, now, fields = [], [], set()
    for table, operation, field_id, count, old, new in rows:
        if field_id is not None:
            fields.add(field_id)
        try:
            before, after = _described(names, table, operation, count, old, new)
        except (ValueError, KeyError, TypeError, IndexError):
            before = after = "(this part of the log is damaged)"
        was.append(before)
        now.append(after)
    if text.startswith("Undo: ") and refers_to:
        was, now = now, was
    before, after = ("; ".join(part for part in parts if part) for parts in (was, now))
    return EditEntry(edit_id, made, who, text, state, before, after, tuple(sorted(fields)), refers_to)


def _described(
    names: Names, table: str, operation: str, count: int, old: str | bytes | None, new: str | bytes | None
) -> tuple[str, str]:
    before, after = decode(old), decode(new)
    if operation == "update":
        if before is None or after is None:
            raise ValueError("a change has two sides")
        return _values(names, table, before), _values(names, table, after)
    rows = before or after
    words = f"{count} {table_words(table, count)}" if rows is None else _names(names, table, rows)
    return (words, "") if operation == "delete" else ("", words)


def _names(names: Names, table: str, rows: Rows) -> str:
    """Return "pieces 3, 4, 5" or "batch pass 3"."""
    if table == "particle":
        called = [str(row[0] & _LABEL_MASK) for row in rows.values]
    elif "name" in rows.columns:
        place = rows.columns.index("name")
        called = [str(row[place]) for row in rows.values]
        if table == "setting":
            called = [setting_words(name) for name in called]
    else:
        known = names.get(table, {})
        called = [known.get(row[0], str(row[0])) for row in rows.values]
    if table == "setting":
        return ", ".join(called)
    word = table_words(table, len(called))
    return f"{len(called)} {word}" if len(called) > 2 * _SHOWN_ROWS else f"{word} {', '.join(called)}"


def _values(names: Names, table: str, rows: Rows) -> str:
    if len(rows.values) > _SHOWN_ROWS:
        first = {name: {row[i] for row in rows.values} for i, name in enumerate(rows.columns) if i}
        same = [_told(n, next(iter(v)), names) for n, v in first.items() if len(v) == 1]
        return f"{_names(names, table, rows)}: {', '.join(same) or 'different values'}"
    return "; ".join(
        f"{_names(names, table, Rows(rows.columns, [row]))}: "
        + ", ".join(_told(n, value, names) for n, value in zip(rows.columns[1:], row[1:], strict=True))
        for row in rows.values
    )


def _told(name: str, value: object, names: Names) -> str:
    return f"{column_words(name)} {value_words(name, value, names)}".strip()
