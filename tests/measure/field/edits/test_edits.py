import cv2
import numpy as np
import pytest
from shapely import Polygon

from measure.errors import InvalidInput
from measure.field.basics.polygons import best_cut, polygon_of
from measure.field.edits import edits
from measure.field.ground.light import prepare
from measure.field.kinds.measure_outlines import measure_outlines
from measure.flags import FLAGS, bits
from measure.model import ORIGINS, Picture

TURN = np.linspace(0, 2 * np.pi, 120, endpoint=False)


def circle(x, y, r):
    return np.c_[x + r * np.cos(TURN), y + r * np.sin(TURN)].astype(np.float32)


def outline_of(shape):
    return np.asarray(shape.exterior.coords, dtype=np.float32)[:-1]


def peanut():
    """Two discs of 20 and 16 px radius that run into each other, as one outline."""
    both = Polygon(circle(80, 90, 20)).union(Polygon(circle(113, 90, 16)))
    return outline_of(both.segmentize(1.0))


@pytest.fixture(scope="module")
def field():
    """A peanut, two discs 3 px apart, and one far away; the last is not outlined."""
    y, x = np.mgrid[:240, :320] + 0.5
    pixels = np.empty((240, 320, 3))
    pixels[:] = (225, 215, 185)
    discs = [(80, 90, 20), (113, 90, 16), (200, 60, 14), (231, 60, 14), (250, 180, 18), (80, 190, 15)]
    for cx, cy, r in discs:
        cover = np.clip(r - np.hypot(x - cx, y - cy) + 0.5, 0, 1)[..., None]
        pixels = pixels * (1 - cover) + cover * np.array((180, 150, 110))
    pixels = cv2.GaussianBlur(pixels, (0, 0), 1.0) + np.random.default_rng(1).normal(0, 1.5, pixels.shape)
    picture = Picture(np.clip(pixels, 0, 255).round().astype(np.uint8))
    light = prepare(picture)
    outlines = [peanut(), circle(200, 60, 14), circle(231, 60, 14), circle(250, 180, 18)]
    p = measure_outlines(outlines, picture, light)
    return p.replaced(label=[11, 12, 13, 14]), light, picture


def areas(replacement):
    return sorted(replacement.added["area_px2"].tolist())


def test_a_cut_snaps_to_the_neck_and_loses_nothing(field):
    p = field[0]
    made = edits.cut(*field, 11, [[92, 60], [97, 120]])
    assert made.removed_labels == (11,)
    assert len(made.added) == 2
    assert list(made.added["label"]) == [0, 0]
    assert sum(areas(made)) == pytest.approx(p["area_px2"][0], rel=1e-4)
    # the discs meet where their radical line stands
    neck = 80 + (33**2 + 20**2 - 16**2) / (2 * 33)
    edge = [o[:, 0].max() if o[:, 0].mean() < neck else o[:, 0].min() for o in made.added.outlines]
    assert edge == pytest.approx([neck, neck], abs=2.5)
    assert all(made.added["flags"] & bits("by_hand", "touching") == bits("by_hand", "touching"))
    assert len(set(made.added["parent"].tolist())) == 1
    assert made.added["parent"][0] > 0
    assert all(made.added["origin"] == ORIGINS.index("cut"))


def test_a_cut_without_snapping_follows_the_line(field):
    made = edits.cut(*field, 11, [[90, 60], [90, 120]], snap=False)
    xs = [(o[:, 0].min(), o[:, 0].max()) for o in made.added.outlines]
    assert sorted(v for pair in xs for v in pair)[1:3] == pytest.approx([90, 90], abs=0.01)
    bent = edits.cut(*field, 11, [[90, 60], [95, 90], [90, 120]])
    assert len(bent.added) == 2


def test_a_line_beside_the_piece_is_refused(field):
    for line in ([[10, 10], [20, 30]], [[80, 85], [84, 90]]):
        with pytest.raises(InvalidInput, match="does not cross piece 11"):
            edits.cut(*field, 11, line)
    with pytest.raises(InvalidInput, match="too little to measure"):
        edits.cut(*field, 14, [[240, 162.2], [260, 162.2]], snap=False)
    with pytest.raises(InvalidInput, match="no piece 99"):
        edits.cut(*field, 99, [[0, 0], [1, 1]])
    with pytest.raises(InvalidInput, match="two different points"):
        edits.cut(*field, 11, [[5, 5]])


