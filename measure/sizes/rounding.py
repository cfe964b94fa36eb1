"""How many digits a figure is shown with: the same in the window, the report and the commands.

An uncertainty keeps two significant digits, and the value ends at the same place (JCGM 100:2008, 7.2.6).
"""

import math

ALONE = 3  # significant digits of a value without an interval
_MILLION = 1_000_000
_NOTHING = 1e-7  # relative width below which the ends of an interval differ by the arithmetic alone


def digits_for(uncertainty: float, keep: int = 2) -> int:
    """Return the decimals that show ``keep`` significant digits of ``uncertainty``.

    Examples
    --------
    >>> digits_for(0.0234), digits_for(1.97), digits_for(340.0)
    (3, 1, -1)
    """
    if not math.isfinite(uncertainty) or uncertainty <= 0:
        return keep
    exponent = math.floor(math.log10(uncertainty))
    # 0.0996 rounds up to 0.10: one decimal fewer
    if round(uncertainty, keep - 1 - exponent) >= 10.0 ** (exponent + 1):
        exponent += 1
    return keep - 1 - exponent


def decimals_of(value: float, low: float = math.nan, high: float = math.nan) -> tuple[int, int]:
    """Return the decimals of a value and of its interval; negative ones round to tens, hundreds.

    Both end where half the interval has two digits. A value with no interval, or one so wide that rounding
    to it would leave nothing of the value, has three significant digits; so has one without any width.

    Examples
    --------
    >>> decimals_of(23.4, 22.13, 24.92), decimals_of(23.4), decimals_of(23.4, 2.0, 60.0)
    ((1, 1), (1, 1), (1, 0))
    """
    alone = digits_for(abs(value), ALONE) if value else 0
    if not (math.isfinite(low) and math.isfinite(high)) or high - low <= _NOTHING * abs(value):
        return alone, alone
    both = digits_for((high - low) / 2.0)
    return (alone if high - low > abs(value) else both), both


def figure_texts(value: float, low: float = math.nan, high: float = math.nan) -> tuple[str, str, str]:
    """Return a value and the ends of its interval as plain text, the ends empty where there is none.

    Examples
    --------
    >>> figure_texts(33.264, 31.2, 35.87), figure_texts(1234.5), figure_texts(33.0)
    (('33.3', '31.2', '35.9'), ('1230', '', ''), ('33.0', '', ''))
    """
    if not math.isfinite(value):
        return "none", "", ""
    own, ends = decimals_of(value, low, high)
    text = plain_fixed(value, own)
    if not (math.isfinite(low) and math.isfinite(high)):
        return text, "", ""
    return text, plain_fixed(low, ends), plain_fixed(high, ends)


def plain_fixed(value: float, decimals: int) -> str:
    """Return a number with that many decimals, without groups; negative ones round to tens, hundreds.

    Examples
    --------
    >>> plain_fixed(1234.56, 1), plain_fixed(1290.0, -2), plain_fixed(-0.04, 1)
    ('1234.6', '1300', '0.0')
    """
    return f"{round(value, decimals) + 0.0:.{max(0, decimals)}f}"


def short_number(value: float) -> str:
    """Return a number with at most three significant figures and never with a power of ten.

    Examples
    --------
    >>> short_number(33.26), short_number(5123.4), short_number(42.0)
    ('33.3', '5120', '42')
    """
    return f"{float(f'{value:.3g}'):.10g}"


def rough_number(value: float) -> str:
    """Return a number with two significant figures and never with a power of ten.

    Examples
    --------
    >>> rough_number(99.7), rough_number(1234.0), rough_number(0.0123)
    ('100', '1200', '0.012')
    """
    return f"{float(f'{value:.2g}'):.10g}"


def counted(number: float, noun: str, about: str = "") -> str:
    """Return a whole number with its noun; beyond a million no digit tells more than that.

    ``about`` stands before a number, and not before "more than".

    Examples
    --------
    >>> counted(1, "piece"), counted(9071, "piece"), counted(9e12, "field")
    ('1 piece', '9,071 pieces', 'more than a million fields')
    """
    if number > _MILLION:
        return f"more than a million {noun}s"
    return f"{about}{number:,.0f} {noun}{'' if number == 1 else 's'}"


def signed_number(value: float) -> str:
    """Return a change with its sign, two significant figures and no power of ten; plain 0 for next to none.

    Examples
    --------
    >>> signed_number(-99.7), signed_number(12.3), signed_number(-0.001)
    ('−100', '+12', '0')
    """
    if abs(value) < 0.005:
        return "0"
    return ("+" if value > 0 else "−") + rough_number(abs(value))


def percent_text(share: float) -> str:
    """Return a share in per cent, in few digits.

    Examples
    --------
    >>> percent_text(0.314), percent_text(0.0123), percent_text(0.00001)
    ('31 %', '1.2 %', '0 %')
    """
    p = 100 * share
    if not math.isfinite(p):
        return "?"
    return f"{p:.0f} %" if p >= 10 else f"{p:.2g} %" if p >= 0.01 else "0 %"
