"""Groups of pieces of one hue in a field, and the odds of each of being kernels or skins."""

from collections.abc import Callable
from itertools import product
from typing import NamedTuple

import numpy as np

from measure.field.kinds.kind_clouds import parted_at
from measure.field.kinds.kind_model import GROUPS

FEWEST_ALIKE = 3.0  # pieces that make a group
# middles of two hues over their spread; one cloud cut in two has 2.7 if normal, 3.5 if even. Asked at all
# three: a field near one of them is as likely parted as not, and a piece more or less must not decide
APARTS = (3.6, 4.0, 4.6)
MOST_PARTS = 3  # times a field is parted
OTHER_KIND = 2.0  # odds that clearly different hues of one field are not all of one kind, natural logarithm
TURNS = 1.0  # odds against what the only hue of a field was taken for, from which it is turned over
MOST_SAID = 3.5  # odds of a group after it was heard
SUREST = 5.0  # odds of a piece
_KERNEL, _SKIN = GROUPS.index("kernel"), GROUPS.index("skin")
_WAYS = [
    np.array([way for way in product((-1, 0, 1), repeat=size) if way > (0,) * size], dtype=float)
    for size in range(5)
]
_SPREAD_APART = 0.5  # of either side of a gap, in widths
TURNED = 2  # times a way through the pieces is turned to lie across the gap it shows
# odds of a hue that speak for its pieces: where they begin to and where in full; and what they make of a
# piece at most, which stays in doubt if its own odds were lower or against it
SPEAKS, SPOKEN = (2.0, 4.0), 2.0
# spread of a hue's odds by tables from which they see two kinds in it; share of pieces against kernels up to
# which tables know the hue and those few are what they seem
SEEN_APART, FEW_AGAINST = (2.4, 2.8), (0.2, 0.3)

Gap = tuple[np.ndarray, float]  # side of each piece, and how far both are apart


class Told(NamedTuple):
    """Something measured of each group that kernels have more of than skins.

    Attributes
    ----------
    value, error : (h,) ndarray
        Of each group; the standard error holds what groups of one kind differ by.
    middle, apart : float
        Between kernels and skins, and how far they are apart.
    field : float
        What all groups of a field together lie off the middle, standard deviation.
    aparts : tuple of float
        How far they may be apart in one field or another, all as likely, where that differs much.
    """

    value: np.ndarray
    error: np.ndarray
    middle: float
    apart: float
    field: float
    aparts: tuple[float, ...] = ()


def hue_groups(
    place: np.ndarray,
    weight: np.ndarray,
    least: float = APARTS[1],
    parts: int = MOST_PARTS,
    known: dict[bytes, Gap] | None = None,
) -> list[np.ndarray]:
    """Rows of each hue of a field, parted where clear gaps lie between them.

    Parameters
    ----------
    place : (n, 3) or (n, 4) ndarray
        Hue, depth and structure, over what pieces of one kind differ by.
    weight : (n,) ndarray
        Say of each.
    least : float
        Between the middles of both sides of a gap, over their spread.
    parts : int
        How often sides may be parted again.
    known : dict, optional
        Gaps already looked for, by the bytes of places; new ones are added.

    Returns
    -------
    list of ndarray of int
    """
    every = np.arange(len(place))
    if len(place) < 2 * FEWEST_ALIKE or parts == 0:
        return [every]
    known = {} if known is None else known
    key = place.tobytes()
    if key not in known:
        known[key] = _widest_gap(place, weight)
    side, apart = known[key]
    if apart < least:
        return [every]
    sides = (every[side], every[~side])
    return [rows[g] for rows in sides for g in hue_groups(place[rows], weight[rows], least, parts - 1, known)]


