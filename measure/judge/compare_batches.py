"""Batches to compare: their sizes, and what must agree before two of them may be held side by side."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from measure.errors import InvalidInput
from measure.model import KINDS
from measure.sizes.sample import SizeSample, sample_from_table

# lower limits this much apart are the same but for rounding
_SAME_LIMIT = 0.01
_SPHERE, _CUBE = 4.0 / (3.0 * math.sqrt(math.pi)), 1.0


@dataclass(frozen=True)
class BatchSizes:
    """One batch to compare.

    Attributes
    ----------
    name : str
        For tables and sentences; each batch has its own.
    sample : SizeSample
        Its counted pieces.
    scale : str
        Which scale or scales it was measured with; batches with the same words share the scale's error.
        Empty when unknown.
    passes, minutes : float or None
        How long it was ground, where known.
    """

    name: str
    sample: SizeSample
    scale: str = ""
    passes: float | None = None
    minutes: float | None = None


def batches_from_table(columns: Mapping[str, np.ndarray], name: str) -> tuple[BatchSizes, ...]:
    """Return one batch for each name in the table's ``batch`` column, or one called ``name`` without it.

    Parameters
    ----------
    columns : mapping of str to (N,) ndarray
        As read by `measure.sizes.table_file.read_sizes_table`.
    name : str
        Name for a table without batches.

    Raises
    ------
    InvalidInput
        If a batch has no counted piece.
    """
    labels = np.asarray(columns.get("batch", ())).astype(str)
    if not labels.size or not np.any(labels != ""):
        return (_one_batch(columns, name),)
    names = list(dict.fromkeys(labels.tolist()))
    return tuple(
        _one_batch({k: np.asarray(v)[labels == n] for k, v in columns.items()}, n or name) for n in names
    )


def _one_batch(columns: Mapping[str, np.ndarray], name: str) -> BatchSizes:
    sample = sample_from_table(columns)
    if len(sample) == 0:
        raise InvalidInput(f"'{name}' has no counted piece, so there is nothing to compare.")
    factors = np.unique(np.asarray(columns.get("um_per_px", ()), dtype=float))
    words = ", ".join(f"{v:.4g} µm per px" for v in factors[np.isfinite(factors)].tolist())
    return BatchSizes(name, sample, words)


def with_own_names(batches: Iterable[BatchSizes]) -> tuple[BatchSizes, ...]:
    """Return the batches with a number behind every name that comes again."""
    seen: dict[str, int] = {}
    result = []
    for batch in batches:
        seen[batch.name] = seen.get(batch.name, 0) + 1
        count = seen[batch.name]
        result.append(batch if count == 1 else replace(batch, name=f"{batch.name} ({count})"))
    return tuple(result)


def largest_limit_um(batches: Sequence[BatchSizes]) -> float:
    """Return the largest lower limit among batches, um; nan where none is known."""
    known = [b.sample.smallest_um for b in batches if math.isfinite(b.sample.smallest_um)]
    return max(known) if known else math.nan


def limits_differ(batches: Sequence[BatchSizes]) -> bool:
    """Whether lower limits differ by more than rounding."""
    known = [b.sample.smallest_um for b in batches if math.isfinite(b.sample.smallest_um)]
    return bool(known) and max(known) > min(known) * (1 + _SAME_LIMIT)


def on_common_range(batches: Sequence[BatchSizes]) -> tuple[BatchSizes, ...]:
    """Return the batches with only the pieces above the largest lower limit of all.

    Raises
    ------
    InvalidInput
        If that leaves a batch without pieces.
    """
    limit = largest_limit_um(batches)
    if not math.isfinite(limit):
        return tuple(batches)
    cut = tuple(replace(b, sample=b.sample.at_least(limit)) for b in batches)
    for batch in cut:
        if len(batch.sample) == 0:
            raise InvalidInput(
                f"'{batch.name}' has no piece above {limit:.3g} µm, where the range all share begins; "
                "leave it out."
            )
    return cut


def volume_model_words(sample: SizeSample) -> dict[str, str]:
    """Return, for each kind in a sample, the volume model its volumes follow, read from the pieces."""
    area = np.pi / 4 * sample.diameter_um**2
    words = {}
    for code, kind in enumerate(KINDS):
        chosen = sample.kind == code
        if chosen.any():
            words[kind.value] = _model_words(sample.volume_um3[chosen], area[chosen])
    return words


def _model_words(volume: np.ndarray, area: np.ndarray) -> str:
    shape = volume / area**1.5
    for factor, word in ((_SPHERE, "sphere"), (_CUBE, "cube")):
        if np.allclose(shape, factor, rtol=2e-3):
            return word
    thickness = _thickness(volume, area)
    return f"flake {thickness:.3g} µm thick" if _are_flakes(volume, area, thickness) else "another model"


def _thickness(volume: np.ndarray, area: np.ndarray) -> float:
    """Thickness of flakes, um, from those that hold less than the sphere; 0 where none does."""
    flat = volume < _SPHERE * 0.998 * area**1.5
    return float(np.median((volume / area)[flat])) if flat.any() else 0.0


def _are_flakes(volume: np.ndarray, area: np.ndarray, thickness_um: float) -> bool:
    return bool(np.allclose(volume, np.minimum(area * thickness_um, _SPHERE * area**1.5), rtol=2e-3))


def _one_flake(first: SizeSample, second: SizeSample, code: int) -> bool:
    """Whether pieces of a kind in two samples are flakes of one thickness.

    A flake never holds more than the sphere, so a batch of small flakes alone looks like spheres.
    """
    chosen = [(s.volume_um3[s.kind == code], s.diameter_um[s.kind == code]) for s in (first, second)]
    pieces = [(volume, np.pi / 4 * d**2) for volume, d in chosen]
    thickness = max(_thickness(*one) for one in pieces)
    return all(_are_flakes(*one, thickness) for one in pieces)


def differences(batches: Sequence[BatchSizes]) -> tuple[str, ...]:
    """Return what keeps batches from being held side by side, one sentence each, worst first."""
    found = []
    if limits_differ(batches):
        parts = ", ".join(f"{b.name} {b.sample.smallest_um:.3g} µm" for b in batches)
        found.append(
            f"The lower limits differ ({parts}), so pieces counted in one batch are missing in another. "
            f"Compare the common range, from {largest_limit_um(batches):.3g} µm."
        )
    if any(not math.isfinite(b.sample.smallest_um) for b in batches):
        found.append("The lower limit of some batch is unknown; figures by number may not be comparable.")
    scales = {b.scale for b in batches}
    if "" in scales:
        found.append(
            "Some table does not say its scale, so it is not known whether the zoom was the same; "
            "each batch's scale uncertainty is added."
        )
    elif len(scales) > 1:
        found.append(
            "Not all batches were taken at the same scale, so the scale uncertainties add up, and a closer "
            "zoom resolves finer pieces."
        )
    return tuple(found)


def refuse_different_models(batches: Sequence[BatchSizes]) -> None:
    """Refuse batches whose volumes of one kind follow different models.

    Raises
    ------
    InvalidInput
        Naming the kind, the batches and their models.
    """
    words = [(b, volume_model_words(b.sample)) for b in batches]
    for code, kind in enumerate(k.value for k in KINDS):
        for (a, first), (b, second) in combinations(words, 2):
            if kind not in first or kind not in second or first[kind] == second[kind]:
                continue
            if not _one_flake(a.sample, b.sample, code):
                raise InvalidInput(
                    f"The volume of {kind} follows different models ({a.name}: {first[kind]}; {b.name}: "
                    f"{second[kind]}), so these batches cannot be compared; set one model and measure again."
                )
