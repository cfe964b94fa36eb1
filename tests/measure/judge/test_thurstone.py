"""Thurstonian relations against adaptive quadrature and drawn perceptions, which share no code with ours."""

import math

import numpy as np
import pytest
from scipy import integrate, stats

from measure.judge.thurstone import GUESS, d_prime, d_prime_standard_error, proportion_correct

# derived by adaptive quadrature of the published integrals
TABLE = {
    "triangle": [0.3333, 0.339, 0.3558, 0.3827, 0.418, 0.46, 0.5065, 0.5554, 0.6048, 0.6993, 0.7814, 0.8977],
    "paired": [0.50, 0.5702, 0.6382, 0.7021, 0.7602, 0.8116, 0.8556, 0.892, 0.9214, 0.9615, 0.9831, 0.9977],
    "3-afc": [0.3333, 0.4063, 0.4826, 0.5593, 0.6337, 0.7032, 0.7658, 0.8202, 0.8658, 0.9314, 0.9688, 0.9955],
    "duo-trio": [0.5, 0.5057, 0.5223, 0.5486, 0.5825, 0.6216, 0.6635, 0.7058, 0.7468, 0.8196, 0.8765, 0.9467],
    "tetrad": [0.3333, 0.3447, 0.3777, 0.429, 0.4938, 0.5663, 0.6409, 0.7126, 0.7777, 0.8797, 0.943, 0.9913],
}  # fmt: skip
D = (0, 0.25, 0.5, 0.75, 1, 1.25, 1.5, 1.75, 2, 2.5, 3, 4)


@pytest.mark.parametrize("method", list(GUESS))
def test_table(method):
    ours = [proportion_correct(method, d) for d in D]
    assert ours == pytest.approx(TABLE[method], abs=6e-5)


def test_triangle_by_quadrature():
    def integrand(z, d):
        return (
            stats.norm.cdf(-z * math.sqrt(3) + d * math.sqrt(2 / 3))
            + stats.norm.cdf(-z * math.sqrt(3) - d * math.sqrt(2 / 3))
        ) * stats.norm.pdf(z)

    for d in (0.3, 1.7, 3.1):
        exact = 2 * integrate.quad(integrand, 0, np.inf, args=(d,))[0]
        assert proportion_correct("triangle", d) == pytest.approx(exact, abs=1e-9)


@pytest.mark.parametrize("method", ["triangle", "3-afc", "tetrad"])
def test_drawn_perceptions_give_the_same_share(method):
    rng, d, many = np.random.default_rng(7), 1.4, 200_000
    if method == "3-afc":
        weak, strong = rng.normal(size=(many, 2)), rng.normal(d, size=many)
        right = strong > weak.max(axis=1)
    elif method == "triangle":
        a, b = rng.normal(size=(many, 2)), rng.normal(d, size=many)
        pair = np.abs(a[:, 0] - a[:, 1])
        right = (pair < np.abs(a[:, 0] - b)) & (pair < np.abs(a[:, 1] - b))
    else:
        a, b = rng.normal(size=(many, 2)), rng.normal(d, size=(many, 2))
        right = (a.max(axis=1) < b.min(axis=1)) | (a.min(axis=1) > b.max(axis=1))
    assert proportion_correct(method, d) == pytest.approx(right.mean(), abs=0.004)


@pytest.mark.parametrize(
    ("share", "d"),
    [(0.40, 0.8791), (0.50, 1.4663), (0.60, 1.9756), (2 / 3, 2.3214), (0.75, 2.7974), (0.90, 4.0276)],
)
def test_inverse_triangle(share, d):
    assert d_prime("triangle", share) == pytest.approx(d, abs=1e-4)


def test_other_inverses_and_limits():
    assert d_prime("paired", 0.75) == pytest.approx(0.9539, abs=1e-4)
    assert d_prime("3-afc", 2 / 3) == pytest.approx(1.1159, abs=1e-4)
    assert d_prime("triangle", 1 / 3) == 0
    assert d_prime("triangle", 1.0) == math.inf
    assert math.isnan(d_prime_standard_error("triangle", 1.0, 10))
    with pytest.raises(KeyError):
        proportion_correct("square", 1.0)