def test_join_closes_the_gap(field):
    p = field[0]
    made = edits.join(*field, [12, 13])
    assert set(made.removed_labels) == {12, 13}
    assert len(made.added) == 1
    both = p["area_px2"][1] + p["area_px2"][2]
    hull = Polygon(circle(200, 60, 14)).union(Polygon(circle(231, 60, 14))).convex_hull.area
    assert both < made.added["area_px2"][0] < hull
    assert made.added["kind"][0] == p["kind"][1]
    assert made.added["origin"][0] == ORIGINS.index("joined")
    assert made.added["flags"][0] & FLAGS["by_hand"].bit


def test_join_refuses_what_lies_apart(field):
    with pytest.raises(InvalidInput, match="too far to be one piece"):
        edits.join(*field, [12, 14])
    with pytest.raises(InvalidInput, match="at least two"):
        edits.join(*field, [12, 12])


def test_cut_then_join_gives_the_piece_back(field):
    p, light, picture = field
    made = edits.cut(p, light, picture, 11, [[95, 60], [95, 120]])
    two = made.added.replaced(label=[21, 22])
    back = edits.join(two, light, picture, [21, 22])
    assert back.added["area_px2"][0] == pytest.approx(p["area_px2"][0], rel=0.005)
    assert back.added["perimeter_px"][0] == pytest.approx(p["perimeter_px"][0], rel=0.02)


def test_a_rough_outline_snaps_to_the_edge(field):
    rough = circle(81.2, 189.2, 15)
    rough = 0.5 * (rough + circle(80, 190, 18))[::8]
    loose = edits.draw(*field, rough)
    tight = edits.draw(*field, rough, snap=True)
    assert abs(tight.added.diameter_px[0] - 30) < 0.3 < abs(loose.added.diameter_px[0] - 30)
    assert tight.added["centre_x_px"][0] == pytest.approx(80, abs=0.3)
    assert tight.removed_labels == ()
    assert tight.added["origin"][0] == ORIGINS.index("drawn")


def test_snapping_leaves_a_line_in_bare_oil_alone(field):
    bare = circle(160, 130, 12)
    made = edits.draw(*field, bare, snap=True)
    assert made.added.diameter_px[0] == pytest.approx(24, abs=0.6)


def test_bad_outlines_are_refused(field):
    with pytest.raises(InvalidInput, match="crosses itself"):
        edits.draw(*field, [[10, 10], [60, 60], [60, 10], [10, 60]])
    with pytest.raises(InvalidInput, match="too little"):
        edits.draw(*field, [[10, 10], [12, 10], [12, 12]])
    with pytest.raises(InvalidInput, match="too little"):
        edits.draw(*field, circle(600, 60, 20))
    with pytest.raises(InvalidInput, match="three different"):
        edits.draw(*field, [[10, 10], [12, 10], [10, 10]])


def test_a_drawn_piece_over_another_is_flagged_and_one_over_the_border_is_clipped(field):
    over = edits.draw(*field, circle(215, 60, 14))
    assert over.added["flags"][0] & FLAGS["overlap"].bit
    border = edits.draw(*field, circle(0, 150, 15))
    assert border.added["area_px2"][0] == pytest.approx(np.pi * 15**2 / 2, rel=0.01)
    assert border.added["flags"][0] & FLAGS["touches_frame"].bit


def test_the_brush_adds_and_takes_but_never_from_a_neighbour(field):
    p = field[0]
    more = edits.reshape(*field, 14, [[268, 180], [272, 180]], 5.0, True)
    less = edits.reshape(*field, 14, [[268, 180]], 5.0, False)
    assert more.added["area_px2"][0] > p["area_px2"][3] + 20
    assert less.added["area_px2"][0] < p["area_px2"][3] - 20
    assert more.added["kind"][0] == p["kind"][3]
    toward = edits.reshape(*field, 12, [[210, 60], [225, 60]], 4.0, True)
    grown, neighbour = polygon_of(toward.added.outlines[0]), polygon_of(p.outlines[2])
    assert grown.intersection(neighbour).area < 0.05
    assert toward.added["area_px2"][0] > p["area_px2"][1]


