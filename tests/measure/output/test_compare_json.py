"""The grind curve in words: a level far below all batches is none."""

import math

from measure.judge.grind import GrindPoint, fit_grind
from measure.judge.grind_models import PLATEAU
from measure.output.compare_json import law_numbers


def _told(level_um: float) -> str:
    """What is said of the level of batches that fall towards it by a fifth of the rest with each pass."""
    sizes = {t: level_um + 100.0 * math.exp(-0.2 * t) for t in (1, 3, 6)}
    curve = fit_grind([GrindPoint(t, v, 0.97 * v, 1.03 * v) for t, v in sizes.items()], draws=20)
    fit = next(f for f in curve.fits if f.law is PLATEAU)
    return law_numbers(fit, curve)["x_inf"]


def test_a_level_far_below_every_batch_is_none():
    assert _told(0.05) == "0 µm"
    assert _told(12.0) == "12 µm"
