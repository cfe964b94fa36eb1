"""The one list of particle flags: bit, name and the words that explain it.

A flag never removes a particle; it says why a number about it deserves care.
"""

from typing import NamedTuple


class Flag(NamedTuple):
    """One flag: its bit value, its short name, and a plain sentence."""

    bit: int
    name: str
    text: str


_LIST = (
    ("touches_frame", "Meets the edge of the picture, so its whole size is unknown; kept, not counted."),
    ("touching", "Was cut from a cluster of touching pieces; its shared edge is estimated."),
    ("small", "Fewer than 10 pixels across: its size and shape are coarse."),
    ("blurred", "Out of focus: a soft edge makes a piece look larger than it is."),
    ("faint", "Little contrast to the oil: the edge is uncertain."),
    ("rim_only", "Seen mainly by its rim (see-through); filled to the outer edge."),
    ("broken_rim", "The rim was not closed and had to be completed."),
    ("clipped", "Part of it is at the darkest or brightest value the camera can give."),
    ("overlap", "Seems to lie over or under another piece; the hidden part is estimated."),
    ("ragged", "A very irregular outline: may be several pieces or a loose heap."),
    ("meets_zone", "Meets an area left out; kept, not counted."),
    ("bubble", "Looks like an air bubble, or a drop of water or oil."),
    ("fibre", "Looks like a fibre."),
    ("by_hand", "Its outline was made or changed by hand."),
    ("reduced", "Found at reduced picture size."),
    ("repeat", "Also seen on an overlapping field; counted there."),
    ("looked_at", "Was looked at by a person and found right."),
    ("shade", "Has the colour of the ground, only darker, beside a coloured piece: its shadow."),
    ("thread", "A thread that runs between, along or across other pieces."),
    ("one_or_two", "May be one with the piece it touches, or two that were taken for one."),
    (
        "scatters",
        "Crossed by dark and bright lines, for it bends light; its edge is the outermost dark line.",
    ),
)

FLAGS: dict[str, Flag] = {name: Flag(1 << i, name, text) for i, (name, text) in enumerate(_LIST)}


def bits(*names: str) -> int:
    """Return the bit pattern of the named flags.

    Examples
    --------
    >>> bits("touches_frame", "small")
    5
    """
    value = 0
    for name in names:
        value |= FLAGS[name].bit
    return value


def decode(value: int) -> list[str]:
    """Return the names of the flags set in ``value``, in the order of the list.

    Examples
    --------
    >>> decode(5)
    ['touches_frame', 'small']
    """
    return [flag.name for flag in FLAGS.values() if int(value) & flag.bit]


# reasons for setting a piece aside are kept in studies and tables, which other programs read, so they stay as
# they are; readers are told what is really known
_REASON_WORDS = {"air bubble": "bubble or drop"}


def reason_words(reason: str) -> str:
    """Return a reason for setting a piece aside as its reader should be told.

    Examples
    --------
    >>> reason_words("air bubble"), reason_words("fibre"), reason_words("")
    ('bubble or drop', 'fibre', '')
    """
    return _REASON_WORDS.get(str(reason), str(reason))
