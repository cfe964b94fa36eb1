"""Repeat slides and two people, against published worked examples and scipy."""

import math

import numpy as np
import pytest
from scipy import stats

from measure.errors import InvalidInput
from measure.judge.agreement import (
    cohen_kappa,
    compare_tables,
    limits_of_agreement,
    slide_repeatability,
    variance_components,
)
from measure.judge.agreement_words import agreement_json, agreement_lines, repeatability_sentence
from measure.sizes.sample import make_sample

# yields of dyestuff from six batches of five (Davies, Statistical Methods in Research and Production, from
# memory): components 1764.05 between and 2451.25 within
DYESTUFF = [
    [1545, 1440, 1440, 1520, 1580],
    [1540, 1555, 1490, 1560, 1495],
    [1595, 1550, 1605, 1510, 1560],
    [1445, 1440, 1595, 1465, 1545],
    [1595, 1630, 1515, 1635, 1625],
    [1520, 1455, 1450, 1480, 1445],
]


def test_variance_components_of_the_dyestuff_data():
    between, within, size = variance_components(DYESTUFF)
    assert within == pytest.approx(2451.25)
    assert size == 5
    assert (between - within) / size == pytest.approx(1764.05)
    assert between / within == pytest.approx(stats.f_oneway(*DYESTUFF).statistic)


def test_limits_of_agreement_of_the_peak_flow_data():
    # Bland and Altman, Lancet 327 (1986) 307, table 1 (from memory): mean difference -2.1, s.d. 38.8 l/min
    large = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
    mini = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
    found = limits_of_agreement(np.array(large) - np.array(mini))
    assert found.bias == pytest.approx(-2.1, abs=0.05)
    assert found.sd == pytest.approx(38.8, abs=0.05)
    assert (found.low, found.high) == pytest.approx((-78.1, 73.9), abs=0.3)


def test_kappa_of_a_hand_worked_table():
    # agreement 35/50, by chance (25 x 30 + 25 x 20) / 50^2 = .5, so kappa .4
    kappa, error = cohen_kappa(np.array([[20, 5], [10, 15]]))
    assert kappa == pytest.approx(0.4)
    assert error == pytest.approx(math.sqrt(0.7 * 0.3 / (50 * 0.25)))
    assert math.isnan(cohen_kappa(np.array([[7, 0], [0, 0]]))[0])
    assert math.isnan(cohen_kappa(np.zeros((2, 2)))[0])


def slides(shift: float, seed: int = 2):
    rng = np.random.default_rng(seed)
    sizes, codes, names, where = [], [], [], {}
    for slide in range(6):
        factor = math.exp(shift * rng.standard_normal())
        for field in range(5):
            code = len(names)
            names.append(f"{slide}-{field}")
            where[names[-1]] = f"slide {slide}"
            sizes.append(factor * 20 * np.exp(0.4 * rng.standard_normal(150)))
            codes.append(np.full(150, code))
    sample = make_sample(np.concatenate(sizes), field=np.concatenate(codes), field_names=names)
    return sample, where


def test_slides_that_differ_are_found_and_widen_the_interval():
    calm = slide_repeatability(*slides(0.0), "number.x50_um")
    wild = slide_repeatability(*slides(0.2), "number.x50_um")
    assert (calm.slides, calm.fields) == (6, 30)
    assert wild.between_sd == pytest.approx(0.2, rel=0.5)
    assert wild.within_sd == pytest.approx(calm.within_sd, rel=0.4)
    assert wild.share_between > 0.8
    assert wild.p < 0.001
    assert wild.widening > 1.5 > calm.widening
    assert "times wider" in repeatability_sentence(wild)
    assert "% of its variance" in repeatability_sentence(calm)


def test_one_slide_is_refused():
    sample, where = slides(0.0)
    with pytest.raises(InvalidInput, match="two slides"):
        slide_repeatability(sample, dict.fromkeys(where, "one"))


def table(seed=0, drop=0, grow=1.0, shift=0.0, kinds=None, field="f"):
    rng = np.random.default_rng(seed)
    x, y = np.meshgrid(np.arange(50, 950, 90.0), np.arange(50, 950, 90.0))
    n = x.size - drop
    d = 20 * np.exp(0.3 * rng.standard_normal(x.size))[:n]
    return {
        "field": np.full(n, field, dtype=object),
        "kind": np.array(["kernel", "skin"] * x.size, dtype=object)[:n] if kinds is None else kinds[:n],
        "centre_x_px": x.ravel()[:n] + shift,
        "centre_y_px": y.ravel()[:n],
        "um_per_px": np.full(n, 0.5),
        "area_equivalent_diameter_um": d * grow,
    }


def test_two_people_on_the_same_field():
    kinds = np.array(["kernel", "skin"] * 50, dtype=object)
    other = kinds.copy()
    other[:10] = "kernel"
    found = compare_tables(table(kinds=kinds), table(drop=10, grow=1.05, shift=3.0, kinds=other))
    assert (found.both, found.only_first, found.only_second) == (90, 10, 0)
    assert found.overlap == pytest.approx(180 / 190)
    assert math.exp(found.size.bias) == pytest.approx(1.05)
    assert found.size.sd == pytest.approx(0, abs=1e-9)
    assert found.kinds[1, 0] == 5
    assert found.kappa == pytest.approx(cohen_kappa(found.kinds[:2, :2])[0])
    text = "\n".join(agreement_lines(found))
    assert "10 by the first only" in text
    assert "+5 %" in text
    assert agreement_json(found)["both"] == 90


def test_pieces_too_far_apart_are_not_the_same():
    moved = table(shift=25.0)
    found = compare_tables(table(), moved)
    # 25 px apart is within half the diameter of those 50 px across and more
    assert found.both == int((moved["area_equivalent_diameter_um"] / 0.5 >= 50.0).sum())


@pytest.mark.parametrize("missing", ["field", "centre_x_px", "um_per_px"])
def test_tables_without_places_are_refused(missing):
    bare = table()
    del bare[missing]
    with pytest.raises(InvalidInput, match=missing):
        compare_tables(bare, table())


def test_tables_of_other_fields_are_refused():
    with pytest.raises(InvalidInput, match="share no field"):
        compare_tables(table(), table(field="g"))
