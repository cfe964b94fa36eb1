"""Pieces that hide one another are cut along the edge that is seen between them; mottle is no such edge."""

import cv2
import numpy as np
import pytest

from measure.field.basics.masks import disc
from measure.field.components import cut_body
from measure.field.cuts.step_seams import cut_by_steps, step_between
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

OIL, BACK, FRONT = np.array([214.0, 206, 186]), np.array([150.0, 122, 80]), np.array([176.0, 146, 98])
SIZE = (200, 260)
BEHIND, BEFORE = (100.0, 100.0, 42.0), (150.0, 96.0, 34.0)  # x, y, radius


def _disc(x: float, y: float, radius: float) -> np.ndarray:
    down, across = np.indices(SIZE)
    return np.clip(radius - np.hypot(across + 0.5 - x, down + 0.5 - y) + 0.5, 0, 1)[..., None]


def _picture(before: np.ndarray = FRONT, mottle: float = 3.0) -> Picture:
    """An opaque disc before another, both a little uneven."""
    rng = np.random.default_rng(4)
    lumps = cv2.GaussianBlur(rng.normal(size=SIZE), (0, 0), 4.0)
    light = np.broadcast_to(OIL, (*SIZE, 3))
    for place, colour in ((BEHIND, BACK), (BEFORE, before)):
        own = _disc(*place)
        light = light * (1 - own) + (colour + mottle * lumps[..., None] / lumps.std()) * own
    seen = cv2.GaussianBlur(light, (0, 0), 1.0) + rng.normal(0, 1.5, (*SIZE, 3))
    return Picture(np.clip(np.rint(seen), 0, 255).astype(np.uint8), name="two discs")


def _diameters(picture: Picture) -> list[float]:
    particles = measure_field(picture, FieldSettings(), 1.0).particles
    return sorted(particles.diameter_px[particles["set_aside"] == ""].tolist())


def _delta(colours: dict[str, np.ndarray]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """CIELAB difference of two discs, with the mask of each as far as it is seen."""
    before = (_disc(*BEFORE)[..., 0] > 0.5).view(np.uint8)
    behind = (_disc(*BEHIND)[..., 0] > 0.5).view(np.uint8) & (1 - before)
    delta = np.zeros((*SIZE, 3), np.float32)
    delta[behind > 0], delta[before > 0] = colours["behind"], colours["before"]
    noise = np.random.default_rng(6).normal(0, 0.4, delta.shape).astype(np.float32)
    return cv2.GaussianBlur(delta, (0, 0), 1.0) + noise, behind, before


TWO = {"behind": np.array([-38.0, 6, 14]), "before": np.array([-27.0, 5, 16])}
ONE = {"behind": np.array([-30.0, 6, 15]), "before": np.array([-30.0, 6, 15])}


def test_the_piece_in_front_has_its_whole_outline():
    smaller, larger = _diameters(_picture())
    assert smaller == pytest.approx(68, rel=0.02)
    assert 70 < larger < 84  # what the front leaves of it


def test_without_such_cuts_the_edge_is_not_followed(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(cut_body, "cut_by_steps", lambda mask, *_: (mask > 0).astype(np.int32))
    found = _diameters(_picture(before=BACK + 20.0))
    assert found[0] != pytest.approx(68, rel=0.03)


def test_a_faint_edge_is_followed_too():
    assert _diameters(_picture(before=BACK + 20.0))[0] == pytest.approx(68, rel=0.03)


def test_a_step_between_two_tones_is_a_cut_and_an_even_piece_is_whole():
    delta, behind, before = _delta(TWO)
    labels = cut_by_steps(behind | before, delta, 100.0)
    assert labels.max() == 2
    one = labels == labels[int(BEFORE[1]), int(BEFORE[0]) + 10]
    assert (one & (before > 0)).sum() / (one | (before > 0)).sum() > 0.96
    even, behind, before = _delta(ONE)
    assert cut_by_steps(behind | before, even, 100.0).max() == 1


def test_a_large_piece_is_cut_in_reduced_size():
    delta, behind, before = (np.repeat(np.repeat(part, 4, axis=0), 4, axis=1) for part in _delta(TWO))
    labels = cut_by_steps(behind | before, delta, 1600.0)
    assert labels.max() == 2
    assert ((labels > 0) == ((behind | before) > 0)).all()
    one = labels == labels[int(4 * BEFORE[1]), int(4 * BEFORE[0]) + 40]
    assert (one & (before > 0)).sum() / (one | (before > 0)).sum() > 0.96
    assert step_between(behind, before, delta)


def test_less_cut_strength_asks_more_evidence():
    faint = {"behind": np.array([-33.0, 6, 15]), "before": np.array([-30.0, 6, 15])}
    delta, behind, before = _delta(faint)
    assert cut_by_steps(behind | before, delta, 100.0).max() == 2
    assert cut_by_steps(behind | before, delta, 100.0, cut_strength=0.05).max() == 1


def test_neighbours_of_two_tones_stay_two():
    delta, behind, before = _delta(TWO)
    assert step_between(behind, before, delta)
    even, behind, before = _delta(ONE)
    assert not step_between(behind, before, even)


def test_mottle_of_one_piece_is_no_edge():
    """A lobed, lumpy piece stays whole, however its lumps lie."""
    for seed in range(6):
        rng = np.random.default_rng(seed)
        lumps = cv2.GaussianBlur(rng.normal(size=SIZE), (0, 0), 6.0)
        mask = np.zeros(SIZE, np.uint8)
        mask[100 - 40 : 100 + 41, 110 - 40 : 110 + 41] = disc(40)
        mask[60:131, 110:181] |= disc(35)
        delta = np.where(mask[..., None] > 0, ONE["before"] * (1 + 0.12 * lumps / lumps.std())[..., None], 0)
        delta = cv2.GaussianBlur(delta.astype(np.float32), (0, 0), 1.0)
        assert cut_by_steps(mask, delta, 100.0).max() == 1


def test_a_piece_is_cut_alike_however_much_room_is_about_it():
    delta, behind, before = _delta(TWO)
    both = behind | before
    near = np.s_[40:158, 42:199]
    labels = cut_by_steps(both, delta, 100.0)
    own = cut_by_steps(np.ascontiguousarray(both[near]), np.ascontiguousarray(delta[near]), 100.0)
    assert own.max() == 2
    assert np.array_equal(own, labels[near])
