"""The few shapes every chart is made of, so that one layout serves the window and paper.

Places are in points, from the top left corner, y downwards.
"""

from dataclasses import dataclass

# none, lines up to the right, dots, crosses, lines down to the right
HATCHES = ("", "////", "....", "xxx", "\\\\")


@dataclass(frozen=True)
class Box:
    """A rectangle; ``hatch`` is one of `HATCHES`, drawn in ``edge``."""

    x: float
    y: float
    width: float
    height: float
    fill: str = ""
    edge: str = ""
    hatch: str = ""
    alpha: float = 1.0


@dataclass(frozen=True)
class Line:
    """A line through points; ``dashes`` are lengths on and off in points."""

    points: tuple[tuple[float, float], ...]
    colour: str
    width: float = 1.0
    dashes: tuple[float, ...] = ()


@dataclass(frozen=True)
class Area:
    """A filled polygon."""

    points: tuple[tuple[float, float], ...]
    fill: str
    alpha: float = 1.0


@dataclass(frozen=True)
class Dot:
    """A filled circle."""

    x: float
    y: float
    radius: float
    fill: str
    edge: str = ""


@dataclass(frozen=True)
class Text:
    """A line of text.

    ``across`` is "left", "middle" or "right" of ``x``; ``y`` is the middle of the letters. ``turned`` text
    reads upwards about its place. ``ground`` is painted behind it where it may lie on something.
    """

    x: float
    y: float
    text: str
    colour: str
    size: float
    across: str = "left"
    bold: bool = False
    turned: bool = False
    ground: str = ""


Shape = Box | Line | Area | Dot | Text


def text_width(text: str, size: float) -> float:
    """Return about how wide a text is, points; rather too wide than too narrow."""
    return 0.58 * size * len(text)


def shortened(text: str, size: float, width: float) -> str:
    """Return a text that is about so wide at most; its middle gives way, for names differ at their ends.

    Examples
    --------
    >>> shortened("pass 3", 10, 100), shortened("a batch of a very long name 3", 10, 100)
    ('pass 3', 'a batch … name 3')
    """
    room = max(int(width / (0.58 * size)), 3)
    if len(text) <= room:
        return text
    end = (room - 1) // 2
    return f"{text[: room - 1 - end].rstrip()} … {text[len(text) - end :].lstrip()}"
