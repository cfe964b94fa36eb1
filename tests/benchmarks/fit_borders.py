"""Fit the evidence for a border between neighbours and print the weights of `joined_again`.

    GRITLINE_DATA=... python -m tests.benchmarks.fit_borders

A logistic regression with a small ridge; no hand of more than `_SAY` borders has more say than that,
and smears, the most varied, twice as much. Judged twice: fields left out in turn, and whole hands left out,
since a user's pictures are a hand it has not seen.
"""

from zlib import crc32

import cv2
import numpy as np
from scipy.optimize import minimize

from measure.field.whole_field.joined_again import KEPT, terms_of
from tests.benchmarks.border_samples import gathered

_SAY, _RIDGE, _FOLDS = 300, 1.0, 8
_LIMITS = (-2.0, -1.5, -1.0, -0.5, 0.0)


def fitted(terms: np.ndarray, two: np.ndarray, say: np.ndarray) -> np.ndarray:
    """Base and weights."""
    mean, spread = terms.mean(axis=0), terms.std(axis=0) + 1e-6
    known = np.c_[np.ones(len(terms)), (terms - mean) / spread]

    def cost(weights: np.ndarray) -> tuple[float, np.ndarray]:
        score = np.clip(known @ weights, -40, 40)
        off = 1 / (1 + np.exp(-score)) - two
        loss = float((say * (np.logaddexp(0, score) - two * score)).sum())
        return loss + 0.5 * _RIDGE * float((weights[1:] ** 2).sum()), (
            known.T @ (say * off) + _RIDGE * np.append(0.0, weights[1:])
        )

    found = minimize(cost, np.zeros(known.shape[1]), jac=True, method="L-BFGS-B").x
    weights = found[1:] / spread
    return np.append(found[0] - weights @ mean, weights)


def _line(name: str, score: np.ndarray, two: np.ndarray) -> str:
    """Borders of one piece and of two, and how many of either would be taken back at each limit."""
    ones, twos = score[~two], score[two]
    taken = "".join(f"{np.sum(ones < limit):8d}{np.sum(twos < limit):6d}" for limit in _LIMITS)
    return f"{name:16}{len(ones):6d}{len(twos):6d}{taken}"


def main() -> None:
    """Gather, judge, fit, print."""
    cv2.setNumThreads(1)
    borders = list(gathered())
    terms = np.array([terms_of(border.traits) for border in borders])
    two = np.array([border.two for border in borders])
    hands = np.array([border.hand for border in borders])
    say = np.array([min(1.0, _SAY * (1 + (hand == "smears")) / np.sum(hands == hand)) for hand in hands])
    fold = np.array([crc32(f"{b.hand}{b.look}".encode()) % _FOLDS for b in borders])
    print(f"{'':16}{'one':>6}{'two':>6}" + "".join(f"{limit:14.1f}" for limit in _LIMITS))
    for groups, words in ((fold, "fields left out"), (hands, "hands left out")):
        score = np.zeros(len(terms))
        for group in np.unique(groups):
            out = groups == group
            weights = fitted(terms[~out], two[~out], say[~out])
            score[out] = weights[0] + terms[out] @ weights[1:]
        print(words)
        for hand in np.unique(hands):
            print(_line(f"  {hand}", score[hands == hand], two[hands == hand]))
    weights = fitted(terms, two, say)
    print(f"base {weights[0]:.2f}")
    for name, weight in zip(KEPT, weights[1:], strict=True):
        print(f'    "{name}": {weight:.3g},')


if __name__ == "__main__":
    main()
