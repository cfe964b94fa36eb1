"""Three compiled routines of the general library, without the time its packages take to be imported.

Importing `scipy.ndimage` and `scipy.special` runs their support for arrays of other libraries, which takes as
long as measuring a small picture. The files that hold the routines are loaded alone; where a release of the
library keeps them elsewhere, the public functions are taken.
"""

from collections.abc import Callable
from importlib import import_module
from importlib.machinery import EXTENSION_SUFFIXES, ExtensionFileLoader, FileFinder
from importlib.util import find_spec, module_from_spec
from pathlib import Path
from typing import Any

import numpy as np

__all__ = ["find_objects", "i0e", "ndtr"]


def loaded_alone(package: str, file: str, name: str) -> Callable[..., Any] | None:
    """Return a routine from a compiled file of a package that is not imported, or None where it is not there.

    Parameters
    ----------
    package, file, name : str
        Full name of the package, name of the compiled module in it, and of the routine.
    """
    try:
        top, _, rest = package.partition(".")
        spec = find_spec(top)  # this alone runs nothing of it
        if spec is None or not spec.submodule_search_locations:
            return None
        folder = Path(spec.submodule_search_locations[0], *rest.split("."))
        finder = FileFinder(str(folder), (ExtensionFileLoader, EXTENSION_SUFFIXES))
        found = finder.find_spec(f"{package}.{file}")
        if found is None or found.loader is None:
            return None
        module = module_from_spec(found)
        found.loader.exec_module(module)
        routine: Callable[..., Any] | None = getattr(module, name, None)
    except (ImportError, OSError, ValueError):
        return None
    return routine


def _routine(package: str, file: str, name: str, trial: Callable[[Callable[..., Any]], bool]) -> Any:
    """A routine loaded alone if it does what is expected of it, else the public one."""
    alone = loaded_alone(package, file, name)
    try:
        if alone is not None and trial(alone):
            return alone
    except (TypeError, ValueError, RuntimeError):
        pass
    return getattr(import_module(package), name)


def _finds(routine: Callable[..., Any]) -> bool:
    return bool(routine(np.array([[0, 2, 2], [1, 0, 2]], np.int32), 2) == [np.s_[1:2, 0:1], np.s_[0:2, 1:3]])


_objects = _routine("scipy.ndimage", "_nd_image", "find_objects", _finds)
# I0(0) = 1 and the normal distribution is a half at 0, by definition
i0e = _routine("scipy.special", "_special_ufuncs", "i0e", lambda f: f(np.zeros(2)).tolist() == [1.0, 1.0])
ndtr = _routine("scipy.special", "_special_ufuncs", "ndtr", lambda f: f(np.zeros(2)).tolist() == [0.5, 0.5])


def find_objects(labels: np.ndarray, most: int | None = None) -> list[Any]:
    """Rows and columns of each label.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
    most : int, optional
        The highest of them, where it is known.

    Returns
    -------
    boxes : list of (slice, slice) or None
        Of labels 1, 2 and so on; None for one that is not there.
    """
    boxes: list[Any] = _objects(labels, int(labels.max(initial=0)) if most is None else most)
    return boxes
