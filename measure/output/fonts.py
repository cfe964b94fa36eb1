"""Where the font of every printed page lies: it holds names of any Latin, Greek or Cyrillic spelling."""

from importlib.util import find_spec
from pathlib import Path

from measure.errors import InvalidInput


def font_folder() -> Path:
    """Return the folder of the fonts that come with the chart library.

    Raises
    ------
    InvalidInput
        If they are not there.
    """
    found = find_spec("matplotlib")
    places = found.submodule_search_locations if found is not None else None
    if not places:
        raise InvalidInput("The fonts for printing are missing; install the program again.")
    return Path(places[0]) / "mpl-data" / "fonts" / "ttf"
