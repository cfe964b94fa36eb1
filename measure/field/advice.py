"""Keep a field or take it again, and why; and whether the fields of one batch agree."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from measure.model import FieldQuality

KEEP, LOOK, RETAKE = "keep", "look", "retake"

# common practice, no source: below the first a field is good, above the second its sizes cannot be used
_COVER = (0.10, 0.30)
_EDGE_WIDTH_PX = (8.0, 14.0)
_CLIPPED = (0.02, 0.15)
NEARLY_ALL = 0.9  # of the pixels at the end of the camera's range: there is nothing to see
_UNEVEN_L = (25.0, 50.0)
_CAST = (40.0, 90.0)  # colour of the oil away from grey, CIELAB chroma
STRONG_CAST = _CAST[0]
_EDGE_SHARE = (0.30, 0.60)
_ODD = 3.5  # Iglewicz and Hoaglin (1993): a modified z-score beyond 3.5 is a possible outlier
_BETWEEN = (
    0.10  # fields of one slide differ about this much even when all is well (common practice, no source)
)
_GOOD = "Focus, light and cover are good."
_GOOD_BUT = "Focus, exposure and cover are good; read what else is said of the field."


@dataclass(frozen=True)
class Advice:
    """What to do with a field.

    Attributes
    ----------
    verdict : str
        "keep", "look" (usable, with care) or "retake".
    reason : str
        One sentence: the gravest reason, or that all is well.
    edge_share : float
        Share of the pieces that meet the edge of the picture; nan without pieces.
    """

    verdict: str
    reason: str
    edge_share: float = math.nan


def advise(quality: FieldQuality, pieces: int, at_frame: int) -> Advice:
    """Say whether to keep a field.

    Parameters
    ----------
    quality : FieldQuality
        Figures of the measured field.
    pieces : int
        Pieces found, the set-aside ones left out.
    at_frame : int
        Pieces among them that meet the edge.

    Returns
    -------
    Advice

    Examples
    --------
    >>> from measure.model import FieldQuality
    >>> sharp = FieldQuality(0.03, 0.11, 0.5, (226, 217, 188), 3.0, 0.0, 6.0)
    >>> advise(sharp, 100, 8).verdict
    'keep'
    """
    edge = at_frame / pieces if pieces else math.nan
    if not pieces and quality.clipped > NEARLY_ALL:
        words = "The picture is black or white nearly all over; look at the lamp and the exposure."
        return Advice(RETAKE, words, edge)
    if not pieces:
        return Advice(RETAKE, "No piece was found; take a place with smear, or raise the sensitivity.", edge)
    found = _reasons(quality, edge)
    if not found:
        return Advice(KEEP, _GOOD if not quality.warnings else _GOOD_BUT, edge)
    grave = max(found, key=lambda item: item[0])
    return Advice(RETAKE if grave[0] >= 1.0 else LOOK, grave[1], edge)


def _reasons(quality: FieldQuality, edge: float) -> list[tuple[float, str]]:
    """Each reason with how grave it is: above 0 worth a look, from 1 a reason to take the field again."""
    contacts = f"{100 * quality.contacts_expected:.0f} %"
    checks = (
        (
            quality.clipped,
            _CLIPPED,
            f"{100 * quality.clipped:.0f} % of the picture is burnt out; change the exposure.",
        ),
        (
            quality.focus,
            _EDGE_WIDTH_PX,
            f"Edges are {quality.focus:.0f} px soft; focus again, blur changes sizes.",
        ),
        (
            quality.cover,
            _COVER,
            f"{100 * quality.cover:.0f} % is covered, so {contacts} touch by chance; use more oil.",
        ),
        (
            quality.unevenness,
            _UNEVEN_L,
            "The light is very uneven; centre the lamp, or use blank oil: a picture, or from fields.",
        ),
        (
            _chroma(quality.oil_rgb),
            _CAST,
            "The oil has a strong colour cast; set the white balance on bare oil.",
        ),
        (
            edge,
            _EDGE_SHARE,
            f"{100 * edge:.0f} % of the pieces meet the edge; a lower magnification keeps them whole.",
        ),
    )
    found = []
    for value, (worth_a_look, take_again), words in checks:
        if math.isfinite(value) and value > worth_a_look:
            found.append(((value - worth_a_look) / (take_again - worth_a_look), words))
    return found


def _chroma(rgb: tuple[float, float, float]) -> float:
    import cv2

    lab = cv2.cvtColor(np.array([[rgb]], np.float32) / np.float32(255.0), cv2.COLOR_RGB2Lab)[0, 0]
    return float(np.hypot(lab[1], lab[2]))


@dataclass(frozen=True)
class FieldSummary:
    """What of a field is compared with its fellows."""

    name: str
    counted: int
    median_um: float  # number median of the counted pieces
    cover: float
    lightness: float  # of the oil, mean of red, green and blue, 0..255
    spread: float = 0.5  # standard deviation of the logarithm of size within the field


@dataclass(frozen=True)
class Agreement:
    """Whether the fields of a batch agree.

    Attributes
    ----------
    words : str
        One sentence.
    odd : mapping of str to str
        Name of each odd field and what is odd about it.
    checked : bool
        Whether there were enough fields to tell.
    """

    words: str
    odd: dict[str, str]
    checked: bool = True


def fields_agree(fields: Sequence[FieldSummary]) -> Agreement:
    """Compare the fields of one batch with their median; at least four are needed to name an odd one.

    Each figure's deviation is set against the larger of its spread over the fields (1.4826 median absolute
    deviations) and what chance alone gives (square root of a count; 1.253 s / sqrt(n) for a median, with s
    the spread of the logarithm) together with a tenth that fields differ anyway.

    Parameters
    ----------
    fields : sequence of FieldSummary

    Returns
    -------
    Agreement
    """
    if len(fields) < 4:
        return Agreement("With fewer than four fields no odd one can be told.", {}, checked=False)
    counts = np.array([max(f.counted, 0) for f in fields], float)
    n = np.maximum(counts, 1.0)
    middle_n = max(float(np.median(counts)), 1.0)
    light = np.array([f.lightness for f in fields], float)
    spread = np.array([f.spread if np.isfinite(f.spread) else 0.5 for f in fields])
    figures = (
        ("pieces", np.log(n), 1.0 / np.sqrt(middle_n) + 0 * n),
        ("median size", np.log(_positive([f.median_um for f in fields])), 1.253 * spread / np.sqrt(n)),
        ("cover", np.log(_positive([f.cover for f in fields])), 2.0 / np.sqrt(middle_n) + 0 * n),
        ("brightness of the oil", np.log(_positive(light)), 0 * n),
    )
    odd: dict[str, str] = {}
    for name, values, chance in figures:
        for place, ratio in _odd_ones(values, chance):
            way = f"{name} {_times(ratio)} that of the others"
            known = odd.get(fields[place].name)
            odd[fields[place].name] = f"{known}; {way}" if known else way
    if not odd:
        return Agreement(f"The {len(fields)} fields agree.", {})
    some = "; ".join(f"{name} ({why})" for name, why in list(odd.items())[:2])
    more = f" and {len(odd) - 2} more" if len(odd) > 2 else ""
    return Agreement(f"Odd among {len(fields)} fields: {some}{more}. Look at it before you count it.", odd)


def _times(ratio: float) -> str:
    return f"{float(f'{ratio:.2g}'):,.0f} times" if ratio >= 10 else f"{ratio:.2g} times"


def _positive(values: Sequence[float] | np.ndarray) -> np.ndarray:
    array = np.asarray(values, float)
    return np.where(np.isfinite(array) & (array > 0), array, np.nan)


def _odd_ones(values: np.ndarray, chance: np.ndarray) -> list[tuple[int, float]]:
    known = np.isfinite(values)
    if known.sum() < 4:
        return []
    middle = float(np.median(values[known]))
    spread = 1.4826 * float(np.median(np.abs(values[known] - middle)))
    expected = np.maximum(spread, np.hypot(chance, _BETWEEN))
    off = np.where(known, values - middle, 0.0)
    return [(int(i), float(np.exp(off[i]))) for i in np.flatnonzero(np.abs(off) > _ODD * expected)]
