"""Rows as the edit log keeps them: readable JSON where few, packed columns where many.

A packed set is zlib over one JSON line (row count, and name, type and byte length of each column) and
the raw columns after it. Nothing in it can run: a study from a stranger is data.
"""

import json
import zlib
from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np

FEW = 24
_LIMIT_BYTES = 1 << 30


class Rows(NamedTuple):
    """Rows of a table: the names of their columns and one tuple a row."""

    columns: tuple[str, ...]
    values: list[tuple]


def encode(rows: Rows | None) -> str | bytes | None:
    """Return what is stored for these rows: text, bytes, or None for none."""
    if rows is None:
        return None
    if len(rows.values) <= FEW:
        return json.dumps({"columns": rows.columns, "rows": rows.values}, ensure_ascii=False)
    return pack(rows)


def decode(stored: str | bytes | None) -> Rows | None:
    """Return the rows from what `encode` gave.

    Raises
    ------
    ValueError
        If it is damaged.
    """
    if stored is None:
        return None
    if isinstance(stored, bytes):
        return unpack(stored)
    body = json.loads(stored)
    rows = Rows(tuple(body["columns"]), [tuple(row) for row in body["rows"]])
    if any(len(row) != len(rows.columns) for row in rows.values):
        raise ValueError("rows are damaged")
    _check_plain(value for row in rows.values for value in row)
    return rows


def pack(rows: Rows) -> bytes:
    """Pack rows of numbers and short texts column by column; nan and None are one (both are NULL)."""
    heads, bodies = [], []
    for name, column in zip(rows.columns, zip(*rows.values, strict=True), strict=True):
        kind, body = _pack_column(column)
        heads.append((name, kind, len(body)))
        bodies.append(body)
    head = json.dumps({"count": len(rows.values), "columns": heads}).encode()
    return zlib.compress(b"\n".join((head, b"".join(bodies))), 1)


def _pack_column(column: Sequence) -> tuple[str, bytes]:
    types = set(map(type, column))
    if types == {int}:
        array = np.array(column, dtype="<i8")
        small = next(t for t in ("<i1", "<i2", "<i4", "<i8") if (array.astype(t) == array).all())
        return small, array.astype(small).tobytes()
    if types <= {float, type(None)}:
        array = np.array(column, dtype="<f8")
        with np.errstate(over="ignore"):
            half = array.astype("<f4")
        exact = ((half.astype("<f8") == array) | np.isnan(array)).all()
        return ("<f4", half.tobytes()) if exact else ("<f8", array.tobytes())
    return "json", json.dumps(column, ensure_ascii=False).encode()


def unpack(data: bytes) -> Rows:
    """Return the rows of a packed set.

    Raises
    ------
    ValueError
        If it is damaged or would not fit in memory.
    """
    try:
        worker = zlib.decompressobj()
        text = worker.decompress(data, _LIMIT_BYTES)
    except zlib.error as error:
        raise ValueError("packed rows are damaged") from error
    if worker.unconsumed_tail or not worker.eof:
        raise ValueError("packed rows are damaged or too large")
    line, _, body = text.partition(b"\n")
    head = json.loads(line)
    columns, at = [], 0
    for _, kind, length in head["columns"]:
        columns.append(_unpack_column(kind, body[at : at + length]))
        at += length
    if any(len(column) != head["count"] for column in columns):
        raise ValueError("packed rows are damaged")
    return Rows(tuple(name for name, _, _ in head["columns"]), list(zip(*columns, strict=True)))


def _unpack_column(kind: str, body: bytes) -> list:
    if kind == "json":
        values = json.loads(body)
        _check_plain(values)
        return values
    if kind not in ("<i1", "<i2", "<i4", "<i8", "<f4", "<f8"):
        raise ValueError("packed rows are of an unknown type")
    array = np.frombuffer(body, dtype=kind)
    values = array.tolist()
    return [None if v != v else v for v in values] if array.dtype.kind == "f" else values


def _check_plain(values: Iterable) -> None:
    if not set(map(type, values)) <= {int, float, str, bool, type(None)}:
        raise ValueError("rows hold something other than numbers and texts")
