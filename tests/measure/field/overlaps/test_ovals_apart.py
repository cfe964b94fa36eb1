"""Heaps of round pieces of one tone are taken apart by the arcs of their outline and the lines inside."""

from types import SimpleNamespace

import cv2
import numpy as np
import pytest
from shapely import LineString, Point, Polygon, affinity, union_all

from measure.field.basics.found import Found
from measure.field.basics.polygons import outline_of
from measure.field.overlaps.inner_arcs import inner_edges
from measure.field.overlaps.oval_heaps import facing, notch_places, oval_heap, traced
from measure.field.overlaps.ovals_apart import ovals_apart
from measure.field.pipeline import measure_field
from measure.flags import bits
from measure.model import FieldSettings, Picture

LEAST_PX2 = 40.0
SIZE = (150, 220)
PLACES = ((60, 60), (98, 66), (128, 92), (66, 96))  # each lies over those before
HIDING = ((60, 60), (96, 46), (98, 86), (84, 64))  # the last lies nearly within the others
RADIUS = 25.0
TONE = np.array([-20.0, 12.0, 5.0], np.float32)  # CIELAB difference from the oil


def _discs(places=PLACES) -> list[Polygon]:
    return [affinity.scale(Point(*at).buffer(RADIUS, 64), 1.0, 0.9) for at in places]


def _mask(shape: Polygon) -> np.ndarray:
    mask = np.zeros(SIZE, np.uint8)
    cv2.fillPoly(mask, [np.rint((np.array(shape.exterior.coords) - 0.5) * 16).astype(np.int32)], 1, shift=4)
    return mask


def _seen(shapes: list[Polygon], line: float = 0.4) -> np.ndarray:
    """Share of the tone at each pixel: no more where pieces overlap, less along the edge of upper ones."""
    tone = np.zeros(SIZE, np.float32)
    for n, shape in enumerate(shapes):
        below = tone * (1 - _mask(shape))
        edge = cv2.dilate(_mask(shape), np.ones((3, 3))) - _mask(shape)
        below *= 1 - line * edge * (n > 0)
        tone = np.maximum(below, _mask(shape))
    return cv2.GaussianBlur(tone, (0, 0), 0.9)


def _apart(outlines: list[np.ndarray], tone: np.ndarray, flags: int = 0) -> Found:
    light = SimpleNamespace(delta=tone[..., None] * TONE, solid_distance=tone)
    count = len(outlines)
    found = Found(
        outlines, np.zeros(count, np.int32), np.full(count, flags, np.int32), np.zeros(count, np.int8)
    )
    return ovals_apart(found, light, LEAST_PX2)


def _matched(outlines: list[np.ndarray], shapes: list[Polygon]) -> list[float]:
    """Best intersection over union of each shape."""
    got = [Polygon(o).buffer(0) for o in outlines]
    return [max(g.intersection(s).area / g.union(s).area for g in got) for s in shapes]


def test_the_arcs_of_an_outline_show_the_ovals_it_is_made_of() -> None:
    shapes = _discs()
    whole = union_all(shapes)
    contour = traced(outline_of(whole), whole.area)
    mask = _mask(whole)
    edges = inner_edges(_seen(shapes)[..., None] * TONE, mask, mask)
    heap = oval_heap([contour], [np.ones(len(contour), bool)], mask, LEAST_PX2, lambda: edges)
    assert heap is not None
    assert len(heap.ovals) == len(shapes)
    assert min(_matched([oval.points() for oval in heap.ovals], shapes)) > 0.9
    assert heap.explained.mean() > 0.97
    assert len(notch_places(contour)[0]) == 5


@pytest.mark.parametrize("turned", [False, True])
def test_a_heap_of_one_tone_becomes_its_pieces_each_whole(turned) -> None:
    shapes = _discs()
    outline = outline_of(union_all(shapes))
    made = _apart([outline[::-1] if turned else outline], _seen(shapes))
    assert len(made.outlines) == len(shapes)
    assert min(_matched(made.outlines, shapes)) > 0.9
    assert set(made.flags.tolist()) == {bits("touching", "overlap")}
    assert len(set(made.parent.tolist())) == 1


def _added(shapes: list[Polygon]) -> np.ndarray:
    """Densities of pieces that light passes through add up."""
    return cv2.GaussianBlur(sum(_mask(shape) for shape in shapes).astype(np.float32), (0, 0), 0.9)


def test_a_piece_nearly_hidden_in_a_heap_is_told_by_its_edges_inside() -> None:
    # the outline shows a tenth of the one in the middle, too little for an oval
    shapes = [affinity.scale(Point(*at).buffer(RADIUS, 64), 1.0, 0.9) for at in HIDING]
    made = _apart([outline_of(union_all(shapes))], 0.5 * _added(shapes))
    assert len(made.outlines) == len(shapes)
    assert min(_matched(made.outlines, shapes)) > 0.8


