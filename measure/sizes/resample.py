"""Resampling of whole fields, or of pieces when there is only one field."""

import math
from dataclasses import dataclass, replace

import numpy as np

from measure.sizes.sample import SizeSample, ZoomMatch
from measure.special_functions import special_function

COVERAGE_FACTOR = 1.959963984540054  # 95 % of a normal distribution
MOST_FIELDS = 2000  # resampled one by one
# two fields give only three different resamples, whose extremes lie nearer than 1.96 standard deviations
_TWO_FIELDS = 1.3859


@dataclass(frozen=True)
class Plan:
    """What is resampled and how much too narrow its spread is known to be.

    Attributes
    ----------
    by_field : bool
        Whole fields are drawn; else pieces within the one field.
    units : int
        Fields, or pieces.
    stretch : float
        Factor on the deviations: sqrt(n / (n - 1)) times Student's t over the normal quantile. Nan where
        one unit leaves nothing to compare.
    words : str
        For the reader.
    """

    by_field: bool
    units: int
    stretch: float
    words: str


def resampling_plan(sample: SizeSample) -> Plan:
    """Choose between fields and pieces, and the correction for their small number."""
    occupied = fields_with_pieces(sample)
    zooms = sample.zoom_match
    if occupied >= 2 and zooms is None:
        units = len(sample.field_names)
        return Plan(True, units, _stretch(units - 1, units), f"between {units} fields")
    if zooms is not None:
        fine = int(zooms.fine_field.sum())
        fewest = min(fine, len(zooms.fine_field) - fine)
        words = f"between {fine} + {len(zooms.fine_field) - fine} fields at two zooms"
        return Plan(True, fewest, _stretch(fewest - 1, fewest), words)
    pieces = round(sample.pieces)
    return Plan(False, pieces, _stretch(pieces - 1, pieces), "within one field")


def fields_with_pieces(sample: SizeSample) -> int:
    """Return the number of fields that hold at least one piece."""
    return len(np.unique(sample.field))


def in_groups(sample: SizeSample) -> SizeSample:
    """Return a sample whose fields, where they are thousands, are put together at random in groups.

    Memory of resampling grows with the number of units drawn, and groups of fields that are alike by chance
    alone are as good as units as the fields are. Two zooms stay as they are.
    """
    fields = len(sample.field_names)
    together = -(-fields // MOST_FIELDS)
    if together < 2 or sample.zoom_match is not None:
        return sample
    group = np.random.default_rng(fields).permutation(fields) // together
    names = tuple(f"group {i + 1}" for i in range(-(-fields // together)))
    return replace(sample, field=group[sample.field], field_names=names)


def _stretch(freedom: int, units: int) -> float:
    if freedom < 1:
        return math.nan
    reach = float(special_function("stdtrit")(freedom, 0.975))
    factor = math.sqrt(units / (units - 1)) * reach / COVERAGE_FACTOR
    return factor * (_TWO_FIELDS if units == 2 else 1.0)


def field_multiples(sample: SizeSample, resamples: int, seed: int) -> np.ndarray:
    """Return how many times each field is drawn in each resample, (B, F).

    Two zooms are drawn apart, and the closer one is matched anew each time.
    """
    rng = np.random.default_rng(seed)
    fields = len(sample.field_names)
    if sample.zoom_match is None:
        return rng.multinomial(fields, np.full(fields, 1 / fields), size=resamples).astype(float)
    return _zoom_multiples(sample.zoom_match, resamples, rng)


def _zoom_multiples(match: ZoomMatch, resamples: int, rng: np.random.Generator) -> np.ndarray:
    multiples = np.zeros((resamples, len(match.fine_field)))
    for chosen in (match.fine_field, ~match.fine_field):
        number = int(chosen.sum())
        multiples[:, chosen] = rng.multinomial(number, np.full(number, 1 / number), size=resamples)
    fine, coarse = match.fine_field, ~match.fine_field
    here = multiples[:, fine] @ match.overlap[fine]
    there = multiples[:, coarse] @ match.overlap[coarse]
    usual = match.overlap[coarse].sum() / match.overlap[fine].sum()
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = np.where((here > 0) & (there > 0), there / here / usual, 1.0)
    multiples[:, fine] *= factor[:, None]
    return multiples


def piece_multiples(pieces: np.ndarray, resamples: int, seed: int) -> np.ndarray:
    """Return the relative number of pieces on each rung when pieces are drawn anew, (B, G).

    A Poisson number a rung stands for drawing with replacement; the total then varies a little, which no
    ratio notices.
    """
    rng = np.random.default_rng(seed)
    drawn = rng.poisson(pieces, size=(resamples, len(pieces))).astype(float)
    return drawn / np.where(pieces > 0, pieces, 1.0)
