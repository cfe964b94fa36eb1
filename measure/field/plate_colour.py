"""Colours of pieces on a coloured plate lit from above, told as on a grey plate.

Light that comes back from a surface has never been through the ground beside it: on a blue plate a brown skin
looks as it does on a grey one, but its densities against the plate say it were lighter in red and darker in
blue than anything is. So they are told against a grey ground that gives back as much light as the plate.
A ground that may be grey under a warm lamp or a white balance that is off stays as it is, and so does oil,
which takes light from what lies in it.
"""

import numpy as np

from measure.particles import Particles

_COLOURS = ("red", "green", "blue")
_COLOURED = 0.2  # between the densities of a ground; a white balance 15 % off leaves a grey one below 0.12
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


def against_grey(particles: Particles, table: str) -> Particles:
    """Return pieces with their densities against a grey ground as light as theirs, where light is from above.

    Parameters
    ----------
    particles : Particles
        Pieces of one field.
    table : str
        `measure.field.kinds.table_of` that field; with any but that of pieces lighter than a bright plate
        the same particles are returned.
    """
    if not table.endswith("bright, lighter") or not len(particles):
        return particles
    ground = np.maximum(ground_light(particles), _LEAST_LIGHT)
    step = np.log10(ground.mean() / ground)
    warm = ground[0] >= ground[1] >= ground[2]  # as lamps are
    if warm or np.ptp(step) < _COLOURED:
        return particles
    changed = {
        f"{part}{colour}_density": particles[f"{part}{colour}_density"] + more
        for part in ("", "core_")
        for colour, more in zip(_COLOURS, step.astype(np.float32), strict=True)
    }
    for name in ("rim_density", "centre_density"):
        changed[name] = particles[name] + step.mean()
    return particles.replaced(**changed)
