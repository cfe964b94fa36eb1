"""Reading tables of sizes, good and bad."""

import math
import time

import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.sizes.sample import sample_from_table
from measure.sizes.table_file import read_sizes_table

HEAD = "area_equivalent_diameter_um"


def _write(folder, text, name="table.csv", encoding="utf-8"):
    path = folder / name
    path.write_bytes(text.encode(encoding))
    return path


@pytest.mark.parametrize(
    ("text", "encoding"),
    [
        (f"{HEAD},count\n12.5,2\n30,1\n", "utf-8"),
        (f"{HEAD};count\n12,5;2\n30;1\n", "utf-8"),
        (f"{HEAD}\tcount\n12,5\t2\n30\t1\n", "utf-8-sig"),
        (f'"{HEAD}","count"\r\n"12.5","2"\r\n\r\n"30","1"\r\n', "utf-8-sig"),
        (f'note,{HEAD},count\n"a, b",12.5,2\n,30,1\n', "utf-8"),
    ],
)
def test_separators_marks_and_quotes(tmp_path, text, encoding):
    table = read_sizes_table(_write(tmp_path, text, encoding=encoding))
    assert table[HEAD].tolist() == [12.5, 30.0]
    assert table["count"].tolist() == [2.0, 1.0]


def test_blank_lines_and_rows_of_separators_alone_are_passed_over(tmp_path):
    text = f"\n\r\n{HEAD},count,kind\n\n12.5,2,salt\n,,\n \n30,1,skin\n,,\n,,\n"
    table = read_sizes_table(_write(tmp_path, text))
    assert (table[HEAD].tolist(), table["count"].tolist()) == ([12.5, 30.0], [2.0, 1.0])
    # rows are still counted as an editor counts them
    with pytest.raises(InvalidInput, match="row 6, column 'count': 'x'"):
        read_sizes_table(_write(tmp_path, f"\n{HEAD},count\n3,1\n\n,\n4,x\n"))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty"),
        ("\n", "is empty"),
        (f"{HEAD}\n", "no rows"),
        ("size\n3\n", f"no column '{HEAD}'"),
        (f"{HEAD}\n3\n-2\n", f"row 3, column '{HEAD}': -2 is not possible"),
        (f"{HEAD}\n0\n", f"row 2, column '{HEAD}': 0 is not possible"),
        (f"{HEAD}\n3\nnan\n", f"row 3, column '{HEAD}': nan is not possible"),
        (f"{HEAD}\ninf\n", f"row 2, column '{HEAD}': inf is not possible"),
        (f"{HEAD}\n3\nbig\n", f"row 3, column '{HEAD}': 'big' is not a number"),
        (f"n,{HEAD}\n1,3\n2,\n", f"row 3, column '{HEAD}': no value"),
        (f"n,{HEAD}\n1,3\n2\n", "row 3: too few cells"),
        # a decimal comma in a table with commas: 12 would be read where 12.5 was meant
        (f"{HEAD}\n12,5\n13,2\n", "row 2: too many cells, 2 where the heading names 1"),
        (f"n,{HEAD}\n1,3,4\n", "need semicolons between the columns"),
        (f'{HEAD},n\n"1,234",2\n', "'1,234' is not a number"),  # not 1234, nor 1.234
        (f"{HEAD}\n1e300\n", "1e+300 is too large to be true"),
        (f"{HEAD},count\n5,1e15\n", "column 'count': 1e+15 is too large to be true"),
        (f"{HEAD},count\n3,-1\n", "row 2, column 'count': -1"),
        (f"{HEAD},frame_weight\n3,-0.5\n", "column 'frame_weight'"),
        (f"{HEAD},volume_um3\n3,0\n", "column 'volume_um3'"),
        (f"{HEAD},{HEAD}\n3,4\n", "twice"),
    ],
)
def test_bad_tables_name_the_file_row_and_column(tmp_path, text, words):
    with pytest.raises(InvalidInput, match=r"table\.csv") as caught:
        read_sizes_table(_write(tmp_path, text))
    assert words in caught.value.text


