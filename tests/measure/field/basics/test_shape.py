import numpy as np
import pytest

from measure.field.basics.shape import resampled, shape_columns


def polygon(corners):
    return np.asarray(corners, dtype=float)


def ellipse(a, b, points=2000, turn=0.0):
    t = np.linspace(0, 2 * np.pi, points, endpoint=False)
    x, y = a / 2 * np.cos(t), b / 2 * np.sin(t)
    return np.c_[x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)]


def turned(outline, angle, scale=1.0):
    c, s = np.cos(angle), np.sin(angle)
    return scale * outline @ np.array([[c, s], [-s, c]])


ROOT3 = np.sqrt(3.0)
SQUARE = polygon([[0, 0], [1, 0], [1, 1], [0, 1]])
ELL = polygon([[0, 0], [2, 0], [2, 1], [1, 1], [1, 2], [0, 2]])
PLUS = polygon(
    [[1, 0], [2, 0], [2, 1], [3, 1], [3, 2], [2, 2], [2, 3], [1, 3], [1, 2], [0, 2], [0, 1], [1, 1]]
)
# outline, area, perimeter, x_A, circularity, Feret max, Feret min: closed forms of plane geometry,
# with the definitions of ISO 9276-6:2008 (circularity with the root)
EXACT = {
    "circle": (ellipse(1, 1), 0.785398, 3.141593, 1.0, 1.0, 1.0, 1.0),
    "square": (SQUARE, 1.0, 4.0, 1.128379, 0.886227, 1.414214, 1.0),
    "rectangle 2x1": (SQUARE * [2, 1], 2.0, 6.0, 1.595769, 0.835543, 2.236068, 1.0),
    "rectangle 4x1": (SQUARE * [4, 1], 4.0, 10.0, 2.256758, 0.708982, 4.123106, 1.0),
    "triangle": (
        polygon([[0, 0], [1, 0], [0.5, ROOT3 / 2]]),
        0.433013,
        3.0,
        0.742515,
        0.777560,
        1.0,
        0.866025,
    ),
    "ellipse": (ellipse(2, 1), 1.570796, 4.844224, 1.414214, 0.917151, 2.0, 1.0),
    "hexagon": (ellipse(2, 2, 6), 2.598076, 6.0, 1.818783, 0.952313, 2.0, 1.732051),
    "L of three squares": (ELL, 3.0, 8.0, np.sqrt(12 / np.pi), 0.767495, 2.828427, 2.0),
    "plus of five squares": (PLUS, 5.0, 12.0, np.sqrt(20 / np.pi), 0.660555, 3.162278, 2.828427),
}


@pytest.mark.parametrize("name", EXACT)
@pytest.mark.parametrize(("angle", "scale"), [(0.0, 1.0), (0.4, 1.0), (1.1, 37.0)])
def test_exact_shapes_at_any_angle_and_size(name, angle, scale):
    outline, area, perimeter, x_a, circularity, largest, smallest = EXACT[name]
    c = {k: float(v[0]) for k, v in shape_columns([turned(outline, angle, scale) + 100.0]).items()}
    assert c["area_px2"] == pytest.approx(area * scale**2, rel=2e-5)
    assert c["perimeter_px"] == pytest.approx(perimeter * scale, rel=1e-4)
    assert np.sqrt(4 * c["area_px2"] / np.pi) == pytest.approx(x_a * scale, rel=1e-5)
    assert np.sqrt(4 * np.pi * c["area_px2"]) / c["perimeter_px"] == pytest.approx(circularity, rel=1e-4)
    assert c["feret_max_px"] == pytest.approx(largest * scale, rel=1e-5)
    assert c["feret_min_px"] == pytest.approx(smallest * scale, rel=1e-5)


@pytest.mark.parametrize(
    ("outline", "solidity", "hull"), [(ELL, 6 / 7, 6 + 2**0.5), (PLUS, 5 / 7, 4 + 4 * 2**0.5)]
)
def test_concave_shapes_have_the_solidity_and_convexity_of_plane_geometry(outline, solidity, hull):
    c = shape_columns([outline * 10.0])
    assert c["area_px2"][0] / c["hull_area_px2"][0] == pytest.approx(solidity, rel=1e-6)
    assert c["hull_perimeter_px"][0] == pytest.approx(10 * hull, rel=1e-6)


def test_mean_feret_of_a_convex_shape_is_its_perimeter_over_pi():
    # Cauchy's theorem; feret_h over many turns is the Feret diameter over all directions
    turns = np.linspace(0, np.pi, 720, endpoint=False)
    for outline in (SQUARE, ellipse(2, 1, 400), EXACT["triangle"][0]):
        c = shape_columns([turned(outline, t, 50.0) for t in turns])
        assert c["feret_h_px"].mean() == pytest.approx(c["perimeter_px"][0] / np.pi, rel=1e-4)
        assert c["feret_h_px"].max() == pytest.approx(c["feret_max_px"][0], rel=1e-4)
        assert c["feret_v_px"].min() == pytest.approx(c["feret_min_px"][0], rel=1e-2)
    concave = shape_columns([turned(ELL, t, 50.0) for t in turns])
    assert concave["feret_h_px"].mean() == pytest.approx(concave["hull_perimeter_px"][0] / np.pi, rel=1e-4)


