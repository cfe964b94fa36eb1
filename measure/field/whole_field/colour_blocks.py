"""Colour that strong compression spills beside pieces: specks without any light of their own.

JPEG stores colour in blocks, mostly of 16 px, and lightness in finer ones (ITU-T T.81). Where it compresses
strongly, few waves are kept of the colour of each block: the colour of a piece is found again as specks in
the rest of its blocks, where the light is that of the oil. Pictures so stored are known by their colour: it
changes from block to block. What is weaker there than most pieces, has colour and no light, is no larger than
a block and no further than one from a piece is set aside with this reason.
"""

import numpy as np
import shapely

from measure.field.basics.quick import median
from measure.field.ground.light import Light
from measure.field.whole_field.halo import contrast
from measure.particles import Particles

REASON = "colour that compression spilled beside a piece"
_BLOCK_PX = 16  # size of a block of colour that is stored at half the size; half as much if it is not
_LINES = 400  # rows and columns looked at
_JUMP = 1.5  # change of colour where blocks meet over that elsewhere, from which it is stored in blocks
_FEW_BLOCKS = 6  # blocks along each side that tell
_NO_LIGHT = 0.2  # lightness over colour of what has no light of its own
_WEAK = 0.35  # strength over that of half of the area found


def set_aside_spills(particles: Particles, light: Light) -> Particles:
    """Set specks of spilled colour aside.

    Parameters
    ----------
    particles : Particles
        K measured particles.
    light : Light
        The light of their picture.

    Returns
    -------
    Particles
        The same, with a reason on what is spilled colour.
    """
    if len(particles) < 2:
        return particles
    maybe = _without_light(particles) & (particles["set_aside"] == "")
    block = colour_block_px(light.delta) if maybe.any() else 0
    if not block:
        return particles
    maybe &= np.asarray(particles.diameter_px) <= block * np.sqrt(4 / np.pi)  # no larger than a block
    pieces = shapely.STRtree(
        [shapely.Polygon(particles.outlines[i]) for i in np.flatnonzero(_strong(particles))]
    )
    reasons = particles["set_aside"].copy()
    for i in np.flatnonzero(maybe):
        if pieces.query(shapely.Polygon(particles.outlines[i]), "dwithin", block).size:
            reasons[i] = REASON
    return particles.replaced(set_aside=reasons)


def _without_light(particles: Particles) -> np.ndarray:
    """Whether each piece is weak and of colour alone, (K,) ndarray of bool."""
    colour = np.hypot(*(particles[name].astype(float) for name in ("green_red_step", "blue_yellow_step")))
    grey = np.abs(particles["lightness_step"].astype(float)) >= _NO_LIGHT * colour
    return ~_strong(particles) & ~grey


def _strong(particles: Particles) -> np.ndarray:
    """Whether each piece is about as strong as most of the area found, (K,) ndarray of bool."""
    strength = contrast(particles)
    order = np.argsort(strength)
    share = np.cumsum(particles["area_px2"][order])
    return strength >= _WEAK * float(strength[order][np.searchsorted(share, 0.5 * share[-1])])


def colour_block_px(delta: np.ndarray) -> int:
    """Size of the blocks in which the colour of a picture is stored; 0 where none are seen.

    Parameters
    ----------
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil, not smoothed.

    Returns
    -------
    block : int
        0, 8 or 16 px.
    """
    rows, cols = delta.shape[:2]
    down, across = delta[:, :: max(1, cols // _LINES), 1:], delta[:: max(1, rows // _LINES), :, 1:]
    steps = [
        np.abs(np.diff(down, axis=0)).mean(axis=(1, 2)),
        np.abs(np.diff(across, axis=1)).mean(axis=(0, 2)),
    ]
    if not all(_jumps(step, _BLOCK_PX) for step in steps):
        return 0
    return _BLOCK_PX // 2 if all(_jumps(step, _BLOCK_PX // 2) for step in steps) else _BLOCK_PX


def _jumps(steps: np.ndarray, block: int) -> bool:
    """Whether steps from one line to the next are large where blocks of this size meet, and only there."""
    whole = len(steps) // _BLOCK_PX
    if whole < _FEW_BLOCKS:
        return False
    # the usual step of many blocks, so that the edges of a few large pieces do not tell
    usual = np.median(steps[: whole * _BLOCK_PX].reshape(whole, _BLOCK_PX), axis=0)
    # a part of a picture may begin anywhere in a block
    meet = usual[(int(usual.argmax()) + block) % _BLOCK_PX]
    return bool(meet > _JUMP * max(median(usual), 1e-6))
