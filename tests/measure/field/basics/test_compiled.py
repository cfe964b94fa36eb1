"""Routines loaded without their packages are the library's own."""

import subprocess
import sys

import numpy as np
import pytest
import scipy.ndimage
import scipy.special

from measure.field.basics import compiled
from measure.field.basics.masks import numbered


def test_measuring_imports_no_package_of_the_library() -> None:
    code = "import sys; import measure.field.pipeline; print(sorted(m for m in sys.modules if 'scipy' in m))"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "scipy.special'" not in said.stdout
    assert "scipy.ndimage'" not in said.stdout


def test_the_packages_can_be_imported_afterwards() -> None:
    code = (
        "import measure.field.basics.compiled as c, numpy as np, scipy.ndimage, scipy.special\n"
        "assert scipy.ndimage.label(np.eye(3))[1] == 3\n"
        "assert scipy.special.ndtr(0.3) == c.ndtr(0.3) and scipy.special.expit(0.0) == 0.5"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_results_are_those_of_the_public_functions() -> None:
    places = np.linspace(-40.0, 40.0, 4001)
    assert np.array_equal(compiled.ndtr(places), scipy.special.ndtr(places))
    assert np.array_equal(compiled.i0e(places), scipy.special.i0e(places))
    labels = np.array([[0, 3, 3], [1, 0, 3], [1, 1, 0]], np.int32)
    assert compiled.find_objects(labels) == scipy.ndimage.find_objects(labels)
    assert compiled.find_objects(np.zeros((4, 4), np.int32)) == []


@pytest.mark.parametrize(
    ("package", "file", "name"),
    [
        ("scipy.ndimage", "_not_there", "find_objects"),
        ("scipy.ndimage", "_nd_image", "not_there"),
        ("not_there_at_all", "_nd_image", "find_objects"),
    ],
)
def test_what_is_not_there_is_not_loaded(package: str, file: str, name: str) -> None:
    assert compiled.loaded_alone(package, file, name) is None


def test_the_public_function_is_taken_where_the_routine_differs() -> None:
    assert (
        compiled._routine("scipy.special", "_special_ufuncs", "ndtr", lambda _: False) is scipy.special.ndtr
    )
    assert compiled._routine("scipy.special", "_gone", "i0e", lambda _: True) is scipy.special.i0e


@pytest.mark.parametrize("connectivity", [4, 8])
@pytest.mark.parametrize("parts", [0, 1, 2, 30])
def test_parts_are_numbered_as_the_library_does(parts: int, connectivity: int) -> None:
    import cv2

    random = np.random.default_rng(parts)
    mask = np.zeros((60, 80), np.uint8)
    for x, y in random.integers(0, (80, 60), (parts, 2)).tolist():
        cv2.circle(mask, (x, y), 4, 1, -1)
    count, labels, stats = numbered(mask, connectivity)
    expected = cv2.connectedComponentsWithStats(mask, connectivity=connectivity)
    assert count == expected[0]
    assert np.array_equal(labels, expected[1])
    assert np.array_equal(stats[1:], expected[2][1:])
