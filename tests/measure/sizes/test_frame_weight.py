"""Frame correction against its closed form and against simulation."""

import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.model import Frame
from measure.sizes.frame_weight import frame_warning, frame_weight, inclusion_probability


@pytest.mark.parametrize(
    ("h", "v", "p"),
    [
        (10, 10, 0.977625),
        (20, 20, 0.9555),
        (100, 100, 0.7875),
        (400, 400, 0.3),
        (100, 40, 0.855),
        (40, 100, 0.84),
    ],
)
def test_closed_form(h, v, p):
    # Miles (1978), Lantuejoul: P = (W - F_h)(H - F_v)/(W H)
    frame = Frame(1000, 800)
    assert inclusion_probability(frame, np.array([float(h)]), np.array([float(v)]))[0] == pytest.approx(p)
    assert frame_weight(frame, np.array([float(h)]), np.array([float(v)]))[0] == pytest.approx(1 / p)


def test_weighting_restores_the_mixture_of_small_and_large_discs():
    # 50:50 of d 10 and d 200 in a 1000 x 800 frame: unweighted D[1,0] is 82.26, the truth 105 (Miles 1978)
    rng = np.random.default_rng(5)
    n = 200_000
    d = np.where(rng.random(n) < 0.5, 10.0, 200.0)
    # centres anywhere a disc could still touch the frame, at equal number per area
    x, y = rng.uniform(-100, 1100, n), rng.uniform(-100, 900, n)
    whole = (x > d / 2) & (x < 1000 - d / 2) & (y > d / 2) & (y < 800 - d / 2)
    kept = d[whole]
    weight = frame_weight(Frame(1000, 800), kept, kept)
    assert kept.mean() == pytest.approx(82.26, abs=0.8)
    assert np.average(kept, weights=weight) == pytest.approx(105.0, abs=0.8)


def test_zones_against_simulated_placement():
    rng = np.random.default_rng(6)
    zone = np.array([[300.0, 200.0], [600.0, 250.0], [550.0, 500.0]])
    bar = np.array([[0.0, 700.0], [1000.0, 700.0], [1000.0, 800.0], [0.0, 800.0]])
    frame = Frame(1000, 800, (zone, bar))
    for d in (20.0, 120.0):
        from shapely import contains_xy, distance, points
        from shapely.geometry import MultiPolygon, Polygon

        zones = MultiPolygon([Polygon(zone), Polygon(bar)])
        x, y = rng.uniform(0, 1000, 40_000), rng.uniform(0, 800, 40_000)
        free = ~contains_xy(zones, x, y)
        inside = (x > d / 2) & (x < 1000 - d / 2) & (y > d / 2) & (y < 800 - d / 2)
        clear = distance(points(x, y), zones) > d / 2
        p = inclusion_probability(frame, np.array([d, 20.0, 150.0]), np.array([d, 20.0, 150.0]))[0]
        assert p == pytest.approx((inside & clear).sum() / free.sum(), abs=0.01)


def test_no_zone_and_far_zone_agree_in_the_limit():
    tiny = np.array([[500.0, 400.0], [500.1, 400.0], [500.0, 400.1]])
    f = np.array([1.0, 2.0])
    plain = inclusion_probability(Frame(1000, 800), f, f)
    assert inclusion_probability(Frame(1000, 800, (tiny,)), f, f) == pytest.approx(plain, rel=1e-4)


def test_a_piece_larger_than_the_frame_is_capped_and_warned_about():
    weight = frame_weight(Frame(100, 100), np.array([10.0, 99.0, 200.0]), np.array([10.0, 99.0, 200.0]))
    assert weight[0] == pytest.approx(1 / 0.81)
    assert weight[1] == weight[2] == pytest.approx(20.0)
    assert "lower magnification" in frame_warning(weight)
    assert frame_warning(weight[:1]) is None
    assert frame_warning(np.array([])) is None


def test_warning_starts_where_half_as_many_again_are_missed():
    # even-sided frame: weight 1.5 is reached at d = 0.1835 of the side
    side = 1000
    d = np.array([0.1830, 0.1840]) * side
    weight = frame_weight(Frame(side, side), d, d)
    assert weight[0] < 1.5 < weight[1]


def test_an_empty_frame_is_refused():
    with pytest.raises(InvalidInput, match="no area"):
        frame_weight(Frame(0, 10), np.array([1.0]), np.array([1.0]))


def test_no_pieces_give_no_weights():
    zone = np.array([[0.0, 0.0], [5.0, 0.0], [5.0, 5.0]])
    assert frame_weight(Frame(100, 100, (zone,)), np.array([]), np.array([])).shape == (0,)