def test_random_polygons_agree_with_shapely():
    from shapely import Polygon, minimum_rotated_rectangle

    rng = np.random.default_rng(3)
    outlines = []
    for _ in range(60):
        t = np.sort(rng.uniform(0, 2 * np.pi, rng.integers(5, 40)))
        r = rng.uniform(20, 60, len(t))
        outlines.append(np.c_[r * np.cos(t), r * np.sin(t)] + rng.uniform(-500, 5000, 2))
    c = shape_columns(outlines)
    for i, outline in enumerate(outlines):
        shape = Polygon(outline)
        assert c["area_px2"][i] == pytest.approx(shape.area, rel=1e-9)
        assert c["centre_x_px"][i] == pytest.approx(shape.centroid.x, abs=1e-6)
        assert c["centre_y_px"][i] == pytest.approx(shape.centroid.y, abs=1e-6)
        assert c["hull_area_px2"][i] == pytest.approx(shape.convex_hull.area, rel=1e-6)
        assert c["hull_perimeter_px"][i] == pytest.approx(shape.convex_hull.length, rel=1e-6)
        hull = np.array(shape.convex_hull.exterior.coords)
        gaps = hull[:, None] - hull[None]
        assert c["feret_max_px"][i] == pytest.approx(np.hypot(gaps[..., 0], gaps[..., 1]).max(), rel=1e-6)
        box = np.array(minimum_rotated_rectangle(shape).exterior.coords)
        # the smallest rectangle is at least as narrow as nothing narrower than the smallest Feret
        assert c["feret_min_px"][i] <= np.hypot(*np.diff(box[:3], axis=0).T).min() * (1 + 1e-6)


def digitised(inside, size):
    from skimage.measure import find_contours

    y, x = np.mgrid[:size, :size] + 0.5
    traced = find_contours(np.pad(inside(x, y).astype(float), 1), 0.5)[0]
    return traced[:-1, ::-1] - 0.5


@pytest.mark.parametrize("diameter", [10, 15, 20, 50, 100])
def test_digitised_discs_have_the_perimeter_of_the_disc(diameter):
    # pixel-centre rule, random centres: the hardest edge a camera can give
    rng = np.random.default_rng(diameter)
    size = diameter + 8
    outlines = []
    for _ in range(25):
        cx, cy = size / 2 + rng.uniform(-0.5, 0.5, 2)
        outlines.append(digitised(lambda x, y, a=cx, b=cy: np.hypot(x - a, y - b) < diameter / 2, size))
    c = shape_columns(outlines)
    assert c["perimeter_px"].mean() == pytest.approx(np.pi * diameter, rel=0.012)
    assert np.sqrt(4 * c["area_px2"] / np.pi).mean() == pytest.approx(diameter, rel=0.008)
    circularity = np.sqrt(4 * np.pi * c["area_px2"]) / c["perimeter_px"]
    assert circularity.max() <= 1.0 + 1e-12
    assert circularity.mean() > 0.98


@pytest.mark.parametrize("degrees", [0, 10, 22.5, 30, 45])
def test_digitised_squares_have_the_perimeter_of_the_square(degrees):
    t = np.radians(degrees)

    def inside(x, y):
        u, v = (
            (x - 40.2) * np.cos(t) + (y - 39.7) * np.sin(t),
            (y - 39.7) * np.cos(t) - (x - 40.2) * np.sin(t),
        )
        return (abs(u) < 20) & (abs(v) < 20)

    c = shape_columns([digitised(inside, 80)])
    assert c["perimeter_px"][0] == pytest.approx(160, rel=0.015)
    assert np.sqrt(4 * np.pi * c["area_px2"][0]) / c["perimeter_px"][0] == pytest.approx(0.8862, abs=0.02)


def test_straightness_tells_a_crystal_from_a_drop():
    soft = [ellipse(40, 40, 120), ellipse(40, 34, 120), SQUARE * 40.0, SQUARE * [60.0, 30.0]]
    values = shape_columns(soft)["straightness"]
    assert values[:2].max() < 0.1
    assert values[2:].min() > 0.8


def test_evenly_spread_points_keep_to_the_outline():
    points = resampled([SQUARE * 8.0, ellipse(30, 30)], 32)
    assert points.shape == (2, 32, 2)
    assert np.allclose(points[0, :5], [[0, 0], [1, 0], [2, 0], [3, 0], [4, 0]])
    assert np.allclose(np.hypot(*points[1].T), 15.0, atol=0.01)


def test_no_outlines_give_empty_columns():
    columns = shape_columns([])
    assert all(v.shape == (0,) for v in columns.values())
    assert {"area_px2", "feret_v_px", "straightness"} <= set(columns)
