"""How many pieces above a size are to be expected, before the first picture."""

import math
from dataclasses import dataclass

from measure.errors import InvalidInput
from measure.sizes.counts import pieces_to_see_one
from measure.sizes.plan import MeasurementPlan, PlanRequest
from measure.sizes.plan_rare import pieces_for_share
from measure.sizes.rounding import rough_number, short_number

_HARDLY_ANY = 1e-6  # a tail so thin is not known from a median and a spread


@dataclass(frozen=True)
class AbovePlan:
    """What pieces above a size ask for.

    Attributes
    ----------
    size_um, share : float
        The size, and the share of the pieces above it, were the sizes log-normal.
    expected : float
        How many of them the pieces of the plan hold.
    pieces_to_meet_one, pieces_for_share : int or None
        None where hardly any is to be expected.
    steps : tuple of str
        Sentences.
    """

    size_um: float
    share: float
    expected: float
    pieces_to_meet_one: int | None
    pieces_for_share: int | None
    steps: tuple[str, ...]


def expected_share_above(size_um: float, median_um: float, sigma_g: float) -> float:
    """Return the share of log-normal pieces above a size, by number.

    Examples
    --------
    >>> expected_share_above(20, 20, 1.6), round(expected_share_above(32, 20, 1.6), 4)
    (0.5, 0.1587)
    """
    if not (math.isfinite(size_um) and size_um > 0):
        raise InvalidInput(f"A size must be above 0 µm, not {size_um:g}.")
    return 0.5 * math.erfc(math.log(size_um / median_um) / math.log(sigma_g) / math.sqrt(2))


def plan_above(request: PlanRequest, plan: MeasurementPlan, size_um: float) -> AbovePlan:
    """Work out how many pieces above a size are to be expected, and how many to count to know their share.

    Raises
    ------
    InvalidInput
        If the size is not above 0.
    """
    share = expected_share_above(size_um, request.median_um, request.sigma_g)
    expected = share * plan.fields * plan.pieces_per_field
    size = f"{short_number(size_um)} µm"
    if not _HARDLY_ANY < share < 1 - _HARDLY_ANY:
        few = "fewer than one in a million pieces" if share < 0.5 else "all but one in a million pieces"
        return AbovePlan(
            size_um, share, expected, None, None, (f"Of the sizes expected {few} are above {size}.",)
        )
    one, whole = pieces_to_see_one(share), pieces_for_share(share, request.relative_error)
    words = (
        f"Of the sizes expected {rough_number(100 * share)} % are above {size}: the fields of this plan hold "
        f"about {rough_number(expected)} such pieces. At least one shows among {one:,} pieces (95 %); none "
        f"among them means they are rarer. Their share within ±{100 * request.relative_error:g} % needs "
        f"{whole:,} pieces."
    )
    return AbovePlan(size_um, share, expected, one, whole, (words,))
