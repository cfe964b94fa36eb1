"""What a study knows already when the next count is planned: sizes of its batches, its scales, its film."""

import math
from dataclasses import dataclass

from app import number_text
from app.session import Session
from measure.field.limits import smallest_px
from measure.model import FieldSettings
from measure.output.objectives import objectives
from measure.sizes.sample import SizeSample
from measure.sizes.summary import summarise
from measure.study.records import SIZED_ROLES, ScaleRow
from measure.study.study import Study

FEWEST = 20  # pieces from which a spread means something; common practice, no source
_LEAST_SPREAD = 1.01


@dataclass(frozen=True)
class KnownScale:
    """A scale, and what fields taken with it are.

    Attributes
    ----------
    scale_id : int
    zoom : str
    frame_um : (float, float) or None
        Width and height of a field; None where no picture tells its size in px.
    smallest_um : float
        Lower limit with the settings in force.
    na : float or None
        Numerical aperture of its objective.
    """

    scale_id: int
    zoom: str
    frame_um: tuple[float, float] | None
    smallest_um: float
    na: float | None


@dataclass(frozen=True)
class Known:
    """What is known: measured batches as (id, name), the one measured last first, scales and film."""

    batches: tuple[tuple[int, str], ...] = ()
    scales: tuple[KnownScale, ...] = ()
    film_um: float | None = None


@dataclass(frozen=True)
class Expected:
    """Sizes of a batch, as what to expect of the next; limits are nan until they are worked out.

    Attributes
    ----------
    name : str
    pieces : int
    median_um, sigma_g : float
        Median by number and geometric standard deviation.
    median_limits_um, sigma_g_limits : (float, float)
        Their 95 % limits.
    smallest_um : float
        Lower limit of what was counted.
    """

    name: str
    pieces: int
    median_um: float
    sigma_g: float
    median_limits_um: tuple[float, float]
    sigma_g_limits: tuple[float, float]
    smallest_um: float

    @property
    def usable(self) -> bool:
        """Whether there are pieces enough to expect anything of the next batch."""
        return self.pieces >= FEWEST and self.median_um > 0 and self.sigma_g >= _LEAST_SPREAD

    @property
    def limited(self) -> bool:
        """Whether the limits are known."""
        return all(math.isfinite(v) for v in (*self.median_limits_um, *self.sigma_g_limits))


def frame_words(frame_um: tuple[float, float]) -> str:
    """Return the size of a field.

    Examples
    --------
    >>> frame_words((1043.2, 782.401)).replace(number_text.THIN, "")
    '1043 × 782µm'
    """
    wide, high = (number_text.fixed(v, 0) if v >= 100 else number_text.number(v) for v in frame_um)
    return f"{wide} × {high}{number_text.THIN}{number_text.MICRO}"


def known_of(session: Session) -> Known:
    """Return what the open study knows; nothing without one."""
    study = session.study
    if study is None:
        return Known()
    rows = [row for row in study.fields() if row.measured and row.role in SIZED_ROLES]
    latest = {row.batch_id: row.id for row in rows if row.batch_id is not None}
    named = [(entry.id, entry.batch.name) for entry in study.batches() if entry.id in latest]
    named.sort(key=lambda pair: -latest[pair[0]])
    films = [row.slide.film_um for row in study.slides() if row.slide.film_um]
    return Known(tuple(named), _scales(study, session.measure_settings()), films[-1] if films else None)


def expected_of(name: str, sample: SizeSample, resamples: int = 0) -> Expected:
    """Return what a batch lets expect; without resamples without limits, which is fast."""
    if not len(sample):
        nothing = (math.nan, math.nan)
        return Expected(name, 0, math.nan, math.nan, nothing, nothing, math.nan)
    summary = summarise(sample, resamples=resamples)
    median, spread = "number.x50_um", "number.geometric_sd"
    return Expected(
        name, round(summary.pieces), summary.value(median), summary.value(spread),
        summary.interval(median), summary.interval(spread), summary.smallest_um,
    )  # fmt: skip


def _scales(study: Study, settings: FieldSettings) -> tuple[KnownScale, ...]:
    known = objectives(study)
    used = {row.scale_id: (row.width_px, row.height_px) for row in study.fields() if row.role == "field"}
    found = []
    for row in reversed(study.scales()):
        per_px = row.scale.um_per_px
        found.append(
            KnownScale(
                row.id,
                row.scale.zoom,
                _frame_um(row, used.get(row.id)),
                smallest_px(settings, per_px) * per_px,
                known.get(row.id),
            )
        )
    # those that fields are taken with first, newest first
    return tuple(sorted(found, key=lambda one: one.scale_id not in used))


def _frame_um(row: ScaleRow, used_px: tuple[int, int] | None) -> tuple[float, float] | None:
    scale = row.scale
    size = used_px or ((scale.width_px, scale.height_px) if scale.width_px and scale.height_px else None)
    return None if size is None else (size[0] * scale.um_per_px, size[1] * scale.um_per_px)
