"""Tasting sessions from plan to limit, blind until closed."""

import json
import math

import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.judge.felt import FeltProfile
from measure.judge.panel_session import (
    METHODS,
    PanelPlan,
    PanelSample,
    answer_text,
    check_answer,
    make_plan,
    missing_plates,
    with_answer,
)
from measure.judge.panel_session_result import evaluate
from measure.judge.panel_session_words import outcome_sentences, panel_limit
from measure.model import Kind

SMOOTH = PanelSample("smooth reference")
FINE, MIDDLE, COARSE = (
    PanelSample(n, i, s) for n, i, s in (("six", 3, 25.0), ("three", 2, 40.0), ("one", 1, 64.0))
)
PEOPLE = tuple(f"P{i}" for i in range(1, 13))


def fill(plan, answer):
    answers = {}
    for i, serving in enumerate(plan.servings):
        answers = with_answer(answers, plan, i, answer(serving))
    return answers


def wrong(serving):
    return next(c for c in serving.codes if c != serving.answer)


def test_plan_survives_json_and_stays_secret_in_print():
    for method in METHODS:
        samples = {
            "triangle": [COARSE, FINE], "paired": [COARSE, FINE], "ranking": [COARSE, FINE, MIDDLE],
            "series": [SMOOTH, COARSE, MIDDLE, FINE], "scale": [SMOOTH, COARSE],
        }[method]  # fmt: skip
        plan = make_plan(method, samples, PEOPLE, seed=3)
        again = PanelPlan.from_json(json.loads(json.dumps(plan.to_json())))
        assert again.servings == plan.servings
        assert [s.name for s in again.samples] == [s.name for s in plan.samples]
        assert plan.servings[0].codes[0] not in repr(plan)


def test_levels_of_a_series_ascend_whatever_the_order_given():
    plan = make_plan("series", [SMOOTH, COARSE, FINE, MIDDLE], PEOPLE, seed=1)
    assert [s.name for s in plan.samples] == ["smooth reference", "six", "three", "one"]
    assert [next(n for n in s.samples if n != "smooth reference") for _, s in plan.plates_of("P1")] == [
        "six", "three", "one",
    ]  # fmt: skip


def test_results_are_blind_until_closed():
    plan = make_plan("triangle", [COARSE, FINE], PEOPLE, seed=1)
    answers = fill(plan, lambda s: s.answer)
    with pytest.raises(InvalidInput, match="still open"):
        evaluate(plan, answers, closed=False)
    assert evaluate(plan, answers, closed=True).difference.correct == 12


def test_triangle_counts_right_answers_and_says_who():
    plan = make_plan("triangle", [COARSE, FINE], PEOPLE, seed=1)
    right = {"P1", "P2", "P3", "P4", "P5", "P6", "P7", "P8"}
    found = evaluate(plan, fill(plan, lambda s: s.answer if s.assessor in right else wrong(s)), closed=True)
    assert (found.difference.correct, found.difference.trials) == (8, 12)
    # triangle table: 8 of 12 are needed at 5 % (FAO, after ISO 4120)
    assert found.difference.needed == 8
    assert found.assessors["P1"] == "1 of 1 right"
    assert found.assessors["P9"] == "0 of 1 right"
    text = outcome_sentences(plan, found)
    assert text[0].startswith("The panel can tell apart one and six (p = 0.01")
    weak = evaluate(plan, fill(plan, wrong), closed=True)
    assert "no proof that they are alike" in outcome_sentences(plan, weak)[0]


def test_similarity_is_asked_for_apart():
    people = tuple(f"P{i}" for i in range(30))
    plan = make_plan("triangle", [COARSE, FINE], people, seed=1, similarity=0.3)
    order = {s.assessor: i for i, s in enumerate(plan.servings)}

    def outcome(count):
        return evaluate(
            plan, fill(plan, lambda s: s.answer if order[s.assessor] < count else wrong(s)), closed=True
        )

    # ISO 4120 similarity: at most 11 of 30 for p_d < .3 at beta .05 (derived)
    assert outcome(11).similar is True
    assert outcome(12).similar is False
    assert "Similar: fewer than 30 % discriminators" in outcome_sentences(plan, outcome(11))[-1]


def test_paired_comparison_knows_the_expected_direction():
    plan = make_plan("paired", [COARSE, FINE], PEOPLE, seed=2)
    answers = fill(plan, lambda s: s.codes[s.samples.index("one")])
    found = evaluate(plan, answers, closed=True)
    assert found.difference.correct == 12
    assert "find one grittier than six" in outcome_sentences(plan, found)[0]


