"""Plans of a tasting: blind three-digit codes, balanced serving orders, the key."""

from dataclasses import dataclass
from itertools import permutations

import numpy as np

from measure.errors import InvalidInput

_FEWEST_SAMPLES = {"triangle": 2, "paired": 2, "ranking": 3, "series": 4, "scale": 1}
MOST_SAMPLES = {"triangle": 2, "paired": 2, "ranking": 6, "series": 10, "scale": 8}
TRIADS = ("ABB", "BAB", "BBA", "BAA", "ABA", "AAB")

CAUTIONS = (
    "Allergens: nuts, peanuts and sesame can cause severe or fatal reactions, also in traces. Ask every "
    "taster beforehand; when in doubt, do not taste.",
    "Tasting is voluntary. Say what is served, obtain consent, and let anyone stop at any time.",
    "Taste only plain paste kept apart for tasting, never diluted, oiled or photographed samples.",
    "Keep slides, cover glasses and other glass out of the tasting room; count them in and out.",
    "Hard or sharp grit that is not salt: stop, keep the sample, and have it examined.",
    "A fine grind says nothing about microbes, mould toxins or other hazards. Follow local food law and a "
    "food-safety plan, and ask a licensed professional.",
)


@dataclass(frozen=True)
class Serving:
    """One plate: who gets it, in which round, and what stands on it from left to right."""

    assessor: str
    round: int
    samples: tuple[str, ...]  # names of samples, secret until closed
    codes: tuple[str, ...]  # three-digit codes as shown
    answer: str  # code of the odd or strongest sample, empty where there is no right one


def make_servings(
    method: str, samples: tuple[str, ...], assessors: tuple[str, ...], *, rounds: int = 1, seed: int
) -> tuple[Serving, ...]:
    """Plan the plates of a session.

    Parameters
    ----------
    method : str
        "triangle" (2 samples), "paired" (2; the first named is expected to be the grittier), "ranking" (3 or
        more), "series" (ascending 3-AFC: the first sample is the smooth reference, the others ascend) or
        "scale" (grittiness by number).
    samples, assessors : tuple of str
        Names.
    rounds : int
        How often each assessor repeats it.
    seed : int
        Same seed, same plan.

    Returns
    -------
    tuple of Serving
        Orders are balanced: every possible order comes up equally often, to within one, and who gets which
        is drawn at random.

    Raises
    ------
    InvalidInput
        If the numbers do not fit the method.
    """
    _check(method, samples, assessors, rounds)
    rng = np.random.default_rng(seed)
    seats = [(a, r) for r in range(1, rounds + 1) for a in assessors]
    if method == "series":
        return tuple(s for a, r in seats for s in _series(samples, a, r, rng))
    orders = _balanced(_orders(method, samples), len(seats), rng)
    return tuple(_plate(method, samples, a, r, o, rng) for (a, r), o in zip(seats, orders, strict=True))


def _check(method: str, samples: tuple[str, ...], assessors: tuple[str, ...], rounds: int) -> None:
    if method not in MOST_SAMPLES:
        raise InvalidInput(f"The tasting {method!r} is not known; use one of {', '.join(MOST_SAMPLES)}.")
    low, high = _FEWEST_SAMPLES[method], MOST_SAMPLES[method]
    if not low <= len(samples) <= high:
        needed = f"exactly {low}" if low == high else f"{low} to {high}"
        raise InvalidInput(f"This test needs {needed} samples; {len(samples)} are chosen.")
    if len(set(samples)) < len(samples) or len(set(assessors)) < len(assessors):
        raise InvalidInput("Each sample and each assessor must be named once.")
    if not assessors:
        raise InvalidInput("Name at least one assessor.")
    if rounds < 1:
        raise InvalidInput(f"The number of rounds must be 1 or more, not {rounds}.")


def _orders(method: str, samples: tuple[str, ...]) -> list[tuple[str, ...]]:
    if method == "triangle":
        return [tuple(samples["AB".index(c)] for c in triad) for triad in TRIADS]
    return list(permutations(samples))


def _balanced(orders: list[tuple[str, ...]], count: int, rng: np.random.Generator) -> list[tuple[str, ...]]:
    drawn: list[tuple[str, ...]] = []
    while len(drawn) < count:
        drawn.extend(orders[i] for i in rng.permutation(len(orders)))
    drawn = drawn[:count]
    return [drawn[i] for i in rng.permutation(count)]


def _codes(count: int, rng: np.random.Generator) -> tuple[str, ...]:
    return tuple(str(v) for v in rng.choice(np.arange(101, 1000), size=count, replace=False))


def _plate(
    method: str,
    samples: tuple[str, ...],
    assessor: str,
    turn: int,
    order: tuple[str, ...],
    rng: np.random.Generator,
) -> Serving:
    codes = _codes(len(order), rng)
    answer = ""
    if method == "triangle":
        odd = next(s for s in order if order.count(s) == 1)
        answer = codes[order.index(odd)]
    elif method == "paired":
        answer = codes[order.index(samples[0])]
    return Serving(assessor, turn, order, codes, answer)


def _series(samples: tuple[str, ...], assessor: str, turn: int, rng: np.random.Generator) -> list[Serving]:
    plates = []
    for level in samples[1:]:
        place = int(rng.integers(3))
        order = tuple(level if i == place else samples[0] for i in range(3))
        codes = _codes(3, rng)
        plates.append(Serving(assessor, turn, order, codes, codes[place]))
    return plates
