import json
import math
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from measure.study import row_codec
from measure.study.row_codec import FEW, Rows, decode, encode, pack, unpack

numbers = st.none() | st.floats(allow_nan=False)
whole = st.integers(-(2**62), 2**62)


@given(st.lists(st.tuples(whole, numbers, st.text(), st.none() | whole), min_size=1, max_size=60))
def test_rows_come_back_as_they_were(values: list[tuple]) -> None:
    rows = Rows(("id", "size", "reason", "parent"), values)
    for back in (unpack(pack(rows)), decode(encode(rows))):
        assert back.columns == rows.columns
        for old, new in zip(values, back.values, strict=True):
            size = None if new[1] is not None and math.isnan(new[1]) else new[1]
            assert (new[0], size, *new[2:]) == old


def test_few_rows_are_readable_and_many_are_packed() -> None:
    few = encode(Rows(("id", "text"), [(1, "µm")] * FEW))
    assert isinstance(few, str)
    assert "µm" in few
    assert isinstance(encode(Rows(("id",), [(1,)] * (FEW + 1))), bytes)
    assert encode(None) is None
    assert decode(None) is None


def _packed(head: dict, body: bytes = b"") -> bytes:
    return zlib.compress(json.dumps(head).encode() + b"\n" + body)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"nothing",
        pack(Rows(("id",), [(1,)] * 99))[:-5],
        _packed({"count": 2, "columns": [["id", "<i4", 4]]}, b"1234"),
        _packed({"count": 1, "columns": [["id", "O", 8]]}, b"12345678"),
    ],
)
def test_damaged_rows_are_told(data: bytes) -> None:
    with pytest.raises(ValueError, match=r"damaged|unknown type"):
        unpack(data)


def test_rows_that_would_fill_the_memory_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(row_codec, "_LIMIT_BYTES", 1000)
    with pytest.raises(ValueError, match="too large"):
        unpack(_packed({"count": 0, "columns": []}, b"\0" * 2000))
