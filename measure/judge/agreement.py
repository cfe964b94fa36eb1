"""How far slides of one batch, or two people on the same fields, agree."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from measure.errors import InvalidInput
from measure.model import KINDS
from measure.sizes.figures import figures
from measure.sizes.resample import COVERAGE_FACTOR
from measure.sizes.sample import SizeSample

# a percentile of fewer pieces is mostly chance
FEWEST_PIECES = 20


@dataclass(frozen=True)
class Repeatability:
    """Components of variance of a figure between repeat slides and between fields of one slide.

    Attributes
    ----------
    figure : str
    slides, fields : int
    within_sd, between_sd : float
        Relative standard deviations of fields of one slide, and of slides beyond that.
    repeatability_sd : float
        Relative standard deviation of the result of one slide (as many fields as here on average).
    share_between : float
        Part of that variance due to the slides, 0..1.
    f, p : float
        F of the analysis of variance, and how often as large a one comes by chance.
    widening : float
        How many times wider the interval of the batch is with slides as its units rather than fields.
    warnings : tuple of str
    """

    figure: str
    slides: int
    fields: int
    within_sd: float
    between_sd: float
    repeatability_sd: float
    share_between: float
    f: float
    p: float
    widening: float
    warnings: tuple[str, ...] = ()


def variance_components(groups: Sequence[Sequence[float]]) -> tuple[float, float, float]:
    """Return the mean square between and within groups, and the mean group size, by one-way ANOVA.

    The component between groups is (MS_between - MS_within) / size, at least 0.

    Raises
    ------
    InvalidInput
        With fewer than two groups, or no group of two.
    """
    sizes = np.array([len(g) for g in groups], dtype=float)
    total = sizes.sum()
    if len(groups) < 2 or total <= len(groups):
        raise InvalidInput("Repeat slides need at least two slides of one batch with two fields each.")
    means = np.array([np.mean(g) for g in groups])
    grand = float(np.concatenate([np.asarray(g, dtype=float) for g in groups]).mean())
    between = float((sizes * (means - grand) ** 2).sum()) / (len(groups) - 1)
    spread = [((np.asarray(g) - m) ** 2).sum() for g, m in zip(groups, means, strict=True)]
    within = float(np.sum(spread)) / (total - len(groups))
    size = float((total - (sizes**2).sum() / total) / (len(groups) - 1))
    return between, within, size


def slide_repeatability(
    sample: SizeSample, slide_of_field: Mapping[str, str], figure: str = "volume.x50_um"
) -> Repeatability:
    """Return how slides of one batch differ in a figure.

    Parameters
    ----------
    sample : SizeSample
        The batch.
    slide_of_field : mapping of str to str
        Slide of each field, by name; fields without one are left out.
    figure : str
        Dotted name; its logarithm is analysed field by field.

    Raises
    ------
    InvalidInput
        If fewer than two slides have two fields with enough pieces.

    References
    ----------
    ISO 5725-2 (repeatability); one-way analysis of variance with random groups.
    """
    groups: dict[str, list[float]] = {}
    few = 0
    for code, name in enumerate(sample.field_names):
        part = sample.select(sample.field == code)
        if name not in slide_of_field or len(part) == 0:
            continue
        if part.pieces < FEWEST_PIECES:
            few += 1
            continue
        groups.setdefault(slide_of_field[name], []).append(math.log(figures(part)[figure]))
    ms_between, ms_within, size = variance_components(list(groups.values()))
    between = max(ms_between - ms_within, 0.0) / size
    return _repeatability(figure, groups, ms_between, ms_within, between, size, few)


def _repeatability(
    figure: str, groups: dict[str, list[float]], ms_between: float, ms_within: float,
    between: float, size: float, few: int,
) -> Repeatability:  # fmt: skip
    from scipy.special import fdtrc

    slides, fields = len(groups), sum(map(len, groups.values()))
    one_slide = between + ms_within / size
    f = ms_between / ms_within if ms_within > 0 else math.inf
    by_slides = between / slides + ms_within / fields
    by_fields = (between + ms_within) / fields
    warnings = []
    if slides < 6:
        warnings.append(f"{slides} slides tell a standard deviation only roughly.")
    if few:
        warnings.append(f"{few} fields with fewer than {FEWEST_PIECES} pieces are left out.")
    return Repeatability(
        figure, slides, fields, math.sqrt(ms_within), math.sqrt(between), math.sqrt(one_slide),
        between / one_slide if one_slide > 0 else 0.0, f,
        float(fdtrc(slides - 1, fields - slides, f)) if math.isfinite(f) else 0.0,
        math.sqrt(by_slides / by_fields) if by_fields > 0 else 1.0, tuple(warnings),
    )  # fmt: skip


@dataclass(frozen=True)
class Limits:
    """Bias and limits of agreement of paired differences, with their 95 % intervals' half-widths."""

    count: int
    bias: float
    sd: float
    low: float
    high: float
    bias_half_width: float
    limit_half_width: float


def limits_of_agreement(differences: np.ndarray) -> Limits:
    """Return the bias and the range of 95 % of differences.

    References
    ----------
    Bland and Altman, Lancet 327 (1986) 307.
    """
    from scipy.special import stdtrit

    d = np.asarray(differences, dtype=float)
    if len(d) < 2:
        raise InvalidInput("Agreement of sizes needs two or more pieces found by both.")
    bias, sd = float(d.mean()), float(d.std(ddof=1))
    t = float(stdtrit(len(d) - 1, 0.975))
    reach = COVERAGE_FACTOR * sd
    root = sd / math.sqrt(len(d))
    return Limits(len(d), bias, sd, bias - reach, bias + reach, t * root, t * root * math.sqrt(3))


