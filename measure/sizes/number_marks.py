"""Commas and points in the numbers of a table: which is the decimal mark, and which groups thousands.

"1,234" is 1.234 in one office and 1234 in the next. A single number often cannot tell, the others of its
table mostly do: "0,5" or "12,25" can only be decimal commas, "1,234.5" only thousands.
"""

import re
from dataclasses import dataclass, field

from measure.errors import InvalidInput


def _pattern(decimal: str, group: str) -> re.Pattern[str]:
    d, g = re.escape(decimal), re.escape(group)
    plain = rf"\d*(?:{d}\d*)?(?:[eE][+-]?\d+)?"
    grouped = rf"[1-9]\d{{0,2}}(?:{g}\d{{3}})+(?:{d}\d*)?"  # nobody groups a number with an exponent
    return re.compile(rf"(?=.*\d)[+-]?(?:{plain}|{grouped})")


_PATTERNS = {",": _pattern(",", "."), ".": _pattern(".", ",")}
_OTHER = {",": ".", ".": ","}


def reads_as(text: str, decimal: str) -> bool:
    """Whether a text is a number when ``decimal`` is the decimal mark and the other one groups thousands.

    Examples
    --------
    >>> reads_as("1,234", ","), reads_as("1,234", "."), reads_as("12,5", "."), reads_as("1.2,5", ",")
    (True, True, False, False)
    """
    return _PATTERNS[decimal].fullmatch(text.strip()) is not None


def with_point(text: str, decimal: str) -> str:
    """Return a number with a decimal point and without thousands marks.

    Parameters
    ----------
    text : str
    decimal : str
        The decimal mark, or empty where each number tells its own. What is no number comes back as it is.
    """
    if "," not in text and (decimal == "." or "." not in text):
        return text
    if decimal == "," and "." not in text and text.count(",") == 1:
        return text.replace(",", ".")  # by far the most: no pattern is needed
    for mark in decimal or ",.":
        if reads_as(text, mark):
            return text.replace(_OTHER[mark], "").replace(mark, ".")
    return text


@dataclass
class NumberMarks:
    """What the numbers of one table tell of their decimal mark.

    Attributes
    ----------
    name : str
        Of the file, for the refusal.
    """

    name: str
    # first place found, as (row, column, text): can only be that mark; may be either; in a column not read
    _sure: dict[str, tuple[int, str, str]] = field(default_factory=dict)
    _either: dict[str, tuple[int, str, str]] = field(default_factory=dict)
    _beside: dict[str, tuple[int, str, str]] = field(default_factory=dict)

    def look(self, row: int, column: str, text: str, *, read: bool = True) -> None:
        """Take a cell into account.

        Parameters
        ----------
        row : int
        column, text : str
        read : bool
            The column is one of numbers. Of others only cells with a comma count: "28.11" may be a day.
        """
        if "," not in text and ("." not in text or not read):
            return
        one = "," in text and "," in self._sure and "." not in text
        if one and text.count(",") == 1 and len(text) - text.index(",") != 4:
            return  # a decimal comma, as told before
        marks = [mark for mark in ",." if reads_as(text, mark)]
        place = (row, column, text.strip())
        if not read:
            if len(marks) == 1:
                self._beside.setdefault(marks[0], place)
        elif len(marks) == 2:
            self._either.setdefault("," if "," in text else ".", place)
        elif marks:
            self._sure.setdefault(marks[0], place)

    def decimal(self) -> str:
        """Return the decimal mark, or empty text where both occur and each number tells its own.

        Raises
        ------
        InvalidInput
            If a number can be read both ways and no other one of the table decides.
        """
        sure = self._sure
        doubtful = self._either.get(",")
        if "," not in sure and doubtful is None:
            return "."  # a table without commas in its numbers
        if not sure:
            sure = self._beside
        if len(sure) == 1:
            return next(iter(sure))
        doubtful = doubtful or self._either.get(".")
        if doubtful is None:
            return ""
        raise InvalidInput(self._refusal(doubtful, sure))

    def _refusal(self, doubtful: tuple[int, str, str], sure: dict[str, tuple[int, str, str]]) -> str:
        row, column, text = doubtful
        mark = "," if "," in text else "."
        whole = text.replace(",", "").replace(".", "")
        why = "no other number of the table tells which"
        if sure:
            told = (f"'{sure[m][2]}' (row {sure[m][0]}) has a decimal {word}" for m, word in _WORDS.items())
            why = " and ".join(told)
        return (
            f"'{self.name}' row {row}, column '{column}': '{text}' can mean {text.replace(mark, '.')} or "
            f"{whole}, for {why}. Write the numbers with a decimal point and no thousands marks, and save "
            "the table again."
        )


_WORDS = {",": "comma", ".": "point"}
