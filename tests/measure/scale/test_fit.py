"""The line fit and its uncertainty, against published and worked numbers."""

import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.scale.fit import Certificate, RulingFit, check_ruling, fit_positions, make_scale, uneven_spacing
from measure.scale.line_family import parallel_lines, straight_line


def test_thermometer_calibration_of_the_guide():
    """JCGM 100:2008, example H.3: the published line fit, printed as -0.1712(29), 0.00218(67), r -0.930."""
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
    b = -np.array([0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160])
    line = straight_line(t - 20, b)
    assert line.intercept == pytest.approx(-0.171204, abs=5e-7)
    assert line.u_intercept == pytest.approx(0.002878, abs=5e-7)
    assert line.slope == pytest.approx(0.0021827, abs=5e-8)
    assert line.u_slope == pytest.approx(0.0006679, abs=5e-8)
    assert line.correlation == pytest.approx(-0.930430, abs=5e-7)
    assert line.residual_sd == pytest.approx(0.0034976, abs=5e-8)
    value, u = line.predict(30 - 20)
    assert value == pytest.approx(-0.149377, abs=5e-7)
    assert u == pytest.approx(0.004139, abs=5e-7)


LENGTHS_UM = np.arange(11) * 10.0
PLACES_PX = np.array([12.3, 52.6, 93.1, 133.2, 173.9, 214.0, 254.4, 294.9, 335.1, 375.4, 415.8])


def test_worked_scale_fit():
    """Ordinary least squares by JCGM 100:2008 H.3 worked through by hand for eleven lines 10 um apart."""
    line = straight_line(LENGTHS_UM, PLACES_PX)
    assert line.slope == pytest.approx(4.0350909, abs=5e-8)
    assert line.intercept == pytest.approx(12.3090909, abs=5e-8)
    assert line.residual_sd == pytest.approx(0.1056007, abs=5e-8)
    assert line.u_slope == pytest.approx(0.00100686, abs=5e-9)
    fit = fit_positions(PLACES_PX, LENGTHS_UM, Certificate(0.5, 2.0))
    assert fit["um_per_px"] == pytest.approx(0.24782589, abs=5e-9)
    assert fit["u_fit"] == pytest.approx(2.4953e-4, abs=5e-9)
    assert fit["u_certificate"] == pytest.approx(0.0025)
    scale = make_scale(fit, (640, 480))
    assert scale.relative_uncertainty == pytest.approx(0.00251242, abs=5e-9)
    assert 30 * scale.relative_uncertainty == pytest.approx(0.0754, abs=5e-5)
    assert 3 * scale.relative_uncertainty == pytest.approx(0.0075373, abs=5e-8)


def test_certificate_counts_less_over_a_longer_span():
    """U/k over the span, JCGM 100:2008 4.3.3: ten times the ruling, a tenth of the relative uncertainty."""
    lengths = np.arange(101) * 10.0
    fit = fit_positions(lengths * 4.0, lengths, Certificate(0.5, 2.0))
    assert fit["u_certificate"] == pytest.approx(0.00025)


def test_coverage_factor_of_few_lines_is_students():
    """JCGM 100:2008 table G.2: 95 % with 9 degrees of freedom is 2.26 standard uncertainties."""
    fit = fit_positions(PLACES_PX, LENGTHS_UM, Certificate())
    scale = make_scale(fit, None)
    empty = np.zeros((0, 4))
    found = RulingFit(
        scale, empty, np.zeros(0), np.zeros(0), empty, u_fit=fit["u_fit"], freedom=fit["freedom"]
    )
    assert found.expanded_um_per_px / scale.standard_uncertainty_um_per_px == pytest.approx(2.26, abs=0.005)


def test_a_bend_is_seen_and_noise_is_not():
    lengths = np.arange(60) * 10.0
    rng = np.random.default_rng(3)
    noise = rng.normal(0, 0.05, 60)
    noise -= np.polyval(np.polyfit(lengths, noise, 1), lengths)
    assert uneven_spacing(lengths, noise, 2.0) == 0.0
    bend = 1e-5 * (lengths - 295) ** 2
    bend -= np.polyval(np.polyfit(lengths, bend, 1), lengths)
    # the local scale departs by 2e-5 * 295 px/um of 2 px/um; rectangular: divided by the root of 3
    assert uneven_spacing(lengths, bend + noise, 2.0) == pytest.approx(2e-5 * 295 / 2 / np.sqrt(3), rel=0.1)


def test_parallel_lines_find_direction_and_spacing():
    a = np.deg2rad(28.0)
    normal, along = np.array([np.cos(a), np.sin(a)]), np.array([-np.sin(a), np.cos(a)])
    rng = np.random.default_rng(5)
    index = np.repeat(np.arange(12), 9)
    points = (40 + 7.25 * index)[:, None] * normal + rng.uniform(0, 60, len(index))[:, None] * along
    family = parallel_lines(points + rng.normal(0, 0.02, points.shape), index)
    assert family.normal == pytest.approx(normal, abs=2e-4)
    assert family.spacing_px == pytest.approx(7.25, abs=1e-3)
    assert family.first_px == pytest.approx(40, abs=0.05)


@pytest.mark.parametrize(
    ("numbers", "word"),
    [
        ((0, None, 2), "division"),
        ((-10, None, 2), "division"),
        ((float("nan"), None, 2), "division"),
        ((10, -1, 2), "certificate"),
        ((10, float("inf"), 2), "certificate"),
        ((10, 1, 0), "coverage factor"),
    ],
)
def test_numbers_that_cannot_be_meant(numbers, word):
    with pytest.raises(InvalidInput, match=word):
        check_ruling(*numbers)
