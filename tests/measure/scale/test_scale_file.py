"""Scale files: what is written comes back; anything else is refused in words."""

import json

import pytest

from measure.errors import InvalidInput
from measure.model import Scale
from measure.scale import check_um_per_px, read_aperture, read_scale, write_scale

MADE = "2026-01-05T09:30:00+01:00"
FULL = Scale(
    0.24782589, 6.2e-4, "40x", 1600, 1200, 10.0, -3.25, 101, 0.11, 0.5, 2.0, MADE, "ruling", ("One note.",)
)  # fmt: skip


def test_round_trip(tmp_path):
    path = tmp_path / "měřítko.json"
    write_scale(path, FULL)
    assert read_scale(path) == FULL
    write_scale(path, Scale(1.0))
    assert read_scale(path) == Scale(1.0)


def test_the_printed_object_reads_as_well(tmp_path):
    path = tmp_path / "s.json"
    path.write_text('{"um_per_px": 0.5, "graduations": 9, "division_um": 10, "other": 1}', encoding="utf-8")
    assert read_scale(path) == Scale(0.5, graduations=9, division_um=10.0)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no JSON"),
        ("not json", "no JSON"),
        ("[1, 2]", "um_per_px is missing"),
        ("{}", "um_per_px is missing"),
        ('{"um_per_px": 0}', "above zero"),
        ('{"um_per_px": -1}', "above zero"),
        ('{"um_per_px": NaN}', "above zero"),
        ('{"um_per_px": 1e9}', "outside"),
        ('{"um_per_px": "wide"}', "no number"),
        ('{"um_per_px": true}', "no number"),
        ('{"um_per_px": null}', "no number"),
        ('{"um_per_px": 1, "graduations": "many"}', "graduations"),
        ('{"um_per_px": 1, "standard_uncertainty_um_per_px": -1}', "between 0"),
        ('{"um_per_px": 1, "standard_uncertainty_um_per_px": 2}', "between 0"),
        ('{"um_per_px": 1, "format": "gritline scale 99"}', "unknown kind"),
    ],
)
def test_unusable_files(tmp_path, text, words):
    path = tmp_path / "scale.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InvalidInput, match=words) as caught:
        read_scale(path)
    assert "scale.json" in caught.value.text


def test_missing_folder_and_binary(tmp_path):
    with pytest.raises(InvalidInput, match="does not exist"):
        read_scale(tmp_path / "none.json")
    with pytest.raises(InvalidInput, match="cannot be read"):
        read_scale(tmp_path)
    (tmp_path / "b.json").write_bytes(bytes([0xFF, 0xFE, 0x81]))
    with pytest.raises(InvalidInput, match="no text"):
        read_scale(tmp_path / "b.json")


def test_a_place_that_cannot_be_written_is_left_alone(tmp_path):
    (tmp_path / "file").write_text("kept")
    for place in (tmp_path / "file" / "s.json", tmp_path / "none" / "s.json", tmp_path):
        with pytest.raises(InvalidInput):
            write_scale(place, FULL)
    assert [p.name for p in tmp_path.iterdir()] == ["file"]


@pytest.mark.parametrize("value", [0, -0.1, float("nan"), float("inf"), 1e-4, 1001, "x", None, True, [1]])
def test_absurd_scales(value):
    with pytest.raises(InvalidInput, match="--um-per-px"):
        check_um_per_px(value, "--um-per-px")


def test_sane_scales():
    assert [check_um_per_px(v, "x") for v in (0.001, 1000, "0.25", 3)] == [0.001, 1000.0, 0.25, 3.0]
    assert json.loads(json.dumps(check_um_per_px(0.1, "x"))) == 0.1


def test_the_aperture_of_the_objective_is_kept_where_it_was_told(tmp_path):
    path = tmp_path / "s.json"
    write_scale(path, FULL, 0.25)
    assert read_aperture(path) == 0.25
    assert read_scale(path) == FULL
    write_scale(path, FULL)
    assert read_aperture(path) is None
    assert "objective_na" not in path.read_text(encoding="utf-8")


@pytest.mark.parametrize(("value", "words"), [("3", "objective_na cannot be"), ('"x"', "which is no number")])
def test_an_aperture_no_objective_has_is_refused_with_its_file(tmp_path, value, words):
    path = tmp_path / "s.json"
    path.write_text(f'{{"um_per_px": 0.5, "objective_na": {value}}}', encoding="utf-8")
    with pytest.raises(InvalidInput, match=words) as refused:
        read_aperture(path)
    assert str(path) in refused.value.text
    with pytest.raises(InvalidInput, match="numerical aperture lies"):
        write_scale(path, FULL, 3.0)
