"""Lines inside a piece are followed between places of its outline."""

import cv2
import numpy as np
import pytest

from measure.field.cuts import pale_lines
from measure.field.cuts.pale_lines import PaleLines
from measure.field.cuts.seams import contour_of
from measure.field.cuts.step_lines import StepLines


def _mottled(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """A round piece with lumps and a pale line across it, and its colour."""
    rng = np.random.default_rng(seed)
    mask = np.zeros((64, 70), np.uint8)
    cv2.ellipse(mask, (34, 31), (27, 22), float(rng.uniform(0, 180)), 0, 360, 1, -1)
    delta = -30.0 * mask[..., None] * np.array([1.0, -0.2, -0.4], np.float32)
    cv2.line(delta, (34, 5), (36, 58), (-12.0, 2.0, 5.0), 2)
    lumps = cv2.GaussianBlur(rng.normal(size=mask.shape), (0, 0), 1.5)
    delta += (6.0 * lumps / lumps.std())[..., None]
    return mask, cv2.GaussianBlur(delta.astype(np.float32), (0, 0), 1.0)


@pytest.mark.parametrize("kind", [PaleLines, StepLines])
def test_places_that_are_not_searched_have_no_line(kind: type, monkeypatch: pytest.MonkeyPatch):
    found, asked = 0, []
    for seed in range(6):
        mask, delta = _mottled(seed)
        contour = contour_of(mask)
        for first in (0, len(contour) // 3):
            ends = [contour[(first + k) % len(contour)] for k in (2, 4, 6, 9, 15, len(contour) // 2)]
            with monkeypatch.context() as patched:
                patched.setattr(pale_lines, "_is_apart", lambda *way: asked.append(way) or True)
                every = kind(mask, delta).between(contour[first], ends)
            for one, other in zip(kind(mask, delta).between(contour[first], ends), every, strict=True):
                assert (one is None) == (other is None)
                if one is not None and other is not None:
                    found += 1
                    assert np.array_equal(one.way, other.way)
                    assert one[1:] == other[1:]
    assert not all(pale_lines._is_apart(*way) for way in asked)
    assert found


def test_the_way_back_is_the_one_the_search_tells():
    rng = np.random.default_rng(3)
    for _ in range(5):
        cost = rng.random((23, 31)) + 0.05
        cost[rng.random(cost.shape) < 0.25] = -1.0
        cost[:, 15] = -1.0
        cost[3, 3] = 1.0
        search = pale_lines._search(cost)
        goals = [(int(y), int(x)) for y, x in np.argwhere(cost > 0)[::29]]
        _, steps = search.find_costs([(3, 3)], goals, find_all_ends=True)
        ways = np.asarray(search.offsets).tolist()
        reached = 0
        for goal in goals:
            back = pale_lines._way_back(steps, ways, goal)
            try:
                told = [tuple(map(int, place)) for place in search.traceback(goal)]
            except ValueError:
                assert not back
                continue
            reached += 1
            assert back == told
        assert 0 < reached < len(goals)


def test_the_tone_of_a_place_is_the_same_number_in_any_crop():
    mask, delta = _mottled(1)
    whole = PaleLines(mask, delta)._rough_tone
    for start in (1, 2, 3):
        crop = np.s_[start:-1, start:-2]
        part = PaleLines(np.ascontiguousarray(mask[crop]), delta[crop])
        assert part._rough_tone.tobytes() == np.ascontiguousarray(whole[crop]).tobytes()
