"""Places of fields on a slide, settling and the printed map."""

from itertools import pairwise
from pathlib import Path

import pytest

from measure.errors import InvalidInput
from measure.output.slide_map import write_slide_map
from measure.sizes.slide_plan import (
    SlidePlan,
    plan_slide,
    sampling_advice,
    settling_speed_um_s,
    settling_time_s,
)


def test_fields_lie_apart_on_the_glass_from_a_start_that_varies():
    starts = set()
    for seed in range(20):
        plan = plan_slide(12, seed=seed)
        places = plan.places_mm
        assert len(places) == 12
        starts.add(plan.start_mm)
        for x, y in places:
            assert 2.0 + 0.6 <= x <= 20.0 - 0.6
            assert 2.0 + 0.45 <= y <= 20.0 - 0.45
        for a, b in pairwise(places):
            assert (a[0] == pytest.approx(b[0])) != (a[1] == pytest.approx(b[1]))  # one step at a time
    assert len(starts) == 20
    assert plan_slide(12, seed=3) == plan_slide(12, seed=3)


def test_every_place_has_the_same_chance():
    # the middle of the first field is uniform over its step (systematic sampling, Cochran 1977)
    xs = [plan_slide(9, seed=s, field_mm=(0.01, 0.01)).start_mm[0] for s in range(2000)]
    step = 18 / 3
    thirds = [sum(2 + i * step / 3 <= x < 2 + (i + 1) * step / 3 for x in xs) for i in range(3)]
    assert sum(thirds) == 2000
    assert all(abs(n - 2000 / 3) < 4 * (2000 * 2 / 9) ** 0.5 for n in thirds)


def test_done_places_are_kept():
    plan = plan_slide(4, seed=1).with_done(0).with_done(2)
    assert plan.next_place == 1
    assert SlidePlan.from_json(plan.as_json()) == plan
    assert plan.with_done(2, False).done == (0,)
    with pytest.raises(InvalidInput):
        plan.with_done(4)
    with pytest.raises(InvalidInput):
        SlidePlan.from_json({"width_mm": 3})


@pytest.mark.parametrize(
    "bad", [{"fields": 0}, {"fields": 9, "margin_mm": 11}, {"fields": 9, "width_mm": -2}]
)
def test_what_cannot_be_is_refused(bad: dict):
    with pytest.raises(InvalidInput):
        plan_slide(**bad)


def test_too_many_fields_do_not_fit():
    with pytest.raises(InvalidInput, match="do not fit"):
        plan_slide(400, field_mm=(2.0, 2.0))


# Stokes' law worked for oil of 915 kg/m3 and 0.06 Pa s (worked by hand; the law: Stokes 1851)
@pytest.mark.parametrize(
    ("d", "solid", "speed"), [(5, 2165, 0.284), (30, 2165, 10.22), (5, 1350, 0.0988), (60, 1350, 14.2)]
)
def test_settling_follows_stokes(d: float, solid: float, speed: float):
    assert settling_speed_um_s(d, solid) == pytest.approx(speed, rel=0.005)


def test_time_to_wait():
    assert settling_time_s(50, 30) == pytest.approx(14, abs=0.3)
    assert "8 min" in " ".join(sampling_advice(50, 5))
    with pytest.raises(InvalidInput):
        settling_time_s(0, 5)


def test_map_is_a_page_that_says_where(tmp_path: Path):
    path = tmp_path / "map.pdf"
    write_slide_map(path, plan_slide(12, seed=5).with_done(0), "pass 3, dab 1")
    data = path.read_bytes()
    assert data.startswith(b"%PDF")
    assert data.count(b"/Type /Page\n") == 1 or b"/Count 1" in data
