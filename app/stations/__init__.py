"""The steps of the work in the window, one module each; each module calls its widget ``Station``.

A station that is not there yet is simply absent from the rail.
"""

import importlib
import importlib.util

ORDER = ("scale", "fields", "particles", "sizes", "compare", "tasting", "report")


def load_stations() -> list[type]:
    """Return the station classes that exist, in the order of the work."""
    present = (name for name in ORDER if importlib.util.find_spec(f"app.stations.{name}") is not None)
    return [importlib.import_module(f"app.stations.{name}").Station for name in present]
