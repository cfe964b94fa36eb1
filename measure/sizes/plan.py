"""Before the first picture: how many pieces and fields, how thin a film, how much oil."""

import math
from dataclasses import dataclass, replace

from measure.errors import InvalidInput
from measure.sizes.cautions import TARGET_COVER
from measure.sizes.counts import ORDERS, log_normal_pieces, model_free_pieces
from measure.sizes.resample import COVERAGE_FACTOR
from measure.sizes.rounding import counted, rough_number, short_number

FEWEST_FIELDS = 6
PASTE_G_PER_CM3 = 1.1
OIL_G_PER_CM3 = 0.915


@dataclass(frozen=True)
class PlanRequest:
    """What is expected and wanted.

    Attributes
    ----------
    median_um : float
        Expected median by number.
    sigma_g : float
        Expected geometric standard deviation.
    relative_error : float
        Wanted half-width of the 95 % interval of ``figure``.
    figure : str
        Dotted name, for example ``volume.x90_um``.
    cover : float
        Wanted share of the frame covered by pieces.
    film_um : float
        Height of the film between slide and cover.
    solids : float
        Volume share of solids in the paste.
    frame_um : (float, float)
        Width and height of a field.
    variation : float
        Relative standard deviation of the figure between fields, beyond the chance of the pieces.
    paste_g_per_cm3 : float
        Density of the paste.
    """

    median_um: float
    sigma_g: float
    relative_error: float = 0.1
    figure: str = "volume.x90_um"
    cover: float = TARGET_COVER
    film_um: float = 50.0
    solids: float = 0.45
    frame_um: tuple[float, float] = (1200.0, 900.0)
    variation: float = 0.1
    paste_g_per_cm3: float = PASTE_G_PER_CM3


@dataclass(frozen=True)
class MeasurementPlan:
    """What to do.

    Attributes
    ----------
    pieces_model_free : int
        Pieces when the figure is read from the pieces themselves.
    pieces_log_normal : int or None
        Pieces when a log-normal distribution is fitted; None where the formula has no such figure.
    pieces_per_field : float
        At the wanted cover, whole pieces after the frame.
    fields : int
        Fields for the pieces and for the differences between fields.
    solids_in_film : float
        Volume share of solids in the film that gives the cover.
    parts_oil : float
        Parts of oil by volume to one part of paste; 0 when the paste is thin enough.
    oil_mass : float
        The same by mass, at usual densities of oil and paste.
    touching : float
        Share of pieces expected to touch another by chance.
    volume_median_um, sauter_um, largest_um : float
        Expected x_{50,3}, D[3,2] and the size only one piece in a thousand exceeds.
    steps : tuple of str
        The plan in sentences.
    warnings : tuple of str
        What does not fit together.
    """

    pieces_model_free: int
    pieces_log_normal: int | None
    pieces_per_field: float
    fields: int
    solids_in_film: float
    parts_oil: float
    oil_mass: float
    touching: float
    volume_median_um: float
    sauter_um: float
    largest_um: float
    steps: tuple[str, ...]
    warnings: tuple[str, ...]


def solids_for_cover(cover: float, film_um: float, sauter_um: float) -> float:
    """Return the volume share of solids in a film that gives a cover, phi_V = 2 phi_A d / (3 h).

    For pieces of several sizes d is D[3,2], because cover goes with area and solids with volume (derived).

    Examples
    --------
    >>> round(solids_for_cover(0.0128, 50, 20), 6)
    0.003413
    """
    return 2.0 * cover * sauter_um / (3.0 * film_um)


def chance_contacts(cover: float) -> float:
    """Return the share of pieces that touch another by chance, 1 - exp(-4 phi) (discs at random, derived)."""
    return 1.0 - math.exp(-4.0 * cover)


def plan_measurement(request: PlanRequest) -> MeasurementPlan:
    """Work out pieces, fields and dilution.

    Raises
    ------
    InvalidInput
        If a number is missing, not above 0, or out of its range.
    """
    _check(request)
    s2 = math.log(request.sigma_g) ** 2
    sauter, median3 = request.median_um * math.exp(2.5 * s2), request.median_um * math.exp(3 * s2)
    largest = request.median_um * request.sigma_g**3.09
    free = math.ceil(model_free_pieces(request.figure, request.sigma_g, request.relative_error))
    modelled = None
    if request.figure in ORDERS:
        alpha, c = ORDERS[request.figure]
        modelled = math.ceil(log_normal_pieces(request.sigma_g, request.relative_error, alpha=alpha, c=c))
    per_field = _pieces_per_field(request, s2)
    # chance of the pieces and differences between fields add as variances, both over the number of fields
    between = (COVERAGE_FACTOR * request.variation / request.relative_error) ** 2
    fields = max(math.ceil(free / per_field + between), FEWEST_FIELDS)
    in_film = solids_for_cover(request.cover, request.film_um, sauter)
    oil = max(request.solids / in_film - 1.0, 0.0)
    plan = MeasurementPlan(
        pieces_model_free=free,
        pieces_log_normal=modelled,
        pieces_per_field=per_field,
        fields=fields,
        solids_in_film=in_film,
        parts_oil=oil,
        oil_mass=oil * OIL_G_PER_CM3 / request.paste_g_per_cm3,
        touching=chance_contacts(request.cover),
        volume_median_um=median3,
        sauter_um=sauter,
        largest_um=largest,
        steps=(),
        warnings=(),
    )
    return replace(plan, steps=_steps(request, plan), warnings=_warnings(request, plan))


