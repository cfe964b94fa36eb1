"""Kernels and skins of one field as two clouds of colour."""

import numpy as np

from measure.field.kinds.kind_alike import weighed_anew
from measure.particles import Particles

MOST_SAY = 2.5  # natural logarithm of the odds that the clouds add or take, at most
APART = (0.5, 1.0)  # middles of the clouds over their spread, where these begin to count and count in full
ROUNDS = 2
FEWEST = 3.0  # pieces that make a cloud by themselves
# the same distance between the two halves of what is parted at its widest gap: cut in two, pieces of one
# cloud are 2.7 apart if normal and 3.5 if spread evenly
CLEARLY_APART = (4.0, 5.0)
LEANS = (0.5, 1.5)  # mean odds of one cloud over the other's, natural logarithm, likewise
GREEN_LEANS = 0.5  # what a width adds to it by which green stands higher in the one
_LEAST_SPREAD_APART = 0.4  # of either half
_LEAST_SPREAD = 0.8  # of a cloud, in the widths of `coloured`
_PIECES_BETWEEN = 2.0  # by which a cloud of few pieces is drawn towards the middle of all


def by_clouds(chance: np.ndarray, particles: Particles) -> np.ndarray:
    """Weigh kernel against skin by which of a field's two clouds of colour a piece lies in.

    What a batch holds of kernels has one colour and its skins have another, whatever light, oil and thickness
    make of both. So pieces that the model, which knows no batch, thinks only a little likelier skins than the
    rest are skins if they stand apart from the rest in colour. Green stands higher in the cloud of skins, as
    tannins do and browning does not; else the clouds say nothing, and in a field of one kind their middles
    fall together, since each piece belongs to both by its odds. Where a gap parts the colours of a field, its
    sides are the clouds, even if the model took all for one kind: torn skins of a brown it knows from kernels
    are far likelier than the rest to be skins all the same.

    Parameters
    ----------
    chance : (K, G) ndarray
        Probabilities of the groups of all pieces of one field.
    particles : Particles

    Returns
    -------
    (K, G) ndarray
        The same, with kernel and skin weighed anew within their sum.
    """
    return weighed_anew(chance, particles, _clouded)


def _clouded(colour: np.ndarray, width: np.ndarray, food: np.ndarray, lean: np.ndarray) -> np.ndarray:
    """Odds as `weighed_anew` asks for them."""
    heard, odds = food / width**2, lean
    for _ in range(ROUNDS):
        kernel = heard / (1.0 + np.exp(-odds))
        odds = lean + _said(colour, width, kernel, heard - kernel)
    side, say = _parted(colour, heard, food, lean)
    if say == 0.0:
        return odds
    # the spread of the pieces themselves holds part of what faint ones are off by
    parted = lean + _said(colour, np.sqrt(width), heard * ~side, heard * side)
    return np.asarray((1.0 - say) * odds + say * parted)


def _parted(
    colour: np.ndarray, heard: np.ndarray, food: np.ndarray, lean: np.ndarray
) -> tuple[np.ndarray, float]:
    """Part a field where its colours part best, along the way in which the odds of kernel rise.

    Returns
    -------
    side : (C,) ndarray of bool
        Which pieces lie on the side of skins.
    say : float
        From 0 to 1, how clearly the two sides stand apart.
    """
    none = np.zeros(len(lean), dtype=bool), 0.0
    off = colour - np.average(colour, axis=0, weights=heard)
    weighted = off * (heard / heard.sum())[:, None]
    rise = np.linalg.solve(weighted.T @ off + _LEAST_SPREAD_APART**2 * np.eye(2), weighted.T @ lean)
    if not rise.any():
        return none
    along = off @ (rise / np.hypot(*rise))
    side, apart = parted_at(along, heard, food, FEWEST, _LEAST_SPREAD_APART)
    if not side.any():
        return none
    leans = np.average(lean[~side], weights=heard[~side]) - np.average(lean[side], weights=heard[side])
    green = np.average(colour[side, 0], weights=heard[side])
    leans += GREEN_LEANS * (green - np.average(colour[~side, 0], weights=heard[~side]))
    return side, float(_risen(apart, CLEARLY_APART) * _risen(leans, LEANS))


def parted_at(
    along: np.ndarray, weight: np.ndarray, pieces: np.ndarray, fewest: float, least_spread: float
) -> tuple[np.ndarray, float]:
    """Part pieces in a row where most of their variance lies between both sides (Otsu 1979).

    Parameters
    ----------
    along, weight, pieces : (C,) ndarray
        Place of each, its say, and as how many pieces it counts.
    fewest : float
        Pieces that make a side.
    least_spread : float
        Of either side.

    Returns
    -------
    side : (C,) ndarray of bool
        Those on the lower side; none where a side would have too few.
    apart : float
        Between the middles of both, over their spread.
    """
    none = np.zeros(len(along), dtype=bool), 0.0
    order = np.argsort(along, kind="stable")
    heavy, place = np.cumsum(weight[order]), np.cumsum((weight * along)[order])
    low, high = heavy[:-1], heavy[-1] - heavy[:-1]
    step = (place[-1] - place[:-1]) / np.maximum(high, 1e-9) - place[:-1] / np.maximum(low, 1e-9)
    count = np.cumsum(pieces[order])
    enough = (count[:-1] >= fewest) & (count[-1] - count[:-1] >= fewest)
    between = np.where(enough, low * high * step**2 / heavy[-1] ** 2, 0.0)
    at = int(between.argmax())
    if not enough[at]:
        return none
    side = np.zeros(len(along), dtype=bool)
    side[order[: at + 1]] = True
    middle = place[-1] / heavy[-1]
    within = max(float((weight * (along - middle) ** 2).sum() / heavy[-1] - between[at]), 0.0)
    return side, float(step[at] / np.sqrt(within + least_spread**2))


def _risen(value: float, between: tuple[float, float]) -> float:
    """From 0 to 1 between two values."""
    return float(np.clip((value - between[0]) / (between[1] - between[0]), 0.0, 1.0))


def _said(colour: np.ndarray, width: np.ndarray, kernel: np.ndarray, skin: np.ndarray) -> np.ndarray:
    """What two clouds of one spread say of each piece (linear discriminant), by its weights in both, (C,)."""
    every = np.average(colour, axis=0, weights=kernel + skin)
    away, spread = [], np.eye(2) * _LEAST_SPREAD**2
    for weight in (kernel, skin):
        middle = (weight @ colour + _PIECES_BETWEEN * every) / (weight.sum() + _PIECES_BETWEEN)
        away.append(colour - middle)
        spread += (away[-1] * weight[:, None]).T @ away[-1] / (kernel + skin).sum()
    between = away[0][0] - away[1][0]  # from the kernels' middle to the skins'
    if between[0] <= 0.0:
        return np.zeros(len(colour))
    inverse = np.linalg.inv(spread)
    apart = float(np.sqrt(between @ inverse @ between))
    say = _risen(apart, APART)
    square = [((off @ inverse) * off).sum(axis=1) for off in away]
    return say * np.clip((square[1] - square[0]) / (2.0 * width**2), -MOST_SAY, MOST_SAY)
