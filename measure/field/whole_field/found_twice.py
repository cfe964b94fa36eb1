"""One place counted twice: two outlines that are nearly the same are one piece, found in two ways.

Two pieces over one another of the same size, form and place are not told apart in a picture anyway. Of each
such pair the piece in less doubt is counted; the other is kept, set aside with the reason.
"""

import numpy as np
import shapely

from measure.field.basics.polygons import polygons_of
from measure.particles import Particles

TWICE = "nearly the same outline as another piece, which is counted"
# intersection over union; two outlines of one place found in two ways reach 0.9, pieces of drawn heaps that
# truly lie over one another a fifth at most
_SAME = 0.8


def set_aside_twice(particles: Particles) -> Particles:
    """Set aside what has nearly the same outline as another piece that is counted.

    Parameters
    ----------
    particles : Particles
        K measured particles.
    """
    counted = np.flatnonzero(particles["set_aside"] == "")
    if len(counted) < 2:
        return particles
    area = particles["area_px2"][counted].astype(float)
    shapes = np.array(polygons_of([particles.outlines[i] for i in counted]))
    one, two = _alike(shapes, area)
    if not len(one):
        return particles
    one, two = counted[one], counted[two]
    reasons = particles["set_aside"].copy()
    for i, j in sorted(zip(one.tolist(), two.tolist(), strict=True)):
        if reasons[i] == reasons[j] == "":
            reasons[i if particles["doubt"][i] > particles["doubt"][j] else j] = TWICE
    return particles.replaced(set_aside=reasons)


def _alike(shapes: np.ndarray, area: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pairs of polygons that are nearly the same, both (P,), the first number the lower one."""
    one, two = shapely.STRtree(shapes).query(shapes)
    ahead = (one < two) & (np.minimum(area[one], area[two]) > _SAME * np.maximum(area[one], area[two]))
    one, two = one[ahead], two[ahead]
    # boxes that differ so much cannot hold outlines that differ by less, and cost next to nothing
    box = shapely.bounds(shapes)
    low, high = np.maximum(box[one, :2], box[two, :2]), np.minimum(box[one, 2:], box[two, 2:])
    near = np.maximum(high - low, 0.0).prod(axis=1) >= _SAME * np.minimum(area[one], area[two])
    one, two = one[near], two[near]
    shared = shapely.area(shapely.intersection(shapes[one], shapes[two]))
    same = shared > _SAME * (area[one] + area[two] - shared)
    return one[same], two[same]
