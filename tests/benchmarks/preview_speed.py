"""How soon a preview of a 2-Mpx field answers when a setting is changed: first the middle, then more of it.

    python tests/benchmarks/preview_speed.py [PICTURE ...]    also of these pictures

Clock and processor time in ms, medians of several changes of the sensitivity, of the call the window makes in
a worker; the very first one stands beside. The goal is 150 ms to an answer.
"""

import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "benchmarks")]

REPEATS = 5
FIELDS = ((2.0, 100), (2.0, 300), (2.0, 1000), (20.0, 2000))
GOAL_MS = 150.0


def timed(light: object, most_mpx: float, sensitivity: float) -> tuple[float, float, int]:
    """Return clock and processor ms of one answer, and the pieces found."""
    from app import preview_work
    from measure.model import FieldSettings

    rows, cols = light.solid_distance.shape
    clock, work = time.perf_counter(), time.thread_time()
    settings = FieldSettings(sensitivity=sensitivity)
    found = preview_work.preview(light, settings, 0.65, (0.0, 0.0, float(cols), float(rows)), most_mpx)
    return 1e3 * (time.perf_counter() - clock), 1e3 * (time.thread_time() - work), len(found.outlines)


def main() -> None:
    """Print the table."""
    import cv2
    import numpy as np
    from drawn_fields import drawn_field

    from app import jobs, preview_work
    from measure.picture_file import read_picture

    cv2.setNumThreads(1)
    pictures = {f"{mpx:g} Mpx, {pieces} pieces": drawn_field(mpx, pieces) for mpx, pieces in FIELDS}
    pictures |= {Path(name).name: Path(name) for name in sys.argv[1:]}
    print(f"{'field':24}{'Mpx':>6}{'found':>9}{'clock':>9}{'longest':>9}{'work':>9}{'first':>9}")
    slow = False
    for name, path in pictures.items():
        light = jobs.make_light(read_picture(path), None, ())
        rows, cols = light.solid_distance.shape
        looks = preview_work.looks_mpx(light, (0.0, 0.0, float(cols), float(rows)))
        for most in looks:
            runs = [timed(light, most, 0.4 + 0.02 * i) for i in range(REPEATS)]
            clock, work, found = np.array(runs[1:]).T
            slow |= most == looks[0] and float(np.median(work)) > GOAL_MS
            shown = (np.median(found), np.median(clock), clock.max(), np.median(work), runs[0][1])
            print(f"{name:24}{most:6.2g}" + "".join(f"{value:9.0f}" for value in shown), flush=True)
    print(f"first answer within {GOAL_MS:g} ms of work: {'no' if slow else 'yes'}")


if __name__ == "__main__":
    main()
