"""Air bubbles and drops, by form and by what a ball does to light: it takes none away."""

import numpy as np

from measure.field.basics.kind_shape import off_arc, roundness
from measure.field.ground.plate_colour import ground_light, stained
from measure.field.kinds.kind_form import densities
from measure.particles import Particles

BLACK = 0.3  # density of a ring that hardly any light passes
RING, BRIGHT = 0.03, -0.01  # densities of a faint ring and of a middle that gathers light, as no food does
OFF_CIRCLE = 0.02  # standard deviation of the radius over its mean, of a circle as outlines are found
OFF_CIRCLE_PX = 0.4  # and what a pixel's roughness adds
OFF_CIRCLE_SOFT = 0.03  # and what an edge without a step adds, of its width
CLEAR, EVEN = 0.1, 0.3  # density of a clear middle over that of its ring, and its texture, as even as oil
FORM_PX = 20.0  # diameter from which a circle is told from a crystal with many sides
GATHERED, WITHIN = -0.02, 0.8  # density of a disc that gathers light, and of its edge over that
ALIKE, ALIKE_SHARE = 0.005, 0.25  # by which that may differ between colours, and of the gain of its middle
ARC_SHARE, EXACT_ARC_SHARE = 0.5, 0.25  # of what a whole circle may be off: to be one, and to be nothing else


def bubble_form(particles: Particles, from_below: bool = False) -> tuple[np.ndarray, np.ndarray]:
    """Whether a piece has all that an air bubble must have, and whether it can be nothing else.

    A bubble is a circle, without straight sides or corners; it bends light aside and takes none away, so
    all colours lose the same; and its middle lets through light of which its ring lets none. A drop of
    water in oil is the same with a faint ring: its middle gathers the light that its ring lost, or, where
    it bends little, is as clear and even as oil, as cells and grains hardly are. Where light comes
    ``from_below`` through clear oil, nothing is brighter than it but what gathers light; a disc that is, the
    more so farther in, is a drop, whether its outline runs outside the ring or within it.

    Returns
    -------
    could, sure : (K,) ndarray of bool
    """
    p = particles
    lost, core = densities(p), densities(p, "core_").mean(axis=1)
    could = np.ptp(lost, axis=1) < 0.05 + 0.25 * np.abs(lost.mean(axis=1))
    rim, centre = p["rim_density"].astype(float), p["centre_density"].astype(float)
    # on the side of the ring: a middle that gathers light, brighter than the oil, is as hollow as can be
    middle = np.maximum(centre * np.sign(rim), 0.0)
    hollow, darkest = np.zeros(len(p), dtype=bool), np.maximum(np.abs(rim), core)
    # the blacker the ring, the smaller and dimmer its middle may be; grey cells have pale middles too
    for dark, share, ring in ((0.1, 0.2, np.abs(rim)), (0.3, 0.6, np.abs(rim)), (0.45, 0.8, darkest)):
        hollow |= (ring > dark) & (middle < share * ring)
    lens = (rim > RING) & (centre < BRIGHT) & (core < BRIGHT)
    gathering = _gathering(lost, rim, core, centre) & (
        from_below and len(p) > 0 and not stained(ground_light(p))
    )
    lens |= gathering
    clear = (rim > RING) & (np.maximum(centre, core) < CLEAR * rim) & (p.diameter_px > FORM_PX)
    clear &= from_below & (p["texture"] < EVEN)
    could &= hollow | lens | clear
    rows = np.flatnonzero(could)
    off_circle, _, _ = roundness([p.outlines[row] for row in rows])
    across = np.maximum(p.diameter_px[rows], 1e-9)
    soft = np.nan_to_num(p["edge_width_px"][rows]).clip(0.0, across) * gathering[rows]
    most = OFF_CIRCLE + (OFF_CIRCLE_PX + OFF_CIRCLE_SOFT * soft) / across
    whole = off_circle < most
    # one that another piece covers or touches still shows an arc, and lies on it more closely than by chance
    arc = np.array([0.0 if w else off_arc(p.outlines[row]) for w, row in zip(whole, rows, strict=True)])
    could[rows] = whole | (arc < ARC_SHARE * most)
    sure = np.zeros(len(p), dtype=bool)
    black = (whole | (arc < EXACT_ARC_SHARE * most)) & (rim[rows] > BLACK)
    sure[rows] = (whole & (lens | clear)[rows]) | (gathering & could)[rows] | black
    return could, sure


def _gathering(lost: np.ndarray, rim: np.ndarray, core: np.ndarray, centre: np.ndarray) -> np.ndarray:
    """Which pieces gain light, in all colours alike, the more the farther in."""
    gain = (lost.max(axis=1) < GATHERED / 2) & (core < GATHERED) & (centre < GATHERED)
    return gain & (rim > WITHIN * core) & (np.ptp(lost, axis=1) < ALIKE - ALIKE_SHARE * core)
