"""Counts needed against the published counts and against simulation."""

import math

import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.sizes.counts import (
    ORDERS,
    fields_needed,
    log_normal_pieces,
    mean_pieces,
    model_free_pieces,
    percentile_pieces,
    pieces_to_see_one,
    still_needed,
)
from measure.sizes.plan import PlanRequest, chance_contacts, plan_measurement, solids_for_cover
from measure.sizes.sample import make_sample
from measure.sizes.summary import summarise


def test_counts_in_the_scope_of_the_standard():
    # ISO 13322-1:2004, scope: log-normal of standard deviation 1.6 needs over 6,000 particles for a
    # repeatable
    # volume-mean diameter, and at least 61,000 for percentiles
    mean_volume = log_normal_pieces(1.6, 0.05, alpha=3, c=1.5, factor=1.96)
    assert mean_volume == pytest.approx(6092.0, abs=0.1)
    assert 10 * mean_volume == pytest.approx(61_000, rel=0.002)


@pytest.mark.parametrize(
    ("sigma", "mean_volume", "median3", "d32", "d43", "d10"),
    [
        (1.10, 130.8, 16.2, 15.5, 17.1, 14.0),
        (1.30, 1246.9, 236.8, 196.8, 284.2, 109.4),
        (1.60, 6092.0, 1689.2, 1276.8, 2176.6, 376.9),
        (2.00, 21010, 7123, 5172, 9429, 916),
    ],
)
def test_masuda_iinoya(sigma, mean_volume, median3, d32, d43, d10):
    # Masuda and Iinoya, J. Chem. Eng. Japan 4 (1971) 60, formula from memory, table derived from it
    names = ("mean volume", "volume.x50_um", "means_um.D[3,2]", "means_um.D[4,3]", "means_um.D[1,0]")
    for name, expected in zip(names, (mean_volume, median3, d32, d43, d10), strict=True):
        alpha, c = ORDERS[name]
        assert log_normal_pieces(sigma, 0.05, alpha=alpha, c=c, factor=1.96) == pytest.approx(
            expected, rel=6e-3
        )


def test_masuda_iinoya_by_simulation():
    # 95 % of log-normal estimates of the mean volume from 1,247 pieces of sigma_g 1.3 lie within 5 %
    rng = np.random.default_rng(1)
    s = math.log(1.3)
    logs = s * rng.standard_normal((1500, 1247))
    estimate = 3 * (logs.mean(axis=1) + 1.5 * logs.var(axis=1, ddof=1))
    inside = np.abs(np.exp(estimate - 3 * 1.5 * s * s) - 1) < 0.05
    assert inside.mean() == pytest.approx(0.95, abs=0.02)


@pytest.mark.parametrize(
    ("sigma", "x50", "x90", "d43"),
    [(1.6, 3893, 36_285, 20_355), (1.3, 309, 1649, 458), (2.0, 87_552, 1.16e6, 2.5e6)],
)
def test_model_free(sigma, x50, x90, d43):
    # large-sample variances of weighted percentiles and ratios of moments, worked out apart from this program
    assert percentile_pieces(sigma, 0.05) == pytest.approx(x50, rel=2e-3)
    assert percentile_pieces(sigma, 0.05, percent=90) == pytest.approx(x90, rel=4e-3)
    assert mean_pieces(sigma, 0.05) == pytest.approx(d43, rel=7e-3)


def test_model_free_by_name():
    assert model_free_pieces("volume.x50_um", 1.6, 0.05) == percentile_pieces(1.6, 0.05)
    assert model_free_pieces("means_um.D[3,2]", 1.6, 0.05) == pytest.approx(3371, rel=1e-3)
    assert model_free_pieces("number.x50_um", 1.6, 0.05) == pytest.approx(
        (1.96 * math.log(1.6) / 0.05) ** 2 * math.pi / 2, rel=1e-3
    )
    with pytest.raises(InvalidInput, match="span"):
        model_free_pieces("span", 1.6, 0.05)


def test_rare_pieces_and_fields():
    # one in a thousand is met with 95 % among 2,995; n = (1.96 CV / E)^2
    assert pieces_to_see_one(0.001) == 2995
    assert [fields_needed(cv, e) for cv, e in ((0.3, 0.1), (0.5, 0.1), (0.2, 0.05))] == [35, 97, 62]


@pytest.mark.parametrize(
    "call",
    [
        lambda: log_normal_pieces(1.0, 0.05),
        lambda: log_normal_pieces(1.6, 0.0),
        lambda: log_normal_pieces(float("nan"), 0.05),
        lambda: percentile_pieces(1.6, 0.05, percent=100),
        lambda: pieces_to_see_one(0.0),
        lambda: fields_needed(-0.1, 0.1),
    ],
)
def test_impossible_wishes_are_refused(call):
    with pytest.raises(InvalidInput):
        call()


