"""One action of the table of all actions."""

from typing import NamedTuple


class ActionRow(NamedTuple):
    """One action.

    Attributes
    ----------
    id : str
        ``station.verb``, or ``window.verb`` when it works everywhere.
    text : str
        What it does, as in a menu.
    keys : tuple of str
        Shortcuts in Qt's portable text; the first is shown.
    station : str
        Name of the station, or "" for everywhere.
    tip : str
        One sentence more.
    menu : str
        Menu of the window it stands in, "" for none.
    icon : str
        Name in `app.icons`, "" for none.
    checkable : bool
        It switches something on and off.
    """

    id: str
    text: str
    keys: tuple[str, ...] = ()
    station: str = ""
    tip: str = ""
    menu: str = ""
    icon: str = ""
    checkable: bool = False
