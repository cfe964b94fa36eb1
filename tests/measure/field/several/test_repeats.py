"""Copies, overlaps, shared pieces and joined fields, on drawn slides with known truth."""

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.field.advice import KEEP, LOOK, RETAKE, FieldSummary, advise, fields_agree
from measure.field.several.fuse import fuse_stack
from measure.field.several.repeats import Overlap, find_overlap, same_picture, small_copy
from measure.field.several.shared_pieces import repeats_of, shared_pieces
from measure.field.several.stitch import join_fields
from measure.flags import bits
from measure.model import FieldQuality, Picture
from measure.particles import make_particles
from measure.picture_file import read_picture
from measure.render import Recipe, Rendered, render_field
from measure.render.recipe import Arrangement, Camera, Sizes
from measure.render.walk import cut_window, render_stack

SIZE = (420, 360)
RECIPE = Recipe(
    width_px=820, height_px=480, sizes=Sizes(26.0, 1.5, 8.0, 70.0), arrangement=Arrangement(cover=0.08)
)


@cache
def drawn() -> Rendered:
    return render_field(RECIPE, 5)


@cache
def walk() -> list:
    cuts = ((230, 230, 0.0, 1.0), (440, 250, 1.5, 0.9), (600, 220, -1.0, 0.95))
    return [
        cut_window(drawn(), (x, y), SIZE, angle, light=light, seed=place)
        for place, (x, y, angle, light) in enumerate(cuts)
    ]


def pictures() -> list[Picture]:
    return [Picture(window.pixels, name=f"w{i}.png") for i, window in enumerate(walk())]


def true_matrix(first, second) -> np.ndarray:
    back = np.vstack([cv2.invertAffineTransform(first.matrix), [0, 0, 1]])
    return (back @ np.vstack([second.matrix, [0, 0, 1]]))[:2]


def test_the_same_picture_stored_anew_or_scaled_is_told():
    picture = Picture(walk()[0].pixels)
    stored = cv2.imencode(".jpg", walk()[0].pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 60])[1].tobytes()
    smaller = cv2.resize(walk()[0].pixels, None, fx=0.6, fy=0.6, interpolation=cv2.INTER_AREA)
    own = small_copy(picture)
    assert same_picture(own, small_copy(read_picture(stored, "copy.jpg")))
    assert same_picture(own, small_copy(Picture(smaller)))
    assert not same_picture(own, small_copy(Picture(walk()[1].pixels)))


def test_overlap_is_registered_to_a_fraction_of_a_pixel():
    first, second = pictures()[:2]
    overlap = find_overlap(first, second)
    assert overlap is not None
    truth = true_matrix(*walk()[:2])
    corners = np.array([[0, 0], [0, SIZE[1]], [200, 100]], float)
    miss = overlap.moved(corners) - (corners @ truth[:, :2].T + truth[:, 2])
    assert np.hypot(*miss.T).max() < 0.5
    assert overlap.angle_deg == pytest.approx(1.5, abs=0.1)
    region = overlap.region(*SIZE, *SIZE)
    assert 0.3 < cv2.contourArea(region.astype(np.float32)) / (SIZE[0] * SIZE[1]) < 0.6


def test_fields_that_share_nothing_have_no_overlap():
    other = render_field(RECIPE, 6)
    strange = cut_window(other, (230, 230), SIZE, seed=3)
    assert find_overlap(pictures()[0], Picture(strange.pixels)) is None
    assert find_overlap(pictures()[0], Picture(np.full((360, 420, 3), 200, np.uint8))) is None


def disc(x: float, y: float, radius: float) -> np.ndarray:
    turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    return np.column_stack([x + radius * np.cos(turn), y + radius * np.sin(turn)])


