"""Relearn the kinds of one study from the pieces its user tagged by hand.

The built-in model is the starting point; the tags only bend it. What is learned is one straight correction of
its scores, held back by a ridge and by the untagged pieces of the same fields, so that six tags already help
and a slip of the hand does little harm.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from measure.field.ground.plate_colour import against_grey
from measure.field.kinds.kind_model import (
    GROUPS,
    Model,
    built_in,
    descriptors,
    probabilities,
    strangeness,
    terms,
    to_numbers,
)
from measure.field.kinds.kinds import CODE_OF_GROUP, table_of, tag
from measure.model import KINDS
from measure.particles import Particles

FEWEST_TAGS = 3
RIDGES = (0.3, 1.0, 3.0, 10.0)
_USUAL_RIDGE = 1.0
ANCHOR_SHARE = 0.3  # weight of all untagged pieces together, as a share of that of the tags
_ANCHORS = 300  # as many untagged pieces are enough


class Change(NamedTuple):
    """One particle whose kind would change: kinds are codes, index into `measure.model.KINDS`."""

    field: int
    label: int
    kind_from: int
    kind_to: int


@dataclass(frozen=True)
class Learned:
    """What relearning gave, to be shown before it is applied.

    Attributes
    ----------
    model : dict or None
        Plain numbers for `measure.field.kinds.kinds.tag` and for the study's settings; None where the tags do
        not better the built-in model.
    tags : int
        Hand tags used.
    right_before, right_after : float
        Share of the tags the built-in and the relearned model give right; the latter on fields (or, with
        tags on one field only, pieces) left out of the learning.
    changes : tuple of Change
        What applying it would change; pieces tagged by hand never change.
    text : str
        The same in a sentence.
    """

    model: dict | None
    tags: int
    right_before: float
    right_after: float
    changes: tuple[Change, ...]
    text: str


@dataclass(frozen=True)
class _Lesson:
    """Tagged and untagged pieces as arrays, all of one table of the model.

    ``inputs`` are a constant and the standardised descriptors, ``scores`` the built-in model's, ``as_shown``
    whether the program without learning has the tagged pieces right, what their fields say of them included.
    """

    values: np.ndarray
    kind: np.ndarray
    field: np.ndarray
    inputs: np.ndarray
    scores: np.ndarray
    other_inputs: np.ndarray
    other_scores: np.ndarray
    as_shown: np.ndarray

    def only(self, rows: np.ndarray) -> "_Lesson":
        """Return the lesson with some of its tagged pieces."""
        names = ("values", "kind", "field", "inputs", "scores", "as_shown")
        return replace(self, **{name: getattr(self, name)[rows] for name in names})


def learn(fields: Mapping[int, Particles]) -> Learned:
    """Learn kinds from the hand tags (``kind_by_hand``) of a study.

    Parameters
    ----------
    fields : mapping of int to Particles
        All measured fields of the study, by number.

    Returns
    -------
    Learned
    """
    tables = _lessons(fields)
    tags = sum(len(lesson.kind) for lesson in tables.values())
    if tags < FEWEST_TAGS:
        text = f"At least {FEWEST_TAGS} pieces tagged by hand are needed to learn from."
        return Learned(None, tags, np.nan, np.nan, (), text)
    learned, before, after = {}, 0.0, 0.0
    for table, lesson in tables.items():
        base = built_in(table)
        right = float(lesson.as_shown.sum())
        ridge, checked = _best_ridge(base, lesson)
        before += right
        after += max(checked, right)
        if checked > right:
            learned[table] = to_numbers(_bent(base, lesson, ridge))
    model = {"tables": learned, "tags": tags} if learned else None
    changes = preview(fields, model) if model else ()
    return Learned(
        model, tags, before / tags, after / tags, changes, _words(model, tags, before, after, changes)
    )


def preview(fields: Mapping[int, Particles], model: Mapping | None) -> tuple[Change, ...]:
    """Say which kinds a model would change; with None, which going back to the built-in one would.

    Returns
    -------
    tuple of Change
    """
    changes = []
    for number, particles in fields.items():
        new = tag(particles, model)
        for row in np.flatnonzero(new["kind"] != particles["kind"]):
            label = int(particles["label"][row])
            changes.append(Change(number, label, int(particles["kind"][row]), int(new["kind"][row])))
    return tuple(changes)


def forget(fields: Mapping[int, Particles]) -> tuple[Change, ...]:
    """Say what forgetting the learned kinds would change; hand tags stay."""
    return preview(fields, None)


def _lessons(fields: Mapping[int, Particles]) -> dict[str, _Lesson]:
    """Sort the pieces of all fields that hold tags by the table of the model that serves them."""
    found: dict[str, list] = {}
    for number, particles in fields.items():
        hand = particles["kind_by_hand"].astype(bool)
        if hand.any():
            found.setdefault(table_of(particles), []).append((number, particles, hand))
    lessons = {}
    for table, rows in found.items():
        values = [descriptors(against_grey(p, table)) for _, p, _ in rows]
        others = np.concatenate([v[~hand] for v, (_, _, hand) in zip(values, rows, strict=True)])
        own = np.concatenate([v[hand] for v, (_, _, hand) in zip(values, rows, strict=True)])
        base = built_in(table)
        lessons[table] = _Lesson(
            own,
            np.concatenate([p["kind"][hand] for _, p, hand in rows]).astype(int),
            np.concatenate([np.full(hand.sum(), number) for number, _, hand in rows]),
            *_scored(base, own),
            *_scored(base, others[:: max(1, -(-len(others) // _ANCHORS))]),
            np.concatenate([_as_shown(p, table)[hand] for _, p, hand in rows]),
        )
    return lessons


def _as_shown(particles: Particles, table: str) -> np.ndarray:
    """Whether the built-in model and the field around it give a piece the kind it has by hand, (K,)."""
    free = particles.replaced(kind_by_hand=np.zeros(len(particles), dtype=bool))
    return np.asarray(tag(free, None, table)["kind"] == particles["kind"])


def _scored(base: Model, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Inputs and scores of pieces under the built-in model."""
    term = terms((values - base.mean) / base.scale)
    return term[:, : len(base.mean) + 1], term @ base.weights.T / base.temperature


