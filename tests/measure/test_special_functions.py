"""Special functions come without their package, are those of it, and leave it to be imported as ever."""

import subprocess
import sys

import pytest

from measure.special_functions import special_function


def run(code: str) -> str:
    return subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout


def test_the_package_is_not_imported_for_them_and_can_be_afterwards():
    said = run(
        "import sys\n"
        "from measure.special_functions import special_function\n"
        "alone = special_function('stdtrit')\n"
        "print('scipy.special' in sys.modules, 'scipy' in sys.modules)\n"
        "import scipy.special, scipy.ndimage, scipy.optimize, scipy.signal, scipy.stats\n"
        "print(scipy.special.stdtrit is alone, scipy.stats.t(9).ppf(0.975) - alone(9, 0.975) < 1e-12)\n"
    )
    assert said.split() == ["False", "False", "True", "True"]


def test_with_other_threads_about_the_package_is_imported():
    said = run(
        "import sys, threading\n"
        "from measure.special_functions import special_function\n"
        "end = threading.Event()\n"
        "threading.Thread(target=end.wait).start()\n"
        "special_function('stdtrit')\n"
        "print('scipy.special' in sys.modules)\n"
        "end.set()\n"
    )
    assert said.split() == ["True"]


def test_where_the_file_cannot_be_loaded_alone_the_package_is_imported():
    said = run(
        "import sys\n"
        "import measure.special_functions as own\n"
        "real = own.import_module\n"
        "def refusing(name):\n"
        "    if name.endswith('_ufuncs'):\n"
        "        raise RuntimeError('no package')\n"
        "    return real(name)\n"
        "own.import_module = refusing\n"
        "print(float(own.special_function('stdtrit')(1, 0.75)))\n"
    )
    assert float(said) == pytest.approx(1.0)


def test_a_quantile_of_students_t_is_as_in_its_tables():
    # two-sided 95 %, 10 degrees of freedom: Student's t tables (e.g. NIST/SEMATECH e-Handbook 1.3.6.7.2)
    assert special_function("stdtrit")(10, 0.975) == pytest.approx(2.228, abs=5e-4)
