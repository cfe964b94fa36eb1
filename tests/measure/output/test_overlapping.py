"""Overlaps kept in a study: shared pieces counted once, taken back when a field goes, area seen once."""

from pathlib import Path

import numpy as np
import pytest

from measure.field.several.repeats import Overlap
from measure.flags import bits
from measure.model import FieldQuality, FieldResult, FieldSettings, Frame, Scale
from measure.output.overlapping import (
    count_shared_once,
    keep_links,
    kept_links,
    overlap_from,
    partners,
    plain_link,
    seen_once_share,
    weighed_with_others,
)
from measure.output.paste_seen import grams_seen
from measure.particles import Particles, make_particles
from measure.study.records import Batch, NewField, Slide
from measure.study.study import Study

QUALITY = FieldQuality(0.03, 0.11, 0.5, (226, 217, 188), 3.0, 0.0, 6.0)
SHIFT = Overlap(np.array([[1.0, 0, 60.0], [0, 1.0, 0]]), 0.4, 0.99, 30, 0.1)


def _disc(x: float, y: float, radius: float = 8.0) -> np.ndarray:
    turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    return np.column_stack([x + radius * np.cos(turn), y + radius * np.sin(turn)])


def _particles(*places: tuple[float, float]) -> Particles:
    count = len(places)
    return make_particles(
        [_disc(x, y) for x, y in places], label=np.arange(1, count + 1), flags=np.zeros(count, int),
        area_px2=np.full(count, 200.0), feret_h_px=np.full(count, 16.0), feret_v_px=np.full(count, 16.0),
    )  # fmt: skip


@pytest.fixture
def study(tmp_path: Path) -> Study:
    """Two fields of 100 x 80 px, the second 60 px to the right; one piece on both."""
    with Study.create(tmp_path / "s.gritline") as made:
        batch, scale = made.add_batch(Batch("pass 1")), made.add_scale(Scale(1.0))
        slide = made.add_slide(Slide(batch, "slide", dilution=50.0, film_um=50.0))
        new = [
            NewField(n, n.encode(), batch, scale, slide, width_px=100, height_px=80)
            for n in ("a.png", "b.png")
        ]
        for field_id, pieces in zip(
            made.add_fields(new), (((20, 40), (80, 40)), ((20, 40), (70, 30))), strict=True
        ):
            result = FieldResult(_particles(*pieces), Frame(100, 80), QUALITY, FieldSettings(), 1.0, 5.0)
            made.store_result(field_id, result)
        yield made


def _link(study: Study) -> list[int]:
    first, second = (row.id for row in study.fields())
    keep_links(study, [plain_link(first, second, SHIFT)])
    return [first, second]


def test_a_shared_piece_is_counted_once_and_weighed_for_both_fields(study):
    first, second = _link(study)
    assert count_shared_once(study) == 1
    one, two = study.particles(first), study.particles(second)
    assert one["set_aside"].tolist() == ["", ""]
    assert two["set_aside"].tolist() == ["also on a.png", ""]
    assert two["flags"].tolist() == [bits("repeat"), 0]
    # area 160 x 80; whole in either: 2 (84 x 64) less what both see whole, 24 x 64
    assert one["stated_weight"] == pytest.approx([160 * 80 / (2 * 84 * 64 - 24 * 64)] * 2)
    revision = study.revision(second)
    count_shared_once(study)  # nothing new to say
    assert study.revision(second) == revision
    study.undo()
    assert study.particles(second)["set_aside"].tolist() == ["", ""]


def test_what_a_removed_field_counted_is_counted_on_the_other_again(study):
    first, second = _link(study)
    count_shared_once(study)
    assert partners(study, [first]) == {first, second}
    study.remove_fields([first])
    assert kept_links(study) == []
    assert count_shared_once(study, [second]) == 0
    left = study.particles(second)
    assert left["set_aside"].tolist() == ["", ""]
    assert np.isnan(left["stated_weight"]).all()


def test_a_link_is_the_same_after_keeping_it(study):
    _link(study)
    assert overlap_from(kept_links(study)[0]).matrix.tolist() == SHIFT.matrix.tolist()
    assert plain_link(1, 2, None) == {"first": 1, "second": 2, "same": True}


def test_paste_seen_twice_is_weighed_once(study):
    _link(study)
    rows = study.fields()
    assert seen_once_share(rows, kept_links(study)) == pytest.approx({row.id: 0.8 for row in rows})
    scales = {row.id: row.scale for row in study.scales()}
    slides = {row.id: row.slide for row in study.slides()}
    each = grams_seen(rows, scales, slides)
    assert grams_seen(rows, scales, slides, kept_links(study)) == pytest.approx(0.8 * each)


def test_a_piece_drawn_by_hand_is_weighed_as_the_others_are(study):
    first, _ = _link(study)
    drawn = _particles((50, 40))
    assert weighed_with_others(study, first, drawn)["stated_weight"] == pytest.approx(
        [160 * 80 / (2 * 84 * 64 - 24 * 64)]
    )
    keep_links(study, [])
    assert weighed_with_others(study, first, drawn) is drawn