def _right(model: Model, values: np.ndarray, kind: np.ndarray) -> np.ndarray:
    by_kind = _by_kind(probabilities(model, values))
    return by_kind.argmax(axis=1) == kind


def _by_kind(chance: np.ndarray) -> np.ndarray:
    return chance @ np.eye(len(KINDS))[CODE_OF_GROUP]


def _best_ridge(base: Model, lesson: _Lesson) -> tuple[float, float]:
    """Ridge that gives most left-out tags right, and how many; ties go to the stronger one."""
    groups = lesson.field if len(np.unique(lesson.field)) > 1 else np.arange(len(lesson.kind)) % 10
    best = (_USUAL_RIDGE, -1.0)
    for ridge in sorted(RIDGES, reverse=True):
        right = 0.0
        for left_out in np.unique(groups):
            inside = groups != left_out
            model = _bent(base, lesson.only(inside), ridge)
            right += float(_right(model, lesson.values[~inside], lesson.kind[~inside]).sum())
        if right > best[1]:
            best = (ridge, right)
    return best


def _bent(base: Model, lesson: _Lesson, ridge: float) -> Model:
    """Correct the scores of a model linearly in its descriptors, by penalised likelihood of the tags."""
    from scipy.optimize import minimize

    count = len(base.mean)
    inputs = np.concatenate([lesson.inputs, lesson.other_inputs])
    scores = np.concatenate([lesson.scores, lesson.other_scores])
    # in groups, the kind `other` is any of its three; the untagged keep what they had, in shares
    allowed = (CODE_OF_GROUP[None] == lesson.kind[:, None]).astype(float)
    before = _softmax(lesson.other_scores)
    anchor = ANCHOR_SHARE * len(lesson.kind) / max(len(before), 1)
    weight = np.concatenate([np.ones(len(lesson.kind)), np.full(len(before), anchor)])

    def cost(flat: np.ndarray) -> tuple[float, np.ndarray]:
        bend = flat.reshape(len(GROUPS), count + 1)
        chance = _softmax(scores + inputs @ bend.T)
        tagged, rest = chance[: len(allowed)], chance[len(allowed) :]
        hit = np.maximum((tagged * allowed).sum(axis=1, keepdims=True), 1e-12)
        wanted = np.concatenate([tagged * allowed / hit, before])
        loss = -(weight[: len(allowed)] * np.log(hit[:, 0])).sum()
        loss -= (weight[len(allowed) :, None] * before * np.log(np.maximum(rest, 1e-12))).sum()
        gradient = ((chance - wanted) * weight[:, None]).T @ inputs + ridge * bend
        return loss + 0.5 * ridge * (bend**2).sum(), gradient.ravel()

    start = np.zeros(len(GROUPS) * (count + 1))
    found = minimize(cost, start, jac=True, method="L-BFGS-B", options={"maxiter": 60})
    weights = base.weights.copy()
    weights[:, : count + 1] += base.temperature * found.x.reshape(len(GROUPS), count + 1)
    # what the user has named is not strange any more
    strange = strangeness(base, (lesson.values - base.mean) / base.scale)
    return replace(base, weights=weights, far=float(max(base.far, 1.3 * np.quantile(strange, 0.9))))


def _softmax(score: np.ndarray) -> np.ndarray:
    chance = np.exp(score - score.max(axis=1, keepdims=True, initial=-np.inf))
    return chance / chance.sum(axis=1, keepdims=True)


def _words(model: dict | None, tags: int, before: float, after: float, changes: tuple[Change, ...]) -> str:
    if model is None:
        return (
            f"The {tags} hand tags do not better the kinds on pieces left out of the learning; "
            f"{100 * before / tags:.0f} % of them were right already. Nothing changes."
        )
    return (
        f"From {tags} hand tags: {100 * before / tags:.0f} % of them right before, "
        f"{100 * after / tags:.0f} % after (judged on tags left out of the learning). "
        f"{len(changes)} pieces would change their kind; "
        "pieces tagged by hand stay as they are."
    )
