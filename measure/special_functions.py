"""Special functions of the general library, without the time its package takes to be imported.

Importing `scipy.special` runs its support for arrays of other libraries, which takes longer than to read a
table and work out its sizes. The compiled file that holds the functions is loaded without the package; where
that does not work, or where another thread might import it meanwhile, the package is imported.
"""

import sys
import threading
from collections.abc import Callable
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from types import ModuleType
from typing import Any

__all__ = ["special_function"]

_PACKAGES = ("scipy", "scipy._lib", "scipy.special")
_FILE = "scipy.special._ufuncs"


def special_function(name: str) -> Callable[..., Any]:
    """Return a function of `scipy.special` by its name, such as ``stdtrit``.

    Parameters
    ----------
    name : str

    Returns
    -------
    callable
        The very function of the package.
    """
    if "scipy.special" not in sys.modules and _FILE not in sys.modules and threading.active_count() == 1:
        _load_alone()
    for module in ("scipy.special", _FILE):
        found: Callable[..., Any] | None = getattr(sys.modules.get(module), name, None)
        if found is not None:
            return found
    function: Callable[..., Any] = getattr(import_module("scipy.special"), name)
    return function


def _load_alone() -> None:
    """Import the compiled file under empty packages of its own, which are taken away again."""
    spec = find_spec("scipy")  # this alone runs nothing of it
    if spec is None or not spec.submodule_search_locations:
        return
    empty = {}
    for name in _PACKAGES:
        if name not in sys.modules:
            empty[name] = sys.modules[name] = ModuleType(name)
            empty[name].__path__ = [str(Path(spec.submodule_search_locations[0], *name.split(".")[1:]))]
    before = set(sys.modules)
    try:
        import_module(_FILE)
    except Exception:  # whatever another release asks of its package: the package is imported then
        for name in set(sys.modules) - before:
            if name.startswith("scipy."):
                del sys.modules[name]
    finally:
        for name in empty:
            del sys.modules[name]
