"""Colours of pieces on a coloured plate lit from above, told as on a grey plate.

Light that comes back from a surface has never been through the ground beside it: on a blue plate a brown skin
looks as it does on a grey one, but its densities against the plate say it were lighter in red and darker in
blue than anything is. So they are told against a grey ground that gives back as much light as the plate.
A ground that may be grey under a warm lamp or a white balance that is off stays as it is, and so does oil,
which takes light from what lies in it.
"""

import numpy as np

from measure.flags import bits
from measure.particles import Particles

_COLOURS = ("red", "green", "blue")
_COLOURED = 0.2  # between the densities of a ground; a white balance 15 % off leaves a grey one below 0.12
_NEAR_GREY = 0.5  # blue over red light of a plate, at least
_MOST_SAY = 0.9  # quantile of area above which a piece has no more say of its field
# lighter share of all change, and share of pieces with a lighter rim, where no light comes through pieces:
# fields lit from below have 0.91 and 0.80 at most, those that shine 0.95 and 0.87 at least
_ALL_LIGHTER, _RIMS_LIGHTER = 0.93, 0.83
_LEAST_LIGHT = 1e-4  # linear light below which a camera tells no colour


def ground_light(particles: Particles) -> np.ndarray:
    """Linear red, green and blue light of the ground, as pieces and their densities tell it, (3,).

    Parameters
    ----------
    particles : Particles
        Pieces of one field, at least one.
    """
    rgb = np.stack([particles[c] for c in _COLOURS], axis=1).astype(float)
    density = np.stack([particles[f"{c}_density"] for c in _COLOURS], axis=1).astype(float)
    return np.asarray(np.median((rgb / 255.0) ** 2.2 * 10.0**density, axis=0))


def stained(ground: np.ndarray) -> bool:
    """Whether a ground of that light, (3,), is as red or yellow as only stained oil is."""
    return bool(ground[2] <= _NEAR_GREY * ground[0])


def of_own_colour(ground: np.ndarray) -> bool:
    """Whether a ground of that light, (3,), is more coloured than a lamp or a white balance makes it."""
    ground = np.maximum(ground, _LEAST_LIGHT)
    warm = ground[0] >= ground[1] >= ground[2]  # as lamps are
    return not warm and bool(np.ptp(np.log10(ground)) >= _COLOURED)


def say_of(particles: Particles) -> np.ndarray:
    """Area of each piece as far as it may tell of its field, (K,).

    No single piece does: a strip of brighter ground along the frame may be larger than all others.
    """
    whole = (particles["flags"] & bits("touches_frame")) == 0
    area = particles["area_px2"] * (whole | ~whole.any())
    seen = area[area > 0.0]
    return np.minimum(area, np.quantile(seen, _MOST_SAY, method="lower")) if len(seen) else area


def lighter_share(particles: Particles, say: np.ndarray) -> float:
    """Share of growing lighter in all that pieces change the ground, each with its say, (K,)."""
    change = particles["lightness_step"].astype(float) * say
    return float(np.maximum(change, 0.0).sum() / max(np.abs(change).sum(), 1e-9))


def lit_aside(particles: Particles, say: np.ndarray) -> bool:
    """Whether pieces are lighter than stained oil all over, edges and sides of crystals too.

    What displaces stained oil is lighter than it as well, but of light that comes through from below edges
    and sides turn some away, so they are darker.
    """
    if not len(particles) or not stained(ground_light(particles)):
        return False
    rims = (particles["rim_lightness_step"] > 0.0).mean()
    return bool(lighter_share(particles, say) > _ALL_LIGHTER and rims > _RIMS_LIGHTER)


def gained_share(particles: Particles, say: np.ndarray) -> float:
    """Share of light gained in some colour in all that pieces change, each with its say, (K,).

    Light that comes through pieces is lost in them, in each colour. A surface lit from above may give back
    more red than a green plate and still be darker than it.
    """
    density = np.stack([particles[f"{c}_density"] for c in _COLOURS], axis=1).astype(float)
    gained = (np.maximum(-density.min(axis=1), 0.0) * say).sum()
    lost = (np.maximum(density.max(axis=1), 0.0) * say).sum()
    return float(gained / max(gained + lost, 1e-9))


def against_grey(particles: Particles, table: str) -> Particles:
    """Return pieces with their densities against a grey ground as light as theirs, where light is from above.

    Parameters
    ----------
    particles : Particles
        Pieces of one field.
    table : str
        What `measure.field.kinds.kinds.table_of` says of that field; with any but that of pieces lighter
        than a bright plate the same particles are returned.
    """
    if not table.endswith("bright, lighter") or not len(particles):
        return particles
    ground = np.maximum(ground_light(particles), _LEAST_LIGHT)
    if not of_own_colour(ground):
        return particles
    step = np.log10(ground.mean() / ground)
    changed = {
        f"{part}{colour}_density": particles[f"{part}{colour}_density"] + more
        for part in ("", "core_")
        for colour, more in zip(_COLOURS, step.astype(np.float32), strict=True)
    }
    for name in ("rim_density", "centre_density"):
        changed[name] = particles[name] + step.mean()
    return particles.replaced(**changed)
