"""Cross-checks of a scale: words beside a burnt-in bar, and what a file claims. Never a scale alone."""

import math
import re
from dataclasses import dataclass

from measure.errors import InvalidInput
from measure.scale.burnt_in import Bar

_UNITS = {"nm": 1e-3, "um": 1.0, "µm": 1.0, "μm": 1.0, "micron": 1.0, "microns": 1.0, "mm": 1e3, "cm": 1e4}
_LABEL = re.compile(r"^\s*([0-9]+(?:[.,][0-9]+)?)\s*([a-zA-Zµμ]*)\s*$")
_AGREE = 0.03
_ONE_IS_WRONG = "One of the two is wrong; a ruling tells which."
# slips that are seen: a unit or a decimal place. Both numbers are good to a few per cent, so a slip shows as
# nearly the exact factor; anything else is told as the ratio it is, without a guess at its reason.
_SLIPS = ((10.0, "ten"), (100.0, "a hundred"), (1000.0, "a thousand"))
_SLIP_WITHIN = 0.05
# a file's resolution per inch read as per centimetre; both are exact there, and 2.5 is a common ratio of two
# objectives, so only the factor itself counts
_INCH, _INCH_WITHIN = 2.54, 0.005


@dataclass(frozen=True)
class CrossCheck:
    """What a bar or a tag says of a scale.

    Attributes
    ----------
    verdict : str
        "agrees", "differs", "alarm" (off by a factor that only a slip explains, or no unit) or "print" (a
        print resolution, which says nothing about the object).
    words : str
        One or two sentences.
    um_per_px : float
        What the bar or tag would give.
    """

    verdict: str
    words: str
    um_per_px: float = math.nan


def label_um(text: str) -> tuple[float, bool]:
    """Read the words typed for a bar.

    Parameters
    ----------
    text : str
        As it stands in the picture: "20.00um", "1.0 mm", "50.00".

    Returns
    -------
    (float, bool)
        Length in um (taken as um when there is no unit), and whether a unit is there.

    Raises
    ------
    InvalidInput
        If it is no length.

    Examples
    --------
    >>> label_um("1.0mm"), label_um("50.00")
    ((1000.0, True), (50.0, False))
    """
    found = _LABEL.match(text)
    unit = found.group(2) if found else ""
    if found is None or (unit and unit not in _UNITS):
        what = f"'{text.strip()}' is no length of a bar" if text.strip() else "Nothing is typed for the bar"
        raise InvalidInput(f"{what}; type its number and unit as in 20 µm or 1.0 mm.")
    value = float(found.group(1).replace(",", "."))
    if value <= 0:
        raise InvalidInput("The length of a bar must be more than 0; type it as in 20 µm.")
    return value * _UNITS.get(unit, 1.0), bool(unit)


def check_bar(bar: Bar, label: str, um_per_px: float | None) -> CrossCheck:
    """Compare a burnt-in bar with the scale in use.

    Parameters
    ----------
    bar : Bar
    label : str
        The words a person read beside it.
    um_per_px : float or None
        Scale of the field; None when it has none yet.

    Raises
    ------
    InvalidInput
        If the label is no length.
    """
    length, has_unit = label_um(label)
    by_bar = length / bar.length_px
    claim = f"The bar of {bar.length_px:.0f} px says {length:g} µm, so {by_bar:.4g} µm a pixel"
    if not has_unit:
        unit = "The bar has no unit, so it may mean anything; it is not used."
        claim = f"In micrometres its {bar.length_px:.0f} px would give {by_bar:.4g} µm a pixel"
        if um_per_px is None:
            return CrossCheck("alarm", f"{unit} {claim}.", by_bar)
        return CrossCheck("alarm", f"{unit} {_compared(by_bar, um_per_px, claim)[1]}", by_bar)
    if um_per_px is None:
        return CrossCheck(
            "differs",
            f"{claim}. A bar is only as good as the setting it was drawn with: make a scale.",
            by_bar,
        )
    verdict, words = _compared(by_bar, um_per_px, claim)
    return CrossCheck(verdict, words, by_bar)


def check_tag(um_per_px_tag: float, source: str, um_per_px: float) -> CrossCheck:
    """Compare what a file says of its pixels with the scale in use.

    Parameters
    ----------
    um_per_px_tag : float
        What the file claims.
    source : str
        Where it stands, in words; a print resolution is no claim about the object and raises no alarm.
    um_per_px : float
        Scale in use.
    """
    where = f" ({source})" if source else ""
    claim = f"The file says {um_per_px_tag:.4g} µm a pixel{where}"
    verdict, words = _compared(um_per_px_tag, um_per_px, claim)
    if _near(um_per_px_tag / um_per_px, _INCH, _INCH_WITHIN):
        verdict, words = "alarm", f"{claim}: off by 2.54, as when inches and centimetres are mixed up."
    if verdict != "agrees" and "print resolution" in source:
        verdict, words = "print", f"{claim}. Cameras write such a figure without knowing the zoom."
    return CrossCheck(verdict, words, um_per_px_tag)


def _compared(claimed: float, used: float, claim: str) -> tuple[str, str]:
    ratio = claimed / used
    if abs(ratio - 1.0) <= _AGREE:
        return "agrees", f"{claim}; the scale agrees within {100 * abs(ratio - 1):.1f} %."
    for factor, name in _SLIPS:
        if _near(ratio, factor, _SLIP_WITHIN):
            way = "larger" if ratio > 1 else "smaller"
            return "alarm", f"{claim}: about {name} times {way} than the scale. {_ONE_IS_WRONG}"
    if not 1 / 3 < ratio < 3:
        return "alarm", f"{claim}, {ratio:.3g} times the scale. {_ONE_IS_WRONG}"
    return (
        "differs",
        f"{claim}: {100 * abs(ratio - 1):.0f} % {'more' if ratio > 1 else 'less'} than the scale. "
        "A ruling tells which is right.",
    )


def _near(ratio: float, factor: float, within: float) -> bool:
    """Whether a ratio is a factor, or one over it."""
    return any(abs(ratio / slip - 1.0) <= within for slip in (factor, 1.0 / factor))