@pytest.mark.parametrize(
    ("cells", "sizes"),
    [
        (("1,234", "12,5"), [1.234, 12.5]),  # one number that can only be a decimal comma decides
        (("0,500", "1,234"), [0.5, 1.234]),
        (("1,234", "1234,567"), [1.234, 1234.567]),
        (("1,234", "1,5e1"), [1.234, 15.0]),
        (("1,234", "1.234,5"), [1.234, 1234.5]),
        (("1.234", "12,5"), [1234.0, 12.5]),  # then points group thousands
        (("1,234", "12.5"), [1234.0, 12.5]),  # and the other way round
        (("1,234", "1,234.5"), [1234.0, 1234.5]),
        (("1,234", "1,234,567"), [1234.0, 1234567.0]),
        (("12,5", "13.5"), [12.5, 13.5]),  # each tells its own
        (("1.234", "2.345"), [1.234, 2.345]),  # without a comma a point is the decimal point
        (("1234", "20"), [1234.0, 20.0]),
    ],
)
@pytest.mark.parametrize("mark", [";", "\t"])
def test_all_numbers_tell_what_a_comma_is(tmp_path, cells, sizes, mark):
    rows = "".join(f"a{mark}{cell}\n" for cell in cells)
    table = read_sizes_table(_write(tmp_path, f"field{mark}{HEAD}\n{rows}"))
    assert table[HEAD].tolist() == sizes


def test_another_column_may_tell_what_a_comma_is(tmp_path):
    text = f"{HEAD};frame_weight\n1,234;1\n2,345;1,02\n"
    assert read_sizes_table(_write(tmp_path, text))[HEAD].tolist() == [1.234, 2.345]
    text = f"{HEAD};length;day\n1,234;105,2;28.11\n"  # also one that is not read, but not by its points
    assert read_sizes_table(_write(tmp_path, text))[HEAD].tolist() == [1.234]
    text = f"{HEAD};field\n1,234;0,5\n"  # a name is no number
    with pytest.raises(InvalidInput):
        read_sizes_table(_write(tmp_path, text))


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        (
            ("20", "1,234"),
            "row 3, column 'area_equivalent_diameter_um': '1,234' can mean 1.234 or 1234, for no",
        ),
        (("1,234", "5.678"), "row 2, column 'area_equivalent_diameter_um': '1,234' can mean"),
        (
            ("12,5", "13.5", "1,234"),
            "for '12,5' (row 2) has a decimal comma and '13.5' (row 3) has a decimal po",
        ),
        (("12,5", "13.5", "1.234"), "'1.234' can mean 1.234 or 1234"),
        (("12,5", "1.2,5"), "row 3, column 'area_equivalent_diameter_um': '1.2,5' is not a number"),
        (("12,5", "1,2,5"), "'1,2,5' is not a number"),
        (("12.5", "12,34,5"), "'12,34,5' is not a number"),
    ],
)
def test_a_number_that_can_be_read_in_two_ways_is_refused(tmp_path, cells, words):
    with pytest.raises(InvalidInput, match=r"table\.csv") as caught:
        read_sizes_table(_write(tmp_path, "\n".join((f"{HEAD}\tcount", *(f"{c}\t1" for c in cells)))))
    assert words in caught.value.text
    if "can mean" in words:
        assert "Write the numbers with a decimal point and no thousands marks" in caught.value.text


def test_no_file_a_folder_and_no_text(tmp_path):
    with pytest.raises(InvalidInput, match="no file"):
        read_sizes_table(tmp_path / "missing.csv")
    with pytest.raises(InvalidInput, match="folder"):
        read_sizes_table(tmp_path)
    (tmp_path / "picture.csv").write_bytes(bytes(range(128, 256)) * 4)
    with pytest.raises(InvalidInput, match="UTF-8"):
        read_sizes_table(tmp_path / "picture.csv")