def test_ranking_by_size_is_felt():
    plan = make_plan("ranking", [COARSE, FINE, MIDDLE], PEOPLE, seed=2)
    size = {"one": 64, "three": 40, "six": 25}

    def order(serving):
        return [c for _, c in sorted(zip((size[n] for n in serving.samples), serving.codes, strict=True))]

    found = evaluate(plan, fill(plan, order), closed=True)
    assert dict(zip(found.ranking.samples, found.ranking.rank_sums, strict=True)) == {
        "one": 36, "six": 12, "three": 24,
    }  # fmt: skip
    # all 12 agree: Friedman 2 x 12 = 24, Page 12 (1 + 4 + 9) = 168
    assert found.ranking.friedman == pytest.approx(24)
    assert found.ranking.page == 168
    assert found.assessors["P1"] == "six < three < one"
    assert "order by size is felt" in outcome_sentences(plan, found)[-1]


def panel(plan, threshold=40.0, slope=5.0, seed=0, lapse=0.02):
    """Draw the answers of a panel with a logistic curve."""
    rng = np.random.default_rng(seed)
    size = {s.name: s.size_um for s in plan.samples}

    def answer(serving):
        level = max((size[n] for n in serving.samples if size[n] > 0), default=1.0)
        felt = 1 / (1 + (level / threshold) ** -slope)
        chance = 1 / 3 + (1 - 1 / 3 - lapse) * felt
        return serving.answer if rng.random() < chance else wrong(serving)

    return fill(plan, answer)


LEVELS = [PanelSample(f"b{x:g}", i, x) for i, x in enumerate((15.0, 22.0, 32.0, 46.0, 68.0, 100.0), start=1)]


def test_series_gives_thresholds_a_curve_and_a_limit_with_provenance():
    people = tuple(f"P{i}" for i in range(1, 21))
    plan = make_plan("series", [SMOOTH, *LEVELS], people, seed=5)
    found = evaluate(plan, panel(plan), closed=True)
    assert found.levels[0][:2] == (15.0, 20)
    assert len(found.threshold.individual) == 20
    assert found.curve.threshold_low < 40 < found.curve.threshold_high
    limit = panel_limit(plan, found, name="autumn panel", made="2024-10-05T10:00:00")
    assert limit.threshold_um == found.curve.threshold
    for words in ("'autumn panel' of 2024-10-05", "ascending 3-AFC series", "20 assessors"):
        assert words in limit.source
    profile = limit.profile(FeltProfile(), (Kind.KERNEL, Kind.SKIN))
    assert profile.from_tasting
    ramp = profile[Kind.KERNEL]
    assert math.sqrt(ramp.none_um * ramp.all_um) == pytest.approx(limit.threshold_um)
    assert profile[Kind.SALT] == FeltProfile()[Kind.SALT]


def test_thresholds_of_two_hundred_panels_are_unbiased():
    people = tuple(f"P{i}" for i in range(1, 25))
    plan = make_plan("series", [SMOOTH, *LEVELS], people, seed=5)
    from measure.judge.psychometric import fit_psychometric

    rng = np.random.default_rng(1)
    sizes = np.array([s.size_um for s in LEVELS])
    chance = 1 / 3 + (1 - 1 / 3 - 0.02) / (1 + (sizes / 40) ** -5.0)
    found = [
        fit_psychometric(sizes, [24] * 6, rng.binomial(24, chance), guess=1 / 3, refits=2).threshold
        for _ in range(200)
    ]
    assert np.exp(np.mean(np.log(found))) == pytest.approx(40, rel=0.05)
    assert len(plan.servings) == 24 * 6


def test_a_series_that_is_not_finished_gives_no_threshold_of_its_own():
    plan = make_plan("series", [SMOOTH, *LEVELS[:3]], ("A", "B"), seed=5)
    answers = panel(plan)
    gap = next(i for i, s in plan.plates_of("B"))
    answers = with_answer(answers, plan, gap, "")
    assert missing_plates(plan, answers) == [gap]
    found = evaluate(plan, answers, closed=True)
    assert set(found.threshold.individual) == {"A"}
    assert found.levels[0][1] == 1
    assert any("lack answers" in w for w in found.warnings)
    assert any("no answer" in w for w in found.warnings)


def test_scale_gives_means_and_the_share_who_felt_any():
    plan = make_plan("scale", [FINE, MIDDLE, COARSE], PEOPLE, seed=4)
    mark = {"six": 0, "three": 3, "one": 7}

    def scores(serving):
        late = serving.assessor in {"P1", "P2", "P3"}
        return " ".join("0" if late and n == "three" else str(mark[n]) for n in serving.samples)

    found = evaluate(plan, fill(plan, scores), closed=True)
    assert [(s.name, s.felt) for s in found.scores] == [("six", 0), ("three", 9), ("one", 12)]
    assert found.scores[2].mean == 7
    assert found.levels == ((25.0, 12, 0), (40.0, 12, 9), (64.0, 12, 12))
    assert 25 < found.curve.threshold < 40
    assert "felt by 9 of 12" in "\n".join(outcome_sentences(plan, found))


