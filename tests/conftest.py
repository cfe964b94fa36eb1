"""Settings every test shares: no screen needed, settings kept out of the user's folders."""

import os
import tempfile

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
os.environ.setdefault("MPLBACKEND", "Agg")
# programs that tests start compile what they import once, and beside the sources
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
os.environ.setdefault(
    "PYTHONPYCACHEPREFIX", os.path.join(tempfile.gettempdir(), "gritline-compiled-for-tests")
)

import gc
import logging
from collections.abc import Iterator
from pathlib import Path

import pytest


def pytest_configure(config: pytest.Config) -> None:
    """Name the markers of our own."""
    config.addinivalue_line("markers", "expects_log: warnings or errors in the log are part of the test")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the longest test, so that no process is left alone with it at the end."""
    items.sort(key=lambda item: item.path.name != "test_types.py")


def pytest_runtest_teardown() -> None:
    """Collect what is due where a window has stopped that, for few tests let its clock run."""
    from app.cycles import collect_due

    if not gc.isenabled():
        collect_due()


@pytest.fixture(scope="session")
def real_pictures() -> Path:
    """Return the folder of real pictures, or skip saying so where it is absent."""
    named = os.environ.get("GRITLINE_DATA")
    folder = Path(named) if named else Path(__file__).resolve().parents[2] / "shared" / "data"
    if not folder.is_dir():
        pytest.skip("the real pictures are not here; name their folder in GRITLINE_DATA")
    return folder


@pytest.fixture(autouse=True)
def folders_of_its_own(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """Send settings, notes and the sample study to a folder of the test."""
    home = tmp_path_factory.mktemp("home")
    for name in ("CONFIG", "DATA", "CACHE", "STATE"):
        monkeypatch.setenv(f"XDG_{name}_HOME", str(home / name.lower()))


# their warnings are about a file or a font, and say nothing about us
_OTHERS = ("tifffile", "PIL", "matplotlib", "fontTools")


@pytest.fixture(autouse=True)
def no_unexpected_log(request: pytest.FixtureRequest, caplog: pytest.LogCaptureFixture) -> Iterator[None]:
    """Fail on a warning or error in the log, unless the test is marked ``expects_log``."""
    yield
    if request.node.get_closest_marker("expects_log"):
        return
    records = [*caplog.get_records("setup"), *caplog.get_records("call")]
    loud = [r for r in records if r.levelno >= logging.WARNING and not r.name.startswith(_OTHERS)]
    assert not loud, f"unexpected in the log: {[f'{r.name}: {r.getMessage()}' for r in loud]}"
