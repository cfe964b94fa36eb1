"""What lies on the optics or is mirrored, and not in the smear: dust out of focus, lamps of a ring light.

Dust on a cover, a lens or the sensor is far from where the camera is focused, so all that is left of it is
its shadow, in the shape of the round stop of the lens: an even, grey disc with a soft edge, fainter than the
pieces. A piece in focus has its own colour, or a rim and straight sides. A ring light is mirrored by oil,
glass and bubbles as it is: equal bright spots at even steps round a circle, which no pieces make by chance.
Mirrored by a surface that is not quite level they are of several sizes, but burnt out all alike.
"""

from itertools import combinations

import numpy as np

from measure.field.whole_field.burnt_spots import burnt_out
from measure.field.whole_field.halo import contrast, middle_by_area
from measure.flags import bits
from measure.particles import Particles

DUST = "grey, round and even with a soft edge: dust on the optics"
LAMPS = "bright spots at even steps round a circle: a mirrored ring light"
_GREY, _COLOURED = 0.25, 0.35  # colour step over lightness step, of a lamp at most and of coloured pieces
_FAINT = 0.5  # strength over that below which half of the area of coloured pieces is
# spread of a shadow's densities, base 10: share of their mean, and what noise adds
_ALIKE_LIGHT = 0.12, 0.006
# circularity (ISO 9276-6), solidity, and largest over smallest Feret diameter of a shadow
_ROUND, _FULL, _AS_WIDE = 0.9, 0.95, 1.12
_EVEN = 0.25  # texture over lightness step
_CORE = 0.75  # lightness step of the core over that of the rim, of what has no rim
_SOFT = 0.12  # width of the edge over the size
_MOST_COLOURED = 0.5  # share of the area found that is coloured, or grey tells nothing
# circularity of a mirrored lamp; how much sizes and lights of lamps differ; their share of all such spots
_SPOT_ROUND, _ALIKE, _MOST_OF_KIND = 0.88, 0.2, 0.6
_LEAST_LAMPS, _MOST_SPOTS = 6, 32
_LAMPS = range(5, 25)  # of a ring light
# of spots that are burnt out: least number, off the circle over its radius, largest over smallest diameter
_LEAST_BURNT, _BURNT_ON_RING, _BURNT_SIZES = 5, 0.12, 3.0
_PRESENT = 0.6  # share of the lamps that must be seen
_ON_RING, _ON_STEP = 0.05, 0.15  # off the circle over its radius, off the even steps over a step
_APART = 1.5  # distance of neighbours over their size


def set_aside_optics(particles: Particles, pixels: np.ndarray) -> Particles:
    """Set aside what lies on the optics or is mirrored by them.

    Parameters
    ----------
    particles : Particles
        K measured particles.
    pixels : (M, N, 3) ndarray of uint8 or uint16
        The picture they were measured in.
    """
    if not len(particles):
        return particles
    reasons = particles["set_aside"].copy()
    lamps = lamps_like(particles) | burnt_lamps(particles, pixels)
    for told, reason in ((dust_like(particles), DUST), (lamps, LAMPS)):
        reasons[told & (reasons == "")] = reason
    return particles.replaced(set_aside=reasons)


def dust_like(particles: Particles) -> np.ndarray:
    """Whether each piece is the shadow of dust on the optics, (K,) ndarray of bool.

    Nothing is where the pieces themselves are grey, as on a grey camera.
    """
    p = particles
    light, colour = p["lightness_step"].astype(float), _colour(p)
    area = p["area_px2"].astype(float)
    counted = p["set_aside"] == ""
    coloured = counted & (colour > _COLOURED * np.abs(light))
    if not coloured.any() or area[coloured].sum() < _MOST_COLOURED * area[counted].sum():
        return np.zeros(len(p), bool)
    strength = contrast(p)
    usual = middle_by_area(strength[coloured], area[coloured])
    dark = np.maximum(-light, 1e-6)
    told = (light < 0) & _takes_all_light_alike(p) & (strength < _FAINT * usual)
    told &= (_circularity(p) > _ROUND) & (area > _FULL * p["hull_area_px2"])
    told &= p["feret_max_px"] < _AS_WIDE * p["feret_min_px"]
    told &= p["texture"] < _EVEN * dark
    told &= np.abs(p["core_lightness_step"]) > _CORE * np.abs(p["rim_lightness_step"])
    told &= p["edge_width_px"] > _SOFT * p.diameter_px
    told &= p["flags"] & bits("rim_only", "touches_frame", "touching", "overlap") == 0
    return told


