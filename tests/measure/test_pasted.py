"""Pictures put together from real cut-outs: stored outlines, placing, and composing with a drawn stand-in."""

import json

import cv2
import numpy as np
import pytest
from shapely import contains_xy
from shapely.geometry import Point, Polygon

from tests.benchmarks.pasted import compose as composing
from tests.benchmarks.pasted import ground as grounds
from tests.benchmarks.pasted import show, sources
from tests.benchmarks.pasted.__main__ import judge
from tests.benchmarks.pasted.compose import compose
from tests.benchmarks.pasted.looks import HELD, LOOKS, REPORT_SEEDS, TUNE_SEEDS, Look
from tests.benchmarks.pasted.place import HEAPED, HIDDEN, Table
from tests.benchmarks.pasted.show import COLUMNS, SIDE_PX, faults_sheet, outlines_sheet

SIDE = 360


def _stand_in(file: str, reduced: float) -> np.ndarray:
    """A grainy grey sheet with a red disc of 60 px in its middle."""
    pixels = np.full((SIDE, SIDE, 3), 190.0)
    y, x = np.mgrid[0:SIDE, 0:SIDE]
    pixels[np.hypot(x + 0.5 - SIDE / 2, y + 0.5 - SIDE / 2) < 30] = (150, 60, 50)
    noise = np.random.default_rng(1).normal(0, 2, pixels.shape)
    return np.clip(pixels + noise, 0, 255).astype(np.uint8)


@pytest.fixture
def stand_in(monkeypatch, tmp_path):
    """Drawn pixels in the place of the real pictures, one look and one cut-out."""
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    disc = SIDE / 2 + 30 * np.column_stack([np.cos(angle), np.sin(angle)])
    (tmp_path / "disc.json").write_text(
        json.dumps({"picture": "disc.png", "reduced": 1, "outlines_px": [disc.tolist(), disc.tolist()]})
    )
    for module in (sources, grounds, show):
        monkeypatch.setattr(module, "picture", _stand_in)
    for module in (sources, show):
        monkeypatch.setattr(module, "HERE", tmp_path)
    monkeypatch.setitem(grounds.GROUNDS, "sheet", grounds.GroundSource("disc.png", patch_px=32))
    look = Look("discs", ("disc",), ("sheet",), pieces=12, size_px=(30, 70), touch=0.3, cross=0.3)
    monkeypatch.setitem(composing.LOOKS, "discs", look)
    sources.cuts.cache_clear()
    yield
    sources.cuts.cache_clear()


def test_four_looks_and_all_report_seeds_are_held_back() -> None:
    assert len(HELD) >= 4
    assert set(HELD) < set(LOOKS)
    assert not set(TUNE_SEEDS) & set(REPORT_SEEDS)
    assert max(TUNE_SEEDS) < 1000 <= min(REPORT_SEEDS)  # the two take different halves of the cut-outs


def test_every_stored_outline_is_a_plain_polygon_of_one_piece() -> None:
    used = {name for look in LOOKS.values() for name in look.sources}
    files = {path.stem: path for path in sources.HERE.glob("*.json")}
    assert used <= set(files)
    for path in files.values():
        stored = json.loads(path.read_text())
        assert not stored["picture"].startswith("/")
        for outline in stored["outlines_px"]:
            shape = Polygon(outline)
            assert shape.is_valid
            assert shape.area / shape.convex_hull.area > 0.8


def test_pieces_in_contact_touch_without_overlap_and_crossing_ones_hide_the_wanted_share() -> None:
    rng = np.random.default_rng(4)
    table = Table((400, 400))
    disc = Point(0, 0).buffer(20)
    assert table.lay(disc, "apart", rng) is not None
    assert table.lay(disc, "touch", rng) is not None
    first, second = table.laid
    assert first.intersection(second).area == 0
    assert first.distance(second) < 0.2
    table.lay(disc, "cross", rng)
    hidden = max(table.laid[2].intersection(p).area for p in table.laid[:2]) / disc.area
    assert HIDDEN[0] - 0.03 < hidden < HIDDEN[1] + 0.03


def test_half_of_a_piece_covers_a_pixel_on_its_outline() -> None:
    square = np.array([[10, 10], [30.5, 10], [30.5, 30], [10, 30]], float)
    share = sources.filled(square, (40, 40), 8)
    assert share.sum() == pytest.approx(20.5 * 20, rel=0.01)
    assert share[20, 30] == pytest.approx(0.5, abs=0.07)


