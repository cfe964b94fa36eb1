"""How fast the window is there: start to usable, and a study of 200 fields opened, as whole processes.

    python tests/benchmarks/window_start.py [--fields 200] [--pieces 1000]

Painted into memory, no screen. *Usable* is when the window has been drawn and nothing waits to be done. Clock
and processor seconds, from the very start of the process. Compiled modules are kept, as they are of a program
that was installed.
"""

import argparse
import io
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "benchmarks")]
WARM = 3


def _child(study: str | None) -> None:
    """Start the window, open the study if there is one, and print the seconds."""
    began = float(os.environ["BEGAN"])
    from app.application import make_application

    app = make_application()
    from app.window import Window

    window = Window()
    window.resize(1500, 900)
    window.show()
    app.processEvents()
    window.grab()
    said = {"clock": time.time() - began, "work": time.process_time()}
    if study:
        clock, work = time.perf_counter(), time.process_time()
        window.session.open(study)
        app.processEvents()
        window.grab()
        said |= {"open": time.perf_counter() - clock, "open_work": time.process_time() - work}
    print(json.dumps(said), flush=True)
    os._exit(0)  # how long closing takes is not the question here


def run(study: Path | None, home: Path) -> dict:
    """Start one process and return what it says."""
    names = ("XDG_CONFIG_HOME", "XDG_CACHE_HOME", "XDG_DATA_HOME")
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    env = kept | {"QT_QPA_PLATFORM": "offscreen", "BEGAN": str(time.time()), "PYTHONPATH": str(ROOT)}
    command = [sys.executable, __file__, "--child", *([str(study)] if study else [])]
    done = subprocess.run(
        command, env=env | dict.fromkeys(names, str(home)), capture_output=True, text=True, check=True
    )
    return json.loads(done.stdout.splitlines()[-1])


def make_study(path: Path, fields: int, count: int) -> Path:
    """Write a study of so many measured fields with small pictures and particles of 65 points."""
    import numpy as np
    from PIL import Image
    from window_speed import pieces

    from measure.model import FieldQuality, FieldResult, FieldSettings, Frame, Scale
    from measure.study.records import Batch, NewField
    from measure.study.study import Study

    width, height = 600, 400
    result = FieldResult(
        pieces(count, width, height),
        Frame(width, height),
        FieldQuality(0.1, 0.3, 1.0, (210, 200, 160), 2.0, 0.0, 1.0),
        FieldSettings(),
        0.25,
        10.0,
    )
    with Study.create(path) as study:
        scale = study.add_scale(Scale(0.25, 0.0001))
        batches = [study.add_batch(Batch(f"pass {i}")) for i in (1, 3, 6)]
        new = []
        for i in range(fields):
            pixels = np.full((height, width, 3), 210, np.uint8)
            pixels[0, 0] = (i % 256, i // 256, 0)
            file = io.BytesIO()
            Image.fromarray(pixels).save(file, "PNG")
            new.append(NewField(f"f{i:03}.png", file.getvalue(), batches[i % 3], scale, None, width, height))
        for field_id in study.add_fields(new):
            study.store_result(field_id, result)
    return path


def main() -> None:
    """Print the table; the first start of each kind, and the best of the next ones."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--fields", type=int, default=200)
    parser.add_argument("--pieces", type=int, default=1000)
    parser.add_argument("--child", nargs="?", const="", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.child is not None:
        _child(asked.child or None)
    with tempfile.TemporaryDirectory() as place:
        home = Path(place)
        study = make_study(home / "many.gritline", asked.fields, asked.pieces)
        print(f"{'':44}{'clock s':>9}{'work s':>9}")
        first, *rest = [run(study, home) for _ in range(1 + WARM)]
        best = {name: min(row[name] for row in rest) for name in first}
        print(f"{'start to usable, first':44}{first['clock']:9.2f}{first['work']:9.2f}")
        print(f"{'start to usable, best of ' + str(WARM):44}{best['clock']:9.2f}{best['work']:9.2f}")
        words = f"open a study of {asked.fields} fields of {asked.pieces}"
        print(f"{words + ', first':44}{first['open']:9.2f}{first['open_work']:9.2f}")
        print(f"{words + ', best':44}{best['open']:9.2f}{best['open_work']:9.2f}")


if __name__ == "__main__":
    main()
