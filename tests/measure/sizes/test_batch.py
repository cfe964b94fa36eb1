"""The fields of a batch as one sample."""

import math
from dataclasses import replace

import numpy as np

from measure.model import Scale
from measure.sizes.batch import FieldTable, batch_sample
from measure.sizes.cautions import cautions


def _field(name, d, um_per_px=0.5, smallest=2.0, u=0.001):
    n = len(d)
    table = {
        "particle": np.arange(1, n + 1),
        "field": np.full(n, name, dtype=object),
        "batch": np.full(n, "b", dtype=object),
        "area_equivalent_diameter_um": np.asarray(d, dtype=float),
        "counted": (np.asarray(d) >= smallest).astype(int),
        "frame_weight": np.ones(n),
        "volume_um3": np.pi / 6 * np.asarray(d, dtype=float) ** 3,
        "kind": np.full(n, "kernel", dtype=object),
        "size_uncertainty_um": np.full(n, 0.1),
        "smallest_um": np.full(n, smallest),
        "set_aside_reason": np.where(np.asarray(d) >= smallest, "", "below the lower limit"),
    }
    return FieldTable(name, table, Scale(um_per_px, um_per_px * u))


def test_rows_lead_back_to_the_pieces_and_empty_fields_count():
    fields = [_field("a", [1.0, 5.0, 9.0]), _field("b", []), _field("c", [7.0, 1.5, 3.0])]
    sample = batch_sample(fields)
    assert sample.diameter_um.tolist() == [5.0, 9.0, 7.0, 3.0]
    assert sample.row.tolist() == [1, 2, 3, 5]
    assert sample.field_names == ("a", "c", "b")
    assert sample.smallest_um == 2.0
    assert math.isclose(sample.scale_relative_uncertainty, 0.001)
    assert sample.left_out == {"below the lower limit": 2}


def test_a_field_of_another_picture_size_than_its_scale_is_a_caution():
    odd = [replace(_field(f"odd-{i}.png ({i})", [4.0 + i, 8.0]), other_size=True) for i in range(5)]
    one = cautions(batch_sample([_field("a", [5.0, 9.0]), odd[0]]))[0]
    assert one.startswith("1 field is not of the picture size the scale was made at")
    assert "may be wrong: odd-0.png." in one
    many = batch_sample([_field("a", [5.0, 9.0]), *odd]).cautions
    assert "odd-0.png, odd-1.png, odd-2.png and 2 more" in many[0]
    assert batch_sample([_field("a", [5.0, 9.0])]).cautions == ()
    two_zooms = [_field("fine", [5.0, 9.0, 30.0]), replace(_field("coarse", [9.0], 2.0), other_size=True)]
    assert "coarse" in batch_sample(two_zooms).cautions[0]


def test_no_field_gives_an_empty_sample():
    assert len(batch_sample([])) == 0
    assert len(batch_sample([_field("a", [])])) == 0


def test_two_zooms_are_merged_and_rows_still_lead_back():
    rng = np.random.default_rng(0)
    fields, truth = [], []
    for i in range(8):
        d = 10 * np.exp(0.6 * rng.standard_normal(900))
        truth.append(d)
        wide = _field(f"wide {i}", d, um_per_px=1.0, smallest=9.0)
        close = _field(f"close {i}", d[:150], um_per_px=0.25, smallest=2.5)
        fields += [wide, close] if i % 2 else [close, wide]
    sample = batch_sample(fields)
    assert sample.zoom_match is not None
    joined = np.concatenate([f.table["area_equivalent_diameter_um"] for f in fields])
    assert np.array_equal(joined[sample.row], sample.diameter_um)
    d = np.concatenate(truth)
    d = d[d >= 2.5]
    # matching the zooms costs a chance error of a few per cent in the number mean
    assert abs(np.average(sample.diameter_um, weights=sample.weight) / d.mean() - 1) < 0.06


def test_zooms_that_cannot_be_matched_are_told():
    close = _field("close", np.linspace(3, 6, 40), um_per_px=0.25, smallest=2.5)
    wide = _field("wide", np.linspace(20, 60, 40), um_per_px=1.0, smallest=10.0)
    sample = batch_sample([close, wide])
    assert sample.zoom_match is None
    assert any("taken together as they are" in note for note in sample.notes)
    third = _field("third", np.linspace(20, 60, 40), um_per_px=4.0)
    assert any("More than two zooms" in note for note in batch_sample([close, wide, third]).notes)


def test_one_zoom_calibrated_twice_is_one_zoom():
    sample = batch_sample([_field("a", [5.0], 0.500), _field("b", [6.0], 0.503, u=0.01)])
    assert sample.zoom_match is None
    assert not sample.notes
    assert math.isclose(sample.scale_relative_uncertainty, 0.01)


def test_a_limit_finer_than_the_objective_is_a_caution_and_drops_nothing():
    # twice 0.61 lambda / NA (Rayleigh) at 0.55 µm and NA 0.05 is 13.4 µm
    fields = [_field("a", [5.0, 9.0, 20.0, 30.0]), _field("b", [12.0, 15.0, 40.0, 50.0])]
    seen = batch_sample([replace(f, na=0.05) for f in fields])
    text = next(t for t in cautions(seen) if "objective" in t)
    assert "The lower limit of 2 µm is finer than the objective resolves" in text
    assert "sizes below 13.4 µm (38 % of the pieces) are unsure" in text
    assert len(seen) == 8
    assert not any("objective" in t for t in cautions(seen.at_least(13.5)))
    assert not any("objective" in t for t in cautions(batch_sample(fields)))
    assert not any("objective" in t for t in cautions(batch_sample([replace(f, na=0.4) for f in fields])))


def test_of_two_zooms_the_closer_one_s_objective_counts():
    rng = np.random.default_rng(1)
    fine = replace(_field("fine", rng.uniform(2, 40, 200)), na=0.25)
    coarse = replace(_field("coarse", rng.uniform(10, 60, 200), 2.0, smallest=10.0), na=0.03)
    sample = batch_sample([fine, coarse])
    assert sample.zoom_match is not None
    assert math.isclose(sample.resolved_um, 2 * 0.61 * 0.55 / 0.25)
    assert any("limit of 2 µm is finer" in t for t in cautions(sample))