def _study(rng, fields, per_field, scale=0.0):
    d = 12 * np.exp(0.4 * rng.standard_normal(fields * per_field))
    return make_sample(d, field=np.repeat(np.arange(fields), per_field), scale_relative_uncertainty=scale)


def test_square_root_law():
    rng = np.random.default_rng(2)
    summary = summarise(_study(rng, 40, 50), resamples=400)
    half = still_needed(summary, "number.x50_um", 0.5).now
    needed = still_needed(summary, "number.x50_um", half / 2)
    # half the interval needs four times the fields, a little less because Student's factor eases too
    assert 3.6 * 40 < needed.fields <= 4.05 * 40
    assert needed.more_fields == needed.fields - 40
    assert "more fields" in needed.words
    assert still_needed(summary, "number.x50_um", 2 * half).words.startswith("Reached")


def test_the_scale_is_a_floor():
    rng = np.random.default_rng(3)
    summary = summarise(_study(rng, 10, 100, scale=0.03), resamples=300)
    assert "scale alone" in still_needed(summary, "volume.x50_um", 0.05).words
    with pytest.raises(InvalidInput, match="no figure"):
        still_needed(summary, "volume.x77_um", 0.05)


def test_nothing_to_go_by():
    summary = summarise(make_sample(np.array([5.0])), resamples=100)
    assert "needed first" in still_needed(summary, "volume.x50_um", 0.05).words


def test_dilution_and_contacts():
    # spheres in a film: area cover = 1.5 phi_V h / d; contacts of random discs 1 - exp(-4 phi)
    phi = [solids_for_cover(0.0128, 50, d) for d in (10, 20, 30)]
    assert phi == pytest.approx([0.001707, 0.003413, 0.00512], abs=1e-6)
    assert [round(0.45 / p) for p in phi] == [264, 132, 88]
    found = [chance_contacts(p) for p in (0.005, 0.01, 0.02, 0.03, 0.05, 0.1)]
    assert found == pytest.approx([0.0198, 0.0392, 0.0769, 0.1131, 0.1813, 0.3297], abs=5e-5)
    assert chance_contacts(0.01282) == pytest.approx(0.05, abs=1e-4)


def test_chance_contacts_by_simulation():
    rng = np.random.default_rng(4)
    cover, d, side = 0.02, 10.0, 4000.0
    n = int(cover * side**2 / (math.pi / 4 * d * d))
    from scipy.spatial import cKDTree

    points = rng.uniform(0, side, (n, 2))
    near = cKDTree(points, boxsize=side).query(points, k=2)[0][:, 1] < d
    assert near.mean() == pytest.approx(chance_contacts(cover), abs=0.012)


def test_plan_in_whole():
    plan = plan_measurement(
        PlanRequest(median_um=12, sigma_g=1.5, relative_error=0.1, figure="volume.x50_um")
    )
    assert plan.pieces_model_free == math.ceil(percentile_pieces(1.5, 0.1))
    assert plan.pieces_log_normal is not None
    assert plan.fields >= 6
    assert plan.sauter_um == pytest.approx(12 * math.exp(2.5 * math.log(1.5) ** 2))
    # pieces a field: cover times field over mean area, most of them whole
    area = math.pi / 4 * 144 * math.exp(2 * math.log(1.5) ** 2)
    assert 0.95 < plan.pieces_per_field / (0.013 * 1200 * 900 / area) < 1
    assert any("parts of clear oil" in step for step in plan.steps)


def test_plan_warns_of_what_does_not_fit():
    plan = plan_measurement(
        PlanRequest(
            median_um=30, sigma_g=2.2, relative_error=0.05, film_um=20, frame_um=(400, 300), cover=0.05
        )
    )
    text = " ".join(plan.warnings)
    for words in ("film of 20 µm", "lower magnification", "great many", "pieces touch"):
        assert words in text
    thin = plan_measurement(PlanRequest(median_um=60, sigma_g=1.2, solids=0.01, cover=0.5))
    assert thin.parts_oil == 0
    assert any("no oil" in step for step in thin.steps)


@pytest.mark.parametrize(
    "wrong",
    [
        {"median_um": 0},
        {"film_um": -1},
        {"cover": 0},
        {"solids": 1.5},
        {"variation": -1},
        {"frame_um": (0, 5)},
        {"sigma_g": 1},
    ],
)
def test_impossible_plans_are_refused(wrong):
    with pytest.raises(InvalidInput):
        plan_measurement(PlanRequest(**{"median_um": 12.0, "sigma_g": 1.6, **wrong}))