def cohen_kappa(counts: np.ndarray) -> tuple[float, float]:
    """Return Cohen's kappa of a square table of counts, and its standard error.

    References
    ----------
    Cohen, Educ. Psychol. Meas. 20 (1960) 37.

    Examples
    --------
    >>> round(float(cohen_kappa(np.array([[20, 5], [10, 15]]))[0]), 3)
    0.4
    """
    counts = np.asarray(counts, dtype=float)
    total = counts.sum()
    if not total > 0:
        return math.nan, math.nan
    agree = float(np.trace(counts)) / total
    chance = float(counts.sum(axis=0) @ counts.sum(axis=1)) / total**2
    if chance >= 1:
        return math.nan, math.nan  # all pieces of one kind: nothing to disagree about
    error = math.sqrt(agree * (1 - agree) / (total * (1 - chance) ** 2))
    return (agree - chance) / (1 - chance), error


@dataclass(frozen=True)
class TableAgreement:
    """How far two tables of the same fields agree, counted pieces only.

    Attributes
    ----------
    fields : tuple of str
        Fields in both.
    both, only_first, only_second : int
        Pieces found by both or by one.
    overlap : float
        2 x both / all pieces of the two, 0..1.
    size : Limits
        Of ln(second / first) of the diameters of pieces found by both.
    kinds : (4, 4) ndarray
        Pieces by kind, first's in rows.
    kappa, kappa_error : float
    figures : mapping of str to (float, float)
        Figures of the two on those fields.
    """

    fields: tuple[str, ...]
    both: int
    only_first: int
    only_second: int
    overlap: float
    size: Limits
    kinds: np.ndarray
    kappa: float
    kappa_error: float
    figures: dict[str, tuple[float, float]]


def compare_tables(first: Mapping[str, np.ndarray], second: Mapping[str, np.ndarray]) -> TableAgreement:
    """Return the agreement of two particle tables of the same fields.

    A piece is the same where each is the other's nearest and their centres lie within half the diameter of
    the larger.

    Parameters
    ----------
    first, second : mapping of str to ndarray
        Columns of particle tables; centres, scale and field names are needed.

    Raises
    ------
    InvalidInput
        If a column is missing, or no field is in both.
    """
    a, b = _Pieces.of(first, "first"), _Pieces.of(second, "second")
    shared = [name for name in dict.fromkeys(a.field.tolist()) if name in set(b.field.tolist())]
    if not shared:
        raise InvalidInput("The two tables share no field; they must come from the same pictures.")
    pairs = [pair for name in shared for pair in _match(a, b, name)]
    in_a, in_b = np.isin(a.field, shared), np.isin(b.field, shared)
    i, j = (np.array([p[k] for p in pairs], dtype=int) for k in (0, 1))
    kinds = np.zeros((len(KINDS), len(KINDS)), dtype=int)
    np.add.at(kinds, (a.kind[i], b.kind[j]), 1)
    both, n_a, n_b = len(pairs), int(in_a.sum()), int(in_b.sum())
    kappa, error = cohen_kappa(kinds)
    values = [figures(x.sample.select(chosen)) for x, chosen in ((a, in_a), (b, in_b))]
    names = ("number.x50_um", "volume.x50_um", "volume.x90_um")
    return TableAgreement(
        tuple(shared), both, n_a - both, n_b - both, 2 * both / (n_a + n_b),
        limits_of_agreement(np.log(b.diameter_px[j] / a.diameter_px[i])), kinds, kappa, error,
        {name: (values[0][name], values[1][name]) for name in names},
    )  # fmt: skip


@dataclass(frozen=True)
class _Pieces:
    sample: SizeSample
    field: np.ndarray
    kind: np.ndarray
    centre_px: np.ndarray
    diameter_px: np.ndarray

    @classmethod
    def of(cls, columns: Mapping[str, np.ndarray], which: str) -> "_Pieces":
        from measure.sizes.sample import sample_from_table

        for name in ("field", "centre_x_px", "centre_y_px", "um_per_px"):
            if name not in columns:
                raise InvalidInput(
                    f"The {which} table has no column '{name}', needed to find the same pieces."
                )
        sample = sample_from_table(columns)
        if len(sample) == 0:
            raise InvalidInput(f"The {which} table has no counted piece.")
        row = sample.row
        centre = np.stack(
            [np.asarray(columns[c], dtype=float)[row] for c in ("centre_x_px", "centre_y_px")], 1
        )
        factor = np.asarray(columns["um_per_px"], dtype=float)[row]
        field = np.array(sample.field_names)[sample.field]
        return cls(sample, field, sample.kind, centre, sample.diameter_um / factor)


def _match(a: _Pieces, b: _Pieces, field: str) -> list[tuple[int, int]]:
    from scipy.spatial import cKDTree

    i, j = np.flatnonzero(a.field == field), np.flatnonzero(b.field == field)
    distance, nearest = cKDTree(b.centre_px[j]).query(a.centre_px[i])
    back = cKDTree(a.centre_px[i]).query(b.centre_px[j])[1]
    reach = np.maximum(a.diameter_px[i], b.diameter_px[j][nearest]) / 2
    good = (back[nearest] == np.arange(len(i))) & (distance <= reach)
    return list(zip(i[good].tolist(), j[nearest[good]].tolist(), strict=True))
