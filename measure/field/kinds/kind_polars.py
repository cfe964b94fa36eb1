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
# thin crystals: added light is bluer than the lamp's by up to the square of the colours' wavelengths, 0.26
# decades between 460 and 620 nm, and as strong as each happens to lie and to be thick: over 0.8 decades and
# more, where what is lit from above has 0.25 at most
BLUER = (0.08, 0.35)  # decades, least and most
FEWEST_THIN, SPREAD = 5, 0.5  # such pieces, and decades from the tenth to the ninetieth of a hundred of them
WARM = 0.12  # densities of blue over red of a ground, from which what is bluer than it need not be blue
ADDS, BURNT = 0.1, 0.85  # light a piece adds to the ground, as a share of it; light at which a camera clips
EVEN_RIM, EVEN_MIDDLE = 1.1, 0.8  # light that rim and middle add, over the core's: a plate has no glints
BRIGHT_ONES = 0.75  # quantile of the brightness of thin crystals that another crystal is compared with
_UNKNOWN = (0.5, 0.2, 0.3)  # the rest of it: of kernel, skin and salt
_FOODS = [GROUPS.index(name) for name in ("kernel", "skin", "salt")]
_SALT = GROUPS.index("salt")


def between_polarisers(particles: Particles) -> bool:
    """Whether pieces lighter than a dim ground shine as crystals between polarisers do.

    Thick ones have hues from more than half the circle, thin ones are bluish white, each as bright as it
    happens to lie.

    Parameters
    ----------
    particles : Particles
        Pieces of one field.
    """
    return _dim(particles) and (_many_hued(particles) or bool(_thin_plates(particles).any()))


def shining(particles: Particles) -> np.ndarray:
    """How likely each piece is a crystal that turns the light, (K,); 0 in plain light.

    What is green or blue is one; these tell how bright crystals are there, and food is far dimmer.
    """
    if not _dim(particles):
        return np.zeros(len(particles))
    step = np.maximum(particles["lightness_step"].astype(float), 1e-3)
    if _many_hued(particles):
        hue, shows = _hue(particles, SHOWS[1], VIVID[1])
        foreign = shows & np.any([(hue - low) % 360.0 < high - low for low, high in FOREIGN_DEG], axis=0)
        usual = np.median(step[foreign]) if foreign.any() else np.inf
    else:
        foreign = _thin_plates(particles)
        if not foreign.any():
            return np.zeros(len(particles))
        usual = np.quantile(step[foreign], BRIGHT_ONES)
        # what takes blue away has the colour of food, or is thicker than the others and then far brighter
        usual = np.where(_gained(particles)[:, 2] > 0.0, usual, usual / SHINES)
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


def _dim(particles: Particles) -> bool:
    return bool(len(particles)) and ground_light(particles).mean() <= DIM


def _many_hued(particles: Particles) -> bool:
    return any(_hues(*_hue(particles, *least)) >= MANY_HUES for least in zip(SHOWS, VIVID, strict=True))


def _thin_plates(particles: Particles) -> np.ndarray:
    """Which pieces are thin crystals between polarisers, (K,) ndarray of bool; none where that is not sure.

    A thin plate turns each colour by the square of its thickness over the wavelength (from memory: grey and
    white of the first order), so it adds light bluer than the lamp's, evenly, and as much as it happens to be
    turned. Whatever is lit from above gives back a colour of its own, about as strongly as its like.
    """
    ground = ground_light(particles)
    none = np.zeros(len(particles), dtype=bool)
    if np.log10(max(ground[0], 1e-4) / max(ground[2], 1e-4)) > WARM:
        return none
    gained = _gained(particles)
    rim, middle = (10.0 ** -particles[f"{part}_density"].astype(float) - 1.0 for part in ("rim", "centre"))
    adds = gained.mean(axis=1)
    found = (gained.min(axis=1) > 0.0) & (adds > ADDS) & ((ground * (1.0 + gained)).max(axis=1) < BURNT)
    found &= (rim < EVEN_RIM * adds) & (middle > EVEN_MIDDLE * adds)
    red, blue = (np.log10(np.maximum(gained[:, band], 1e-6)) for band in (0, 2))
    found &= (blue - red > BLUER[0]) & (blue - red < BLUER[1])
    if np.count_nonzero(found) < FEWEST_THIN:
        return none
    low, high = np.quantile(np.log10(adds[found]), (0.1, 0.9))
    return found if high - low > SPREAD else none


def _gained(particles: Particles) -> np.ndarray:
    """Light that cores of pieces add to that of the oil, red, green and blue, as shares of it, (K, 3)."""
    core = [particles[f"core_{name}_density"].astype(float) for name in ("red", "green", "blue")]
    return np.asarray(10.0 ** -np.stack(core, axis=1) - 1.0)


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
