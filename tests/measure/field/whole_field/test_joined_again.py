"""Lone pieces with bays and bends are counted as one, pieces that touch stay two; forms from memory."""

import cv2
import numpy as np
import pytest

from measure.field import pipeline
from measure.field.basics.found import Found
from measure.field.ground.light import prepare
from measure.field.pipeline import measure_field
from measure.field.whole_field import joined_again
from measure.flags import bits
from measure.model import FieldSettings, Picture

_SIZE = (160, 220)
_BEIGE = np.array([0.45, 0.6, 0.9])  # natural absorbance in three colours
_GREEN = np.array([0.7, 0.5, 0.8])


def _discs(*discs: tuple[float, float, float]) -> np.ndarray:
    mask = np.zeros(_SIZE, np.uint8)
    for x, y, radius in discs:
        cv2.circle(mask, (round(x * 16), round(y * 16)), round(radius * 16), 1, -1, cv2.LINE_8, 4)
    return mask


def _sausage(bend: float, waist: float = 0.0) -> np.ndarray:
    """A bent piece of even width, or a little narrower in its middle."""
    along = np.linspace(-1, 1, 60)
    x, y = 110 + 48 * np.sin(bend * along) / bend, 55 + 48 * (1 - np.cos(bend * along)) / bend
    return _discs(*zip(x, y, 17 - 17 * waist * np.exp(-((along / 0.25) ** 2)), strict=True))


def _picture(*layers: tuple[np.ndarray, np.ndarray], seed: int = 3) -> Picture:
    """Pieces that take light away, thin at their edge, a little blurred."""
    taken = np.zeros((*(layers[0][0].shape if layers else _SIZE), 3))
    for mask, colour in layers:
        depth = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
        taken += np.minimum(depth / 9.0, 1.0)[..., None] ** 0.5 * (mask > 0)[..., None] * colour
    light = cv2.GaussianBlur(np.exp(-taken).astype(np.float32), (0, 0), 1.4) * np.array([215, 208, 180])
    noise = np.random.default_rng(seed).normal(0, 1.0, light.shape)
    return Picture(np.clip(np.rint(light + noise), 0, 255).astype(np.uint8), name="one or two")


def _counted(picture: Picture, **settings: float) -> int:
    found = measure_field(picture, FieldSettings(**settings), 1.0).particles
    return int(np.count_nonzero(found["set_aside"] == ""))


LONE = {
    "bent": _sausage(1.7, 0.4),
    "heart": _discs((88, 70, 24), (132, 70, 24), (110, 82, 26), (110, 96, 22)),
    "bitten": _discs((110, 80, 45)) & (1 - _discs((110, 30, 20), (110, 130, 20))),
}
TOUCHING = {
    "of one tone": (_BEIGE, _BEIGE),
    "of two tones": (_BEIGE, 0.7 * _BEIGE),
    "of two colours": (_BEIGE, _GREEN),
}


@pytest.mark.parametrize("name", LONE)
def test_a_lone_piece_stays_one(name, monkeypatch):
    picture = _picture((LONE[name], _BEIGE))
    assert _counted(picture) == 1
    assert _counted(picture, cut_strength=1.0) == 2
    monkeypatch.setattr(pipeline, "joined_again", lambda found, light, strength: found)
    assert _counted(picture) == 2  # a step before cuts it


@pytest.mark.parametrize("name", TOUCHING)
@pytest.mark.parametrize("apart", [49, 52])
def test_pieces_that_touch_stay_two(name, apart):
    one, other = TOUCHING[name]
    picture = _picture((_discs((80, 80, 28)), one), (_discs((80 + apart, 80, 22)), other))
    assert _counted(picture) == 2


_ALONE = [(x, y) for y in (40, 260) for x in (40, 120, 300, 380)]


def _star(x: float, y: float, radius: float, points: int, deep: float, phase: float = 0.0) -> np.ndarray:
    """A piece with points, the deeper the more ragged."""
    turn = np.linspace(0, 2 * np.pi, 140, endpoint=False)
    along = radius * (1 - deep * (1 + np.cos(points * turn + phase)) / 2)
    return np.stack([x + along * np.cos(turn), y + along * np.sin(turn)], axis=1).astype(np.float32)


def _filled(*outlines: np.ndarray) -> np.ndarray:
    mask = np.zeros((300, 420), np.uint8)
    for outline in outlines:
        cv2.fillPoly(mask, [np.round(outline * 16).astype(np.int32)], 1, cv2.LINE_8, 4)
    return mask


@pytest.mark.parametrize(("deep", "count"), [(0.0, 2), (0.35, 1)])
def test_a_waist_is_a_reason_to_cut_only_where_pieces_that_stand_alone_have_none(deep, count):
    waisted = [_star(183, 150, 32, 5, 0.25, 0.3), _star(237, 150, 32, 5, 0.25, 2.0)]
    alone = [_star(x, y, 22, 7, deep, phase) for phase, (x, y) in enumerate(_ALONE)]
    assert _counted(_picture((_filled(*waisted, *alone), _BEIGE))) == len(_ALONE) + count


