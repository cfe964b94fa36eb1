"""Rare kinds and coarse grains in a plan: pieces, and the mass to be sampled."""

import math

import pytest
from scipy import stats

from measure.errors import InvalidInput
from measure.sizes.counts import pieces_to_see_one
from measure.sizes.plan_rare import gy_mass_g, pieces_for_share, plan_rare


def test_the_mass_by_gy_s_formula():
    # Gy, Sampling of Particulate Materials (1982), with f 0.5 and g 0.25 (from memory): 1 % of salt in paste,
    # C = 26.6601 g/cm3; worked out by hand
    assert gy_mass_g(0.01, 600, 0.05) == pytest.approx(2.3034, rel=1e-4)
    assert gy_mass_g(0.01, 300, 0.05) == pytest.approx(0.28793, rel=1e-4)
    assert gy_mass_g(0.01, 300, 0.05, liberation=0.5) == pytest.approx(0.28793 / 2, rel=1e-4)


def test_gy_s_formula_agrees_with_counting_grains_of_one_size():
    # shape and range 1 by hand: N grains of mass m vary by 1 / sqrt(N) where they are few in the mass
    share, d_cm, density = 0.001, 0.05, 2.165
    grain_g = density * math.pi / 6 * d_cm**3
    mass = gy_mass_g(share, 500, 0.1, grain_g_per_cm3=density) / (0.5 * 0.25) * math.pi / 6
    assert mass * share / grain_g == pytest.approx(1 / 0.1**2, rel=0.01)


def test_pieces_to_meet_one_and_to_know_the_share():
    # to see at least one of 1 in 1000 with 95 %: 2995; derived
    assert pieces_to_see_one(0.001) == 2995
    pieces = pieces_for_share(0.01, 0.1)
    assert 1.96 * stats.binom.std(pieces, 0.01) / (pieces * 0.01) == pytest.approx(0.1, rel=1e-3)


def test_sentences():
    plan = plan_rare(0.001, (0.01, 600.0), 0.098)
    assert plan.pieces_to_meet_one == 2995
    assert plan.sample_g == pytest.approx(2.3034, rel=1e-3)
    assert plan.steps[0].startswith(
        "A kind that is 0.1 % of the pieces shows at least once among 2,995 pieces"
    )
    assert "only 2.3 g of paste or more" in plan.steps[1]
    assert plan_rare(None, None, 0.1).steps == ()


@pytest.mark.parametrize(
    ("share", "grains", "error", "said"),
    [
        (0.0, None, 0.1, "share lies between 0 and 1"),
        (1.0, None, 0.1, "share lies between 0 and 1"),
        (0.1, None, 1.5, "relative error lies between"),
        (None, (1.0, 300.0), 0.1, "mass share of the grains"),
        (None, (0.1, 1e6), 0.1, "Grains have a size"),
    ],
)
def test_what_cannot_be_is_refused(share, grains, error, said):
    with pytest.raises(InvalidInput, match=said):
        plan_rare(share, grains, error)