def _pieces_per_field(request: PlanRequest, s2: float) -> float:
    width, height = request.frame_um
    mean_area = math.pi / 4 * request.median_um**2 * math.exp(2 * s2)
    mean = request.median_um * math.exp(s2 / 2)
    whole = max(width - mean, 0.0) * max(height - mean, 0.0) / (width * height)
    return max(request.cover * width * height / mean_area * whole, 1e-9)


def _steps(request: PlanRequest, plan: MeasurementPlan) -> tuple[str, ...]:
    name = figure_words(request.figure)
    found = [
        "Stir the jar to the bottom, then take several dabs from different depths; dilute each by itself.",
        _dilution_words(plan),
        f"Under the cover glass aim at a film of {request.film_um:g} µm; about {100 * request.cover:.1f} % "
        "of each field is then "
        f"covered and {100 * plan.touching:.0f} % of the pieces touch another by chance.",
        f"For {name} within ±{100 * request.relative_error:g} % (95 %) count "
        f"{counted(plan.pieces_model_free, 'piece', 'about ')}.",
    ]
    if plan.pieces_log_normal is not None:
        found.append(
            "If the sizes are truly log-normal and a curve is fitted, "
            f"{counted(plan.pieces_log_normal, 'piece', 'about ')} are enough."
        )
    each = (
        "hardly one whole piece"
        if plan.pieces_per_field < 1
        else f"about {_few(plan.pieces_per_field)} whole pieces"
    )
    found.append(
        f"As fields differ too, take {counted(plan.fields, 'field')} of {request.frame_um[0]:.4g} × "
        f"{request.frame_um[1]:.4g} µm, spread over all slides, with {each} each."
    )
    return tuple(found)


def _few(number: float) -> str:
    """Return a number of parts or pieces whole, one of a few with two figures."""
    return f"{number:.0f}" if number >= 9.5 else rough_number(number)


def _dilution_words(plan: MeasurementPlan) -> str:
    if plan.parts_oil == 0:
        return "The paste is thin enough for this film as it is; no oil is needed."
    return (
        f"Mix 1 part of paste with {_few(plan.parts_oil)} parts of clear oil by volume "
        f"(about {_few(plan.oil_mass)} by mass)."
    )


def _warnings(request: PlanRequest, plan: MeasurementPlan) -> tuple[str, ...]:
    found = []
    if plan.largest_um > request.film_um:
        found.append(
            f"About one piece in a thousand will be larger than {plan.largest_um:.0f} µm, more than the "
            "film of "
            f"{request.film_um:g} µm: it would be squeezed or hold the cover up. Use a thicker spacer."
        )
    if plan.volume_median_um > min(request.frame_um):
        found.append(
            f"Half of the volume is in pieces above {short_number(plan.volume_median_um)} µm, and a field of "
            f"{request.frame_um[0]:.4g} × {request.frame_um[1]:.4g} µm holds none of them whole: check "
            "the sizes expected, or take a lower magnification."
        )
    elif plan.largest_um > 0.18 * min(request.frame_um):
        found.append(
            f"Pieces of {plan.largest_um:.0f} µm are large for a field of {request.frame_um[0]:.4g} × "
            f"{request.frame_um[1]:.4g} µm; "
            "measure the coarse end at a lower magnification as well."
        )
    if plan.fields > 200:
        many = counted(plan.fields, "field")
        found.append(
            f"{many[0].upper()}{many[1:]} are a great many: accept a wider interval, or take a figure that "
            "hangs less on the largest pieces."
        )
    if request.cover > 0.03:
        found.append(f"At {100 * request.cover:.1f} % cover many pieces touch; 1.3 % keeps it to 5 %.")
    return tuple(found)


def lowered(digits: str) -> str:
    """Return figures as they stand below the line.

    Examples
    --------
    >>> lowered("90")
    '₉₀'
    """
    return digits.translate(str.maketrans("0123456789", "₀₁₂₃₄₅₆₇₈₉"))


def figure_words(figure: str) -> str:
    """Return a figure's name for a sentence.

    Examples
    --------
    >>> figure_words("volume.x90_um"), figure_words("means_um.D[4,3]")
    ('x₉₀ by volume', 'D[4,3]')
    """
    if figure.startswith("means_um."):
        return figure.removeprefix("means_um.")
    quantity, _, name = figure.partition(".")
    if name.startswith("x") and name.endswith("_um"):
        digits = lowered(name[1:-3])
        return f"x{digits} by {quantity}"
    words = {
        "mean_um": f"mean by {quantity}",
        "geometric_mean_um": "geometric mean",
        "geometric_sd": "geometric standard deviation",
    }
    return words.get(name, figure.replace("_", " ").replace(".", " "))


def _check(request: PlanRequest) -> None:
    above_zero = {
        "median": request.median_um,
        "film height": request.film_um,
        "field width": request.frame_um[0],
        "field height": request.frame_um[1],
    }
    for name, value in above_zero.items():
        if not (math.isfinite(value) and value > 0):
            raise InvalidInput(f"The {name} must be above 0 µm, not {value:g}.")
    for name, value in (("cover", request.cover), ("share of solids", request.solids)):
        if not 0 < value < 1:
            raise InvalidInput(f"The {name} lies between 0 and 1, not at {value:g}; 0.013 is 1.3 %.")
    if not (math.isfinite(request.variation) and request.variation >= 0):
        raise InvalidInput(f"The variation between fields must be 0 or above, not {request.variation:g}.")