def _widest_gap(place: np.ndarray, weight: np.ndarray) -> Gap:
    """Side of each piece at the widest gap of any way through the pieces, and how wide that is."""
    spread = np.linalg.eigh(np.cov(place.T) + 0.1 * np.eye(place.shape[1]))[1].T
    ways = _WAYS[place.shape[1]]
    best, side = 0.0, np.zeros(len(place), dtype=bool)
    for way in (*(ways / np.linalg.norm(ways, axis=1, keepdims=True)), *spread):
        found, apart = parted_at(place @ way, weight, weight, FEWEST_ALIKE, _SPREAD_APART)
        if apart > best:
            best, side = apart, found
    for _ in range(TURNED if best > 0.0 else 0):
        found, apart = parted_at(
            place @ _across(place, weight, side), weight, weight, FEWEST_ALIKE, _SPREAD_APART
        )
        if apart <= best:
            break
        best, side = apart, found
    return side, best


def _across(place: np.ndarray, weight: np.ndarray, side: np.ndarray) -> np.ndarray:
    """Way along which both sides of a gap stand apart most (linear discriminant), length 1.

    Hue and depth of the pieces of one kind go together, so the gap between two kinds lies aslant.
    """
    low, high = (np.average(place[s], axis=0, weights=weight[s]) for s in (side, ~side))
    off = place - np.where(side[:, None], low, high)
    spread = (off * weight[:, None]).T @ off / weight.sum() + _SPREAD_APART**2 * np.eye(place.shape[1])
    way = np.linalg.solve(spread, high - low)
    return np.asarray(way / np.linalg.norm(way))


def over_partings(
    place: np.ndarray,
    weight: np.ndarray,
    is_body: Callable[[np.ndarray], bool],
    weighed: Callable[[list[np.ndarray], list[np.ndarray]], np.ndarray],
) -> np.ndarray:
    """Mean of what follows from a field parted at gaps of several widths, (K, G).

    Where its hues are clearly one or clearly apart all are the same. Else the chances lie between and the
    doubt says so, instead of jumping as one piece more opens or fills a gap.

    Parameters
    ----------
    place, weight
        As for `hue_groups`.
    is_body, weighed : callable
        Whether rows are heard as a group; chances of all pieces by the groups heard and by the others.
    """
    found: list[np.ndarray] = []
    made: dict[tuple[bytes, ...], np.ndarray] = {}
    known: dict[bytes, Gap] = {}
    for least in APARTS:
        every = hue_groups(place, weight, least, known=known)
        key = tuple(g.tobytes() for g in every)
        if key not in made:
            bodies = [is_body(g) for g in every]
            groups = [g for g, body in zip(every, bodies, strict=True) if body]
            made[key] = weighed(groups, [g for g, body in zip(every, bodies, strict=True) if not body])
        found.append(made[key])
    return found[0] if len(made) == 1 else np.mean(found, axis=0)


def kernel_odds(prior: np.ndarray, *told: Told, cautious: bool = False) -> np.ndarray:
    """Odds of kernel of each of a field's hues, natural logarithm, (h,).

    All ways in which the hues may be kernels or skins are weighed (Bayes' rule). What is told is normal about
    what each kind usually has; what a lens, a camera or a mill does to all pieces of a field moves all hues
    alike and so says little.

    Parameters
    ----------
    prior : (h,) ndarray
        Odds so far.
    *told : Told
    cautious : bool
        Weigh all distances that kernels and skins may be apart, instead of the usual one.
    """
    ways = np.array(list(product((0.5, -0.5), repeat=len(prior))))  # of kernels and of skins
    likely = ways @ prior
    for one in told:
        inverse = np.linalg.inv(np.diag(one.error**2) + one.field**2)
        aparts = one.aparts if cautious and one.aparts else (one.apart,)
        rest = one.value - one.middle - np.array(aparts)[:, None, None] * ways
        square = np.einsum("dwi,ij,dwj->dw", rest, inverse, rest)
        likely += np.log(np.exp(-0.5 * (square - square.min(axis=0))).sum(axis=0)) - 0.5 * square.min(axis=0)
    likely -= OTHER_KIND * ((np.ptp(ways, axis=1) == 0.0) & (len(prior) > 1))
    chance = np.exp(likely - likely.max())
    kernel = (chance[:, None] * (ways > 0.0)).sum(axis=0) / chance.sum()
    return np.asarray(np.log((kernel + 1e-3) / (1.0 - kernel + 1e-3)))


