"""What the pieces of one of the fields of `kind_variety.py` look like, and the oil they lie in."""

import numpy as np

DARK_FIELD = "dark field"  # lit aside from below: only light that pieces turn towards the lens is seen
ODD = "odd pieces"  # kernels as torn as skins, other pigments, stained oil, a bright ground lit from above
STAINED, FROM_ABOVE = 0.2, 0.35  # shares of the fields of odd pieces


def oil_of(rng: np.random.Generator, ground: str) -> np.ndarray:
    """Linear light of the oil: white, grey, bluish or yellow."""
    tint = np.array([1.0, rng.uniform(0.85, 1.05), rng.uniform(0.4, 1.3)])
    level = {"bright": rng.uniform(0.45, 0.85), "dark": rng.uniform(0.003, 0.03)}
    if ground == DARK_FIELD:
        return np.exp(rng.uniform(np.log(0.0006), np.log(0.03))) * tint / max(1.0, tint.max())
    if ground == ODD and rng.random() < STAINED:
        return rng.uniform(0.1, 0.6) * np.array([1.0, rng.uniform(0.5, 0.75), rng.uniform(0.15, 0.4)])
    if ground == ODD:
        ground = "bright"
    if ground == "bright, lighter":
        return rng.uniform(0.06, 0.3) * tint
    return level[ground] * tint / max(1.0, tint.max())


def looks_of(rng: np.random.Generator, ground: str) -> dict:
    """Looks shared by the pieces of one field."""
    span = rng.uniform
    above = ground != "bright" or rng.random() < 0.15
    if ground == ODD:
        above = rng.random() < FROM_ABOVE
    aside = ground == DARK_FIELD
    opaque = 1.0 if above else (0.0 if rng.random() < 0.6 else span(0.2, 1.0))
    own = _looks_aside(rng) if aside else {}
    if ground == ODD:
        own |= _looks_odd(rng, above)
    return {
        "aside": aside,
        "above": above,
        "opaque": opaque,
        "shares": rng.dirichlet((4.0, 2.5, 2.0)),
        "size_px": float(np.exp(span(np.log(16), np.log(48)))),
        "slender": span(0.0, 1.3),
        "together": rng.choice([0.0, 0.5]),
        "rough": span(0.02, 0.2),
        "browning": span(0.004, 0.012),
        "kernel_strength": float(np.exp(span(np.log(0.2), np.log(1.3)))),
        "kernel_pigment": float(np.exp(span(np.log(0.03), np.log(0.9)))),
        "skin_strength": float(np.exp(span(np.log(0.35), np.log(1.8)))),
        "skin_pigment": float(np.exp(span(np.log(0.5), np.log(3.0)))),
        "skin_red": span(0.25, 0.45),
        "skin_blue": span(1.1, 1.65),
        "lump": span(0.2, 0.9),
        "rise": span(0.3, 0.8),
        "grain": span(0.03, 0.2),
        "edge": span(0.0, 0.5) * (rng.random() < 0.6),
        "edge_px": span(0.8, 2.5),
        "relief": span(0.0, 0.8) if above else 0.0,
        "glint": span(0.0, 1.5) * (above and rng.random() < 0.4),
        "shadow": span(0.0, 0.6) * (above and ground != "dark" and not aside),
        "shadow_px": span(2.0, 8.0),
        "lamp": span(0.0, 2 * np.pi),
        "streaks": span(0.05, 0.35),
        "curled": span(0.0, 0.5) * (rng.random() < 0.4),
        "rim": span(0.25, 0.8),
        "rim_px": span(0.9, 3.2),
        "clear": span(0.93, 1.0),
        "inner": span(0.0, 0.3),
        "facets": span(0.0, 0.4),
        "ring": span(0.2, 0.45),
    } | own


def _looks_aside(rng: np.random.Generator) -> dict:
    """Looks of pieces lit aside: lumps grainy and bright all over, crystals mostly at their sides alone."""
    span = rng.uniform
    return {
        "glow": float(np.exp(span(np.log(0.15), np.log(1.3)))),
        "sheet": span(0.15, 0.7),
        "bright_edge": span(0.0, 1.5),
        "cloudy": span(0.0, 0.6) * (rng.random() < 0.3),
        "specks": span(0.0, 0.9),
        "speck_px": span(1.5, 5.0),
        "pale": float(
            np.exp(span(np.log(0.15), 0.0))
        ),  # of a lump: much of its light has not been through it
        "side": span(0.0, 0.8),
        "inside": span(0.0, 2.0),  # edges and chips within a crystal over its sides
    }


def _looks_odd(rng: np.random.Generator, above: bool) -> dict:
    """Looks of kernels and skins that may be as torn as one another, and absorptions of other pigments."""
    span = rng.uniform
    own = {"rough": span(0.02, 0.45), "grain": span(0.03, 0.4), "displaced": span(0.0, 0.6)}
    if above:  # crystals lit from above on a bright ground are drawn by none here
        own["shares"] = np.array([0.6, 0.4, 0.0])
    pink = np.array([span(0.05, 0.3), 1.0, span(0.5, 1.0)])  # anthocyanins: green above all
    orange = np.array(
        [span(0.02, 0.15), span(0.3, 0.55), 1.0]
    )  # carotenoids: blue, some green, hardly any red
    which = rng.integers(4)
    if which in (0, 1):
        own |= {"orange": orange, "kernel_strength": span(0.3, 1.8)}
    if which in (0, 2):
        own |= {"pink": pink, "skin_strength": float(np.exp(span(np.log(0.08), np.log(0.8))))}
    return own
