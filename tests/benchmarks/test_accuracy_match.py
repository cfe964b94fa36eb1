"""The judge itself: a perfect measurement gets full marks, and every kind of fault costs what it should."""

import sys
from pathlib import Path

import numpy as np
import pytest

from measure.model import KINDS, FieldQuality, FieldResult, FieldSettings, Frame
from measure.particles import Particles, make_particles
from measure.render import Recipe, Rendered, render_field
from measure.render.recipe import Arrangement, Extras, Sizes


@pytest.fixture
def accuracy(monkeypatch):
    monkeypatch.syspath_prepend(str(Path(__file__).parent))
    import accuracy_match
    import accuracy_table

    yield accuracy_match, accuracy_table
    for name in ("accuracy_match", "accuracy_table"):
        sys.modules.pop(name, None)


@pytest.fixture(scope="module")
def drawn() -> Rendered:
    recipe = Recipe(
        width_px=640,
        height_px=480,
        sizes=Sizes(22.0, 1.4, 10.0, 50.0),
        arrangement=Arrangement(cover=0.12),
        extras=Extras(bubbles=2),
    )
    return render_field(recipe, 2)


def told(drawn: Rendered) -> Particles:
    """Return the truth as if it had been measured."""
    kinds = [str(k) for k in KINDS]
    codes = [kinds.index(t.kind) if t.kind in kinds else kinds.index("other") for t in drawn.truth]
    aside = np.array(["" if kinds[c] != "other" else "air bubble" for c in codes], dtype=object)
    meets = np.array([t.touches_frame for t in drawn.truth], dtype=int)
    return make_particles(
        [t.outline for t in drawn.truth],
        label=np.arange(len(codes)) + 1,
        area_px2=[t.area_px2 for t in drawn.truth],
        kind=codes,
        set_aside=aside,
        flags=meets,
        doubt=0.05,
        kind_doubt=0.05,
    )


def result(particles: Particles) -> FieldResult:
    quality = FieldQuality(0.1, 0.1, 1.0, (0, 0, 0), 1.0, 0.0, 0.0)
    return FieldResult(particles, Frame(640, 480), quality, FieldSettings(), 0.65, 10.0)


def test_truth_told_gets_full_marks(accuracy, drawn):
    match, table = accuracy
    line = table.summed("truth", [match.judge(drawn, result(told(drawn)))])
    assert line.asked > 15
    assert (line.f1, line.precision, line.recall, line.kinds, line.aside) == (100, 100, 100, 100, 100)
    # outlines are kept as float32
    assert abs(line.bias) < 1e-3
    assert abs(line.x50) < 1e-3
    assert abs(line.x90) < 1e-3


def test_missed_wrong_kind_and_uncounted_foreign_cost_marks(accuracy, drawn):
    match, table = accuracy
    perfect = told(drawn)
    verdicts = match.judge(drawn, result(perfect))
    asked = np.flatnonzero(verdicts.asked)
    kept = np.delete(np.arange(len(perfect)), asked[0])
    assert match.judge(drawn, result(perfect.select(kept))).hit.sum() == asked.size - 1
    kind = perfect["kind"].copy()
    kind[asked[0]] = (kind[asked[0]] + 1) % 3
    line = table.summed("kind", [match.judge(drawn, result(perfect.replaced(kind=kind)))])
    assert line.kinds == pytest.approx(100 * (1 - 1 / asked.size))
    counted = perfect.replaced(set_aside=np.full(len(perfect), "", dtype=object))
    bubbles = sum(t.kind == "bubble" and not t.touches_frame for t in drawn.truth)
    assert match.judge(drawn, result(counted)).false.sum() == bubbles > 0


def test_size_errors_are_seen(accuracy, drawn):
    match, table = accuracy
    perfect = told(drawn)
    grown = perfect.replaced(area_px2=perfect["area_px2"] * 1.05**2)
    line = table.summed("size", [match.judge(drawn, result(grown))])
    assert line.bias == pytest.approx(5.0, abs=0.01)
    assert line.spread == pytest.approx(0.0, abs=0.01)
    # skins are flakes, so their volume does not grow with the cube; the quantiles still grow by 5 %
    assert line.x50 == pytest.approx(5.0, abs=0.6)


def test_greatest_overlap_wins_one_to_one(accuracy):
    match, _ = accuracy
    square = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]])
    partner, owner = match.match([square, square + 50], [square + 1.5, square + 0.5, square + 80])
    assert partner.tolist() == [1, -1]
    assert owner.tolist() == [-1, 0, -1]
    assert match.match([], [square])[1].tolist() == [-1]


def test_volume_quantile_of_equal_pieces_is_their_size(accuracy):
    match, _ = accuracy
    kind = np.array(["kernel"] * 9)
    assert match.volume_quantile(kind, np.full(9, 30.0), 0.9) == pytest.approx(30.0)
