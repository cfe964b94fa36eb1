"""Options and checks that several commands share."""

import argparse
import json
import sys
import time
from typing import Any, TextIO

from measure.errors import InvalidInput
from measure.progress import Progress

_LARGEST = 1e9  # of any number a command asks for
# what signs become where an output takes ASCII alone
_PLAIN = {
    "µ": "u",
    "−": "-",
    "–": "-",
    "×": "x",
    "±": "+/-",
    "“": '"',
    "”": '"',
    "’": "'",
    "∞": "inf",
    "·": ".",
}


def point_hint(text: str) -> str:
    """Return what to do about a decimal comma, which a command could take for a mark of thousands.

    Examples
    --------
    >>> point_hint("10,5"), point_hint("ten")
    ('; write decimals with a point: 10.5', '')
    """
    whole_part, comma, decimals = text.strip().partition(",")
    if not (comma and whole_part.isdecimal() and decimals.isdecimal()):
        return ""
    return f"; write decimals with a point: {whole_part}.{decimals}"


def positive(text: str) -> float:
    """Read a number above zero from an option.

    Raises
    ------
    argparse.ArgumentTypeError
        If the text is no such number, or one so large that it can only be a slip.
    """
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not 0 < value < float("inf"):
        raise argparse.ArgumentTypeError(f"{text!r} is not a number above zero{point_hint(text)}")
    if value > _LARGEST:
        raise argparse.ArgumentTypeError(f"{text!r} is too large to be true; check the number and its unit")
    return value


def whole(text: str) -> int:
    """Read a whole number from an option.

    Raises
    ------
    argparse.ArgumentTypeError
        If the text is none.
    """
    try:
        return int(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no whole number") from None


def share(text: str) -> float:
    """Read a number from 0 to 1 from an option.

    Raises
    ------
    argparse.ArgumentTypeError
        If the text is no such number.
    """
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not 0 <= value <= 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number from 0 to 1{point_hint(text)}")
    return value


def print_json(value: dict) -> None:
    """Print one JSON object on standard output; not-a-number becomes null.

    Where the output is not UTF-8, signs beyond ASCII are escaped, so that none is lost.
    """
    escaped = not is_utf8(sys.stdout)
    sys.stdout.write(json.dumps(plain_numbers(value), ensure_ascii=escaped, allow_nan=False) + "\n")


def plain_signs(error: UnicodeError) -> tuple[str, int]:
    """Stand in for signs an output cannot take: x₉₀ becomes x90 and not x??, µm becomes um.

    An error handler for `codecs.register_error`.
    """
    import unicodedata

    if not isinstance(error, UnicodeEncodeError):
        raise error
    found = []
    for sign in error.object[error.start : error.end]:
        plain = unicodedata.normalize("NFKD", sign).encode("ascii", "ignore").decode("ascii")
        found.append(_PLAIN.get(sign) or plain or "?")
    return "".join(found), error.end


def is_utf8(stream: TextIO) -> bool:
    """Whether a stream takes every sign."""
    return (getattr(stream, "encoding", None) or "utf-8").lower().replace("-", "").replace("_", "") == "utf8"


def plain_numbers(value: object) -> object:
    """Return the value with numpy numbers made plain and every nan or infinity made None."""
    if isinstance(value, dict):
        return {str(k): plain_numbers(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain_numbers(v) for v in value]
    if hasattr(value, "tolist"):
        return plain_numbers(value.tolist())
    if isinstance(value, float) and not abs(value) < float("inf"):
        return None
    return value


def say(text: str) -> None:
    """Print a line on standard output."""
    sys.stdout.write(text + "\n")


def warn(text: str) -> None:
    """Print a line on standard error, behind the program's name."""
    sys.stderr.write(f"gritline: {text}\n")


class BarProgress(Progress):
    """Progress as a bar on standard error when a person watches, else a line now and then."""

    def __init__(self, total: int, unit: str = "field") -> None:
        super().__init__(None)
        self._total = total
        self._bar = _drawn_bar(total, unit) if sys.stderr.isatty() else None
        self._said = 0
        self._began = time.monotonic()

    def step(self, text: str = "") -> None:
        """Count one more field done."""
        self._said += 1
        if self._bar is not None:
            self._bar.set_postfix_str(text, refresh=False)
            self._bar.update(1)
        elif self._said % 25 == 0:
            left = (time.monotonic() - self._began) / self._said * (self._total - self._said)
            sys.stderr.write(f"gritline: {self._said} of {self._total} done, {_time_words(left)} left\n")

    def close(self) -> None:
        """Take the bar away."""
        if self._bar is not None:
            self._bar.close()


def _drawn_bar(total: int, unit: str) -> Any:
    from tqdm import tqdm  # where nobody watches it need not be loaded

    return tqdm(total=total, unit=unit, leave=False, file=sys.stderr)


def _time_words(seconds: float) -> str:
    """Return a time as a person says it."""
    if seconds < 90:
        return f"about {max(1, round(seconds))} s"
    return f"about {round(seconds / 60)} min" if seconds < 5400 else f"about {seconds / 3600:.1f} h"


def refuse(condition: bool, text: str) -> None:
    """Raise InvalidInput with this sentence when the condition holds.

    Raises
    ------
    InvalidInput
        If the condition holds.
    """
    if condition:
        raise InvalidInput(text)
