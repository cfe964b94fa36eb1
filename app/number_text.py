"""Numbers become text here and nowhere else: value, uncertainty and unit, rounded together.

The uncertainty keeps two significant digits and the value ends at the same place (JCGM 100:2008, 7.2.6).
"""

import math
import re

from measure.sizes.rounding import decimals_of, digits_for

# a narrow space that never breaks, between groups of digits and before a unit
THIN = "\u202f"
MICRO = "µm"
MISSING = "–"
_THOUSANDS = re.compile(r"(?<=\d),(?=\d{3}\b)")
MAY_END = "\u200b"  # no width; a line may end there
_LONG_WORD = re.compile(r"\S{30}(?=\S)")
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:%|µm|mm|px|pt|mg|g|s|min|°C)(?![\w]))")


def fixed(value: float, decimals: int) -> str:
    """Return a number with that many decimals (negative: rounded to tens, hundreds), groups set apart.

    Examples
    --------
    >>> fixed(1234.56, 1).replace(THIN, "_"), fixed(-0.04, 1), fixed(1290.0, -1).replace(THIN, "_")
    ('1_234.6', '0.0', '1_290')
    """
    if not math.isfinite(value):
        return MISSING
    rounded = round(value, decimals) + 0.0
    text = f"{abs(rounded):,.{max(0, decimals)}f}".replace(",", THIN)
    return f"\u2212{text}" if rounded < 0 else text


def number(value: float, significant: int = 3) -> str:
    """Return a number with that many significant digits.

    Examples
    --------
    >>> number(23.456), number(0.012345), number(0.0)
    ('23.5', '0.0123', '0')
    """
    if not math.isfinite(value):
        return MISSING
    if value == 0:
        return "0"
    return fixed(value, digits_for(abs(value), significant))


def quantity(value: float, unit: str = MICRO, significant: int = 3) -> str:
    """Return a number with its unit.

    Examples
    --------
    >>> quantity(23.456).replace(THIN, " ")
    '23.5 µm'
    """
    text = number(value, significant)
    return text if text == MISSING or not unit else f"{text}{THIN}{unit}"


def with_uncertainty(value: float, uncertainty: float, unit: str = MICRO) -> str:
    """Return value ± uncertainty and unit.

    Parameters
    ----------
    value, uncertainty : float
        In the same unit. A missing or zero uncertainty leaves the value alone.

    Examples
    --------
    >>> with_uncertainty(23.456, 0.234).replace(THIN, " ")
    '23.46 ± 0.23 µm'
    """
    if not math.isfinite(value):
        return MISSING
    if not math.isfinite(uncertainty) or uncertainty <= 0:
        return quantity(value, unit, 4)
    decimals = digits_for(uncertainty)
    text = f"{fixed(value, decimals)} ± {fixed(uncertainty, decimals)}"
    return f"{text}{THIN}{unit}" if unit else text


def interval(value: float, low: float, high: float, unit: str = MICRO) -> str:
    """Return a value and its interval, all ending at the same place unless the interval is very wide.

    Examples
    --------
    >>> interval(23.4, 22.13, 24.92).replace(THIN, " ")
    '23.4 (22.1 to 24.9) µm'
    """
    if not (math.isfinite(low) and math.isfinite(high)) or high <= low:
        return quantity(value, unit)
    own, ends = decimals_of(value, low, high)
    text = f"{fixed(value, own)} ({fixed(low, ends)} to {fixed(high, ends)})"
    return f"{text}{THIN}{unit}" if unit else text


def percent(share: float, decimals: int | None = None) -> str:
    """Return a share 0..1 as per cent.

    Examples
    --------
    >>> percent(0.1234).replace(THIN, " "), percent(0.0042).replace(THIN, " ")
    ('12 %', '0.4 %')
    """
    if not math.isfinite(share):
        return MISSING
    if decimals is None:
        decimals = 1 if 0 < abs(share) < 0.0995 else 0
    return f"{fixed(100.0 * share, decimals)}{THIN}%"


def count(number_of: int, one: str, many: str = "") -> str:
    """Return a counted noun.

    Examples
    --------
    >>> count(1, "field"), count(0, "field"), count(2, "batch", "batches")
    ('1 field', 'no fields', '2 batches')
    """
    word = one if number_of == 1 else (many or f"{one}s")
    return f"{fixed(number_of, 0) if number_of else 'no'} {word}"


def picture_size(width_px: int, height_px: int) -> str:
    """Return a picture size in pixels.

    Examples
    --------
    >>> picture_size(1600, 1200).replace(THIN, "")
    '1600 × 1200 px'
    """
    return f"{fixed(width_px, 0)} × {fixed(height_px, 0)} px"


def duration(seconds: float) -> str:
    """Return a stretch of time.

    Examples
    --------
    >>> duration(0.234), duration(12.3), duration(192)
    ('0.2 s', '12 s', '3 min 12 s')
    """
    if seconds < 10:
        return f"{fixed(seconds, 1)} s"
    if seconds < 60:
        return f"{fixed(seconds, 0)} s"
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes} min {rest} s"


def count_value(value: float, one: str, many: str = "") -> str:
    """Return a counted noun where the count may be broken, such as half a pass.

    Examples
    --------
    >>> count_value(1.0, "pass", "passes"), count_value(2.5, "pass", "passes")
    ('1 pass', '2.5 passes')
    """
    if float(value).is_integer():
        return count(int(value), one, many)
    return f"{value:g} {many or one + 's'}"


def grouped(words: str) -> str:
    """Return words with thousands set off as the window does it.

    Examples
    --------
    >>> grouped("1,234 pieces, 12 fields").replace(THIN, "_")
    '1_234 pieces, 12 fields'
    """
    return _THOUSANDS.sub(THIN, words)


def breakable(text: str) -> str:
    """Return text in which a line may end within a word that is longer than any, such as the name of a file.

    Examples
    --------
    >>> breakable("pass 3"), breakable("x" * 50).count(MAY_END)
    ('pass 3', 1)
    """
    return _LONG_WORD.sub(lambda found: found[0] + MAY_END, text)


def unbroken(text: str) -> str:
    """Return text in which no line ends between a number and its unit.

    Examples
    --------
    >>> unbroken("48 % to 73 % of 12 pieces").replace(THIN, "_")
    '48_% to 73_% of 12 pieces'
    """
    return _BEFORE_UNIT.sub(THIN, text)
