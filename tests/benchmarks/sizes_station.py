"""How soon the Sizes station shows a correction, and how long its intervals take. Run it on its own.

``python tests/benchmarks/sizes_station.py`` prints medians over corrections of a batch of about 5,000
pieces; the target is
100 ms from the key to the painted chart.
"""

import os
import sys
import tempfile
import time
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np
from PySide6.QtWidgets import QApplication

from app import theme
from app.session import Session
from app.stations.sizes import Station
from tests.app.sizes_study import FIELDS, make_sizes_study

PIECES, REPEATS, TARGET_MS = 5000, 15, 100.0


def main() -> int:
    """Print the table; 1 when a correction takes longer than the target."""
    app = QApplication([])
    theme.choose("light")
    session = Session()
    station = Station(session)
    station.resize(1700, 950)
    with tempfile.TemporaryDirectory() as folder:
        assert session.open(make_sizes_study(Path(folder) / "large.gritline", number=PIECES // FIELDS + 60))
        station.show()
        station.entered()
        waited = _wait(app, station)
        commit, shown, painted = np.array([_correct(app, station, place) for place in range(REPEATS)]).T
        print(f"pieces counted            {len(station.batch.sample):8,d}")
        print(f"kept on disk              {np.median(commit):8.1f} ms")
        print(f"figures and chart ready   {np.median(shown - commit):8.1f} ms")
        print(f"painted                   {np.median(painted - shown):8.1f} ms")
        print(f"correction to painted     {np.median(painted):8.1f} ms, longest {painted.max():.1f} ms")
        print(f"intervals after entering  {waited:8.2f} s")
        session.shut()
    return int(np.median(painted) > TARGET_MS)


def _correct(app: QApplication, station: Station, place: int) -> tuple[float, float, float]:
    study = station.session.study
    field, label = station.batch.pairs(station.batch.sample.row[[50 + place]])[0]
    _wait(app, station)
    times = []
    start = time.perf_counter()
    before = study.set_aside
    done: list[float] = []

    def set_aside(*arguments: object) -> object:
        found = before(*arguments)
        done.append(1000 * (time.perf_counter() - start))
        return found

    station.session.do(set_aside, field, [label], "dust")
    times.append(1000 * (time.perf_counter() - start))
    station.repaint()
    times.append(1000 * (time.perf_counter() - start))
    return done[0], times[0], times[1]


def _wait(app: QApplication, station: Station) -> float:
    start = time.perf_counter()
    while station.shown is None or not station.shown.final:
        app.processEvents()
        time.sleep(0.005)
    return time.perf_counter() - start


if __name__ == "__main__":
    sys.exit(main())