@pytest.mark.parametrize(("deep", "solid"), [(0.0, 0.97), (0.35, 0.8), (0.9, 0.8)])
def test_how_full_pieces_are_is_seen_on_those_that_stand_alone(deep, solid):
    stars = [_star(x, y, 22, 7, deep) for x, y in _ALONE]
    outlines = [*stars, *_squares((200, 10), (221, 10))]
    none = np.zeros(len(outlines), np.int32)
    found = Found(outlines, none, none, none.astype(np.int8))
    assert joined_again.solid_alone(found, [(8, 9)]) == pytest.approx(solid, abs=0.03)
    few = Found(outlines[6:], none[6:], none[6:], none[6:].astype(np.int8))
    assert joined_again.solid_alone(few, [(2, 3)]) == joined_again._USUAL_SOLID


def _squares(*corners: tuple[float, float]) -> list[np.ndarray]:
    square = np.array([[0, 0], [20, 0], [20, 20], [0, 20]], np.float32)
    return [square + np.array(corner, np.float32) for corner in corners]


@pytest.fixture
def row() -> Found:
    """Three squares in a row, cut from one cluster, and one that stands apart."""
    outlines = _squares((10, 10), (31, 10), (52, 10), (100, 10))
    flags = np.array([*3 * [bits("touching")], 0], np.int32)
    return Found(outlines, np.array([1, 1, 1, 0], np.int32), flags, np.array([1, 1, 1, 0], np.int8))


@pytest.fixture
def light():
    return prepare(_picture(), None, ())


def _judged(monkeypatch, row, light, evidence: dict[int, float]) -> Found:
    """What is joined where the borders at these places, in px from the left, have such evidence."""

    def traits(outlines: list[np.ndarray], light, alone: float) -> np.ndarray:
        first, second = sorted(outlines, key=lambda o: o[:, 0].min())
        return np.array([evidence[round(float(first[:, 0].max() + second[:, 0].min()) / 2)]])

    monkeypatch.setattr(joined_again, "seen_traits", traits)
    monkeypatch.setattr(joined_again, "evidence_of", lambda seen: float(seen[0]))
    return joined_again.joined_again(row, light, 0.5)


def test_a_row_is_joined_where_no_border_is_seen(monkeypatch, row, light):
    found = _judged(monkeypatch, row, light, {30: -9.0, 52: -8.0})
    assert sorted(round(float(np.ptp(o[:, 0]))) for o in found.outlines) == [20, 62]
    assert not found.parent.any()
    assert not found.flags.any()
    assert not found.origin.any()


def test_what_is_left_of_a_cluster_still_touches(monkeypatch, row, light):
    found = _judged(monkeypatch, row, light, {30: -9.0, 52: 5.0})
    assert sorted(round(float(np.ptp(o[:, 0]))) for o in found.outlines) == [20, 20, 41]
    assert np.count_nonzero(found.flags & bits("touching")) == 2
    assert np.array_equal(found.parent > 0, found.flags & bits("touching") > 0)


@pytest.mark.parametrize(("off", "count"), [(0.3, 4), (-0.3, 3)])
def test_a_border_in_doubt_is_told(monkeypatch, row, light, off, count):
    limit = joined_again._LIMIT
    found = _judged(monkeypatch, row, light, {30: limit + off, 52: limit + 9.0})
    assert len(found.outlines) == count
    assert np.count_nonzero(found.flags & bits("one_or_two")) == count - 2


def test_without_doubt_nothing_changes(monkeypatch, row, light):
    assert _judged(monkeypatch, row, light, {30: 9.0, 52: 9.0}) is row


@pytest.fixture
def small_beside_large() -> Found:
    """Two bits of one piece, one of them small, with as much between them as two half edges take."""
    large, small = np.array([[10, 10], [50, 10], [50, 50], [10, 50]], np.float32), _squares((52.6, 20))[0]
    small = (small - small[0]) * np.float32(0.6) + small[0]
    flags = np.array(2 * [bits("touching")], np.int32)
    return Found([large, small], np.array([1, 1], np.int32), flags, np.array([1, 1], np.int8))


def test_the_gap_beside_a_large_piece_is_bridged_however_small_the_other(
    monkeypatch, small_beside_large, light
):
    assert len(_judged(monkeypatch, small_beside_large, light, {51: -9.0}).outlines) == 1


@pytest.mark.parametrize(("width", "count"), [(40, 2), (80, 2), (60, 1)])
def test_an_edge_seen_in_either_size_of_the_picture_keeps_a_small_piece_from_a_large_one(
    monkeypatch, small_beside_large, light, width, count
):
    monkeypatch.setattr(
        joined_again,
        "step_between",
        lambda one, other, delta: abs(np.ptp(np.nonzero(one)[1]) + 1 - width) < 3,
    )
    assert len(_judged(monkeypatch, small_beside_large, light, {51: -9.0}).outlines) == count