def test_a_brush_through_the_middle_leaves_two_pieces(field):
    made = edits.reshape(*field, 11, [[97, 60], [97, 120]], 1.5, False)
    assert len(made.added) == 2


def test_the_brush_refuses_what_it_cannot_do(field):
    with pytest.raises(InvalidInput, match="does not meet"):
        edits.reshape(*field, 14, [[10, 10]], 5.0, True)
    with pytest.raises(InvalidInput, match="set it aside instead"):
        edits.reshape(*field, 14, [[250, 180]], 40.0, False)
    with pytest.raises(InvalidInput, match="radius"):
        edits.reshape(*field, 14, [[250, 180]], 0.0, False)


def test_a_cluster_is_cut_anew_at_its_necks(field):
    p = field[0]
    two = edits.recut(*field, [11], 2)
    assert len(two.added) == 2
    expected = sorted([np.pi * 16**2, np.pi * 20**2])
    assert areas(two) == pytest.approx(expected, rel=0.08)
    three = edits.recut(*field, [11], 3)
    assert len(three.added) == 3
    assert sum(areas(three)) == pytest.approx(p["area_px2"][0], rel=1e-3)
    whole = two.added.replaced(label=[31, 32])
    one = edits.recut(whole, field[1], field[2], [31, 32], 1)
    assert len(one.added) == 1
    assert one.added["area_px2"][0] == pytest.approx(p["area_px2"][0], rel=0.005)
    with pytest.raises(InvalidInput, match="1 piece or more"):
        edits.recut(*field, [11], 0)
    with pytest.raises(InvalidInput, match="too small"):
        edits.recut(*field, [12], 300)


def test_the_best_cut_of_plane_figures():
    # a 2 x 1 rectangle is best halved across: length 1 over the root of area 1
    cost, line = best_cut(Polygon([[0, 0], [40, 0], [40, 20], [0, 20]]))
    assert cost == pytest.approx(1.0, rel=0.03)
    assert line.length == pytest.approx(20, rel=0.03)


def test_kinds_and_reasons_set_by_hand_go_over(field):
    p, light, picture = field
    p = p.replaced(kind=[2, 1, 1, 0], kind_by_hand=True, set_aside=["", "mine", "mine", ""])
    halves = edits.cut(p, light, picture, 11, [[95, 60], [95, 120]]).added
    assert list(halves["kind"]) == [2, 2]
    assert all(halves["kind_by_hand"])
    joined = edits.join(p, light, picture, [12, 13]).added
    assert joined["kind"][0] == 1
    assert joined["set_aside"][0] == "mine"
    assert joined["kind_doubt"][0] == 0


def test_nothing_given_is_changed(field):
    p, light, picture = field
    before = [o.copy() for o in p.outlines], p["area_px2"].copy(), light.delta.copy()
    edits.cut(p, light, picture, 11, [[95, 60], [95, 120]])
    edits.recut(p, light, picture, [11], 2)
    assert all((a == b).all() for a, b in zip(before[0], p.outlines, strict=True))
    assert (before[1] == p["area_px2"]).all()
    assert (before[2] == light.delta).all()


def test_points_along_an_outline_are_those_of_the_reference_library():
    from shapely import Polygon, get_coordinates, line_interpolate_point

    from measure.field.basics.polygons import traced_evenly

    rng = np.random.default_rng(5)
    for count in (3, 7, 60, 400):
        turn = np.sort(rng.uniform(0.0, 2.0 * np.pi, count))
        radius = rng.uniform(3.0, 40.0, count)
        shape = Polygon(np.column_stack([50.0 + radius * np.cos(turn), 50.0 + radius * np.sin(turn)]))
        line = shape.exterior
        places = np.linspace(0.0, line.length, max(24, int(line.length)), endpoint=False)
        expected = get_coordinates(line_interpolate_point(line, places)).astype(np.float32)
        assert np.array_equal(traced_evenly(shape), expected)