def lamps_like(particles: Particles) -> np.ndarray:
    """Whether each piece is a mirrored lamp of a ring light, (K,) ndarray of bool."""
    p = particles
    light = p["lightness_step"].astype(float)
    told = np.zeros(len(p), bool)
    spots = np.flatnonzero((light > 0) & (_colour(p) < _GREY * light) & (_circularity(p) > _SPOT_ROUND))
    if len(spots) < _LEAST_LAMPS:
        return told
    size, light = p.diameter_px[spots], light[spots]
    places = np.column_stack([p["centre_x_px"], p["centre_y_px"]])[spots]
    for i in np.argsort(-size, kind="stable"):
        alike = np.flatnonzero(
            (np.abs(size / size[i] - 1.0) < _ALIKE) & (np.abs(light / light[i] - 1.0) < _ALIKE)
        )
        if told[spots[i]] or not _LEAST_LAMPS <= len(alike) <= _MOST_SPOTS:
            continue
        ring = _ring(places[alike], float(size[i]))
        # of many equal round pieces six stand round a seventh soon; lamps are all there is of their kind
        if ring.sum() > _MOST_OF_KIND * len(alike):
            told[spots[alike[ring]]] = True
    return told


def burnt_lamps(particles: Particles, pixels: np.ndarray) -> np.ndarray:
    """Whether each piece is a burnt-out spot on one ring of such, (K,) ndarray of bool.

    Glass and oil mirror a lamp far brighter than anything that scatters its light, so it is burnt out in all
    colours; a surface that is not level makes its images unequal.
    """
    told = np.zeros(len(particles), bool)
    spots = burnt_out(particles, pixels)
    if not _LEAST_BURNT <= len(spots) <= _MOST_SPOTS:
        return told
    size = particles.diameter_px[spots]
    usual = float(np.median(size))
    alike = spots[np.maximum(size / usual, usual / size) ** 2 < _BURNT_SIZES]
    if len(alike) < _LEAST_BURNT:
        return told
    places = np.column_stack([particles["centre_x_px"], particles["centre_y_px"]])[alike]
    ring = _ring(places, usual, _LEAST_BURNT, _BURNT_ON_RING)
    if ring.sum() > _MOST_OF_KIND * len(spots):
        told[alike[ring]] = True
    return told


def _ring(
    places: np.ndarray, size_px: float, least: int = _LEAST_LAMPS, on_ring: float = _ON_RING
) -> np.ndarray:
    """Which places stand at even steps round one circle, (K,) ndarray of bool; most of them."""
    best = np.zeros(len(places), bool)
    centres, radii = _circles(places[np.array(list(combinations(range(len(places)), 3)))])
    away = places[None] - centres[:, None]
    on = np.abs(np.hypot(away[..., 0], away[..., 1]) - radii[:, None]) < on_ring * radii[:, None]
    most = np.count_nonzero(on, axis=1)
    for t in np.argsort(-most, kind="stable"):
        if most[t] < max(least, best.sum() + 1):
            break
        turn = np.arctan2(away[t, :, 1], away[t, :, 0]) / (2.0 * np.pi)
        for lamps in _LAMPS:
            if 2.0 * np.pi * radii[t] < _APART * size_px * lamps or most[t] < _PRESENT * lamps:
                break
            phase = np.angle(np.exp(2j * np.pi * lamps * turn[on[t]]).mean()) / (2.0 * np.pi)
            seat = np.round(lamps * turn - phase)
            seated = on[t] & (np.abs(lamps * turn - phase - seat) < _ON_STEP)
            if len(np.unique(seat[seated] % lamps)) >= max(least, _PRESENT * lamps, best.sum() + 1):
                best = seated
                break
    return best


def _circles(three: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Centres and radii of the circles through three places each, without those nearly in a line.

    (T, 3, 2) -> (T, 2), (T,).
    """
    a, b, c = three[:, 0], three[:, 1] - three[:, 0], three[:, 2] - three[:, 0]
    turned = 2.0 * (b[:, 0] * c[:, 1] - b[:, 1] * c[:, 0])
    b2, c2 = (b**2).sum(axis=1), (c**2).sum(axis=1)
    round_ = np.abs(turned) > 0.2 * np.sqrt(b2 * c2)
    b, c, b2, c2, turned = b[round_], c[round_], b2[round_], c2[round_], turned[round_]
    x = (c[:, 1] * b2 - b[:, 1] * c2) / turned
    y = (b[:, 0] * c2 - c[:, 0] * b2) / turned
    return a[round_] + np.column_stack([x, y]), np.hypot(x, y)


def _takes_all_light_alike(particles: Particles) -> np.ndarray:
    """Whether each piece takes the same share of red, green and blue light, as a shadow does, (K,)."""
    densities = np.stack([particles[f"{name}_density"].astype(float) for name in ("red", "green", "blue")])
    share, noise = _ALIKE_LIGHT
    alike: np.ndarray = np.ptp(densities, axis=0) < share * np.abs(densities.mean(axis=0)) + noise
    return alike


def _colour(particles: Particles) -> np.ndarray:
    return np.hypot(particles["green_red_step"].astype(float), particles["blue_yellow_step"].astype(float))


def _circularity(particles: Particles) -> np.ndarray:
    perimeter = np.maximum(particles["perimeter_px"].astype(float), 1e-6)
    return np.sqrt(4.0 * np.pi * particles["area_px2"].astype(float)) / perimeter