def test_limit_outside_the_sizes_served_is_refused():
    plan = make_plan("series", [SMOOTH, *LEVELS], PEOPLE, seed=5)
    for answer, words in ((lambda s: s.answer, "serve finer"), (wrong, "serve coarser")):
        found = evaluate(plan, fill(plan, answer), closed=True)
        assert found.curve is None
        with pytest.raises(InvalidInput, match=words):
            panel_limit(plan, found, name="", made="")
    triangle = make_plan("triangle", [COARSE, FINE], PEOPLE, seed=1)
    outcome = evaluate(triangle, fill(triangle, wrong), closed=True)
    with pytest.raises(InvalidInput, match="gives no limit"):
        panel_limit(triangle, outcome, name="", made="")


def test_answers_are_checked_against_the_plate():
    plan = make_plan("triangle", [COARSE, FINE], PEOPLE, seed=1)
    codes = plan.servings[0].codes
    assert check_answer(plan, 0, f" {codes[1]} ") == codes[1]
    with pytest.raises(InvalidInput, match=f"not on this plate; its codes are {codes[0]}"):
        check_answer(plan, 0, "1000")
    ranking = make_plan("ranking", [COARSE, FINE, MIDDLE], PEOPLE, seed=1)
    with pytest.raises(InvalidInput, match="every code of the plate once"):
        check_answer(ranking, 0, ranking.servings[0].codes[0])
    scale = make_plan("scale", [COARSE, FINE], PEOPLE, seed=1)
    for bad in ("3", "3 x", "3 11", "-1 2"):
        with pytest.raises(InvalidInput):
            check_answer(scale, 0, bad)
    answers = with_answer({}, scale, 0, "2,5 4")
    assert answer_text(scale, answers, 0) == "2.5 4"
    assert answer_text(scale, answers, 1) == ""


@pytest.mark.parametrize(
    ("method", "samples", "options", "words"),
    [
        ("series", [SMOOTH, FINE, MIDDLE, PanelSample("bare")], {}, "'bare' has no measured size"),
        ("series", [SMOOTH, FINE, MIDDLE, PanelSample("x", 9, 40.0)], {}, "same size"),
        ("triangle", [FINE], {}, "needs exactly 2 samples"),
        ("triangle", [FINE, COARSE], {"assessors": ("A", " ")}, "no name"),
        ("triangle", [FINE, COARSE], {"alpha": 0.7}, "alpha"),
        ("triangle", [FINE, COARSE], {"similarity": 1.5}, "similarity"),
        ("duel", [FINE, COARSE], {}, "not known"),
    ],
)
def test_plans_that_make_no_sense_are_refused(method, samples, options, words):
    arguments = {"assessors": PEOPLE, "seed": 1, **options}
    with pytest.raises(InvalidInput, match=words):
        make_plan(method, samples, arguments.pop("assessors"), **arguments)


def test_nobody_answered():
    plan = make_plan("triangle", [COARSE, FINE], PEOPLE, seed=1)
    with pytest.raises(InvalidInput, match="Nobody has answered"):
        evaluate(plan, {}, closed=True)
    with pytest.raises(InvalidInput, match="plan it anew"):
        PanelPlan.from_json({"method": "triangle"})


def test_a_plan_with_a_wrong_value_is_refused_when_it_is_read():
    plan = make_plan("triangle", [PanelSample("a"), PanelSample("b")], ["Ana", "Bea"], seed=1).to_json()
    assert PanelPlan.from_json(plan).assessors == ("Ana", "Bea")
    serving = plan["servings"][0]
    wrong = [
        {**plan, "method": "duel"},
        {**plan, "assessors": [1, 2]},
        {**plan, "alpha": None},
        {**plan, "similarity": "some"},
        {**plan, "rounds": math.inf},
        {**plan, "samples": [{"name": None}]},
        {**plan, "samples": plan["samples"][:1]},
    ]
    values = {"assessor": {}, "codes": [111, 1.5, 333], "answer": None, "round": math.inf, "samples": 3}
    wrong += [{**plan, "servings": [{**serving, name: value}]} for name, value in values.items()]
    for one in wrong:
        with pytest.raises(InvalidInput, match="plan of this tasting cannot be read"):
            PanelPlan.from_json(one)
