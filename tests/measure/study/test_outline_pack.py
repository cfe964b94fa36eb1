import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from measure.study.outline_pack import pack_outlines, unpack_outlines

points = st.integers(0, 30).flatmap(
    lambda count: arrays("f4", (count, 2), elements=st.floats(width=32, allow_nan=False))
)


@given(st.lists(points, max_size=12))
def test_outlines_come_back_to_the_last_bit(outlines: list[np.ndarray]) -> None:
    back = unpack_outlines(pack_outlines(outlines))
    assert len(back) == len(outlines)
    for old, new in zip(outlines, back, strict=True):
        assert new.dtype == np.float32
        assert old.tobytes() == new.tobytes()


def test_a_round_outline_takes_less_than_half_of_its_raw_size() -> None:
    angle = np.linspace(0, 2 * np.pi, 64, endpoint=False)
    circle = np.c_[np.cos(angle), np.sin(angle)]
    outlines = [(1000 + i * 7 + 8 * circle).astype("f4") for i in range(200)]
    assert len(pack_outlines(outlines)) < 0.5 * 200 * 64 * 8


@pytest.mark.parametrize("cut", [0, 1, 10, -1])
def test_a_damaged_pack_is_told(cut: int) -> None:
    whole = pack_outlines([np.ones((5, 2), "f4")] * 3)
    with pytest.raises(ValueError, match="damaged"):
        unpack_outlines(whole[:cut])