def test_a_composed_picture_has_its_pieces_where_the_truth_says(stand_in) -> None:
    drawn = compose("discs", 5, 400)
    assert drawn.pixels.shape == (300, 400, 3)
    assert np.array_equal(drawn.pixels, compose("discs", 5, 400).pixels)
    asked = [t for t in drawn.truth if not t.fair]
    assert len(asked) >= 5
    for piece in asked:
        inside = np.zeros(drawn.pixels.shape[:2], np.uint8)
        cv2.fillPoly(inside, [np.round(piece.outline - 0.5).astype(np.int32)], 1)
        core = cv2.erode(inside, np.ones((9, 9), np.uint8)) > 0
        assert np.median(drawn.pixels[core], axis=0)[1] < 110  # red pieces, ground 190
    ring = cv2.dilate(inside, np.ones((3, 3), np.uint8)) > inside
    assert 70 < drawn.pixels[ring][:, 1].mean() < 190


def test_the_sheets_show_every_cut_out_and_every_fault(stand_in) -> None:
    sheet = outlines_sheet("disc")
    assert sheet.shape == (SIDE_PX, COLUMNS * SIDE_PX, 3)
    assert (sheet == (0, 255, 0)).all(axis=2).any()
    pixels = np.full((90, 120, 3), 100, np.uint8)
    marked = np.full((180, 240, 3), 30, np.uint8)
    faults = faults_sheet(pixels, marked, [("missed", 60.0, 40.0), ("extra", 5.0, 5.0)])
    height, width = faults.shape[:2]
    assert faults[height // 2, width // 16].tolist() == [100, 100, 100]
    assert faults[height // 2, 3 * width // 16].tolist() == [30, 30, 30]


def test_pieces_hidden_in_part_are_counted_but_not_sized(stand_in) -> None:
    from tests.benchmarks.other_hand.match import Found

    drawn = compose("discs", 5, 400)
    found = [Found(t.outline, "kernel", i == 0) for i, t in enumerate(drawn.truth)]
    result = judge(drawn, found)
    asked = [t for t in drawn.truth if not t.fair]
    assert any(0.1 < t.hidden < 0.5 for t in asked)
    assert (result.true, result.right, result.false) == (len(asked), len(asked) - 1, 0)
    assert result.marked_aside == 1
    assert len(result.errors) == sum(t.hidden < 0.05 for t in asked[1:])
    assert np.abs(result.errors).max() < 1e-9


def test_in_a_heap_pieces_lie_over_any_but_hide_no_more_than_half() -> None:
    rng = np.random.default_rng(7)
    table = Table((400, 400))
    disc = Point(0, 0).buffer(20)
    table.lay(disc, "apart", rng)
    for _ in range(7):
        assert table.lay(disc, "heap", rng) is not None
    shared = [
        [table.laid[i].intersection(table.laid[j]).area / disc.area for j in range(i)] for i in range(1, 8)
    ]
    assert all(HEAPED[0] - 0.01 < max(row) and max(row) <= HEAPED[1] + 1e-9 for row in shared)
    assert any(sum(share > 0 for share in row) > 1 for row in shared)


@pytest.mark.parametrize(("hides", "times"), [(0.0, 2.0), (0.5, 1.5), (1.0, 1.0)])
def test_where_pieces_of_a_heap_overlap_the_density_is_as_stated(stand_in, monkeypatch, hides, times) -> None:
    look = Look("discs", ("disc",), ("sheet",), pieces=2, size_px=(60, 60), heap=1.0, touch=0.0, clear=True,
                hides=(hides,), tint=0.0, noise=0.0, jpeg=0)  # fmt: skip
    monkeypatch.setitem(composing.LOOKS, "discs", look)
    monkeypatch.setattr("tests.benchmarks.pasted.place.HEAPED", (0.4, 0.5))
    drawn = compose("discs", 5, 400)
    one, other = (Polygon(t.outline) for t in drawn.truth)
    assert [t.hidden > 0.3 for t in drawn.truth] == [hides == 1.0, False]
    y, x = np.indices(drawn.pixels.shape[:2]) + 0.5
    both, alone = one.intersection(other).buffer(-4), one.difference(other).buffer(-4)
    ground = np.median(sources.to_linear(drawn.pixels[:20] / 255), axis=(0, 1))
    dense = -np.log(sources.to_linear(drawn.pixels / 255) / ground)[..., 1]
    here, there = (np.median(dense[contains_xy(shape, x, y)]) for shape in (both, alone))
    assert here / there == pytest.approx(times, rel=0.06)


def test_missed_pieces_are_told_as_merged_or_split() -> None:
    from tests.benchmarks.other_hand.draw import Drawn, Truth
    from tests.benchmarks.other_hand.match import Found

    def square(x: float, side: float = 40.0) -> np.ndarray:
        return np.array([[x, 0], [x + side, 0], [x + side, 40], [x, 40]], float)

    truth = tuple(Truth(square(x), "see-through", "", 0.0, 1.0, 1.0, "") for x in (0, 40, 200))
    found = [Found(o, "kernel", False) for o in (square(0, 80), square(200, 19), square(220, 19))]
    result = judge(Drawn("", 1, np.zeros((60, 300, 3), np.uint8), truth), found)
    assert (result.true, result.merged, result.split) == (3, 1, 1)  # one of the merged two is matched
