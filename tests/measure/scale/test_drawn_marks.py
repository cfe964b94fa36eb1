"""Marks drawn in one exact tone: bars, words and lines are told from what lenses show."""

import cv2
import numpy as np
import pytest

from measure.field.ground.light import zone_mask
from measure.field.marks.own_marks import are_by_itself, mark_zones
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture
from measure.scale import drawn_marks
from measure.scale.burnt_in import find_burnt_in
from measure.scale.drawn_marks import find_drawn

_SIZE = (420, 640)


def smear(seed: int = 4) -> np.ndarray:
    """Oil with grains, a clear crystal with level rims and a black speck, blurred, with noise, (M, N, 3)."""
    rng = np.random.default_rng(seed)
    pixels = np.full((*_SIZE, 3), (226, 219, 202), np.float32)
    for x, y, r in ((90, 120, 22), (200, 250, 30), (420, 90, 18), (520, 180, 26), (60, 330, 15)):
        cv2.circle(pixels, (x, y), r, (150, 110, 60), -1, cv2.LINE_AA)
    cv2.rectangle(pixels, (300, 190), (370, 250), (165, 160, 148), 3)
    cv2.circle(pixels, (580, 60), 20, (-60, -60, -60), -1)  # burnt to black: one tone, but a soft edge
    pixels = cv2.GaussianBlur(pixels, (0, 0), 0.9) + rng.normal(0, 2, pixels.shape)
    return np.clip(pixels, 0, 255).astype(np.uint8)


def marked(tone: tuple[int, int, int], seed: int = 4) -> np.ndarray:
    """The same with a bar, its words and a date, (M, N, 3)."""
    pixels = smear(seed)
    cv2.rectangle(pixels, (420, 380), (579, 387), tone, -1)
    cv2.putText(pixels, "50 um", (450, 370), cv2.FONT_HERSHEY_SIMPLEX, 0.8, tone, 2, cv2.LINE_AA)
    cv2.putText(pixels, "12:46 x10", (8, 26), cv2.FONT_HERSHEY_DUPLEX, 0.7, tone, 1, cv2.LINE_AA)
    return pixels


@pytest.mark.parametrize("tone", [(0, 0, 0), (255, 255, 255), (255, 0, 0), (150, 80, 30)])
def test_a_bar_and_words_are_covered_and_no_piece_is(tone: tuple[int, int, int]):
    pixels = marked(tone)
    found = find_drawn(Picture(pixels))
    covered = zone_mask(_SIZE, found.areas)
    changed = (pixels != smear()).any(axis=2)
    assert covered is not None
    assert covered[changed].all()
    assert cv2.dilate(changed.astype(np.uint8), np.ones((31, 31)))[covered > 0].all()
    assert found.bars == ((420, 380, 579, 387),)
    (bar,) = find_burnt_in(Picture(pixels)).bars
    assert bar.length_px == 160


def test_nothing_is_found_in_a_smear():
    for seed in range(5):
        assert find_drawn(Picture(smear(seed))).areas == ()


def test_noise_in_rows_of_a_dark_ground_draws_no_bars():
    """Sensors read row by row; what a row shares is clipped at black and reads as level bars."""
    rng = np.random.default_rng(2)
    pixels = np.full((*_SIZE, 3), 28.0) + rng.normal(0, 16, (_SIZE[0], 1, 1)) + rng.normal(0, 3, (*_SIZE, 1))
    for x, y in ((90, 120), (200, 250), (420, 90), (520, 180)):
        cv2.ellipse(pixels, (x, y), (34, 12), x % 180, 0, 360, (215, 212, 200), -1, cv2.LINE_AA)
    pixels = np.clip(cv2.GaussianBlur(pixels, (0, 0), 0.5), 0, 255).astype(np.uint8)
    done, data = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, 70])
    assert done
    assert find_drawn(Picture(cv2.imdecode(data, cv2.IMREAD_COLOR))).areas == ()
    cv2.putText(pixels, "12:46 x10", (8, 400), cv2.FONT_HERSHEY_SIMPLEX, 0.8, (255, 255, 255), 2)
    assert len(find_drawn(Picture(pixels)).areas) == 1