def test_what_counts_and_why_not(tmp_path):
    rows = ("10,1,,kernel", "20,0,air bubble,other", "30,0,,kernel", "40,1,,glass")
    text = "\n".join((f"{HEAD},counted,set_aside_reason,kind", *rows))
    sample = sample_from_table(read_sizes_table(_write(tmp_path, text)))
    assert sample.diameter_um.tolist() == [10.0, 40.0]
    assert sample.left_out == {"air bubble": 1, "marked as not counted": 1}
    assert sample.row.tolist() == [0, 3]
    assert any("'glass'" in note for note in sample.notes)


def test_frame_count_and_weight_of_nothing(tmp_path):
    text = f"{HEAD},touches_frame,count,frame_weight\n10,0,1,1.1\n20,1,1,1\n30,0,0,1\n40,0,1,0\n50,0,1,\n"
    sample = sample_from_table(read_sizes_table(_write(tmp_path, text)))
    assert sample.diameter_um.tolist() == [10.0, 50.0]
    assert sample.frame_weight.tolist() == [1.1, 1.0]
    assert sample.left_out == {"meets the frame": 1, "with a count of 0": 1, "with a frame weight of 0": 1}


def test_fields_of_two_batches_are_different_fields(tmp_path):
    text = f"batch,field,{HEAD}\na,1,10\nb,1,10\nb,2,10\n"
    sample = sample_from_table(read_sizes_table(_write(tmp_path, text)))
    assert len(sample.field_names) == 3
    assert "2 batches (a, b), taken together" in sample.notes[0]


def test_lower_limit_is_the_larger_of_the_table_and_the_wish(tmp_path):
    text = f"{HEAD},smallest_um\n10,8\n20,8\n"
    table = read_sizes_table(_write(tmp_path, text))
    assert sample_from_table(table).smallest_um == 8
    assert sample_from_table(table, smallest_um=5).smallest_um == 8
    high = sample_from_table(table, smallest_um=15)
    assert (high.smallest_um, len(high)) == (15, 1)
    assert high.left_out == {"below the lower limit": 1}
    plain = sample_from_table({HEAD: np.array([4.0, 9.0])})
    assert plain.smallest_um == 4.0
    assert "No lower limit was given" in plain.notes[0]


def test_blank_volumes_follow_the_kind(tmp_path):
    text = f"{HEAD},kind,volume_um3,size_uncertainty_um\n100,skin,,\n100,skin,5000,0.5\n100,salt,,\n"
    sample = sample_from_table(read_sizes_table(_write(tmp_path, text)))
    area = math.pi / 4 * 100**2
    assert sample.volume_um3 == pytest.approx([12 * area, 5000, area**1.5])
    assert sample.size_uncertainty_um.tolist() == [0.0, 0.5, 0.0]
    assert not sample.sphere_volumes


def test_one_kind_and_no_such_kind(tmp_path):
    table = read_sizes_table(_write(tmp_path, f"{HEAD},kind\n10,kernel\n20,Skin\n"))
    assert sample_from_table(table, kind="skin").diameter_um.tolist() == [20.0]
    with pytest.raises(InvalidInput, match="kernel, skin, salt, other"):
        sample_from_table(table, kind="glass")


def test_a_hundred_thousand_rows_take_no_time_to_speak_of(tmp_path):
    d = np.random.default_rng(0).lognormal(2.5, 0.5, 150_000)
    path = _write(tmp_path, f"{HEAD},field\n" + "".join(f"{x:.5f},a\n" for x in d))
    start = time.perf_counter()
    table = read_sizes_table(path)
    assert table[HEAD] == pytest.approx(d, abs=1e-5)
    # only a hang would take longer; how fast it is, is a benchmark's business
    assert time.perf_counter() - start < 20
