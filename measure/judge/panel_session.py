"""A tasting session: its plan, the answers, and nothing of the key before it is closed.

Plan and answers are plain JSON values, so a study keeps them as they are.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from measure.errors import InvalidInput
from measure.judge.felt import FELT_SHARE, FeltProfile
from measure.judge.serving import Serving, make_servings
from measure.sizes.figures import figures
from measure.sizes.sample import SizeSample

SCALE_TOP = 10.0
# what may be handed in for a plate, and the form it is kept in
Given = str | Sequence[object] | Mapping[str, object]
Answer = str | list[str] | dict[str, float]


@dataclass(frozen=True)
class Method:
    """A kind of session, in words for planning and for the worksheet."""

    title: str
    standard: str
    samples: str
    task: str
    answer: str


METHODS: dict[str, Method] = {
    "triangle": Method(
        "Triangle test", "ISO 4120", "two samples, served three at a time",
        "Two samples are the same and one is different. Taste from left to right. Write the code of the one "
        "that differs. Guess when you are not sure.",
        "code of the odd one",
    ),
    "paired": Method(
        "Paired comparison", "ISO 5495", "two samples; the first named is expected to be the grittier",
        "Taste from left to right. Write the code of the grittier sample. Guess when you are not sure.",
        "code of the grittier one",
    ),
    "ranking": Method(
        "Ranking", "ISO 8587", "three to six samples",
        "Taste from left to right. Write all codes in order, from the least to the most gritty. No ties.",
        "codes, least gritty first",
    ),
    "series": Method(
        "Ascending 3-AFC series", "ASTM E679", "a smooth reference first, then three or more batches",
        "Each row holds three samples; one may be grittier than the two others. Taste from left to right and "
        "write the code of the grittiest. Guess when you are not sure. Rinse between rows.",
        "code of the grittiest",
    ),
    "scale": Method(
        "Grittiness scale", "line scale 0 to 10 (ISO 4121)", "one to eight samples",
        "Taste from left to right. For each code write how gritty it is: 0 is not gritty at all, 10 is as "
        "gritty as you can think of.",
        "0 to 10 for each code",
    ),
}  # fmt: skip


@dataclass(frozen=True)
class PanelSample:
    """What is tasted: a batch, or a reference that was not measured (size nan).

    Attributes
    ----------
    name : str
    batch_id : int or None
    size_um : float
        x_{90,3} of the batch.
    felt_share : float
        0..1.
    """

    name: str
    batch_id: int | None = None
    size_um: float = math.nan
    felt_share: float = math.nan


def sample_of_batch(name: str, batch_id: int | None, pieces: SizeSample, profile: FeltProfile) -> PanelSample:
    """Return a batch as a sample to be tasted, with its size and felt share where it was measured."""
    if not len(pieces):
        return PanelSample(name, batch_id)
    found = figures(pieces, shares={FELT_SHARE: profile.probability})
    return PanelSample(name, batch_id, found["volume.x90_um"], found[FELT_SHARE])


@dataclass(frozen=True)
class PanelPlan:
    """Who tastes what, in which order, under which codes.

    Attributes
    ----------
    method : str
        A key of `METHODS`.
    samples : tuple of PanelSample
        In the order of the method; the levels of a series ascend in size.
    assessors : tuple of str
    rounds, seed : int
    alpha : float
        Risk of calling a difference that is not there.
    similarity : float or None
        Share of discriminators below which samples count as similar; None: look for a difference.
    servings : tuple of Serving
        Secret until the session is closed.
    """

    method: str
    samples: tuple[PanelSample, ...]
    assessors: tuple[str, ...]
    rounds: int = 1
    seed: int = 1
    alpha: float = 0.05
    similarity: float | None = None
    servings: tuple[Serving, ...] = field(default=(), repr=False)

    def to_json(self) -> dict:
        """Return plain values that `from_json` reads back."""
        plain = asdict(self)
        for sample in plain["samples"]:
            for name in ("size_um", "felt_share"):
                sample[name] = None if math.isnan(sample[name]) else sample[name]
        return plain

    @classmethod
    def from_json(cls, plain: Mapping) -> "PanelPlan":
        """Return the plan `to_json` wrote.

        Raises
        ------
        InvalidInput
            If the values are no plan.
        """
        try:
            samples = tuple(
                PanelSample(
                    _word(s["name"]),
                    s.get("batch_id"),
                    _or_nan(s.get("size_um")),
                    _or_nan(s.get("felt_share")),
                )
                for s in plain["samples"]
            )
            servings = tuple(
                Serving(
                    _word(s["assessor"]), int(s["round"]), _words(s["samples"]), _words(s["codes"]),
                    _word(s["answer"]),
                )
                for s in plain["servings"]
            )  # fmt: skip
            similarity, method = plain.get("similarity"), _word(plain["method"])
            if method not in METHODS:
                raise ValueError(f"there is no session {method}")
            if method in ("triangle", "paired") and len(samples) != 2:
                raise ValueError(f"a {method} test has two samples")
            return cls(
                method, samples, _words(plain["assessors"]),
                int(plain["rounds"]), int(plain["seed"]), float(plain["alpha"]),
                None if similarity is None else float(similarity), servings,
            )  # fmt: skip
        except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
            raise InvalidInput("The plan of this tasting cannot be read; plan it anew.") from error

    def plates_of(self, assessor: str) -> list[tuple[int, Serving]]:
        """Return the plates of one assessor with their numbers, in the order of serving."""
        return [(i, s) for i, s in enumerate(self.servings) if s.assessor == assessor]


def _word(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError(f"{value!r} is no text")
    return value


def _words(values: Any) -> tuple[str, ...]:
    return tuple(_word(value) for value in values)


def _or_nan(value: Any) -> float:
    return math.nan if value is None else float(value)


def make_plan(
    method: str,
    samples: Sequence[PanelSample],
    assessors: Sequence[str],
    *,
    rounds: int = 1,
    seed: int,
    alpha: float = 0.05,
    similarity: float | None = None,
) -> PanelPlan:
    """Plan a session; the levels of a series are put in order of size.

    Raises
    ------
    InvalidInput
        If samples, assessors or numbers do not fit the method, or a level of a series has no size.
    """
    samples, assessors = list(samples), tuple(a.strip() for a in assessors)
    if any(not a for a in assessors):
        raise InvalidInput("An assessor has no name; initials or a number will do.")
    if not 0 < alpha < 0.5:
        raise InvalidInput(f"The risk alpha must lie between 0 and 0.5, not {alpha:g}.")
    if similarity is not None and not 0 < similarity < 1:
        raise InvalidInput(
            f"The share of discriminators for similarity lies between 0 and 1, not {similarity:g}."
        )
    if method == "series":
        samples = _ascending(samples)
    names = tuple(s.name for s in samples)
    servings = make_servings(method, names, assessors, rounds=rounds, seed=seed)
    return PanelPlan(method, tuple(samples), assessors, rounds, seed, alpha, similarity, servings)


def _ascending(samples: list[PanelSample]) -> list[PanelSample]:
    levels = samples[1:]
    bare = next((s.name for s in levels if not s.size_um > 0), None)
    if bare is not None:
        raise InvalidInput(
            f"'{bare}' has no measured size; a series needs the x_90 of every batch but the first."
        )
    if len({s.size_um for s in levels}) < len(levels):
        raise InvalidInput("Two batches of the series have the same size; leave one out.")
    return [*samples[:1], *sorted(levels, key=lambda s: s.size_um)]


def check_answer(plan: PanelPlan, plate: int, given: Given) -> Answer:
    """Return the answer to a plate in the form it is kept in.

    Parameters
    ----------
    given : str, sequence or mapping
        A code; all codes from the least to the most gritty (ranking), as a list or as one text; a number
        for each code in the order of serving (scale), as a list or text, or a mapping of code to number.

    Raises
    ------
    InvalidInput
        Naming the codes on the plate.
    """
    serving = plan.servings[plate]
    if plan.method == "scale":
        return _scores(serving, given)
    words = given.replace(",", " ").split() if isinstance(given, str) else [str(w) for w in given]
    if plan.method == "ranking":
        if sorted(words) != sorted(serving.codes):
            raise InvalidInput(f"A ranking holds every code of the plate once: {' '.join(serving.codes)}.")
        return words
    if len(words) != 1 or words[0] not in serving.codes:
        shown = " ".join(words) or "nothing"
        raise InvalidInput(f"{shown} is not on this plate; its codes are {' '.join(serving.codes)}.")
    return words[0]


def _scores(serving: Serving, given: Given) -> dict[str, float]:
    if isinstance(given, Mapping):
        pairs = {str(code): value for code, value in given.items()}
    else:
        words = given.replace(";", " ").split() if isinstance(given, str) else list(given)
        if len(words) != len(serving.codes):
            raise InvalidInput(f"Give one number for each code, in this order: {' '.join(serving.codes)}.")
        pairs = dict(zip(serving.codes, words, strict=True))
    try:
        scores = {code: float(str(pairs[code]).replace(",", ".")) for code in serving.codes}
    except (KeyError, ValueError):
        raise InvalidInput(f"Give one number for each code: {' '.join(serving.codes)}.") from None
    if not all(0 <= v <= SCALE_TOP for v in scores.values()):
        raise InvalidInput(f"Grittiness goes from 0 to {SCALE_TOP:g}.")
    return scores


def with_answer(
    answers: Mapping[str, object], plan: PanelPlan, plate: int, given: Given
) -> dict[str, object]:
    """Return the answers with one more; an empty one takes it out again."""
    new = {k: v for k, v in answers.items() if k != str(plate)}
    if not (isinstance(given, str) and not given.strip()):
        new[str(plate)] = check_answer(plan, plate, given)
    return new


def answer_text(plan: PanelPlan, answers: Mapping[str, object], plate: int) -> str:
    """Return an answer as it is typed; empty where there is none."""
    kept = answers.get(str(plate))
    if kept is None:
        return ""
    if isinstance(kept, Mapping):
        return " ".join(f"{float(kept[c]):g}" for c in plan.servings[plate].codes)
    return " ".join(kept) if isinstance(kept, list | tuple) else str(kept)


def missing_plates(plan: PanelPlan, answers: Mapping[str, object]) -> list[int]:
    """Return the plates that have no answer yet."""
    return [i for i in range(len(plan.servings)) if str(i) not in answers]
