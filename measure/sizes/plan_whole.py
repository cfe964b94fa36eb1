"""A whole plan of a measurement: dilution, pieces and fields, the objective, what is rare or coarse."""

from dataclasses import dataclass

from measure.sizes.composition import Paste
from measure.sizes.plan import PASTE_G_PER_CM3, MeasurementPlan, PlanRequest, figure_words, plan_measurement
from measure.sizes.plan_above import AbovePlan, expected_share_above, plan_above
from measure.sizes.plan_optics import OpticsPlan, plan_optics
from measure.sizes.plan_range import PlanRange, fewer_words, plan_range, wider_words
from measure.sizes.plan_rare import SALT_G_PER_CM3, RarePlan, plan_rare
from measure.sizes.rounding import short_number

USUAL_SOLIDS = 0.45  # volume share in a nut or seed paste, common practice, no source
WASTE = "Diluted paste and slide oil are waste: they never go back to food and are never tasted."
_MANY_BELOW = 0.1
_NEARLY_ALL_BELOW = 0.99


@dataclass(frozen=True)
class Wishes:
    """All a whole plan rests on.

    Attributes
    ----------
    request : PlanRequest
    paste : Paste, optional
        By its composition; it stands for the share of solids and the density then, which ``request`` holds.
    smallest_um : float, optional
        Lower limit of what will be counted.
    na, magnification, camera_px_um : float, optional
        Numerical aperture and magnification of the objective, and pixel of the camera's chip.
    rare_share : float, optional
        Share of a rare kind among the pieces.
    above_um : float, optional
        Size above which pieces are asked about.
    grains : (float, float), optional
        Mass share and largest size in µm of coarse grains.
    grain_g_per_cm3 : float
        Their density.
    median_limits_um, sigma_g_limits : (float, float), optional
        95 % limits of what is expected, where they are known.
    """

    request: PlanRequest
    paste: Paste | None = None
    smallest_um: float | None = None
    na: float | None = None
    magnification: float | None = None
    camera_px_um: float | None = None
    rare_share: float | None = None
    above_um: float | None = None
    grains: tuple[float, float] | None = None
    grain_g_per_cm3: float = SALT_G_PER_CM3
    median_limits_um: tuple[float, float] | None = None
    sigma_g_limits: tuple[float, float] | None = None


@dataclass(frozen=True)
class WholePlan:
    """What to do, in numbers and sentences.

    Attributes
    ----------
    plan : MeasurementPlan
    optics, above, likely : OpticsPlan, AbovePlan, PlanRange or None
        None where it was not asked for, or its limits are not known.
    rare : RarePlan
    paste_g_per_cm3 : float
    likely_words, fewer_words : str
        How far the plan may move with what is expected, and what fewer fields give; may be empty.
    steps, expected, warnings : tuple of str
        What to do, what it rests on, and what does not fit together.
    """

    plan: MeasurementPlan
    optics: OpticsPlan | None
    above: AbovePlan | None
    rare: RarePlan
    likely: PlanRange | None
    paste_g_per_cm3: float
    likely_words: str
    fewer_words: str
    steps: tuple[str, ...]
    expected: tuple[str, ...]
    warnings: tuple[str, ...]


def plan_whole(wishes: Wishes) -> WholePlan:
    """Work everything out.

    Raises
    ------
    InvalidInput
        If a number is out of its range.
    """
    request = wishes.request
    plan = plan_measurement(request)
    optics = above = likely = None
    if wishes.na is not None:
        optics = plan_optics(
            request, wishes.na, magnification=wishes.magnification, camera_px_um=wishes.camera_px_um
        )
    if wishes.above_um is not None:
        above = plan_above(request, plan, wishes.above_um)
    rare = plan_rare(
        wishes.rare_share, wishes.grains, request.relative_error,
        paste_g_per_cm3=request.paste_g_per_cm3, grain_g_per_cm3=wishes.grain_g_per_cm3,
    )  # fmt: skip
    if wishes.median_limits_um is not None and wishes.sigma_g_limits is not None:
        likely = plan_range(request, wishes.median_limits_um, wishes.sigma_g_limits)
    steps = (
        *plan.steps,
        *(optics.steps if optics else ()),
        *(above.steps if above else ()),
        *rare.steps,
    )
    warnings = (*plan.warnings, *_below(wishes), *(optics.warnings if optics else ()))
    return WholePlan(
        plan=plan, optics=optics, above=above, rare=rare, likely=likely,
        paste_g_per_cm3=request.paste_g_per_cm3,
        likely_words=_likely_words(wishes, plan, likely),
        fewer_words=fewer_words(request, plan),
        steps=steps, expected=_expected(wishes, plan), warnings=warnings,
    )  # fmt: skip


def _likely_words(wishes: Wishes, plan: MeasurementPlan, likely: PlanRange | None) -> str:
    """Return how far the plan may move with what is expected; a spread that is only guessed decides most."""
    limits = wishes.sigma_g_limits
    guessed = likely is None or limits is None or limits[0] == limits[1]
    told = (likely.words if likely is not None else "", wider_words(wishes.request, plan) if guessed else "")
    return " ".join(words for words in told if words)


def _expected(wishes: Wishes, plan: MeasurementPlan) -> tuple[str, ...]:
    found = [
        f"Expected: {figure_words('volume.x50_um')} {short_number(plan.volume_median_um)} µm, "
        f"D[3,2] {short_number(plan.sauter_um)} µm, one piece in a thousand above "
        f"{short_number(plan.largest_um)} µm."
    ]
    if wishes.paste is not None:
        found.append(
            f"By its composition the paste weighs {wishes.paste.g_per_cm3:.3g} g/cm³ and "
            f"{100 * wishes.paste.solids:.0f} % "
            "of its volume is solids; pieces that hold oil take more room than that."
        )
    return tuple(found)


def _below(wishes: Wishes) -> tuple[str, ...]:
    """Say it where many of the pieces expected are too small to be counted."""
    limit, request = wishes.smallest_um, wishes.request
    if limit is None:
        return ()
    below = 1 - expected_share_above(limit, request.median_um, request.sigma_g)
    if below < _MANY_BELOW:
        return ()
    if below > _NEARLY_ALL_BELOW:
        return (
            f"Hardly a piece of those expected reaches the lower limit of {short_number(limit)} µm: check "
            "the limit and the sizes expected.",
        )
    return (
        f"About {100 * below:.0f} % of the pieces expected are smaller than the lower limit of "
        f"{short_number(limit)} µm and will not be counted: figures by number hang on that limit.",
    )


__all__ = ["PASTE_G_PER_CM3", "USUAL_SOLIDS", "WASTE", "WholePlan", "Wishes", "plan_whole"]