def test_a_black_bar_and_words_are_found_after_compression():
    done, data = cv2.imencode(".jpg", marked((0, 0, 0))[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 85])
    assert done
    found = find_drawn(Picture(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1].copy()))
    assert [bar[0] for bar in found.bars] == [420]
    covered = zone_mask(_SIZE, found.areas)
    assert covered is not None
    lower = np.s_[_SIZE[0] // 2 :]  # where the bar and its words are; the date's thin lines suffer more
    assert covered[lower][(marked((0, 0, 0)) != smear()).any(axis=2)[lower]].mean() > 0.97


def test_a_slanted_line_leaves_out_little_more_than_itself():
    pixels = smear()
    cv2.line(pixels, (60, 60), (560, 300), (0, 0, 255), 2, cv2.LINE_AA)
    cv2.putText(pixels, "237.7 um", (330, 150), cv2.FONT_HERSHEY_SIMPLEX, 0.6, (0, 0, 255), 2, cv2.LINE_AA)
    covered = zone_mask(_SIZE, find_drawn(Picture(pixels)).areas)
    changed = (pixels != smear()).any(axis=2)
    assert covered is not None
    assert covered[changed].mean() > 0.99
    assert covered.sum() < 4 * changed.sum()


def test_nothing_is_counted_in_marks_and_they_are_named():
    settings = FieldSettings()
    plain = measure_field(Picture(smear()), settings, 0.5)
    result = measure_field(Picture(marked((0, 0, 0))), settings, 0.5)

    def counted(one: object) -> int:
        return int((one.particles["set_aside"] == "").sum())  # type: ignore[attr-defined]

    assert counted(result) == counted(plain)
    (note,) = [note for note in result.notes if "drawn into the picture is left out" in note]
    assert "417,377,583,391" in note
    assert len(result.frame.zones) == len(find_drawn(Picture(marked((0, 0, 0)))).areas)
    kept = measure_field(Picture(marked((0, 0, 0))), settings, 0.5, border=False)
    assert kept.frame.zones == ()
    assert any("as was asked for" in note for note in kept.notes)


def test_marks_left_out_already_are_not_left_out_again():
    picture = Picture(marked((255, 0, 0)))
    zones = mark_zones(picture)
    assert len(zones) >= 2
    assert mark_zones(picture, zones) == ()
    assert are_by_itself(picture, (*zones, np.array([[10, 300], [90, 300], [90, 380.0]]))) == [True] * len(
        zones
    ) + [False]


def test_shades_of_the_ground_are_no_bars():
    pixels = smear()
    cv2.rectangle(pixels, (300, 300), (349, 302), (190, 184, 170), -1)
    pixels[300:303, 300:350] += (
        np.arange(50, dtype=np.uint8)[:, None] % 2
    )  # no exact tone; level, but a mere shade
    assert find_burnt_in(Picture(pixels)).bars == ()


@pytest.mark.parametrize("rows", [5, 9, 33, 1000])
def test_a_picture_looked_at_in_strips_shows_the_same_tones(rows: int, monkeypatch: pytest.MonkeyPatch):
    pixels = marked((150, 80, 30))
    pixels[200:206, 100:160] = (10, 200, 90)
    usual = np.median(pixels.reshape(-1, 3), axis=0)
    whole = [tone.tolist() for tone in drawn_marks._tones(pixels, usual)]
    monkeypatch.setattr(drawn_marks, "_STRIP_ROWS", rows)
    assert [150, 80, 30] in whole
    assert [10, 200, 90] in whole
    assert [tone.tolist() for tone in drawn_marks._tones(pixels, usual)] == whole
