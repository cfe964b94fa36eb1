"""Damaged and hostile files are read or refused with one sentence; the long run is a benchmark."""

import random

import pytest

from tests.benchmarks.hostile_files import KINDS, mutated, read_one, seeds_of


@pytest.mark.parametrize("kind", KINDS)
def test_what_the_run_starts_from_is_sound(kind, tmp_path):
    assert [read_one(kind, data, tmp_path) for data in seeds_of(kind)] == ["read"] * len(seeds_of(kind))


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("kind", KINDS)
def test_damaged_files_are_read_or_refused(kind, tmp_path):
    seeds, outcomes = seeds_of(kind), set()
    for number in range(250):
        outcomes.add(read_one(kind, mutated(seeds, random.Random(f"7 {kind} {number}")), tmp_path))
    assert outcomes == {"read", "refused"}


@pytest.mark.parametrize(("kind", "number"), [("picture", 7997), ("picture", 9523), ("table", 9279)])
def test_what_the_long_run_found_is_refused(kind, number, tmp_path):
    # a TIFF whose strips have no size divided by zero; a cell with a line break broke the sentence
    data = mutated(seeds_of(kind), random.Random(f"1 {kind} {number}"))
    assert read_one(kind, data, tmp_path) == "refused"


def test_a_tiff_whose_strips_have_no_rows_is_refused(tmp_path):
    import io

    import numpy as np
    import tifffile

    file = io.BytesIO()
    tifffile.imwrite(file, np.zeros((8, 8), np.uint8), tile=(16, 16), compression="zlib")
    with tifffile.TiffFile(io.BytesIO(file.getvalue())) as made:
        tag = made.pages[0].tags["TileWidth"]
        data = bytearray(file.getvalue())
        data[tag.valueoffset : tag.valueoffset + 2] = b"\0\0"
    assert read_one("picture", bytes(data), tmp_path) == "refused"


def test_a_cell_with_a_line_break_is_named_in_one_line(tmp_path):
    data = b'area_equivalent_diameter_um,volume_um3\n12,"77\npass"\n'
    assert read_one("table", data, tmp_path) == "refused"
