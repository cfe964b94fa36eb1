"""What the objective of a plan can show: detail, pixels, depth, and from which size on pieces are sure."""

import math
from dataclasses import dataclass

from measure.scale.optics import OIL_INDEX, depth_um, largest_pixel_um, rayleigh_um, smallest_sure_um
from measure.sizes.plan import PlanRequest
from measure.sizes.slide_plan import settling_time_s


@dataclass(frozen=True)
class OpticsPlan:
    """What an objective gives.

    Attributes
    ----------
    na : float
        Numerical aperture.
    resolution_um : float
        Distance of two points just told apart.
    largest_um_per_px : float
        Coarsest scale that keeps what it shows.
    smallest_um : float
        Size from which pieces span ten such pixels.
    depth_um : float
        Depth of field in oil, camera included where known.
    steps, warnings : tuple of str
        Sentences.
    """

    na: float
    resolution_um: float
    largest_um_per_px: float
    smallest_um: float
    depth_um: float
    steps: tuple[str, ...]
    warnings: tuple[str, ...]


def plan_optics(
    request: PlanRequest, na: float, *, magnification: float | None = None, camera_px_um: float | None = None
) -> OpticsPlan:
    """Work out what an objective shows of the pieces expected.

    Raises
    ------
    InvalidInput
        If a number is out of its range.
    """
    detail, pixel, smallest = rayleigh_um(na), largest_pixel_um(na), smallest_sure_um(na)
    depth = depth_um(na, index=OIL_INDEX, magnification=magnification, camera_px_um=camera_px_um)
    steps = [
        f"The objective (NA {na:g}) tells points {detail:.3g} µm apart. Photograph at no more than "
        f"{pixel:.2g} µm per px; pieces from about {smallest:.2g} µm on then span 10 px."
    ]
    if depth < request.film_um:
        wait = math.ceil(settling_time_s(request.film_um, smallest) / 60)
        minutes = "1 minute" if wait == 1 else f"{wait} minutes"
        steps.append(
            f"It is sharp over {depth:.2g} µm, less than the film of {request.film_um:g} µm: let the slide "
            f"lie about {minutes}, until pieces of {smallest:.2g} µm have settled, and focus on the glass "
            "below."
        )
    warnings = []
    below = 0.5 * math.erfc(math.log(request.median_um / smallest) / math.log(request.sigma_g) / math.sqrt(2))
    if below > 0.1:
        warnings.append(
            f"About {100 * below:.0f} % of the pieces expected are smaller than {smallest:.2g} µm, too small "
            "for this objective: figures by number will hang on the lower limit. Take one of a higher NA."
        )
    return OpticsPlan(na, detail, pixel, smallest, depth, tuple(steps), tuple(warnings))