def test_streaks_are_not_taken_for_edges_of_pieces_within_one_another() -> None:
    shape = union_all(_discs(PLACES[:2]))
    for way in range(0, 180, 30):
        x, y = np.meshgrid(np.arange(SIZE[1]), np.arange(SIZE[0]))
        along = x * np.cos(np.deg2rad(way)) + y * np.sin(np.deg2rad(way))
        tone = (_mask(shape) * (1.0 + 0.2 * np.sin(along / 2.2))).astype(np.float32)
        assert len(_apart([outline_of(shape)], cv2.GaussianBlur(tone, (0, 0), 0.9)).outlines) == 1, way


def test_without_lines_inside_the_outline_alone_parts_nothing() -> None:
    outline = outline_of(union_all(_discs()))
    assert len(_apart([outline], _seen(_discs(), line=0.0)).outlines) == 1


def test_mottle_is_seldom_taken_for_the_edge_of_a_piece_within_another() -> None:
    shape = union_all(_discs(PLACES[:2]))
    apart = 0
    for seed in range(16):
        mottle = cv2.GaussianBlur(np.random.default_rng(seed).normal(size=SIZE), (0, 0), 3.0)
        tone = _mask(shape) * (1.0 + 0.25 * mottle / mottle.std()).astype(np.float32)
        apart += len(_apart([outline_of(shape)], cv2.GaussianBlur(tone, (0, 0), 0.9)).outlines) > 1
    # seven before edges had to be seen better than what lies beside them
    assert apart <= 3


def test_pieces_too_small_to_show_an_edge_within_stay_one() -> None:
    shapes = [affinity.scale(shape, 0.4, 0.4, origin=(90, 75)) for shape in _discs()]
    assert len(_apart([outline_of(union_all(shapes))], _seen(shapes)).outlines) == 1


def test_arcs_of_one_oval_lie_within_one_anothers_ends_and_those_of_lobes_do_not() -> None:
    angle = np.linspace(0.0, 2 * np.pi, 200)
    oval = np.column_stack([40 * np.cos(angle), 25 * np.sin(angle)])
    assert facing([oval[5:40], oval[60:95], oval[120:180]]).all()
    beside = oval + np.array([60.0, 0.0])
    lobes = facing([oval[30:170], np.concatenate([beside[130:], beside[:70]])])
    assert lobes.tolist() == [[True, False], [False, True]]


def test_a_bent_piece_with_a_line_along_it_stays_one() -> None:
    angle = np.linspace(0.2, np.pi - 0.2, 40)
    course = np.column_stack([110 + 70 * np.cos(angle), 20 + 70 * np.sin(angle)])
    shape = LineString(course).buffer(16)
    tone = _mask(shape).astype(np.float32)
    cv2.polylines(tone, [np.rint(course).astype(np.int32)], False, 0.5, 2)
    assert len(_apart([outline_of(shape)], cv2.GaussianBlur(tone, (0, 0), 0.9)).outlines) == 1


def test_pieces_cut_straight_where_others_hide_them_are_judged_together() -> None:
    shapes = _discs()
    whole = union_all(shapes)
    left = Polygon([(0, 0), (80, 0), (80, 150), (0, 150)])
    halves = [outline_of(whole.intersection(left)), outline_of(whole.difference(left))]
    made = _apart(halves, _seen(shapes))
    assert len(made.outlines) == len(shapes)
    assert min(_matched(made.outlines, shapes)) > 0.9


def test_see_through_pieces_are_left_to_their_rims() -> None:
    shapes = _discs()
    made = _apart([outline_of(union_all(shapes))], _seen(shapes), bits("rim_only"))
    assert len(made.outlines) == 1


def test_a_field_with_a_heap_of_one_tone_counts_its_pieces() -> None:
    shapes = _discs()
    light = 200.0 - _seen(shapes)[..., None] * np.array([60.0, 90.0, 70.0])
    light = np.pad(light, ((40, 40), (40, 40), (0, 0)), constant_values=200)
    light += np.random.default_rng(3).normal(0, 1.0, light.shape)
    picture = Picture(np.clip(light, 0, 255).astype(np.uint8), name="heap")
    particles = measure_field(picture, FieldSettings(), 1.0).particles
    pairs = zip(particles.outlines, particles["set_aside"], strict=True)
    counted = [outline - 40 for outline, why in pairs if not why]
    assert len(counted) == len(shapes)
    assert sum(share > 0.85 for share in _matched(counted, shapes)) >= 3
