"""How fast the Particles station is: frames of panning and zooming, and from a correction to redrawn sizes.

Run ``python tests/benchmarks/window_speed.py [--pieces 10000] [--megapixels 20]``. Frames are painted into
memory (no screen); both the time on the clock and the processor time of the painting thread are printed,
since other work on the machine lengthens the first only.
"""

import argparse
import io
import os
import tempfile
import time
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import numpy as np
from PIL import Image
from PySide6.QtCore import QPointF, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from measure.model import FieldQuality, FieldResult, FieldSettings, Frame, Scale
from measure.particles import Particles, make_particles
from measure.study.records import Batch, NewField
from measure.study.study import Study

UM_PER_PX, POINTS = 0.25, 65


def pieces(count: int, width: int, height: int) -> Particles:
    """Return wavy outlines strewn over a field, of all kinds and states."""
    rng = np.random.default_rng(1)
    angle = np.linspace(0, 2 * np.pi, POINTS, endpoint=False)
    centre = rng.uniform((40, 40), (width - 40, height - 40), (count, 2))
    radius = np.exp(rng.normal(np.log(11), 0.4, count)).clip(5, 35)
    wave = 1 + 0.15 * np.sin(3 * angle[None] + rng.uniform(0, 6, (count, 1)))
    x = centre[:, :1] + radius[:, None] * wave * np.cos(angle)
    y = centre[:, 1:] + radius[:, None] * wave * np.sin(angle)
    area = np.pi * radius**2
    return make_particles(
        list(np.stack([x, y], axis=2).astype(np.float32)),
        label=np.arange(1, count + 1),
        centre_x_px=centre[:, 0],
        centre_y_px=centre[:, 1],
        area_px2=area,
        perimeter_px=2 * np.pi * radius,
        feret_max_px=2.2 * radius,
        feret_min_px=1.9 * radius,
        feret_h_px=2 * radius,
        feret_v_px=2 * radius,
        hull_area_px2=1.05 * area,
        hull_perimeter_px=2 * np.pi * radius,
        size_uncertainty_px=0.2,
        kind=rng.integers(0, 4, count),
        kind_doubt=rng.uniform(0, 0.4, count),
        doubt=rng.uniform(0, 0.8, count),
        flags=rng.integers(0, 8, count) * 2,
        set_aside=np.where(rng.uniform(0, 1, count) < 0.1, "dust", ""),
    )


def make_study(path: Path, count: int, megapixels: float) -> None:
    """Write a study with one field of that size and that many pieces."""
    width = round((megapixels * 1e6 * 1.5) ** 0.5)
    height = round(width / 1.5)
    pixels = np.random.default_rng(2).integers(190, 225, (height, width, 3), dtype=np.uint8)
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, "TIFF")
    with Study.create(path) as study:
        scale = study.add_scale(Scale(UM_PER_PX, 0.0001))
        batch = study.add_batch(Batch("pass 1"))
        field = study.add_fields([NewField("large.tif", file.getvalue(), batch, scale, None, width, height)])[
            0
        ]
        result = FieldResult(
            pieces(count, width, height),
            Frame(width, height),
            FieldQuality(0.2, 0.5, 1.0, (210, 200, 160), 2.0, 0.0, 1.0),
            FieldSettings(),
            UM_PER_PX,
            10.0,
        )
        study.store_result(field, result)


def timed(call: object, repeats: int = 12) -> tuple[float, float, float, float]:
    """Return the median and largest clock time, and the median and largest processor time, in ms."""
    clock, work = [], []
    for _ in range(repeats):
        wall, cpu = time.perf_counter(), time.thread_time()
        call()
        clock.append(1e3 * (time.perf_counter() - wall))
        work.append(1e3 * (time.thread_time() - cpu))
    return float(np.median(clock)), max(clock), float(np.median(work)), max(work)


def frames(view: object) -> None:
    """Print frame times while panning at several zooms, and while zooming."""

    def pan() -> None:
        view._scroll_by(QPointF(9, 5))
        view.viewport().repaint()

    print(f"{'':34}{'clock ms':>9}{'largest':>9}{'processor ms':>14}{'largest':>9}")
    for name, zoom in (
        ("pan, whole picture", None),
        *((f"pan, zoom {z:g}", z) for z in (1 / 3, 0.5, 0.7, 1, 2, 4, 8)),
    ):
        view.fit() if zoom is None else view.show_place(view._rect.width() / 2, view._rect.height() / 2, zoom)
        view.viewport().repaint()  # copies drawn once at a zoom are not part of a frame
        row(name, timed(pan))
    view.fit()

    def zoom_step() -> None:
        view.zoom_to(view.zoom * 1.07, QPointF(500, 400))
        view.viewport().repaint()
        QApplication.processEvents()  # what is drawn ahead between two frames counts too

    row("zoom in, step by step", timed(zoom_step, 60))


def row(name: str, times: tuple[float, float, float, float]) -> None:
    """Print one line of the table."""
    print(f"{name:34}{times[0]:9.1f}{times[1]:9.1f}{times[2]:14.1f}{times[3]:9.1f}")


def corrections(station: object, app: QApplication) -> None:
    """Print the time from a correction to redrawn picture, table and histogram."""
    session = station.session
    labels = iter(station.pieces.particles["label"].tolist())

    def shown() -> None:
        app.processEvents()
        station.grab()

    for page in ("piece", "table"):
        station.panel.show_page(page)
        app.processEvents()
        for name, key in (("tag", Qt.Key.Key_T), ("set aside", Qt.Key.Key_Delete)):

            def act(key: Qt.Key = key) -> None:
                session.select([next(labels)])
                QTest.keyClick(station.view, key)
                app.processEvents()

            row(f"{name}, key to redrawn ({page})", timed(act, 8))
    row("undo to redrawn", timed(lambda: (session.undo(), app.processEvents()), 8))
    row("sort the table", timed(lambda: station.panel.list.model.sort(2), 5))
    shown()


def main() -> None:
    """Build the study, open the station and print both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pieces", type=int, default=10_000)
    parser.add_argument("--megapixels", type=float, default=20.0)
    asked = parser.parse_args()
    import cv2

    cv2.setNumThreads(1)
    app = QApplication([])
    from app import theme
    from app.session import Session
    from app.stations.particles import Station

    theme.choose("light")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "large.gritline"
        make_study(path, asked.pieces, asked.megapixels)
        session = Session()
        station = Station(session)
        station.resize(1760, 960)
        session.opened.connect(station.study_opened)
        station.show()
        began = time.perf_counter()
        session.open(path)
        station.entered()
        while station.view.image is None:
            app.processEvents()
        size = station.view.viewport().size().toTuple()
        print(f"{asked.pieces} pieces, {asked.megapixels:g} Mpx; view {size}")
        print(f"open to picture with outlines: {1e3 * (time.perf_counter() - began):.0f} ms")
        session.tasks.cancel_all()
        frames(station.view)
        station.view.fit()
        corrections(station, app)
        session.shut()


if __name__ == "__main__":
    main()