def confirmed(before: np.ndarray, after: np.ndarray) -> np.ndarray:
    """Whether groups are at least as surely what they were taken for, (h,) ndarray of bool."""
    return np.asarray((before * after > 0.0) & (np.abs(after) >= np.abs(before)))


def of_pieces(
    own: np.ndarray, food: np.ndarray, before: float, after: float, known: float, alone: bool
) -> np.ndarray:
    """Odds of the pieces of a group, natural logarithm, (n,).

    Parameters
    ----------
    own, food : (n,) ndarray
        Odds of each piece so far and its chance of being kernel or skin.
    before, after : float
        Odds of the group before and after it was heard.
    known : float
        How well its hue is known, 0 to 1.
    alone : bool
        Whether the field shows no other hue: then much is needed to turn it over, but a doubt may be raised.
    """
    most = float(np.clip(after, -MOST_SAID, MOST_SAID))
    mean = float(np.average(own, weights=food))
    less = 1.0
    if alone and not (before * after < 0.0 and abs(after) > TURNS):
        odds = own + (1.0 - known) * most
        against = (before - after) * np.sign(mean)
        less = max(0.1, 1.0 - max(against, 0.0) / max(abs(before), 1e-6))
    elif most * mean > 0.0:
        odds, less = own, min(1.0, abs(after) / max(abs(before), 1e-6)) ** 2
        if less == 1.0 and known < 1.0:
            more = np.sign(most) * np.maximum(np.abs(own), np.abs(own - mean + most))
            odds = np.where(own * most > 0.0, more, own)
    else:
        odds = own - mean + most
    return np.asarray(np.clip(less * odds, -SUREST, SUREST))


def spoken_for(odds: np.ndarray, own: np.ndarray, food: np.ndarray, sure: float, known: float) -> np.ndarray:
    """Odds of the pieces of a hue that stands clear of others in its field, (n,).

    What is of one hue is of one kind: if all that the hue tells makes it skins, a folded or a thick one that
    a table takes for a kernel by itself is a skin too, though in doubt. How far it lies off the others, in
    what they differ by, still counts. Where tables are firmly of two minds about a hue it may hold two kinds.
    A sheet passes for a lump more often than a lump for a sheet: few sheets among kernels of a hue that
    tables know are skins of that hue.

    Parameters
    ----------
    odds, own, food : (n,) ndarray
        Odds of kernel, natural logarithm, by all that was heard and by tables, and the say of each.
    sure : float
        Odds that the hue is of kernels, as all its evidence bears out.
    known : float
        How well the hue is known to tables, 0 to 1.
    """
    side = np.sign(sure)
    say = _rising(abs(sure), SPEAKS)
    off = own - np.average(own, weights=food)
    spread = max(1.0, float(np.sqrt(np.average(off**2, weights=food))))
    say *= 1.0 - _rising(spread, SEEN_APART)
    if side > 0.0:
        say *= 1.0 - known * (1.0 - _rising(float(np.average(own < 0.0, weights=food)), FEW_AGAINST))
    said = np.minimum(np.minimum(abs(sure), MOST_SAID) + side * off / spread, SPOKEN)
    return np.asarray(side * np.maximum(side * odds, (1.0 - say) * side * odds + say * said))


def _rising(value: float, between: tuple[float, float]) -> float:
    """0 up to the first of two values, 1 from the second."""
    return float(np.clip((value - between[0]) / (between[1] - between[0]), 0.0, 1.0))


def leans(chance: np.ndarray) -> np.ndarray:
    """Odds of kernel over skin, natural logarithm, (K,)."""
    return np.asarray(np.log((chance[:, _KERNEL] + 1e-4) / (chance[:, _SKIN] + 1e-4)))


def with_odds(chance: np.ndarray, rows: np.ndarray, odds: np.ndarray) -> np.ndarray:
    """Chances of groups with other odds of kernel over skin of some pieces, within the sum of both."""
    changed, food = chance.copy(), chance[rows, _KERNEL] + chance[rows, _SKIN]
    changed[rows, _KERNEL] = food / (1.0 + np.exp(-odds))
    changed[rows, _SKIN] = food / (1.0 + np.exp(odds))
    return changed
