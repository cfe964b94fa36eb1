"""How charts look: colours, hatches and letters of the kinds, for the window and for paper alike."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from measure.model import Kind


@dataclass(frozen=True)
class KindLook:
    """A kind in a chart: told apart by colour, by hatch and by letter, any one of which would do."""

    colour: str
    hatch: str
    letter: str


def _looks() -> dict[Kind, KindLook]:
    return {
        Kind.KERNEL: KindLook("#3333b6", "", "K"),
        Kind.SKIN: KindLook("#e06020", "////", "N"),
        Kind.SALT: KindLook("#16a08f", "....", "T"),
        Kind.OTHER: KindLook("#4a4743", "xxx", "O"),
    }


@dataclass(frozen=True)
class ChartStyle:
    """Colours (``#rrggbb``) and type size of a chart; the defaults are for paper.

    Attributes
    ----------
    surface, ink, soft, line : str
        Ground, text and curves, lesser text, hairlines.
    accent, warning : str
        What is pointed at; the lower limit.
    size_pt : float
        Size of the text.
    kinds : mapping of Kind to KindLook
    """

    surface: str = "#ffffff"
    ink: str = "#26221d"
    soft: str = "#5c554b"
    line: str = "#d8d1c5"
    accent: str = "#7a3b69"
    warning: str = "#80500a"
    size_pt: float = 9.0
    kinds: Mapping[Kind, KindLook] = field(default_factory=_looks)


PAPER = ChartStyle()
