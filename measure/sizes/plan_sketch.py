"""Pieces of one field as a plan expects them, to show how full it should look."""

import numpy as np

from measure.sizes.plan import PlanRequest

MOST = 4000  # more make no difference to the eye
_SEED = 11


def expected_discs(request: PlanRequest) -> np.ndarray:
    """Return discs of log-normal sizes thrown on a field so that they cover what is wanted of it.

    Quantiles stand in place of sizes drawn at random: a field of few pieces then shows the usual sizes and no
    lucky ones.

    Parameters
    ----------
    request : PlanRequest

    Returns
    -------
    discs : (K, 3) ndarray of float
        x and y of the middle from the field's corner, and radius, µm; the same on each call. K is `MOST` at
        most.
    """
    from scipy.special import ndtri

    wide, high = request.frame_um
    mean_area = np.pi / 4 * request.median_um**2 * np.exp(2 * np.log(request.sigma_g) ** 2)
    number = int(min(max(round(request.cover * wide * high / mean_area), 1), MOST))
    sizes = request.median_um * request.sigma_g ** ndtri((np.arange(number) + 0.5) / number)
    places = np.random.default_rng(_SEED).uniform((0, 0), (wide, high), (number, 2))
    return np.c_[places, sizes / 2]
