"""Two zooms of one batch put together: each over the sizes it sees well, matched in the overlap.

A close zoom sees fine pieces and too few coarse ones; a wide zoom the other way round. Both count pieces of
the
overlap of sizes; the ratio of those numbers brings the closer zoom onto the wider one's number scale (the
idea of
ISO 13322-1 for wide distributions). The ratio has its own chance error, which the intervals take in.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from measure.errors import InvalidInput
from measure.sizes.distribution import cumulative
from measure.sizes.sample import SizeSample, ZoomMatch

FEWEST_IN_OVERLAP = 20
# pieces with a larger frame correction are too big for the closer zoom
WELL_SEEN_WEIGHT = 1.25
_KOLMOGOROV = 1.358  # 5 % point


@dataclass(frozen=True)
class Merged:
    """Two zooms in one sample.

    Attributes
    ----------
    sample : SizeSample
        Fine pieces below ``split_um`` from the closer zoom, the others from the wider one.
    split_um : float
        Size at which the wider zoom takes over.
    overlap_um : (float, float)
        Sizes over which the numbers were matched.
    factor : float
        Pieces of the wider zoom for each of the closer one in the overlap.
    agrees : bool
        False when the two zooms see different distributions in the overlap.
    words : str
        The match in a sentence.
    """

    sample: SizeSample
    split_um: float
    overlap_um: tuple[float, float]
    factor: float
    agrees: bool
    words: str


def merge_zooms(
    fine: SizeSample,
    coarse: SizeSample,
    *,
    overlap_um: tuple[float, float] | None = None,
    split_um: float | None = None,
) -> Merged:
    """Merge a close and a wide zoom of one batch.

    Parameters
    ----------
    fine, coarse : SizeSample
        Closer and wider zoom. The closer one must have the smaller lower limit.
    overlap_um : (float, float), optional
        Sizes both see well. By default from the wider zoom's lower limit to the largest piece whose frame
        correction
        at the closer zoom stays below 1.25.
    split_um : float, optional
        Where the wider zoom takes over; by default the geometric middle of the overlap.

    Raises
    ------
    InvalidInput
        If the limits are in the wrong order, or too few pieces lie in the overlap.
    """
    low, high = overlap_um or _overlap(fine, coarse)
    if not (0 < low < high):
        raise InvalidInput(
            f"The zooms do not overlap: the wider one starts at {low:.3g} µm and the closer one ends at "
            f"{high:.3g} µm."
        )
    split = math.sqrt(low * high) if split_um is None else float(split_um)
    if not low <= split <= high:
        raise InvalidInput(f"The zooms must be joined inside their overlap, {low:.3g} to {high:.3g} µm.")
    in_fine, in_coarse = (_within(s, low, high) for s in (fine, coarse))
    for name, chosen, whole in (("closer", in_fine, fine), ("wider", in_coarse, coarse)):
        number = whole.count[chosen].sum()
        if number < FEWEST_IN_OVERLAP:
            raise InvalidInput(
                f"Only {number:.0f} pieces of the {name} zoom lie between {low:.3g} and {high:.3g} µm, "
                "where the two "
                f"are matched; at least {FEWEST_IN_OVERLAP} are needed, so measure more fields."
            )
    factor = float(coarse.weight[in_coarse].sum() / fine.weight[in_fine].sum())
    agrees, words = _agreement(fine.select(in_fine), coarse.select(in_coarse), low, high, factor)
    sample = _joined(fine, coarse, in_fine, in_coarse, split, factor)
    return Merged(replace(sample, notes=(*sample.notes, words)), split, (low, high), factor, agrees, words)


def _overlap(fine: SizeSample, coarse: SizeSample) -> tuple[float, float]:
    if len(fine) == 0 or len(coarse) == 0:
        raise InvalidInput("Both zooms need counted pieces before they can be merged.")
    low = coarse.smallest_um if math.isfinite(coarse.smallest_um) else float(coarse.diameter_um.min())
    own = fine.smallest_um if math.isfinite(fine.smallest_um) else float(fine.diameter_um.min())
    if own >= low:
        raise InvalidInput(
            f"The closer zoom should see finer pieces, but its lower limit is {own:.3g} µm and the wider "
            f"one's {low:.3g} µm."
        )
    seen = fine.diameter_um[fine.frame_weight <= WELL_SEEN_WEIGHT]
    return low, float(seen.max()) if len(seen) else low


def _within(sample: SizeSample, low: float, high: float) -> np.ndarray:
    return (sample.diameter_um >= low) & (sample.diameter_um <= high)


def _agreement(
    fine: SizeSample, coarse: SizeSample, low: float, high: float, factor: float
) -> tuple[bool, str]:
    at = np.unique(np.r_[fine.diameter_um, coarse.diameter_um])
    curves = [cumulative(s.diameter_um, s.weight, at) for s in (fine, coarse)]
    gap = float(np.abs(curves[0] - curves[1]).max())
    n, m = fine.pieces, coarse.pieces
    allowed = _KOLMOGOROV * math.sqrt((n + m) / (n * m))
    where = f"between {low:.3g} and {high:.3g} µm (factor {factor:.3g})"
    match = f"Two zooms matched on {n:.0f} and {m:.0f} pieces {where}"
    if gap <= allowed:
        return True, f"{match}; they agree there (largest gap {100 * gap:.0f} %)."
    return False, (
        f"{match}, but they differ there by up to {100 * gap:.0f} %, more than the {100 * allowed:.0f} % of "
        "chance: check both scales and the focus."
    )


def _joined(
    fine: SizeSample,
    coarse: SizeSample,
    in_fine: np.ndarray,
    in_coarse: np.ndarray,
    split: float,
    factor: float,
) -> SizeSample:
    below, above = fine.select(fine.diameter_um < split), coarse.select(coarse.diameter_um >= split)
    shift = len(fine.field_names)
    names = (*(f"closer: {n}" for n in fine.field_names), *(f"wider: {n}" for n in coarse.field_names))
    overlap = np.r_[
        np.bincount(fine.field[in_fine], fine.weight[in_fine], minlength=shift),
        np.bincount(coarse.field[in_coarse], coarse.weight[in_coarse], minlength=len(coarse.field_names)),
    ]
    is_fine = np.arange(len(names)) < shift
    arrays = ("diameter_um", "count", "frame_weight", "volume_um3", "kind", "size_uncertainty_um", "row")
    joined = {a: np.r_[getattr(below, a), getattr(above, a)] for a in arrays}
    left = {**fine.left_out}
    for reason, number in coarse.left_out.items():
        left[reason] = left.get(reason, 0) + number
    return replace(
        fine,
        **joined,
        field=np.r_[below.field, above.field + shift],
        field_names=names,
        scale_relative_uncertainty=max(fine.scale_relative_uncertainty, coarse.scale_relative_uncertainty),
        sphere_volumes=fine.sphere_volumes and coarse.sphere_volumes,
        fields_known=fine.fields_known and coarse.fields_known,
        left_out=left,
        notes=tuple(dict.fromkeys((*fine.notes, *coarse.notes))),
        zoom_match=ZoomMatch(is_fine, overlap, factor),
    )
