"""What makes a ruling doubtful, or no ruling at all."""

import numpy as np

from measure.errors import InvalidInput
from measure.scale.graduations import Axis, Located, sampled
from measure.scale.ladder import LEAST

_UNEVEN = 0.045  # residual spread as a share of the spacing: more is no ruling
MANY = 8
_ROUGH = 0.02  # more than this is worth a warning
_FAINTER = 0.15  # depth of a line between two graduations, as a share of theirs


def no_ruling(name: str) -> InvalidInput:
    """Return the polite refusal of a picture without a ruling."""
    return InvalidInput(
        f"{name or 'The picture'}: no ruling was found. Give a picture of a stage micrometer with at least 4 "
        "evenly spaced lines, or set the scale by hand."
    )


def on_the_ladder(index: np.ndarray, places_px: np.ndarray) -> np.ndarray:
    """Tell which graduations keep to the spacing of the others, a smooth bend allowed.

    Parameters
    ----------
    index, places_px : (K,) ndarray

    Returns
    -------
    (K,) ndarray of bool
    """
    used = np.ones(len(index), bool)
    degree = 2 if len(index) >= 8 else 1
    for _ in range(5):
        fit = np.polynomial.Polynomial.fit(index[used], places_px[used], degree)
        off = np.abs(places_px - fit(index))
        limit = max(4.5 * 1.4826 * float(np.median(off[used])), 0.05)
        new = off <= limit
        if new.sum() < 4 or (new == used).all():
            break
        used = new
    return used


