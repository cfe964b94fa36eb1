"""Edges inside a heap as arcs: convex, with the denser side within."""

import cv2
import numpy as np
import pytest

from measure.field.basics.ovals import Oval
from measure.field.overlaps.inner_arcs import inner_edges

SIZE = (120, 160)
TONE = np.array([-20.0, 12.0, 5.0], np.float32)  # CIELAB difference from the oil
CENTRES, AXES = ((62.5, 60.5), (98.5, 60.5)), (60.0, 60.0)


def _disc(centre: tuple[float, float]) -> np.ndarray:
    y, x = np.mgrid[: SIZE[0], : SIZE[1]] + 0.5
    return (np.hypot(x - centre[0], y - centre[1]) < AXES[0] / 2).astype(np.float32)


def _edges(tone: np.ndarray):
    solid = (tone != 0).astype(np.uint8)
    return inner_edges(cv2.GaussianBlur(tone, (0, 0), 0.9)[..., None] * TONE, solid, solid)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_each_side_of_a_lens_is_an_arc_of_the_disc_that_goes_on_there(sign) -> None:
    both = _disc(CENTRES[0]) + _disc(CENTRES[1])
    edges = _edges(sign * both)
    assert len(edges.arcs) == 2
    for arc in edges.arcs:
        away = [np.abs(np.hypot(*(arc - centre).T) - AXES[0] / 2).mean() for centre in CENTRES]
        assert min(away) < 0.8
        own = CENTRES[int(np.argmin(away))]
        along, inwards = np.diff(arc, axis=0), np.array(own) - arc[:-1]
        # laid as outlines are: what is denser lies to the same side
        assert ((along[:, 0] * inwards[:, 1] - along[:, 1] * inwards[:, 0]) > 0).mean() > 0.95


def test_an_oval_is_seen_inside_where_its_density_adds_and_not_where_none_lies() -> None:
    edges = _edges(_disc(CENTRES[0]) + _disc(CENTRES[1]))
    ovals = [Oval(centre, AXES, 0.0) for centre in CENTRES]
    for one, other in (ovals, ovals[::-1]):
        assert edges.unseen(one) < 0.05
        edge = edges.within(one, other)
        assert edge is not None
        assert min(edge) > 0.85
    solid = np.ones(SIZE, np.uint8)
    assert edges.explained(ovals, solid) > 0.95
    assert 0.4 < edges.explained(ovals[:1], solid) < 0.6
    between = Oval((80.5, 60.5), AXES, 0.0)
    assert edges.unseen(between) > 0.2


def test_an_even_piece_has_no_edges_inside() -> None:
    rng = np.random.default_rng(4)
    tone = _disc(CENTRES[0]) + 0.01 * rng.normal(size=SIZE).astype(np.float32)
    solid = _disc(CENTRES[0]).astype(np.uint8)
    edges = inner_edges(cv2.GaussianBlur(tone, (0, 0), 0.9)[..., None] * TONE, solid, solid)
    assert not edges.arcs
    oval = Oval(CENTRES[0], AXES, 0.0)
    assert edges.unseen(oval) < 0.02  # it runs along the outline
    assert edges.within(oval, Oval(CENTRES[1], AXES, 0.0)) is None
    assert edges.explained([oval], solid) == 0.0
