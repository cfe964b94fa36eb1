"""Settings every test shares: no screen needed, settings kept out of the user's folders."""

import os

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
os.environ.setdefault("MPLBACKEND", "Agg")

from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def real_pictures() -> Path:
    """Return the folder of real pictures, or skip saying so where it is absent."""
    named = os.environ.get("GRITLINE_DATA")
    folder = Path(named) if named else Path(__file__).resolve().parents[2] / "shared" / "data"
    if not folder.is_dir():
        pytest.skip("the real pictures are not here; name their folder in GRITLINE_DATA")
    return folder