def test_shared_pieces_are_counted_where_they_are_whole():
    # the second field lies 60 px to the right of the first, both 100 px wide
    overlap = Overlap(np.array([[1.0, 0, 60.0], [0, 1.0, 0]]), 0.4, 0.99, 30, 0.1)
    edge = bits("touches_frame")
    first = make_particles(
        [disc(20, 50, 8), disc(80, 30, 8), disc(95, 70, 8)], label=[1, 2, 3], flags=[0, 0, edge]
    )
    second = make_particles(
        [disc(20.3, 30.2, 8), disc(35, 70, 8), disc(80, 50, 8)], label=[4, 5, 6], flags=[0, 0, 0]
    )
    shared = shared_pieces(first, second, overlap)
    assert sorted(zip(shared.first.tolist(), shared.second.tolist(), strict=True)) == [(1, 0), (2, 1)]
    gone1, gone2 = repeats_of(shared, first, second)
    assert gone1.tolist() == []  # the one cut by the edge is not counted anyway
    assert gone2.tolist() == [4]
    nothing = shared_pieces(make_particles([]), second, overlap)
    assert len(nothing.first) == 0


def test_a_walk_joins_into_one_wide_field():
    wide = join_fields(pictures())
    truth = walk()
    for matrix, window in zip(wide.matrices, truth, strict=True):
        own = true_matrix(truth[0], window)
        middle = np.array([SIZE[0] / 2, SIZE[1] / 2])
        back = cv2.invertAffineTransform(wide.matrices[0])
        there = matrix[:, :2] @ middle + matrix[:, 2]
        miss = back[:, :2] @ there + back[:, 2] - (own[:, :2] @ middle + own[:, 2])
        assert np.hypot(*miss) < 0.7
    assert wide.pixels.shape[1] > 700
    # what nobody pictured is left out, what was pictured is not
    mask = np.zeros(wide.pixels.shape[:2], np.uint8)
    for zone in wide.zones:
        cv2.fillPoly(mask, [np.round(zone).astype(np.int32)], 1)
    assert 0.0 < mask.mean() < 0.35


def test_a_field_that_belongs_elsewhere_is_named():
    plain = Picture(np.full((360, 420, 3), 200, np.uint8), name="plain.png")
    with pytest.raises(InvalidInput, match=r"plain\.png shows no place"):
        join_fields([*pictures()[:2], plain])


def test_a_stack_fuses_into_a_sharper_field():
    recipe = Recipe(
        width_px=500, height_px=400, sizes=Sizes(26.0, 1.4, 10.0, 60.0), arrangement=Arrangement(cover=0.05),
        camera=Camera(depth_um=40.0, blur_px_per_um=0.12),
    )  # fmt: skip
    stack = render_stack(recipe, 3, (-30.0, 0.0, 30.0), growth_per_um=1e-4)
    fused = fuse_stack([Picture(d.pixels, name=f"h{i}") for i, d in enumerate(stack)])
    assert fused.growth == pytest.approx((0.997, 1.0, 1.003), abs=0.001)
    ideal = render_field(Recipe(**{**recipe.__dict__, "camera": Camera(depth_um=0.0)}), 3).pixels
    smooth = [
        cv2.GaussianBlur(p.astype(np.float32), (0, 0), 1.0) for p in (ideal, stack[1].pixels, fused.pixels)
    ]
    slope = np.hypot(*(np.gradient(smooth[0].mean(axis=2))))
    edges = slope > np.quantile(slope, 0.95)
    alone, after = (np.abs(p - smooth[0])[edges].mean() for p in smooth[1:])
    assert after < 0.6 * alone
    assert set(np.unique(fused.chosen)) <= {0, 1, 2}


def test_a_stack_of_other_places_is_refused():
    first, second = walk()[0].pixels, render_field(RECIPE, 9).pixels[:360, :420]
    with pytest.raises(InvalidInput, match=r"a\.png does not show the same place"):
        fuse_stack([Picture(first, name="a.png"), Picture(second, name="b.png")])
    with pytest.raises(InvalidInput, match="not of the same size"):
        fuse_stack([Picture(first, name="a.png"), Picture(second[:100], name="b.png")])
    with pytest.raises(InvalidInput, match="at least two"):
        fuse_stack([Picture(first)])


def quality(**changes: object) -> FieldQuality:
    plain = FieldQuality(0.03, 0.11, 0.5, (226, 217, 188), 3.0, 0.0, 6.0)
    return replace(plain, **changes)