def line_ends(plane: np.ndarray, axis: Axis, located: Located) -> np.ndarray:
    """Follow each graduation both ways until it fades; return its ends along it, (K, 2) px."""
    long = axis.high_px - axis.low_px
    reach = np.linspace(axis.low_px - 3 * long, axis.high_px + 3 * long, 141)
    side = min(0.5 * axis.spacing_px, max(1.2 * located.width_px, 2.0))
    depth = _along(plane, axis, axis.places_px, reach)
    beside = (
        _along(plane, axis, axis.places_px - side, reach) + _along(plane, axis, axis.places_px + side, reach)
    ) / 2
    depth = depth - beside
    kernel = np.ones(3) / 3
    inside = (reach >= axis.low_px) & (reach <= axis.high_px)
    usual = np.nanmedian(depth[:, inside])
    ends = np.empty((len(depth), 2))
    for k, row in enumerate(depth):
        dark = np.convolve(np.nan_to_num(row / usual if usual else row), kernel, "same") > 0.5
        start = int(np.flatnonzero(inside)[len(np.flatnonzero(inside)) // 2])
        ends[k] = reach[_last(dark, start, -1)], reach[_last(dark, start, 1)]
    return ends


def _along(plane: np.ndarray, axis: Axis, places: np.ndarray, reach: np.ndarray) -> np.ndarray:
    x = places[:, None] * axis.normal[0] + reach * axis.along[0]
    y = places[:, None] * axis.normal[1] + reach * axis.along[1]
    return sampled(plane, x, y)


def _last(dark: np.ndarray, start: int, way: int) -> int:
    """Return where a line ends, stepping over gaps of up to three samples."""
    here, gap, k = start, 0, start
    while 0 <= k + way < len(dark) and gap <= 3:
        k += way
        here, gap = (k, 0) if dark[k] else (here, gap + 1)
    return here


def is_no_ruling(
    shape: tuple[int, int], axis: Axis, located: Located, kept: np.ndarray, used: np.ndarray, ends: np.ndarray
) -> bool:
    """Tell evenly spaced things that are no graduations: uneven, gappy, short, or unlike one another.

    The fewer there are, the less may be wrong: four pieces in a row happen by chance.
    """
    index, places = axis.index[kept][used], axis.places_px[kept][used]
    count = len(index)
    if count < LEAST:
        return True
    line = np.polynomial.Polynomial.fit(index, places, 1)
    uneven = float(np.std(places - line(index))) / axis.spacing_px
    filled = count / (index[-1] - index[0] + 1)
    with np.errstate(invalid="ignore", divide="ignore"):
        unlike = float(np.nanmedian(located.noise[kept] / np.abs(located.strength[kept])))
    shortest = max(0.6 * axis.spacing_px, 2.5 * located.width_px)
    short = float(np.median(ends[used, 1] - ends[used, 0])) < shortest
    wide = located.width_px > 0.75 * axis.spacing_px
    if uneven > _UNEVEN or filled < 0.5 or unlike > 0.6 or short or wide:
        return True
    if count >= MANY:
        return False
    across = (index[-1] - index[0]) * axis.spacing_px / min(shape)
    strength = np.nanmedian(located.strength[kept][used], axis=1)
    varied = float(np.std(strength) / np.abs(np.mean(strength)))
    return uneven > _UNEVEN / 3 or filled < 0.75 or across < 0.25 or varied > 0.35


def missing_by_turns(axis: Axis, located: Located, kept: np.ndarray) -> bool:
    """Tell a spacing of half or a third of the true one: every second or third place holds no line at all.

    Then edges, or the gaps beside wide lines, were taken for lines. A fainter line there is one all the same.
    """
    inside = np.flatnonzero(kept)
    index, there = axis.index[inside[0] : inside[-1] + 1], kept[inside[0] : inside[-1] + 1]
    strength = np.median(np.nan_to_num(located.strength[inside[0] : inside[-1] + 1]), axis=1)
    usual = np.median(strength[there])
    for turn in (2, 3):
        for first in range(turn):
            place = index % turn == first
            gone = place.sum() >= 2 and there[place].mean() < 0.25 and there[~place].mean() > 0.75
            if gone and np.median(strength[place] / usual) < _FAINTER / 2:
                return True
    return False


def patchy(plane: np.ndarray, axis: Axis, kept: np.ndarray) -> bool:
    """Tell rows of separate marks, such as text: brightness along a line varies no more than beside it."""
    rows = np.arange(axis.low_px, axis.high_px, 1.0)
    here = _along(plane, axis, axis.places_px[kept], rows)
    beside = _along(plane, axis, axis.places_px[kept] + axis.spacing_px / 2, rows)
    usable = np.isfinite(here).all(1) & np.isfinite(beside).all(1)
    if usable.sum() < 3 or len(rows) < 6:
        return False
    here, beside = here[usable], beside[usable]
    depth = np.abs(here.mean(1) - beside.mean(1)) + 1e-9
    return bool(np.median((here.var(1) - beside.var(1)) / depth**2) > 0.5)


def warnings(
    axis: Axis, located: Located, index: np.ndarray, fit: dict, ends: np.ndarray, strays: int, parts: int
) -> tuple[str, ...]:
    """Say in plain sentences what is doubtful about a fit."""
    said = []
    if len(index) < 5:
        said.append(
            f"Only {len(index)} graduations were found: the scale rests on little. Show more of the ruling."
        )
    if parts > 1:
        said.append(
            f"There seem to be lines between the graduations found ({parts} gaps to a division): "
            "check that the division typed is the distance between the lines drawn over the picture."
        )
    pattern = _pattern(index, ends)
    if pattern:
        said.append(pattern)
    missing = int(index[-1] - index[0] + 1 - len(index))
    if missing > 0.1 * len(index):
        said.append(f"{missing} graduations between the first and the last were not found or not used.")
    if strays:
        what = "1 line" if strays == 1 else f"{strays} lines"
        said.append(f"{what} off the even spacing left out.")
    if np.std(fit["residuals_px"]) > _ROUGH * axis.spacing_px:
        said.append(
            "The graduations lie unevenly: check the focus, and that the picture shows one ruling only."
        )
    if fit["u_bend"] > 2e-4:
        change = 100 * np.sqrt(3) * fit["u_bend"]
        said.append(
            f"The spacing changes smoothly across the picture (about {change:.2g} %), as lens distortion or "
            "a tilted ruling does; this is added to the uncertainty."
        )
    if located.width_px > 0.55 * axis.spacing_px:
        said.append("The lines are wider than the gaps between them: focus better or use a higher zoom.")
    if axis.spacing_px < 5:
        said.append("The graduations are fewer than 5 pixels apart: a coarser division gives a surer scale.")
    return tuple(said)


def fainter_between(plane: np.ndarray, axis: Axis) -> tuple[int, float]:
    """Look for lines between neighbouring graduations, in the mean over all gaps.

    Beside the graduations' shared stretch as well, where only longer ones reach.

    Returns
    -------
    gaps : int
        How many parts a division falls into; 1 without lines between.
    shift : float
        Where they were seen: shift along the graduations, in lengths of the shared stretch.
    """
    if axis.spacing_px < 6:
        return 1, 0.0
    steps = np.linspace(-0.5, 1.5, 161)
    long = axis.high_px - axis.low_px
    depth, most = 0.0, (1, 0.0)
    for shift in (0.0, -0.7, 0.7, -1.2, 1.2, -2.0, 2.0):
        rows = np.linspace(axis.low_px, axis.high_px, 12) + shift * long
        profile = _folded(plane, axis, steps, rows)
        if profile is None:
            continue
        at, between = (profile[int(np.argmin(np.abs(steps - t)))] for t in (0.0, 0.5))
        depth = depth or at - between
        if depth and (at - between) / depth > 0.3:
            most = max(most, (1 + _crests(profile / depth, steps), shift))
    return most


def _folded(plane: np.ndarray, axis: Axis, steps: np.ndarray, rows: np.ndarray) -> np.ndarray | None:
    """Return the median profile from half a spacing before a graduation to half a one past the next."""
    across = axis.places_px[3:-4, None] + steps * axis.spacing_px
    x = across[..., None] * axis.normal[0] + rows * axis.along[0]
    y = across[..., None] * axis.normal[1] + rows * axis.along[1]
    folded = sampled(plane, x, y).mean(-1)
    usable = np.isfinite(folded).all(1)
    return np.median(folded[usable], axis=0) if usable.sum() >= 3 else None


def _crests(profile: np.ndarray, steps: np.ndarray) -> int:
    """Count crests of a graduation's sign that stand clear within a gap."""
    from scipy.signal import find_peaks

    inside = (steps > 0.12) & (steps < 0.88)
    smooth = np.convolve(profile, np.ones(3) / 3, "same")[inside]
    return len(find_peaks(smooth, prominence=_FAINTER)[0])


def alternating(plane: np.ndarray, axis: Axis, kept: np.ndarray) -> bool:
    """Tell whether the gaps are bright and dark by turns: both edges of each line were taken for lines."""
    rows = np.linspace(axis.low_px, axis.high_px, 12)
    both = kept[:-1] & kept[1:]
    here = _along(plane, axis, axis.places_px, rows)[:-1][both].mean(1)
    gaps = _along(plane, axis, axis.places_px + axis.spacing_px / 2, rows)[:-1][both].mean(1)
    usable = np.isfinite(here) & np.isfinite(gaps)
    here, gaps, even = here[usable], gaps[usable], axis.index[:-1][both][usable] % 2 == 0
    if even.sum() < 2 or (~even).sum() < 2:
        return False
    step = abs(np.median(gaps[even]) - np.median(gaps[~even]))
    return bool(step > 0.4 * abs(np.median(gaps) - np.median(here)) + 1e-9)


def _pattern(index: np.ndarray, ends: np.ndarray) -> str:
    """Look at which graduations are longer: every second one hints at a missed or misnamed division."""
    lengths = ends[:, 1] - ends[:, 0]
    if len(index) < 8:
        return ""
    longer = lengths > 1.25 * np.percentile(lengths, 20)
    if not 0.15 < longer.mean() < 0.65:
        return ""
    for parity in (0, 1):
        every = index % 2 == parity
        if every.any() and not every.all() and longer[every].mean() > 0.85 and longer[~every].mean() < 0.15:
            return (
                "Every second graduation is longer; on most rulings every fifth is. "
                "Check that the division typed is the distance between neighbouring lines."
            )
    return ""
