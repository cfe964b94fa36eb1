import dataclasses

import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.model import Scale
from measure.study.records import Batch, Slide, SpotCheck, Tasting
from measure.study.study import Study
from tests.measure.study.builders import contents, fill, picture


def test_a_scale_keeps_its_numbers_its_picture_and_its_fit(study: Study) -> None:
    scale = Scale(
        0.25, 0.0002, "10x", 600, 400, 10.0, 0.3, 41, 0.11, 0.4, 2.0, "2024-05-01", "ruling", ("dusty",)
    )
    lines = np.arange(8, dtype="f4").reshape(2, 4)
    scale_id = study.add_scale(scale, b"ruling", "ruling.png", fit={"lines": lines})
    plain_id = study.add_scale(Scale(np.float32(0.5)))
    first, second = study.scales()
    assert (first.id, second.id) == (scale_id, plain_id)
    assert first.scale == scale
    assert first.fit == {"lines": lines.tolist()}
    assert (first.picture_name, first.has_picture) == ("ruling.png", True)
    assert study.scale_picture(scale_id) == b"ruling"
    assert study.scale_picture(plain_id) is None
    assert second.scale.made
    study.update_scale(scale_id, dataclasses.replace(scale, um_per_px=0.26))
    assert study.scales()[0].scale.um_per_px == 0.26


@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf")])
def test_a_senseless_scale_is_refused(study: Study, value: float) -> None:
    with pytest.raises(InvalidInput, match="more than 0"):
        study.add_scale(Scale(value))
    assert study.scales() == []


def test_batches_and_slides_come_back(study: Study) -> None:
    batch = Batch("pass 6", "hazelnut, salt", "gap 20", 6.0, 12.5, "warm")
    batch_id = study.add_batch(batch)
    slide = Slide(batch_id, "a", 50.0, "sunflower oil", 30.0, "thin")
    slide_id = study.add_slide(slide)
    assert study.batches()[0].batch == batch
    assert study.slides()[0].slide == slide
    study.update_batch(batch_id, Batch("pass 7"))
    study.update_slide(slide_id, dataclasses.replace(slide, film_um=None))
    assert study.batches()[0].batch == Batch("pass 7")
    assert study.slides()[0].slide.film_um is None


def test_what_is_in_use_is_not_removed(study: Study) -> None:
    fill(study)
    slide = study.add_slide(Slide(1, "a"))
    study.update_field(1, slide_id=slide)
    before = contents(study)
    with pytest.raises(InvalidInput, match=r"This scale is used by one\.png"):
        study.remove_scale(1)
    with pytest.raises(InvalidInput, match=r"Batch pass 3 is used by one\.png, slide a"):
        study.remove_batch(1)
    with pytest.raises(InvalidInput, match=r"Slide a is used by one\.png"):
        study.remove_slide(slide)
    assert contents(study) == before
    study.remove_fields([1])
    study.remove_slide(slide)
    study.remove_batch(1)
    study.remove_scale(1)
    assert not any(contents(study).values())


def test_what_is_not_there_is_told(study: Study) -> None:
    for call in (
        lambda: study.remove_batch(5),
        lambda: study.update_scale(5, Scale(1.0)),
        lambda: study.add_slide(Slide(5, "a")),
        lambda: study.remove_tasting(5),
        lambda: study.add_fields([picture(batch_id=5)]),
    ):
        with pytest.raises(InvalidInput, match=r"There is no .* 5 in spread\.gritline any more"):
            call()
    assert study.undo_text() is None


def test_tastings_and_spot_checks_keep_plain_values(study: Study) -> None:
    tasting = Tasting("triangle", (1, 2), "Tuesday", {"codes": np.array([317, 842])}, {}, made="2024-05-01")
    tasting_id = study.add_tasting(tasting)
    check_id = study.add_spot_check(SpotCheck((1,), plan={"labels": [4, 8]}))
    made = study.spot_checks()[0].check.made
    study.update_tasting(
        tasting_id, dataclasses.replace(tasting, results={"right": np.int64(7)}, closed=True)
    )
    study.update_spot_check(check_id, SpotCheck((1,), results={"bias": np.float32(0.5)}))
    kept = study.tastings()[0].tasting
    assert (kept.kind, kept.batch_ids, kept.closed, kept.made) == ("triangle", (1, 2), True, "2024-05-01")
    assert kept.plan == {"codes": [317, 842]}
    assert kept.results == {"right": 7}
    check = study.spot_checks()[0].check
    assert (check.results, check.made) == ({"bias": 0.5}, made)
    study.remove_tasting(tasting_id)
    study.remove_spot_check(check_id)
    assert study.tastings() == study.spot_checks() == []