@pytest.mark.parametrize(
    ("changes", "edge", "verdict", "word"),
    [
        ({}, 8, KEEP, "good"),
        ({"cover": 0.15, "contacts_expected": 0.45}, 8, LOOK, "45 %"),
        ({"cover": 0.5, "contacts_expected": 0.86}, 8, RETAKE, "oil"),
        ({"focus": 20.0}, 8, RETAKE, "focus"),
        ({"clipped": 0.05}, 8, LOOK, "exposure"),
        ({"unevenness": 60.0}, 8, RETAKE, "light"),
        ({"oil_rgb": (250, 160, 20)}, 8, LOOK, "white balance"),
        ({}, 45, LOOK, "edge"),
        ({"focus": float("nan")}, 0, KEEP, "good"),
    ],
)
def test_advice_names_the_gravest_reason(changes: dict, edge: int, verdict: str, word: str):
    advice = advise(quality(**changes), 100, edge)
    assert (advice.verdict, word in advice.reason) == (verdict, True)
    assert advice.edge_share == edge / 100


def test_a_field_without_pieces_is_taken_again():
    assert advise(quality(), 0, 0).verdict == RETAKE


def test_light_is_not_called_good_where_something_is_said_of_it():
    assert "light" in advise(quality(), 100, 0).reason
    shaded = replace(quality(), warnings=("Lamps at the side throw shadows of pieces on 3 % of the field.",))
    assert advise(shaded, 100, 0).verdict == KEEP
    assert "light" not in advise(shaded, 100, 0).reason
    assert "what else is said" in advise(shaded, 100, 0).reason


def summaries(*medians: float, count: int = 100) -> list[FieldSummary]:
    return [FieldSummary(f"f{i}", count, m, 0.05, 210.0) for i, m in enumerate(medians)]


def test_one_odd_field_is_named_and_chance_is_not():
    assert fields_agree(summaries(30, 31, 29, 30.5, 29.5)).odd == {}
    odd = fields_agree(summaries(30, 31, 29, 30.5, 75)).odd
    assert list(odd) == ["f4"]
    assert "median size 2.5 times" in odd["f4"]
    few = fields_agree(summaries(30, 55))
    assert not few.checked
    counts = [*summaries(30, 30, 30, 30), FieldSummary("empty", 2, 30, 0.05, 210.0)]
    assert "pieces" in fields_agree(counts).odd["empty"]


def test_a_hundred_times_as_many_pieces_is_written_out():
    fields = [FieldSummary(f"e{i}", 1, 30, 0.001, 210.0) for i in range(4)]
    odd = fields_agree([*fields, FieldSummary("full", 1234, 30, 0.001, 210.0)]).odd
    assert odd["full"].startswith("pieces 1,200 times that of")


def test_random_fields_of_one_slide_are_rarely_called_odd():
    rng = np.random.default_rng(1)
    called = 0
    for _ in range(200):
        n = rng.poisson(60, 6)
        fields = [
            FieldSummary(
                f"f{i}", int(k), float(np.median(rng.lognormal(3, 0.5, k))), 0.05 * k / 60, 210.0, 0.5
            )
            for i, k in enumerate(n)
        ]
        called += bool(fields_agree(fields).odd)
    assert called <= 4


def test_a_like_bubble_in_both_strips_is_no_shared_place():
    """Two fields that share nothing were counted once where one bubble looked alike in both."""

    def field(seed: int, column: int) -> Picture:
        rng = np.random.default_rng(seed)
        grey = np.full(SIZE[::-1], 200, np.float32)
        for x, y in rng.uniform((90, 10), (SIZE[0] - 90, SIZE[1] - 10), (25, 2)):
            cv2.circle(grey, (int(x), int(y)), int(rng.integers(4, 9)), 150, -1)
        cv2.circle(grey, (column, 180), 24, 40, 8)
        grey = cv2.GaussianBlur(grey, (0, 0), 1.2) + rng.normal(0, 2, grey.shape)
        return Picture(np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, axis=2))

    assert find_overlap(field(1, SIZE[0] - 35), field(2, 35)) is None
