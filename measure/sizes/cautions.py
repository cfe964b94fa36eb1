"""What should make a reader careful with a size distribution, in plain sentences."""

import math

import numpy as np

from measure.sizes.frame_weight import frame_warning
from measure.sizes.resample import fields_with_pieces
from measure.sizes.sample import SizeSample

FEW_PIECES = 300
FEW_FIELDS = 5
# one R10 class above the lower limit
LIMIT_STEP = 1.25
LIMIT_SHARE = 0.05
# at this cover 5 % of pieces touch another by chance, 1 - exp(-4 x 0.013)
TARGET_COVER = 0.013
HIGH_COVER = 0.03
_LEAST_SEEN_UM = 0.2  # half a wavelength of light over the largest aperture, 1.4 (Abbe)
_LARGEST_UM = 10_000.0  # no ground paste has such a middle size


def cautions(sample: SizeSample, *, cover: float | None = None) -> tuple[str, ...]:
    """Return the sentences that apply, most important first.

    Parameters
    ----------
    sample : SizeSample
        K pieces.
    cover : float, optional
        Largest share of a frame covered by pieces, 0..1, where known.
    """
    if len(sample) == 0:
        return ("No piece is counted, so there are no sizes.",)
    found = [
        *sample.cautions,
        _unit(sample),
        _counts(sample),
        _few_fields(sample),
        _one_size(sample),
        _coarse_end(sample),
        _weights(sample),
        frame_warning(sample.frame_weight),
        _optics(sample),
        _near_limit(sample),
        _few_pieces(sample),
        _cover(cover),
        _scale(sample),
    ]
    return tuple(sentence for sentence in found if sentence)


def _few_fields(sample: SizeSample) -> str | None:
    occupied = fields_with_pieces(sample)
    if not sample.fields_known:
        return (
            "The table names no fields, so no interval between fields is possible; the intervals treat all "
            "pieces as independent and are probably too narrow."
        )
    if occupied < 2:
        return (
            "Only one field holds pieces, so no interval between fields is possible; the intervals are "
            "within "
            "that field and say nothing about how fields differ."
        )
    if len(sample.field_names) < FEW_FIELDS:
        return (
            f"Only {len(sample.field_names)} fields: the intervals are wide because so few can be compared."
        )
    return None


def _one_size(sample: SizeSample) -> str | None:
    if len(sample) < 2 or np.ptp(sample.diameter_um) > 1e-6 * sample.diameter_um[0]:
        return None
    return (
        "All pieces counted are of the same size, so their spread is not known and no interval holds "
        "any of it; were the sizes rounded?"
    )


def _coarse_end(sample: SizeSample) -> str | None:
    volume, count = sample.quantity(3), np.maximum(sample.count, 1.0)  # a row may stand for many pieces
    if count.sum() < 4:
        return None
    largest = largest_share(sample)
    if largest >= 0.2:
        percent = f"{100 * largest:.0f} %"
        return f"The largest piece alone carries {percent} of the volume; every volume figure hangs on it."
    order = np.argsort(-volume / count)
    share = np.cumsum(volume[order]) / volume.sum()
    row = int(np.searchsorted(share, 0.5))
    before = float(share[row - 1]) if row else 0.0
    of_row = (0.5 - before) * volume.sum() / float((volume / count)[order[row]])
    few = math.ceil(float(count[order[:row]].sum()) + of_row - 1e-9)
    if few <= max(5, 0.01 * count.sum()):
        return f"The {few} largest pieces carry half of the volume; volume figures hang on them."
    return None


def largest_share(sample: SizeSample) -> float:
    """Return the share of the volume that the largest single piece carries, 0..1."""
    volume = sample.quantity(3)
    return float((volume / np.maximum(sample.count, 1.0)).max() / volume.sum())


def _unit(sample: SizeSample) -> str | None:
    largest = float(sample.diameter_um.max())
    look = "look at the scale, or at the unit of the sizes"
    if largest < _LEAST_SEEN_UM:
        shown = f"The largest piece is {largest:.2g} µm, less than light can show"
        return f"{shown}: {look}; were they in millimetres?"
    if float(np.median(sample.diameter_um)) > _LARGEST_UM:
        return f"Half of the pieces are above {_LARGEST_UM / 1000:.0f} mm: {look}; were they in nanometres?"
    return None


def _counts(sample: SizeSample) -> str | None:
    broken = sample.count[np.abs(sample.count - np.round(sample.count)) > 1e-6]
    if not len(broken):
        return None
    return (
        f"The table counts parts of pieces, such as {broken[0]:g}: if these are per cent, how many pieces "
        "there were is not known, and no interval holds."
    )


def _weights(sample: SizeSample) -> str | None:
    below = int((sample.frame_weight < 1 - 1e-6).sum())
    if not below:
        return None
    have = "1 piece has a frame weight" if below == 1 else f"{below} pieces have frame weights"
    return (
        f"{have} below 1, which no frame correction 1/P gives; they are used as they are, so check the table."
    )


def _optics(sample: SizeSample) -> str | None:
    resolved, limit = sample.resolved_um, sample.smallest_um
    if not resolved > (limit if np.isfinite(limit) else 0.0):
        return None
    weight = sample.weight
    below = float(weight[sample.diameter_um < resolved].sum() / weight.sum())
    return (
        f"The lower limit of {limit:.3g} µm is finer than the objective resolves: sizes below "
        f"{resolved:.3g} µm ({100 * below:.0f} % of the pieces) are unsure, for blur changes them and pieces "
        "run together. Set the smallest size to that, or take an objective of a higher NA."
    )


def _near_limit(sample: SizeSample) -> str | None:
    limit = sample.smallest_um
    if not np.isfinite(limit):
        return None
    weight = sample.weight
    near = float(weight[sample.diameter_um < LIMIT_STEP * limit].sum() / weight.sum())
    if near <= LIMIT_SHARE:
        return None
    return (
        f"{100 * near:.0f} % of the pieces lie between the lower limit of {limit:.3g} µm and "
        f"{LIMIT_STEP * limit:.3g} µm: "
        "finer ones are probably there and not counted, so figures by number depend on that limit."
    )


def _few_pieces(sample: SizeSample) -> str | None:
    if sample.pieces >= FEW_PIECES:
        return None
    pieces = round(sample.pieces)
    what = "Only 1 piece is" if pieces == 1 else f"Only {pieces} pieces are"
    return f"{what} counted; a few hundred are the least for a middle size, thousands for the coarse end."


def _cover(cover: float | None) -> str | None:
    if cover is None or not cover > HIGH_COVER:
        return None
    touching = 1 - np.exp(-4 * cover)
    return (
        f"Pieces cover up to {100 * cover:.1f} % of a frame, where about {100 * touching:.0f} % touch "
        f"another by chance. Thinner is surer: at {100 * TARGET_COVER:.1f} % only about 5 % do."
    )


def _scale(sample: SizeSample) -> str | None:
    u = sample.scale_relative_uncertainty
    if u <= 0.02:
        return None
    return f"The scale is known to {200 * u:.1f} % only, and more pieces do not make that better."


def volume_note(sample: SizeSample) -> str:
    """Return why the mean by volume and D[4,3] differ, where they do."""
    if sample.sphere_volumes:
        return ""
    return (
        "Volumes follow the model of each kind; the means D[p,q] are powers of the diameter alone, as their "
        "definition has it, so D[4,3] and the mean by volume differ."
    )
