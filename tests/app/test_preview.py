"""A preview shows what measuring will find, also where a lamp or a lens changes how pieces look."""

from weakref import ref

import numpy as np
import pytest

from app import jobs, preview_work
from measure.field.ground.light import prepare
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture
from tests.measure.field.ground.test_phase_halo import _discs, _phase


@pytest.mark.parametrize("given_back", [0.7, 1.4])
def test_glows_of_phase_contrast_are_no_pieces_of_a_preview_either(given_back):
    picture = _phase(_discs(), given_back)
    light = jobs.make_light(picture, None, ())
    whole = (0.0, 0.0, float(picture.width_px), float(picture.height_px))
    shown = preview_work.preview(light, FieldSettings(), 1.0, whole)
    found = measure_field(picture, FieldSettings(), 1.0).particles
    counted = [o for o, aside in zip(found.outlines, found["set_aside"], strict=True) if not aside]
    assert len(shown.outlines) == len(counted) == 12
    middles = [np.sort([o.mean(axis=0)[0] for o in outlines]) for outlines in (shown.outlines, counted)]
    assert np.abs(middles[0] - middles[1]).max() < 1.0


def _dotted(spacing_px: int) -> Picture:
    """Dark dots on a square grid, 1000 x 1000 px."""
    y, x = np.mgrid[:1000, :1000]
    off = [np.abs(axis % spacing_px - spacing_px // 2) for axis in (x, y)]
    grey = 200 - 100 * (np.hypot(*off) < 6) + np.random.default_rng(1).normal(0, 1, x.shape)
    return Picture(np.repeat(grey.astype(np.uint8)[..., None], 3, axis=2), name="dots")


def test_a_preview_looks_first_at_less_where_there_is_more_to_outline():
    few, many = (
        preview_work.looks_mpx(prepare(_dotted(spacing)), (0.0, 0.0, 1000.0, 1000.0)) for spacing in (200, 20)
    )
    assert few == (preview_work.FIRST_MPX, preview_work.PREVIEW_MPX)
    assert many[0] < 0.5 * preview_work.FIRST_MPX
    assert list(many) == sorted(set(many))
    assert many[-1] == preview_work.PREVIEW_MPX


def test_a_small_view_that_is_crowded_is_begun_with_less_of_it_too():
    light = prepare(_dotted(20))
    looks = preview_work.looks_mpx(light, (400.0, 400.0, 600.0, 600.0))
    assert looks[0] < 0.04
    assert not preview_work.preview(light, FieldSettings(), 1.0, (400.0, 400.0, 600.0, 600.0), looks[0]).whole


def test_a_part_of_no_size_is_looked_at_in_full():
    light = prepare(_dotted(100))
    shown = preview_work.preview(light, FieldSettings(), 1.0, (2000.0, 2000.0, 2100.0, 2100.0))
    assert shown.whole
    assert shown.outlines == []


def test_what_no_setting_changes_is_told_once_for_a_part_of_a_field():
    one, other = (prepare(_dotted(spacing)) for spacing in (50, 100))
    parts = preview_work.LevelledParts()
    kept = parts.of(one, (0, 0, 200, 200))
    assert parts.of(one, (0, 0, 200, 200)) is kept
    assert parts.of(one, (0, 0, 200, 300)).delta.shape == (300, 200, 3)
    assert parts.of(one, (0, 0, 200, 200)) is kept
    assert parts.of(other, (0, 0, 200, 200)) is not kept


def test_a_field_left_behind_is_not_kept_for_its_parts_nor_they_without_it():
    light = prepare(_dotted(50))
    parts = preview_work.LevelledParts()
    field, part = ref(light), ref(parts.of(light, (0, 0, 200, 200)))
    assert part() is not None
    del light
    assert field() is None
    assert part() is None
