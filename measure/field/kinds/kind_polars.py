"""Fields between polarisers: crystals turn the light and shine in the colours of thin plates."""

import numpy as np

from measure.field.ground.plate_colour import ground_light
from measure.field.kinds.kind_model import GROUPS
from measure.particles import Particles

# the colours run on from blue to purple; food is yellow to red, a stain adds one more
DIM = 0.19  # linear light of the oil; polarisers turned a little from parallel leave 0.09
SHOWS, VIVID = (8.0, 6.0), (0.0, 0.35)  # CIELAB units of a colour, and its share of the step in lightness
HUES, MANY_HUES = 8, 4  # parts of a turn of hue, how many are met
FEWEST, HUE_SHARE = 2, 0.05  # pieces of a hue, least, and share of the coloured ones
FOREIGN_DEG = ((100.0, 185.0), (230.0, 315.0))  # green and blue, which food is not
SHINES, WIDTH = 0.6, 0.15  # brightness over that of what is green or blue from which others shine too, and
# how far it may be off, natural logarithm
SURE = 0.92  # of what shines
DARK_STAYS = 0.8  # of the opinion of what does not shine: salt is dark there too, and colours are not its own
_UNKNOWN = (0.5, 0.2, 0.3)  # the rest of it: of kernel, skin and salt
_FOODS = [GROUPS.index(name) for name in ("kernel", "skin", "salt")]
_SALT = GROUPS.index("salt")


def between_polarisers(particles: Particles) -> bool:
    """Whether pieces lighter than a dim ground have hues from more than half the circle.

    Parameters
    ----------
    particles : Particles
        Pieces of one field.
    """
    if not len(particles) or ground_light(particles).mean() > DIM:
        return False
    return any(_hues(*_hue(particles, *least)) >= MANY_HUES for least in zip(SHOWS, VIVID, strict=True))


def shining(particles: Particles) -> np.ndarray:
    """How likely each piece is a crystal that turns the light, (K,); 0 in plain light.

    What is green or blue is one; these tell how bright crystals are there, and food is far dimmer.
    """
    if not between_polarisers(particles):
        return np.zeros(len(particles))
    hue, shows = _hue(particles, SHOWS[1], VIVID[1])
    foreign = shows & np.any([(hue - low) % 360.0 < high - low for low, high in FOREIGN_DEG], axis=0)
    step = np.maximum(particles["lightness_step"].astype(float), 1e-3)
    usual = np.median(step[foreign]) if foreign.any() else np.inf
    odds = np.clip(np.log(step / (SHINES * usual)) / WIDTH, -20.0, 20.0)
    return np.where(foreign, 1.0, 1.0 / (1.0 + np.exp(-odds)))


def by_polars(chance: np.ndarray, particles: Particles) -> np.ndarray:
    """Take what shines between polarisers for salt, and be sure of nothing else there.

    Parameters
    ----------
    chance : (K, G) ndarray
        Probabilities of the groups of all pieces of one field.
    particles : Particles

    Returns
    -------
    (K, G) ndarray
    """
    crystal = SURE * shining(particles)[:, None]
    if not crystal.any():
        return chance
    rest = DARK_STAYS * chance
    rest[:, _FOODS] += (1.0 - DARK_STAYS) * np.array(_UNKNOWN)
    changed = (1.0 - crystal) * rest
    changed[:, _SALT] += crystal[:, 0]
    return changed


def _hue(particles: Particles, least: float, vivid: float) -> tuple[np.ndarray, np.ndarray]:
    """Hue of each piece against the oil, degrees, and whether it is lighter and shows one, each (K,)."""
    green_red, blue_yellow = (
        particles[f"{name}_step"].astype(float) for name in ("green_red", "blue_yellow")
    )
    strength, step = np.hypot(green_red, blue_yellow), particles["lightness_step"]
    shows = (strength > least) & (strength > vivid * step) & (step > 0)
    return np.degrees(np.arctan2(blue_yellow, green_red)), shows


def _hues(hue: np.ndarray, shows: np.ndarray) -> int:
    """How many parts of a turn of hue are met."""
    part = np.floor(hue[shows] / 360.0 * HUES).astype(int) % HUES
    met = np.bincount(part, minlength=HUES)
    return int((met >= max(FEWEST, HUE_SHARE * len(part))).sum())
