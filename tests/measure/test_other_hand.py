"""The independent drawing of test pictures: its truth, its counting, and a small run of the program."""

import numpy as np
import pytest
from shapely.geometry import Polygon

from tests.benchmarks.other_hand.__main__ import measure
from tests.benchmarks.other_hand.crystal import crystal, thickness
from tests.benchmarks.other_hand.draw import Drawn, Truth, draw
from tests.benchmarks.other_hand.looks import HELD, LOOKS, REPORT_SEEDS, TUNE_SEEDS
from tests.benchmarks.other_hand.match import Found, score


def _square(x: float, y: float, side: float) -> np.ndarray:
    return np.array([[x, y], [x + side, y], [x + side, y + side], [x, y + side]], float)


def _truth(outline: np.ndarray, kind: str = "kernel", mark: str = "", fair: str = "") -> Truth:
    return Truth(outline, kind, mark, 0.0, 0.8, 1.0, fair)


def test_nearly_half_of_the_looks_and_all_report_seeds_are_held_back() -> None:
    assert set(HELD) < set(LOOKS)
    assert len(HELD) >= 0.4 * len(LOOKS)
    assert not set(TUNE_SEEDS) & set(REPORT_SEEDS)


@pytest.mark.parametrize("name", ["mixed", "dense_touching", "reflected"])
def test_pieces_that_count_lie_inside_the_frame_and_are_whole(name: str) -> None:
    drawn = draw(name, 5, 500)
    assert drawn.pixels.shape == (375, 500, 3)
    asked = [t for t in drawn.truth if not t.fair]
    assert len(asked) > 5
    for piece in asked:
        assert piece.outline.min() >= 0
        assert (piece.outline.max(axis=0) <= [500, 375]).all()
        assert Polygon(piece.outline).is_valid


def test_the_same_seed_draws_the_same_picture() -> None:
    assert np.array_equal(draw("amber", 8, 320).pixels, draw("amber", 8, 320).pixels)


def test_a_piece_darkens_the_light_inside_its_true_outline() -> None:
    """Beer-Lambert: where there is a kernel less light passes than beside it."""
    drawn = draw("thick_kernels", 6, 500)
    large = max((t for t in drawn.truth if not t.fair), key=lambda t: t.diameter_px)
    x, y = np.array(Polygon(large.outline).representative_point().coords[0]).astype(int)
    inside = drawn.pixels[y - 2 : y + 3, x - 2 : x + 3, 1].mean()
    assert inside < np.median(drawn.pixels[..., 1]) - 15


def test_thickness_of_a_crystal_integrates_to_its_volume() -> None:
    """Fubini: the integral of the lines of sight is the volume of the convex hull (scipy, Qhull)."""
    from scipy.spatial import ConvexHull, HalfspaceIntersection

    body = crystal(40.0, np.random.default_rng(2))
    corners = HalfspaceIntersection(np.column_stack([body.normals, -body.offsets]), np.zeros(3)).intersections
    x, y = np.meshgrid(np.arange(-60, 60, 0.25), np.arange(-60, 60, 0.25))
    assert thickness(body, x, y).sum() * 0.25**2 == pytest.approx(ConvexHull(corners).volume, rel=5e-3)
    assert Polygon(body.outline).area == pytest.approx(np.pi * 20.0**2, rel=1e-6)


def test_matching_counts_a_case_made_by_hand() -> None:
    truth = (
        _truth(_square(0, 0, 30)),  # found, 10 % too wide
        _truth(_square(100, 0, 30), "salt"),  # found, called a kernel
        _truth(_square(200, 0, 30)),  # cut in two: one half matches, the other is false
        _truth(_square(300, 0, 30), fair="hidden"),  # matched, neither right nor false
        _truth(_square(400, 0, 30), "other", "bubble"),  # set aside, as it should be
        _truth(_square(500, 0, 30), "other", "bubble"),  # counted: false
        _truth(_square(600, 0, 30)),  # set aside: a miss
    )
    found = [
        Found(_square(0, 0, 33), "kernel", False),
        Found(_square(100, 0, 30), "kernel", False),
        Found(np.array([[200, 0], [215, 0], [215, 30], [200, 30]]), "kernel", False),
        Found(np.array([[215, 0], [229, 0], [229, 30], [215, 30]]), "kernel", False),
        Found(_square(300, 0, 30), "kernel", False),
        Found(_square(400, 0, 30), "other", True),
        Found(_square(500, 0, 30), "other", False),
        Found(_square(600, 0, 30), "kernel", True),
        Found(_square(700, 0, 5), "kernel", False),  # below the limit: not asked
        Found(_square(800, 0, 20), "kernel", False),  # nothing there: false
    ]
    result = score(Drawn("case", 0, np.zeros((1, 1, 3), np.uint8), truth), found)
    # one half of the cut piece has exactly half the area, which is enough to match
    assert (result.true, result.right, result.false) == (4, 3, 3)
    assert result.missed == [6]
    assert (result.kinds_asked, result.kinds_right) == (3, 2)
    assert (result.marked, result.marked_aside, result.marked_counted) == (2, 1, 1)
    assert result.errors[0] == pytest.approx(0.1)
    assert result.f1 == pytest.approx(2 * 3 / (2 * 3 + 3 + 1))


def test_the_program_finds_most_pieces_of_a_small_picture() -> None:
    """A floor well below what is reached, so that only a real loss shows."""
    drawn = draw("thick_kernels", 3, 600)
    result = score(drawn, measure(drawn))
    assert result.true >= 12
    assert result.f1 >= 0.85
